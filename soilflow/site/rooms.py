"""Rooms whose air is not the house's, and which room each part of the floor lies under."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from shapely import union_all
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.areas import only_area
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.site.plan import footprint_polygon
from soilflow.units import Coordinate, Permeability, check_fields

__all__ = ["FLOORS", "ROUNDING", "Room", "pieces_along", "plans_by_room", "room_above"]

FLOORS = ("slab", "bare")
# Sums of wall lengths differ in their last digits: outlines reach that far over their edge. [m]
ROUNDING = 1e-7

Place = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Room:
    """A part of the footprint whose air is not the house's: a garage, a crawlspace.

    Parameters
    ----------
    name : str
        What a condition calls it when it states its pressure.
    corners : tuple of (float, float)
        Its outline inside the walls. [m]
    floor : str
        ``slab``, or ``bare`` where the soil is open to it.
    permeability : float or None
        Air permeability of its slab body; None is the house's. [m2]
    source : str
        Where it comes from.
    """

    name: str
    corners: tuple[tuple[Coordinate, Coordinate], ...]
    floor: str = "slab"
    permeability: Permeability | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.name.strip() or self.name in (HOUSE, OUTDOORS):
            raise InputError(
                f'"{self.name}" cannot name a room beside the house; any other word will do',
                field="name",
            )
        if self.floor not in FLOORS:
            raise InputError(
                f'"{self.floor}" is no floor; write {" or ".join(FLOORS)}', field="floor"
            )
        if self.is_bare and self.permeability is not None:
            raise InputError("a bare floor has no slab body; drop one", field="permeability")
        _ = self.polygon

    @cached_property
    def polygon(self) -> Polygon:
        """Plan of the room. [m]"""
        return footprint_polygon(self.corners)

    @cached_property
    def plan(self) -> Polygon:
        """Plan of the room with the walls it touches. [m]"""
        return self.polygon.buffer(ROUNDING, join_style="mitre")

    @property
    def is_bare(self) -> bool:
        """Whether its soil lies open."""
        return self.floor == "bare"


def room_above(at: Place, rooms: Sequence[Room]) -> str:
    """The reference over a place on the floor.

    Parameters
    ----------
    at : tuple of float
        The place. [m]
    rooms : sequence of Room
        Rooms beside the house.

    Returns
    -------
    reference : str
        Name of the room that covers it, or the house.
    """
    return next((room.name for room in rooms if room.plan.covers(Point(at))), HOUSE)


def plans_by_room(
    floor: BaseGeometry, rooms: Sequence[Room]
) -> tuple[tuple[str, BaseGeometry], ...]:
    """A part of the floor, divided by the air above it.

    Parameters
    ----------
    floor : shapely geometry
        The part. [m]
    rooms : sequence of Room
        Rooms beside the house.

    Returns
    -------
    parts : tuple of (str, shapely geometry)
        Reference and area; the house first, empty areas left out. [m]
    """
    if not rooms:
        return ((HOUSE, floor),)
    own = floor.difference(union_all([room.plan for room in rooms]))
    parts = [
        (HOUSE, own),
        *((room.name, only_area(floor.intersection(room.plan))) for room in rooms),
    ]
    return tuple((name, plan) for name, plan in parts if plan.area > ROUNDING)


def pieces_along(
    start: Place, end: Place, rooms: Sequence[Room], without: BaseGeometry
) -> tuple[tuple[str, Place, Place], ...]:
    """A straight stretch along the floor, cut where the air above it changes.

    Parameters
    ----------
    start, end : tuple of float
        Its ends, along one axis. [m]
    rooms : sequence of Room
        Rooms beside the house; on a border the room counts.
    without : shapely geometry
        Area with no slab, in which the stretch has no parts. [m]

    Returns
    -------
    pieces : tuple of (str, (float, float), (float, float))
        Reference and ends, in the direction of the stretch. [m]
    """
    if not rooms and without.is_empty:
        return ((HOUSE, start, end),)
    left: BaseGeometry = LineString([start, end]).difference(without)
    found = []
    for room in rooms:
        found += [(room.name, *ends) for ends in _ends(left.intersection(room.plan))]
        left = left.difference(room.plan)
    found += [(HOUSE, *ends) for ends in _ends(left)]
    ahead = [(name, a, b) if (b > a) == (end > start) else (name, b, a) for name, a, b in found]
    return tuple(sorted(ahead, key=lambda piece: piece[1], reverse=end < start))


def _ends(lines: BaseGeometry) -> list[tuple[Place, Place]]:
    """Ends of the straight lines in a geometry; mere points are passed over. [m]"""
    parts = getattr(lines, "geoms", [lines])
    return [
        ((float(c[0][0]), float(c[0][1])), (float(c[-1][0]), float(c[-1][1])))
        for c in (list(p.coords) for p in parts if isinstance(p, LineString) and p.length > 1e-6)
    ]
