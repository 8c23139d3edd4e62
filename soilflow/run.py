"""From a case to a result: one layout, all its conditions, one grid."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

import numpy as np

from soilflow.baseline import before_digging, readings
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.contrast import naming_inputs
from soilflow.flow.grid import Grid
from soilflow.flow.response import respond
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import build_soil_network
from soilflow.grids import fitting_grid_of, map_of
from soilflow.layout.digging import water_notes
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.coverage import STRIP, THRESHOLDS, coverage, worst_margin
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.leaks import leak_flows, worst_opening
from soilflow.results.result import Baseline, ConditionResult, Result, SoilSolution
from soilflow.results.rooms import room_results
from soilflow.site.effects import HOUSE
from soilflow.site.plan import wall_strip
from soilflow.units import M_PER_FOOT

__all__ = ["evaluate", "run_layout", "solve_soil"]


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
