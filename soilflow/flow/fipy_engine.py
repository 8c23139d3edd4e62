"""An independent steady engine on FiPy, to check the soil network with.

It reads the soil map and shares with the network only the formulas of single leaks. FiPy builds
the mesh, the face averages, the matrix and the solution; pits are very permeable cells, and the
gap under the slab is a layer of cells with the gap's transmissivity. FiPy is loaded on the
first solve.

Length: one problem, at rest or stepped through time, whose parts share FiPy's mesh and its
solver settings.
"""

from __future__ import annotations

import os
import sys
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from soilflow.errors import (
    BalanceError,
    ConvergenceError,
    InputError,
    SoilflowError,
    SoilflowWarning,
)
from soilflow.flow.fipy_cells import Cells, Links, area_links, cells_with_gap, flat, slot_links
from soilflow.flow.side_by_side import Progress, each_of
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.solve import SolveReport
from soilflow.layout.bodies import Brick

__all__ = [
    "MOST_CELLS",
    "FipyProblem",
    "FipyResponse",
    "check_for_fipy",
    "load_fipy",
    "respond_fipy",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

# Chosen by the project: a checking engine should answer within a minute on a laptop.
MOST_CELLS = 100_000

# Largest imbalance accepted, relative to the port's own flow, and largest residual, relative to
# its source; then what FiPy's solver is asked for, each time starting from where it got to.
_BALANCE = 1e-8
_RESIDUAL = 1e-10
_TOLERANCES = (1e-11, 1e-12, 1e-13)
_MOST_ITERATIONS = 5000
# A face this near a grid line is on it. [m]
_OFF_LINE = 1e-5
_SUITE = "FIPY_SOLVERS"


@dataclass(frozen=True, kw_only=True, eq=False)
class FipyResponse:
    """Fields and flows for each port held at one pascal, the others at zero.

    Parameters
    ----------
    ports : tuple of str
        Names of the ports.
    unit_fields : array, shape (p, nx, ny, nz)
        Unit field of each port in the cells of the grid, NaN where no air moves. [-]
    gap_fields : array, shape (p, nx, ny)
        The same in the gap under the slab, NaN where there is none. [-]
    port_matrix : array, shape (p, p)
        Row i holds the flows out of the ports while port i is at one pascal, from sums over
        faces and leaks; symmetric only as far as the solver got. [m3/(s Pa)]
    reports : tuple of SolveReport
        One per port; the residual is that of the whole unit field, relative to its source.
    balance : float
        Largest imbalance of a unit field, relative to its port's flow. [-]
    """

    ports: tuple[str, ...]
    unit_fields: Array
    gap_fields: Array
    port_matrix: Array
    reports: tuple[SolveReport, ...]
    balance: float

    @property
    def iterations(self) -> int:
        """Most iterations any port took."""
        return max((r.iterations for r in self.reports), default=0)

    def __repr__(self) -> str:
        worst = max((r.residual for r in self.reports), default=0.0)
        cells = int(
            np.isfinite(self.unit_fields[:1]).sum() + np.isfinite(self.gap_fields[:1]).sum()
        )
        return (
            f"FipyResponse({len(self.ports)} ports, {cells} cells with air, at most "
            f"{self.iterations} iterations, residual {worst:.1e}, balance {self.balance:.1e})"
        )


def respond_fipy(
    soil: SoilMap, viscosity: float, *, progress: Progress | None = None
) -> FipyResponse:
    """Solve the unit field of every port with FiPy and sum up the port matrix.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    progress : callable or None
        Called with the number of fields done and of all fields.

    Returns
    -------
    response : FipyResponse
        Balanced to 1e-8 of each port's flow, or to the rounding bound where that is larger.

    Raises
    ------
    InputError
        The grid has more cells than a checking engine should take on.
    ConvergenceError
        A solve missed its tolerance.
    BalanceError
        The flows do not balance.
    SoilflowError
        FiPy cannot be loaded, or was loaded before with another solver suite.

    Notes
    -----
    Warns where a pit is not a box on grid lines: FiPy sees cells wholly in or out, and such a
    staircase is off by a few per cent in flow.
    """
    check_for_fipy(soil)
    cells = cells_with_gap(soil, viscosity)
    problem = FipyProblem(load_fipy(), soil, cells, viscosity)
    solved = each_of(problem._unit_field, len(soil.ports), share=False, progress=progress)
    fields = np.array([field for field, _, _ in solved])
    shown = np.where(problem.alive, fields, np.nan)
    shaped = np.array([field.reshape(cells.body.shape, order="F") for field in shown])
    gap = np.full((len(fields), *soil.sheet.shape), np.nan)
    if cells.gap is not None:
        gap = np.where(soil.sheet > 0.0, shaped[..., cells.gap], np.nan)
        shaped = np.delete(shaped, cells.gap, axis=3)
    return FipyResponse(
        ports=soil.ports,
        unit_fields=np.where(soil.air, shaped, np.nan),
        gap_fields=gap,
        port_matrix=np.array([problem._flows(f, p) for p, f in enumerate(fields)])
        + _direct_flows(soil, viscosity),
        reports=tuple(report for _, report, _ in solved),
        balance=max((balance for _, _, balance in solved), default=0.0),
    )


def check_for_fipy(soil: SoilMap) -> None:
    """Refuse what FiPy is not taught here, and warn of what it sees roughly.

    Parameters
    ----------
    soil : SoilMap
        What is there.

    Raises
    ------
    InputError
        Too many cells, a line conductor, or packed soil around a pit.
    """
    _check_size(soil)
    _warn_of_staircases(soil)


def _check_size(soil: SoilMap) -> None:
    nx, ny, nz = soil.grid.shape
    cells = nx * ny * (nz + int((soil.sheet > 0.0).any()))
    if cells <= MOST_CELLS:
        return
    larger = 1.02 * (cells / MOST_CELLS) ** (1.0 / 3.0)
    least = min(float(soil.grid.sizes(axis).min()) for axis in range(3))
    raise InputError(
        f"the FiPy engine is for checks and takes at most {MOST_CELLS} cells, this grid has "
        f"{cells}; cells {larger:.3g} times larger along each axis would fit: the smallest is "
        f"{least:.3g} m now, make it {least * larger:.3g} m",
        field="resolution",
    )


def _warn_of_staircases(soil: SoilMap) -> None:
    if soil.conductors.names:
        raise InputError(
            f'the FiPy engine knows no line conductors, and "{soil.conductors.names[0]}" is one; '
            "use the soil network",
            field="site",
        )
    for item in soil.held:
        if item.smear > 0.0 and item.smear_ratio < 1.0:
            raise InputError(
                f'the FiPy engine knows no packed soil around a pit, and "{item.port}" has some; '
                "drop the smear, or use the soil network",
                field="pit.smear",
            )
        if isinstance(item.body, Brick) and _fits(soil, item.body):
            continue
        warnings.warn(
            f'FiPy sees "{item.port}" as a staircase of cells: expect its flow to be off by a few '
            "per cent, and pressures right beside it by more; a box on grid lines is exact",
            SoilflowWarning,
            stacklevel=4,
        )


def _fits(soil: SoilMap, brick: Brick) -> bool:
    """Whether the faces of a box, as far as they are on the grid, lie on grid lines."""
    for edges, *faces in zip(soil.grid.edges, brick.low, brick.high, strict=True):
        for face in np.clip(faces, edges[0], edges[-1]):
            if np.abs(edges - face).min() > _OFF_LINE:
                return False
    return True


def load_fipy() -> Any:
    """FiPy on its scipy solvers; its import reads the command line, so that is hidden from it.

    Returns
    -------
    module
        The package.

    Raises
    ------
    SoilflowError
        It cannot be loaded, or was loaded before with other solvers.
    """
    argv, suite = sys.argv, os.environ.get(_SUITE)
    sys.argv, os.environ[_SUITE] = argv[:1], "scipy"
    try:
        import fipy
    except (ImportError, RuntimeError) as err:
        raise SoilflowError(
            f"FiPy cannot be loaded: {err}. One known cause is mpi4py installed without an MPI "
            "runtime: remove mpi4py or install the runtime"
        ) from err
    finally:
        sys.argv = argv
        if suite is None:
            del os.environ[_SUITE]
        else:
            os.environ[_SUITE] = suite
    if fipy.solvers.solver_suite != "scipy":
        raise SoilflowError(
            f'FiPy was loaded earlier with its "{fipy.solvers.solver_suite}" solvers; this engine '
            f"needs the scipy ones: set {_SUITE}=scipy before the first import"
        )
    return fipy


def _direct_flows(soil: SoilMap, viscosity: float) -> Array:
    """Flows from port to port without soil between. [m3/(s Pa)]"""
    flows = np.zeros((len(soil.ports),) * 2)
    leaks = soil.direct_leaks
    for a, b, sign in (
        (leaks.body, leaks.body, 1.0),
        (leaks.port, leaks.port, 1.0),
        (leaks.body, leaks.port, -1.0),
        (leaks.port, leaks.body, -1.0),
    ):
        np.add.at(flows, (a, b), sign * leaks.geometry / viscosity)
    return flows


@dataclass(frozen=True, kw_only=True, eq=False)
class _Faces:
    """Inner faces of the mesh, coefficients averaged harmonically by FiPy."""

    number: Index  # in the mesh
    ends: Index  # the cells on both sides, the lower number first, shape (2, n)
    upright: Mask  # faces between a cell and the one below it
    coefficient: Array  # [-]
    shape_factor: Array  # area over distance of the centres [m]


def _inner_faces(fipy: Any, mesh: Any, cells: Cells) -> _Faces:
    number = np.flatnonzero(np.asarray(mesh.interiorFaces))
    ends = np.sort(np.asarray(mesh.faceCellIDs)[:, number], axis=0)
    axis = np.argmax(np.abs(np.asarray(mesh.faceNormals)[:, number]), axis=0)
    along, across = (
        np.asarray(fipy.CellVariable(mesh=mesh, value=flat(mobility)).harmonicFaceValue)[number]
        for mobility in (cells.along, cells.across)
    )
    is_open = np.ones(number.shape, dtype=bool)
    where = np.array(np.unravel_index(ends[0], cells.body.shape, order="F"))
    for normal, faces in enumerate((cells.open_x, cells.open_y)):
        mine = axis == normal
        is_open[mine] = faces[tuple(where[:, mine])]
    size = np.array([flat(s) for s in np.meshgrid(*cells.sizes, indexing="ij")])
    area = size.prod(axis=0)[ends[0]] / size[axis, ends[0]]
    return _Faces(
        number=number,
        ends=ends,
        upright=axis == 2,
        coefficient=np.where(axis == 2, across, along) * is_open,
        shape_factor=area / (0.5 * (size[axis, ends[0]] + size[axis, ends[1]])),
    )


def _body_links(faces: _Faces, body: Index) -> Links:
    """Faces between soil and a cavity: the cavity's pressure is that of its port."""
    first, second = flat(body)[faces.ends]
    meets = (first >= 0) != (second >= 0)
    return Links(
        cell=np.where(first >= 0, faces.ends[1], faces.ends[0])[meets],
        port=np.maximum(first, second)[meets],
        conductance=(faces.coefficient * faces.shape_factor)[meets],
    )


class FipyProblem:
    """FiPy's equation for the unit fields, and the sums over its faces and leaks.

    Conductances are over the largest mobility, in metres, so that FiPy meets numbers near one.

    Parameters
    ----------
    fipy : module
        From `load_fipy`.
    soil : SoilMap
        What is there.
    cells : Cells
        Made from it.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    """

    def __init__(self, fipy: Any, soil: SoilMap, cells: Cells, viscosity: float) -> None:
        self.fipy, self.soil, self.scale = fipy, soil, cells.mobility
        dx, dy, dz = cells.sizes  # arrays of sizes: given a length, FiPy can lose a cell
        self.mesh = fipy.Grid3D(dx=dx, dy=dy, dz=dz)
        self.volume = np.asarray(self.mesh.cellVolumes)
        faces = _inner_faces(fipy, self.mesh, cells)
        to_soil, to_gap, gap_cell, between = slot_links(soil, cells, viscosity)
        parts = [
            area_links(soil, cells, viscosity),
            to_soil,
            to_gap,
            _body_links(faces, cells.body),
        ]
        self.cell = np.concatenate([part.cell for part in parts])
        self.port = np.concatenate([part.port for part in parts])
        self.conductance = np.concatenate([part.conductance for part in parts])

        inside = (flat(cells.body)[faces.ends] >= 0).any(axis=0)
        coefficient = np.where(inside, 0.0, faces.coefficient)
        below = np.full(self.volume.size, -1, dtype=np.int64)
        below[faces.ends[0][faces.upright]] = np.flatnonzero(faces.upright)
        np.add.at(coefficient, below[gap_cell], between / faces.shape_factor[below[gap_cell]])
        self.ends, self.edge = faces.ends, coefficient * faces.shape_factor
        self.coefficient = fipy.FaceVariable(mesh=self.mesh, value=0.0)
        self.coefficient[faces.number] = coefficient
        self.alive = self._reached()
        # cells without a way to a port stay at zero through a leak of ordinary size
        idle = np.where(self.alive, 0.0, np.median([*self.conductance, 1e-300]))
        self.diagonal = np.bincount(self.cell, self.conductance, self.volume.size) + idle

    def _reached(self) -> Mask:
        """Cells with a way to some port."""
        n = self.volume.size
        joins = self.edge > 0.0
        graph = coo_matrix((np.ones(joins.sum()), self.ends[:, joins]), shape=(n, n))
        _, label = connected_components(graph, directed=False)
        linked = np.zeros(label.max() + 1, dtype=bool)
        linked[label[self.cell[self.conductance > 0.0]]] = True
        return np.asarray(linked[label])

    def _unit_field(self, port: int) -> tuple[Array, SolveReport, float]:
        """Field of one port at one pascal, solved until its flows balance."""
        source = np.zeros(self.volume.size)
        np.add.at(source, self.cell, self.conductance * (self.port == port))
        if not source.any():
            return np.zeros_like(source), SolveReport(iterations=0, residual=0.0), 0.0
        field = self.fipy.CellVariable(mesh=self.mesh, value=0.0)
        spent = 0
        for tolerance in _TOLERANCES:
            what = f'port "{self.soil.ports[port]}"'
            spent += self.solve(field, self.scale * source, tolerance, what)
            value = np.array(field.value)
            residual = self._residual(value, source)
            imbalance, bound = self._imbalance(value, port)
            if residual <= _RESIDUAL and imbalance <= max(_BALANCE, bound):
                return value, SolveReport(iterations=spent, residual=residual), imbalance
        name = self.soil.ports[port]
        if residual > _RESIDUAL:
            raise ConvergenceError(
                f'FiPy\'s field of port "{name}" leaves a relative residual of {residual:.1e}, '
                f"wanted {_RESIDUAL:.0e}; look for permeabilities many decades apart",
                reached=residual,
                wanted=_RESIDUAL,
                iterations=spent,
            )
        wanted = max(_BALANCE, bound)
        raise BalanceError(
            f'FiPy\'s flows of port "{name}" balance to {imbalance:.1e} only, wanted '
            f"{wanted:.1e}; look for permeabilities many decades apart",
            reached=imbalance,
            wanted=wanted,
        )

    def solve(
        self,
        field: Any,
        source: Array,
        tolerance: float,
        what: str,
        *,
        storage: Array | None = None,
        step: float | None = None,
    ) -> int:
        """Let FiPy solve for the steady state, or take one implicit step, from what a field holds.

        Parameters
        ----------
        field : fipy.CellVariable
            Where to start, and where the answer goes.
        source : array, shape (cells,)
            What the ports send in. [m3/s]
        tolerance : float
            Bound on the residual relative to the right-hand side. [-]
        what : str
            What is solved, for the message.
        storage : array, shape (cells,), or None
            Air that each cell takes up; None for the steady state. [m3/Pa]
        step : float or None
            Length of the step. [s]

        Returns
        -------
        iterations : int
            Iterations spent.

        Raises
        ------
        ConvergenceError
            The tolerance was missed.
        """
        fipy = self.fipy
        leak = fipy.CellVariable(mesh=self.mesh, value=self.diagonal / self.volume)
        gain = fipy.CellVariable(mesh=self.mesh, value=source / self.scale / self.volume)
        inside = fipy.DiffusionTerm(coeff=self.coefficient) + gain
        equation = fipy.ImplicitSourceTerm(coeff=leak) == inside
        if storage is not None:
            held = fipy.CellVariable(mesh=self.mesh, value=storage / self.scale / self.volume)
            equation = (
                fipy.TransientTerm(coeff=held) + fipy.ImplicitSourceTerm(coeff=leak) == inside
            )
        solver = fipy.LinearPCGSolver(
            tolerance=tolerance,
            criterion="RHS",
            iterations=_MOST_ITERATIONS,
            precon=fipy.SmoothedAggregationPreconditioner(),
        )
        # by itself FiPy only warns and hands back what it has
        failures = (fipy.solvers.convergence.DivergenceWarning, fipy.SolverConvergenceWarning)
        with warnings.catch_warnings():
            for category in failures:
                warnings.simplefilter("error", category)
            try:
                equation.solve(var=field, solver=solver, dt=step)
            except failures as err:
                size = max(float(np.linalg.norm(source)), 1e-300)
                reached = float(solver.convergence.residual) / size
                raise ConvergenceError(
                    f"FiPy stopped at a relative residual of {reached:.1e} on {what}, wanted "
                    f"{tolerance:.0e}",
                    reached=reached,
                    wanted=tolerance,
                    iterations=int(solver.convergence.iterations),
                ) from err
        return int(solver.convergence.iterations)

    def _residual(self, field: Array, source: Array) -> float:
        """What the face flows leave over in the cells, relative to the source."""
        a, b = self.ends
        flux = self.edge * (field[a] - field[b])
        n = field.size
        left = np.bincount(a, flux, n) - np.bincount(b, flux, n) + self.diagonal * field - source
        return float(np.linalg.norm(left) / np.linalg.norm(source))

    def _flows(self, field: Array, port: int) -> Array:
        """Flows out of the ports while one is at one pascal. [m3/(s Pa)]"""
        held = (self.port == port).astype(float)
        flux = self.conductance * (held - field[self.cell])
        return np.asarray(self.scale * np.bincount(self.port, flux, len(self.soil.ports)))

    def _imbalance(self, field: Array, port: int) -> tuple[float, float]:
        """Sum of the flows over the port's own, and what rounding alone may leave of it."""
        flows = self._flows(field, port)
        moved = max(abs(float(flows[port])), 1e-300)
        rounding = 10.0 * float(np.finfo(float).eps) * self.scale * float(self.conductance.sum())
        return abs(float(flows.sum())) / moved, rounding / moved
