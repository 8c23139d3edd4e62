"""The wall-or-centre map in words: printout, table and plain data."""

from __future__ import annotations

import csv
import io
import itertools
import math
from typing import Any

import numpy as np

from soilflow.output.page import Page, cfm, spoken
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.deciding import judged_by
from soilflow.studies.site_axes import SiteAxis
from soilflow.studies.wall_or_centre import EVEN, MEASURES, PlacementMap

__all__ = [
    "lead_words",
    "map_to_csv",
    "map_to_dict",
    "print_map",
    "scale_words",
    "typed",
    "what_to_see",
]

_OWN_SCALES: dict[str, tuple[float, str]] = {
    "length": (1e-3, "aperture of the joint [mm]"),
    "permeability": (1.0, "air permeability of the slab [m\u00b2]"),
}


def scale_words(axis: SiteAxis) -> tuple[float, str] | None:
    """The unit of an axis as it is measured.

    Parameters
    ----------
    axis : SiteAxis
        The axis.

    Returns
    -------
    words : tuple of float and str, or None
        One unit and the words on the scale; None for a ratio, which has no unit. [SI]
    """
    return _OWN_SCALES.get(axis.dimension)


def typed(axis: SiteAxis, value: float) -> str:
    """A value of an axis as a user would type it.

    Parameters
    ----------
    axis : SiteAxis
        The axis.
    value : float
        The value. [SI]

    Returns
    -------
    text : str
        Number and unit.
    """
    if axis.dimension == "length":
        return f"{1e3 * value:.2g} mm"
    return f"{value:.2g}" + (" m2" if axis.dimension == "permeability" else "")


def lead_words(found: PlacementMap, at: tuple[int, int, int]) -> str:
    """Who leads at one point of a map, and by how much.

    Parameters
    ----------
    found : PlacementMap
        The map.
    at : tuple of int
        Panel, column, row.

    Returns
    -------
    words : str
        ``W`` or ``M`` and the difference of margins or coverages, or the ratio of flows; ``even``
        where the two can hardly be told apart.
    """
    lead = float(found.lead[at])
    if math.isnan(lead):
        return "?"
    who = "W" if lead >= 0.0 else "M"
    if abs(lead) < EVEN[found.plan.measure]:
        return "even"
    if found.plan.measure == "flow":
        return f"{who} x {math.exp(abs(lead)):.2g}"
    if found.plan.measure == "coverage":
        return f"{who} +{100.0 * abs(lead):.0f} %"
    return f"{who} +{abs(lead):.2g} Pa" if abs(lead) < 99.5 else f"{who} +{abs(lead):.0f} Pa"


def _condition(found: PlacementMap) -> str:
    return spoken(judged_by(found.plan.case)[0].name)


def what_to_see(found: PlacementMap) -> str:
    """One sentence on what to see.

    Parameters
    ----------
    found : PlacementMap
        The map.

    Returns
    -------
    words : str
        What changes across, up and from panel to panel, and what the letters count.
    """
    plan = found.plan
    by = {
        "margin": "suction at the worst spot",
        "flow": "the air drawn",
        "coverage": f"the share of floor at {PASS_LINE:g} Pa",
    }[plan.measure]
    gap = ", and from panel to panel a gap opens or moves" if len(plan.scenes) > 1 else ""
    return (
        f"Which placement does more is a map and no rule: across, {plan.x.rises}; upward, "
        f"{plan.y.rises}{gap}. Letters and numbers: who leads, and by how much in {by}, "
        f"{_condition(found)}."
    )


def _letter(found: PlacementMap, at: tuple[int, int, int]) -> str:
    """W or M for who leads, = for nobody; small and - where neither holds the floor."""
    lead, best = float(found.lead[at]), float(found.best_margin[at])
    if math.isnan(lead):
        return "?"
    if abs(lead) < EVEN[found.plan.measure]:
        return "=" if best >= 0.0 else "-"
    who = "W" if lead >= 0.0 else "M"
    return who if best >= 0.0 else who.lower()


def print_map(found: PlacementMap, *, verbose: bool = False, width: int = 60) -> str:
    """A map as text.

    Parameters
    ----------
    found : PlacementMap
        The map.
    verbose : bool
        Whether to print the margins of both placements too.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        A letter for each point, panel by panel.
    """
    plan = found.plan
    page = Page(width)
    page.say(plan.case.title)
    page.say(f'W: "{plan.wall.name}"')
    page.say(f'M: "{plan.centre.name}"')
    page.say(
        f"The letter is the placement that leads by {plan.measure} in {_condition(found)}; a small "
        f"letter, neither holds the floor at {PASS_LINE:g} Pa. Even: = where they hold, - where "
        "they do not."
    )
    for s, scene in enumerate(plan.scenes):
        page.heading(scene.words.upper())
        page.say(f"across: {plan.x.words}; down: {plan.y.words}")
        page.rows(_panel_rows(found, s))
        if verbose:
            page.say("Margin of W / of M [Pa]:")
            page.rows(_margin_rows(found, s))
    page.heading("THIS CASE")
    page.say(_case_words(found))
    for reason in found.failures:
        page.say(f"Not solved somewhere (shown as ?): {reason}")
    if verbose:
        page.say(f"Cells: {', '.join(map(str, found.cells))}, grid {plan.case.resolution.name!r}.")
        page.say(f"Axes without dimension: {plan.x.scaled}; {plan.y.scaled}.")
    return page.text()


def _panel_rows(found: PlacementMap, s: int) -> list[tuple[str, ...]]:
    plan = found.plan
    head = ("", *(typed(plan.x, v) for v in plan.x_values))
    rows = [
        (
            typed(plan.y, plan.y_values[j]),
            *(_letter(found, (s, i, j)) for i in range(len(plan.x_values))),
        )
        for j in reversed(range(len(plan.y_values)))
    ]
    return [head, *rows]


def _margin_rows(found: PlacementMap, s: int) -> list[tuple[str, ...]]:
    plan = found.plan
    rows: list[tuple[str, ...]] = [("", "", "W", "M")]
    for i, j in itertools.product(range(len(plan.x_values)), range(len(plan.y_values))):
        w, m = found.margins[s, i, j]
        rows.append(
            (
                typed(plan.x, plan.x_values[i]),
                typed(plan.y, plan.y_values[j]),
                f"{w:+.3g}",
                f"{m:+.3g}",
            )
        )
    return rows


def _case_words(found: PlacementMap) -> str:
    plan, here = found.plan, found.plan.here
    if here is None or found.at_case is None:
        return (
            "It has no place on this map: its gap lies under core and walls, or is on no panel "
            "shown, or it has several values of a number on an axis."
        )
    margins, flows, _ = found.at_case
    where = (
        f"{next(s.words for s in plan.scenes if s.name == here[0])}; {plan.x.words} "
        f"{typed(plan.x, here[1])}, {plan.y.words} {typed(plan.y, here[2])}"
    )
    said = ", ".join(
        f'"{layout.name}" {margin:+.3g} Pa to spare and {cfm(flow)}'
        for layout, margin, flow in zip(plan.placements, margins, flows, strict=True)
    )
    holds = "" if np.nanmax(margins) >= 0.0 else " Neither holds the floor."
    return f"{where}: {said}.{holds}"


_COLUMNS = {
    "panel": "",
    "gap": "m",
    "x": "SI",
    "y": "SI",
    "x_without_dimension": "-",
    "y_without_dimension": "-",
    "wall_margin": "Pa",
    "centre_margin": "Pa",
    "wall_flow": "m3/s",
    "centre_flow": "m3/s",
    "wall_coverage": "-",
    "centre_coverage": "-",
    "leads": "",
    "holds": "",
}


_LEADS = {"W": "wall", "M": "centre", "=": "even", "-": "even"}


def _rows(found: PlacementMap) -> list[dict[str, Any]]:
    plan = found.plan
    rows = []
    shape = found.lead.shape
    for s, i, j in itertools.product(*map(range, shape)):
        letter = _letter(found, (s, i, j))
        x, y = plan.x_values[i], plan.y_values[j]
        numbers = [
            float(array[s, i, j, which])
            for array in (found.margins, found.flows, found.coverage_area)
            for which in (0, 1)
        ]
        site = plan.scenes[s].site
        rows.append(
            {
                "panel": plan.scenes[s].name,
                "gap": plan.scenes[s].aperture,
                "x": x,
                "y": y,
                "x_without_dimension": plan.x.scale(site, x),
                "y_without_dimension": plan.y.scale(site, y),
                **dict(zip(list(_COLUMNS)[6:12], numbers, strict=True)),
                "leads": _LEADS.get(letter.upper(), ""),
                "holds": "" if letter == "?" else letter == "=" or letter.isupper(),
            }
        )
    return rows


def map_to_csv(found: PlacementMap) -> str:
    """A map as a table, one row for each point.

    Parameters
    ----------
    found : PlacementMap
        The map.

    Returns
    -------
    text : str
        CSV; the header names each column with its unit, numbers are SI.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    plan = found.plan
    names = {"x": plan.x.name, "y": plan.y.name}
    units = {"ratio": "-", "length": "m", "permeability": "m2"}
    own = {"x": units[plan.x.dimension], "y": units[plan.y.dimension]}
    heads = [(names.get(n, n), own.get(n, unit)) for n, unit in _COLUMNS.items()]
    writer.writerow([f"{name} [{unit}]" if unit else name for name, unit in heads])
    for row in _rows(found):
        cells = [
            "" if _is_nan(v) else f"{v:.6g}" if isinstance(v, float) else v for v in row.values()
        ]
        writer.writerow(cells)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return "" if math.isnan(value) else f"{value:.6g}"


def _is_nan(value: Any) -> bool:
    return isinstance(value, float) and math.isnan(value)


def map_to_dict(found: PlacementMap) -> dict[str, Any]:
    """A map in plain types, ready for JSON.

    Parameters
    ----------
    found : PlacementMap
        The map.

    Returns
    -------
    report : dict
        Axes, panels, points and the case itself; SI.
    """
    plan, here = found.plan, found.plan.here

    def plain(value: Any) -> Any:
        return None if _is_nan(value) else value

    at_case = None
    if here is not None and found.at_case is not None:
        keys = ("margin", "flow", "coverage")
        at_case = {
            "panel": here[0],
            plan.x.name: here[1],
            plan.y.name: here[2],
            **{
                place: {k: plain(float(v[n])) for k, v in zip(keys, found.at_case, strict=True)}
                for n, place in enumerate(("wall", "centre"))
            },
        }
    return {
        "study": "wall-or-centre",
        "title": plan.case.title,
        "wall": plan.wall.name,
        "centre": plan.centre.name,
        "measure": plan.measure,
        "unit": MEASURES[plan.measure],
        "pass_line_Pa": PASS_LINE,
        "conditions": [condition.name for condition in judged_by(plan.case)],
        "axes": {
            key: {
                "name": axis.name,
                "words": axis.words,
                "without_dimension": axis.scaled,
                "values": list(values),
            }
            for key, axis, values in (
                ("x", plan.x, plan.x_values),
                ("y", plan.y, plan.y_values),
            )
        },
        "cells": list(found.cells),
        "grid": plan.case.resolution.name,
        "case": at_case,
        "failures": list(found.failures),
        "points": [{k: plain(v) for k, v in row.items()} for row in _rows(found)],
    }
