"""Bodies of air held at one pressure: what a pit is to the flow.

A body knows three things: which points lie inside it, how far along a grid line its surface is
from a point outside, and what it cuts out of the slab underside (its rim). Plan coordinates are
x east, y north; z is depth, down.

Length: six shapes, each with the same eight questions.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from shapely import contains_xy
from shapely.geometry import Polygon

from soilflow.site.plan import disk_area_in

__all__ = [
    "FACED",
    "RIMMED",
    "SMOOTH",
    "Ball",
    "Body",
    "Brick",
    "Cylinder",
    "HeldBody",
    "Intervals",
    "OnLine",
    "Outside",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Intervals = tuple[tuple[float, float], ...]

# Edges of a body along an axis, as a grid must know them: none, flat faces on which it needs
# lines, or a sharp rim that runs round between the two ends.
SMOOTH, FACED, RIMMED = "smooth", "faced", "rimmed"


class Body(Protocol):
    """What the soil map asks of a held body.

    The arguments of its methods are described here, once for all shapes.

    Parameters
    ----------
    axis : int
        Axis of a grid line: 0, 1, 2 for x, y, z.
    sign : int
        Direction along it, 1 or -1.
    x, y, z : array, any one broadcast shape
        Points: east, north, depth. [m]
    x0, x1, y0, y1 : float
        Sides of a rectangle in plan. [m]
    at : float
        The other plan coordinate of a line along ``axis``. [m]
    smear : float
        Thickness of a shell around the body. [m]
    """

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside."""

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface, negative if none. [m]"""

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Way of the line through a point along an axis through one side of the shell. [m]"""

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body."""

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim. [m]"""

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Per axis: low end, high end, and what edge is there. [m]"""


def _in_plan(clip: Polygon | None, x: Array, y: Array) -> Mask:
    """Which points lie in a plan, all of them without one."""
    xb, yb = np.broadcast_arrays(x, y)
    if clip is None:
        return np.ones(xb.shape, dtype=bool)
    return np.asarray(contains_xy(clip, xb, yb), dtype=bool)


def _half_chord(radius: float, *offsets: Array) -> Array:
    """Half the chord a line at some offsets from the centre cuts out; NaN if it misses. [m]"""
    gap = radius * radius - sum((o * o for o in offsets), start=np.asarray(0.0))
    return np.sqrt(np.where(gap > 0.0, gap, np.nan))


def _ball_share(radius: float, smear: float) -> float:
    """What chords through a spherical shell must be multiplied by. [-]

    Grid lines along all three axes, each with its chord for a resistance, pass in parallel
    4 pi ((r+s)^3 + r^3 - (2 r s + s^2)^1.5) / (2 r s + s^2) times k / mu; the shell passes
    4 pi r (r + s) / s. The share makes the two equal: 0.977 at r = 0.26 m, s = 20 mm.
    """
    outer = radius + smear
    rest = outer**2 - radius**2
    if rest == 0.0:
        return 1.0
    chords = (outer**3 + radius**3 - rest**1.5) / rest
    return chords * smear / (radius * outer)


def _cylinder_share(radius: float, smear: float) -> float:
    """The same around an upright cylinder, whose shell passes 2 pi / ln((r + s) / r). [-]"""
    outer = radius + smear
    rest = outer**2 - radius**2
    if rest == 0.0:
        return 1.0
    along = radius * math.sqrt(rest) + outer**2 * math.asin(radius / outer)
    chords = 4.0 * (along + 0.5 * math.pi * radius**2) / rest
    return chords * math.log(outer / radius) / (2.0 * math.pi)


@dataclass(frozen=True, kw_only=True)
class Ball:
    """A ball, or what a slab and a footprint leave of it.

    Parameters
    ----------
    centre : tuple of float
        Centre: x, y, z; z = 0 makes a hemispherical pit. [m]
    radius : float
        Radius. [m]
    clip : shapely.Polygon or None
        Plan it is cut to. [m]
    """

    centre: tuple[float, float, float]
    radius: float
    clip: Polygon | None = None

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside."""
        cx, cy, cz = self.centre
        inside = (x - cx) ** 2 + (y - cy) ** 2 + (z - cz) ** 2 < self.radius**2
        return inside & _in_plan(self.clip, x, y)

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface, negative if none. [m]"""
        offset = [q - c for q, c in zip((x, y, z), self.centre, strict=True)]
        along = offset.pop(axis)
        return np.asarray(-_half_chord(self.radius, *offset) - sign * along)

    def exit(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from inside points along an axis to the surface. [m]"""
        offset = [q - c for q, c in zip((x, y, z), self.centre, strict=True)]
        along = offset.pop(axis)
        return np.asarray(_half_chord(self.radius, *offset) - sign * along)

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Way of the line through a point along an axis through one side of the shell. [m]"""
        offset = [q - c for q, c in zip((x, y, z), self.centre, strict=True)]
        del offset[axis]
        chord = _half_chord(self.radius + smear, *offset) - _half_chord(self.radius, *offset)
        return np.asarray(_ball_share(self.radius, smear) * chord)

    @property
    def _rim_radius(self) -> float:
        return math.sqrt(max(self.radius**2 - self.centre[2] ** 2, 0.0))

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body."""
        return self.contains(x, y, np.asarray(0.0))

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim. [m]"""
        return self.entry(axis, sign, x, y, np.asarray(0.0))

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""
        middle = np.asarray(0.5 * (x0 + x1)), np.asarray(0.5 * (y0 + y1))
        if not _in_plan(self.clip, *middle).all():
            return 0.0
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        return disk_area_in(self.centre[:2], self._rim_radius, corners)

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""
        off, radius = at - self.centre[1 - axis], self._rim_radius
        if abs(off) >= radius:
            return ()
        half = math.sqrt(radius * radius - off * off)
        return ((self.centre[axis] - half, self.centre[axis] + half),)

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Per axis: low end, high end, and what edge is there. [m]"""
        return tuple((c - self.radius, c + self.radius, SMOOTH) for c in self.centre)


@dataclass(frozen=True, kw_only=True)
class Brick:
    """A box with its faces on grid lines.

    Parameters
    ----------
    low, high : tuple of float
        Opposite corners: x, y, z. [m]
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside."""
        inside = np.asarray(True)
        for q, lo, hi in zip((x, y, z), self.low, self.high, strict=True):
            inside = inside & (q > lo) & (q < hi)
        return np.asarray(inside, dtype=bool)

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface, negative if none. [m]"""
        at = (x, y, z)[axis]
        face = self.low[axis] if sign > 0 else self.high[axis]
        return np.asarray(sign * (face - at), dtype=float)

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Way of the line through a point along an axis through one side of the shell. [m]"""
        return np.full((x + y + z).shape, smear)

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body."""
        return np.asarray(
            (x > self.low[0]) & (x < self.high[0]) & (y > self.low[1]) & (y < self.high[1])
        )

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim. [m]"""
        return self.entry(axis, sign, x, y, np.asarray(0.0))

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""
        dx = min(x1, self.high[0]) - max(x0, self.low[0])
        dy = min(y1, self.high[1]) - max(y0, self.low[1])
        return max(dx, 0.0) * max(dy, 0.0)

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""
        if not self.low[1 - axis] <= at <= self.high[1 - axis]:
            return ()
        return ((self.low[axis], self.high[axis]),)

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Per axis: low end, high end, and what edge is there. [m]"""
        return tuple((lo, hi, FACED) for lo, hi in zip(self.low, self.high, strict=True))


@dataclass(frozen=True, kw_only=True)
class Cylinder:
    """An upright cylinder, or what a footprint leaves of it.

    Parameters
    ----------
    centre : tuple of float
        Axis in plan: x, y. [m]
    radius : float
        Radius. [m]
    top, bottom : float
        Depths it reaches from and to. [m]
    clip : shapely.Polygon or None
        Plan it is cut to. [m]
    """

    centre: tuple[float, float]
    radius: float
    top: float
    bottom: float
    clip: Polygon | None = None

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside."""
        return np.asarray(self._in_circle(x, y) & (z > self.top) & (z < self.bottom))

    def _in_circle(self, x: Array, y: Array) -> Mask:
        inside = (x - self.centre[0]) ** 2 + (y - self.centre[1]) ** 2 < self.radius**2
        return np.asarray(inside & _in_plan(self.clip, x, y))

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface, negative if none. [m]"""
        if axis == 2:
            return np.asarray(sign * ((self.top if sign > 0 else self.bottom) - z), dtype=float)
        return self.rim_entry(axis, sign, x, y) + 0.0 * z

    def exit(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from inside points along an axis to the surface. [m]"""
        if axis == 2:
            return np.asarray(sign * ((self.bottom if sign > 0 else self.top) - z), dtype=float)
        off = (x, y)[1 - axis] - self.centre[1 - axis]
        along = (x, y)[axis] - self.centre[axis]
        return np.asarray(_half_chord(self.radius, off) - sign * along) + 0.0 * z

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Way of the line through a point along an axis through one side of the shell. [m]"""
        if axis == 2:
            return np.full((x + y + z).shape, smear)
        off = (x, y)[1 - axis] - self.centre[1 - axis] + 0.0 * z
        chord = _half_chord(self.radius + smear, off) - _half_chord(self.radius, off)
        return np.asarray(_cylinder_share(self.radius, smear) * chord)

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body."""
        return self._in_circle(x, y) & (self.top <= 0.0)

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim. [m]"""
        off = (x, y)[1 - axis] - self.centre[1 - axis]
        along = (x, y)[axis] - self.centre[axis]
        return np.asarray(-_half_chord(self.radius, off) - sign * along)

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""
        middle = np.asarray(0.5 * (x0 + x1)), np.asarray(0.5 * (y0 + y1))
        if self.top > 0.0 or not _in_plan(self.clip, *middle).all():
            return 0.0
        corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        return disk_area_in(self.centre, self.radius, corners)

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""
        off = at - self.centre[1 - axis]
        if abs(off) >= self.radius or self.top > 0.0:
            return ()
        half = math.sqrt(self.radius**2 - off * off)
        return ((self.centre[axis] - half, self.centre[axis] + half),)

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Per axis: low end, high end, and what edge is there. [m]"""
        plan = tuple((c - self.radius, c + self.radius, RIMMED) for c in self.centre)
        return (*plan, (self.top, self.bottom, FACED))


@dataclass(frozen=True, kw_only=True)
class Outside:
    """Everything outside a ball or a cylinder: a far boundary held at one pressure.

    Parameters
    ----------
    inner : Ball or Cylinder
        The body left free.
    """

    inner: Ball | Cylinder

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside."""
        if isinstance(self.inner, Cylinder):
            return np.asarray(~self.inner._in_circle(x, y) & (z == z))
        return ~self.inner.contains(x, y, z)

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface, negative if none. [m]"""
        return self.inner.exit(axis, sign, x, y, z)

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Thickness of the shell, whatever its shape: a far field has none. [m]"""
        return np.full((x + y + z).shape, smear)

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body."""
        return ~self.inner.rim_contains(x, y)

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim. [m]"""
        return self.inner.exit(axis, sign, x, y, np.asarray(0.0))

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""
        return (x1 - x0) * (y1 - y0) - self.inner.rim_area(x0, x1, y0, y1)

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""
        inner = self.inner.rim_intervals(axis, at)
        if not inner:
            return ((-math.inf, math.inf),)
        return ((-math.inf, inner[0][0]), (inner[0][1], math.inf))

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Per axis: low end, high end, and what edge is there. [m]"""
        return self.inner.refinement()


@dataclass(frozen=True, kw_only=True)
class OnLine:
    """No cavity of its own: the port takes the place of a line conductor.

    Parameters
    ----------
    line : str
        Name of the line conductor.
    """

    line: str

    def contains(self, x: Array, y: Array, z: Array) -> Mask:
        """Tell which points lie inside: none."""
        return np.zeros(np.broadcast(x, y, z).shape, dtype=bool)

    def entry(self, axis: int, sign: int, x: Array, y: Array, z: Array) -> Array:
        """Distance from outside points along an axis to the surface: there is none. [m]"""
        return np.full(np.broadcast(x, y, z).shape, np.nan)

    def shell(self, axis: int, x: Array, y: Array, z: Array, smear: float) -> Array:
        """Way of the line through a point along an axis through one side of the shell. [m]"""
        return np.full(np.broadcast(x, y, z).shape, smear)

    def rim_contains(self, x: Array, y: Array) -> Mask:
        """Tell which points of the slab underside lie over the body: none."""
        return np.zeros(np.broadcast(x, y).shape, dtype=bool)

    def rim_entry(self, axis: int, sign: int, x: Array, y: Array) -> Array:
        """Distance along the slab underside to the rim: there is none. [m]"""
        return np.full(np.broadcast(x, y).shape, np.nan)

    def rim_area(self, x0: float, x1: float, y0: float, y1: float) -> float:
        """Area of the rim inside a rectangle. [m2]"""
        return 0.0

    def rim_intervals(self, axis: int, at: float) -> Intervals:
        """Parts over the body of a line along an axis. [m]"""
        return ()

    def refinement(self) -> tuple[tuple[float, float, str], ...]:
        """Nothing to resolve: the line sees to its own cells. [m]"""
        return ()


@dataclass(frozen=True, kw_only=True)
class HeldBody:
    """A body and the port whose pressure it takes.

    Parameters
    ----------
    port : str
        Name of the port, the suction point's own name for a pit.
    body : Body
        Its shape.
    smear : float
        Thickness of the soil around it that was packed, or loosened, in the digging. [m]
    smear_ratio : float
        Permeability of that soil relative to the soil it was. [-]
    """

    port: str
    body: Body
    smear: float = 0.0
    smear_ratio: float = 1.0
