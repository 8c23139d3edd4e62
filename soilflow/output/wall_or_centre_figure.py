"""The wall-or-centre map: which placement of pits does more, over two numbers of the site."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from soilflow.files.atomic import replacing
from soilflow.output.wall_or_centre_words import lead_words, scale_words, typed, what_to_see
from soilflow.studies.site_axes import SiteAxis
from soilflow.studies.wall_or_centre import EVEN, PlacementMap

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["plot_placement_map", "save_placement_map"]

Array = NDArray[np.float64]

_DPI = 110
# Light, dark and white: three tones that stay apart in grey, each with a hatching of its own.
_WALL = {"facecolor": "#f3dc7c", "hatch": "//", "edgecolor": "#b89a2a"}
_CENTRE = {"facecolor": "#4f6690", "hatch": "..", "edgecolor": "#8fa3c8"}
_BOTH = {"facecolor": "#ffffff", "hatch": "--", "edgecolor": "#9a9a9a"}
_NEITHER = {"facecolor": "#f4f4f4", "hatch": "xxx", "edgecolor": "#b4b4b4"}
_FINE = 241  # points along an axis between which straight lines are drawn


def plot_placement_map(found: PlacementMap) -> Figure:
    """Draw the panels of a map side by side.

    Parameters
    ----------
    found : PlacementMap
        The map.

    Returns
    -------
    figure : matplotlib.figure.Figure
        One panel for each place of the gap, and a legend.
    """
    from matplotlib.figure import Figure

    plan = found.plan
    count = len(plan.scenes)
    figure = Figure(figsize=(4.3 * count + 1.2, 6.6), layout="constrained")
    axes = figure.subplots(1, count, sharex=True, sharey=True, squeeze=False)[0]
    for s, ax in enumerate(axes):
        _panel(ax, found, s)
        _bottom_scale(ax, plan.x, found)
    _scale(axes[0], plan.y, found, "y")
    _second_scale(axes[-1], found)
    _legend(figure, found)
    figure.suptitle(
        f"{plan.case.title}\nAt the walls or in the middle? "
        f'"{plan.wall.name}" (W) against "{plan.centre.name}" (M)',
        parse_math=False,
        fontsize=11.5,
        weight="bold",
    )
    return figure


def _panel(ax: Axes, found: PlacementMap, s: int) -> None:
    """One panel: three tones, the tie in bold, numbers, and the case itself."""
    plan = found.plan
    logs = np.log(plan.x_values), np.log(plan.y_values)
    x, y = (np.linspace(v[0], v[-1], _FINE) for v in logs)
    lead = _between(logs, np.arcsinh(found.lead[s]), x, y)
    best = _between(logs, np.arcsinh(found.best_margin[s]), x, y)
    at = np.exp(x), np.exp(y)
    little = EVEN[plan.measure]
    for shown, style in (
        ((best >= 0.0) & (lead >= 0.0), _WALL),
        ((best >= 0.0) & (lead < 0.0), _CENTRE),
        ((best >= 0.0) & (np.abs(lead) < little), _BOTH),
        (best < 0.0, _NEITHER),
    ):
        _fill(ax, *at, shown, style)
    bold: dict[str, Any] = {"levels": [0.0], "colors": "black"}
    _contour(ax, *at, best, linewidths=1.0, **bold)
    _contour(ax, *at, np.where(best >= 0.0, lead, np.nan), linewidths=3.6, **bold)
    _contour(
        ax, *at, np.where(best < 0.0, lead, np.nan), linewidths=3.0, linestyles="dashed", **bold
    )
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlim(plan.x_values[0], plan.x_values[-1])
    ax.set_ylim(plan.y_values[0], plan.y_values[-1])
    _numbers(ax, found, s)
    _here(ax, found, s)
    ax.set_title(plan.scenes[s].words, parse_math=False, fontsize=11)


def _between(logs: tuple[Array, Array], values: Array, x: Array, y: Array) -> Array:
    """Straight between solved points on logarithmic axes, shape (len(y), len(x))."""
    from scipy.interpolate import RegularGridInterpolator

    at = np.stack(np.meshgrid(x, y), axis=-1)
    return np.asarray(RegularGridInterpolator(logs, values, bounds_error=False)(at))


def _fill(ax: Axes, x: Array, y: Array, shown: NDArray[np.bool_], style: dict[str, str]) -> None:
    if not shown.any():
        return
    areas = ax.contourf(
        x,
        y,
        shown.astype(float),
        levels=[0.5, 1.5],
        colors=[style["facecolor"]],
        hatches=[style["hatch"]],
    )
    areas.set_edgecolor(style["edgecolor"])
    areas.set_linewidth(0.0)


def _contour(ax: Axes, x: Array, y: Array, values: Array, **style: Any) -> None:
    known = values[np.isfinite(values)]
    if known.size and known.min() < 0.0 < known.max():
        ax.contour(x, y, np.ma.masked_invalid(values), zorder=5, **style)


def _numbers(ax: Axes, found: PlacementMap, s: int) -> None:
    """By how much the better one leads, at a few of the solved points."""
    plan = found.plan
    for i in _few(len(plan.x_values)):
        for j in _few(len(plan.y_values)):
            at = plan.x_values[i], plan.y_values[j]
            left = i > 0.8 * (len(plan.x_values) - 1)
            lift = {0: 8, len(plan.y_values) - 1: -8}.get(j, 0)  # off the frame
            ax.plot(
                *at, marker="o", markersize=4.5, color="black", markeredgecolor="white", zorder=8
            )
            ax.annotate(
                lead_words(found, (s, i, j)),
                at,
                xytext=(-7 if left else 7, lift),
                textcoords="offset points",
                fontsize=8.5,
                ha="right" if left else "left",
                va="center",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2, "alpha": 0.9},
                zorder=8,
            )


def _few(count: int) -> list[int]:
    """Three of the points, off the frame where there are enough of them."""
    off = 1 if count >= 5 else 0
    return sorted({off, (count - 1) // 2, count - 1 - off})


def _here(ax: Axes, found: PlacementMap, s: int) -> None:
    plan = found.plan
    here = plan.here
    if here is None or here[0] != plan.scenes[s].name:
        return
    x, y = here[1:]
    inside = all(
        v[0] * (1.0 - 1e-9) <= a <= v[-1] * (1.0 + 1e-9)
        for v, a in ((plan.x_values, x), (plan.y_values, y))
    )
    if not inside:
        return
    ax.plot(
        x,
        y,
        marker="*",
        markersize=20,
        markerfacecolor="white",
        markeredgecolor="black",
        markeredgewidth=1.6,
        linestyle="none",
        zorder=10,
        clip_on=False,
    )
    along, upward = (
        math.log(a / v[0]) / math.log(v[-1] / v[0])
        for v, a in ((plan.x_values, x), (plan.y_values, y))
    )
    ax.annotate(
        "you are here",
        (x, y),
        xytext=(0, -20 if upward > 0.85 else 20),
        textcoords="offset points",
        fontsize=10,
        weight="bold",
        bbox={"facecolor": "white", "edgecolor": "black", "pad": 2.0, "linewidth": 0.8},
        ha="right" if along > 0.85 else "left" if along < 0.15 else "center",
        va="center",
        zorder=11,
    )


def _scale(ax: Axes, axis: SiteAxis, found: PlacementMap, which: str) -> None:
    """Ticks of one axis without dimension, for values drawn as they are typed."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    plan = found.plan
    line = ax.xaxis if which == "x" else ax.yaxis
    values = plan.x_values if which == "x" else plan.y_values
    site = plan.case.site
    ends = axis.scale(site, values[0]), axis.scale(site, values[-1])
    round_ones = _round_numbers(*ends)
    ticks = [_value_at(axis, found, values, number) for number in round_ones]
    names = {t: f"{n:g}" for t, n in zip(ticks, round_ones, strict=True)}
    line.set_major_locator(FixedLocator(ticks))
    line.set_minor_locator(NullLocator())
    line.set_major_formatter(FuncFormatter(_named(names)))
    line.set_label_text(axis.scaled)


def _named(names: dict[float, str]) -> Callable[[float, int | None], str]:
    """What a tick is called: by the nearest one there is."""
    return lambda value, _: names[min(names, key=lambda tick: abs(tick - value))]


def _value_at(
    axis: SiteAxis, found: PlacementMap, values: tuple[float, ...], number: float
) -> float:
    """The value whose number without dimension is this: both run as powers of each other."""
    site = found.plan.case.site
    low, high = axis.scale(site, values[0]), axis.scale(site, values[-1])
    share = math.log(number / low) / math.log(high / low)
    return float(values[0] * (values[-1] / values[0]) ** share)


def _bottom_scale(ax: Axes, axis: SiteAxis, found: PlacementMap) -> None:
    _scale(ax, axis, found, "x")
    label = axis.scaled
    if scale_words(axis):  # no room for a second scale below: its ends will do
        low, high = found.plan.x_values[0], found.plan.x_values[-1]
        label += f"\n({axis.words}: {typed(axis, low)} to {typed(axis, high)})"
    ax.set_xlabel(label, fontsize=9)


def _second_scale(ax: Axes, found: PlacementMap) -> None:
    """The number as it is measured, on the right."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axis, values = found.plan.y, found.plan.y_values
    words = scale_words(axis)
    if not words:
        return
    unit, name = words
    ticks = [unit * n for n in _round_numbers(values[0] / unit, values[-1] / unit)]
    other = ax.secondary_yaxis("right")
    other.yaxis.set_major_locator(FixedLocator(ticks))
    other.yaxis.set_minor_locator(NullLocator())
    other.yaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v / unit:.3g}"))
    other.set_ylabel(name)


def _round_numbers(low: float, high: float) -> list[float]:
    """Numbers 1, 2, 5 or whole decades in a range, not too many of them."""
    decades = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 2)
    for steps in ((1, 2, 3, 5), (1, 2, 5), (1, 3), (1,)):
        found = [s * 10.0**d for d in decades for s in steps]
        found = [n for n in found if low * (1.0 - 1e-9) <= n <= high * (1.0 + 1e-9)]
        if len(found) <= 8:
            break
    return found or [low, high]


def _legend(figure: Figure, found: PlacementMap) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    def area(style: dict[str, str], label: str) -> Patch:
        return Patch(
            label=label,
            linewidth=0.5,
            facecolor=style["facecolor"],
            edgecolor=style["edgecolor"],
            hatch=style["hatch"],
        )

    handles: list[Patch | Line2D] = [
        area(_WALL, "W: at the walls does more, and holds"),
        area(_CENTRE, "M: in the middle does more, and holds"),
        area(_NEITHER, "neither holds the floor"),
        Line2D([], [], color="black", linewidth=3.6, label="both do the same"),
    ]
    if found.plan.measure == "coverage":  # much of a floor may be covered by both
        handles[-1:] = [area(_BOTH, "both do the same, and hold")]
    width = round(10.5 * float(figure.get_size_inches()[0]))
    sentence = textwrap.fill(what_to_see(found), width)
    few = len(found.plan.scenes) < 3
    figure.legend(
        handles=handles,
        loc="outside lower center",
        ncols=2 if few else 4,
        fontsize=9.5,
        frameon=False,
        title=sentence,
        title_fontsize=9.5,
    )


def save_placement_map(found: PlacementMap, path: Path) -> Path:
    """Save the map as PNG.

    Parameters
    ----------
    found : PlacementMap
        The map.
    path : Path
        File to write.

    Returns
    -------
    path : Path
        The file written.
    """
    figure = plot_placement_map(found)
    with replacing(path) as unfinished:
        figure.savefig(unfinished, dpi=_DPI, format="png", metadata={"Software": None})
    return path
