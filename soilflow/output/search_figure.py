"""Good places for a pit, and what each further pit buys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from soilflow.files.atomic import replacing
from soilflow.output.plan import FEET, PlanUnit, draw_house, frame_plan
from soilflow.output.styles import SCREEN, Style
from soilflow.studies.search import Search, Step

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_good_places", "plot_staircase", "save_search_figure"]

_MARKS: tuple[dict[str, Any], ...] = (
    {"color": "black", "marker": "o", "linestyle": "-"},
    {"color": "0.45", "marker": "s", "linestyle": "--"},
    {"color": "0.25", "marker": "^", "linestyle": ":"},
    {"color": "0.6", "marker": "D", "linestyle": "-."},
)


def _shown(search: Search) -> Step:
    """The step that is drawn: the fewest pits that hold on the first fan, else the best."""
    held = [s for fan in search.fans if (s := search.smallest(fan)) is not None]
    if held:
        return held[0]  # the case's own fan before a bigger one
    return max(search.steps, key=lambda s: s.margin)


def plot_good_places(
    search: Search, *, unit: PlanUnit = FEET, style: Style = SCREEN, ax: Axes | None = None
) -> Axes:
    """Each place by the best margin of any layout that digs there.

    Parameters
    ----------
    search : Search
        What was found.
    unit : PlanUnit
        Length unit of the axes.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes; the best layout's pits are ringed.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(8.0, 6.0), layout="constrained").add_subplot()
    step, m = _shown(search), unit.metres
    kept = search.candidates.kept
    x, y = (np.array([getattr(c, a) for c in kept]) / m for a in ("x", "y"))
    worth = step.ranked.best_with
    known = np.isfinite(worth)
    draw_house(ax, search.case.site, unit, over_field=True)
    frame_plan(ax, search.case.site, unit)
    low = float(np.nanmin(worth)) if known.any() else 0.0
    high = float(np.nanmax(worth)) if known.any() else 1.0
    size = 40.0 + 160.0 * np.clip((worth[known] - low) / max(high - low, 1e-9), 0.0, 1.0)
    dots = ax.scatter(
        x[known],
        y[known],
        c=worth[known],
        s=size,
        cmap=style.colour_map(),
        edgecolors="black",
        linewidths=0.8,
        zorder=7,
    )
    bar = ax.figure.colorbar(dots, ax=ax, shrink=0.8, pad=0.04)
    bar.set_label("best worst margin with a pit there [Pa]")
    best = [(p.x / m, p.y / m) for p in step.top[0].layout.points]
    ax.plot(
        *np.array(best).T,
        marker="o",
        markersize=17,
        markerfacecolor="none",
        markeredgecolor="black",
        markeredgewidth=2.4,
        linestyle="none",
        zorder=8,
    )
    for place in search.candidates.dropped:
        ax.plot(place.x / m, place.y / m, marker="x", color="0.4", markersize=5, zorder=6)
    rx, ry = (v / m for v in search.riser)
    ax.plot(rx, ry, marker="P", color="white", markeredgecolor="black", markersize=9, zorder=8)
    ax.set_title(
        f"{step.pits} {'pit' if step.pits == 1 else 'pits'}, {step.fan.name} fan: big and light is "
        "a good place, ringed is the best layout,\nx was left out, the cross is the riser.",
        parse_math=False,
        fontsize=9,
    )
    return ax


def plot_staircase(search: Search, *, ax: Axes | None = None) -> Axes:
    """Worst margin of the best layout over the number of pits, for each fan.

    Parameters
    ----------
    search : Search
        What was found.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes, the pass line bold.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(6.0, 4.5), layout="constrained").add_subplot()
    most = max(step.pits for step in search.steps)
    for fan, look in zip(search.fans, _MARKS, strict=False):
        steps = search.on(fan)
        label = fan.name.replace("$", r"\$")
        ax.plot([s.pits for s in steps], [s.margin for s in steps], label=label, **look)
    ax.axhline(0.0, color="black", linewidth=3.0)
    ax.set_xticks(range(1, most + 1))
    ax.set_yscale("symlog", linthresh=1.0)
    ax.set_xlabel("pits [-]")
    ax.set_ylabel("worst margin of the best layout [Pa]")
    ax.legend(fontsize=8, title="fan", title_fontsize=8)
    ax.set_title(
        "Above the bold line the whole floor holds;\neach step is one more pit.", fontsize=9
    )
    return ax


def save_search_figure(search: Search, path: Path, *, unit: PlanUnit = FEET) -> Path:
    """Save both pictures side by side as PNG.

    Parameters
    ----------
    search : Search
        What was found.
    path : Path
        File to write.
    unit : PlanUnit
        Length unit of the plan.

    Returns
    -------
    path : Path
        The file written.
    """
    from matplotlib.figure import Figure

    x0, y0, x1, y1 = search.case.site.slab.polygon.bounds
    tall = 1.8 + 6.0 * min((y1 - y0) / (x1 - x0), 1.6)
    figure = Figure(figsize=(13.0, max(tall, 4.6)), layout="constrained")
    plan, stairs = figure.subplots(1, 2, width_ratios=[1.5, 1.0])
    plot_good_places(search, unit=unit, ax=plan)
    plot_staircase(search, ax=stairs)
    figure.suptitle(search.case.title, parse_math=False, fontsize=11, weight="bold")
    with replacing(path) as unfinished:
        figure.savefig(unfinished, dpi=110, metadata={"Software": None})
    return path
