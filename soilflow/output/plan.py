"""Drawing a house in plan: walls, soil, pits and test holes, true to scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from shapely.geometry import MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.layout.layout import Layout
from soilflow.layout.outlines import outline_of
from soilflow.output.leak_words import leak_marks
from soilflow.site.site import Site
from soilflow.units import M_PER_FOOT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "CONCRETE",
    "FEET",
    "METRES",
    "PIT",
    "PlanUnit",
    "draw_house",
    "draw_points",
    "fill_area",
    "frame_plan",
]


@dataclass(frozen=True, kw_only=True)
class PlanUnit:
    """Length unit of a plan.

    Parameters
    ----------
    name : str
        Symbol on the axes.
    metres : float
        Length of one unit. [m]
    """

    name: str
    metres: float


FEET = PlanUnit(name="ft", metres=M_PER_FOOT)
METRES = PlanUnit(name="m", metres=1.0)

_INK = "#1b1b1b"
_OUTLINE: dict[str, Any] = {"facecolor": "none", "edgecolor": _INK}
# Paler than the middle of any colour scale, and hatched: no field looks like it.
CONCRETE: dict[str, Any] = {
    "facecolor": "#e9e4da",
    "edgecolor": "0.35",
    "hatch": "////",
    "linewidth": 0.8,
}
_LINES = ("edgecolor", "linewidth", "linestyle", "zorder")
PIT = "pit"  # how pits are found again among what is drawn
_NAME = "name beside a mark"
_SMALL = 0.5  # a mark narrower than this has its name beside it [m]
_PAPER = {"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}


def fill_area(ax: Axes, area: BaseGeometry, unit: PlanUnit, **style: object) -> None:
    """Draw an area, holes included.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes to draw on.
    area : shapely geometry
        Polygon or several. [m]
    unit : PlanUnit
        Length unit of the axes.
    **style
        Passed to `matplotlib.patches.PathPatch`.
    """
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    for part in getattr(area, "geoms", [area]):
        if not isinstance(part, Polygon) or part.is_empty:
            continue
        loops = [
            Path(np.asarray(ring.coords) / unit.metres, closed=True)
            for ring in (part.exterior, *part.interiors)
        ]
        ax.add_patch(PathPatch(Path.make_compound_path(*loops), **style))


def draw_house(ax: Axes, site: Site, unit: PlanUnit, *, over_field: bool = False) -> None:
    """Walls and the outlines of what lies under the floor.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes to draw on.
    site : Site
        What is there.
    unit : PlanUnit
        Length unit of the axes.
    over_field : bool
        Leave out hatching and the names of areas, so that a field below stays readable.
    """
    floor = site.slab.polygon
    wall = site.walls.outer_face(floor).difference(floor)
    fill_area(ax, wall, unit, **CONCRETE, zorder=4)
    fill_area(ax, floor, unit, facecolor="none", edgecolor=_INK, linewidth=1.2, zorder=4)
    if site.slab.outline is not floor:
        fill_area(ax, site.slab.outline, unit, **_OUTLINE, linewidth=0.6, zorder=5)
    for area, name, style in (*_below(site), *leak_marks(site)):
        if over_field:
            name, style = "", {key: style[key] for key in _LINES if key in style}
        if "hatch" not in style:
            wide = 0.8 + style["linewidth"]
            fill_area(ax, area, unit, facecolor="none", edgecolor="white", linewidth=wide, zorder=3)
        fill_area(ax, area, unit, **{**_OUTLINE, "zorder": 3, **style})
        if name and min(np.subtract(area.bounds[2:], area.bounds[:2])) > _SMALL:
            _label(ax, area.representative_point(), name, unit)
        elif name:
            beside = Point(area.bounds[2] + 0.05, area.centroid.y)
            _label(ax, beside, name, unit, ha="left")
    for footing in site.footings:
        # a footing without thickness is drawn as a thin one
        area = footing.plan() if footing.thickness else footing.plan().buffer(0.02)
        fill_area(ax, area, unit, **CONCRETE, zorder=4)
        if not over_field:
            _label(ax, area.representative_point(), footing.name, unit)
    if site.random_soil is not None:
        note = f"soil varies at random, draw {site.random_soil.seed}"
        ax.text(0.01, 0.01, note, transform=ax.transAxes, fontsize=7, style="italic", bbox=_PAPER)


def _below(site: Site) -> Iterator[tuple[BaseGeometry, str, dict[str, Any]]]:
    """Area, name and style of what lies in the soil or on it."""
    floor = site.slab.polygon
    if site.fill is not None:
        yield floor, "", {"edgecolor": "0.75", "linewidth": 0.0, "hatch": "..."}
    for _, strip in site.band_strips():
        yield strip, "", {"linewidth": 0.8, "linestyle": (0, (4, 2))}
    for patch in site.patches:
        yield patch.polygon, patch.name, {"linewidth": 0.8, "hatch": "oo"}
    for zone in site.moist_zones:
        if not zone.polygon.covers(floor):
            yield zone.polygon, zone.name, {"edgecolor": "0.25", "linewidth": 0.8, "hatch": ".."}
    for field in site.soil_fields:
        raster = MultiPoint([(x, y) for x in field.x for y in field.y]).envelope
        yield raster, field.name, {"linewidth": 0.8, "linestyle": (0, (6, 2, 1, 2))}
    for gap in site.gaps:
        yield gap.plan(floor), gap.name, {"linewidth": 1.1, "linestyle": (0, (1, 1.5))}


def _label(
    ax: Axes,
    point: BaseGeometry,
    text: str,
    unit: PlanUnit,
    *,
    ha: Literal["left", "center", "right"] = "center",
) -> None:
    ax.annotate(
        text,
        (point.x / unit.metres, point.y / unit.metres),
        parse_math=False,
        ha=ha,
        va="center",
        fontsize=7,
        style="italic",
        color=_INK,
        bbox=_PAPER,
        zorder=6,
    )


def draw_points(
    ax: Axes, layout: Layout, site: Site, holes: Mapping[str, tuple[float, float]], unit: PlanUnit
) -> None:
    """Suction pits at their true size, and test holes, each with its name.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes to draw on.
    layout : Layout
        The layout.
    site : Site
        What is there.
    holes : mapping of str to (float, float)
        Places of the test holes. [m]
    unit : PlanUnit
        Length unit of the axes.
    """
    m = unit.metres
    middle = site.slab.polygon.centroid
    figure = ax.get_figure(root=True)
    if figure is not None:
        figure.draw_without_rendering()  # once: names are measured where they will stand
    for point in layout.points:
        outline = outline_of(point.pit.body(point.x, point.y, site.slab.polygon))
        dashes = "--" if point.capped else "-"
        style = {**_OUTLINE, "facecolor": "white", "linewidth": 1.4, "linestyle": dashes}
        fill_area(ax, outline, unit, **style, zorder=7, gid=PIT)
        ax.plot(point.x / m, point.y / m, marker="+", color=_INK, markersize=5, zorder=8)
        _name_beside(ax, point.x, point.y, point.name, middle, unit, weight="bold")
    for name, (x, y) in holes.items():
        ax.plot(
            x / m,
            y / m,
            marker="s",
            markersize=4,
            markerfacecolor="white",
            markeredgecolor=_INK,
            linestyle="none",
            zorder=8,
        )
        _name_beside(ax, x, y, name, middle, unit, weight="normal")


def _name_beside(
    ax: Axes, x: float, y: float, name: str, middle: BaseGeometry, unit: PlanUnit, *, weight: str
) -> None:
    """Write a name beside a mark, where it covers no name written before."""
    taken = [t for t in ax.texts if t.get_gid() == _NAME]
    right, up = (1 if x <= middle.x else -1), (1 if y <= middle.y else -1)
    tries = [(right, up), (right, -up), (-right, up), (-right, -up), (right, 2.5 * up)]
    for h, v in tries:
        text = ax.annotate(
            name,
            (x / unit.metres, y / unit.metres),
            parse_math=False,  # a name may hold the signs that mark a formula
            xytext=(10 * h, 9 * v),
            textcoords="offset points",
            ha="left" if h > 0 else "right",
            va="bottom" if v > 0 else "top",
            fontsize=8,
            weight=weight,
            color=_INK,
            bbox=_PAPER,
            zorder=9,
            gid=_NAME,
        )
        box = text.get_window_extent()
        if not any(box.overlaps(other.get_window_extent()) for other in taken):
            return
        if (h, v) != tries[-1]:
            text.remove()


def frame_plan(ax: Axes, site: Site, unit: PlanUnit) -> None:
    """Equal scales, labelled axes and a north arrow around the house.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes to draw on.
    site : Site
        What is there.
    unit : PlanUnit
        Length unit of the axes.
    """
    x0, y0, x1, y1 = site.walls.outer_face(site.slab.polygon).bounds
    pad = 0.05 * max(x1 - x0, y1 - y0)
    m = unit.metres
    ax.set_xlim((x0 - pad) / m, (x1 + pad) / m)
    ax.set_ylim((y0 - pad) / m, (y1 + pad) / m)
    ax.set_aspect("equal")
    ax.set_xlabel(f"east of the south-west corner [{unit.name}]")
    ax.set_ylabel(f"north [{unit.name}]")
    ax.annotate(
        "N",
        xy=(1.025, 1.0),
        xytext=(1.025, 0.86),
        xycoords="axes fraction",
        ha="center",
        va="center",
        fontsize=9,
        arrowprops={"arrowstyle": "-|>", "color": _INK},
        annotation_clip=False,
    )
