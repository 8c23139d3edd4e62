"""What we add: suction points, their pits, and the fans and pipes they hang on."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from shapely.geometry import Point, Polygon

from soilflow.errors import InputError
from soilflow.layout.bodies import HeldBody, OnLine
from soilflow.layout.fan import Fan
from soilflow.layout.fan_sets import CHOSEN, FIRST, FanSet
from soilflow.layout.outlines import runs_into
from soilflow.layout.pipes import PipeTree
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit, OnConductor
from soilflow.layout.sumps import standing_water
from soilflow.site.effects import HOUSE, OUTDOORS, Effect
from soilflow.units import Coordinate, Vacuum, check_fields

__all__ = ["Layout", "SuctionPoint"]

_CALLED = {"points": "point", "more_fans": "fan"}


@dataclass(frozen=True, kw_only=True)
class SuctionPoint:
    """A pit under the slab, or a drain there, with a riser on it.

    Parameters
    ----------
    name : str
        The user's own name for it.
    x, y : float
        Centre of the pit in plan, or where the riser of a drain stands. [m]
    pit : HemisphericalPit, BoxPit, CylinderPit or OnConductor
        What is dug, or the drain that is there.
    vacuum : float or None
        Vacuum held in the pit, for teaching and tests; None hangs it on a fan. [Pa]
    capped : bool
        Whether the riser is shut: no air is drawn, and the pit floats.
    fan : str
        Name of the further fan it hangs on; empty for the layout's own.
    source : str
        Where place and pit come from; most are chosen for the question.
    """

    name: str
    x: Coordinate
    y: Coordinate
    pit: HemisphericalPit | BoxPit | CylinderPit | OnConductor
    vacuum: Vacuum | None = None
    capped: bool = False
    fan: str = ""
    source: str = CHOSEN

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.name.strip() or self.name in (HOUSE, OUTDOORS):
            raise InputError(
                f'"{self.name}" cannot name a suction point; any other word will do', field="name"
            )
        if self.capped and self.vacuum is not None:
            raise InputError("a capped point has no vacuum of its own; drop one", field="vacuum")
        if self.fan and self.vacuum is not None:
            raise InputError("a point on a fan has no vacuum of its own; drop one", field="vacuum")

    @property
    def on_fan(self) -> bool:
        """Whether a fan draws on it."""
        return self.vacuum is None and not self.capped


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Suction points with a fan and its pipe, or with several.

    Parameters
    ----------
    name : str
        What the layout is called.
    points : tuple of SuctionPoint
        The suction points.
    fan : Fan or None
        The fan; None when every point is at a stated vacuum, capped or on a further fan.
    pipes : PipeTree or None
        The pipe from the pits to the discharge; None for no losses.
    more_fans : tuple of FanSet
        Further fans, each on the points that name it.
    source : str
        Where the layout comes from; most are chosen for the question.
    """

    name: str
    points: tuple[SuctionPoint, ...]
    fan: Fan | None = None
    pipes: PipeTree | None = None
    more_fans: tuple[FanSet, ...] = ()
    source: str = CHOSEN

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.points:
            raise InputError("no suction point; give at least one", field="points")
        for group in ("points", "more_fans"):
            names = [noun.name for noun in getattr(self, group)]
            for i, name in enumerate(names):
                if name in names[:i]:
                    raise InputError(
                        f'"{name}" is used twice; give each {_CALLED[group]} its own name',
                        field=f"{group}[{i}].name",
                    )
        self._check_fans()
        self._check_pipes(self.pipes, "", "pipes")
        for i, more in enumerate(self.more_fans):
            self._check_pipes(more.pipes, more.name, f"more_fans[{i}].pipes")

    def _check_fans(self) -> None:
        own = self.points_on("")
        if own and self.fan is None:
            raise InputError(
                f'point "{own[0]}" has no vacuum and the layout has no fan; give one of them',
                field="fan",
            )
        have = [more.name for more in self.more_fans]
        for i, point in enumerate(self.points):
            if point.fan and point.fan not in have:
                offer = ", ".join(f'"{name}"' for name in have) or "none"
                raise InputError(
                    f'no further fan "{point.fan}" in this layout; it has {offer}',
                    field=f"points[{i}].fan",
                )
        named = {point.fan for point in self.points}
        for i, name in enumerate(have):
            if name not in named:
                raise InputError(
                    f'no point is on the fan "{name}"; write fan = "{name}" at its points',
                    field=f"more_fans[{i}].name",
                )

    def _check_pipes(self, pipes: PipeTree | None, fan: str, field: str) -> None:
        if pipes is not None:
            have = {pipe.name for pipe in pipes.pipes}
            for name in self.points_on(fan):
                if name not in have:
                    raise InputError(
                        f'no pipe starts at point "{name}"; name one pipe after it', field=field
                    )

    def points_on(self, fan: str) -> tuple[str, ...]:
        """Names of the points a fan draws on.

        Parameters
        ----------
        fan : str
            Name of a further fan; empty or "first" for the layout's own.

        Returns
        -------
        names : tuple of str
            Without those that are capped.
        """
        own = "" if fan == FIRST else fan
        return tuple(point.name for point in self.points if point.on_fan and point.fan == own)

    @property
    def fan_sets(self) -> tuple[tuple[str, Fan, PipeTree | None], ...]:
        """Every fan with the name results have it under, and its pipes: the layout's own first."""
        own = () if self.fan is None else ((FIRST, self.fan, self.pipes),)
        return (*own, *((more.name, more.fan, more.pipes) for more in self.more_fans))

    def held_bodies(self, footprint: Polygon) -> tuple[HeldBody, ...]:
        """The pits as bodies of air held at one pressure each.

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces, counter-clockwise. [m]

        Returns
        -------
        bodies : tuple of HeldBody
            One per point, in the order of the points.

        Raises
        ------
        InputError
            A pit outside the slab, one that does not fit, or two that overlap or share a drain.
        """
        held: list[HeldBody] = []
        for i, point in enumerate(self.points):
            where = f"points[{i}]"
            if not footprint.contains(Point(point.x, point.y)):
                raise InputError(
                    f'point "{point.name}" at ({point.x:.3f}, {point.y:.3f}) m is not under the '
                    "slab; x runs east and y north from the south-west corner",
                    field=where,
                )
            try:
                body = point.pit.body(point.x, point.y, footprint)
            except InputError as err:
                raise InputError(err.message, field=f"{where}.{err.field}") from None
            for other in held:
                if runs_into(body, other.body):
                    raise InputError(
                        f'the pits "{other.port}" and "{point.name}" run into each other; '
                        "move one or make it smaller",
                        field=where,
                    )
            pit = point.pit
            if isinstance(pit, OnConductor):
                held.append(HeldBody(port=point.name, body=body))
            else:
                smear = {"smear": pit.smear, "smear_ratio": pit.smear_ratio}
                held.append(HeldBody(port=point.name, body=body, **smear))
        for a, b in itertools.combinations(held, 2):
            if isinstance(a.body, OnLine) and a.body == b.body:
                raise InputError(
                    f'"{a.port}" and "{b.port}" are both on the drain "{a.body.line}"; one riser '
                    "holds all of it, drop the other",
                    field=f"points[{held.index(b)}].pit.line",
                )
        return tuple(held)

    def effects(self, footprint: Polygon) -> tuple[Effect, ...]:
        """What the points do to the soil beside drawing on it: water in sumps.

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces, counter-clockwise. [m]

        Returns
        -------
        effects : tuple of Effect
            To be laid over those of the site.
        """
        return tuple(
            effect
            for point in self.points
            for effect in standing_water(point.pit, point.x, point.y, footprint)
        )
