"""What the tables of a job sheet say, row by row: points, test holes, rooms, fan, seals."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from soilflow.case import Case
from soilflow.layout.fan_sets import pipe_label
from soilflow.layout.layout import SuctionPoint
from soilflow.layout.pipes import PipeTree, fall_needed
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit
from soilflow.operate import ports_in_use
from soilflow.operating_point import CAPPED
from soilflow.output.error_bars import half_bar
from soilflow.output.on_site import duration, needs_dampers, worth_a_trip
from soilflow.output.page import bare, both, cfm, pa, percent, spoken, wc
from soilflow.output.sheet_places import measured
from soilflow.output.site_card import pit_words
from soilflow.results.coverage import PASS_LINE
from soilflow.results.response_time import AIR_POROSITY
from soilflow.results.result import Result
from soilflow.results.solved import ConditionResult
from soilflow.site.effects import HOUSE
from soilflow.studies.on_site import OnSite
from soilflow.units import M3S_PER_CFM, MS_PER_FPM, PA_PER_INCH_WC, feet_inches

__all__ = [
    "fan_rows",
    "gauge_label",
    "hole_row",
    "point_row",
    "riser_vacuums",
    "room_rows",
    "seal_rows",
    "seal_words",
    "wait_words",
]

_SEALS = 8  # more than a day's work holds
# A gauge that shows less than this part of the least vacuum computed is one to call about:
# chosen by the project, and the sheet says so. [-]
_CALL_AT = 0.75


def riser_vacuums(found: ConditionResult) -> list[float]:
    """Vacuums that gauges on the risers show.

    Parameters
    ----------
    found : ConditionResult
        The condition.

    Returns
    -------
    vacuums : list of float
        Of points on a fan that draws. [Pa]
    """
    return [v for v in found.operating_point.riser_vacuums.values() if v > 0.0]


def point_row(
    case: Case, today: ConditionResult, found: OnSite, point: SuctionPoint
) -> dict[str, str]:
    """What the sheet says of a suction point.

    Parameters
    ----------
    case : Case
        The case.
    today : ConditionResult
        The condition under which gauges are read.
    found : OnSite
        What stands beside the result.
    point : SuctionPoint
        The point.

    Returns
    -------
    row : dict of str to str
        By column.
    """
    on, name = today.operating_point, point.name
    port = on.port_names.index(name)
    vacuum = on.riser_vacuums.get(name, -float(on.pressures[port]))
    kind = "riser_vacuum" if name in on.riser_vacuums else "port_pressure"
    bars = [
        half_bar(today, kind, name, unit=PA_PER_INCH_WC),
        half_bar(today, "port_flow", name, unit=M3S_PER_CFM),
    ]
    capped = on.states[port] == CAPPED
    air = found.air[today.name]
    share = math.nan if capped or name not in air.points else air.share(HOUSE, name)
    return {
        "name": name,
        "pit": _pit(case, point),
        "place": measured(case.site, point.x, point.y),
        "vacuum": f"{wc(vacuum)} {bars[0]}".strip(),
        "flow": "capped" if capped else f"{cfm(float(on.flows[port]))} {bars[1]}".strip(),
        "house": "-" if math.isnan(share) else f"{100.0 * share:.0f} %",
        "damper": "shut" if capped else _damper(found, name),
    }


def _pit(case: Case, point: SuctionPoint) -> str:
    """What is dug, with its sizes to the inch; a wall beside it makes a bowl wider."""
    pit, words = point.pit, pit_words(point)
    if isinstance(pit, HemisphericalPit):
        radius = pit.body(point.x, point.y, case.site.slab.polygon).radius
        return f"{words}: bowl {_inches(2.0 * radius)} wide, {_inches(radius)} deep"
    if isinstance(pit, BoxPit):
        sides = f"{_inches(pit.length)} by {_inches(pit.width)}"
        return f"{words}: {sides}, {_inches(pit.depth)} deep"
    if isinstance(pit, CylinderPit):
        return f"{words}: {_inches(pit.diameter)} wide, {_inches(pit.depth)} deep"
    return words


def _inches(length: float) -> str:
    return feet_inches(length, denominator=1)


def _damper(found: OnSite, name: str) -> str:
    balance = found.balance
    if balance is None or name not in balance.dampers or not needs_dampers(balance):
        return "open"
    turned = math.degrees(balance.dampers[name])
    return f"{turned:.0f}° to balance" if turned > 1.0 else "open"


def hole_row(case: Case, today: ConditionResult, found: OnSite, name: str) -> dict[str, str]:
    """What the sheet says of a test hole.

    Parameters
    ----------
    case : Case
        The case.
    today : ConditionResult
        The condition under which gauges are read.
    found : OnSite
        What stands beside the result.
    name : str
        The hole.

    Returns
    -------
    row : dict of str to str
        By column; ``short`` says so where what is expected will not do.
    """
    [hole] = [h for h in case.test_holes if h.name == name]
    needed = {m.hole: m for m in found.must_read}.get(name)
    must, short = "-", ""
    if needed is not None and not math.isnan(needed.must_read):
        must, short = both(needed.must_read), "" if needed.enough else "NOT ENOUGH"
    elif needed is not None and not math.isnan(needed.fan_on):
        short = "no speed of this fan will do"
    wait = found.waits.get(name)
    off, on = (half_bar(today, f"test_hole_pressure{end}", name) for end in ("_fan_off", ""))
    return {
        "name": name,
        "place": measured(case.site, hole.x, hole.y),
        "off": f"{pa(today.test_holes_off[name])} {off}".strip(),
        "on": both(today.test_holes[name]).replace(" Pa", f" {on} Pa" if on else " Pa", 1),
        "must": must,
        "short": short,
        "wait": "-" if wait is None else duration(wait),
    }


def wait_words(found: OnSite) -> str:
    """How long to wait before a gauge is read.

    Parameters
    ----------
    found : OnSite
        What stands beside the result.

    Returns
    -------
    words : str
        A sentence.
    """
    if found.wait is None:
        return "Waits were not computed: make the sheet with --on-site."
    return (
        "Wait: nine tenths of the change are there. The weakest spot takes "
        f"{duration(found.wait)}. "
        f"Times go with the air in the soil, {100.0 * AIR_POROSITY:.0f} % of it, a guess."
    )


def room_rows(conditions: list[ConditionResult]) -> list[tuple[str, ...]]:
    """Rooms beside the house, each against its own air.

    Parameters
    ----------
    conditions : list of ConditionResult
        Those to say it for.

    Returns
    -------
    rows : list of tuple of str
        Room and condition, its air above the house, share of its floor at the pass line, margin.
    """
    return [
        (
            f"{name}, {spoken(condition.name)}",
            pa(room.pressure),
            percent(room.coverage_area[PASS_LINE]),
            "-" if room.worst is None else pa(room.worst.margin),
        )
        for condition in conditions
        for name, room in condition.rooms.items()
    ]


def fan_rows(case: Case, result: Result, today: ConditionResult) -> list[tuple[str, str]]:
    """Operating point, losses and fall.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        The result.
    today : ConditionResult
        The condition under which gauges are read.

    Returns
    -------
    rows : list of (str, str)
        What, and how much.
    """
    layout, on = result.arrangement, today.operating_point
    [condition] = [c for c in case.conditions if c.name == today.name]
    _, _, drives = ports_in_use(case, layout, condition, result.solution, fan_on=True)
    resting = {drive.name: drive.resting_pressure for drive in drives}
    rows = []
    for name, fan, tree in layout.fan_sets:
        duty = on.fans.get(name)
        if duty is None or not duty.runs:
            continue
        watts = "watts not stated" if duty.power is None else f"{duty.power:.0f} W"
        rows.append(("Fan" if len(layout.fan_sets) == 1 else f"Fan {name}", fan.name))
        rows.append(("works at", f"{wc(duty.static_pressure)}, {cfm(duty.flow)}, {watts}"))
        if tree is None:
            continue
        inlet = duty.static_pressure - resting[name]
        risers = [on.riser_vacuums[p] for p in layout.points_on(name) if p in on.riser_vacuums]
        rows += [("lost between risers and outlet", _span(inlet - v for v in risers))]
        rows.append(("gained by warm air in the riser", pa(condition.outdoors - resting[name])))
        rows += _pipe_rows(name, tree, today)
    return rows or [("No fan", "points are held at a stated vacuum")]


def _span(losses: Iterable[float]) -> str:
    said = [pa(loss) for loss in sorted(losses)]
    return said[-1] if len(set(said)) == 1 else f"{bare(said[0])} to {said[-1]}"


def _pipe_rows(fan: str, tree: PipeTree, today: ConditionResult) -> list[tuple[str, str]]:
    """How far each pipe must fall from end to end, and how fast its air is."""
    rows = []
    for pipe, fall in fall_needed(tree).items():
        label = pipe_label(fan, pipe)
        speed = today.operating_point.velocities.get(label)
        fast = "" if speed is None else f", {speed / MS_PER_FPM:.0f} fpm"
        rows.append((f"pipe {label}", f"falls {feet_inches(fall)}{fast}"))
    return rows


def gauge_label(found: ConditionResult) -> str:
    """The reading on the gauge's label below which somebody has to be called.

    Parameters
    ----------
    found : ConditionResult
        The condition under which gauges are read.

    Returns
    -------
    words : str
        With its unit; empty where no fan draws.
    """
    vacuums = riser_vacuums(found)
    return wc(_CALL_AT * min(vacuums)) if vacuums else ""


def seal_rows(found: OnSite) -> list[dict[str, Any]]:
    """The seal list with letters.

    Parameters
    ----------
    found : OnSite
        What stands beside the result.

    Returns
    -------
    rows : list of dict
        The most worth first, with the ends of each piece; empty without a list.
    """
    if found.sealing is None:
        return []
    rows = []
    for number, value in enumerate([v for v in found.sealing.values if v.exact][:_SEALS]):
        ends = (value.begins, value.begins + value.length)
        begins, ends_at = (feet_inches(v, denominator=1) for v in ends)
        along = f", {begins} to {ends_at}" if value.length else ""
        rows.append(
            {
                "letter": chr(ord("A") + number),
                "where": f"{value.name}{along}",
                "gains": f"{value.whole.margin_gained:+.2g} Pa",
                "saves": cfm(value.whole.air_saved),
                "ends": (value.start, value.end),
            }
        )
    return rows


def seal_words(found: OnSite) -> str:
    """What the seal list is, or why there is none.

    Parameters
    ----------
    found : OnSite
        What stands beside the result.

    Returns
    -------
    words : str
        Sentences.
    """
    if found.sealing is None:
        return "Not computed: make the sheet with --on-site."
    worth = [value for value in found.sealing.values if value.exact]
    if not worth:
        return "There is no joint, crack or opening to seal."
    said = (
        "Feet run along the joint, the plan shows where. Gain at the weakest spot and house air "
        f"saved, each piece alone, {spoken(found.sealing.condition)}, "
        f"{found.sealing.resolution} grid."
    )
    return said if worth_a_trip(worth) else f"None of it brings what a gauge shows. {said}"
