"""Where do pits do more: along the walls or in the middle? A map over two numbers of the site."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.errors import BalanceError, ConvergenceError, InputError, SoilflowError
from soilflow.flow.grid import Grid, Resolution
from soilflow.flow.nearby import mixed_fields
from soilflow.flow.response import SoilResponse, respond, system_of
from soilflow.flow.side_by_side import Progress, each_of, processors
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.flow.solve import Preconditioned
from soilflow.grids import fitting_grid_of, map_of
from soilflow.layout.layout import Layout
from soilflow.results.solved import SoilSolution
from soilflow.site.site import Site
from soilflow.studies.deciding import measured, on_site_of
from soilflow.studies.gap_scenes import GapScene
from soilflow.studies.site_axes import SiteAxis, log_spaced

__all__ = [
    "EVEN",
    "MAP",
    "MEASURES",
    "MapPlan",
    "PlacementMap",
    "map_cost",
    "plan_map",
    "solve_map",
]

Array = NDArray[np.float64]

# Rougher than coarse: against the coarse grid margins moved by 2 % and flows by 1 %, on four
# houses of the case the map was made for, and both placements moved the same way.
MAP = Resolution(
    name="map",
    cells_per_radius=2.5,
    line_size=0.08,
    growth=1.7,
    largest_inside=0.6,
    largest_outside=3.0,
    largest_down=2.0,
)
# What may decide: its unit.
MEASURES = {"margin": "Pa", "flow": "m3/s", "coverage": "-"}
# A lead that the grid of a map cannot tell from none: in pascals, of the logarithm of a ratio, of
# the floor.
EVEN = {"margin": 0.05, "flow": 0.02, "coverage": 0.005}
# Per cell and solved point of the map, on one processor; an estimate only. [s]
_SECONDS = 9e-6
# Fields of this many points before are mixed for a start; more cost more than they save.
_REMEMBERED = 3
# A multigrid cycle of another point of the map that takes longer is set up anew.
_MOST_ITERATIONS = 12


@dataclass(frozen=True, kw_only=True)
class MapPlan:
    """What a map will show.

    Parameters
    ----------
    case : Case
        The house, on the grid of the map.
    wall, centre : Layout
        The two placements.
    scenes : tuple of GapScene
        The panels.
    x, y : SiteAxis
        The numbers that change across and up.
    x_values, y_values : tuple of float
        Their values. [SI]
    measure : str
        What decides: margin, flow or coverage.
    """

    case: Case
    wall: Layout
    centre: Layout
    scenes: tuple[GapScene, ...]
    x: SiteAxis
    y: SiteAxis
    x_values: tuple[float, ...]
    y_values: tuple[float, ...]
    measure: str

    @property
    def placements(self) -> tuple[Layout, Layout]:
        """Wall and centre."""
        return self.wall, self.centre

    def site(self, scene: int, i: int, j: int) -> Site:
        """The site at a point of the map.

        Parameters
        ----------
        scene, i, j : int
            Panel, and where in it.

        Returns
        -------
        site : Site
            With both numbers set.
        """
        across = self.x.change(self.scenes[scene].site, self.x_values[i])
        return self.y.change(across, self.y_values[j])

    @property
    def here(self) -> tuple[str, float, float] | None:
        """Panel and place of the case itself, None where it has none. [SI]"""
        place = self.x.value_of(self.case.site), self.y.value_of(self.case.site)
        own = next((scene.name for scene in self.scenes if scene.own), None)
        if own is None or place[0] is None or place[1] is None:
            return None
        return own, place[0], place[1]


@dataclass(frozen=True, kw_only=True, eq=False)
class PlacementMap:
    """Both placements at every point of a map; the last axis is wall, centre.

    Parameters
    ----------
    plan : MapPlan
        What was asked.
    margins : array, shape (s, nx, ny, 2)
        Suction at the worst spot beyond the pass line, in the condition that decides. [Pa]
    flows : array, shape (s, nx, ny, 2)
        From soil into the pits, at atmospheric pressure. [m3/s]
    coverage_area : array, shape (s, nx, ny, 2)
        Share of the floor with the suction of the pass line. [-]
    at_case : tuple of array, each of shape (2,), or None
        Margins, flows and coverages of the case itself; None where it has no place on the map.
        [SI]
    cells : tuple of int
        Cells of each panel's grid.
    failures : tuple of str
        Why points of the map have no answer, each reason once; their numbers are not numbers.
    """

    plan: MapPlan
    margins: Array
    flows: Array
    coverage_area: Array
    at_case: tuple[Array, Array, Array] | None
    cells: tuple[int, ...]
    failures: tuple[str, ...]

    @property
    def values(self) -> Array:
        """The measure that decides, shape (s, nx, ny, 2). [SI]"""
        chosen = {"margin": self.margins, "flow": self.flows, "coverage": self.coverage_area}
        return chosen[self.plan.measure]

    @property
    def lead(self) -> Array:
        """Wall over centre, shape (s, nx, ny): positive where the wall is better.

        Difference of margins [Pa] or of coverages [-]; of flows the logarithm of their ratio. [-]
        """
        wall, centre = self.values[..., 0], self.values[..., 1]
        if self.plan.measure == "flow":
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.asarray(np.log(wall / centre))
        return np.asarray(wall - centre)

    @property
    def best_margin(self) -> Array:
        """Margin of the better placement, shape (s, nx, ny); negative where neither holds. [Pa]"""
        return np.asarray(self.margins.max(axis=-1))


def plan_map(
    case: Case,
    wall: Layout,
    centre: Layout,
    scenes: Sequence[GapScene],
    *,
    x: SiteAxis,
    y: SiteAxis,
    x_range: tuple[float, float] | None = None,
    y_range: tuple[float, float] | None = None,
    points: int = 7,
    measure: str = "margin",
    resolution: Resolution = MAP,
) -> MapPlan:
    """Lay out a map.

    Parameters
    ----------
    case : Case
        The house.
    wall, centre : Layout
        The two placements.
    scenes : sequence of GapScene
        The panels.
    x, y : SiteAxis
        The numbers that change across and up.
    x_range, y_range : tuple of float or None
        First and last value; None takes the axis's own. [SI]
    points : int
        Values along each axis.
    measure : str
        What decides: margin, flow or coverage.
    resolution : Resolution
        How fine the grid is.

    Returns
    -------
    plan : MapPlan
        Nothing is solved yet.

    Raises
    ------
    InputError
        One axis twice, no such measure, or a range that is none.
    """
    if x.name == y.name:
        raise InputError(f'"{x.name}" is on both axes; take another for one', field="axis")
    if measure not in MEASURES:
        raise InputError(
            f'no measure "{measure}"; there are {", ".join(MEASURES)}', field="measure"
        )
    values = [
        tuple(log_spaced(*(ends or (axis.low, axis.high)), points).tolist())
        for axis, ends in ((x, x_range), (y, y_range))
    ]
    case = case.with_resolution(resolution)
    for layout in (wall, centre):
        case.with_layout(layout)
    return MapPlan(
        case=case,
        wall=wall,
        centre=centre,
        scenes=tuple(scenes),
        x=x,
        y=y,
        x_values=values[0],
        y_values=values[1],
        measure=measure,
    )


def _grids(plan: MapPlan) -> list[Grid]:
    """One grid for each panel, so that within it placements are compared and not grids."""
    corners = [(i, j) for i in (0, -1) for j in (0, -1)]
    return [
        fitting_grid_of(plan.case, plan.placements, sites=[plan.site(s, i, j) for i, j in corners])
        for s in range(len(plan.scenes))
    ]


def map_cost(plan: MapPlan) -> tuple[int, float]:
    """What a map will cost, without solving anything.

    Parameters
    ----------
    plan : MapPlan
        The map.

    Returns
    -------
    solves : int
        Soils to be solved.
    seconds : float
        About how long on this machine's processors. [s]
    """
    each = 2 * len(plan.x_values) * len(plan.y_values)
    cells = sum(grid.cells for grid in _grids(plan))
    ports = max(len(layout.points) for layout in plan.placements) + 2
    seconds = _SECONDS * cells * each * ports / 3.0 / min(processors(), 2)
    return each * len(plan.scenes), seconds


def solve_map(plan: MapPlan, *, progress: Progress | None = None) -> PlacementMap:
    """Solve both placements at every point of a map.

    Parameters
    ----------
    plan : MapPlan
        The map.
    progress : callable or None
        Called with the columns of points done and of all columns, first with none done.

    Returns
    -------
    found : PlacementMap
        A point that could not be solved is not a number, and says why.

    Raises
    ------
    TooLargeError
        A grid would take more memory than is free.
    """
    grids = _grids(plan)
    tasks = list(itertools.product(range(len(plan.scenes)), range(len(plan.x_values)), (0, 1)))
    here = plan.here
    own = next((s for s, scene in enumerate(plan.scenes) if here and scene.own), None)
    tasks += [] if own is None else [(own, -1, 0), (own, -1, 1)]

    def work(number: int) -> tuple[Array, list[str]]:
        scene, i, which = tasks[number]
        up = range(len(plan.y_values))
        sites = [plan.scenes[scene].site] if i < 0 else [plan.site(scene, i, j) for j in up]
        return _column(plan.case, sites, plan.placements[which], grids[scene])

    columns = each_of(work, len(tasks), progress=progress)
    shape = (len(plan.scenes), len(plan.x_values), len(plan.y_values), 2)
    found, at_case = np.full((3, *shape), np.nan), np.full((3, 2), np.nan)
    failures: dict[str, None] = {}
    for (scene, i, which), (numbers, reasons) in zip(tasks, columns, strict=True):
        if i < 0:
            at_case[:, which] = numbers[:, 0]
        else:
            found[:, scene, i, :, which] = numbers
        failures |= dict.fromkeys(reasons)
    return PlacementMap(
        plan=plan,
        margins=found[0],
        flows=found[1],
        coverage_area=found[2],
        at_case=None if own is None else (at_case[0], at_case[1], at_case[2]),
        cells=tuple(grid.cells for grid in grids),
        failures=tuple(failures),
    )


def _column(
    case: Case, sites: Sequence[Site], layout: Layout, grid: Grid
) -> tuple[Array, list[str]]:
    """Margin, flow and coverage on sites that change step by step, shape (3, n); what failed."""
    numbers = np.full((3, len(sites)), np.nan)
    reasons: list[str] = []
    near: Preconditioned | None = None
    known: list[Array] = []
    for j, site in enumerate(sites):
        case = on_site_of(case, site)
        soil = map_of(case, layout, grid)
        network = build_soil_network(soil, case.air.viscosity)
        if known and known[-1].shape[1] != network.nodes:
            near, known = None, []
        try:
            near = near or system_of(network)
            response = _response(network, near, known)
            solution = SoilSolution(soil=soil, network=network, response=response)
            numbers[:, j] = measured(case, layout, solution)
        except SoilflowError as error:
            reasons.append(" ".join(str(error).split()))
            near = None
            continue
        known = [*known, response.unit_fields][-_REMEMBERED:]
        near = near if response.iterations <= _MOST_ITERATIONS else None
    return numbers, reasons


def _response(network: SoilNetwork, near: Preconditioned, known: list[Array]) -> SoilResponse:
    """Begun from the points before; anew where that does not come right."""
    if known:
        try:
            system = system_of(network, near=near)
            return respond(network, system=system, start=mixed_fields(network, known))
        except (BalanceError, ConvergenceError):
            pass
    return respond(network, system=None if known else near)
