"""The ground surface outside: one outdoors all around, or parts with a pressure of their own."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.areas import only_area
from soilflow.site.effects import (
    HOUSE,
    OUTDOORS,
    Effect,
    LeaksOverArea,
    MultipliesPermeability,
    Prism,
)
from soilflow.site.plan import outline_polygon
from soilflow.units import Coordinate, Length, Ratio, check_fields

__all__ = ["SIDES", "Yard", "YardSoil", "yard_effects"]

SIDES = ("north", "east", "south", "west")
_FAR = 1e4  # well beyond any grid [m]


@dataclass(frozen=True, kw_only=True)
class Yard:
    """A part of the ground outside that wind, or a courtyard, gives its own pressure.

    Parameters
    ----------
    name : str
        What a condition calls it when it states its pressure.
    side : str
        All ground beyond the house to the north, east, south or west; empty with corners.
    corners : tuple of (float, float)
        Its outline; empty with a side. What lies under the house does not count. [m]
    source : str
        Where it comes from.
    """

    name: str
    side: str = ""
    corners: tuple[tuple[Coordinate, Coordinate], ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.name.strip() or self.name in (HOUSE, OUTDOORS):
            raise InputError(
                f'"{self.name}" cannot name a yard; any other word will do', field="name"
            )
        if bool(self.side) == bool(self.corners):
            raise InputError("give either side or corners", field="side")
        if self.side and self.side not in SIDES:
            raise InputError(f'"{self.side}" is not a side; write {", ".join(SIDES)}', field="side")
        if self.corners:
            outline_polygon(self.corners)

    def plan(self, outer: Polygon) -> BaseGeometry:
        """Ground it takes.

        Parameters
        ----------
        outer : shapely.Polygon
            Outer wall faces. [m]

        Returns
        -------
        plan : shapely geometry
            Its area outside the house. [m]
        """
        if self.corners:
            return outline_polygon(self.corners).difference(outer)
        x0, y0, x1, y1 = outer.bounds
        return {
            "north": box(x0 - _FAR, y1, x1 + _FAR, y1 + _FAR),
            "south": box(x0 - _FAR, y0 - _FAR, x1 + _FAR, y0),
            "east": box(x1, y0 - _FAR, x1 + _FAR, y1 + _FAR),
            "west": box(x0 - _FAR, y0 - _FAR, x0, y1 + _FAR),
        }[self.side]


@dataclass(frozen=True, kw_only=True)
class YardSoil:
    """Soil outside the walls that weather has made looser or tighter.

    Parameters
    ----------
    looser_by : float
        Air permeability relative to the soil it lies in; below 1 is tighter. [-]
    depth : float or None
        How far below grade it reaches; None takes all soil outside. [m]
    source : str
        Where the ratio comes from.

    Notes
    -----
    The ground surface stays open: frozen soil keeps air out by its ratio, not by a lid.
    """

    looser_by: Ratio
    depth: Length | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(self, outer: Polygon, grade: float, bottom: float) -> tuple[Effect, ...]:
        """It multiplies the permeability of what lies outside the walls (mechanism 1).

        Parameters
        ----------
        outer : shapely.Polygon
            Outer wall faces. [m]
        grade : float
            Height of the ground above the slab underside. [m]
        bottom : float
            Depth of the tight bottom. [m]

        Returns
        -------
        effects : tuple of Effect
            One multiplier.
        """
        x0, y0, x1, y1 = outer.bounds
        outside = box(x0 - _FAR, y0 - _FAR, x1 + _FAR, y1 + _FAR).difference(outer)
        deep = bottom if self.depth is None else min(self.depth - grade, bottom)
        where = Prism(plan=outside, top=-grade, bottom=deep)
        return (MultipliesPermeability(where=where, factor=self.looser_by),)


def yard_effects(outer: Polygon, grade: float, yards: Sequence[Yard]) -> tuple[LeaksOverArea, ...]:
    """The ground outside is open to the outdoors, or to the yard it belongs to (mechanism 4).

    Parameters
    ----------
    outer : shapely.Polygon
        Outer wall faces. [m]
    grade : float
        Height of the ground above the slab underside. [m]
    yards : sequence of Yard
        Parts with a pressure of their own; the later one takes what two of them claim.

    Returns
    -------
    effects : tuple of LeaksOverArea
        The outdoors first, then each yard that has ground left.
    """
    x0, y0, x1, y1 = outer.bounds
    left = box(x0 - _FAR, y0 - _FAR, x1 + _FAR, y1 + _FAR).difference(outer)
    parts: list[tuple[str, BaseGeometry]] = []
    for yard in reversed(yards):
        mine = only_area(yard.plan(outer).intersection(left))
        left = left.difference(mine)
        parts.append((yard.name, mine))
    return tuple(
        LeaksOverArea(plan=plan, depth=-grade, leakance=float("inf"), reference=name)
        for name, plan in itertools.chain([(OUTDOORS, left)], reversed(parts))
        if not plan.is_empty
    )
