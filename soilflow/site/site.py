"""What is there: the slab, its walls, the soil, and where air gets through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely import union_all
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.conductors import Channel, DrainTile, LineConductor, Trench
from soilflow.site.effects import HOUSE, OUTDOORS, Effect
from soilflow.site.footings import InteriorFooting
from soilflow.site.ground import Ground, SettledGap
from soilflow.site.leaks import Crack, FloorWallJoint, walls_of_each
from soilflow.site.moisture import MoistZone
from soilflow.site.no_dig import NoDig
from soilflow.site.openings import BareSoil, Opening, bare_plan, floor_effects
from soilflow.site.patches import Fill, Patch
from soilflow.site.placement import check_conductors, check_floor
from soilflow.site.rooms import Room
from soilflow.site.slab import Slab
from soilflow.site.soil_fields import RandomSoil, SoilField
from soilflow.site.wall_bodies import WallBody
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand, select_walls
from soilflow.site.yards import Yard, YardSoil, yard_effects

__all__ = ["Site"]


@dataclass(frozen=True, kw_only=True)
class Site:
    """A slab over its soil.

    Where features overlap the later one in its list counts: a corner belongs to the last band
    that claims it, a wall to the last joint. Bands, backfill and moist zones are multiples of
    the soil they lie in.

    Parameters
    ----------
    slab : Slab
        The floor.
    walls : FoundationWalls
        The walls around it.
    ground : Ground
        The native soil.
    fill : Fill or None
        Soil brought in under the slab.
    bands : tuple of PerimeterBand
        Looser soil inside the walls.
    backfill : ExteriorBackfill or None
        Looser soil outside the walls.
    yard_soil : YardSoil or None
        What weather has made of all soil outside.
    patches : tuple of Patch
        Bodies of other soil: gravel, seams, lenses.
    moist_zones : tuple of MoistZone
        Wetter soil.
    soil_fields : tuple of SoilField
        Multipliers known at points.
    random_soil : RandomSoil or None
        Soil that varies at random.
    footings : tuple of InteriorFooting
        Footings inside the house.
    gaps : tuple of SettledGap
        Air spaces under the slab.
    joints : tuple of FloorWallJoint
        Joints between floor and wall.
    cracks : tuple of Crack
        Cracks through the slab.
    openings : tuple of Opening
        Holes through the slab at one place.
    bare_soil : tuple of BareSoil
        Floor without a slab.
    wall_bodies : tuple of WallBody
        Walls that are not tight below the slab.
    drain_tiles, trenches, channels : tuple of DrainTile, Trench, Channel
        Lines along which air moves freely.
    rooms : tuple of Room
        Parts of the floor whose air is not the house's.
    yards : tuple of Yard
        Parts of the ground outside with a pressure of their own.
    no_dig : tuple of NoDig
        Parts of the floor where no pit may be.
    """

    slab: Slab
    walls: FoundationWalls
    ground: Ground
    fill: Fill | None = None
    bands: tuple[PerimeterBand, ...] = ()
    backfill: ExteriorBackfill | None = None
    yard_soil: YardSoil | None = None
    patches: tuple[Patch, ...] = ()
    moist_zones: tuple[MoistZone, ...] = ()
    soil_fields: tuple[SoilField, ...] = ()
    random_soil: RandomSoil | None = None
    footings: tuple[InteriorFooting, ...] = ()
    gaps: tuple[SettledGap, ...] = ()
    joints: tuple[FloorWallJoint, ...] = ()
    cracks: tuple[Crack, ...] = ()
    openings: tuple[Opening, ...] = ()
    bare_soil: tuple[BareSoil, ...] = ()
    wall_bodies: tuple[WallBody, ...] = ()
    drain_tiles: tuple[DrainTile, ...] = ()
    trenches: tuple[Trench, ...] = ()
    channels: tuple[Channel, ...] = ()
    rooms: tuple[Room, ...] = ()
    yards: tuple[Yard, ...] = ()
    no_dig: tuple[NoDig, ...] = ()

    def __post_init__(self) -> None:
        if self.walls.footing_depth >= self.ground.bottom:
            raise InputError(
                f"the footing at {self.walls.footing_depth:g} m reaches the tight bottom at "
                f"{self.ground.bottom:g} m; the bottom must lie deeper",
                field="ground.bottom",
            )
        for group in ("bands", "joints", "wall_bodies"):
            for i, noun in enumerate(getattr(self, group)):
                try:
                    select_walls(self.slab.walls, noun.walls)
                except InputError as err:
                    raise InputError(err.message, field=f"{group}[{i}].walls") from None
        self._check_names()
        self._check_soil()
        floor = self.slab.polygon
        check_floor(floor, self.rooms, self.bare_soil, self.cracks, self.openings)
        places = (HOUSE, *self.room_names, *self.outdoor_names)
        lines = ("drain_tiles", "trenches", "channels")
        check_conductors({n: getattr(self, n) for n in lines}, places, self.ground.bottom)
        for i, gap in enumerate(self.gaps):
            if gap.plan(floor).is_empty:
                raise InputError(
                    f'the gap "{gap.name}" does not lie under the floor', field=f"gaps[{i}].corners"
                )
            past = gap.past_floor(union_all([floor, self.slab.outline]))
            if past > 1e-6:
                raise InputError(
                    f'the gap "{gap.name}" reaches {past:.3g} m past the inner face of the walls; '
                    "under a wall the slab does not settle: end it at the face",
                    field=f"gaps[{i}].corners",
                )
        near = self.walls.outer_face(floor).buffer(30.0)
        for group, what in (("moist_zones", "moist zone"), ("patches", "patch")):
            for i, noun in enumerate(getattr(self, group)):
                if not noun.polygon.intersects(near):
                    raise InputError(
                        f'the {what} "{noun.name}" lies more than 30 m from the house',
                        field=f"{group}[{i}].corners",
                    )

    def _check_soil(self) -> None:
        """Fill, patches and footings lie in the soil, and footings under the floor."""
        deep = [(f"patches[{i}].bottom", patch.bottom) for i, patch in enumerate(self.patches)]
        deep += [] if self.fill is None else [("fill.thickness", self.fill.thickness)]
        for field, depth in deep:
            if depth > self.ground.bottom:
                raise InputError(
                    f"reaches {depth:g} m down, below the tight bottom at {self.ground.bottom:g} m",
                    field=field,
                )
        floor = self.slab.polygon.buffer(1e-6)
        for i, footing in enumerate(self.footings):
            if footing.depth >= self.ground.bottom:
                raise InputError(
                    f"the footing at {footing.depth:g} m reaches the tight bottom at "
                    f"{self.ground.bottom:g} m; the bottom must lie deeper",
                    field=f"footings[{i}].depth",
                )
            if not footing.plan().difference(floor).is_empty:
                raise InputError(
                    f'the footing "{footing.name}" does not lie under the floor',
                    field=f"footings[{i}].points",
                )

    def _check_names(self) -> None:
        groups = ("patches", "moist_zones", "soil_fields", "footings", "gaps", "yards")
        for group in (*groups, "cracks", "openings", "bare_soil", "rooms"):
            names = [noun.name for noun in getattr(self, group)]
            for i, name in enumerate(names):
                if name in names[:i]:
                    raise InputError(
                        f'"{name}" is used twice; give each its own name',
                        field=f"{group}[{i}].name",
                    )

    @property
    def conductors(self) -> tuple[LineConductor, ...]:
        """All drain tiles, trenches and channels."""
        return (*self.drain_tiles, *self.trenches, *self.channels)

    @property
    def room_names(self) -> tuple[str, ...]:
        """Rooms with a pressure of their own."""
        return tuple(room.name for room in self.rooms)

    @property
    def outdoor_names(self) -> tuple[str, ...]:
        """References outside: the outdoors, and every yard with a pressure of its own."""
        return (OUTDOORS, *(yard.name for yard in self.yards))

    def effects(self) -> tuple[Effect, ...]:
        """Everything the site does to the flow, in order of precedence.

        Returns
        -------
        effects : tuple of Effect
            Layers first, then multipliers, solids, sheets and leaks.
        """
        floor = self.slab.polygon
        grade, bottom = self.walls.grade, self.ground.bottom
        made: list[Effect] = list(self.ground.effects(grade))
        if self.fill is not None:
            made.extend(self.fill.effects(floor))
        for band, strip in self.band_strips():
            made.extend(band.effects(strip, self.walls.footing_depth))
        if self.backfill is not None:
            made.extend(self.backfill.effects(floor, self.walls, outline=self.slab.outline))
        if self.yard_soil is not None:
            made.extend(self.yard_soil.effects(self.walls.outer_face(floor), grade, bottom))
        for patch in self.patches:
            made.extend(patch.effects(grade))
        for zone in self.moist_zones:
            made.extend(zone.effects())
        for field in self.soil_fields:
            made.extend(field.effects(grade, bottom))
        if self.random_soil is not None:
            made.extend(self.random_soil.effects(grade, bottom))
        made.extend(self.walls.effects(floor))
        for footing in self.footings:
            made.extend(footing.effects())
        ground = yard_effects(self.walls.outer_face(floor), self.walls.grade, self.yards)
        made.extend(ground)
        for gap in self.gaps:
            made.extend(gap.effects(floor))
        made.extend(floor_effects(self.slab, self.rooms, self.bare_soil, self.openings))
        made.extend(self._wall_leaks([(part.reference, part.plan) for part in ground]))
        bare = bare_plan(self.bare_soil, self.rooms)
        for crack in self.cracks:
            made.extend(crack.effects(self.slab.thickness, self.rooms, bare))
        for line in self.conductors:
            made.extend(line.effects())
        return tuple(made)

    def _wall_leaks(self, ground: Sequence[tuple[str, BaseGeometry]]) -> list[Effect]:
        """Joints, and what walls let through that are not tight."""
        made: list[Effect] = []
        thick, deep = self.walls.thickness, self.walls.footing_depth
        bare = bare_plan(self.bare_soil, self.rooms)
        for joint, mine in walls_of_each(self.slab.walls, self.joints):
            made.extend(joint.effects(mine, self.slab.thickness, self.rooms, bare))
        for body, mine in walls_of_each(self.slab.walls, self.wall_bodies):
            made.extend(body.effects(mine, deep, self.rooms, ground, thick))
        return made

    def band_strips(self) -> tuple[tuple[PerimeterBand, BaseGeometry], ...]:
        """Each band with the part of the floor it governs.

        Returns
        -------
        strips : tuple of (PerimeterBand, shapely geometry)
            In the order of ``bands``, without what a later band claims. [m]
        """
        floor = self.slab.polygon
        strips = [band.strip(floor, self.slab.walls) for band in self.bands]
        cut = []
        for i, strip in enumerate(strips):
            for later in strips[i + 1 :]:
                strip = strip.difference(later)
            cut.append((self.bands[i], strip))
        return tuple(cut)

    def doubts(self) -> tuple[str, ...]:
        """Inputs that can be computed but deserve a second look.

        Returns
        -------
        doubts : tuple of str
            One sentence each; empty when there is nothing to say.
        """
        found = []
        for gap in self.gaps:
            edge = gap.plan(self.slab.polygon).boundary
            for band, strip in self.band_strips():
                inner = strip.boundary.difference(self.slab.polygon.boundary.buffer(0.05))
                if not inner.is_empty and band.looser_by != 1.0 and edge.distance(inner) < 0.1:
                    found.append(
                        f'the gap "{gap.name}" ends within 4 in (0.1 m) of the edge of a '
                        "perimeter band: "
                        "there the flow hangs on where exactly it ends, and the grid error is "
                        "5 to 8 %; let them overlap on purpose or part them"
                    )
        for name, (a, b) in {w.name: w.slant for w in self.slab.walls if w.slant}.items():
            found.append(
                f"the {name} wall, from ({a[0]:.2f}, {a[1]:.2f}) to ({b[0]:.2f}, {b[1]:.2f}) m, "
                "runs at a slant: the grid follows it in steps of about 1 ft (0.3 m), with the "
                "floor's true area and the wall's true length"
            )
        return tuple(dict.fromkeys(found))
