"""From a case to a result: one layout, all its conditions, one grid."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from soilflow.baseline import before_digging, readings
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.contrast import naming_inputs
from soilflow.flow.grid import Grid, grid_for
from soilflow.flow.response import respond
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import HeldBody
from soilflow.layout.digging import water_notes
from soilflow.layout.layout import Layout
from soilflow.memory import BYTES_PER_CELL, require_memory
from soilflow.operate import operate
from soilflow.results.coverage import STRIP, THRESHOLDS, coverage, worst_margin
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.leaks import leak_flows, worst_opening
from soilflow.results.result import Baseline, ConditionResult, Result, SoilSolution
from soilflow.results.rooms import room_results
from soilflow.site.effects import HOUSE, Effect
from soilflow.site.plan import wall_strip
from soilflow.site.site import Site
from soilflow.units import M_PER_FOOT

__all__ = [
    "Estimate",
    "estimate",
    "evaluate",
    "fitting_grid_of",
    "grid_of",
    "map_of",
    "run_layout",
    "solve_soil",
]

# Fitted to benchmarks/tables/profile.txt and speed.txt: two cores, 180 to 250 thousand cells,
# pictures and file included. Per cell and field, per cell once, and per run. Estimates only. [s]
_SECONDS_PER_CELL_AND_FIELD = 0.8e-6
_SECONDS_PER_CELL = 6e-6
_SECONDS_AT_LEAST = 2.7
_BYTES_AT_REST = 1.8e8


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """What a run will cost.

    Parameters
    ----------
    cells : int
        Cells of the grid.
    ports : int
        Suction points and what the soil leaks to.
    seconds : float
        Time on two ordinary cores. [s]
    megabytes : float
        Peak memory. [MB]
    """

    cells: int
    ports: int
    seconds: float
    megabytes: float


def _strip_lines(site: Site) -> tuple[list[float], list[float]]:
    """Grid lines at the inner edge of the wall strips that perimeter coverage looks at. [m]"""
    lines: tuple[list[float], list[float]] = ([], [])
    for wall in site.slab.walls:
        if wall.slant is not None:  # its strip follows the slant, across the grid
            continue
        axis = 0 if wall.outward[0] else 1
        lines[axis].append(wall.start[axis] - STRIP * wall.outward[axis])
    return lines


def grid_of(case: Case, layouts: Sequence[Layout], *, sites: Sequence[Site] = ()) -> Grid:
    """Grid of a case, refined for the pits of one or several layouts.

    Parameters
    ----------
    case : Case
        The case.
    layouts : sequence of Layout
        Layouts that share the grid.
    sites : sequence of Site
        Sites that share it; none for that of the case alone.

    Returns
    -------
    grid : Grid
        With lines on the interfaces of all sites.
    """
    effects: list[Effect] = []
    held: list[HeldBody] = []
    lines: tuple[list[float], list[float]] = ([], [])
    for site in sites or (case.site,):
        floor = site.slab.polygon
        effects += site.effects()
        for layout in layouts:
            effects += layout.effects(floor)
            held += layout.held_bodies(floor)
        for axis, wanted in enumerate(_strip_lines(site)):
            lines[axis].extend(wanted)
    return grid_for(effects, held, case.resolution, extra_lines=lines)


def fitting_grid_of(case: Case, layouts: Sequence[Layout], *, sites: Sequence[Site] = ()) -> Grid:
    """Grid of a case as ``grid_of`` makes it, once it is known to fit into memory.

    Parameters
    ----------
    case : Case
        The case.
    layouts : sequence of Layout
        Layouts that share the grid.
    sites : sequence of Site
        Sites that share it; none for that of the case alone.

    Returns
    -------
    grid : Grid
        With lines on the interfaces of all sites.

    Raises
    ------
    TooLargeError
        Solving it would take more memory than is free.
    """
    grid = grid_of(case, layouts, sites=sites)
    require_memory(
        grid.cells,
        lambda other: grid_of(case.with_resolution(other), layouts, sites=sites).cells,
        name=case.resolution.name,
    )
    return grid


def map_of(case: Case, layout: Layout, grid: Grid | None = None) -> SoilMap:
    """What the model thinks is there, for one layout.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    grid : Grid or None
        Grid to use; None makes one for this layout.

    Returns
    -------
    soil : SoilMap
        The soil map.
    """
    floor = case.site.slab.polygon
    grid = grid_of(case, [layout]) if grid is None else grid
    effects = (*case.site.effects(), *layout.effects(floor))
    return build_soil_map(grid, effects, layout.held_bodies(floor))


def estimate(case: Case, layout: Layout, *, grid: Grid | None = None) -> Estimate:
    """What running a layout will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    grid : Grid or None
        Grid to use; None makes one for this layout.

    Returns
    -------
    estimate : Estimate
        Cells, time and memory.
    """
    cells = (grid_of(case, [layout]) if grid is None else grid).cells
    site = case.site
    references = 1 + len(site.outdoor_names) + len(site.room_names)
    ports = len(layout.points) + references
    fields = ports + references  # those before digging too
    return Estimate(
        cells=cells,
        ports=ports,
        seconds=_SECONDS_AT_LEAST
        + cells * (_SECONDS_PER_CELL + fields * _SECONDS_PER_CELL_AND_FIELD),
        megabytes=(_BYTES_AT_REST + cells * BYTES_PER_CELL) / 1e6,
    )


def solve_soil(
    soil: SoilMap, viscosity: float, *, progress: Progress | None = None
) -> SoilSolution:
    """Solve a soil map with the library's own engine.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    solution : SoilSolution
        Conductances, unit fields and port matrix.

    Raises
    ------
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    network = build_soil_network(soil, viscosity)
    return SoilSolution(soil=soil, network=network, response=respond(network, progress=progress))


def run_layout(
    case: Case,
    layout: str | Layout | None = None,
    *,
    grid: Grid | None = None,
    engine: Callable[..., SoilSolution] = solve_soil,
    baseline: bool | Mapping[str, Baseline] = True,
    progress: Progress | None = None,
) -> Result:
    """Solve one layout of a case in all its conditions.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        The layout or its name; None takes the first.
    grid : Grid or None
        Grid to use; None makes one for this layout.
    engine : callable
        Turns a soil map and a viscosity into a solution, with ``progress`` as a keyword.
    baseline : bool or mapping of str to Baseline
        Whether to solve the floor before digging too, on the same grid; or what was found
        there already, by condition.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    result : Result
        Fields, flows, coverage and how the solve went.

    Raises
    ------
    InputError
        No such layout, one that cannot be dug, or no floor with air below it.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    TooLargeError
        The grid would take more memory than is free; a grid handed over is not asked.
    OutOfRangeError
        The fan would work outside its curve.
    """
    if isinstance(layout, Layout):
        case.with_layout(layout)  # a layout of its own is checked like one of the case's
    chosen = layout if isinstance(layout, Layout) else case.layout(layout)
    clock = [time.perf_counter()]
    soil = map_of(case, chosen, fitting_grid_of(case, [chosen]) if grid is None else grid)
    clock.append(time.perf_counter())
    dug, undug = _shares(progress, len(soil.ports), len(soil.ports) - len(soil.held), baseline)
    with naming_inputs(case.site):
        solution = engine(soil, case.air.viscosity, progress=dug)
    clock.append(time.perf_counter())
    if baseline is True:
        before: Mapping[str, Baseline] = before_digging(
            case, soil.grid, engine=engine, progress=undug
        )
    else:
        before = baseline or {}
    clock.append(time.perf_counter())
    floor = floor_response(soil, solution.network, solution.response)
    conditions = {
        c.name: evaluate(case, chosen, c, solution, floor, baseline=before.get(c.name))
        for c in case.conditions
    }
    clock.append(time.perf_counter())
    stages = ("grid and map", "solve", "before digging", "results")
    return Result(
        title=case.title,
        layout=chosen.name,
        variant=case.variant,
        site=case.site,
        arrangement=chosen,
        air=case.air,
        hole_places={h.name: (h.x, h.y) for h in case.test_holes},
        solution=solution,
        conditions=conditions,
        notes=_notes(case, chosen, solution, conditions),
        seconds=dict(zip(stages, np.diff(clock).tolist(), strict=True)),
    )


def _shares(
    progress: Progress | None, ports: int, references: int, baseline: object
) -> tuple[Progress | None, Progress | None]:
    """One count over the fields with the layout and those before digging."""
    if progress is None:
        return None, None
    tell, total = progress, ports + (references if baseline is True else 0)
    return (lambda done, _: tell(done, total)), (lambda done, _: tell(ports + done, total))


def evaluate(
    case: Case,
    layout: Layout,
    condition: Condition,
    solution: SoilSolution,
    floor: FloorResponse,
    *,
    baseline: Baseline | None = None,
) -> ConditionResult:
    """Everything a result says about one condition: dense algebra on the solved response.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout that was solved.
    condition : Condition
        The condition.
    solution : SoilSolution
        The solved soil.
    floor : FloorResponse
        Its unit fields under the slab.
    baseline : Baseline or None
        The floor before digging, to be kept with the rest.

    Returns
    -------
    result : ConditionResult
        Pressures, flows and coverage.
    """
    soil, network, response = solution.soil, solution.network, solution.response
    atm = case.air.pressure_atm
    on = operate(case, layout, condition, solution, fan_on=True)
    off = operate(case, layout, condition, solution, fan_on=False)
    node_u = on.u @ response.unit_fields
    pressure, pressure_off = floor.pressure(on.u, atm), floor.pressure(off.u, atm)
    slab = case.site.slab
    strip = wall_strip(slab.polygon, slab.walls, STRIP)
    judged = floor.pressure(on.u, atm, room=soil.ports.index(HOUSE))
    return ConditionResult(
        name=condition.name,
        outdoor_pressure=condition.outdoors,
        operating_point=on,
        fan_off=off,
        node_u=node_u,
        floor=pressure,
        floor_off=pressure_off,
        coverage_area={t: coverage(judged, t) for t in THRESHOLDS},
        coverage_perimeter={t: coverage(judged, t, strip=strip) for t in THRESHOLDS},
        worst=worst_margin(judged),
        opening=worst_opening(soil, network, node_u, on.u, atm),
        house_on=leak_flows(network, node_u, on.u, HOUSE),
        house_off=leak_flows(network, off.u @ response.unit_fields, off.u, HOUSE),
        outdoors_on=leak_flows(network, node_u, on.u, *case.site.outdoor_names),
        test_holes=readings(case, pressure),
        test_holes_off=readings(case, pressure_off),
        baseline=baseline,
        rooms=room_results(case.site.room_names, solution, floor, on, off, strip, atm),
    )


def _notes(
    case: Case, layout: Layout, solution: SoilSolution, conditions: dict[str, ConditionResult]
) -> tuple[str, ...]:
    """What the reader should know about the inputs and the solve."""
    found = [*case.site.doubts(), *water_notes(layout, case.site.ground.water_table)]
    lost = solution.network.lost_cells
    if lost:
        found.append(f"{lost} soil cells have no way to any opening and were left out")
    first = next(iter(conditions.values()))
    dead = first.floor.no_air_area
    if dead > 0.0:
        found.append(
            f"{dead / M_PER_FOOT**2:.0f} sq ft ({dead:.2f} m2) of floor has no air path below it: "
            "it is left out of every coverage, and no suction reaches it"
        )
    for condition in conditions.values():
        found.extend(f"{condition.name}: {note}" for note in condition.operating_point.notes)
    return tuple(dict.fromkeys(found))
