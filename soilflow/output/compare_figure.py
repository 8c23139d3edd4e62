"""Layouts side by side as small plans on one colour scale."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from soilflow.files.atomic import replacing
from soilflow.output.plan import FEET, PlanUnit
from soilflow.output.pressure_figure import draw_scale, plot_pressure_plan
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.compare import Comparison, Member

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["plot_comparison", "save_comparison_figure"]

_DPI = 110
_SEE = (
    "Same colours everywhere: suction under the slab on the design day. The bold line is the pass "
    "line; hatched floor fails it; the triangle is each layout's worst spot."
)


def plot_comparison(comparison: Comparison, *, unit: PlanUnit = FEET) -> Figure:
    """Draw every member, the best first within its site.

    Parameters
    ----------
    comparison : Comparison
        What was compared.
    unit : PlanUnit
        Length unit of the plans.

    Returns
    -------
    figure : matplotlib.figure.Figure
        A row or more of small plans, one colour scale beside them.
    """
    from matplotlib.figure import Figure

    shown = [m for variant in comparison.variants for m in comparison.ranked(variant)]
    across = min(len(shown), 2 if len(shown) in (2, 4) else 3) or 1
    down = math.ceil(len(shown) / across) or 1
    x0, y0, x1, y1 = shown[0].site.slab.polygon.bounds if shown else (0.0, 0.0, 1.0, 1.0)
    tall = 4.4 * min((y1 - y0) / (x1 - x0), 1.6) + 1.1
    figure = Figure(figsize=(5.2 * across + 1.2, tall * down + 0.9), layout="constrained")
    axes = figure.subplots(down, across, squeeze=False).ravel().tolist()
    for ax, member in zip(axes, shown, strict=False):
        plot_pressure_plan(member, condition=member.judged().name, unit=unit, ax=ax, scale=False)
        title = _title(member, several=len(comparison.variants) > 1)
        ax.set_title(title, parse_math=False, fontsize=9)
    for ax in axes[len(shown) :]:
        ax.set_visible(False)
    draw_scale(figure, axes)
    figure.suptitle(comparison.title, parse_math=False, fontsize=11, weight="bold")
    figure.supxlabel(_SEE, fontsize=9, wrap=True)
    return figure


def _title(member: Member, *, several: bool) -> str:
    found = member.judged()
    verdict = "holds" if found.passes else "does not hold"
    site = f" - {member.variant or 'as written'}".replace("_", " ") if several else ""
    suction = found.worst.margin + PASS_LINE
    covered = math.floor(100.0 * found.coverage_area[PASS_LINE] + 1e-9)
    return (
        f"{member.layout}{site}\n{verdict}: weakest {suction:.3g} Pa, {covered} % of the floor at "
        f"{PASS_LINE:g} Pa"
    )


def save_comparison_figure(comparison: Comparison, path: Path, *, unit: PlanUnit = FEET) -> Path:
    """Save the small plans as PNG.

    Parameters
    ----------
    comparison : Comparison
        What was compared.
    path : Path
        File to write.
    unit : PlanUnit
        Length unit of the plans.

    Returns
    -------
    path : Path
        The file written.
    """
    figure = plot_comparison(comparison, unit=unit)
    with replacing(path) as unfinished:
        figure.savefig(unfinished, dpi=_DPI, metadata={"Software": None})
    return path
