"""What a solved house becomes when some of its slots are opened or closed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.conditions import DESIGN, Condition
from soilflow.errors import InputError
from soilflow.flow.leak_update import LeakFields, leak_fields
from soilflow.flow.side_by_side import Progress
from soilflow.operate import operate
from soilflow.operating_point import CAPPED, OperatingPoint
from soilflow.port_elimination import all_ports, eliminate
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.leak_changes import FloorMeasures, changed_floor, measure_floor, room_air
from soilflow.results.leaks import leak_flows
from soilflow.results.solved import SoilSolution
from soilflow.site.effects import HOUSE
from soilflow.studies.leak_model import LeakModel

__all__ = [
    "LeakState",
    "Outcome",
    "deciding_state",
    "fields_of",
    "held_u",
    "outcome",
    "solved_measures",
    "state_of",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class LeakState:
    """The house as it is under one condition.

    Parameters
    ----------
    condition : Condition
        The condition.
    point : OperatingPoint
        Where fan and soil agree.
    measures : FloorMeasures
        Margin, coverage, room air.
    """

    condition: Condition
    point: OperatingPoint
    measures: FloorMeasures


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """What a change of slots does.

    Parameters
    ----------
    held : FloorMeasures
        With the pits at the pressures they had.
    driven : FloorMeasures
        With fan and pipes at their new operating point.
    point : OperatingPoint
        That point.
    floor : FloorResponse
        Unit fields under the slab after the change.
    """

    held: FloorMeasures
    driven: FloorMeasures
    point: OperatingPoint
    floor: FloorResponse


def state_of(model: LeakModel, condition: Condition) -> LeakState:
    """The house as it is under one condition.

    Parameters
    ----------
    model : LeakModel
        The house.
    condition : Condition
        The condition.

    Returns
    -------
    state : LeakState
        Its operating point and floor.

    Raises
    ------
    OutOfRangeError
        A fan would work outside its curve.
    """
    point = operate(model.case, model.layout, condition, model.solution, fan_on=True)
    fields = model.solution.response.unit_fields[:, model.kept]
    conductance, direct = model.paths.conductance(), model.solution.network.direct
    measures = _measures(model, model.floor, point.u, fields, conductance, direct)
    return LeakState(condition=condition, point=point, measures=measures)


def deciding_state(model: LeakModel, name: str | None = None) -> LeakState:
    """The house as it is in the condition that decides.

    Parameters
    ----------
    model : LeakModel
        The house.
    name : str or None
        Name of a condition; None takes the design condition, or the one with the least margin.

    Returns
    -------
    state : LeakState
        Its operating point and floor.

    Raises
    ------
    InputError
        No such condition.
    OutOfRangeError
        A fan would work outside its curve.
    """
    conditions = {c.name: c for c in model.case.conditions}
    if name is None and DESIGN not in conditions:
        states = [state_of(model, c) for c in conditions.values()]
        return min(states, key=lambda state: state.measures.worst.margin)
    wanted = DESIGN if name is None else name
    if wanted not in conditions:
        have = ", ".join(f'"{c}"' for c in conditions)
        raise InputError(f'no condition "{wanted}" in this case; it has {have}', field="condition")
    return state_of(model, conditions[wanted])


def fields_of(
    model: LeakModel, rows: Sequence[int] | Index, *, progress: Progress | None = None
) -> LeakFields:
    """Solve the fields that some slots need before they can be changed.

    Parameters
    ----------
    model : LeakModel
        The house.
    rows : sequence of int
        The slots.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    fields : LeakFields
        One solve for each lower end.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    """
    return leak_fields(
        model.solution.network,
        model.solution.response,
        model.system,
        model.paths,
        rows=rows,
        kept=model.kept,
        tolerance=model.tolerance,
        progress=progress,
    )


def outcome(
    model: LeakModel,
    state: LeakState,
    fields: LeakFields,
    rows: Index,
    added: Array,
    direct: Array,
) -> Outcome:
    """Change some slots, exactly.

    Parameters
    ----------
    model : LeakModel
        The house.
    state : LeakState
        As it is.
    fields : LeakFields
        Fields of the slots.
    rows : array of int, shape (m,)
        The slots.
    added : array, shape (m,)
        Added to the conductance of each way. [m3/(s Pa)]
    direct : array, shape (p, p)
        Added straight from port to port. [m3/(s Pa)]

    Returns
    -------
    outcome : Outcome
        What it does.

    Raises
    ------
    OutOfRangeError
        A fan would work outside its curve.
    """
    solution = model.solution
    update = fields.update(solution.response.port_matrix, rows, added)
    matrix = update.port_matrix + np.diag(direct.sum(axis=1)) - direct
    floor = changed_floor(model.floor, model.nodes, fields, update)
    now = solution.response.unit_fields[:, model.kept] - fields.shift(update)
    conductance = model.paths.conductance()
    np.add.at(conductance, rows, added)
    straight = solution.network.direct + direct
    changed = replace(solution, response=replace(solution.response, port_matrix=matrix))
    point = operate(model.case, model.layout, state.condition, changed, fan_on=True)

    def measured(u: Array) -> FloorMeasures:
        return _measures(model, floor, u, now, conductance, straight)

    return Outcome(
        held=measured(held_u(matrix, state.point, model.case.air.pressure_atm)),
        driven=measured(point.u),
        point=point,
        floor=floor,
    )


def held_u(port_matrix: Array, point: OperatingPoint, pressure_atm: float) -> Array:
    """u at every port of a changed soil when all but the capped ones keep their pressures.

    Parameters
    ----------
    port_matrix : array, shape (p, p)
        Of the changed soil. [m3/(s Pa)]
    point : OperatingPoint
        The pressures as they were.
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    u : array, shape (p,)
        Capped points float anew. [Pa]
    """
    given = {
        name: float(pressure)
        for name, state, pressure in zip(
            point.port_names, point.states, point.pressures, strict=True
        )
        if state != CAPPED
    }
    seen = eliminate(port_matrix, point.port_names, given, (), pressure_atm)
    return all_ports(port_matrix, seen, np.empty(0))[0]


def _measures(
    model: LeakModel,
    floor: FloorResponse,
    u: Array,
    fields: Array,
    conductance: Array,
    direct: Array,
) -> FloorMeasures:
    network = model.solution.network
    air = room_air(
        network, model.paths, conductance, direct, model.kept, u @ fields, u, model.rooms
    )
    atm = model.case.air.pressure_atm
    return measure_floor(floor, u, atm, house=network.ports.index(HOUSE), air=air)


def solved_measures(case: Case, solution: SoilSolution, u: Array) -> FloorMeasures:
    """Measures of a soil that was solved in full.

    Parameters
    ----------
    case : Case
        The case.
    solution : SoilSolution
        The solved soil.
    u : array, shape (p,)
        p + p^2 / (2 p_atm) at its ports. [Pa]

    Returns
    -------
    measures : FloorMeasures
        Margin, coverage, room air.
    """
    network, response = solution.network, solution.response
    floor = floor_response(solution.soil, network, response)
    rooms = (HOUSE, *case.site.room_names)
    air = leak_flows(network, u @ response.unit_fields, u, *rooms).into_soil
    house = network.ports.index(HOUSE)
    return measure_floor(floor, u, case.air.pressure_atm, house=house, air=air)
