"""What sealing is worth, drawn where it is to be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from soilflow.output.plan import FEET, PlanUnit, draw_house, draw_points, frame_plan
from soilflow.plain_text import printable
from soilflow.results.result import Result
from soilflow.results.sealing import SealingList, SealingValue
from soilflow.units import M3S_PER_CFM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_seals"]

_NAMED = 6  # segments whose figures are written beside them
_WIDEST = 11.0  # points


def plot_seals(
    result: Result, sealing: SealingList, *, unit: PlanUnit = FEET, ax: Axes | None = None
) -> Axes:
    """Every joint segment, crack and opening, the thicker the more its sealing is worth.

    Parameters
    ----------
    result : Result
        The layout it was found for.
    sealing : SealingList
        What sealing is worth.
    unit : PlanUnit
        Length unit of the axes.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes; the first few carry their rank, pascals gained and cfm saved.
    """
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    if ax is None:
        ax = Figure(figsize=(9.5, 6.0), layout="constrained").add_subplot()
    m = unit.metres
    draw_house(ax, result.site, unit)
    frame_plan(ax, result.site, unit)
    draw_points(ax, result.arrangement, result.site, {}, unit)
    most = max((v.whole.margin_gained for v in sealing.values), default=0.0)
    most_air = max((v.whole.air_saved for v in sealing.values), default=0.0)
    for rank, value in enumerate(sealing.values, start=1):
        share = _share(value, most, most_air)
        x, y = ([a / m for a in pair] for pair in zip(value.start, value.end, strict=True))
        wide = 1.0 + (_WIDEST - 1.0) * share
        ax.plot(x, y, color="black", linewidth=wide, solid_capstyle="butt", zorder=7)
        if wide > 3.0:
            ax.plot(x, y, color="white", linewidth=wide - 2.4, solid_capstyle="butt", zorder=7.1)
        if rank <= _NAMED:
            _number(ax, rank, 0.5 * (x[0] + x[1]), 0.5 * (y[0] + y[1]), result, unit)
    nothing = [Line2D([], [], linestyle="none") for _ in sealing.values[:_NAMED]]
    box = ax.legend(
        nothing,
        _listed(sealing, unit),
        fontsize=8,
        loc="center left",
        bbox_to_anchor=(1.05, 0.5),
        frameon=False,
        handlelength=0,
        title="worth of sealing" if nothing else "nothing to seal",
    )
    for text in box.get_texts():
        text.set_parse_math(False)
    ax.set_title(_sentence(most, most_air, by_air=most <= 0.0), fontsize=9)
    return ax


def _number(ax: Axes, rank: int, x: float, y: float, result: Result, unit: PlanUnit) -> None:
    """The rank of a segment, a little inward of it."""
    middle = result.site.slab.polygon.centroid
    towards = (middle.x / unit.metres - x, middle.y / unit.metres - y)
    away = max((towards[0] ** 2 + towards[1] ** 2) ** 0.5, 1e-9)
    ax.annotate(
        str(rank),
        (x, y),
        xytext=(14 * towards[0] / away, 14 * towards[1] / away),
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=8,
        weight="bold",
        bbox={"boxstyle": "square,pad=0.2", "facecolor": "white", "edgecolor": "black"},
        zorder=9,
    )


def _listed(sealing: SealingList, unit: PlanUnit) -> list[str]:
    """The first few in words: where, how long, what it is worth."""
    lines = []
    for rank, value in enumerate(sealing.values[:_NAMED], start=1):
        begins, ends = (d / unit.metres for d in (value.begins, value.begins + value.length))
        where = f", {begins:.0f} to {ends:.0f} {unit.name}" if value.length > 0.0 else ""
        lines.append(
            f"{rank}  {printable(value.name)}{where}\n    {value.whole.margin_gained:+.2g} Pa, "
            f"saves {value.whole.air_saved / M3S_PER_CFM:.2g} cfm"
        )
    return lines


def _share(value: SealingValue, most: float, most_air: float) -> float:
    """Worth over the most worth there is: margin, or air where no margin is to be gained. [-]"""
    if most > 0.0:
        return max(value.whole.margin_gained, 0.0) / most
    return max(value.whole.air_saved, 0.0) / most_air if most_air > 0.0 else 0.0


def _sentence(most: float, most_air: float, *, by_air: bool) -> str:
    if by_air:
        return "No single seal lifts the weakest spot; thick lines save the most house air."
    return (
        f"Seal the thick lines first: the best one lifts the weakest spot by {most:.2g} Pa "
        f"and the most air one saves is {most_air / M3S_PER_CFM:.2g} cfm."
    )
