"""What the next bucket is worth: air drawn and margin against buckets dug."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from soilflow.files.atomic import replacing
from soilflow.output.page import spoken
from soilflow.output.pit_size_words import CFM_PER_INCH, state_words
from soilflow.studies.deciding import judged_by
from soilflow.studies.pit_series import PitSeries, PitSizes
from soilflow.studies.pit_size import PLACES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["plot_pit_sizes", "save_pit_sizes"]

_DPI = 110
# Shapes differ in marker and tone, places in the line: both survive grey.
_MARKS = {"bowl": ("o", "#16213a"), "pan": ("s", "#4f6690"), "shaft": ("^", "#b1912a")}
_LINES: dict[str, Any] = {"open": "solid", "wall": (0, (4, 2))}


def plot_pit_sizes(found: PitSizes) -> Figure:
    """Draw air drawn and margin against buckets, a column for each state of the soil.

    Parameters
    ----------
    found : PitSizes
        The study.

    Returns
    -------
    figure : matplotlib.figure.Figure
        Two rows of panels, a legend, a sentence.
    """
    from matplotlib.figure import Figure

    states = list(dict.fromkeys(series.state for series in found.series))
    figure = Figure(figsize=(3.5 * max(len(states), 2) + 1.2, 8.0), layout="constrained")
    axes = figure.subplots(2, len(states), sharex=True, sharey="row", squeeze=False)
    for column, state in enumerate(states):
        top, bottom = axes[0, column], axes[1, column]
        for series in found.series:
            if series.state == state:
                _draw(top, bottom, series)
        top.set_title(textwrap.fill(state_words(found, state), 30), fontsize=10)
        top.set_yscale("log")
        top.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        bottom.set_yscale("symlog", linthresh=1.0)
        bottom.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        bottom.axhline(0.0, color="black", linewidth=2.6, zorder=1.5)
        bottom.set_xlabel("buckets dug (0: bare core hole)")
        bottom.set_xticks(range(found.most + 1))
        for ax in (top, bottom):
            ax.grid(visible=True, color="0.88", linewidth=0.7)
            ax.set_axisbelow(True)
    axes[0, 0].set_ylabel("air drawn [cfm per in. w.c.]")
    when = spoken(judged_by(found.case)[0].name)
    axes[1, 0].set_ylabel(f"worst spot, {when}:\nsuction to spare [Pa]")
    _legend(figure, found)
    figure.suptitle(
        f"{found.case.title}\nWhat is the next bucket worth?",
        parse_math=False,
        fontsize=11.5,
        weight="bold",
    )
    return figure


def _draw(top: Axes, bottom: Axes, series: PitSeries) -> None:
    """One line above and below, with a ring where to stop."""
    marker, colour = _MARKS[series.shape]
    buckets = np.arange(series.conductance.size)
    filled = colour if series.place == "open" else "white"
    for ax, values in ((top, series.conductance / CFM_PER_INCH), (bottom, series.margins)):
        ax.plot(
            buckets,
            values,
            color=colour,
            linestyle=_LINES[series.place],
            linewidth=1.6,
            marker=marker,
            markersize=6,
            markerfacecolor=filled,
            markeredgecolor=colour,
        )
    stop = series.stop
    if stop >= series.gains.size or np.isnan(series.gains[stop]):
        return  # the largest pit there is: nobody knows what the next would bring
    top.plot(
        stop,
        series.conductance[stop] / CFM_PER_INCH,
        marker="o",
        markersize=15,
        markerfacecolor="none",
        markeredgecolor="black",
        markeredgewidth=1.3,
        linestyle="none",
        zorder=5,
    )


def _legend(figure: Figure, found: PitSizes) -> None:
    from matplotlib.lines import Line2D

    handles = []
    for shape, place in dict.fromkeys((s.shape, s.place) for s in found.series):
        marker, colour = _MARKS[shape]
        handles.append(
            Line2D(
                [],
                [],
                color=colour,
                linestyle=_LINES[place],
                linewidth=1.6,
                marker=marker,
                markersize=6,
                markerfacecolor=colour if place == "open" else "white",
                label=f"{shape}, {PLACES[place]}",
            )
        )
    handles.append(
        Line2D(
            [],
            [],
            linestyle="none",
            marker="o",
            markersize=13,
            markerfacecolor="none",
            markeredgecolor="black",
            label="stop here",
        )
    )
    sentence = (
        "The first bucket or two bring most of the air; from the ring on no bucket adds a tenth "
        "any more, and above the bold line the one pit holds the floor."
    )
    figure.legend(
        handles=handles,
        loc="outside lower center",
        ncols=4,
        fontsize=9.5,
        frameon=False,
        title=textwrap.fill(sentence, round(10.5 * float(figure.get_size_inches()[0]))),
        title_fontsize=9.5,
    )


def save_pit_sizes(found: PitSizes, path: Path) -> Path:
    """Save the figure as PNG.

    Parameters
    ----------
    found : PitSizes
        The study.
    path : Path
        File to write.

    Returns
    -------
    path : Path
        The file written.
    """
    figure = plot_pit_sizes(found)
    with replacing(path) as unfinished:
        figure.savefig(unfinished, dpi=_DPI, format="png", metadata={"Software": None})
    return path
