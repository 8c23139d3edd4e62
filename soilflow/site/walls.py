"""Foundation walls, and the soil that was disturbed along them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.effects import (
    Blocks,
    BlocksFace,
    Effect,
    MultipliesPermeability,
    Prism,
)
from soilflow.site.plan import WallLine, wall_lines, wall_strip
from soilflow.units import Depth, Length, Ratio, check_fields

__all__ = ["ExteriorBackfill", "FoundationWalls", "PerimeterBand", "select_walls"]


def select_walls(walls: Sequence[WallLine], names: Sequence[str]) -> tuple[WallLine, ...]:
    """Pick walls by name.

    Parameters
    ----------
    walls : sequence of WallLine
        The walls there are.
    names : sequence of str
        Names wanted; a side such as ``north`` picks all its walls; empty picks all.

    Returns
    -------
    picked : tuple of WallLine
        In the order of ``walls``.

    Raises
    ------
    InputError
        A name that no wall has.
    """
    if not names:
        return tuple(walls)
    for name in names:
        if not any(_is_on(wall, name) for wall in walls):
            have = ", ".join(wall.name for wall in walls)
            raise InputError(f'"{name}" is not a wall of this house; it has {have}', field="walls")
    return tuple(wall for wall in walls if any(_is_on(wall, name) for name in names))


def _is_on(wall: WallLine, name: str) -> bool:
    return wall.name == name or wall.name.split()[0] == name


@dataclass(frozen=True, kw_only=True)
class FoundationWalls:
    """Tight walls around the slab, standing on footings.

    Parameters
    ----------
    thickness : float
        Thickness of the wall; zero makes it a plane. [m]
    footing_depth : float
        Depth of the footing's bottom below the slab underside; zero for none. [m]
    grade : float
        Height of the ground outside above the slab underside. [m]
    source : str
        Where the dimensions come from.
    """

    thickness: Depth
    footing_depth: Depth
    grade: Depth = 0.0
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def outer_face(self, footprint: Polygon) -> Polygon:
        """Outline of the outer wall faces.

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces. [m]

        Returns
        -------
        outline : shapely.Polygon
            Outer wall faces. [m]
        """
        if self.thickness == 0.0:
            return footprint
        return footprint.buffer(self.thickness, join_style="mitre")

    def effects(self, footprint: Polygon) -> tuple[Effect, ...]:
        """The walls and the rooms they enclose block (mechanism 2).

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces, counter-clockwise. [m]

        Returns
        -------
        effects : tuple of Effect
            One for the rooms when the ground outside stands higher, one or more for the walls.
        """
        outer = self.outer_face(footprint)
        made: list[Effect] = []
        if self.grade > 0.0:
            house = Prism(plan=footprint, top=-self.grade, bottom=0.0)
            made.append(Blocks(where=house))
        if self.grade + self.footing_depth > 0.0:
            if self.thickness > 0.0:
                ring = outer.difference(footprint)
                solid = Prism(plan=ring, top=-self.grade, bottom=self.footing_depth)
                made.append(Blocks(where=solid))
            else:
                made.extend(
                    BlocksFace(start=w.start, end=w.end, top=-self.grade, bottom=self.footing_depth)
                    for w in wall_lines(footprint)
                )
        return tuple(made)


@dataclass(frozen=True, kw_only=True)
class PerimeterBand:
    """Looser soil along the inside of a foundation wall.

    Parameters
    ----------
    width : float
        Distance from the inner wall face to the edge of the band. [m]
    looser_by : float
        Air permeability relative to the soil the band lies in. [-]
    depth : float or None
        Depth of the band below the slab underside; None stops it at the footing. [m]
    walls : tuple of str
        Walls it runs along, by name; empty for all.
    source : str
        Where the ratio comes from: a test, a table, a guess.
    """

    width: Length
    looser_by: Ratio
    depth: Length | None = None
    walls: tuple[str, ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def strip(self, footprint: Polygon, walls: Sequence[WallLine]) -> BaseGeometry:
        """Plan of the band.

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces. [m]
        walls : sequence of WallLine
            Walls of that footprint.

        Returns
        -------
        strip : shapely geometry
            Floor within ``width`` of the chosen walls. [m]
        """
        return wall_strip(footprint, select_walls(walls, self.walls), self.width)

    def effects(self, strip: BaseGeometry, footing_depth: float) -> tuple[Effect, ...]:
        """The band multiplies the permeability of the soil it lies in (mechanism 1).

        Parameters
        ----------
        strip : shapely geometry
            The part of its plan that no later band claims. [m]
        footing_depth : float
            Depth it stops at when it states none. [m]

        Returns
        -------
        effects : tuple of Effect
            One multiplier; none when the band has no depth or no area left.
        """
        depth = footing_depth if self.depth is None else self.depth
        if depth <= 0.0 or strip.is_empty:
            return ()
        where = Prism(plan=strip, top=0.0, bottom=depth)
        return (MultipliesPermeability(where=where, factor=self.looser_by),)


@dataclass(frozen=True, kw_only=True)
class ExteriorBackfill:
    """Looser soil along the outside of the walls, from grade down.

    Parameters
    ----------
    width : float
        Distance from the outer wall face to its edge. [m]
    looser_by : float
        Air permeability relative to the soil it lies in. [-]
    depth : float or None
        Depth below the slab underside it reaches; None stops it at the footing. [m]
    source : str
        Where the ratio comes from.
    """

    width: Length
    looser_by: Ratio
    depth: Length | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(
        self, footprint: Polygon, walls: FoundationWalls, *, outline: Polygon | None = None
    ) -> tuple[Effect, ...]:
        """The backfill multiplies the permeability of the soil it lies in (mechanism 1).

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces. [m]
        walls : FoundationWalls
            The walls it lies against.
        outline : shapely.Polygon or None
            The footprint as it is, where it has stairs in place of slanted walls. [m]

        Returns
        -------
        effects : tuple of Effect
            One multiplier; none when it has no depth.
        """
        depth = walls.footing_depth if self.depth is None else self.depth
        if depth + walls.grade <= 0.0:
            return ()
        outer = walls.outer_face(footprint)
        if outline is None or outline.equals(footprint):
            strip = wall_strip(outer, wall_lines(outer), self.width, outside=True)
        else:
            reach = walls.thickness + self.width
            strip = outline.buffer(reach, join_style="mitre").difference(outer)
        where = Prism(plan=strip, top=-walls.grade, bottom=depth)
        return (MultipliesPermeability(where=where, factor=self.looser_by),)
