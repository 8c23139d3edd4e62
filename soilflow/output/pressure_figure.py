"""The pressure plan: suction under the slab, with the pass line as the one bold contour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from soilflow.output.plan import FEET, PlanUnit, draw_house, draw_points, frame_plan
from soilflow.output.styles import SCREEN, Style
from soilflow.results.coverage import PASS_LINE
from soilflow.results.floor import FloorPressure
from soilflow.results.result import Result
from soilflow.studies.compare import Member

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import BoundaryNorm
    from matplotlib.figure import Figure

__all__ = ["SUCTION_STEPS", "draw_scale", "plot_pressure_plan", "suction_norm"]

# Steps of the shared scale: the pass line, then about half decades. [Pa]
SUCTION_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)


def plot_pressure_plan(
    result: Result | Member,
    *,
    condition: str,
    unit: PlanUnit = FEET,
    scale: bool = True,
    style: Style = SCREEN,
    ax: Axes | None = None,
) -> Axes:
    """Suction under the slab in one condition.

    Parameters
    ----------
    result : Result or Member
        A solved layout.
    condition : str
        Name of the condition.
    unit : PlanUnit
        Length unit of the axes.
    scale : bool
        Whether to draw the colour scale beside it.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(8, 6), layout="constrained").add_subplot()
    found = result.conditions[condition]
    x, y, p = _padded(found.floor)
    m = unit.metres
    ax.contourf(
        x / m,
        y / m,
        np.ma.masked_invalid(-p.T),
        levels=SUCTION_STEPS,
        norm=suction_norm(),
        cmap=style.colour_map(),
        extend="max",
    )
    if np.any(-p[~np.isnan(p)] < PASS_LINE):
        ax.contourf(
            x / m,
            y / m,
            np.ma.masked_invalid(-p.T),
            levels=[-1e9, PASS_LINE],
            colors=["white"],
            hatches=["xxx"],
        )
        ax.contour(
            x / m,
            y / m,
            np.ma.masked_invalid(-p.T),
            levels=[PASS_LINE],
            colors="black",
            linewidths=3.0,
        )
    if scale:
        draw_scale(cast("Figure", ax.figure), [ax], style=style)
    draw_house(ax, result.site, unit, over_field=True)
    frame_plan(ax, result.site, unit)
    draw_points(ax, result.arrangement, result.site, result.hole_places, unit)
    worst = found.worst
    ax.plot(
        worst.x / m,
        worst.y / m,
        marker="v",
        markersize=9,
        markerfacecolor="white",
        markeredgecolor="black",
        markeredgewidth=1.6,
        linestyle="none",
        zorder=10,
    )
    ax.set_title(_sentence(result, condition), parse_math=False, fontsize=9)
    return ax


def suction_norm() -> BoundaryNorm:
    """The one scale that all plans and sections of suction share.

    Returns
    -------
    norm : matplotlib.colors.BoundaryNorm
        By the steps of suction.
    """
    from matplotlib.colors import BoundaryNorm

    return BoundaryNorm(SUCTION_STEPS, 256, extend="max")


def draw_scale(figure: Figure, axes: Sequence[Axes], *, style: Style = SCREEN) -> None:
    """Draw the colour scale that all pressure plans share.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure.
    axes : sequence of matplotlib.axes.Axes
        The plans it belongs to.
    style : Style
        How it looks.
    """
    from matplotlib.cm import ScalarMappable

    colours = ScalarMappable(norm=suction_norm(), cmap=style.colour_map())
    bar = figure.colorbar(colours, ax=axes, shrink=0.85, pad=0.04, ticks=SUCTION_STEPS)
    bar.ax.set_yticklabels([f"{s:g}" for s in SUCTION_STEPS])
    bar.set_label("suction under the slab [Pa]")


def _sentence(result: Result | Member, condition: str) -> str:
    """One sentence on what to see."""
    found = result.conditions[condition]
    margin = found.worst.margin
    if found.passes:
        said = f"every 2 ft square passes; weakest at the triangle, {margin + PASS_LINE:.3g} Pa"
    else:
        said = "the hatched floor fails the pass line (bold); worst at the triangle"
    when = condition.replace("_", " ")
    return f"{when}, outdoors {found.outdoor_pressure:+.1f} Pa:\n{said}"


def _padded(
    floor: FloorPressure,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Column centres with one more row at each end on the wall face, and their pressures."""
    centres = [0.5 * (e[1:] + e[:-1]) for e in (floor.x, floor.y)]
    x, y = (
        np.concatenate([[e[0]], c, [e[-1]]])
        for e, c in zip((floor.x, floor.y), centres, strict=True)
    )
    return x, y, np.pad(floor.pressure, 1, mode="edge")
