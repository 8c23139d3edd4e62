"""What stands beside a result for the one who acts on it: readings, seals, waits, a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from soilflow.case import Case
from soilflow.conditions import DESIGN, TODAY
from soilflow.flow.grid import COARSE, FINE, NORMAL, Resolution
from soilflow.flow.side_by_side import Progress
from soilflow.results.air_source import AirSources, air_sources
from soilflow.results.backdraft import BackdraftFlag, backdraft_flag
from soilflow.results.response_time import FloorLag, floor_lag
from soilflow.results.result import Result, deciding
from soilflow.results.sealing import SealingList
from soilflow.results.verdict import Verdict, judge
from soilflow.run import run_layout
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
    wait : float or None
        Time until nine tenths of the suction are there where the floor is weakest; NaN when no
        air gets there. [s]
    """

    must_read: tuple[MustRead, ...]
    air: Mapping[str, AirSources]
    backdraft: BackdraftFlag
    verdict: Verdict
    sealing: SealingList | None = None
    troubles: Troubles | None = None
    lag: FloorLag | None = None
    wait: float | None = None


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
    sealing = troubles = lag = wait = None
    if thorough:
        sealing = sealing_list(case, layout, condition=judged.name, resolution=resolution)
        troubles = coverage_if_all(
            case, layout, condition=judged.name, resolution=resolution, progress=progress
        )
        lag = _lag(case.with_resolution(resolution), result, case.resolution)
        _, wait = lag.at(judged.worst.x, judged.worst.y)
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
        wait=wait,
    )


def _lag(case: Case, result: Result, solved_on: Resolution) -> FloorLag:
    """How long the floor takes today, or in the first condition there is."""
    if case.resolution != solved_on:
        result = run_layout(case, result.arrangement, baseline=False)
    name = TODAY if TODAY in result.conditions else next(iter(result.conditions))
    condition = result.conditions[name]
    return floor_lag(result.solution, condition.operating_point, condition.fan_off)
