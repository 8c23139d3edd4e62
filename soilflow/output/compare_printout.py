"""A comparison as text and as plain types: best first, and the differences that matter."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Any

from soilflow.conditions import DESIGN
from soilflow.operating_point import CAPPED
from soilflow.output.cautions import first_cautions
from soilflow.output.error_bars import about_bars, half_bar, plus_minus, too_close
from soilflow.output.page import Page, bare, both, cfm, figures, percent, spoken, wc
from soilflow.output.printout import draws_too_little
from soilflow.output.tidy_tables import spreadsheet_cell
from soilflow.results.coverage import PASS_LINE
from soilflow.results.grid_error import tell_apart
from soilflow.results.solved import ConditionResult
from soilflow.studies.compare import Comparison, Member
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC

__all__ = [
    "NO_DIFFERENCE",
    "comparison_to_csv",
    "comparison_to_dict",
    "print_comparison",
]

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
        if not member.failure and draws_too_little(member.arrangement, member.judged()):
            page.say(
                f"READ THIS FIRST: {_full_name(member)} draws {cfm(_drawn(member))} in all, below "
                "what a field gauge shows: its figures are not dependable."
            )
    page.heading(comparison.title)
    for heading, members in _groups(comparison):
        if heading:
            page.heading(heading)
        if members:
            _tables(page, members)
            page.heading("Differences that matter")
            for sentence in _differences(members):
                page.item(sentence)
    for member in comparison.failed:
        page.say(f"{_full_name(member)}: no answer: {member.failure}")
    if verbose:
        _every_condition(page, comparison)
    notes = {note: None for member in comparison.members for note in member.notes}
    if notes:
        page.heading("Notes")
        for note in notes:
            page.item(note)
    page.heading("How far to trust it")
    page.say("All were solved on one grid, so that its errors do not look like differences.")
    barred = [m.judged() for m in comparison.members if not m.failure and m.judged().bars]
    if barred:
        page.say(about_bars(barred[0]))
    page.say("No range computed: one value for each input.")
    page.heading("Cautions")
    for caution in first_cautions():
        page.item(caution)
    return page.text()


def _groups(comparison: Comparison) -> list[tuple[str, dict[str, Member]]]:
    """What stands in one table: heading, and members by their name in it, the best first."""
    layouts = {member.layout for member in comparison.members}
    if len(comparison.variants) == 1:
        return [("", {m.layout: m for m in comparison.ranked(comparison.variants[0])})]
    if len(layouts) == 1:
        heading = f'LAYOUT "{layouts.pop()}" ON {len(comparison.variants)} SITES'
        return [(heading, {_site(m.variant): m for m in comparison.ranked(None)})]
    return [
        (f"SITE: {_site(v)}", {m.layout: m for m in comparison.ranked(v)})
        for v in comparison.variants
    ]


def _site(variant: str) -> str:
    return spoken(variant) or "as written"


def _full_name(member: Member) -> str:
    on = f" ({_site(member.variant)})" if member.variant else ""
    return f'"{member.layout}"{on}'


def _tables(page: Page, members: Mapping[str, Member]) -> None:
    condition = next(iter(members.values())).judged()
    line = f"{PASS_LINE:g} Pa"
    page.heading(f"{spoken(condition.name).capitalize()}, best first: covered at {line}")
    rows: list[tuple[str, ...]] = [("", "to spare Pa", "floor", "walls", "cfm")]
    for name, member in members.items():
        found = member.judged()
        rows.append(
            (
                name,
                figures(found.worst.margin, 3),
                percent(found.coverage_area[PASS_LINE]),
                percent(found.coverage_perimeter[PASS_LINE]),
                bare(cfm(_drawn(member))),
            )
        )
        if found.bars:
            line = f"{PASS_LINE:g}"
            rows.append(
                (
                    "",
                    half_bar(found, "worst_margin"),
                    half_bar(found, "coverage_area", line, unit=0.01) + "  ",
                    half_bar(found, "coverage_perimeter", line, unit=0.01) + "  ",
                    half_bar(found, "air_drawn", unit=M3S_PER_CFM),
                )
            )
    page.rows(rows)
    page.heading("Vacuum at the risers, house air drawn, soil gas let in")
    rows = [("", "in. w.c.", "house cfm", "gas cfm")]
    for name, member in members.items():
        found = member.judged()
        air, gas = bare(cfm(found.house_on.into_soil)), bare(cfm(found.house_on.from_soil))
        rows.append((name, _risers(member), air, gas))
        if found.bars:
            names = ("air_from_house", "entry")
            flows = (half_bar(found, bar, unit=M3S_PER_CFM) for bar in names)
            rows.append(("", plus_minus(_riser_error(member, found) / PA_PER_INCH_WC), *flows))
    page.rows(rows)


def _vacuums(member: Member, condition: ConditionResult) -> list[float]:
    """Vacuum at the riser of every point in use, or in its pit where it has no pipe. [Pa]"""
    on, found = condition.operating_point, []
    for point in member.arrangement.points:
        port = on.port_names.index(point.name)
        if on.states[port] != CAPPED:
            found.append(on.riser_vacuums.get(point.name, -float(on.pressures[port])))
    return found


def _riser_error(member: Member, condition: ConditionResult) -> float:
    """Longest half bar of the vacuums above. [Pa]"""
    on, bars = condition.operating_point, condition.bars
    names = [point.name for point in member.arrangement.points]
    kinds = {n: "riser_vacuum" if n in on.riser_vacuums else "port_pressure" for n in names}
    return max((bars[kinds[name]][name].error for name in names), default=0.0)


def _risers(member: Member) -> str:
    vacuums = [bare(wc(v)) for v in _vacuums(member, member.judged())]
    if not vacuums:
        return "capped"
    low, high = min(vacuums, key=float), max(vacuums, key=float)
    return low if low == high else f"{low} to {high}"


def _drawn(member: Member) -> float:
    """Air drawn through all suction points. [m3/s]"""
    return member.judged().air_drawn(point.name for point in member.arrangement.points)


def _alike(a: Member, b: Member) -> bool:
    """Whether two worst margins differ by no more than their grids may have them off."""
    bars = [m.judged().bars.get("worst_margin", {}).get("") for m in (a, b)]
    if bars[0] is not None and bars[1] is not None:
        return not tell_apart(bars[0], bars[1])
    one, other = a.judged().worst.margin, b.judged().worst.margin
    suction = max(abs(one + PASS_LINE), abs(other + PASS_LINE))
    return abs(one - other) <= NO_DIFFERENCE * suction


def _differences(members: Mapping[str, Member]) -> list[str]:
    """Plain sentences, from the numbers alone."""
    best, *others = members
    when = spoken(members[best].judged().name)
    holds = [name for name, m in members.items() if m.judged().passes]
    fails = [name for name in members if name not in holds]
    said = []
    if holds and fails:
        which = f"with {_listed(holds)}; not with {_listed(fails)}"
        said.append(f"The pass line holds in {when} {which}.")
    else:
        verdict, which = ("holds", "all") if holds else ("does not hold", "any")
        said.append(f"The pass line {verdict} in {when} with {which} of them.")
    close = [name for name, member in members.items() if too_close(member.judged())]
    if close:
        said.append(f"Too close to the pass line for the grid to tell: {_listed(close)}.")
    for other in others:
        gained = members[best].judged().worst.margin - members[other].judged().worst.margin
        if _alike(members[best], members[other]):
            said.append(
                f'"{best}" and "{other}": no difference at the worst spot that a grid could tell.'
            )
        else:
            said.append(f'"{best}" has {both(gained)} more at its worst spot than "{other}".')
    said += _air_by_point(members)
    return said


def _air_by_point(members: Mapping[str, Member]) -> list[str]:
    """Where a point draws much more air than elsewhere."""
    used = {name: len(_vacuums(m, m.judged())) for name, m in members.items()}
    per_point = {name: _drawn(m) / used[name] for name, m in members.items() if used[name]}
    if len(per_point) < 2:
        return []
    by_air = sorted(per_point.items(), key=itemgetter(1))
    (least, low), (most, high) = by_air[0], by_air[-1]
    if not 0.0 < 1.5 * low < high:
        return []
    return [f'A point of "{most}" draws {figures(high / low, 2)} times the air of "{least}".']


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
            vacuums = _vacuums(member, found)
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
                    "air_drawn": found.air_drawn(p.name for p in member.arrangement.points),
                    "least_riser_vacuum": min(vacuums, default=math.nan),
                    "most_riser_vacuum": max(vacuums, default=math.nan),
                    "house_air_drawn": found.house_on.into_soil,
                    "soil_gas_entry_fan_on": found.house_on.from_soil,
                    "soil_gas_entry_before_digging": (
                        math.nan if before is None else before.house.from_soil
                    ),
                    **(_row_bars(member, found) if found.bars else {}),
                }
            )
    return rows


# Columns with half an error bar, where there are bars: the column they belong to, the headline.
_BAR_COLUMNS = {
    "worst_margin": ("worst_margin", ""),
    "floor_covered_1Pa": ("coverage_area", f"{PASS_LINE:g}"),
    "walls_covered_1Pa": ("coverage_perimeter", f"{PASS_LINE:g}"),
    "air_drawn": ("air_drawn", ""),
    "house_air_drawn": ("air_from_house", ""),
    "soil_gas_entry_fan_on": ("entry", ""),
    "soil_gas_entry_before_digging": ("entry_before_digging", ""),
}


def _row_bars(member: Member, found: ConditionResult) -> dict[str, float]:
    bars = {
        f"{column}_error": found.bars[name][of].error
        for column, (name, of) in _BAR_COLUMNS.items()
        if name in found.bars
    }
    return bars | {"riser_vacuum_error": _riser_error(member, found)}


def _columns(comparison: Comparison) -> tuple[tuple[str, str], ...]:
    """Columns with their units; those of error bars only where there are any."""
    if not any(found.bars for m in comparison.members for found in m.conditions.values()):
        return _COLUMNS
    units = dict(_COLUMNS)
    bars = [(f"{column}_error", units[column]) for column in _BAR_COLUMNS]
    return (*_COLUMNS[:-1], *bars, ("riser_vacuum_error", "Pa"), _COLUMNS[-1])


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
    columns = _columns(comparison)
    writer.writerow([f"{name} [{unit}]" for name, unit in columns])
    for row in _rows(comparison):
        writer.writerow([spreadsheet_cell(row.get(name, "")) for name, _ in columns])
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
        "units": dict(_columns(comparison)),
        "best_first": {v: [m.layout for m in comparison.ranked(v)] for v in comparison.variants},
        "rows": [{k: plain(v) for k, v in row.items()} for row in _rows(comparison)],
    }
