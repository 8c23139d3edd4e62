"""Saving the pictures of a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from soilflow.case import Case
from soilflow.files.atomic import replacing
from soilflow.flow.soil_map import SoilMap
from soilflow.grids import map_of
from soilflow.layout.layout import Layout
from soilflow.output.plan import FEET, PlanUnit
from soilflow.output.pressure_figure import plot_pressure_plan
from soilflow.output.soil_figure import plot_soil_plan, plot_soil_section
from soilflow.results.result import Result

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["save_check_figure", "save_run_figures"]

_DPI = 110
# The same run gives the same file: what names a program version or a time is left out.
_LEFT_OUT = {
    ".png": ("Software",),
    ".svg": ("Creator", "Date"),
    ".pdf": ("Creator", "Producer", "CreationDate"),
}


def save_run_figures(
    case: Case, result: Result, folder: Path, stem: str, *, unit: PlanUnit = FEET
) -> tuple[Path, ...]:
    """Save the soil map and the pressure plan of a run as PNG.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        Its result.
    folder : Path
        Where to.
    stem : str
        Beginning of the file names.
    unit : PlanUnit
        Length unit of the plans.

    Returns
    -------
    paths : tuple of Path
        The files written.
    """
    from matplotlib.figure import Figure

    names = list(result.conditions)
    x0, y0, x1, y1 = case.site.slab.polygon.bounds
    height = 1.6 + 5.2 * min((y1 - y0) / (x1 - x0), 2.0)
    figure = Figure(figsize=(6.4 * len(names) + 1.0, height), layout="constrained")
    axes = figure.subplots(1, len(names), squeeze=False)[0]
    for ax, name in zip(axes, names, strict=True):
        plot_pressure_plan(result, condition=name, unit=unit, ax=ax, scale=name == names[-1])
    what = f"{case.title}. Layout: {result.layout}" + (
        f", {result.variant}" if result.variant else ""
    )
    figure.suptitle(what, parse_math=False, fontsize=11, weight="bold")
    plan = folder / f"{stem}_pressure.png"
    _save(figure, plan)
    soil = folder / f"{stem}_soil.png"
    _save(_soil_figure(case, result.arrangement, result.solution.soil, unit), soil)
    return plan, soil


def save_check_figure(case: Case, layout: Layout, path: Path, *, unit: PlanUnit = FEET) -> Path:
    """Save what the model thinks is there, without solving anything.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    path : Path
        File to write.
    unit : PlanUnit
        Length unit of the plan.

    Returns
    -------
    path : Path
        The file written.
    """
    _save(_soil_figure(case, layout, map_of(case, layout), unit), path)
    return path


def _soil_figure(case: Case, layout: Layout, soil: SoilMap, unit: PlanUnit) -> Figure:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 8.5), layout="constrained")
    plan, section = figure.subplots(2, 1, height_ratios=[2.2, 1.0])
    holes = {h.name: (h.x, h.y) for h in case.test_holes}
    plot_soil_plan(soil, case.site, layout, holes=holes, unit=unit, ax=plan)
    plot_soil_section(soil, case.site, at_y=layout.points[0].y, unit=unit, ax=section)
    what = f"{case.title}: what the model thinks is there"
    figure.suptitle(what, parse_math=False, fontsize=11, weight="bold")
    return figure


def _save(figure: Figure, path: Path) -> None:
    with replacing(path) as unfinished:
        metadata = dict.fromkeys(_LEFT_OUT.get(path.suffix.lower(), ()))
        figure.savefig(unfinished, dpi=_DPI, metadata=metadata)
