"""What ``check`` prints: what was read, and what running it will cost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from soilflow.case import Case
from soilflow.grids import Estimate
from soilflow.layout.digging import water_notes
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.output.leak_words import leak_lines
from soilflow.output.page import Page, pa, place_on_floor, spoken, wc
from soilflow.units import feet_inches, format_trade

__all__ = ["check_to_dict", "print_check"]


def print_check(
    case: Case, estimates: Mapping[str, Estimate], *, verbose: bool = False, width: int = 60
) -> str:
    """Write what was read of a case.

    Parameters
    ----------
    case : Case
        The case.
    estimates : mapping of str to Estimate
        Cost by layout; the layouts to show.
    verbose : bool
        Add where the numbers of the site come from, and the ranges.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    page.say(case.title)
    if case.question:
        page.say(case.question)
    west, south, east, north = case.site.slab.polygon.bounds
    page.heading(
        f"Slab: {feet_inches(east - west)} east-west by {feet_inches(north - south)} north-south, "
        f"{format_trade(case.site.slab.area, 'area')}"
        + (f', variant "{case.variant}"' if case.variant else "")
    )
    for condition in case.conditions:
        page.say(
            f"{spoken(condition.name)}: outdoors {_above(condition.outdoors)}",
            first="  ",
            rest="    ",
        )
        for room in case.site.room_names:
            air = case.reference_pressures(condition)[room]
            page.say(f"{room}: {_above(air, 'house')}", first="    ", rest="      ")
    leaks = leak_lines(case.site)
    if leaks:
        page.heading("In and under the floor")
    for line in leaks:
        page.item(line)
    for name, cost in estimates.items():
        _layout(page, case, case.layout(name), cost)
    _doubts(page, case)
    _ranges(page, case, verbose)
    if verbose:
        _sources(page, case)
    page.heading("Nothing was solved.")
    return page.text()


def _above(pressure: float, what: str = "room") -> str:
    side = "above" if pressure >= 0.0 else "below"
    return f"{pa(abs(pressure))} ({wc(abs(pressure), 2)}) {side} the {what}"


def _layout(page: Page, case: Case, layout: Layout, cost: Estimate) -> None:
    fans = [f'{fan.name} "{name}"' for name, fan, _ in layout.fan_sets]
    fan = f", fan {layout.fan.name}" if layout.fan and len(fans) == 1 else ""
    fan = f", fans {', '.join(fans)}" if len(fans) > 1 else fan
    page.heading(f'Layout "{layout.name}"{fan}')
    for point in layout.points:
        page.say(
            f"{point.name}: {place_on_floor(case.site.slab, point.x, point.y)}{_held(point)}",
            first="  ",
            rest="    ",
        )
    page.say(
        f"{cost.cells} cells, about {cost.seconds:.0f} s and {cost.megabytes:.0f} MB",
        first="  ",
    )


def _held(point: SuctionPoint) -> str:
    if point.capped:
        return ", capped"
    return "" if point.vacuum is None else f", held at {wc(point.vacuum)}"


def _doubts(page: Page, case: Case) -> None:
    doubts = _doubts_of(case)
    if doubts:
        page.heading("Worth a second look")
    for doubt in doubts:
        page.item(doubt)


def _doubts_of(case: Case) -> list[str]:
    """Inputs that deserve a second look, those of all layouts."""
    table = case.site.ground.water_table
    wet = [f"{one.name}: {note}" for one in case.layouts for note in water_notes(one, table)]
    return [*case.site.doubts(), *wet]


def _ranges(page: Page, case: Case, verbose: bool) -> None:
    known = len(case.uncertain)
    if not known:
        return
    page.heading(f"Known only as a range: {known}; a run takes one value inside each")
    if verbose:
        for item in case.uncertain:
            page.item(f"{item.path}: {item.low:.3g} to {item.high:.3g} (SI), {item.source}")


def _sources(page: Page, case: Case) -> None:
    page.heading("Where the numbers come from")
    site = case.site
    nouns: list[tuple[str, Any]] = [("slab", site.slab), ("walls", site.walls)]
    nouns.append(("ground", site.ground))
    nouns += [("layer", noun) for noun in site.ground.layers]
    nouns += [("fill", site.fill)] if site.fill else []
    nouns += [("band", noun) for noun in site.bands]
    nouns += [("backfill", site.backfill)] if site.backfill else []
    nouns += [("yard soil", site.yard_soil)] if site.yard_soil else []
    nouns += [(f'patch "{noun.name}"', noun) for noun in site.patches]
    nouns += [(f'moist zone "{noun.name}"', noun) for noun in site.moist_zones]
    nouns += [(f'pores of "{noun.name}"', noun.pores) for noun in site.moist_zones if noun.pores]
    nouns += [(f'soil field "{noun.name}"', noun) for noun in site.soil_fields]
    nouns += [("random soil", site.random_soil)] if site.random_soil else []
    nouns += [(f'footing "{noun.name}"', noun) for noun in site.footings]
    nouns += [(f'gap "{noun.name}"', noun) for noun in site.gaps]
    nouns += [(f'yard "{noun.name}"', noun) for noun in site.yards]
    nouns += [("joint", noun) for noun in site.joints]
    nouns += [(f'crack "{noun.name}"', noun) for noun in site.cracks]
    nouns += [(f'opening "{noun.name}"', noun) for noun in site.openings]
    nouns += [(f'bare soil "{noun.name}"', noun) for noun in site.bare_soil]
    nouns += [("walls that leak", noun) for noun in site.wall_bodies]
    nouns += [(f'drain "{noun.name}"', noun) for noun in site.conductors]
    nouns += [(f'room "{noun.name}"', noun) for noun in site.rooms]
    for name, noun in nouns:
        page.item(f"{name}: {noun.source}")


def check_to_dict(case: Case, estimates: Mapping[str, Estimate]) -> dict[str, Any]:
    """What ``check`` found, in plain types.

    Parameters
    ----------
    case : Case
        The case.
    estimates : mapping of str to Estimate
        Cost by layout.

    Returns
    -------
    report : dict
        JSON types only; keys end in their unit.
    """
    return {
        "title": case.title,
        "variant": case.variant,
        "layouts": {
            name: {
                "cells": cost.cells,
                "ports": cost.ports,
                "seconds_s": cost.seconds,
                "memory_MB": cost.megabytes,
            }
            for name, cost in estimates.items()
        },
        "leaks": list(leak_lines(case.site)),
        "doubts": _doubts_of(case),
        "uncertain": [
            {"path": u.path, "low": u.low, "high": u.high, "law": u.law, "source": u.source}
            for u in case.uncertain
        ],
    }
