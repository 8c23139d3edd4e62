"""All figures of a result: what each is called, and saving them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.files.atomic import replacing
from soilflow.output.air_figure import plot_air_sources
from soilflow.output.decay_figure import plot_decay
from soilflow.output.operating_figure import plot_operating_point
from soilflow.output.plan import FEET, PlanUnit
from soilflow.output.pressure_figure import draw_scale, plot_pressure_plan
from soilflow.output.response_figure import plot_response
from soilflow.output.seal_figure import plot_seals
from soilflow.output.section_figure import plot_half_section, plot_section
from soilflow.output.soil_figure import plot_soil_plan, plot_soil_section
from soilflow.output.styles import SCREEN, Style
from soilflow.results.result import Result, deciding
from soilflow.studies.on_site import OnSite

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["FIGURES", "FORMATS", "figure_names", "save_figures"]

FORMATS = ("png", "svg", "pdf")
# The same run gives the same file: what names a program version or a time is left out.
_LEFT_OUT = {
    "png": ("Software",),
    "svg": ("Creator", "Date"),
    "pdf": ("Creator", "Producer", "CreationDate"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class _Order:
    """What every figure is drawn from."""

    case: Case
    result: Result
    found: OnSite
    unit: PlanUnit
    style: Style

    @property
    def condition(self) -> str:
        """The condition that decides."""
        return deciding(self.result.conditions).name


def _make(wide: float, tall: float, style: Style) -> Figure:
    from matplotlib.figure import Figure

    size = (wide * style.shrink, tall * style.shrink)
    return Figure(figsize=size, layout="constrained")


def _plan_height(order: _Order, wide: float) -> float:
    x0, y0, x1, y1 = order.result.site.slab.polygon.bounds
    return 1.6 + wide * min((y1 - y0) / (x1 - x0), 2.0)


def _soil(order: _Order) -> Figure:
    figure = _make(9.0, 8.5, order.style)
    plan, section = figure.subplots(2, 1, height_ratios=[2.2, 1.0])
    soil, site, layout = order.result.solution.soil, order.result.site, order.result.arrangement
    look: dict[str, Any] = {"unit": order.unit, "style": order.style}
    plot_soil_plan(soil, site, layout, holes=order.result.hole_places, ax=plan, **look)
    plot_soil_section(soil, site, at_y=layout.points[0].y, ax=section, **look)
    return figure


def _pressure(order: _Order) -> Figure:
    names = list(order.result.conditions)
    figure = _make(6.4 * len(names) + 1.0, _plan_height(order, 5.2), order.style)
    axes = figure.subplots(1, len(names), squeeze=False)[0].tolist()
    look: dict[str, Any] = {"unit": order.unit, "style": order.style}
    for ax, name in zip(axes, names, strict=True):
        plot_pressure_plan(order.result, condition=name, ax=ax, scale=False, **look)
    draw_scale(figure, axes, style=order.style)
    return figure


def _section(order: _Order) -> Figure:
    figure = _make(9.5, 8.0, order.style)
    axes = figure.subplots(2, 1).tolist()
    look: dict[str, Any] = {"condition": order.condition, "unit": order.unit, "style": order.style}
    plot_section(order.result, ax=axes[0], **look)
    plot_section(order.result, ax=axes[1], looking="west", **look)
    draw_scale(figure, axes, style=order.style)
    return figure


def _half_section(order: _Order) -> Figure:
    figure = _make(7.0, 4.8, order.style)
    ax = figure.add_subplot()
    look: dict[str, Any] = {"condition": order.condition, "unit": order.unit, "style": order.style}
    plot_half_section(order.result, ax=ax, **look)
    draw_scale(figure, [ax], style=order.style)
    return figure


def _alone(order: _Order, draw: Callable[[Axes], object], wide: float, tall: float) -> Figure:
    figure = _make(wide, tall, order.style)
    draw(figure.add_subplot())
    return figure


def _operating(order: _Order) -> Figure:
    return _alone(order, lambda ax: plot_operating_point(order.case, order.result, ax=ax), 7.5, 5.0)


def _air(order: _Order) -> Figure:
    tall = 2.2 + 0.45 * len(order.result.arrangement.points)
    sources = order.found.air[order.condition]
    return _alone(order, lambda ax: plot_air_sources(sources, ax=ax), 8.5, tall)


def _decay(order: _Order) -> Figure:
    look: dict[str, Any] = {"condition": order.condition, "unit": order.unit}
    return _alone(order, lambda ax: plot_decay(order.result, ax=ax, **look), 7.5, 4.8)


def _seals(order: _Order) -> Figure:
    sealing = order.found.sealing
    assert sealing is not None  # drawn only when it was found
    look: dict[str, Any] = {"unit": order.unit}
    tall = _plan_height(order, 6.2)
    return _alone(order, lambda ax: plot_seals(order.result, sealing, ax=ax, **look), 10.0, tall)


def _response(order: _Order) -> Figure:
    lag, worst = order.found.lag, deciding(order.result.conditions).worst
    assert lag is not None  # drawn only when it was found
    places = {**order.result.hole_places, "weakest spot": (worst.x, worst.y)}
    return _alone(order, lambda ax: plot_response(lag, places, ax=ax), 7.5, 4.8)


FIGURES: dict[str, Callable[[_Order], Figure]] = {
    "soil": _soil,
    "pressure": _pressure,
    "section": _section,
    "pit": _half_section,
    "operating": _operating,
    "air": _air,
    "decay": _decay,
    "seals": _seals,
    "response": _response,
}


def figure_names(result: Result, found: OnSite) -> tuple[str, ...]:
    """Figures that a result has what it takes for.

    Parameters
    ----------
    result : Result
        The result.
    found : OnSite
        What stands beside it.

    Returns
    -------
    names : tuple of str
        In the order they are looked at.
    """
    missing = set()
    if result.arrangement.fan is None or result.arrangement.more_fans:
        missing.add("operating")
    if found.sealing is None:
        missing.add("seals")
    if found.lag is None:
        missing.add("response")
    return tuple(name for name in FIGURES if name not in missing)


def save_figures(
    case: Case,
    result: Result,
    found: OnSite,
    folder: Path,
    stem: str,
    *,
    only: Sequence[str] = (),
    unit: PlanUnit = FEET,
    style: Style = SCREEN,
    form: str = "png",
) -> tuple[Path, ...]:
    """Draw and save the figures of a result.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        One of its layouts, solved.
    found : OnSite
        What stands beside it.
    folder : Path
        Where to.
    stem : str
        Beginning of the file names.
    only : sequence of str
        Names of the figures that are wanted; none for all there can be.
    unit : PlanUnit
        Length unit of plans and sections.
    style : Style
        How they look.
    form : str
        "png", "svg" or "pdf".

    Returns
    -------
    paths : tuple of Path
        The files written, one for each figure.

    Raises
    ------
    InputError
        A figure that there is not or cannot be.
    """
    from matplotlib import rc_context

    possible = figure_names(result, found)
    for name in only:
        if name not in possible:
            raise InputError(
                f'no figure "{name}" of this result; there are {", ".join(possible)}'
                + ("; seals and response take --on-site" if name in ("seals", "response") else ""),
                field="only",
            )
    if form not in FORMATS:
        raise InputError(f'"{form}": one of {", ".join(FORMATS)} is needed', field="form")
    order = _Order(case=case, result=result, found=found, unit=unit, style=style)
    what = f"{case.title}. Layout: {result.layout}" + (
        f", {result.variant}" if result.variant else ""
    )
    paths = []
    for name in only or possible:
        figure = FIGURES[name](order)
        figure.suptitle(what, parse_math=False, fontsize=10, weight="bold")
        path = folder / f"{stem}_{name}.{form}"
        with replacing(path) as unfinished, rc_context({"svg.hashsalt": "soilflow"}):
            left_out = dict.fromkeys(_LEFT_OUT[form])
            figure.savefig(unfinished, dpi=style.dots, metadata=left_out, format=form)
        paths.append(path)
    return tuple(paths)
