"""Drain tiles, trenches and channels: lines along which air moves all but freely."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from shapely.geometry import LineString

from soilflow.errors import InputError
from soilflow.site.effects import CarriesAlongLine, Effect
from soilflow.units import Coordinate, Depth, Length, check_fields

__all__ = ["Channel", "DrainTile", "LineConductor", "Trench", "rectangle_radius"]

Course = tuple[tuple[Coordinate, Coordinate], ...]


def rectangle_radius(width: float, height: float) -> float:
    """Radius of the round bore that draws as much as a rectangular one.

    With c the radius, half the sides are 2 c (E(m) - (1 - m) K(m)) and
    2 c (E(1 - m) - m K(1 - m)), K and E the complete elliptic integrals of the parameter m: the
    map of the outside of a circle to that of a rectangle.

    Parameters
    ----------
    width, height : float
        Sides. [m]

    Returns
    -------
    radius : float
        0.5902 of the side of a square; a quarter of the width of a strip. [m]

    References
    ----------
    Schwarz-Christoffel map of a rectangle's outside, any text on conformal maps, from memory.

    Examples
    --------
    >>> round(rectangle_radius(1.0, 1.0), 4)
    0.5902
    """
    # together they take 0.25 s to import, and few houses have a trench
    from scipy.optimize import brentq
    from scipy.special import ellipe, ellipk

    long, short = max(width, height), min(width, height)

    def half_side(m: float) -> float:
        return float(2.0 * (ellipe(m) - (1.0 - m) * ellipk(m)))

    if short < 1e-6 * long:
        return 0.25 * long
    m = brentq(lambda m: half_side(1.0 - m) / half_side(m) - short / long, 0.5, 1.0 - 1e-12)
    return 0.5 * long / half_side(float(m))


def _check_course(points: Course) -> None:
    if len(points) < 2:
        raise InputError("a course needs two points or more", field="points")
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if (x0 == x1) == (y0 == y1):
            raise InputError(
                f"the stretch from ({x0:g}, {y0:g}) to ({x1:g}, {y1:g}) m must run east-west or "
                "north-south; write a slanted one as steps",
                field="points",
            )


@dataclass(frozen=True, kw_only=True)
class DrainTile:
    """A perforated pipe in the soil.

    Parameters
    ----------
    name : str
        What it is called on the plan; a suction point may draw on it by that name.
    points : tuple of (float, float)
        Its course in plan, stretches east-west or north-south. [m]
    depth : float
        Depth of its axis below the slab underside. [m]
    diameter : float
        Outside diameter, that of the gravel around it where it lies in gravel. [m]
    open_to : str
        What its end is open to: ``house``, ``outdoors``, a room or a yard; empty for nothing.
    source : str
        Where the numbers come from.
    """

    name: str
    points: tuple[tuple[Coordinate, Coordinate], ...]
    depth: Length
    diameter: Length
    open_to: str = ""
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _check_course(self.points)
        if self.depth < 0.5 * self.diameter:
            raise InputError(
                f"a pipe {self.diameter:g} m across with its axis {self.depth:g} m down reaches "
                "into the slab; give the depth of its axis, or write a channel",
                field="depth",
            )

    @property
    def line(self) -> LineString:
        """Its course in plan. [m]"""
        return LineString(self.points)

    @property
    def width(self) -> float:
        """Width in plan. [m]"""
        return self.diameter

    @property
    def axis_depth(self) -> float:
        """Depth of its axis. [m]"""
        return self.depth

    def effects(self) -> tuple[Effect, ...]:
        """The pipe carries along a line (mechanism 5).

        Returns
        -------
        effects : tuple of Effect
            One line.
        """
        return (_line(self, 0.5 * self.diameter),)


@dataclass(frozen=True, kw_only=True)
class Trench:
    """A trench full of gravel, so open that its pressure is one.

    Parameters
    ----------
    name : str
        What it is called on the plan; a suction point may draw on it by that name.
    points : tuple of (float, float)
        Its course in plan, stretches east-west or north-south. [m]
    width, height : float
        Sides of its section. [m]
    top : float
        Depth of its top below the slab underside; 0 reaches the slab. [m]
    open_to : str
        What its end is open to: ``house``, ``outdoors``, a room or a yard; empty for nothing.
    source : str
        Where the numbers come from.
    """

    name: str
    points: tuple[tuple[Coordinate, Coordinate], ...]
    width: Length
    height: Length
    top: Depth = 0.0
    open_to: str = ""
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _check_course(self.points)

    @property
    def line(self) -> LineString:
        """Its course in plan. [m]"""
        return LineString(self.points)

    @property
    def axis_depth(self) -> float:
        """Depth of its axis; 0 where it reaches the slab, whose mirror image makes it whole. [m]"""
        return self.top + 0.5 * self.height if self.top > 0.0 else 0.0

    def effects(self) -> tuple[Effect, ...]:
        """The trench carries along a line (mechanism 5).

        Returns
        -------
        effects : tuple of Effect
            One line of the round bore that draws as much.
        """
        height = self.height if self.top > 0.0 else 2.0 * self.height
        return (_line(self, rectangle_radius(self.width, height)),)


@dataclass(frozen=True, kw_only=True)
class Channel:
    """An open channel at the slab underside, such as one along the walls that drains to a sump.

    Parameters
    ----------
    name : str
        What it is called on the plan; a suction point may draw on it by that name.
    points : tuple of (float, float)
        Its course in plan, stretches east-west or north-south. [m]
    width, height : float
        Sides of its section. [m]
    open_to : str
        What its end is open to: ``house``, ``outdoors``, a room or a yard; empty for nothing.
    source : str
        Where the numbers come from.
    """

    name: str
    points: tuple[tuple[Coordinate, Coordinate], ...]
    width: Length
    height: Length
    open_to: str = ""
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _check_course(self.points)

    @property
    def line(self) -> LineString:
        """Its course in plan. [m]"""
        return LineString(self.points)

    @property
    def axis_depth(self) -> float:
        """Depth of its axis, which lies in the slab's underside. [m]"""
        return 0.0

    def effects(self) -> tuple[Effect, ...]:
        """The channel carries along a line (mechanism 5).

        Returns
        -------
        effects : tuple of Effect
            One line, half buried, of the round bore that draws as much.
        """
        return (_line(self, rectangle_radius(self.width, 2.0 * self.height)),)


LineConductor = DrainTile | Trench | Channel


def _line(noun: LineConductor, radius: float) -> CarriesAlongLine:
    return CarriesAlongLine(
        name=noun.name,
        points=noun.points,
        depth=noun.axis_depth,
        radius=radius,
        reference=noun.open_to,
    )
