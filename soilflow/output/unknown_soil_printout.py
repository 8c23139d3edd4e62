"""Layouts in unknown soil as text, as a table and as plain types."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from typing import Any

from soilflow.case import Case
from soilflow.files.field_paths import field_dimension
from soilflow.output.cautions import first_cautions
from soilflow.output.page import Page, both, figures
from soilflow.output.tidy_tables import spreadsheet_cell
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.soil_odds import LayoutOdds, UnknownSoil

__all__ = ["print_soils", "soils_to_csv", "soils_to_dict"]


def print_soils(study: UnknownSoil, case: Case, *, verbose: bool = False, width: int = 60) -> str:
    """Write what many soils say, layout by layout.

    Parameters
    ----------
    study : UnknownSoil
        The study.
    case : Case
        Its case.
    verbose : bool
        Add the ranges with their sources, and the worst soil of every layout.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    page.heading(study.title)
    page.heading(f"HOLDS THE PASS LINE OF {PASS_LINE:g} PA, SOIL UNKNOWN")
    odds = study.odds
    for one in odds:
        page.item(f'"{one.layout}" {_passes(one, study.members)}')
    best = study.best_in_worst_tenth
    if best:
        tenth = next(one.worst_tenth for one in odds if one.layout == best)
        which = f'"{best}" keeps most' if len(odds) > 1 else "there it has"
        page.say(
            f"In the worst tenth of the soils {which}: on average {both(tenth)} to spare at "
            "the worst spot."
        )
    _effects(page, study, odds)
    _worst_soils(page, study, case, odds if verbose else odds[:1])
    page.heading(f"Drawn as a range: {len(study.ranges)}")
    for known in study.ranges:
        unit = field_dimension(case, known.path).unit
        ends = f"{_value(known.low, unit)} to {_value(known.high, unit)}"
        page.item(f"{_input(known.path)}: {ends}" + (f", {known.source}" if verbose else ""))
    page.heading("How far to trust it")
    page.say(
        f"{study.members} soils drawn with seed {study.seed}, {study.resolution} grid; every "
        "input on its own, whatever the others are. The plus-minus is one standard error of the "
        "draw alone. What no range is given for is taken as known, and a range that is a guess "
        "makes the odds a guess."
    )
    page.heading("Cautions")
    for caution in first_cautions():
        page.item(caution)
    return page.text()


def _passes(one: LayoutOdds, members: int) -> str:
    if not one.solved:
        return f"has no answer in any of {members} soils."
    words = f"passes in {one.passed} of {one.solved} soils"
    if one.passed in (0, one.solved):
        # none seen in n draws: below 3 / n with 95 % confidence ("rule of three", from memory)
        bound = min(300.0 / one.solved, 100.0)
        words += (
            f"; up to {figures(bound, 2)} % of soils may still {'fail' if one.passed else 'pass'}"
        )
    else:
        words += f": {100.0 * one.share:.0f} % ± {100.0 * one.standard_error:.0f} %"
    if one.weak:
        words += f"; in {one.weak} of them it draws less than a field gauge shows"
    missing = members - one.solved
    return words + (f"; no answer in {missing} more." if missing else ".")


def _effects(page: Page, study: UnknownSoil, odds: Sequence[LayoutOdds]) -> None:
    page.heading("What the worst margin depends on")
    told = [one for one in odds if one.effects]
    if not told:
        times = len(study.ranges) + 2
        asked = len(study.outcomes) > study.members
        page.say(
            "No shares: a soil has no answer."
            if asked
            else f"Not computed: --sensitivity does, with {times} times as many soils."
        )
        return
    page.say("Share of its variance, per cent: by the input alone, and with others in it.")
    for one in told:
        rows: list[tuple[str, ...]] = [(f'"{one.layout}"', "alone", "with others")]
        for effect in sorted(one.effects, key=lambda e: -e.total_order):
            alone = _share(effect.first_order, effect.first_order_error)
            whole = _share(effect.total_order, effect.total_order_error)
            rows.append((_input(effect.path), alone, whole))
        page.rows(rows)


def _share(share: float, error: float) -> str:
    return f"{100.0 * share:.0f} ± {100.0 * error:.0f}".replace("-0 ", "0 ")


def _worst_soils(page: Page, study: UnknownSoil, case: Case, odds: Sequence[LayoutOdds]) -> None:
    for one in odds:
        if one.worst_member < 0:
            continue
        page.heading(f'Worst soil for "{one.layout}": number {one.worst_member + 1}')
        page.say(f"{both(one.margin)} to spare at the worst spot, negative fails.")
        for known, value in zip(study.ranges, study.values[one.worst_member], strict=True):
            unit = field_dimension(case, known.path).unit
            page.item(f"{_input(known.path)}: {_value(float(value), unit)}")


def _input(path: str) -> str:
    """A path as words: ``site.ground.layers[0].permeability`` is "ground layers 1 permeability"."""
    words = re.sub(r"\[(\d+)\]", lambda at: f" {int(at[1]) + 1}", path.removeprefix("site."))
    return words.replace(".", " ").replace("_", " ")


def _value(value: float, unit: str) -> str:
    if unit == "m" and abs(value) < 0.1:
        return f"{1000.0 * value:.2g} mm"
    return f"{value:.2g}" + ("" if unit == "-" else f" {unit}")


def _columns(study: UnknownSoil, case: Case) -> list[str]:
    inputs = [f"{k.path} [{field_dimension(case, k.path).unit}]" for k in study.ranges]
    results = ["worst_margin [Pa]", "floor_covered_1Pa [-]", "fan_flow [m3/s]", "failure [-]"]
    return ["soil [-]", "drawn_for [-]", *inputs, "layout [-]", *results]


def _drawn_for(study: UnknownSoil, soil: int) -> str:
    """Which part of the draw a soil belongs to."""
    part = soil // study.members
    if part < 2:
        return ("odds", "second set")[part]
    return f"second set in {study.ranges[part - 2].path} alone"


def soils_to_csv(study: UnknownSoil, case: Case) -> str:
    """All soils as a table, a row for each soil and layout.

    Parameters
    ----------
    study : UnknownSoil
        The study.
    case : Case
        Its case.

    Returns
    -------
    text : str
        CSV; the header names each column with its unit, numbers are SI and to the last digit.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_columns(study, case))
    for i, (row, each) in enumerate(zip(study.values.tolist(), study.outcomes, strict=True)):
        for one in each:
            numbers = (one.margin, one.coverage_area, one.flow)
            found = ("", "", "") if one.failure else numbers
            cells = [i + 1, _drawn_for(study, i), *row, one.layout, *found, one.failure]
            writer.writerow([spreadsheet_cell(cell) for cell in cells])
    return out.getvalue()


def soils_to_dict(study: UnknownSoil, case: Case) -> dict[str, Any]:
    """A study in plain types, ready for JSON.

    Parameters
    ----------
    study : UnknownSoil
        The study.
    case : Case
        Its case.

    Returns
    -------
    report : dict
        Odds by layout, keys with their unit; the soils themselves are in the table.
    """

    def plain(value: float) -> float | None:
        return value if math.isfinite(value) else None

    def effects(one: LayoutOdds) -> dict[str, Any] | None:
        names = ("first_order", "first_order_error", "total_order", "total_order_error")
        return {e.path: {n: plain(getattr(e, n)) for n in names} for e in one.effects} or None

    def worst(one: LayoutOdds) -> dict[str, Any] | None:
        if one.worst_member < 0:
            return None
        row = study.values[one.worst_member].tolist()
        inputs = {k.path: value for k, value in zip(study.ranges, row, strict=True)}
        return {"soil": one.worst_member + 1, "worst_margin_Pa": plain(one.margin), **inputs}

    return {
        "title": study.title,
        "resolution": study.resolution,
        "soils": study.members,
        "soils_solved": len(study.outcomes),
        "seed": study.seed,
        "failed": study.failed,
        "inputs": {
            k.path: {
                "low": k.low,
                "high": k.high,
                "unit": field_dimension(case, k.path).unit,
                "law": k.law,
                "source": k.source,
            }
            for k in study.ranges
        },
        "best_in_worst_tenth": study.best_in_worst_tenth or None,
        "layouts": {
            one.layout: {
                "passes": one.passed,
                "of": one.solved,
                "share": plain(one.share),
                "standard_error": plain(one.standard_error),
                "worst_tenth_mean_margin_Pa": plain(one.worst_tenth),
                "worst_soil": worst(one),
                "sensitivity": effects(one),
            }
            for one in study.odds
        },
    }
