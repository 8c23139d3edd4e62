"""What we add: suction points, their pits, and the fan and pipe they hang on."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely.geometry import Point, Polygon

from soilflow.errors import InputError
from soilflow.layout.bodies import Ball, Brick, HeldBody
from soilflow.layout.fan import Fan
from soilflow.layout.pipes import PipeTree
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.units import Coordinate, Vacuum, check_fields

__all__ = ["Layout", "SuctionPoint"]


@dataclass(frozen=True, kw_only=True)
class SuctionPoint:
    """A pit under the slab with a riser on it.

    Parameters
    ----------
    name : str
        The user's own name for it.
    x, y : float
        Centre of the pit in plan. [m]
    pit : HemisphericalPit or BoxPit
        What is dug.
    vacuum : float or None
        Vacuum held in the pit, for teaching and tests; None hangs it on the layout's fan. [Pa]
    capped : bool
        Whether the riser is shut: no air is drawn, and the pit floats.
    """

    name: str
    x: Coordinate
    y: Coordinate
    pit: HemisphericalPit | BoxPit
    vacuum: Vacuum | None = None
    capped: bool = False

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.name.strip() or self.name in (HOUSE, OUTDOORS):
            raise InputError(
                f'"{self.name}" cannot name a suction point; any other word will do', field="name"
            )
        if self.capped and self.vacuum is not None:
            raise InputError("a capped point has no vacuum of its own; drop one", field="vacuum")

    @property
    def on_fan(self) -> bool:
        """Whether the layout's fan draws on it."""
        return self.vacuum is None and not self.capped


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Suction points with one fan and its pipe.

    Parameters
    ----------
    name : str
        What the layout is called.
    points : tuple of SuctionPoint
        The suction points.
    fan : Fan or None
        The fan; None when every point is at a stated vacuum or capped.
    pipes : PipeTree or None
        The pipe from the pits to the discharge; None for no losses.
    """

    name: str
    points: tuple[SuctionPoint, ...]
    fan: Fan | None = None
    pipes: PipeTree | None = None

    def __post_init__(self) -> None:
        names = [point.name for point in self.points]
        if not names:
            raise InputError("no suction point; give at least one", field="points")
        for i, name in enumerate(names):
            if name in names[:i]:
                raise InputError(
                    f'"{name}" is used twice; give each point its own name',
                    field=f"points[{i}].name",
                )
        on_fan = [point.name for point in self.points if point.on_fan]
        if on_fan and self.fan is None:
            raise InputError(
                f'point "{on_fan[0]}" has no vacuum and the layout has no fan; give one of them',
                field="fan",
            )
        if self.pipes is not None:
            have = {pipe.name for pipe in self.pipes.pipes}
            for name in on_fan:
                if name not in have:
                    raise InputError(
                        f'no pipe starts at point "{name}"; name one pipe after it', field="pipes"
                    )

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
            A pit outside the slab, one that does not fit, or two that overlap.
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
                if _overlap(body, other.body):
                    raise InputError(
                        f'the pits "{other.port}" and "{point.name}" run into each other; '
                        "move one or make it smaller",
                        field=where,
                    )
            pit = point.pit
            smear = {"smear": pit.smear, "smear_ratio": pit.smear_ratio}
            held.append(HeldBody(port=point.name, body=body, **smear))
        return tuple(held)


def _overlap(a: object, b: object) -> bool:
    """Whether two pits share soil, or leave less than 1 cm between them."""
    least = 0.01
    if isinstance(a, Ball) and isinstance(b, Ball):
        return math.dist(a.centre, b.centre) < a.radius + b.radius + least
    if isinstance(a, Brick) and isinstance(b, Brick):
        return all(max(a.low[i], b.low[i]) < min(a.high[i], b.high[i]) + least for i in range(2))
    if isinstance(a, Brick):
        a, b = b, a
    if isinstance(a, Ball) and isinstance(b, Brick):
        nearest = [
            min(max(c, lo), hi)
            for c, lo, hi in zip(a.centre[:2], b.low[:2], b.high[:2], strict=True)
        ]
        return math.dist(a.centre[:2], nearest) < a.radius + least
    return False
