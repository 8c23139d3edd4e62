"""Places where the floor has no slab: single openings, and floor that is bare soil."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from shapely import union_all
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.air import Air
from soilflow.errors import InputError
from soilflow.site.areas import only_area
from soilflow.site.effects import Effect, LeaksOverArea
from soilflow.site.plan import footprint_polygon
from soilflow.site.rooms import ROUNDING, Room, plans_by_room, room_above
from soilflow.site.slab import Slab
from soilflow.units import Area, Coordinate, Flow, Length, Vacuum, check_fields

__all__ = ["BareSoil", "Opening", "bare_plan", "floor_effects"]

# A stated leak is turned into geometry with soil air at 10 C, the default of a case.
_LEAK_AIR = Air(temperature=283.15)


@dataclass(frozen=True, kw_only=True)
class Opening:
    """A hole through the slab at one place: a floor drain, a sump lid, a pipe.

    Without a stated leak the soil lies open below it.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    x, y : float
        Its middle. [m]
    area : float or None
        Its area; drawn as a square. [m2]
    diameter : float or None
        Its diameter; one of the two is given. [m]
    flow : float or None
        What it leaks at ``at_pressure``, such as a lid that does not close. [m3/s]
    at_pressure : float or None
        Pressure across it at that flow. [Pa]
    sealed : bool
        Whether it has been sealed: a sealed one passes nothing.
    source : str
        Where the numbers come from.
    """

    name: str
    x: Coordinate
    y: Coordinate
    area: Area | None = None
    diameter: Length | None = None
    flow: Flow | None = None
    at_pressure: Vacuum | None = None
    sealed: bool = False
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if (self.area is None) == (self.diameter is None):
            raise InputError("give either area or diameter", field="area")
        if (self.flow is None) != (self.at_pressure is None):
            raise InputError(
                "a leak is a flow at a pressure: give both flow and at_pressure, or neither",
                field="flow",
            )
        if self.at_pressure == 0.0:
            raise InputError("a leak needs a pressure across it; give more than 0", field="flow")

    @property
    def side(self) -> float:
        """Side of a square of its area. [m]"""
        if self.area is not None:
            return math.sqrt(self.area)
        return math.sqrt(0.25 * math.pi) * (self.diameter or 0.0)

    @cached_property
    def plan(self) -> Polygon:
        """The square it is drawn as. [m]"""
        half = 0.5 * self.side
        return box(self.x - half, self.y - half, self.x + half, self.y + half)

    def effects(self, reference: str) -> tuple[Effect, ...]:
        """The opening leaks to the room above it (mechanism 4).

        Parameters
        ----------
        reference : str
            Name of that room.

        Returns
        -------
        effects : tuple of Effect
            One area leak; none when it is sealed.
        """
        if self.sealed or self.flow == 0.0:
            return ()
        leakance = math.inf
        if self.flow is not None and self.at_pressure is not None:
            leakance = self.flow * _LEAK_AIR.viscosity / (self.at_pressure * self.plan.area)
        return (
            LeaksOverArea(
                plan=self.plan,
                depth=0.0,
                leakance=leakance,
                reference=reference,
                floor=True,
                hole=math.isinf(leakance),
            ),
        )


@dataclass(frozen=True, kw_only=True)
class BareSoil:
    """Floor without a slab, its soil open to the room above it.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    corners : tuple of (float, float)
        Its outline inside the walls. [m]
    source : str
        Where it comes from.
    """

    name: str
    corners: tuple[tuple[Coordinate, Coordinate], ...]
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _ = self.polygon

    @cached_property
    def polygon(self) -> Polygon:
        """Plan of it. [m]"""
        return footprint_polygon(self.corners)

    @cached_property
    def plan(self) -> Polygon:
        """Plan of it with the walls it touches. [m]"""
        return self.polygon.buffer(ROUNDING, join_style="mitre")


def bare_plan(bare: Sequence[BareSoil], rooms: Sequence[Room]) -> BaseGeometry:
    """All floor without a slab.

    Parameters
    ----------
    bare : sequence of BareSoil
        Parts of the floor.
    rooms : sequence of Room
        Rooms, of which those with a bare floor count.

    Returns
    -------
    plan : shapely geometry
        Empty where there is slab everywhere. [m]
    """
    return union_all([*(b.plan for b in bare), *(r.plan for r in rooms if r.is_bare)])


def floor_effects(
    slab: Slab, rooms: Sequence[Room], bare: Sequence[BareSoil], openings: Sequence[Opening]
) -> tuple[Effect, ...]:
    """The floor leaks to the room above it: slab body, bare soil and openings (mechanism 4).

    Parameters
    ----------
    slab : Slab
        The slab.
    rooms : sequence of Room
        Rooms beside the house.
    bare : sequence of BareSoil
        Floor without a slab.
    openings : sequence of Opening
        Holes through the slab.

    Returns
    -------
    effects : tuple of Effect
        One area leak for each part of slab and of bare soil, and for each opening.
    """
    soil = bare_plan(bare, rooms)
    cut = [(o, o.effects(room_above((o.x, o.y), rooms))) for o in openings]
    holes = union_all([o.plan for o, made in cut if made])
    own = {room.name: room.permeability for room in rooms}
    found: list[Effect] = []
    for name, plan in plans_by_room(slab.polygon, rooms):
        # subtracting nothing would cost the outline its own first corner
        body = plan if soil.is_empty and holes.is_empty else plan.difference(soil.union(holes))
        found.extend(slab.effects(body, name, own.get(name)))
        open_ = only_area(plan.intersection(soil))
        if open_.area > ROUNDING:
            found.append(
                LeaksOverArea(plan=open_, depth=0.0, leakance=math.inf, reference=name, hole=True)
            )
    return (*found, *(effect for _, made in cut for effect in made))
