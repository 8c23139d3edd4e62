"""What stands beside a result for the one who acts on it: readings, seals, waits, a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from soilflow.case import Case
from soilflow.conditions import DESIGN, TODAY
from soilflow.errors import ConvergenceError, InputError, OutOfRangeError
from soilflow.flow.grid import COARSE, FINE, NORMAL, Resolution
from soilflow.flow.side_by_side import Progress
from soilflow.operate import operate
from soilflow.results.air_source import AirSources, air_sources
from soilflow.results.backdraft import BackdraftFlag, backdraft_flag
from soilflow.results.response_time import FloorLag, floor_lag
from soilflow.results.result import Result, deciding
from soilflow.results.sealing import SealingList
from soilflow.results.verdict import Verdict, judge
from soilflow.studies.balancing import Balance, balance_dampers
from soilflow.studies.hairline import HAIRLINE_APERTURE
from soilflow.studies.leak_model import PRINTED, LeakModel, leak_model
from soilflow.studies.must_read import MustRead, must_read_today
from soilflow.studies.sealing import sealing_list
from soilflow.studies.troubles import Troubles, coverage_if_all

__all__ = ["OnSite", "on_site"]


@dataclass(frozen=True, kw_only=True)
class OnSite:
    """What a result says to the one who stands in the house with a gauge.

    Parameters
    ----------
    must_read : tuple of MustRead
        One for each test hole; empty for a case without today and a design winter.
    air : mapping of str to AirSources
        Where the air comes from, by condition.
    backdraft : BackdraftFlag
        What the house loses in the deciding condition.
    verdict : Verdict
        How far to depend on the layout.
    sealing : SealingList or None
        What sealing is worth; None when it was not asked for.
    troubles : Troubles or None
        What it stands; None likewise.
    lag : FloorLag or None
        How long the floor takes to follow today; None likewise.
    balance : Balance or None
        Dampers that make the margins of the points' territories equal; None likewise, and for a
        layout that has nothing to balance or cannot be.
    wait : float or None
        Time until nine tenths of the suction are there where the floor is weakest; NaN when no
        air gets there. [s]
    waits : mapping of str to float
        The same at each test hole; empty when it was not asked for. [s]
    """

    must_read: tuple[MustRead, ...]
    air: Mapping[str, AirSources]
    backdraft: BackdraftFlag
    verdict: Verdict
    sealing: SealingList | None = None
    troubles: Troubles | None = None
    lag: FloorLag | None = None
    balance: Balance | None = None
    wait: float | None = None
    waits: Mapping[str, float] = field(default_factory=dict)


def on_site(
    case: Case,
    result: Result,
    *,
    thorough: bool = False,
    resolution: Resolution | None = None,
    progress: Progress | None = None,
) -> OnSite:
    """Everything beside a result that its own fields give, and more when asked for.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        One of its layouts, solved.
    thorough : bool
        Also the sealing list, the troubles and the time to wait: further solves.
    resolution : Resolution or None
        The grid of those; None takes the coarse one for a case on the normal or the fine grid,
        because they are many, and the case's own for any other.
    progress : callable or None
        Called with the number of fields done and of all fields, anew for each kind of solve.

    Returns
    -------
    on_site : OnSite
        Pressures of the deciding condition, which is the design winter or the hardest.

    Raises
    ------
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        A fan would work outside its curve.
    """
    layout = result.arrangement
    if resolution is None:
        resolution = COARSE if case.resolution in (NORMAL, FINE) else case.resolution
    judged = deciding(result.conditions)
    air = {
        name: air_sources(result.site, result.solution, condition.operating_point.u)
        for name, condition in result.conditions.items()
    }
    readings: tuple[MustRead, ...] = ()
    if {TODAY, DESIGN} <= set(result.conditions):
        readings = must_read_today(case, result)
    sealing = troubles = lag = wait = balance = None
    waits: dict[str, float] = {}
    if thorough:
        # one solve of the house serves seals, hairlines and the waits
        model = leak_model(
            case,
            layout,
            resolution=resolution,
            hairline=HAIRLINE_APERTURE,
            tolerance=PRINTED,
        )
        sealing = sealing_list(case, layout, condition=judged.name, model=model)
        troubles = coverage_if_all(
            case, layout, condition=judged.name, model=model, progress=progress
        )
        lag = _lag(model)
        _, wait = lag.at(judged.worst.x, judged.worst.y)
        waits = {name: lag.at(*place)[1] for name, place in result.hole_places.items()}
        balance = _balance(case, result, judged.name)
    drawn = judged.air_drawn(point.name for point in layout.points)
    return OnSite(
        must_read=readings,
        air=air,
        backdraft=backdraft_flag(air[judged.name].room_air, case.house_leakage),
        verdict=judge(
            judged.worst.margin,
            drawn,
            t90=wait,
            troubles=None if troubles is None else troubles.margins,
        ),
        sealing=sealing,
        troubles=troubles,
        lag=lag,
        balance=balance,
        wait=wait,
        waits=waits,
    )


def _lag(model: LeakModel) -> FloorLag:
    """How long the floor takes today, or in the first condition there is."""
    case, layout, solution = model.case, model.layout, model.solution
    day = next((c for c in case.conditions if c.name == TODAY), case.conditions[0])
    on, off = (operate(case, layout, day, solution, fan_on=run) for run in (True, False))
    return floor_lag(solution, on, off)


def _balance(case: Case, result: Result, condition: str) -> Balance | None:
    """Dampers for a layout that has something to balance."""
    layout = result.arrangement
    if layout.fan is None or layout.more_fans or layout.pipes is None:
        return None
    if len(layout.points_on("")) < 2:
        return None
    try:
        return balance_dampers(case, layout, condition=condition, solution=result.solution)
    except (InputError, OutOfRangeError, ConvergenceError):
        return None  # a point without floor of its own, or a fan with nothing to spare
