"""The linear solver: conjugate gradients with an algebraic multigrid cycle, checked."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags
from scipy.sparse.linalg import LinearOperator, cg

from soilflow.errors import ConvergenceError

__all__ = ["Preconditioned", "SolveReport", "precondition", "solve"]

Array = NDArray[np.float64]

# Beyond this many cycles something is wrong with the input, not with patience.
_MOST_ITERATIONS = 200


@dataclass(frozen=True, kw_only=True)
class SolveReport:
    """How a linear solve went.

    Parameters
    ----------
    iterations : int
        Conjugate-gradient iterations.
    residual : float
        Norm of the scaled residual over that of the right-hand side. [-]
    """

    iterations: int
    residual: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Preconditioned:
    """A matrix scaled by its diagonal, with a multigrid cycle for it.

    Parameters
    ----------
    matrix : csr_matrix, shape (n, n)
        Unit diagonal. [-]
    scale : array, shape (n,)
        One over the square root of the original diagonal. [(s Pa/m3)^0.5]
    cycle : LinearOperator or None
        One multigrid cycle; None for a system too small to need it.
    """

    matrix: csr_matrix
    scale: Array
    cycle: LinearOperator | None


def precondition(matrix: csr_matrix) -> Preconditioned:
    """Scale a symmetric positive definite matrix and set up its multigrid cycle.

    Parameters
    ----------
    matrix : csr_matrix, shape (n, n)
        Symmetric positive definite. [m3/(s Pa)]

    Returns
    -------
    preconditioned : Preconditioned
        Ready for any number of right-hand sides.

    Notes
    -----
    Classical Ruge-Stueben coarsening suits the M-matrix of a two-point flux scheme with
    contrasts of many decades: strength of connection follows the conductances. Its
    interpolation is exact for a constant, which scaling by the diagonal would spoil, so the
    hierarchy is that of the unscaled matrix: half to a third of the iterations. One sweep
    forward before and one backward after keep the cycle symmetric; two symmetric sweeps take
    fewer iterations and more time.
    """
    import pyamg

    scale = 1.0 / np.sqrt(matrix.diagonal())
    scaled = (diags(scale) @ matrix @ diags(scale)).tocsr()
    if matrix.shape[0] < 50:
        return Preconditioned(matrix=scaled, scale=scale, cycle=None)
    # conductances near 1e-9 would underflow in products of many levels
    plain = (matrix / float(np.median(matrix.diagonal()))).tocsr()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns about its own index types
        hierarchy = pyamg.ruge_stuben_solver(
            plain,
            max_coarse=500,
            coarse_solver="splu",  # the default, a dense pseudo-inverse, is slow on many threads
            presmoother=("gauss_seidel", {"sweep": "forward"}),
            postsmoother=("gauss_seidel", {"sweep": "backward"}),
        )
    unscaled = hierarchy.aspreconditioner(cycle="V")

    def cycle(residual: Array) -> Array:
        return np.asarray(unscaled.matvec(residual / scale) / scale)

    operator = LinearOperator(matrix.shape, matvec=cycle, dtype=float)
    return Preconditioned(matrix=scaled, scale=scale, cycle=operator)


def solve(
    system: Preconditioned, source: Array, *, tolerance: float, start: Array | None = None
) -> tuple[Array, SolveReport]:
    """Solve for one right-hand side.

    Parameters
    ----------
    system : Preconditioned
        The matrix.
    source : array, shape (n,)
        Right-hand side. [m3/s]
    tolerance : float
        Bound on the scaled residual relative to the right-hand side. [-]
    start : array, shape (n,), or None
        Where to start from. [Pa]

    Returns
    -------
    solution : array, shape (n,)
        Values at the nodes. [Pa]
    report : SolveReport
        Iterations and the residual recomputed at the end.

    Raises
    ------
    ConvergenceError
        The tolerance was not reached.
    """
    b = system.scale * source
    norm = float(np.linalg.norm(b))
    if norm == 0.0:
        return np.zeros_like(b), SolveReport(iterations=0, residual=0.0)
    count = 0

    def counted(_: Array) -> None:
        nonlocal count
        count += 1

    x0 = None if start is None else start / system.scale
    try:
        x, _ = cg(
            system.matrix,
            b,
            x0=x0,
            rtol=tolerance,
            atol=0.0,
            maxiter=_MOST_ITERATIONS,
            M=system.cycle,
            callback=counted,
        )
    except RuntimeError:  # the coarsest matrix has lost its rank to rounding
        x = np.full_like(b, np.nan)
    residual = float(np.linalg.norm(b - system.matrix @ x)) / norm
    if not residual <= 10.0 * tolerance:
        raise ConvergenceError(
            f"the pressure solve reached a relative residual of {residual:.2e} in {count} "
            f"iterations, wanted {tolerance:.0e}; look for permeabilities or apertures that "
            "differ by more decades than intended",
            reached=residual,
            wanted=tolerance,
            iterations=count,
        )
    return x * system.scale, SolveReport(iterations=count, residual=residual)
