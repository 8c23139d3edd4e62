"""The floor before digging: what a gauge reads when there is no pit yet.

A pit drilled and left capped is not the same: it joins places that packed soil kept apart.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from soilflow.air import u_from_pressure
from soilflow.case import Case
from soilflow.contrast import naming_inputs
from soilflow.flow.grid import Grid
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import build_soil_map
from soilflow.results.floor import FloorPressure, floor_response, pressure_at
from soilflow.results.leaks import leak_flows
from soilflow.results.result import Baseline, SoilSolution
from soilflow.site.effects import HOUSE

__all__ = ["before_digging", "readings"]


def readings(case: Case, floor: FloorPressure) -> dict[str, float]:
    """What each test hole of a case reads.

    Parameters
    ----------
    case : Case
        The case.
    floor : FloorPressure
        Pressure under its slab.

    Returns
    -------
    pressures : dict of str to float
        By test hole; NaN where no air reaches. [Pa]
    """
    return {hole.name: pressure_at(floor, hole.x, hole.y) for hole in case.test_holes}


def before_digging(
    case: Case,
    grid: Grid,
    *,
    engine: Callable[..., SoilSolution],
    progress: Progress | None = None,
) -> dict[str, Baseline]:
    """Solve a case without any layout, for all its conditions.

    Parameters
    ----------
    case : Case
        The case.
    grid : Grid
        Grid to use.
    engine : callable
        Turns a soil map and a viscosity into a solution, with ``progress`` as a keyword.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    baselines : dict of str to Baseline
        By condition.

    Raises
    ------
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    undug = build_soil_map(grid, case.site.effects(), ())
    with naming_inputs(case.site):
        solution = engine(undug, case.air.viscosity, progress=progress)
    network, response = solution.network, solution.response
    under = floor_response(solution.soil, network, response)
    found = {}
    for condition in case.conditions:
        pressures = case.reference_pressures(condition)
        u = np.array([u_from_pressure(pressures[p], case.air.pressure_atm) for p in response.ports])
        floor = under.pressure(u, case.air.pressure_atm)
        found[condition.name] = Baseline(
            floor=floor,
            house=leak_flows(network, u @ response.unit_fields, u, HOUSE),
            test_holes=readings(case, floor),
            rooms={
                name: leak_flows(network, u @ response.unit_fields, u, name)
                for name in case.site.room_names
            },
        )
    return found
