"""Every array of a result with its axes, unit and meaning: one table for files and data sets.

Fields run over z, y and x in this order, with z pointing up from the slab underside: that is how
viewers want the bytes, x fastest and every axis ascending.

Length: one table, and what fills each of its rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.air import Air, pressure_from_u
from soilflow.flow.soil_map import NO_AIR_PATH
from soilflow.operating_point import OperatingPoint
from soilflow.results.floor import FloorPressure
from soilflow.results.headlines import HEADLINES
from soilflow.results.solved import ConditionResult, SoilSolution

__all__ = ["MEMBERS", "LabelledArray", "array_groups", "height_of"]

Array = NDArray[np.float64]

# Groups with one member for each point of an axis: the axis.
MEMBERS = {"unit_fields": "port", "conditions": "condition"}

_SOIL_AXES, _PLAN_AXES, _FLOOR_AXES = ("z", "y", "x"), ("y", "x"), ("floor_y", "floor_x")
_SOLID, _SOIL, _PIT, _TIGHT = range(4)
_STATE_WORDS = "solid soil pit no_air_path"


@dataclass(frozen=True, kw_only=True, eq=False)
class LabelledArray:
    """An array that says what it is.

    Parameters
    ----------
    name : str
        Its name.
    values : array
        Numbers or texts. [SI]
    unit : str
        Unit of the numbers, written as in UDUNITS; empty for texts.
    long_name : str
        What it is, in words.
    axes : tuple of str
        Names of its axes; an array of the name of its only axis holds the places along it.
    remarks : mapping of str to object
        What else is to be known, by the names that netCDF files use.
    """

    name: str
    values: NDArray[Any]
    unit: str
    long_name: str
    axes: tuple[str, ...] = ()
    remarks: Mapping[str, Any] = field(default_factory=dict)


def array_groups(
    solution: SoilSolution,
    conditions: Mapping[str, ConditionResult],
    hole_places: Mapping[str, tuple[float, float]],
    air: Air,
) -> Iterator[tuple[tuple[str, ...], list[LabelledArray]]]:
    """Go through all arrays of a result, group by group.

    Parameters
    ----------
    solution : SoilSolution
        The solved soil.
    conditions : mapping of str to ConditionResult
        What happens under each condition, by name; at least one.
    hole_places : mapping of str to (float, float)
        Places of the test holes. [m]
    air : Air
        Air in the soil.

    Yields
    ------
    group : tuple of (tuple of str, list of LabelledArray)
        Where it is, and the arrays in it. The place is empty for the axes that all share, else
        the name of the group and, in the groups of `MEMBERS`, that of the member.
    """
    first = next(iter(conditions.values()))
    yield (), _axes(solution, first, hole_places)
    yield ("soil",), _soil(solution)
    yield ("floor",), _floor(first.floor)
    yield ("ports",), _ports(solution)
    yield ("solver",), _solver(solution)
    yield ("test_holes",), _holes(hole_places)
    for port, name in enumerate(solution.soil.ports):
        yield ("unit_fields", name), _unit_field(solution, port)
    for name, condition in conditions.items():
        yield ("conditions", name), _condition(solution, condition, air)


def height_of(depth: Array) -> Array:
    """Depths below the slab underside as heights above it, in ascending order.

    Parameters
    ----------
    depth : array, shape (n,)
        Ascending. [m]

    Returns
    -------
    height : array, shape (n,)
        Ascending; the same function leads back. [m]
    """
    return 0.0 - depth[::-1]  # a plain minus sign would make the slab underside -0


def _row(
    name: str,
    values: Any,
    unit: str,
    long_name: str,
    axes: Sequence[str] = (),
    remarks: Mapping[str, Any] | None = None,
) -> LabelledArray:
    return LabelledArray(
        name=name,
        values=np.asarray(values),
        unit=unit,
        long_name=long_name,
        axes=tuple(axes),
        remarks=remarks or {},
    )


def _texts(words: Iterable[str]) -> NDArray[Any]:
    return np.array(list(words), dtype=object)


def _up(values: NDArray[Any]) -> NDArray[Any]:
    """From x, y (and z down) to (z up and) y, x."""
    return values.T[::-1] if values.ndim == 3 else values.T


def _axes(
    solution: SoilSolution, first: ConditionResult, holes: Iterable[str]
) -> list[LabelledArray]:
    grid, floor, ports = solution.soil.grid, first.floor, _texts(solution.soil.ports)
    found = []
    for name, edges, words, remarks in (
        ("x", grid.x, "east of the origin of the case", {"axis": "X"}),
        ("y", grid.y, "north of the origin of the case", {"axis": "Y"}),
        ("z", height_of(grid.z), "above the slab underside", {"axis": "Z", "positive": "up"}),
        ("floor_x", floor.x, "east, over the floor only", {}),
        ("floor_y", floor.y, "north, over the floor only", {}),
    ):
        both = f"{name}_edges"
        centres = 0.5 * (edges[1:] + edges[:-1])
        remarks = {**remarks, "edges": both}
        found.append(_row(name, centres, "m", f"cell centres, {words}", (name,), remarks))
        found.append(_row(both, edges, "m", f"cell edges, {words}", (both,)))
    levels = np.array(list(first.coverage_area), dtype=float)
    if len(first.operating_point.fans) > 1:
        fans = _texts(first.operating_point.fans)
        found.append(_row("fan", fans, "", "fan, where there are several", ("fan",)))
    if first.rooms:
        found.append(_row("room", _texts(first.rooms), "", "room beside the house", ("room",)))
    return [
        *found,
        _row("port", ports, "", "where air leaves or enters the soil", ("port",)),
        _row("held_port", ports, "", "the port that is held at one pascal", ("held_port",)),
        _row("test_hole", _texts(holes), "", "name of the test hole", ("test_hole",)),
        _row("threshold", levels, "Pa", "suction that counts as covered", ("threshold",)),
    ]


def _soil(solution: SoilSolution) -> list[LabelledArray]:
    soil = solution.soil
    flags = {"flag_values": np.arange(4, dtype=np.uint8), "flag_meanings": _STATE_WORDS}
    dug = "air permeability, inside pits that of the soil dug out"
    across, along = _up(soil.vertical), _up(soil.horizontal)
    gap = "transmissivity of the gap under the slab"
    return [
        _row("state", _up(_state(solution)), "1", "what fills the cell", _SOIL_AXES, flags),
        _row("permeability_horizontal", along, "m2", f"horizontal {dug}", _SOIL_AXES),
        _row("permeability_vertical", across, "m2", f"vertical {dug}", _SOIL_AXES),
        _row("gap_transmissivity", _up(soil.sheet), "m3", gap, _PLAN_AXES),
    ]


def _state(solution: SoilSolution) -> NDArray[np.uint8]:
    """What fills each cell; solids inside soil too tight for air count as such soil."""
    soil = solution.soil
    tight = np.minimum(soil.horizontal, soil.vertical) < NO_AIR_PATH
    lost = soil.air & (solution.network.cell_node < 0)
    state = np.full(soil.grid.shape, _SOLID, dtype=np.uint8)
    state[tight | lost] = _TIGHT
    state[soil.air & ~lost] = _SOIL
    state[soil.cavity >= 0] = _PIT
    return state


def _floor(floor: FloorPressure) -> list[LabelledArray]:
    words = "whether a slab covers the column"
    return [_row("under_slab", _up(floor.floor), "1", words, _FLOOR_AXES)]


def _ports(solution: SoilSolution) -> list[LabelledArray]:
    response, axes, unit = solution.response, ("port", "held_port"), "m3 s-1 Pa-1"
    words = "Y in the flows from soil into ports q = -Y u, u = p + p^2/(2 p_atm)"
    check = f"{words}, summed over cell faces, as a check"
    return [
        _row("port_matrix", response.port_matrix, unit, words, axes),
        _row("face_matrix", response.face_matrix, unit, check, axes),
    ]


def _solver(solution: SoilSolution) -> list[LabelledArray]:
    network, response = solution.network, solution.response
    iterations = [report.iterations for report in response.reports]
    residuals = [report.residual for report in response.reports]
    by_port = [
        _row("iterations", iterations, "1", "iterations that the unit field took", ("port",)),
        _row("residual", residuals, "1", "residual over right-hand side, at the end", ("port",)),
    ]
    return [
        *(by_port if response.reports else ()),  # soil without air has no field to solve
        _row("nodes", network.nodes, "1", "cells of soil and gap solved for"),
        _row("lost_cells", network.lost_cells, "1", "soil cells without a way to any port"),
        _row("viscosity", network.viscosity, "Pa s", "dynamic viscosity of the soil air"),
        _row("mass_balance", response.balance, "1", "largest imbalance of a unit field"),
        _row("partition_of_unity", response.partition, "1", "largest error of the fields' sum"),
    ]


def _holes(places: Mapping[str, tuple[float, float]]) -> list[LabelledArray]:
    x, y = np.array(list(places.values()), dtype=float).reshape(-1, 2).T
    return [
        _row("test_hole_x", x, "m", "place of the test hole, east", ("test_hole",)),
        _row("test_hole_y", y, "m", "place of the test hole, north", ("test_hole",)),
    ]


def _unit_field(solution: SoilSolution, port: int) -> list[LabelledArray]:
    nodes = solution.response.unit_fields[port]
    cells = _in_cells(solution, nodes, np.eye(len(solution.soil.ports))[port])
    u = "p + p^2/(2 p_atm) with this port at one and the others at zero"
    return [
        _row("unit_field", _up(cells), "1", f"{u}, in the soil", _SOIL_AXES),
        _row("gap_unit_field", _up(_in_gap(solution, nodes)), "1", f"{u}, in the gap", _PLAN_AXES),
    ]


def _in_cells(solution: SoilSolution, at_nodes: Array, at_ports: Array) -> Array:
    """Values in all cells, shape of the grid; NaN where no air moves."""
    soil, node = solution.soil, solution.network.cell_node
    found = np.full(soil.grid.shape, np.nan)
    found[node >= 0] = at_nodes[node[node >= 0]]
    for body in range(len(soil.held)):
        found[soil.cavity == body] = at_ports[soil.body_port(body)]
    return found


def _in_gap(solution: SoilSolution, at_nodes: Array) -> Array:
    """Values in the gap, shape (nx, ny); NaN where there is none."""
    node = solution.network.sheet_node
    found = np.full(node.shape, np.nan)
    found[node >= 0] = at_nodes[node[node >= 0]]
    return found


# Single numbers of a condition: name, unit, meaning, and where a `ConditionResult` has it. What
# is not there is stored as NaN. To store one more, add its line.
_NUMBERS = (
    ("outdoor_pressure", "Pa", "outdoors above the room", "outdoor_pressure"),
    ("worst_margin", "Pa", "margin to the pass line at the worst patch", "worst.margin"),
    ("worst_x", "m", "place of the worst patch, east", "worst.x"),
    ("worst_y", "m", "place of the worst patch, north", "worst.y"),
    ("opening_pressure", "Pa", "highest pressure under a joint or crack", "opening.pressure"),
    ("opening_x", "m", "place of that joint or crack, east", "opening.x"),
    ("opening_y", "m", "place of that joint or crack, north", "opening.y"),
    ("fan_flow", "m3 s-1", "volume through all fans", "operating_point.fan_flow"),
    ("fan_static", "Pa", "highest static pressure of a fan", "operating_point.fan_static"),
    ("fan_power", "W", "electrical power of all fans", "operating_point.fan_power"),
    ("fan_residual", "Pa", "mismatch at points and fan", "operating_point.residual"),
    ("entry", "m3 s-1", "soil air into the house, fan on", "house_on.from_soil"),
    ("entry_fan_off", "m3 s-1", "soil air into the house, fan off", "house_off.from_soil"),
    (
        "entry_before_digging",
        "m3 s-1",
        "soil air into the house, before digging",
        "baseline.house.from_soil",
    ),
    ("air_from_house", "m3 s-1", "house air into the soil, fan on", "house_on.into_soil"),
    ("air_from_outdoors", "m3 s-1", "outdoor air into the soil, fan on", "outdoors_on.into_soil"),
)

# The same of each room beside the house, against its own air; left out where there is none.
_ROOM_NUMBERS = (
    ("room_pressure", "Pa", "air of the room above the house", "pressure"),
    ("room_worst_margin", "Pa", "margin to the pass line at its worst patch", "worst.margin"),
    ("room_worst_x", "m", "place of its worst patch, east", "worst.x"),
    ("room_worst_y", "m", "place of its worst patch, north", "worst.y"),
    ("room_entry", "m3 s-1", "soil air into the room, fan on", "entry_on.from_soil"),
    ("room_entry_fan_off", "m3 s-1", "soil air into the room, fan off", "entry_off.from_soil"),
    ("air_from_room", "m3 s-1", "air of the room into the soil, fan on", "entry_on.into_soil"),
)

_State = tuple[str, str, FloorPressure, Mapping[str, float], OperatingPoint | None]


def _states(condition: ConditionResult) -> Iterator[_State]:
    """States of the floor: end of the names, words, floor, test holes, operating point."""
    c = condition
    yield "", "fan on", c.floor, c.test_holes, c.operating_point
    yield "_fan_off", "fan off", c.floor_off, c.test_holes_off, c.fan_off
    if c.baseline is not None:
        yield "_before_digging", "before digging", c.baseline.floor, c.baseline.test_holes, None


def _condition(solution: SoilSolution, condition: ConditionResult, air: Air) -> list[LabelledArray]:
    at_nodes = pressure_from_u(condition.node_u, air.pressure_atm)
    on = condition.operating_point
    cells, gap = _in_cells(solution, at_nodes, on.pressures), _in_gap(solution, at_nodes)
    words = "pressure relative to the room at slab level"
    found = [
        _row("pressure", _up(cells), "Pa", f"{words}, fan on", _SOIL_AXES),
        _row("gap_pressure", _up(gap), "Pa", f"{words}, in the gap, fan on", _PLAN_AXES),
    ]
    for end, when, floor, holes, point in _states(condition):
        said, under = f"{words}, {when}", _up(floor.pressure)
        read = np.array(list(holes.values()), dtype=float)
        found.append(_row(f"floor_pressure{end}", under, "Pa", said, _FLOOR_AXES))
        found.append(_row(f"test_hole_pressure{end}", read, "Pa", said, ("test_hole",)))
        if point is not None:
            flow = f"flow from soil into the port, volume at atmospheric pressure, {when}"
            found.append(_row(f"port_pressure{end}", point.pressures, "Pa", said, ("port",)))
            found.append(_row(f"port_flow{end}", point.flows, "m3 s-1", flow, ("port",)))
    riser = [on.riser_vacuums.get(name, np.nan) for name in on.port_names]
    found.append(_row("port_state", _texts(on.states), "", "what holds the port", ("port",)))
    found.append(_row("riser_vacuum", riser, "Pa", "vacuum in the pipe past the pit", ("port",)))
    return [
        *found,
        *_coverage(condition),
        *_numbers(condition),
        *_rooms(condition),
        *_fans(condition),
        *_bars(condition),
    ]


def _bars(condition: ConditionResult) -> Iterator[LabelledArray]:
    """Error bars of the grid, where they were asked for."""
    labels = {
        "": [""],
        "port": list(condition.operating_point.port_names),
        "test_hole": list(condition.test_holes),
        "threshold": [f"{threshold:g}" for threshold in condition.coverage_area],
    }
    for name, bars in condition.bars.items():
        unit, axis = HEADLINES[name]
        axes = (axis,) if axis else ()
        have = [bars.get(label) for label in labels[axis]]
        error = np.array([np.nan if bar is None else bar.error for bar in have])
        order = np.array([np.nan if bar is None else bar.order for bar in have])
        half, power = f"half the error bar of {name}, for its grid alone", "of the cell size"
        shape = (len(have),) if axis else ()
        yield _row(f"{name}_error", error.reshape(shape), unit, half, axes)
        yield _row(f"{name}_order", order.reshape(shape), "1", f"power {power} it follows", axes)


def _coverage(condition: ConditionResult) -> list[LabelledArray]:
    area, strip = condition.coverage_area, condition.coverage_perimeter
    words = "with at least the suction of the threshold"
    axes = ("threshold",)
    return [
        _row("coverage_area", list(area.values()), "1", f"share of the floor {words}", axes),
        _row("coverage_perimeter", list(strip.values()), "1", f"share along walls {words}", axes),
    ]


def _number_at(holder: Any, path: str) -> float:
    """A number somewhere inside; NaN where what would hold it is missing. [SI]"""
    value = holder
    for step in path.split("."):
        value = None if value is None else getattr(value, step)
    return np.nan if value is None else float(value)


# The same of each fan, left out where there is only one.
_FAN_NUMBERS = (
    ("flow_by_fan", "m3 s-1", "volume through the fan", "flow"),
    ("static_by_fan", "Pa", "static pressure of the fan", "static_pressure"),
    ("power_by_fan", "W", "electrical power of the fan", "power"),
)


def _fans(condition: ConditionResult) -> list[LabelledArray]:
    duties = list(condition.operating_point.fans.values())
    if len(duties) < 2:
        return []
    return [
        _row(name, [_number_at(duty, path) for duty in duties], unit, about, ("fan",))
        for name, unit, about, path in _FAN_NUMBERS
    ]


def _rooms(condition: ConditionResult) -> list[LabelledArray]:
    rooms = list(condition.rooms.values())
    if not rooms:
        return []
    shares = [list(room.coverage_area.values()) for room in rooms]
    words = "share of its floor with at least the suction of the threshold"
    return [
        *(
            _row(name, [_number_at(room, path) for room in rooms], unit, about, ("room",))
            for name, unit, about, path in _ROOM_NUMBERS
        ),
        _row("room_coverage_area", shares, "1", words, ("room", "threshold")),
    ]


def _numbers(condition: ConditionResult) -> list[LabelledArray]:
    found = [
        _row(name, _number_at(condition, path), unit, words) for name, unit, words, path in _NUMBERS
    ]
    opening = "" if condition.opening is None else condition.opening.name
    words = "whether the whole floor is at or beyond the pass line"
    return [
        *found,
        _row("opening", np.array(opening, dtype=object), "", "joint or crack of that pressure"),
        _row("passes", condition.passes, "1", words),
    ]
