"""The plan of a job sheet as inline SVG: the suction below, the house and its marks above."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.layout.layout import SuctionPoint
from soilflow.layout.outlines import outline_of
from soilflow.output.leak_words import leak_marks
from soilflow.output.sheet_labels import Labels
from soilflow.output.sheet_places import offsets
from soilflow.results.coverage import PASS_LINE
from soilflow.results.floor import FloorPressure
from soilflow.results.notebook import tone_runs
from soilflow.results.result import Result
from soilflow.site.site import Site
from soilflow.units import M_PER_FOOT

__all__ = ["Segment", "SheetPlan", "draw_plan"]

_PIXELS = 900  # width of the map behind
_MARGIN = 0.05  # of the larger side, around walls, letters and scale
_TEXT = 0.026  # height of names over the larger side
_BESIDE = 0.05  # of a wall's face, where one side of it is told from the other [m]
_BARS = (1, 2, 5, 10, 20, 50)  # lengths of a scale bar [ft]

Segment = tuple[str, tuple[float, float], tuple[float, float]]  # letter and ends [m]


@dataclass(frozen=True, kw_only=True)
class SheetPlan:
    """A plan in two parts, and where the map between them lies.

    Parameters
    ----------
    still : str
        Drawing of the suction for readers without scripts, and for paper.
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
    floor: FloorPressure,
    worst: tuple[float, float],
    *,
    segments: Sequence[Segment] = (),
) -> SheetPlan:
    """Draw the plan of a sheet.

    Parameters
    ----------
    result : Result
        The result.
    floor : FloorPressure
        The pressure that is drawn.
    worst : tuple of (float, float)
        The weakest spot. [m]
    segments : sequence of (str, (float, float), (float, float))
        Letters of the seal list with the ends of what they stand for. [m]

    Returns
    -------
    plan : SheetPlan
        True to scale, north up.
    """
    site = result.site
    x0, y0, x1, y1 = site.walls.outer_face(site.slab.polygon).bounds
    side = max(x1 - x0, y1 - y0)
    size, pad = _TEXT * side, _MARGIN * side
    left, top = x0 - pad, y1 + pad
    wide, tall = x1 - x0 + 2 * pad, y1 - y0 + 2 * pad + 2.2 * size  # a line for the scale
    names = Labels(size)
    marks = [
        *_house(site, size, names),
        *_tapes(result, size, names),
        *_points(result, size),
        *_holes(result, size),
        *_sealed(site, segments, size, names),
        *_scale(x0, y0 - pad - 0.8 * size, 0.35 * (x1 - x0), size, names),
        *_north(x1 + 0.5 * pad, y1, size, names),
    ]
    _names_of_marks(result, size, names)
    x, y = worst
    at, mark = f"transform='translate({x:.4f} {-y:.4f})'", _triangle(size)
    marks.append(f"<g class='mark-still' {at}>{mark}</g><g id='worst-mark' {at}>{mark}</g>")
    box = f"{left:.3f} {-top:.3f} {wide:.3f} {tall:.3f}"
    return SheetPlan(
        still=Markup(
            f"<svg class='still' viewBox='{box}' aria-hidden='true'>{_suction(floor, size)}</svg>"
        ),
        over=Markup(
            f"<svg class='over' viewBox='{box}' role='img' aria-label='plan of the floor'>"
            f"{''.join(marks)}{Markup().join(names.drawn)}</svg>"
        ),
        left=left,
        top=top,
        wide=wide,
        width=_PIXELS,
        height=round(_PIXELS * tall / wide),
    )


def _suction(floor: FloorPressure, size: float) -> str:
    """Columns in tones, hatched where they fail, and the pass line between the two."""
    step = 0.6 * size
    hatch = (
        f"<defs><pattern id='fails' width='{step:.3f}' height='{step:.3f}' "
        f"patternUnits='userSpaceOnUse'><rect width='{step:.3f}' height='{step:.3f}' fill='#fff'/>"
        f"<path d='M0 {step:.3f}L{step:.3f} 0' stroke='#777' stroke-width='{0.06 * size:.3f}'/>"
        "</pattern></defs>"
    )
    runs = "".join(
        f"<rect x='{a:.3f}' y='{-b - high:.3f}' width='{across:.3f}' height='{high:.3f}' "
        f"fill='{tone}'/>"
        for a, b, across, high, tone in tone_runs(floor, fails="url(#fails)")
    )
    line = "".join(f"M{a:.3f} {-b:.3f}L{c:.3f} {-d:.3f}" for a, b, c, d in _pass_line(floor))
    return (
        f"{hatch}{runs}<path d='{line}' fill='none' stroke='#1b1b1b' "
        f"stroke-width='{0.16 * size:.3f}' stroke-linecap='square'/>"
    )


def _pass_line(floor: FloorPressure) -> Iterator[tuple[float, float, float, float]]:
    """Edges between columns on either side of the pass line."""
    there = floor.floor & ~np.isnan(floor.pressure)
    holds = there & (np.nan_to_num(floor.pressure) <= -PASS_LINE)
    x, y = floor.x.tolist(), floor.y.tolist()
    for i, j in np.argwhere((holds[1:] != holds[:-1]) & there[1:] & there[:-1]).tolist():
        yield x[i + 1], y[j], x[i + 1], y[j + 1]
    across = (holds[:, 1:] != holds[:, :-1]) & there[:, 1:] & there[:, :-1]
    for i, j in np.argwhere(across).tolist():
        yield x[i], y[j + 1], x[i + 1], y[j + 1]


def _path(area: BaseGeometry) -> str:
    loops = []
    for part in getattr(area, "geoms", [area]):
        if isinstance(part, Polygon) and not part.is_empty:
            for ring in (part.exterior, *part.interiors):
                loops.append("M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in ring.coords) + "Z")
    return "".join(loops)


def _house(site: Site, size: float, names: Labels) -> list[str]:
    """Walls, footings, wet areas and what else leaks, each with its name."""
    floor = site.slab.polygon
    wall = site.walls.outer_face(floor).difference(floor)
    ink = f"stroke='#1b1b1b' stroke-width='{0.06 * size:.3f}'"
    found = [
        f"<path d='{_path(wall)}' fill='#d9d2c3' fill-rule='evenodd' {ink}/>",
        f"<path d='{_path(floor)}' fill='none' {ink}/>",
    ]
    areas = [(zone.polygon, zone.name) for zone in site.moist_zones]
    areas += [(area, name) for area, name, _ in leak_marks(site)]
    dashes = f"{0.5 * size:.3f} {0.3 * size:.3f}"
    for area, name in areas:
        path = _path(area)
        found.append(f"<path d='{path}' fill='none' stroke='#fffdf8' "
                     f"stroke-width='{0.22 * size:.3f}'/>")  # fmt: skip
        found.append(f"<path d='{path}' fill='none' stroke-dasharray='{dashes}' {ink}/>")
        at = area.representative_point()
        if name:
            names.at(at.x, at.y, name, enlarged=0.85)
    for footing in site.footings:
        plan = footing.plan() if footing.thickness else footing.plan().buffer(0.03)
        found.append(f"<path d='{_path(plan)}' fill='#d9d2c3' {ink}/>")
    for line in site.slab.walls:
        if line.name[-1].isdigit():  # only those that offsets could not tell apart without
            (ax, ay), (bx, by) = line.start, line.end
            out = 0.5 * site.walls.thickness
            x, y = 0.5 * (ax + bx) + out * line.outward[0], 0.5 * (ay + by) + out * line.outward[1]
            names.at(x, y, line.name, enlarged=0.7, upright=bool(line.outward[0]), kind="name tape")
    return found


def _middle(result: Result, x: float, y: float) -> tuple[float, float]:
    centre = result.site.slab.polygon.centroid
    return (1.0 if x <= centre.x else -1.0), (1.0 if y <= centre.y else -1.0)


def _outline(result: Result, point: SuctionPoint) -> BaseGeometry:
    return outline_of(point.pit.body(point.x, point.y, result.site.slab.polygon))


def _points(result: Result, size: float) -> list[str]:
    found = []
    for point in result.arrangement.points:
        dashes = f" stroke-dasharray='{0.3 * size:.3f}'" if point.capped else ""
        found.append(
            f"<path d='{_path(_outline(result, point))}' fill='#fffdf8' stroke='#1b1b1b' "
            f"stroke-width='{0.12 * size:.3f}'{dashes}/>"
        )
    return found


def _tapes(result: Result, size: float, names: Labels) -> list[str]:
    """From each pit to the two walls it is measured from."""
    found = []
    for point in result.arrangement.points:
        body = _outline(result, point)
        clear = 0.0 if body.is_empty else 0.5 * (body.bounds[2] - body.bounds[0])
        for axis, offset in enumerate(offsets(result.site, point.x, point.y)):
            a, b = offset.at
            found.append(
                f"<path d='M{point.x:.3f} {-point.y:.3f}L{a:.3f} {-b:.3f}' fill='none' "
                f"stroke='#fffdf8' stroke-width='{0.2 * size:.3f}'/>"
                f"<path d='M{point.x:.3f} {-point.y:.3f}L{a:.3f} {-b:.3f}' fill='none' "
                f"stroke='#1b1b1b' stroke-width='{0.07 * size:.3f}'/>"
            )
            if offset.distance < clear + 2.5 * size:
                continue  # too short to write on; the table has it
            free = (clear / offset.distance + 1.0) / 2.0  # middle of the part outside the pit
            x, y = point.x + free * (a - point.x), point.y + free * (b - point.y)
            names.at(
                x,
                y + (0.55 * size if axis == 0 else 0.0),
                offset.words,
                enlarged=0.8,
                kind="name tape",
            )
    return found


def _holes(result: Result, size: float) -> list[str]:
    half = 0.3 * size
    return [
        f"<rect x='{x - half:.3f}' y='{-y - half:.3f}' width='{2 * half:.3f}' "
        f"height='{2 * half:.3f}' fill='#fffdf8' stroke='#1b1b1b' "
        f"stroke-width='{0.08 * size:.3f}'/>"
        for x, y in result.hole_places.values()
    ]


def _names_of_marks(result: Result, size: float, names: Labels) -> None:
    """Names of pits and test holes, once all marks are known."""
    places = []
    for point in result.arrangement.points:
        body = _outline(result, point)
        half = 0.3 * size if body.is_empty else 0.5 * (body.bounds[2] - body.bounds[0])
        places.append((point.name, point.x, point.y, half, True))
    places += [(name, x, y, 0.3 * size, False) for name, (x, y) in result.hole_places.items()]
    for _, x, y, half, _ in places:
        names.keep_clear(x - half, y - half, x + half, y + half)
    for name, x, y, half, bold in places:
        names.beside(x, y, half, name, inward=_middle(result, x, y), bold=bold)


def _sealed(site: Site, segments: Sequence[Segment], size: float, names: Labels) -> Iterator[str]:
    """A heavy bar with ends along each piece of the seal list, its letter outside the wall."""
    floor, tick = site.slab.polygon, 0.35 * size
    for letter, (ax, ay), (bx, by) in segments:
        length = max(abs(bx - ax) + abs(by - ay), 1e-9)
        ux, uy = (by - ay) / length, (ax - bx) / length
        x, y = 0.5 * (ax + bx), 0.5 * (ay + by)
        outside = [
            s
            for s in (1.0, -1.0)
            if not floor.covers(Point(x + s * _BESIDE * ux, y + s * _BESIDE * uy))
        ]
        sign = outside[0] if outside else 1.0
        away = (site.walls.thickness if outside else 0.0) + 0.9 * size
        names.at(x + sign * away * ux, y + sign * away * uy, letter, enlarged=1.2, bold=True)
        ends = "".join(
            f"M{a - tick * ux:.3f} {-(b - tick * uy):.3f}L{a + tick * ux:.3f} "
            f"{-(b + tick * uy):.3f}"
            for a, b in ((ax, ay), (bx, by))
        )
        run = f"M{ax:.3f} {-ay:.3f}L{bx:.3f} {-by:.3f}"
        yield (
            f"<path d='{run}{ends}' fill='none' stroke='#fffdf8' stroke-width='{0.4 * size:.3f}'/>"
            f"<path d='{run}' fill='none' stroke='#8a3b12' stroke-width='{0.22 * size:.3f}'/>"
            f"<path d='{ends}' fill='none' stroke='#8a3b12' stroke-width='{0.1 * size:.3f}'/>"
        )


def _scale(x: float, y: float, most: float, size: float, names: Labels) -> list[str]:
    """A scale bar with its feet."""
    feet = max((b for b in _BARS if b * M_PER_FOOT <= most), default=_BARS[0])
    long, half = feet * M_PER_FOOT, 0.2 * size
    halves = "".join(
        f"<rect x='{x + a * long:.3f}' y='{-y - half:.3f}' width='{(b - a) * long:.3f}' "
        f"height='{2 * half:.3f}' fill='{fill}' stroke='#1b1b1b' "
        f"stroke-width='{0.06 * size:.3f}'/>"
        for (a, b), fill in zip(itertools.pairwise((0.0, 0.5, 1.0)), ("#1b1b1b", "#fff"),
                                strict=True)
    )  # fmt: skip
    names.at(x + long + 2.0 * size, y, f"{feet} ft", enlarged=0.9)
    return [halves]


def _north(x: float, y: float, size: float, names: Labels) -> list[str]:
    names.at(x, y - 2.3 * size, "N", enlarged=0.9, bold=True)
    return [
        f"<path d='M{x:.3f} {-y:.3f}L{x - 0.4 * size:.3f} {-(y - 1.6 * size):.3f}L{x:.3f} "
        f"{-(y - 1.2 * size):.3f}L{x + 0.4 * size:.3f} {-(y - 1.6 * size):.3f}Z' fill='#1b1b1b'/>"
    ]


def _triangle(size: float) -> str:
    s = 0.8 * size
    return (
        f"<path d='M{-s:.3f} {-0.7 * s:.3f}L{s:.3f} {-0.7 * s:.3f}L0 {s:.3f}Z' fill='#fffdf8' "
        f"stroke='#1b1b1b' stroke-width='{0.14 * size:.3f}'/>"
    )
