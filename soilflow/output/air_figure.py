"""Where the air comes from: one bar for each suction point, cut by the way the air took."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from soilflow.plain_text import printable
from soilflow.results.air_source import AirSources
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.units import M3S_PER_CFM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_air_sources"]

# Pale to dark and a hatch each, so that grey paper and any eye tell them apart.
_LOOKS: tuple[dict[str, Any], ...] = (
    {"facecolor": "#20344f", "hatch": ""},
    {"facecolor": "#f4ead2", "hatch": "///"},
    {"facecolor": "#9a9a9a", "hatch": ""},
    {"facecolor": "#d9c089", "hatch": "..."},
    {"facecolor": "#ffffff", "hatch": "xxx"},
    {"facecolor": "#5f6b7a", "hatch": "\\\\\\"},
)
_MOST = len(_LOOKS)


def plot_air_sources(sources: AirSources, *, ax: Axes | None = None) -> Axes:
    """Air into each suction point by where it entered the soil.

    Parameters
    ----------
    sources : AirSources
        Where the air comes from in one condition.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes; the smallest ways are put together.
    """
    from matplotlib.figure import Figure

    if ax is None:
        tall = 1.8 + 0.45 * len(sources.points)
        ax = Figure(figsize=(8.0, tall), layout="constrained").add_subplot()
    ways: dict[str, dict[str, float]] = {}
    for stream in sources.entering:
        into = {p: stream.goes_to.get(p, 0.0) / M3S_PER_CFM for p in sources.points}
        said = _way(stream.place, stream.through)
        mine = ways.setdefault(said, dict.fromkeys(sources.points, 0.0))
        for name, flow in into.items():
            mine[name] += flow
    shown = _few(ways)
    rows = list(reversed(range(len(sources.points))))
    start = [0.0] * len(sources.points)
    for (said, flows), look in zip(shown.items(), _LOOKS, strict=False):
        wide = [flows[p] for p in sources.points]
        label = said.replace("$", r"\$")
        ax.barh(rows, wide, left=start, edgecolor="black", linewidth=0.6, label=label, **look)
        start = [a + b for a, b in zip(start, wide, strict=True)]
    ax.set_yticks(rows, labels=[printable(p) for p in sources.points])
    for tick in ax.get_yticklabels():
        tick.set_parse_math(False)
    ax.set_xlabel("air drawn [cfm]")
    ax.set_xlim(0.0, 1.08 * max([*start, 1e-9]))
    if shown:
        ax.legend(fontsize=8, loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False)
    ax.set_title(_sentence(sources.share(HOUSE), next(iter(shown), "")), fontsize=9)
    return ax


def _sentence(share: float, largest: str) -> str:
    if share != share:
        return "No air is drawn."
    if share < 0.5:
        return f"{100 * share:.0f} % of the air drawn is house air; the rest has come through soil."
    return (
        f"{100 * share:.0f} % of the air drawn is house air: heated once, and it takes the fan's "
        f"strength\nfrom the floor. Most comes by: {largest}."
    )


def _way(place: str, through: str) -> str:
    if place == HOUSE:
        return f"house, {through}" if through in ("slab", "walls") else "house, joints and openings"
    return place if place == OUTDOORS else f"{place}"


def _few(ways: dict[str, dict[str, float]]) -> dict[str, dict[str, float]]:
    """The largest ways, and all others as one. [cfm]"""
    ranked = sorted(ways, key=lambda name: -sum(ways[name].values()))
    if len(ranked) <= _MOST:
        return {name: ways[name] for name in ranked}
    kept = {name: ways[name] for name in ranked[: _MOST - 1]}
    rest = [ways[name] for name in ranked[_MOST - 1 :]]
    kept["everything else"] = {p: sum(flows[p] for flows in rest) for p in rest[0]}
    return kept
