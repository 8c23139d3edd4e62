"""Places on a floor as a tape measure finds them: from the nearest wall along either axis."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from soilflow.site.effects import HOUSE
from soilflow.site.plan import WallLine
from soilflow.site.site import Site
from soilflow.units import feet_inches

__all__ = ["Offset", "measured", "offsets"]

_TOUCHES = 1e-3  # a wall this near is the one; ways that differ by less are equal [m]


@dataclass(frozen=True, kw_only=True)
class Offset:
    """How far a place is from a wall, along one axis.

    Parameters
    ----------
    wall : str
        The wall's name, or that of the room behind it.
    distance : float
        From its face on this side. [m]
    at : tuple of (float, float)
        Where the tape meets it. [m]
    """

    wall: str
    distance: float
    at: tuple[float, float]

    @property
    def words(self) -> str:
        """The distance to the inch."""
        return feet_inches(self.distance, denominator=1)


def offsets(site: Site, x: float, y: float) -> tuple[Offset, Offset]:
    """Distances to the nearer of the walls on either side, first along x, then along y.

    Parameters
    ----------
    site : Site
        What is there.
    x, y : float
        A place on the floor. [m]

    Returns
    -------
    offsets : tuple of (Offset, Offset)
        Measured on the floor of one room: no tape crosses a wall. Of two equal ways the west or
        south one.
    """
    part = _part_of_floor(site, Point(x, y))
    west, south, east, north = part.bounds
    across = _stretch(part, LineString([(west - 1.0, y), (east + 1.0, y)]), x, y)
    along = _stretch(part, LineString([(x, south - 1.0), (x, north + 1.0)]), x, y)
    facing = [tuple(w for w in site.slab.walls if w.outward[axis]) for axis in (0, 1)]
    return _nearer(site, facing[0], across, x, y), _nearer(site, facing[1], along, x, y)


def _part_of_floor(site: Site, place: Point) -> BaseGeometry:
    """The floor of the room a place is in."""
    floor: BaseGeometry = site.slab.polygon
    for room in site.rooms:
        if room.polygon.covers(place):
            return room.polygon.intersection(floor)
        floor = floor.difference(room.polygon)
    return floor


def _stretch(part: BaseGeometry, line: LineString, x: float, y: float) -> LineString:
    """The piece of a line on a floor that a place lies on."""
    cut = line.intersection(part)
    pieces = [p for p in getattr(cut, "geoms", [cut]) if isinstance(p, LineString)]
    return min(pieces, key=lambda piece: (piece.distance(Point(x, y)), -piece.length))


def _nearer(
    site: Site, walls: tuple[WallLine, ...], stretch: LineString, x: float, y: float
) -> Offset:
    ends = sorted(stretch.coords)
    lengths = [abs(a - x) + abs(b - y) for a, b in ends]
    nearer = 0 if lengths[0] <= lengths[1] + _TOUCHES else 1
    at = ends[nearer]
    away = [(LineString([w.start, w.end]).distance(Point(at)), w.name) for w in walls]
    gap, wall = min(away)
    if gap > _TOUCHES:  # not a wall of the house: one between two rooms
        beyond = Point(at[0] + (at[0] - x) * 1e-3, at[1] + (at[1] - y) * 1e-3)
        wall = next((r.name for r in site.rooms if r.polygon.covers(beyond)), HOUSE)
    return Offset(wall=wall, distance=lengths[nearer], at=(float(at[0]), float(at[1])))


def measured(site: Site, x: float, y: float) -> str:
    """A place by the two walls nearest to it.

    Parameters
    ----------
    site : Site
        What is there.
    x, y : float
        A place on the floor. [m]

    Returns
    -------
    words : str
        Such as ``1 ft off west, 12 ft off south``, by the names of walls.
    """
    return ", ".join(f"{o.words} off {o.wall}" for o in offsets(site, x, y))
