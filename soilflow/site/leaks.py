"""Where the floor lets air through along a line: the joint at the wall, and cracks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.effects import HOUSE, Effect, LeaksAlongLine
from soilflow.site.plan import WallLine
from soilflow.site.rooms import Room, pieces_along
from soilflow.site.stairs import stair
from soilflow.site.wall_bodies import WallBody
from soilflow.site.walls import select_walls
from soilflow.units import Coordinate, Depth, check_fields

__all__ = ["Crack", "FloorWallJoint", "walls_of_each"]

# Rise of a step where a crack runs at a slant: about the metre over which a joint counts as one
# piece. Each step costs grid lines. [m]
_STEP = 1.0
_NO_AREA = Polygon()


@dataclass(frozen=True, kw_only=True)
class FloorWallJoint:
    """The joint between floor slab and foundation wall.

    Parameters
    ----------
    aperture : float
        Width of the open joint; zero when it is tight. [m]
    walls : tuple of str
        Walls it runs along, by name; empty for all.
    sealed : bool
        Whether it has been sealed: a sealed joint passes nothing.
    source : str
        Where the width comes from: a card, a feeler gauge, a guess.
    """

    aperture: Depth
    walls: tuple[str, ...] = ()
    sealed: bool = False
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(
        self,
        walls: Sequence[WallLine],
        slab_thickness: float,
        rooms: Sequence[Room] = (),
        bare: BaseGeometry = _NO_AREA,
    ) -> tuple[Effect, ...]:
        """The joint leaks to the rooms along each wall (mechanism 4).

        Parameters
        ----------
        walls : sequence of WallLine
            The walls this joint still belongs to.
        slab_thickness : float
            Length of the joint along the flow. [m]
        rooms : sequence of Room
            Rooms beside the house.
        bare : shapely geometry
            Floor without a slab, which has no joint. [m]

        Returns
        -------
        effects : tuple of Effect
            One slot per wall and room; none when it is tight or sealed.
        """
        if self.sealed or self.aperture == 0.0:
            return ()
        return tuple(
            LeaksAlongLine(
                name=f"{wall.name} joint" + ("" if room == HOUSE else f", {room}"),
                start=start,
                end=end,
                inward=(-wall.outward[0], -wall.outward[1]),
                aperture=self.aperture,
                path=slab_thickness,
                reference=room,
                stretch=wall.stretch,
            )
            for wall in select_walls(walls, self.walls)
            for room, start, end in pieces_along(wall.start, wall.end, rooms, bare)
        )


@dataclass(frozen=True, kw_only=True)
class Crack:
    """A crack through the slab, or a joint sawn or cast into it.

    Where it runs at a slant the grid follows in steps, and its true length counts.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    points : tuple of (float, float)
        Its course in plan. [m]
    aperture : float
        Width of the open crack; zero when it is tight. [m]
    sealed : bool
        Whether it has been sealed: a sealed crack passes nothing.
    source : str
        Where the width comes from: a card, a feeler gauge, a guess.
    """

    name: str
    points: tuple[tuple[Coordinate, Coordinate], ...]
    aperture: Depth
    sealed: bool = False
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if len(self.points) < 2 or any(a == b for a, b in itertools.pairwise(self.points)):
            raise InputError(
                "a crack needs two points or more, no two in a row equal", field="points"
            )

    @property
    def line(self) -> LineString:
        """Its course in plan. [m]"""
        return LineString(self.points)

    @property
    def length(self) -> float:
        """True length. [m]"""
        return float(self.line.length)

    def effects(
        self, slab_thickness: float, rooms: Sequence[Room] = (), bare: BaseGeometry = _NO_AREA
    ) -> tuple[Effect, ...]:
        """The crack leaks to the rooms above it (mechanism 4).

        Parameters
        ----------
        slab_thickness : float
            Length of the crack along the flow. [m]
        rooms : sequence of Room
            Rooms beside the house.
        bare : shapely geometry
            Floor without a slab, which has no crack. [m]

        Returns
        -------
        effects : tuple of Effect
            One slot per straight stretch and room; none when it is tight or sealed.
        """
        if self.sealed or self.aperture == 0.0:
            return ()
        found = []
        for a, b in itertools.pairwise(self.points):
            steps = list(itertools.pairwise(stair(a, b, step=_STEP)))
            stretch = math.dist(a, b) / sum(math.dist(p, q) for p, q in steps)
            for p, q in steps:
                found += [
                    LeaksAlongLine(
                        name=self.name,
                        start=start,
                        end=end,
                        inward=(1, 0) if start[0] == end[0] else (0, 1),
                        aperture=self.aperture,
                        path=slab_thickness,
                        reference=room,
                        stretch=stretch,
                    )
                    for room, start, end in pieces_along(p, q, rooms, bare)
                ]
        return tuple(found)


Leak = TypeVar("Leak", FloorWallJoint, WallBody)


def walls_of_each(
    walls: Sequence[WallLine], nouns: Sequence[Leak]
) -> tuple[tuple[Leak, tuple[WallLine, ...]], ...]:
    """The walls each joint or wall body governs: a wall belongs to the last that claims it.

    Parameters
    ----------
    walls : sequence of WallLine
        The walls there are.
    nouns : sequence of FloorWallJoint or of WallBody
        In the order they are listed.

    Returns
    -------
    shares : tuple of (noun, tuple of WallLine)
        The last first, each without its choice of walls; those left with none are gone.
    """
    left, found = tuple(walls), []
    for noun in reversed(nouns):
        mine = {wall.name for wall in select_walls(walls, noun.walls)}
        taken = tuple(wall for wall in left if wall.name in mine)
        left = tuple(wall for wall in left if wall.name not in mine)
        if taken:
            found.append((replace(noun, walls=()), taken))
    return tuple(found)
