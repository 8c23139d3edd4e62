"""What a gauge in a test hole must read today for the hardest day to pass there."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from scipy.optimize import brentq

from soilflow.case import Case, TestHole
from soilflow.conditions import DESIGN, TODAY, Condition
from soilflow.errors import InputError, OutOfRangeError
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.coverage import PASS_LINE
from soilflow.results.floor import FloorResponse, floor_response, pressure_at
from soilflow.results.result import Result
from soilflow.results.solved import SoilSolution
from soilflow.units import PA_PER_INCH_WC

__all__ = ["MustRead", "must_read_today", "with_fans_at"]

# Fans are tried from a hundredth of their speed to four times it, sixteen times the pressure.
_SLOWEST, _FASTEST, _STEP = 0.01, 4.0, 1.1


@dataclass(frozen=True, kw_only=True)
class MustRead:
    """What a test hole should read today, and what it has to.

    Parameters
    ----------
    hole : str
        Name of the test hole.
    fan_off, fan_on : float
        Expected reading today; suction is negative. [Pa]
    must_read : float
        Reading today at which the hole sits on the pass line in the design condition; NaN when
        no speed of these fans brings it there, or no air does. [Pa]
    design : float
        Expected reading in the design condition with the fan as it is. [Pa]
    speed : float
        Speed of the fans that takes, relative to what it is; NaN likewise. [-]
    """

    hole: str
    fan_off: float
    fan_on: float
    must_read: float
    design: float
    speed: float

    @property
    def enough(self) -> bool:
        """Whether the reading expected today is at least the one needed."""
        return self.fan_on <= self.must_read

    def __str__(self) -> str:
        if math.isnan(self.fan_on):
            return f"{self.hole}: no air reaches it, nothing to read"
        words = f"{self.hole}: expect {_both(self.fan_off)} fan off, {_both(self.fan_on)} fan on; "
        if math.isnan(self.must_read):
            return words + "no speed of this fan makes it pass in the design condition"
        verdict = "enough" if self.enough else "NOT ENOUGH"
        return f"{words}must read {_both(self.must_read)} or lower: {verdict}"


def _both(pressure: float) -> str:
    return f"{pressure:.2f} Pa ({pressure / PA_PER_INCH_WC:.3f} in. w.c.)"


def with_fans_at(layout: Layout, speed: float) -> Layout:
    """A copy of a layout with all its fans at another speed.

    Parameters
    ----------
    layout : Layout
        The layout.
    speed : float
        Speed relative to what it is; pressures at points of stated vacuum go with its square.
        [-]

    Returns
    -------
    layout : Layout
        The copy.

    Notes
    -----
    Faster, flow goes with the speed and pressure with its square. Slower, the pressures alone
    are turned down, so that a fan near rest does not stand in the way of the air that the warm
    riser draws through it.
    """
    scale = speed**2

    def at(fan: Fan) -> Fan:
        if speed > 1.0:
            return replace(fan, speed=fan.speed * speed)
        lower = tuple(p * scale for p in fan.static_pressures)
        return replace(fan, static_pressures=lower)

    points = tuple(
        p if p.vacuum is None else replace(p, vacuum=p.vacuum * scale) for p in layout.points
    )
    more = tuple(replace(one, fan=at(one.fan)) for one in layout.more_fans)
    own = None if layout.fan is None else at(layout.fan)
    return replace(layout, points=points, fan=own, more_fans=more)


def must_read_today(
    case: Case, result: Result, *, today: str = TODAY, design: str = DESIGN
) -> tuple[MustRead, ...]:
    """Expected readings today, and those the design condition asks for, at each test hole.

    The fans are turned up or down until the hole sits on the pass line in the design condition;
    what it then reads today is what it must read. Both operating points are solved anew.

    Parameters
    ----------
    case : Case
        The case, with its test holes.
    result : Result
        One of its layouts, solved.
    today, design : str
        Names of the two conditions.

    Returns
    -------
    readings : tuple of MustRead
        In the order of the holes.

    Raises
    ------
    InputError
        The case lacks one of the conditions.

    Notes
    -----
    A gauge reads against the house; in another room the hole is judged against that room's air.
    How suction is raised matters little: from one condition to the other every reading shifts
    by the same outdoor and riser pressure, whatever the fan.
    """
    conditions = {c.name: c for c in case.conditions}
    for name in (today, design):
        if name not in conditions:
            have = ", ".join(f'"{c}"' for c in conditions)
            raise InputError(f'no condition "{name}" in this case; it has {have}', field=name)
    solution = result.solution
    floor = floor_response(solution.soil, solution.network, solution.response)
    return tuple(
        _one(case, result, solution, floor, hole, conditions[today], conditions[design])
        for hole in case.test_holes
    )


def _one(
    case: Case,
    result: Result,
    solution: SoilSolution,
    floor: FloorResponse,
    hole: TestHole,
    today: Condition,
    design: Condition,
) -> MustRead:
    layout, atm = result.arrangement, case.air.pressure_atm
    room = _room_above(floor, hole)

    def reading(condition: Condition, speed: float) -> tuple[float, float]:
        """Pressure at the hole against the house, and against the room above it."""
        changed = layout if speed == 1.0 else with_fans_at(layout, speed)
        point = operate(case, changed, condition, solution, fan_on=True)
        value = pressure_at(floor.pressure(point.u, atm), hole.x, hole.y)
        return value, value - float(point.pressures[room])

    def short(speed: float) -> float:
        return reading(design, speed)[1] + PASS_LINE

    on = reading(today, 1.0)[0]
    speed = math.nan if math.isnan(on) else _root(short)
    return MustRead(
        hole=hole.name,
        fan_off=result.conditions[today.name].test_holes_off[hole.name],
        fan_on=on,
        must_read=math.nan if math.isnan(speed) else reading(today, speed)[0],
        design=reading(design, 1.0)[0],
        speed=speed,
    )


def _room_above(floor: FloorResponse, hole: TestHole) -> int:
    """Port of the room over a test hole."""
    i = min(max(int((floor.x < hole.x).sum()) - 1, 0), floor.floor_port.shape[0] - 1)
    j = min(max(int((floor.y < hole.y).sum()) - 1, 0), floor.floor_port.shape[1] - 1)
    return int(floor.floor_port[i, j])


def _root(short: Callable[[float], float]) -> float:
    """Speed at which a hole that is short when positive just passes; NaN beyond the fans' reach.

    Where it passes down to the slowest speed at which air still goes the right way, that speed.
    """
    passes = short(1.0) <= 0.0
    factor, speed = (1.0 / _STEP if passes else _STEP), 1.0
    while True:
        further = speed * factor
        try:
            value = short(further) if _SLOWEST <= further <= _FASTEST else math.nan
        except OutOfRangeError:
            value = math.nan
        if math.isnan(value):
            return speed if passes else math.nan
        if (value <= 0.0) != passes:
            low, high = sorted((speed, further))
            return float(brentq(short, low, high, xtol=1e-13, rtol=1e-12))
        speed = further
