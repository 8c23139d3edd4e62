"""Plane geometry of a footprint: walls with names, strips along them, disks cut by them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.areas import only_area
from soilflow.site.stairs import SAME, Piece, stair, without_spikes

__all__ = [
    "Corners",
    "WallLine",
    "disk_area_in",
    "footprint_polygon",
    "outline_polygon",
    "stepped_polygon",
    "wall_lines",
    "wall_strip",
]

Corners = tuple[tuple[float, float], ...]

# counter-clockwise from the east, one for each eighth of a turn
_SIDES = (
    "east",
    "north-east",
    "north",
    "north-west",
    "west",
    "south-west",
    "south",
    "south-east",
)


@dataclass(frozen=True, kw_only=True)
class WallLine:
    """Inner face of one straight stretch of foundation wall, or of one step of a slanted wall.

    Parameters
    ----------
    name : str
        Side of the house the wall faces; numbered from west or south when there are several.
        All steps of a slanted wall have its name.
    start, end : tuple of float
        Ends of the inner face, counter-clockwise around the footprint. [m]
    outward : tuple of int
        Unit vector pointing out of the house. [-]
    stretch : float
        True length over drawn length: below 1 where stairs stand for a slant. [-]
    slant : tuple of ((float, float), (float, float)) or None
        Ends of the whole slanted wall a step belongs to. [m]
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    outward: tuple[int, int]
    stretch: float = 1.0
    slant: tuple[tuple[float, float], tuple[float, float]] | None = None

    @property
    def length(self) -> float:
        """True length of the inner face. [m]"""
        return self.stretch * math.dist(self.start, self.end)


def outline_polygon(corners: Corners, *, field: str = "corners") -> Polygon:
    """An outline in plan as a polygon with its corners counter-clockwise.

    Parameters
    ----------
    corners : tuple of (float, float)
        Corners in order, either way round, first not repeated. [m]
    field : str
        Name used in the error.

    Returns
    -------
    polygon : shapely.Polygon
        The same shape, counter-clockwise, without corners in the middle of an edge. [m]

    Raises
    ------
    InputError
        Fewer than three corners, edges that cross or touch, or no area.
    """
    if len(corners) < 3:
        raise InputError(f"{len(corners)} corners; an outline needs at least 3", field=field)
    ring = _without_repeats(_merged(corners))
    polygon = Polygon(ring) if len(ring) > 2 else Polygon()
    if polygon.convex_hull.area <= SAME**2:
        raise InputError(
            "the edges enclose no area; list the corners in order around it", field=field
        )
    if not polygon.is_valid:
        place = shapely.is_valid_reason(polygon).partition("[")[2].rstrip("]").split()
        where = " near ({:.2f}, {:.2f}) m".format(*map(float, place)) if len(place) == 2 else ""
        raise InputError(
            f"the edges cross or touch{where}; list the corners in order around it", field=field
        )
    n = len(ring)
    kept = [ring[i] for i in range(n) if _turns(ring[i - 1], ring[i], ring[(i + 1) % n])]
    if ring[0] != kept[0]:  # it lies in the middle of an edge: begin where that edge begins
        kept = [kept[-1], *kept[:-1]]
    return Polygon(kept if polygon.exterior.is_ccw else kept[::-1])


def _merged(corners: Corners) -> list[tuple[float, float]]:
    """Corners whose coordinates are equal where they were meant to be."""
    seen: tuple[list[float], list[float]] = ([], [])
    found = []
    for corner in corners:
        place = []
        for value, known in zip(corner, seen, strict=True):
            same = [v for v in known if abs(v - value) <= SAME]
            known += [] if same else [value]
            place.append(same[0] if same else value)
        found.append((place[0], place[1]))
    return found


def _without_repeats(ring: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [ring[i] for i in range(len(ring)) if ring[i] != ring[i - 1]]


def _turns(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
    """Whether the way from a by b to c has a corner at b."""
    across = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
    return abs(across) > SAME * math.dist(a, c)


def footprint_polygon(corners: Corners, *, field: str = "corners") -> Polygon:
    """Footprint as a polygon whose edges run east-west and north-south.

    Parameters
    ----------
    corners : tuple of (float, float)
        Corners in order, either way round, first not repeated. [m]
    field : str
        Name used in the error.

    Returns
    -------
    polygon : shapely.Polygon
        Counter-clockwise; slanted edges are stairs that keep the area. [m]

    Raises
    ------
    InputError
        No outline, or one too narrow for stairs.
    """
    return stepped_polygon(outline_polygon(corners, field=field), field=field)


def stepped_polygon(outline: Polygon, *, field: str = "corners") -> Polygon:
    """An outline with stairs in place of its slanted edges.

    Parameters
    ----------
    outline : shapely.Polygon
        From `outline_polygon`. [m]
    field : str
        Name used in the error.

    Returns
    -------
    polygon : shapely.Polygon
        Of the same area; the outline itself when no edge is slanted. [m]

    Raises
    ------
    InputError
        The stairs of two edges meet, or one edge is lost in a sharp corner.
    """
    corners = _ring(outline)
    if not any(_slanted(a, b) for a, b in _edges(corners)):
        return outline
    pieces = _pieces(corners)
    try:
        stepped = outline_polygon(tuple(piece.start for piece in pieces))
    except InputError:
        stepped = Polygon()
    lost = abs(stepped.area - outline.area) > 1e-6 * outline.area
    if lost or len({piece.wall for piece in pieces}) < len(corners):
        raise InputError(
            "too narrow a part or too sharp a corner for slanted edges, which are drawn in steps "
            "of about 0.3 m; corners of 45 degrees or more work",
            field=field,
        )
    return stepped


def wall_lines(outline: Polygon) -> tuple[WallLine, ...]:
    """Walls of an outline, named by the side they face.

    Parameters
    ----------
    outline : shapely.Polygon
        Counter-clockwise, from `outline_polygon`. [m]

    Returns
    -------
    walls : tuple of WallLine
        In order around the footprint, a slanted wall as its steps. A side with several walls
        has them numbered from the west or the south: ``north 1``, ``north 2``.
    """
    corners = _ring(outline)
    edges = _edges(corners)
    names = _names(edges)
    pieces = _pieces(corners)
    drawn = [sum(p.length for p in pieces if p.wall == i) for i in range(len(edges))]
    walls = []
    for piece in pieces:
        a, b = edges[piece.wall]
        dx, dy = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
        along_x = abs(dx) > abs(dy)
        true, own = math.dist(a, b), drawn[piece.wall]
        walls.append(
            WallLine(
                name=names[piece.wall],
                start=piece.start,
                end=piece.end,
                outward=(0, -int(np.sign(dx))) if along_x else (int(np.sign(dy)), 0),
                stretch=1.0 if abs(true - own) <= SAME else true / own,
                slant=(a, b) if _slanted(a, b) else None,
            )
        )
    return tuple(walls)


def _ring(outline: Polygon) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in list(outline.exterior.coords)[:-1]]


def _edges(
    corners: list[tuple[float, float]],
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return list(itertools.pairwise([*corners, corners[0]]))


def _slanted(a: tuple[float, float], b: tuple[float, float]) -> bool:
    return min(abs(b[0] - a[0]), abs(b[1] - a[1])) > SAME


def _pieces(corners: list[tuple[float, float]]) -> list[Piece]:
    """All walls as pieces along the axes, in order."""
    return without_spikes(
        [
            Piece(wall=i, start=start, end=end)
            for i, (a, b) in enumerate(_edges(corners))
            for start, end in itertools.pairwise(stair(a, b))
        ]
    )


def _names(edges: list[tuple[tuple[float, float], tuple[float, float]]]) -> list[str]:
    """Name of each wall: the side it faces, with a number where several do."""
    sides = []
    for a, b in edges:
        facing = math.atan2(a[0] - b[0], b[1] - a[1])  # of the edge turned clockwise
        sides.append(_SIDES[round(facing / (0.25 * math.pi)) % 8])
    names = []
    for i, side in enumerate(sides):
        along = 1 if side in ("east", "west") else 0
        places = {
            j: (min(a[along], b[along]), a[1 - along])
            for j, (a, b) in enumerate(edges)
            if sides[j] == side
        }
        number = sorted(places, key=places.__getitem__).index(i) + 1
        names.append(side if len(places) == 1 else f"{side} {number}")
    return names


def wall_strip(
    polygon: Polygon, walls: Sequence[WallLine], width: float, *, outside: bool = False
) -> BaseGeometry:
    """Strip of floor (or yard) within a distance of some walls.

    Parameters
    ----------
    polygon : shapely.Polygon
        Footprint, or the outer face of the walls when ``outside``; stairs where it is slanted. [m]
    walls : sequence of WallLine
        Walls of that polygon.
    width : float
        Distance from the wall face to the edge of the strip. [m]
    outside : bool
        Whether the strip lies outside the polygon.

    Returns
    -------
    strip : shapely geometry
        Union of the strips, corners once. [m]
    """
    strip: BaseGeometry = Polygon()
    sign = 1.0 if outside else -1.0
    for slant in dict.fromkeys(wall.slant for wall in walls if wall.slant is not None):
        # both ways across, since the stairs run on either side of the true line
        strip = strip.union(LineString(slant).buffer(width, cap_style="square"))
    for wall in walls:
        if wall.slant is not None:
            continue
        (x0, y0), (x1, y1) = wall.start, wall.end
        lo_x, hi_x, lo_y, hi_y = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
        # the ends reach round the corner, so that a corner belongs to both its walls
        if wall.outward[0] == 0:
            lo_x, hi_x = lo_x - width, hi_x + width
        else:
            lo_y, hi_y = lo_y - width, hi_y + width
        ex, ey = sign * width * wall.outward[0], sign * width * wall.outward[1]
        strip = strip.union(
            box(
                min(lo_x, lo_x + ex),
                min(lo_y, lo_y + ey),
                max(hi_x, hi_x + ex),
                max(hi_y, hi_y + ey),
            )
        )
    return only_area(strip.difference(polygon) if outside else strip.intersection(polygon))


def disk_area_in(centre: tuple[float, float], radius: float, corners: NDArray[np.float64]) -> float:
    """Area shared by a disk and a polygon, exact.

    The signed area of the part of each triangle (centre, corner, next corner) that lies in
    the disk is summed around the polygon.

    Parameters
    ----------
    centre : tuple of float
        Centre of the disk. [m]
    radius : float
        Radius of the disk. [m]
    corners : array, shape (n, 2)
        Corners of the polygon, counter-clockwise. [m]

    Returns
    -------
    area : float
        Shared area. [m2]
    """
    if radius <= 0.0:
        return 0.0
    ring = np.asarray(corners, dtype=float) - np.asarray(centre, dtype=float)
    total = 0.0
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        total += _triangle_part(a, b, radius)
    return total


def _triangle_part(a: NDArray[np.float64], b: NDArray[np.float64], radius: float) -> float:
    """Signed area of the triangle (0, a, b) inside a disk about the origin. [m2]"""
    d = b - a
    length2 = float(d @ d)
    if length2 == 0.0:
        return 0.0
    half_b = float(a @ d)
    disc = half_b * half_b - length2 * (float(a @ a) - radius * radius)
    if disc <= 0.0:
        return _sector(a, b, radius)
    root = math.sqrt(disc)
    t0, t1 = (-half_b - root) / length2, (-half_b + root) / length2
    t0, t1 = min(max(t0, 0.0), 1.0), min(max(t1, 0.0), 1.0)
    # the ends themselves, not their rounded copies: near the centre a last bit turns the direction
    p = a if t0 == 0.0 else b if t0 == 1.0 else a + t0 * d
    q = a if t1 == 0.0 else b if t1 == 1.0 else a + t1 * d
    chord = 0.5 * float(p[0] * q[1] - p[1] * q[0])
    return _sector(a, p, radius) + chord + _sector(q, b, radius)


def _sector(a: NDArray[np.float64], b: NDArray[np.float64], radius: float) -> float:
    """Signed area of the circular sector between two directions. [m2]"""
    cross = float(a[0] * b[1] - a[1] * b[0])
    return 0.5 * radius * radius * math.atan2(cross, float(a @ b))
