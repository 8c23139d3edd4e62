"""Foundation walls that are not tight: rubble, brick, hollow block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.site.effects import OUTDOORS, Effect, LeaksOverFace
from soilflow.site.plan import WallLine
from soilflow.site.rooms import Room, pieces_along
from soilflow.site.walls import select_walls
from soilflow.units import Depth, check_fields

__all__ = ["WallBody"]

# How far beyond the outer wall face the ground is looked up that a wall leaks to. [m]
_BEYOND = 0.05


@dataclass(frozen=True, kw_only=True)
class WallBody:
    """What a foundation wall lets through below the slab; a wall without one is tight.

    Parameters
    ----------
    to_room : float
        Leakance of the inner face towards the room, permeability over length of the way. [m]
    to_yard : float
        The same towards the ground surface outside. [m]
    walls : tuple of str
        Walls it is about, by name; empty for all.
    source : str
        Where the numbers come from: a test, a word, a guess.
    """

    to_room: Depth = 0.0
    to_yard: Depth = 0.0
    walls: tuple[str, ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(
        self,
        walls: Sequence[WallLine],
        bottom: float,
        rooms: Sequence[Room],
        ground: Sequence[tuple[str, BaseGeometry]],
        thickness: float,
    ) -> tuple[Effect, ...]:
        """The inner faces leak to rooms and to the ground outside (mechanism 4).

        Parameters
        ----------
        walls : sequence of WallLine
            The walls it still belongs to.
        bottom : float
            Depth of the footing's bottom. [m]
        rooms : sequence of Room
            Rooms beside the house.
        ground : sequence of (str, shapely geometry)
            Parts of the ground outside by reference. [m]
        thickness : float
            Thickness of the wall. [m]

        Returns
        -------
        effects : tuple of Effect
            One face per wall, room and direction; none for a tight wall or one without depth.
        """
        if bottom <= 0.0:
            return ()
        made = []
        for wall in select_walls(walls, self.walls):
            for room, start, end in pieces_along(wall.start, wall.end, rooms, Polygon()):
                yard = _yard_beside(wall, start, end, ground, thickness)
                made += [
                    LeaksOverFace(
                        start=start,
                        end=end,
                        inward=(-wall.outward[0], -wall.outward[1]),
                        top=0.0,
                        bottom=bottom,
                        leakance=leakance * wall.stretch,
                        reference=reference,
                    )
                    for leakance, reference in ((self.to_room, room), (self.to_yard, yard))
                    if leakance > 0.0
                ]
        return tuple(made)


def _yard_beside(
    wall: WallLine,
    start: tuple[float, float],
    end: tuple[float, float],
    ground: Sequence[tuple[str, BaseGeometry]],
    thickness: float,
) -> str:
    """Reference of the ground outside the middle of a stretch of wall."""
    out = thickness + _BEYOND
    place = Point(
        *(0.5 * (a + b) + out * o for a, b, o in zip(start, end, wall.outward, strict=True))
    )
    return next((name for name, plan in ground if plan.covers(place)), OUTDOORS)
