"""What is there: the slab, its walls, the soil, and where air gets through."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.effects import OUTDOORS, Effect
from soilflow.site.ground import Ground, MoistZone, SettledGap
from soilflow.site.leaks import FloorWallJoint
from soilflow.site.slab import Slab
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand, select_walls
from soilflow.site.yards import Yard, yard_effects

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
    bands : tuple of PerimeterBand
        Looser soil inside the walls.
    backfill : ExteriorBackfill or None
        Looser soil outside the walls.
    moist_zones : tuple of MoistZone
        Wetter soil.
    gaps : tuple of SettledGap
        Air spaces under the slab.
    joints : tuple of FloorWallJoint
        Joints between floor and wall.
    yards : tuple of Yard
        Parts of the ground outside with a pressure of their own.
    """

    slab: Slab
    walls: FoundationWalls
    ground: Ground
    bands: tuple[PerimeterBand, ...] = ()
    backfill: ExteriorBackfill | None = None
    moist_zones: tuple[MoistZone, ...] = ()
    gaps: tuple[SettledGap, ...] = ()
    joints: tuple[FloorWallJoint, ...] = ()
    yards: tuple[Yard, ...] = ()

    def __post_init__(self) -> None:
        if self.walls.footing_depth >= self.ground.bottom:
            raise InputError(
                f"the footing at {self.walls.footing_depth:g} m reaches the tight bottom at "
                f"{self.ground.bottom:g} m; the bottom must lie deeper",
                field="ground.bottom",
            )
        for group in ("bands", "joints"):
            for i, noun in enumerate(getattr(self, group)):
                try:
                    select_walls(self.slab.walls, noun.walls)
                except InputError as err:
                    raise InputError(err.message, field=f"{group}[{i}].walls") from None
        self._check_names()
        floor = self.slab.polygon
        for i, gap in enumerate(self.gaps):
            if gap.plan(floor).is_empty:
                raise InputError(
                    f'the gap "{gap.name}" does not lie under the floor', field=f"gaps[{i}].corners"
                )
        outer = self.walls.outer_face(floor)
        for i, zone in enumerate(self.moist_zones):
            if not zone.polygon.intersects(outer.buffer(30.0)):
                raise InputError(
                    f'the moist zone "{zone.name}" lies more than 30 m from the house',
                    field=f"moist_zones[{i}].corners",
                )

    def _check_names(self) -> None:
        for group in ("moist_zones", "gaps", "yards"):
            names = [noun.name for noun in getattr(self, group)]
            for i, name in enumerate(names):
                if name in names[:i]:
                    raise InputError(
                        f'"{name}" is used twice; give each its own name',
                        field=f"{group}[{i}].name",
                    )

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
        made: list[Effect] = list(self.ground.effects(self.walls.grade))
        for band, strip in self.band_strips():
            made.extend(band.effects(strip, self.walls.footing_depth))
        if self.backfill is not None:
            made.extend(self.backfill.effects(floor, self.walls))
        for zone in self.moist_zones:
            made.extend(zone.effects())
        made.extend(self.walls.effects(floor))
        made.extend(yard_effects(self.walls.outer_face(floor), self.walls.grade, self.yards))
        for gap in self.gaps:
            made.extend(gap.effects(floor))
        made.extend(self.slab.effects())
        left = self.slab.walls
        for joint in reversed(self.joints):
            mine = {wall.name for wall in select_walls(self.slab.walls, joint.walls)}
            taken = tuple(wall for wall in left if wall.name in mine)
            left = tuple(wall for wall in left if wall.name not in mine)
            if taken:
                one = FloorWallJoint(aperture=joint.aperture, sealed=joint.sealed)
                made.extend(one.effects(taken, self.slab.thickness))
        return tuple(made)

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
        return tuple(dict.fromkeys(found))
