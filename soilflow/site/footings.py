"""Footings inside the house: bearing lines that part the soil under one floor."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from shapely import union_all
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.effects import Blocks, BlocksFace, Effect, Prism
from soilflow.units import Coordinate, Depth, Length, check_fields

__all__ = ["FootingOpening", "InteriorFooting"]

Stretch = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class FootingOpening:
    """A part of a bearing line without a footing.

    Parameters
    ----------
    start : float
        Distance along the line, from its first corner to where the opening begins. [m]
    length : float
        Length of the opening along the line. [m]
    """

    start: Depth
    length: Length

    def __post_init__(self) -> None:
        check_fields(self)


@dataclass(frozen=True, kw_only=True)
class InteriorFooting:
    """A footing under a bearing wall inside the house.

    It reaches up to the slab: soil and gap end at it, and under the slab above a footing of some
    thickness there is no soil.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    points : tuple of (float, float)
        Corners of its middle line in plan, stretches east-west or north-south. [m]
    depth : float
        Depth of its bottom below the slab underside. [m]
    thickness : float
        Thickness across the line; zero makes it a plane. [m]
    openings : tuple of FootingOpening
        Parts of the line without a footing.
    source : str
        Where the dimensions come from.
    """

    name: str
    points: tuple[tuple[Coordinate, Coordinate], ...]
    depth: Length
    thickness: Depth = 0.0
    openings: tuple[FootingOpening, ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if len(self.points) < 2:
            raise InputError("a bearing line needs at least two points", field="points")
        for (x0, y0), (x1, y1) in itertools.pairwise(self.points):
            if (x0 == x1) == (y0 == y1):
                raise InputError(
                    f"the stretch from ({x0:g}, {y0:g}) to ({x1:g}, {y1:g}) m must run east-west "
                    "or north-south",
                    field="points",
                )
        for i, opening in enumerate(self.openings):
            if opening.start + opening.length > self.length + 1e-6:
                raise InputError(
                    f"ends {opening.start + opening.length:g} m along a line of {self.length:g} m",
                    field=f"openings[{i}]",
                )

    @property
    def length(self) -> float:
        """Length of the line, openings included. [m]"""
        return sum(math.dist(a, b) for a, b in itertools.pairwise(self.points))

    def stretches(self) -> tuple[Stretch, ...]:
        """Straight stretches that have a footing.

        Returns
        -------
        stretches : tuple of (start, end)
            In order along the line. [m]
        """
        found = []
        passed = 0.0
        for a, b in itertools.pairwise(self.points):
            whole = math.dist(a, b)
            gone = sorted((o.start - passed, o.start - passed + o.length) for o in self.openings)
            at = 0.0
            for low, high in [*gone, (whole, whole)]:
                end = min(low, whole)
                if end > at:
                    found.append((_between(a, b, at / whole), _between(a, b, end / whole)))
                at = max(at, high)
            passed += whole
        return tuple(found)

    def plan(self) -> BaseGeometry:
        """Plan of the footing.

        Returns
        -------
        plan : shapely geometry
            Its area, or its lines when it has no thickness. [m]
        """
        half = 0.5 * self.thickness
        if half == 0.0:
            return union_all([LineString(s) for s in self.stretches()])
        corners = set(self.points[1:-1])
        parts = []
        for stretch in self.stretches():
            (x0, y0), (x1, y1) = sorted(stretch)
            # a corner of the line is full: both its stretches reach through it
            low, high = (half if end in corners else 0.0 for end in ((x0, y0), (x1, y1)))
            if y0 == y1:
                parts.append(box(x0 - low, y0 - half, x1 + high, y0 + half))
            else:
                parts.append(box(x0 - half, y0 - low, x0 + half, y1 + high))
        return union_all(parts)

    def effects(self) -> tuple[Effect, ...]:
        """The footing blocks, as a solid or as faces (mechanism 2).

        Returns
        -------
        effects : tuple of Effect
            One solid, or a face for each straight stretch.
        """
        if self.thickness > 0.0:
            return (Blocks(where=Prism(plan=self.plan(), top=0.0, bottom=self.depth)),)
        return tuple(
            BlocksFace(start=a, end=b, top=0.0, bottom=self.depth) for a, b in self.stretches()
        )


def _between(a: tuple[float, float], b: tuple[float, float], part: float) -> tuple[float, float]:
    """A point on a stretch; its ends exactly. [m]"""
    if part >= 1.0:
        return b
    x, y = (p + part * (q - p) for p, q in zip(a, b, strict=True))
    return x, y
