"""The slab: its outline, thickness and body."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon

from soilflow.site.effects import HOUSE, Effect, LeaksOverArea
from soilflow.site.plan import WallLine, footprint_polygon, wall_lines
from soilflow.units import Coordinate, Length, Permeability, check_fields

__all__ = ["Slab"]


@dataclass(frozen=True, kw_only=True)
class Slab:
    """Concrete floor cast on the soil.

    Parameters
    ----------
    corners : tuple of (float, float)
        Corners of the footprint, inner wall faces, in order around the slab. [m]
    thickness : float
        Thickness of the concrete. [m]
    permeability : float
        Air permeability of the slab body, hairline cracks included. [m2]
    source : str
        Where the permeability comes from: a test, a table, a guess.

    Examples
    --------
    >>> slab = Slab(corners=((0, 0), (8, 0), (8, 6), (0, 6)), thickness=0.1, permeability=1e-16)
    >>> slab.area
    48.0
    """

    corners: tuple[tuple[Coordinate, Coordinate], ...]
    thickness: Length
    permeability: Permeability
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _ = self.polygon

    @cached_property
    def polygon(self) -> Polygon:
        """Footprint, counter-clockwise. [m]"""
        return footprint_polygon(self.corners)

    @cached_property
    def walls(self) -> tuple[WallLine, ...]:
        """Straight wall stretches around the footprint, named by the side they face."""
        return wall_lines(self.polygon)

    @property
    def area(self) -> float:
        """Area of the floor. [m2]"""
        return float(self.polygon.area)

    def effects(self) -> tuple[Effect, ...]:
        """The slab body leaks to the house over its whole area (mechanism 4).

        Returns
        -------
        effects : tuple of Effect
            One area leak at the slab underside.
        """
        leakance = self.permeability / self.thickness
        return (
            LeaksOverArea(
                plan=self.polygon, depth=0.0, leakance=leakance, reference=HOUSE, floor=True
            ),
        )
