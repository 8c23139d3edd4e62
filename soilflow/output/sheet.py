"""The job sheet: one HTML file that opens offline on a phone and prints on a page and a plan."""

from __future__ import annotations

import json
import math
from importlib import resources
from typing import Any

from markupsafe import Markup
from shapely.geometry import Point, Polygon

from soilflow.case import Case
from soilflow.conditions import TODAY
from soilflow.files.provenance import SOILFLOW, versions_at_work
from soilflow.layout.pipes import fall_needed
from soilflow.operating_point import CAPPED
from soilflow.output.cautions import CAUTIONS
from soilflow.output.error_bars import half_bar
from soilflow.output.on_site import duration, needs_dampers, verdict_word
from soilflow.output.page import both, cfm, pa, place_on_floor, spoken, wc
from soilflow.output.sheet_data import sheet_data
from soilflow.output.sheet_plan import draw_plan
from soilflow.output.site_card import pit_words
from soilflow.results.coverage import PASS_LINE, PATCH
from soilflow.results.result import Result, deciding
from soilflow.results.solved import ConditionResult
from soilflow.site.effects import HOUSE
from soilflow.studies.on_site import OnSite
from soilflow.units import MS_PER_FPM, feet_inches

__all__ = ["sheet_html"]

_SEALS = 8
_BESIDE = 0.42  # of a letter from its segment, past most walls [m]
_CHECKS = (
    "Spillage test of every vented appliance, worst case, fan on; again after sealing",
    "Carbon monoxide alarms on every floor work",
    "Condensate runs back to the pits; no sag that can fill",
    "Every pipe of it is labelled; the gauge is read and its reading written on it",
    "Sump lids, floor drains and cleanouts are closed air-tight and still drain",
    "Radon test set, and the date of the next one in the heating season agreed",
)


def sheet_html(case: Case, result: Result, found: OnSite) -> str:
    """Write the job sheet of a result.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        One of its layouts, solved.
    found : OnSite
        What stands beside it.

    Returns
    -------
    text : str
        One HTML document without a reference to anything outside; all names are escaped.
    """
    from jinja2 import Environment, StrictUndefined

    here = resources.files("soilflow.output")
    read = {n: (here / f"sheet.{n}").read_text(encoding="utf-8") for n in ("css", "js")}
    template = (here / "sheet.html.jinja").read_text(encoding="utf-8")
    room = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    # nothing in the data can end the script: no "<" is left in it
    numbers = json.dumps(sheet_data(case, result), allow_nan=False).replace("<", "\\u003c")
    return room.from_string(template).render(
        **_context(case, result, found),
        css=Markup(read["css"]),
        script=Markup(read["js"]),
        numbers=Markup(numbers),
    )


def _context(case: Case, result: Result, found: OnSite) -> dict[str, Any]:
    judged = deciding(result.conditions)
    today = result.conditions.get(TODAY, next(iter(result.conditions.values())))
    slab, worst = case.site.slab, judged.worst
    seals = _seals(case, found)
    plan = draw_plan(
        result, judged, letters=[(s["letter"], *_outside(slab.polygon, s)) for s in seals]
    )
    holds = "holds" if judged.passes else "DOES NOT HOLD"
    bar = f" {half_bar(judged, 'worst_margin')} Pa" if judged.bars else ""
    more = "to spare" if judged.passes else "short"
    return {
        "title": result.title,
        "layout": result.layout,
        "variant": result.variant,
        "version": versions_at_work(SOILFLOW)[SOILFLOW],
        "grid": case.resolution.name,
        "bars": bool(judged.bars),
        "today": spoken(today.name),
        "design": spoken(judged.name),
        "headline": f"{spoken(judged.name).capitalize()}: the pass line {holds}",
        "headline_more": f"{both(abs(worst.margin))}{bar} {more} at the weakest spot, "
        f"{place_on_floor(slab, worst.x, worst.y)}.",
        "verdict": verdict_word(found.verdict),
        "verdict_reason": found.verdict.reasons[0],
        "pass_line": f"{PASS_LINE:g} Pa ({wc(PASS_LINE)}) of suction, averaged over any "
        f"{feet_inches(PATCH, denominator=1)} square of floor",
        "points": [_point(case, result, today, found, p.name) for p in result.arrangement.points],
        "holes": [_hole(case, today, found, name) for name in today.test_holes],
        "wait_words": _wait(found),
        "fan": _fan(result, today),
        "seals": seals,
        "no_seals": "Nothing to seal was found."
        if found.sealing is not None
        else "Not computed: make the sheet with --on-site.",
        "checks": _CHECKS,
        "plan": plan.still,
        "over": plan.over,
        "map": plan,
        "conditions": [{"key": n, "name": spoken(n)} for n in result.conditions],
        "first": judged.name,
        "gauge": wc(0.75 * min(_vacuums(today), default=math.nan)),
        "cautions": {name: caution.full for name, caution in CAUTIONS.items()},
        "last_cautions": [
            str(found.backdraft),
            *(CAUTIONS[n].full for n in ("carbon monoxide", "neighbours", "codes")),
        ],
    }


def _outside(floor: Polygon, seal: dict[str, Any]) -> tuple[float, float]:
    """Where the letter of a seal stands: outside the wall, or beside a crack. [m]"""
    (x, y), (ax, ay), (bx, by) = seal["at"], seal["start"], seal["end"]
    length = math.hypot(bx - ax, by - ay) or 1.0
    across = ((by - ay) / length, (ax - bx) / length)
    sides = [(x + s * _BESIDE * across[0], y + s * _BESIDE * across[1]) for s in (1.0, -1.0)]
    return next((at for at in sides if not floor.contains(Point(at))), sides[0])


def _vacuums(condition: ConditionResult) -> list[float]:
    return [v for v in condition.operating_point.riser_vacuums.values() if v > 0.0]


def _point(
    case: Case, result: Result, today: ConditionResult, found: OnSite, name: str
) -> dict[str, str]:
    [point] = [p for p in result.arrangement.points if p.name == name]
    on = today.operating_point
    port = on.port_names.index(name)
    vacuum = on.riser_vacuums.get(name, -float(on.pressures[port]))
    share = found.air[today.name].share(HOUSE, name)
    error = half_bar(today, "port_flow", name, unit=1.0) if today.bars else ""
    capped = on.states[port] == CAPPED
    return {
        "name": name,
        "pit": pit_words(point),
        "place": place_on_floor(case.site.slab, point.x, point.y),
        "vacuum": wc(vacuum),
        "flow": "capped" if capped else cfm(float(on.flows[port])) + (f" {error}" if error else ""),
        "house": "-" if math.isnan(share) else f"{100.0 * share:.0f} %",
        "damper": _damper(found, name),
    }


def _damper(found: OnSite, name: str) -> str:
    balance = found.balance
    if balance is None or name not in balance.dampers or not needs_dampers(balance):
        return "open"
    turned = math.degrees(balance.dampers[name])
    return f"{turned:.0f}\u00b0 to balance" if turned > 1.0 else "open"


def _hole(case: Case, today: ConditionResult, found: OnSite, name: str) -> dict[str, str]:
    [hole] = [h for h in case.test_holes if h.name == name]
    needed = {m.hole: m for m in found.must_read}.get(name)
    must = "-" if needed is None or math.isnan(needed.must_read) else both(needed.must_read)
    wait = found.waits.get(name)
    return {
        "name": name,
        "place": place_on_floor(case.site.slab, hole.x, hole.y),
        "off": pa(today.test_holes_off[name]),
        "on": both(today.test_holes[name]),
        "must": must,
        "wait": "-" if wait is None else duration(wait),
    }


def _wait(found: OnSite) -> str:
    if found.wait is None:
        return "Waits were not computed: make the sheet with --on-site."
    return (
        f"The weakest spot takes {duration(found.wait)} to nine tenths, with 20 % of air in the "
        "soil, a guess."
    )


def _fan(result: Result, today: ConditionResult) -> list[tuple[str, str]]:
    rows = []
    fans = {name: fan for name, fan, _ in result.arrangement.fan_sets}
    for name, duty in today.operating_point.fans.items():
        if duty.runs:
            watts = "" if duty.power is None else f", {duty.power:.0f} W"
            rows.append(("Fan", f"{fans[name].name}"))
            rows.append(("Works at", f"{cfm(duty.flow)}, {wc(duty.static_pressure)}{watts}"))
            lost = duty.static_pressure - max(_vacuums(today), default=0.0)
            rows.append(("Lost in pipes, and gained by a warm riser", f"{pa(lost)} of it"))
    for _, _, tree in result.arrangement.fan_sets:
        if tree is not None:
            for pipe, fall in fall_needed(tree).items():
                speed = today.operating_point.velocities.get(pipe, 0.0)
                said = f"fall {feet_inches(fall)}, {speed / MS_PER_FPM:.0f} fpm"
                rows.append((f"Pipe {pipe}", said))
    return rows or [("No fan", "points are held at a stated vacuum")]


def _seals(case: Case, found: OnSite) -> list[dict[str, Any]]:
    if found.sealing is None:
        return []
    rows = []
    for number, value in enumerate(v for v in found.sealing.values if v.exact):
        if number >= _SEALS:
            break
        begins, ends = (
            feet_inches(v, denominator=1) for v in (value.begins, value.begins + value.length)
        )
        where = f"{value.name}, {begins} to {ends} along it" if value.length else value.name
        rows.append(
            {
                "letter": chr(ord("A") + number),
                "where": where,
                "gains": f"{value.whole.margin_gained:+.2g} Pa",
                "saves": cfm(value.whole.air_saved),
                "start": value.start,
                "end": value.end,
                "at": tuple(0.5 * (a + b) for a, b in zip(value.start, value.end, strict=True)),
            }
        )
    return rows
