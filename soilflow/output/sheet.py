"""The job sheet: one HTML file that opens offline on a phone and prints on a page and a plan."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup

from soilflow.case import Case
from soilflow.conditions import TODAY
from soilflow.files.provenance import SOILFLOW, versions_at_work
from soilflow.output.cautions import CAUTIONS
from soilflow.output.error_bars import about_bars, half_bar, too_close
from soilflow.output.on_site import verdict_word
from soilflow.output.page import both, pa, spoken, wc
from soilflow.output.sheet_data import sheet_data
from soilflow.output.sheet_places import measured
from soilflow.output.sheet_plan import draw_plan
from soilflow.output.sheet_rows import (
    fan_rows,
    gauge_label,
    hole_row,
    point_row,
    room_rows,
    seal_rows,
    seal_words,
    wait_words,
)
from soilflow.results.coverage import PASS_LINE, PATCH
from soilflow.results.floor import FloorPressure, floor_response
from soilflow.results.notebook import STEPS, TONES
from soilflow.results.result import Result, deciding
from soilflow.results.solved import ConditionResult
from soilflow.studies.on_site import OnSite
from soilflow.units import feet_inches

__all__ = ["sheet_html"]

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
        **_head(case, result, found),
        **_tables(case, result, found),
        css=Markup(read["css"]),
        script=Markup(read["js"]),
        numbers=Markup(numbers),
    )


def _today(result: Result) -> ConditionResult:
    return result.conditions.get(TODAY, next(iter(result.conditions.values())))


def _head(case: Case, result: Result, found: OnSite) -> dict[str, Any]:
    """Job block, the one answer and how far to trust it."""
    judged, today = deciding(result.conditions), _today(result)
    worst, bar = judged.worst, half_bar(judged, "worst_margin")
    unsure = ["too close to tell: the grid's own error reaches across the pass line"]
    not_looked = [f"not looked at: {rule}" for rule in found.verdict.not_asked]
    days = (today,) if today is judged else (today, judged)
    return {
        "title": result.title,
        "layout": result.layout,
        "variant": result.variant,
        "version": versions_at_work(SOILFLOW)[SOILFLOW],
        "grid": case.resolution.name,
        "bars": about_bars(judged) if judged.bars else "",
        "today": spoken(today.name),
        "design": spoken(judged.name),
        "first": judged.name,
        "conditions": [{"key": n, "name": spoken(n)} for n in result.conditions],
        "days": "; ".join(
            f"{spoken(day.name)}, {pa(day.outdoor_pressure)} above the room" for day in days
        ),
        "holds": "holds" if judged.passes else "DOES NOT HOLD",
        "margin": f"{both(abs(worst.margin))}{f' {bar} Pa' if bar else ''} "
        f"{'to spare' if judged.passes else 'short'} at the weakest spot, "
        f"{measured(case.site, worst.x, worst.y)}",
        "verdict": verdict_word(found.verdict),
        "reasons": [
            *(unsure if too_close(judged) else ()),
            *found.verdict.reasons,
            *not_looked,
        ],
        "pass_line": f"{PASS_LINE:g} Pa ({wc(PASS_LINE)}) of suction, averaged over any "
        f"{feet_inches(PATCH, denominator=1)} square of floor",
    }


def _tables(case: Case, result: Result, found: OnSite) -> dict[str, Any]:
    """Everything below the answer, with the cautions that stand beside it."""
    judged, today = deciding(result.conditions), _today(result)
    seals = seal_rows(found)
    plan = draw_plan(
        result,
        _as_judged(case, result, judged),
        (judged.worst.x, judged.worst.y),
        segments=[(row["letter"], *row["ends"]) for row in seals],
    )
    rooms = room_rows([today] if today is judged else [today, judged])
    return {
        "points": [point_row(case, today, found, p) for p in result.arrangement.points],
        "holes": [hole_row(case, today, found, name) for name in today.test_holes],
        "wait_words": wait_words(found),
        "rooms": rooms,
        "fan": fan_rows(case, result, today),
        "seals": seals,
        "seal_words": seal_words(found),
        "checks": _CHECKS,
        "notes": [_spoken_note(note, result) for note in result.notes],
        "plan": plan,
        "legend": _legend(),
        "gauge": gauge_label(today),
        "backdraft": str(found.backdraft),
        "cautions": {name: caution.full for name, caution in CAUTIONS.items()},
    }


def _as_judged(case: Case, result: Result, condition: ConditionResult) -> FloorPressure:
    """Pressure under every floor against the air of its own room."""
    solution, atm = result.solution, case.air.pressure_atm
    floor = floor_response(solution.soil, solution.network, solution.response)
    u = condition.operating_point.u
    whole = floor.pressure(u, atm)
    pressure = whole.pressure
    for port in np.unique(floor.floor_port[floor.floor]).tolist():
        own = floor.pressure(u, atm, room=port)
        pressure = np.where(own.floor, own.pressure, pressure)
    return replace(whole, pressure=pressure)


def _legend() -> list[dict[str, str]]:
    """Tones from the pass line up, with the suction they stand for."""
    ends = [*(f"to {upper:g} Pa" for upper in STEPS[1:]), "Pa or more"]
    return [
        {"tone": tone, "says": f"{step:g} {end}"}
        for tone, step, end in zip(TONES, STEPS, ends, strict=True)
    ]


def _spoken_note(note: str, result: Result) -> str:
    for name in result.conditions:
        note = note.replace(f"{name}: ", f"{spoken(name)}: ")
    return note
