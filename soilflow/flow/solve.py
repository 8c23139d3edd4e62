"""The linear solver: conjugate gradients with an algebraic multigrid cycle, checked."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags
from scipy.sparse.linalg import splu

from soilflow.errors import ConvergenceError

__all__ = ["Preconditioned", "SolveReport", "largest", "precondition", "solve"]

Array = NDArray[np.float64]

# Beyond this many cycles something is wrong with the input, not with patience.
_MOST_ITERATIONS = 200
# Up to this many unknowns a direct factor costs less than a hierarchy.
_SMALL = 500


@dataclass(frozen=True, kw_only=True)
class SolveReport:
    """How a linear solve went.

    Parameters
    ----------
    iterations : int
        Conjugate-gradient iterations.
    residual : float
        Norm of the scaled residual over that of the right-hand side. [-]
    error : float
        Largest error of the solution, as one more cycle estimates it, over its largest value;
        not a number where nobody estimated it. [-]
    """

    iterations: int
    residual: float
    error: float = math.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class Preconditioned:
    """A matrix with a multigrid cycle for it.

    Parameters
    ----------
    times : callable
        Multiplies a vector by the matrix.
    cycle : callable
        One multigrid cycle: takes a residual, gives an estimate of the error.
    scale : array, shape (n,)
        One over the square root of the matrix's diagonal. [(s Pa/m3)^0.5]
    """

    times: Callable[[Array], Array]
    cycle: Callable[[Array], Array]
    scale: Array


def precondition(
    matrix: csr_matrix, *, times: Callable[[Array], Array] | None = None, careful: bool = False
) -> Preconditioned:
    """Set up the multigrid cycle of a symmetric positive definite matrix.

    Parameters
    ----------
    matrix : csr_matrix, shape (n, n)
        Symmetric positive definite. [m3/(s Pa)]
    times : callable or None
        What multiplies by the matrix with less rounding than the matrix itself does.
    careful : bool
        Whether entries differ by so many decades that no unknown may be left to the smoother.

    Returns
    -------
    preconditioned : Preconditioned
        Ready for any number of right-hand sides.

    Notes
    -----
    Classical Ruge-Stueben coarsening suits the M-matrix of a two-point flux scheme with
    contrasts of many decades: strength of connection follows the conductances. Its
    interpolation is exact for a constant, which scaling by the diagonal would spoil, so the
    hierarchy is that of the unscaled matrix. One sweep forward before and one backward after
    keep the cycle symmetric; two symmetric sweeps take fewer iterations and more time.

    The first pass of the coarsening leaves some unknowns without any coarse neighbour they hang
    on, and a smoother cannot lift a region that hardly leaks: its level then takes 40 to 100
    iterations to come right, unseen by the residual. The second pass and direct interpolation
    reach every unknown, for 1.8 times the entries; ``careful`` asks for them. It also
    adds a few roundings to the diagonal of the cycle's matrix, so that a leak below the rounding
    of the sums cannot turn negative; conjugate gradients make up for it.
    """
    diagonal = matrix.diagonal()
    if careful:
        matrix = matrix + diags(8.0 * np.finfo(float).eps * diagonal)
    cycle = _factor(matrix) if matrix.shape[0] <= _SMALL else _hierarchy(matrix, careful)
    return Preconditioned(
        times=times or matrix.__matmul__, cycle=cycle, scale=1.0 / np.sqrt(diagonal)
    )


def _factor(matrix: csr_matrix) -> Callable[[Array], Array]:
    """Direct solve, symmetric through scaling by the diagonal."""
    scale = 1.0 / np.sqrt(matrix.diagonal())
    try:
        factor = splu(
            (diags(scale) @ matrix @ diags(scale)).tocsc(),
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
    except RuntimeError:  # the matrix has lost its rank to rounding
        return lambda residual: np.full_like(residual, np.nan)
    return lambda residual: scale * factor.solve(scale * residual)


def _hierarchy(matrix: csr_matrix, careful: bool) -> Callable[[Array], Array]:
    """One cycle of classical multigrid."""
    import pyamg

    # conductances near 1e-9 would underflow in products of many levels
    unit = float(np.median(matrix.diagonal()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns about its own index types
        hierarchy = pyamg.ruge_stuben_solver(
            (matrix / unit).tocsr(),
            CF=("RS", {"second_pass": careful}),
            interpolation="direct" if careful else "classical",
            max_coarse=_SMALL,
            coarse_solver="splu",  # the default, a dense pseudo-inverse, is slow on many threads
            presmoother=("gauss_seidel", {"sweep": "forward"}),
            postsmoother=("gauss_seidel", {"sweep": "backward"}),
        )
    plain = hierarchy.aspreconditioner(cycle="V")

    def cycle(residual: Array) -> Array:
        try:
            return np.asarray(plain.matvec(residual / unit))
        except RuntimeError:  # the coarsest matrix has lost its rank to rounding
            return np.full_like(residual, np.nan)

    return cycle


def largest(values: Array) -> float:
    """Largest magnitude, found without a copy of the magnitudes.

    Parameters
    ----------
    values : array, any one shape
        What is looked through. [SI]

    Returns
    -------
    magnitude : float
        Zero of no values. [SI]
    """
    return max(float(values.max(initial=0.0)), -float(values.min(initial=0.0)))


def solve(system: Preconditioned, source: Array, *, tolerance: float) -> tuple[Array, SolveReport]:
    """Solve for one right-hand side, from zero.

    Parameters
    ----------
    system : Preconditioned
        The matrix.
    source : array, shape (n,)
        Right-hand side. [m3/s]
    tolerance : float
        Bound on the estimated error, relative to the largest value of the solution. [-]

    Returns
    -------
    solution : array, shape (n,)
        Values at the nodes. [Pa]
    report : SolveReport
        Iterations, and residual and error as the iteration carries them along.

    Raises
    ------
    ConvergenceError
        The tolerance was not reached.

    Notes
    -----
    A residual weighs an unknown by its conductances, and a region of tight soil hardly shows
    in it, however wrong its pressure. The cycle turns a residual into an error of the pressure
    itself, which counts alike wherever it is.
    """
    x = np.zeros_like(source)
    norm = float(np.linalg.norm(system.scale * source))
    if norm == 0.0:
        return x, SolveReport(iterations=0, residual=0.0, error=0.0)
    r = source.copy()
    z = system.cycle(r)
    p, rz, error, count = z.copy(), float(r @ z), math.inf, 0
    while error > tolerance and count < _MOST_ITERATIONS:
        q = system.times(p)
        bent = float(p @ q)
        if not (bent > 0.0 and rz > 0.0):  # rounding has the better of the matrix
            break
        x += (rz / bent) * p
        r -= (rz / bent) * q
        z = system.cycle(r)
        rz, before = float(r @ z), rz
        p *= rz / before
        p += z
        count += 1
        error = largest(z) / max(largest(x), np.finfo(float).tiny)
    if not error <= tolerance:
        raise ConvergenceError(
            f"the pressure solve reached an error of {error:.2e} in {count} iterations, "
            f"wanted {tolerance:.0e}",
            reached=error,
            wanted=tolerance,
            iterations=count,
        )
    residual = float(np.linalg.norm(system.scale * r)) / norm
    return x, SolveReport(iterations=count, residual=residual, error=error)
