"""How a result shows itself in a notebook: a small plan and six numbers."""

from __future__ import annotations

import html
import itertools
import math
from collections.abc import Iterator

import numpy as np

from soilflow.layout.layout import Layout
from soilflow.results.coverage import PASS_LINE
from soilflow.results.floor import FloorPressure
from soilflow.results.solved import ConditionResult
from soilflow.site.site import Site
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC

__all__ = ["STEPS", "TONES", "plan_and_numbers", "tone_runs"]

_WIDE = 320  # of the plan, in pixels
# From the pass line up, in about half decades; paler is more, as in the figures. [Pa]
STEPS = (1.0, 3.0, 10.0, 30.0, 100.0, 300.0)
TONES = ("#27364f", "#46536a", "#6b7285", "#94947f", "#bfb27d", "#e6d47c")
_FAILS = "#ffffff"


def plan_and_numbers(title: str, site: Site, layout: Layout, found: ConditionResult) -> str:
    """A plan of the suction in one condition, and six numbers beside it.

    Parameters
    ----------
    title : str
        What stands above.
    site : Site
        What is there.
    layout : Layout
        The pits.
    found : ConditionResult
        The condition.

    Returns
    -------
    text : str
        HTML with an inline drawing; names are escaped, nothing is fetched.
    """
    rows = "".join(
        f"<tr><td style='text-align:left'>{html.escape(name)}</td>"
        f"<td style='text-align:right'>{html.escape(value)}</td></tr>"
        for name, value in _six(layout, found)
    )
    when = found.name.replace("_", " ")
    return (
        f"<div><p><b>{html.escape(title)}</b><br>{html.escape(when)}: white with crosses fails the "
        "pass line, paler grey to yellow is more suction.</p>"
        f"<div style='display:flex;gap:1em;align-items:center'>{_plan(site, layout, found)}"
        f"<table>{rows}</table></div>"
        "<p>Suction is not a radon result: only a radon test is.</p></div>"
    )


def _six(layout: Layout, found: ConditionResult) -> list[tuple[str, str]]:
    drawn = found.air_drawn(point.name for point in layout.points)
    vacuums = found.operating_point.riser_vacuums.values()
    least = min(vacuums, default=math.nan)
    return [
        ("worst margin", f"{found.worst.margin:+.2g} Pa"),
        (f"floor covered at {PASS_LINE:g} Pa", f"{100 * found.coverage_area[PASS_LINE]:.0f} %"),
        (
            f"walls covered at {PASS_LINE:g} Pa",
            f"{100 * found.coverage_perimeter[PASS_LINE]:.0f} %",
        ),
        ("air drawn", f"{drawn / M3S_PER_CFM:.3g} cfm"),
        ("least vacuum at a riser", f"{least / PA_PER_INCH_WC:.3g} in. w.c."),
        ("house air drawn down", f"{found.house_on.into_soil / M3S_PER_CFM:.3g} cfm"),
    ]


def _percent(share: float) -> str:
    """Rounded down, so that only all of it is 100 %."""
    return f"{math.floor(100 * share + 1e-9)} %" if math.isfinite(share) else "none there"


def _plan(site: Site, layout: Layout, found: ConditionResult) -> str:
    """The floor in runs of one tone, the pits at their places, the worst spot as a triangle."""
    floor = found.floor
    x0, y0, x1, y1 = site.slab.polygon.bounds
    scale = _WIDE / (x1 - x0)
    tall = (y1 - y0) * scale

    def at(x: float, y: float) -> tuple[float, float]:
        return (x - x0) * scale, tall - (y - y0) * scale

    shapes = [
        f"<rect x='{at(x, y)[0]:.1f}' y='{at(x, y + high)[1]:.1f}' "
        f"width='{wide * scale + 0.3:.1f}' height='{high * scale + 0.3:.1f}' fill='{tone}'/>"
        for x, y, wide, high, tone in tone_runs(floor, fails="url(#soilflow-fails)")
    ]
    corners = " ".join(f"{a:.1f},{b:.1f}" for a, b in (at(*c) for c in site.slab.corners))
    shapes.append(f"<polygon points='{corners}' fill='none' stroke='#1b1b1b' stroke-width='2'/>")
    for point in layout.points:
        a, b = at(point.x, point.y)
        shapes.append(
            f"<circle cx='{a:.1f}' cy='{b:.1f}' r='5' fill='#fff' stroke='#1b1b1b'/>"
            f"<text x='{a + 7:.1f}' y='{b - 6:.1f}' font-size='10' fill='#1b1b1b' stroke='#fff' "
            f"stroke-width='2.5' paint-order='stroke'>{html.escape(point.name)}</text>"
        )
    a, b = at(found.worst.x, found.worst.y)
    corners = f"{a - 6:.1f},{b - 5:.1f} {a + 6:.1f},{b - 5:.1f} {a:.1f},{b + 6:.1f}"
    shapes.append(f"<polygon points='{corners}' fill='#fff' stroke='#1b1b1b' stroke-width='1.5'/>")
    crosses = (
        "<defs><pattern id='soilflow-fails' width='7' height='7' patternUnits='userSpaceOnUse'>"
        f"<rect width='7' height='7' fill='{_FAILS}'/>"
        "<path d='M0 0L7 7M7 0L0 7' stroke='#777' stroke-width='0.7'/></pattern></defs>"
    )
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{_WIDE}' height='{tall:.0f}' "
        f"viewBox='-3 -3 {_WIDE + 6} {tall + 6:.0f}' role='img' "
        f"aria-label='plan of suction under the slab'>{crosses}{''.join(shapes)}</svg>"
    )


def tone_runs(
    floor: FloorPressure, *, fails: str
) -> Iterator[tuple[float, float, float, float, str]]:
    """Neighbouring columns of one tone along x, for a drawing of the suction.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    fails : str
        What columns below the pass line are filled with.

    Yields
    ------
    run : tuple of (float, float, float, float, str)
        The fill last, before it west and south edge, width and height. [m]
    """
    step = np.searchsorted(STEPS, -floor.pressure, side="right")
    tones = (fails, *TONES)
    shown = np.where(floor.floor & ~np.isnan(floor.pressure), step, -1)
    for j in range(shown.shape[1]):
        row = shown[:, j]
        starts = [0, *(np.flatnonzero(np.diff(row)) + 1).tolist()]
        for begin, end in itertools.pairwise([*starts, row.size]):
            if row[begin] >= 0:
                x, y = float(floor.x[begin]), float(floor.y[j])
                yield x, y, float(floor.x[end]) - x, float(floor.y[j + 1]) - y, tones[row[begin]]
