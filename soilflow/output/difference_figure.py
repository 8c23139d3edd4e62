"""Two layouts on one map: where each holds more suction."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numpy as np

from soilflow.errors import InputError
from soilflow.output.plan import FEET, PlanUnit, draw_house, draw_points, frame_plan
from soilflow.results.result import Result
from soilflow.studies.compare import Member

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["plot_difference"]

# Ratios of suction over the pass line's 1 Pa; beyond the last all look alike. [-]
_STEPS = (1.25, 2.0, 5.0)


def plot_difference(
    first: Result | Member,
    second: Result | Member,
    *,
    condition: str,
    unit: PlanUnit = FEET,
    ax: Axes | None = None,
) -> Axes:
    """How many times the suction of the second the first has, spot by spot.

    Parameters
    ----------
    first, second : Result or Member
        Two layouts on one grid.
    condition : str
        Name of the condition.
    unit : PlanUnit
        Length unit of the axes.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes: pale where they are alike, dark plain where the first has more, dark hatched
        where the second has.

    Raises
    ------
    InputError
        They were not solved on one grid.

    Notes
    -----
    Suction below 0.1 Pa counts as 0.1, so that nothing is divided by nothing.
    """
    from matplotlib.colors import BoundaryNorm
    from matplotlib.figure import Figure

    a, b = (member.conditions[condition].floor for member in (first, second))
    if (
        a.x.shape != b.x.shape
        or a.y.shape != b.y.shape
        or not (np.allclose(a.x, b.x) and np.allclose(a.y, b.y))
    ):
        raise InputError("two layouts on one grid are needed: use compare_layouts", field="second")
    if ax is None:
        ax = Figure(figsize=(8.0, 6.0), layout="constrained").add_subplot()
    m = unit.metres
    ratio = np.maximum(-a.pressure, 0.1) / np.maximum(-b.pressure, 0.1)
    levels = [1e-9, *(1.0 / s for s in reversed(_STEPS)), *_STEPS, 1e9]
    logs = np.ma.masked_invalid(np.log(ratio))
    x, y = (0.5 * (e[1:] + e[:-1]) / m for e in (a.x, a.y))
    drawn = ax.contourf(
        x,
        y,
        logs.T,
        levels=np.log(levels),
        norm=BoundaryNorm(np.log(levels), 256),
        cmap="PuOr",
        hatches=["xxx", "///", "..", "", "", "", ""],
    )
    bar = cast("Figure", ax.figure).colorbar(drawn, ax=ax, shrink=0.8, ticks=np.log(levels[1:-1]))
    bar.ax.set_yticklabels([f"{s:.3g}" for s in levels[1:-1]])
    bar.set_label("suction of the first over the second [-]")
    draw_house(ax, first.site, unit, over_field=True)
    frame_plan(ax, first.site, unit)
    draw_points(ax, first.arrangement, first.site, {}, unit)
    ax.set_title(
        f'First "{first.layout}" (its pits are drawn), second "{second.layout}":\n'
        "hatched where the second holds more suction, plain dark where the first does.",
        parse_math=False,
        fontsize=9,
    )
    return ax
