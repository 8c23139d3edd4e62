"""Fans meet the soil of a case under one of its conditions."""

from __future__ import annotations

from soilflow.air import Air
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.layout.drive import Drive
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout
from soilflow.layout.pipes import PipeTree
from soilflow.operating_point import OperatingPoint, solve_operating_point
from soilflow.results.solved import SoilSolution

__all__ = ["operate", "ports_in_use"]


def operate(
    case: Case, layout: Layout, condition: Condition, solution: SoilSolution, *, fan_on: bool
) -> OperatingPoint:
    """Operating point of a layout; fan off leaves the pipes open, or the points capped.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    condition : Condition
        The condition.
    solution : SoilSolution
        The solved soil.
    fan_on : bool
        Whether the fans run.

    Returns
    -------
    point : OperatingPoint
        All fans together, which the soil couples.

    Raises
    ------
    OutOfRangeError
        A fan would work outside its curve.
    """
    given, capped, drives = ports_in_use(case, layout, condition, solution, fan_on=fan_on)
    return solve_operating_point(
        solution.response.port_matrix,
        port_names=solution.soil.ports,
        given_pressures=given,
        capped=capped,
        drives=drives,
        pressure_atm=case.air.pressure_atm,
    )


def ports_in_use(
    case: Case, layout: Layout, condition: Condition, solution: SoilSolution, *, fan_on: bool
) -> tuple[dict[str, float], set[str], list[Drive]]:
    """What each port of a case is held by on the day of a condition.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    condition : Condition
        The condition.
    solution : SoilSolution
        The solved soil.
    fan_on : bool
        Whether the fans run.

    Returns
    -------
    given : dict of str to float
        Ports with a stated pressure. [Pa]
    capped : set of str
        Points that float.
    drives : list of Drive
        Fans and pipes on the other points.
    """
    ports = solution.soil.ports
    known = case.reference_pressures(condition)
    given = {name: known[name] for name in ports if name in known}
    capped = {point.name for point in layout.points if point.capped}
    if fan_on:
        given |= {p.name: -p.vacuum for p in layout.points if p.vacuum is not None}
    else:
        capped |= {p.name for p in layout.points if p.vacuum is not None}
    drives = []
    for name, fan, pipes in layout.fan_sets:
        points = layout.points_on(name)
        if fan_on or pipes is not None:
            drives.append(_drive(case, condition, name, points, fan if fan_on else None, pipes))
        else:
            capped |= set(points)
    return given, capped, drives


def _drive(
    case: Case,
    condition: Condition,
    name: str,
    points: tuple[str, ...],
    fan: Fan | None,
    pipes: PipeTree | None,
) -> Drive:
    """A fan and its pipes on the day of a condition."""
    atm = case.air.pressure_atm
    warmth = pipes.air_temperature if pipes else condition.room_temperature
    pipe_air = Air(temperature=warmth, pressure_atm=atm)
    outdoor_air = Air(temperature=condition.outdoor_temperature, pressure_atm=atm)
    return Drive(
        name=name,
        points=points,
        fan=fan,
        pipes=pipes,
        discharge_pressure=condition.outdoors,
        pipe_density=pipe_air.density,
        outdoor_density=outdoor_air.density,
        viscosity=pipe_air.viscosity,
        pressure_atm=atm,
    )
