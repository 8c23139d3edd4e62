"""What a search found, as text and in plain types: where the pits go, how many, on which fan."""

from __future__ import annotations

import math
from typing import Any

from soilflow.conditions import DESIGN
from soilflow.layout.fan import Fan
from soilflow.output.cautions import first_cautions
from soilflow.output.page import Page, bare, cfm, pa, percent, place_on_floor, spoken
from soilflow.results.coverage import PASS_LINE
from soilflow.results.verdict import LEAST_FLOW
from soilflow.studies.search import FoundLayout, Search, Step
from soilflow.studies.search_soils import SoilSearch

__all__ = ["print_search", "search_to_dict"]

_SHOWN = 5  # layouts of the smallest number that passes
# Margins closer than this part of the suction there are no reason to prefer one layout, as in
# `compare`: chosen by the project. [-]
_ALIKE = 0.02


def print_search(
    search: Search,
    *,
    soils: SoilSearch | None = None,
    verbose: bool = False,
    width: int = 60,
) -> str:
    """Write what a search found, the answer first.

    Parameters
    ----------
    search : Search
        What was found.
    soils : SoilSearch or None
        The best layouts in other soils; None when they were not asked for.
    verbose : bool
        Add how every step was found, and the places left out.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    page.heading(search.case.title)
    best = [(fan, search.smallest(fan)) for fan in search.fans]
    held = [(fan, step) for fan, step in best if step is not None]
    day = spoken(search.condition.name)
    if held:
        fan, step = held[0]  # the case's own fan before a bigger one
        count, hold = f"{step.pits} {_pits(step.pits)}", "holds" if step.pits == 1 else "hold"
        page.heading(f"{count} on the {fan.name} fan {hold} the floor, {day}")
        _layouts(page, search, step)
        for other, fewer in held[1:]:
            if fewer.pits < step.pits:
                page.say(f"On the {other.name} fan {fewer.pits} {_pits(fewer.pits)} would do.")
    else:
        step = max(search.steps, key=lambda one: one.margin)
        page.heading(f"NO LAYOUT LOOKED AT HOLDS THE FLOOR, {day}")
        page.say(f"The best, {step.pits} {_pits(step.pits)} on the {step.fan.name} fan:")
        _layouts(page, search, step)
    _staircase(page, search)
    _more(page, search)
    _own(page, search)
    if soils is not None:
        _in_soils(page, soils)
    page.heading("How far to trust it")
    page.say(
        f"{len(search.candidates)} places for a pit, "
        + ("all layouts of them looked at." if _exhaustive(search) else "the best found, not all.")
        + f" Ranked by sums of single pits, about 1 % off in flow; marked * where solved in full "
        f"on the {search.resolution} grid. "
        + ("" if soils else "One soil, one value for each input: no range computed. ")
        + "Where the floor lets a core drill in, only looking tells."
    )
    if verbose:
        _details(page, search)
    page.heading("Cautions")
    for caution in first_cautions():
        page.item(caution)
    return page.text()


def _pits(count: int) -> str:
    return "pit" if count == 1 else "pits"


def _exhaustive(search: Search) -> bool:
    return all(step.ranked.exhaustive for step in search.steps)


def _layouts(page: Page, search: Search, step: Step) -> None:
    """The best few: the first with its places, the others by what they cost."""
    slab = search.case.site.slab
    first = step.top[0]
    for point in first.layout.points:
        page.item(f"{point.name}: {place_on_floor(slab, point.x, point.y)}")
    page.say(
        f"{_against_line(first)} at the worst spot, {cfm(first.drawn)} in all, "
        f"{percent(first.covered)} of the floor at 1 Pa or more.",
        first="  ",
    )
    if first.drawn < LEAST_FLOW:
        page.say(
            f"NOT DEPENDABLE: {cfm(first.drawn)} is less than a field gauge shows "
            f"({cfm(LEAST_FLOW)}). Soil this tight shows suction on the map that may take days to "
            "come; run the written case before you dig.",
            first="  ",
        )
    shown = [one for one in step.top[1:_SHOWN] if math.isfinite(one.margin)]
    if shown:
        page.say("Next best, and what each falls short of the first:", first="  ")
    for one in shown:
        page.say(
            f"{one.layout.name}: {_margin(one)}, {pa(_regret(first, one))} less",
            first="    ",
            rest="      ",
        )
    suction = abs(first.best_known + PASS_LINE)
    if any(abs(_regret(first, one)) < _ALIKE * suction for one in shown):
        page.say("Differences this small are none: choose by where the pipe can go.", first="  ")


def _against_line(found: FoundLayout) -> str:
    solved = "" if found.confirmed is None else "*"
    side = "beyond" if found.best_known >= 0.0 else "short of"
    return f"{pa(abs(found.best_known))}{solved} {side} the pass line"


def _regret(first: FoundLayout, one: FoundLayout) -> float:
    """What a layout falls short of the first by, both on one grid. [Pa]"""
    if first.confirmed is not None and one.confirmed is not None:
        return first.confirmed - one.confirmed
    return first.margin - one.margin


def _margin(found: FoundLayout) -> str:
    return f"{pa(found.best_known)}{'*' if found.confirmed is not None else ''}"


def _staircase(page: Page, search: Search) -> None:
    page.heading("Worst margin of the best layout, Pa")
    most = max(step.pits for step in search.steps)
    rows: list[tuple[str, ...]] = [("", *(f"{n} {_pits(n)}" for n in range(1, most + 1)))]
    for fan in search.fans:
        steps = {step.pits: step for step in search.on(fan)}
        shown = (
            bare(pa(steps[n].margin)) + ("*" if _solved(steps[n]) else "") if n in steps else "-"
            for n in range(1, most + 1)
        )
        rows.append((fan.name, *shown))
    page.rows(rows)


def _solved(step: Step) -> bool:
    return bool(step.top) and step.top[0].confirmed is not None


def _more(page: Page, search: Search) -> None:
    """What one more pit buys, and what the next fan buys."""
    first = search.fans[0]
    step = search.smallest(first) or search.on(first)[-1]
    steps = {one.pits: one for one in search.on(first)}
    before = steps.get(step.pits - 1)
    if before is not None:
        page.say(
            f"The {_nth(step.pits)} pit buys {pa(step.margin - before.margin)} on the "
            f"{first.name} fan.",
            first="  ",
        )
    if step.pits + 1 in steps:
        more = steps[step.pits + 1].margin - step.margin
        page.say(f"One more would buy {pa(more)}.", first="  ")
    for fan in search.fans[1:]:
        same = {one.pits: one for one in search.on(fan)}.get(step.pits)
        if same is not None:
            page.say(
                f"The {fan.name} fan in its place buys {pa(same.margin - step.margin)} with as "
                "many pits.",
                first="  ",
            )


def _nth(count: int) -> str:
    return {1: "first", 2: "second", 3: "third"}.get(count, f"{count}th")


def _own(page: Page, search: Search) -> None:
    """The case's own layouts against the best of the search."""
    if not search.own_margins:
        return
    page.heading("The case's own layouts, worst margin, Pa")
    best: dict[int, float] = {}
    for step in search.on(search.fans[0]):
        best[step.pits] = step.margin
    rows: list[tuple[str, ...]] = [("", "margin", "short of the best")]
    for name, margin in sorted(search.own_margins.items(), key=_weakest_last):
        layout = search.case.layout(name)
        same = best.get(len(layout.points)) if layout.fan == search.fans[0] else None
        short = "-" if same is None or margin is None else bare(pa(same - margin))
        rows.append((name, "off its fan" if margin is None else bare(pa(margin)), short))
    page.rows(rows)
    page.say(
        "Each with its own pits and pipes; the best of as many pits on the same fan, where there "
        "is one. Negative: pits or pipes of the case do better than those searched.",
        first="  ",
    )


def _weakest_last(item: tuple[str, float | None]) -> float:
    return math.inf if item[1] is None else -item[1]


def _in_soils(page: Page, soils: SoilSearch) -> None:
    """In how many soils the best layouts hold."""
    count = len(soils.margins)
    pits = f"{soils.step.pits} {_pits(soils.step.pits)}"
    page.heading(f"In {count} soils drawn from the ranges, {pits}")
    if count:
        shown = {
            "best nominal": 0,
            "holds most often": soils.most_often,
            "best in its worst tenth": soils.best_in_worst_tenth,
        }
        for what, number in shown.items():
            low = pa(float(soils.worst_tenth[number]))
            page.item(
                f"{what}: {soils.names[number]}; holds in {soils.passed[number]} of {count}, worst "
                f"tenth {low} beyond the pass line"
            )
        page.say(
            f"{len(soils.names)} layouts looked at, the best in the nominal soil, by sums of "
            f"single pits; seed {soils.seed}.",
            first="  ",
        )
    if soils.failed:
        page.say(f"{len(soils.failed)} soils have no answer: {soils.failed[0]}", first="  ")


def _details(page: Page, search: Search) -> None:
    page.heading("How it was found")
    for step in search.steps:
        how = "all" if step.ranked.exhaustive else "an exchange search over"
        page.say(
            f"{step.fan.name}, {step.pits} {_pits(step.pits)}: {how} {step.ranked.seen} layouts"
        )
    page.say(f"riser {place_on_floor(search.case.site.slab, *search.riser)}")
    for place in search.candidates.dropped:
        where = place_on_floor(search.case.site.slab, place.x, place.y)
        page.item(f"left out, {where}: {place.reason}")


def search_to_dict(search: Search, soils: SoilSearch | None = None) -> dict[str, Any]:
    """The same in plain types, ready for JSON.

    Parameters
    ----------
    search : Search
        What was found.
    soils : SoilSearch or None
        The best layouts in other soils; None when they were not asked for.

    Returns
    -------
    report : dict
        Keys end in their unit.
    """
    return {
        "soils": None if soils is None else _soils(soils),
        "title": search.case.title,
        "condition": search.condition.name,
        "is_design": search.condition.name == DESIGN,
        "riser_m": list(search.riser),
        "places": [
            {
                "name": candidate.name,
                "x_m": candidate.x,
                "y_m": candidate.y,
                "place": candidate.place,
            }
            for candidate in search.candidates.kept
        ],
        "left_out": [
            {"x_m": d.x, "y_m": d.y, "reason": d.reason} for d in search.candidates.dropped
        ],
        "smallest": {fan.name: _smallest(search, fan) for fan in search.fans},
        "steps": [_step(step) for step in search.steps],
        "own_layouts_worst_margin_Pa": dict(search.own_margins),
    }


def _smallest(search: Search, fan: Fan) -> int | None:
    step = search.smallest(fan)
    return None if step is None else step.pits


def _step(step: Step) -> dict[str, Any]:
    return {
        "fan": step.fan.name,
        "pits": step.pits,
        "passes": bool(step.passes),
        "layouts_seen": step.ranked.seen,
        "exhaustive": step.ranked.exhaustive,
        "best_margin_with_place_Pa": [
            None if not math.isfinite(m) else float(m) for m in step.ranked.best_with
        ],
        "share_of_best_hundredth": [
            None if not math.isfinite(share) else float(share)
            for share in step.ranked.share_of_best
        ],
        "layouts": [
            {
                "points": [p.name for p in one.layout.points],
                "worst_margin_Pa": one.margin,
                "confirmed_worst_margin_Pa": one.confirmed,
                "coverage_area_1Pa": one.covered,
                "air_drawn_m3s": one.drawn,
                "draws_too_little": one.drawn < LEAST_FLOW,
            }
            for one in step.top
        ],
    }


def _soils(soils: SoilSearch) -> dict[str, Any]:
    return {
        "members": len(soils.margins),
        "seed": soils.seed,
        "failed": list(soils.failed),
        "most_often": soils.names[soils.most_often],
        "best_in_worst_tenth": soils.names[soils.best_in_worst_tenth],
        "layouts": [
            {
                "points": name,
                "passed": int(passed),
                "worst_tenth_Pa": float(low) if math.isfinite(low) else None,
            }
            for name, passed, low in zip(soils.names, soils.passed, soils.worst_tenth, strict=True)
        ],
    }
