"""Error over tolerance of every row, by group."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

from checks.row import Group, Row

_LEAST = 1e-6  # what lies below is drawn here, hollow
_ROW, _TITLE, _COLUMNS = 0.155, 0.42, 3  # heights [in]
_COLOURS = 24


def _columns(found: Sequence[tuple[Group, Sequence[Row]]]) -> list[list[int]]:
    """Groups in order, so that the columns are as even as that allows."""
    heights = [_TITLE + _ROW * len(rows) for _, rows in found]
    limit = sum(heights) / _COLUMNS
    while True:
        columns: list[list[int]] = [[]]
        for i, height in enumerate(heights):
            if columns[-1] and sum(heights[j] for j in columns[-1]) + height > limit:
                columns.append([])
            columns[-1].append(i)
        if len(columns) <= _COLUMNS:
            return columns
        limit *= 1.02


def save(figure: Figure, path: Path) -> None:
    """As a picture with few colours, small enough to lie beside the tables."""
    with BytesIO() as drawn:
        figure.savefig(drawn, format="png", dpi=110)
        with Image.open(drawn) as picture:
            few = picture.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE)
            few.save(path, optimize=True)


def draw(found: Sequence[tuple[Group, Sequence[Row]]]) -> Figure:
    """Make the figure."""
    columns = _columns(found)
    heights = [[_TITLE + _ROW * len(found[i][1]) for i in column] for column in columns]
    top, bottom, width = 0.75, 0.5, 6.6
    tall = max(map(sum, heights)) + top + bottom
    figure = Figure(figsize=(width * len(columns), tall))
    for c, column in enumerate(columns):
        y = tall - top
        for i, height in zip(column, heights[c], strict=True):
            group, rows = found[i]
            inner = _ROW * len(rows)
            y -= height
            left, wide = (c + 0.56) * width, 0.41 * width
            ax = figure.add_axes(
                (
                    left / (width * len(columns)),
                    y / tall,
                    wide / (width * len(columns)),
                    inner / tall,
                )
            )
            _panel(ax, group, rows, last=i == column[-1])
    figure.text(
        0.012,
        1.0 - 0.22 / tall,
        "soilflow against published values, derivations and other programs: "
        "error over what is allowed, one dot a row",
        fontsize=13,
        weight="bold",
        va="top",
    )
    figure.text(
        0.012,
        1.0 - 0.48 / tall,
        "What lies left of the red line passes. Hollow: below the scale, mostly at rounding. "
        "Squares: bounds from one side.",
        fontsize=10,
        va="top",
    )
    return figure


def _panel(ax: Axes, group: Group, rows: Sequence[Row], *, last: bool) -> None:
    for k, row in enumerate(rows):
        spent = row.error / row.tolerance if row.tolerance > 0.0 else (0.0 if row.passed else 10.0)
        hollow = spent < _LEAST
        colour = "#1f4e79" if row.passed else "#c00000"
        ax.plot(
            max(spent, _LEAST),
            k,
            "o" if row.relation == "=" else "s",
            markersize=4.2,
            markerfacecolor="white" if hollow else colour,
            markeredgecolor=colour,
            clip_on=False,
        )
    ax.set_xscale("log")
    ax.set_xlim(_LEAST, 3.0)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.axvline(1.0, color="#c00000", linewidth=1.2)
    ax.set_yticks(range(len(rows)), [row.check for row in rows], fontsize=7)
    ax.tick_params(axis="y", length=0)
    ax.grid(True, axis="both", color="#dddddd", linewidth=0.5)
    ax.set_axisbelow(True)
    ax.set_xticks([1e-6, 1e-4, 1e-2, 1.0], ["1e-6 or less", "0.0001", "0.01", "1"])
    ax.tick_params(axis="x", labelsize=7, which="both")
    ax.minorticks_off()
    if not last:
        ax.set_xticklabels([])
    else:
        ax.set_xlabel("error / allowed [-]", fontsize=8)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.set_title(group.name, fontsize=9.5, weight="bold", loc="left", pad=3, x=-1.32)
