"""A comparison as text and as plain types: best first, and the differences that matter."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from soilflow.conditions import DESIGN
from soilflow.operating_point import CAPPED
from soilflow.output.cautions import first_cautions
from soilflow.output.page import Page, both, cfm, figures, percent, spoken, wc
from soilflow.output.printout import LEAST_FLOW
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.compare import Comparison, Member
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC

__all__ = ["NO_DIFFERENCE", "comparison_to_csv", "comparison_to_dict", "print_comparison"]

# Worst margins closer than this part of the larger suction are called no difference: chosen by
# the project, about what halving every cell moves (benchmarks/tables/splitting.txt). [-]
NO_DIFFERENCE = 0.02

_COLUMNS = (
    ("variant", "-"),
    ("layout", "-"),
    ("condition", "-"),
    ("passes", "-"),
    ("worst_margin", "Pa"),
    ("worst_x", "m"),
    ("worst_y", "m"),
    ("floor_covered_1Pa", "-"),
    ("walls_covered_1Pa", "-"),
    ("air_drawn", "m3/s"),
    ("least_riser_vacuum", "Pa"),
    ("most_riser_vacuum", "Pa"),
    ("house_air_drawn", "m3/s"),
    ("soil_gas_entry_fan_on", "m3/s"),
    ("soil_gas_entry_before_digging", "m3/s"),
    ("failure", "-"),
)


def print_comparison(comparison: Comparison, *, verbose: bool = False, width: int = 60) -> str:
    """Write a comparison, the best layout first.

    Parameters
    ----------
    comparison : Comparison
        What was compared.
    verbose : bool
        Add every condition and the size of the grid.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    for member in comparison.members:
        if not member.failure and 0.0 < _drawn(member) < LEAST_FLOW:
            page.say(
                f'READ THIS FIRST: "{member.layout}" draws {cfm(_drawn(member))} in all, below '
                "what a field gauge shows: its figures are not dependable."
            )
    page.heading(comparison.title)
    several = len(comparison.variants) > 1
    for variant in comparison.variants:
        members = comparison.ranked(variant)
        if several:
            page.heading(f"SITE: {spoken(variant) or 'as written'}")
        if members:
            _tables(page, members)
            page.heading("Differences that matter")
            for sentence in _differences(members):
                page.item(sentence)
        for member in comparison.failed:
            if member.variant == variant:
                page.say(f"{member.layout}: no answer: {member.failure}")
    if verbose:
        _every_condition(page, comparison)
    notes = {note: None for member in comparison.members for note in member.notes}
    if notes:
        page.heading("Notes")
        for note in notes:
            page.item(note)
    page.heading("How far to trust it")
    page.say("All layouts were solved on one grid, so the differences are those of the layouts.")
    page.say("No range computed: one value for each input.")
    page.heading("Cautions")
    for caution in first_cautions():
        page.item(caution)
    return page.text()


def _tables(page: Page, members: Sequence[Member]) -> None:
    condition = members[0].judged()
    line = f"{PASS_LINE:g} Pa"
    page.heading(f"{spoken(condition.name).capitalize()}, best first: covered at {line}")
    rows: list[tuple[str, ...]] = [("", "to spare Pa", "floor", "walls", "cfm")]
    for member in members:
        found = member.judged()
        rows.append(
            (
                member.layout,
                figures(found.worst.margin, 3),
                percent(found.coverage_area[PASS_LINE]),
                percent(found.coverage_perimeter[PASS_LINE]),
                _number(cfm(_drawn(member))),
            )
        )
    page.rows(rows)
    page.heading("Vacuum at the risers, house air drawn, soil gas let in")
    rows = [("", "in. w.c.", "house cfm", "gas cfm")]
    for member in members:
        found = member.judged()
        rows.append(
            (
                member.layout,
                _risers(member),
                _number(cfm(found.house_on.into_soil)),
                _number(cfm(found.house_on.from_soil)),
            )
        )
    page.rows(rows)


def _number(quantity: str) -> str:
    return quantity.removesuffix(" cfm").removesuffix(" in. w.c.")


def _vacuums(member: Member) -> list[float]:
    """Vacuum at the riser of every point in use, or in its pit where it has no pipe. [Pa]"""
    on = member.judged().operating_point
    found = []
    for point in member.arrangement.points:
        port = on.port_names.index(point.name)
        if on.states[port] != CAPPED:
            found.append(on.riser_vacuums.get(point.name, -float(on.pressures[port])))
    return found


def _risers(member: Member) -> str:
    vacuums = [_number(wc(v)) for v in _vacuums(member)]
    if not vacuums:
        return "capped"
    low, high = min(vacuums, key=float), max(vacuums, key=float)
    return low if low == high else f"{low} to {high}"


def _drawn(member: Member) -> float:
    """Air drawn through all suction points. [m3/s]"""
    on = member.judged().operating_point
    names = [point.name for point in member.arrangement.points]
    return float(sum(on.flows[on.port_names.index(name)] for name in names))


def _alike(a: Member, b: Member) -> bool:
    """Whether two worst margins differ by no more than grids do."""
    one, other = a.judged().worst.margin, b.judged().worst.margin
    suction = max(abs(one + PASS_LINE), abs(other + PASS_LINE))
    return abs(one - other) <= NO_DIFFERENCE * suction


def _differences(members: Sequence[Member]) -> list[str]:
    """Plain sentences, from the numbers alone."""
    when = spoken(members[0].judged().name)
    holds = [m.layout for m in members if m.judged().passes]
    fails = [m.layout for m in members if not m.judged().passes]
    said = []
    if holds and fails:
        said.append(
            f"The pass line holds in {when} with {_listed(holds)}; not with {_listed(fails)}."
        )
    else:
        verdict = "holds" if holds else "does not hold"
        which = "every" if holds else "any"
        said.append(f"The pass line {verdict} in {when} with {which} layout.")
    best = members[0]
    for other in members[1:]:
        gained = best.judged().worst.margin - other.judged().worst.margin
        if _alike(best, other):
            said.append(
                f'"{best.layout}" and "{other.layout}": no difference at the worst spot that a '
                "grid could tell."
            )
        else:
            said.append(
                f'"{best.layout}" has {both(gained)} more at its worst spot than "{other.layout}".'
            )
    per_point = {m.layout: _drawn(m) / max(len(_vacuums(m)), 1) for m in members}
    most, least = (
        max(per_point, key=per_point.__getitem__),
        min(per_point, key=per_point.__getitem__),
    )
    if per_point[least] > 0.0 and per_point[most] > 1.5 * per_point[least]:
        ratio = figures(per_point[most] / per_point[least], 2)
        said.append(f'A point of "{most}" draws {ratio} times the air of one of "{least}".')
    elif max(per_point.values()) * max(map(len, map(_vacuums, members))) < M3S_PER_CFM:
        said.append("No layout draws 1 cfm: tight soil; read no coverage as a working system.")
    return said


def _listed(names: Sequence[str]) -> str:
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + f" and {quoted[-1]}"


def _every_condition(page: Page, comparison: Comparison) -> None:
    page.heading("Worst margin in every condition, Pa")
    names = list(dict.fromkeys(n for m in comparison.members for n in m.conditions))
    rows = [("", *map(spoken, names))]
    for member in comparison.members:
        if not member.failure:
            shown = [figures(member.conditions[n].worst.margin, 3) for n in names]
            site = f", {spoken(member.variant)}" if member.variant else ""
            rows.append((member.layout + site, *shown))
    page.rows(rows)
    page.say(f"{comparison.cells} cells, one grid for all.")


def _rows(comparison: Comparison) -> list[dict[str, Any]]:
    """One row per member and condition, keys with their unit, numbers in SI."""
    rows: list[dict[str, Any]] = []
    for member in comparison.members:
        base: dict[str, Any] = {
            "variant": member.variant,
            "layout": member.layout,
            "failure": member.failure,
        }
        if member.failure:
            rows.append(base)
        for name, found in member.conditions.items():
            on = found.operating_point
            points = [on.port_names.index(p.name) for p in member.arrangement.points]
            vacuums = _vacuums(member)
            before = found.baseline
            rows.append(
                base
                | {
                    "condition": name,
                    "passes": found.passes,
                    "worst_margin": found.worst.margin,
                    "worst_x": found.worst.x,
                    "worst_y": found.worst.y,
                    "floor_covered_1Pa": found.coverage_area[PASS_LINE],
                    "walls_covered_1Pa": found.coverage_perimeter[PASS_LINE],
                    "air_drawn": float(on.flows[points].sum()),
                    "least_riser_vacuum": min(vacuums, default=math.nan),
                    "most_riser_vacuum": max(vacuums, default=math.nan),
                    "house_air_drawn": found.house_on.into_soil,
                    "soil_gas_entry_fan_on": found.house_on.from_soil,
                    "soil_gas_entry_before_digging": (
                        math.nan if before is None else before.house.from_soil
                    ),
                }
            )
    return rows


def comparison_to_csv(comparison: Comparison) -> str:
    """A comparison as a table, one row per member and condition.

    Parameters
    ----------
    comparison : Comparison
        What was compared.

    Returns
    -------
    text : str
        CSV; the header names each column with its unit, numbers are SI.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f"{name} [{unit}]" for name, unit in _COLUMNS])
    for row in _rows(comparison):
        writer.writerow([row.get(name, "") for name, _ in _COLUMNS])
    return out.getvalue()


def comparison_to_dict(comparison: Comparison) -> dict[str, Any]:
    """A comparison in plain types, ready for JSON.

    Parameters
    ----------
    comparison : Comparison
        What was compared.

    Returns
    -------
    report : dict
        Members by rank within each site, units by column.
    """

    def plain(value: Any) -> Any:
        if isinstance(value, float):
            return value if math.isfinite(value) else None
        return bool(value) if isinstance(value, bool) else value

    return {
        "title": comparison.title,
        "cells": comparison.cells,
        "design_condition": DESIGN,
        "inch_of_water_Pa": PA_PER_INCH_WC,
        "units": dict(_COLUMNS),
        "best_first": {v: [m.layout for m in comparison.ranked(v)] for v in comparison.variants},
        "rows": [{k: plain(v) for k, v in row.items()} for row in _rows(comparison)],
    }
