"""The plan of a job sheet as inline SVG: the suction below, the house and its marks above."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.layout.outlines import outline_of
from soilflow.output.leak_words import leak_marks
from soilflow.results.notebook import tone_runs
from soilflow.results.result import Result
from soilflow.results.solved import ConditionResult
from soilflow.site.site import Site

__all__ = ["SheetPlan", "draw_plan"]

_PIXELS = 900  # width of the map behind
_MARGIN = 0.06  # of the larger side
_TEXT = 0.022  # height of names over the larger side


@dataclass(frozen=True, kw_only=True)
class SheetPlan:
    """A plan in two parts, and where the map between them lies.

    Parameters
    ----------
    still : str
        Drawing of the suction for readers without scripts.
    over : str
        Drawing of the house above it.
    left, top, wide : float
        West and north edge of the drawing, and its width. [m]
    width, height : int
        Size of the map in pixels.
    """

    still: Markup
    over: Markup
    left: float
    top: float
    wide: float
    width: int
    height: int


def draw_plan(
    result: Result,
    found: ConditionResult,
    *,
    letters: Sequence[tuple[str, float, float]] = (),
    names: Mapping[str, str] | None = None,
) -> SheetPlan:
    """Draw the plan of a sheet.

    Parameters
    ----------
    result : Result
        The result.
    found : ConditionResult
        The condition whose suction is drawn.
    letters : sequence of (str, float, float)
        Letters of the seal list and their places. [m]
    names : mapping of str to str, or None
        What test holes are called on the plan; None takes their own names.

    Returns
    -------
    plan : SheetPlan
        True to scale, north up.
    """
    site = result.site
    x0, y0, x1, y1 = site.walls.outer_face(site.slab.polygon).bounds
    pad = _MARGIN * max(x1 - x0, y1 - y0)
    left, top, wide, tall = x0 - pad, y1 + pad, x1 - x0 + 2 * pad, y1 - y0 + 2 * pad
    size = _TEXT * max(wide, tall)
    box = f"{left:.3f} {-top:.3f} {wide:.3f} {tall:.3f}"
    still = "".join(
        f"<rect x='{a:.3f}' y='{-b - high:.3f}' width='{across:.3f}' height='{high:.3f}' "
        f"fill='{tone}'/>"
        for a, b, across, high, tone in tone_runs(found.floor, fails="url(#fails)")
    )
    hatch = (
        "<defs><pattern id='fails' width='.22' height='.22' patternUnits='userSpaceOnUse'>"
        "<rect width='.22' height='.22' fill='#fff'/><path d='M0 .22L.22 0' stroke='#777' "
        "stroke-width='.02'/></pattern></defs>"
    )
    marks = [*_house(site, size), *_points(result, size), *_holes(result, size, names or {})]
    marks += [
        f"<text x='{x:.3f}' y='{-y:.3f}' font-size='{1.3 * size:.3f}' font-weight='bold' "
        f"text-anchor='middle' class='name'>{escape(letter)}</text>"
        for letter, x, y in letters
    ]
    marks.append(_triangle(found.worst.x, found.worst.y, size))
    style = (
        "<style>.name{fill:#1b1b1b;stroke:#fffdf8;stroke-width:.06;paint-order:stroke;"
        "font-family:Georgia,serif}</style>"
    )
    return SheetPlan(
        still=Markup(f"<svg class='still' viewBox='{box}' style='position:absolute;inset:0' "
                     f"aria-hidden='true'>{hatch}{still}</svg>"),
        over=Markup(f"<svg viewBox='{box}' role='img' aria-label='plan of the floor'>{style}"
                    f"{''.join(marks)}</svg>"),
        left=left,
        top=top,
        wide=wide,
        width=_PIXELS,
        height=round(_PIXELS * tall / wide),
    )  # fmt: skip


def _path(area: BaseGeometry) -> str:
    loops = []
    for part in getattr(area, "geoms", [area]):
        if isinstance(part, Polygon) and not part.is_empty:
            for ring in (part.exterior, *part.interiors):
                loops.append("M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in ring.coords) + "Z")
    return "".join(loops)


def _house(site: Site, size: float) -> list[str]:
    floor = site.slab.polygon
    wall = site.walls.outer_face(floor).difference(floor)
    thin = f"fill='none' stroke='#1b1b1b' stroke-width='{0.06 * size:.3f}'"
    found = [
        f"<path d='{_path(wall)}' fill='#d9d2c3' fill-rule='evenodd' stroke='#1b1b1b' "
        f"stroke-width='{0.06 * size:.3f}'/>",
        f"<path d='{_path(floor)}' {thin}/>",
    ]
    areas = [(zone.polygon, zone.name) for zone in site.moist_zones]
    areas += [(area, name) for area, name, _ in leak_marks(site)]
    for area, name in areas:
        found.append(f"<path d='{_path(area)}' {thin} stroke-dasharray='{0.4 * size:.3f}'/>")
        at = area.representative_point()
        if name:
            found.append(_name(at.x, at.y, name, 0.8 * size))
    for footing in site.footings:
        plan = footing.plan() if footing.thickness else footing.plan().buffer(0.03)
        found.append(f"<path d='{_path(plan)}' fill='#d9d2c3' stroke='#1b1b1b' "
                     f"stroke-width='{0.05 * size:.3f}'/>")  # fmt: skip
    return found


def _points(result: Result, size: float) -> list[str]:
    found = []
    for point in result.arrangement.points:
        body = outline_of(point.pit.body(point.x, point.y, result.site.slab.polygon))
        found.append(
            f"<path d='{_path(body)}' fill='#fffdf8' stroke='#1b1b1b' "
            f"stroke-width='{0.1 * size:.3f}'/>"
        )
        found.append(_name(point.x, point.y, point.name, 1.1 * size, bold=True, up=1.1 * size))
    return found


def _holes(result: Result, size: float, names: Mapping[str, str]) -> list[str]:
    found = []
    for name, (x, y) in result.hole_places.items():
        half = 0.3 * size
        found.append(
            f"<rect x='{x - half:.3f}' y='{-y - half:.3f}' width='{2 * half:.3f}' "
            f"height='{2 * half:.3f}' fill='#fffdf8' stroke='#1b1b1b' "
            f"stroke-width='{0.08 * size:.3f}'/>"
        )
        found.append(_name(x, y, names.get(name, name), size, up=0.7 * size))
    return found


def _name(
    x: float, y: float, text: str, size: float, *, bold: bool = False, up: float = 0.0
) -> str:
    weight = " font-weight='bold'" if bold else ""
    return (
        f"<text x='{x:.3f}' y='{-y - up:.3f}' font-size='{size:.3f}' text-anchor='middle'"
        f"{weight} class='name'>{escape(text)}</text>"
    )


def _triangle(x: float, y: float, size: float) -> str:
    s = 0.8 * size
    return (
        f"<g id='worst-mark' transform='translate({x:.4f} {-y:.4f})'><path d='M{-s:.3f} "
        f"{-0.7 * s:.3f}L{s:.3f} {-0.7 * s:.3f}L0 {s:.3f}Z' fill='#fffdf8' stroke='#1b1b1b' "
        f"stroke-width='{0.12 * size:.3f}'/></g>"
    )
