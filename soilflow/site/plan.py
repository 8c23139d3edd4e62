"""Plane geometry of a footprint: walls with names, strips along them, disks cut by them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError

__all__ = ["Corners", "WallLine", "disk_area_in", "footprint_polygon", "wall_lines", "wall_strip"]

Corners = tuple[tuple[float, float], ...]

_FACING = {(0, -1): "south", (1, 0): "east", (0, 1): "north", (-1, 0): "west"}


@dataclass(frozen=True, kw_only=True)
class WallLine:
    """Inner face of one straight stretch of foundation wall.

    Parameters
    ----------
    name : str
        Side of the house the wall faces; numbered from west or south when there are several.
    start, end : tuple of float
        Ends of the inner face, counter-clockwise around the footprint. [m]
    outward : tuple of int
        Unit vector pointing out of the house. [-]
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    outward: tuple[int, int]

    @property
    def length(self) -> float:
        """Length of the inner face. [m]"""
        return math.dist(self.start, self.end)


def footprint_polygon(corners: Corners, *, field: str = "corners") -> Polygon:
    """Footprint as a polygon with its corners counter-clockwise.

    Parameters
    ----------
    corners : tuple of (float, float)
        Corners in order, either way round, first not repeated. [m]
    field : str
        Name used in the error.

    Returns
    -------
    polygon : shapely.Polygon
        The same shape, counter-clockwise, collinear corners removed.

    Raises
    ------
    InputError
        Fewer than four corners, edges that cross, or an edge that is not axis-aligned.
    """
    if len(corners) < 4:
        raise InputError(
            f"{len(corners)} corners; a footprint with square corners needs at least 4",
            field=field,
        )
    polygon = Polygon(corners)
    if not polygon.is_valid or polygon.area <= 0:
        raise InputError(
            "the edges cross or enclose no area; list the corners in order around the slab",
            field=field,
        )
    for (x0, y0), (x1, y1) in zip(corners, (*corners[1:], corners[0]), strict=True):
        if x0 != x1 and y0 != y1:
            raise InputError(
                f"the edge from ({x0:g}, {y0:g}) to ({x1:g}, {y1:g}) m is slanted; "
                "edges must run east-west or north-south",
                field=field,
            )
    polygon = cast(Polygon, polygon.simplify(0.0))
    ring = list(polygon.exterior.coords)[:-1]
    if not polygon.exterior.is_ccw:
        ring.reverse()
    # simplify keeps the first corner even when it lies in the middle of an edge
    n = len(ring)
    keep = [
        ring[i]
        for i in range(n)
        if not (ring[i - 1][0] == ring[i][0] == ring[(i + 1) % n][0])
        and not (ring[i - 1][1] == ring[i][1] == ring[(i + 1) % n][1])
    ]
    return Polygon(keep)


def wall_lines(polygon: Polygon) -> tuple[WallLine, ...]:
    """Walls of a rectilinear footprint, named by the side they face.

    Parameters
    ----------
    polygon : shapely.Polygon
        Counter-clockwise footprint from `footprint_polygon`. [m]

    Returns
    -------
    walls : tuple of WallLine
        In order around the footprint. A side with several walls has them numbered
        from the west or the south: ``north 1``, ``north 2``.
    """
    ring = list(polygon.exterior.coords)
    edges = []
    for a, b in itertools.pairwise(ring):
        dx, dy = np.sign(b[0] - a[0]), np.sign(b[1] - a[1])
        edges.append((a, b, (int(dy), int(-dx))))
    walls = []
    for a, b, outward in edges:
        side = _FACING[outward]
        along = 0 if outward[0] == 0 else 1
        peers = sorted(
            (min(s[along], e[along]), s[1 - along]) for s, e, out in edges if out == outward
        )
        number = peers.index((min(a[along], b[along]), a[1 - along])) + 1
        name = side if len(peers) == 1 else f"{side} {number}"
        walls.append(
            WallLine(
                name=name,
                start=(float(a[0]), float(a[1])),
                end=(float(b[0]), float(b[1])),
                outward=outward,
            )
        )
    return tuple(walls)


def wall_strip(
    polygon: Polygon, walls: Sequence[WallLine], width: float, *, outside: bool = False
) -> BaseGeometry:
    """Strip of floor (or yard) within a distance of some walls.

    Parameters
    ----------
    polygon : shapely.Polygon
        Footprint, or the outer face of the walls when ``outside``. [m]
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
    for wall in walls:
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
    return strip.difference(polygon) if outside else strip.intersection(polygon)


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
