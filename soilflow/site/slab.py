"""The slab: its outline, thickness and body."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.site.effects import Effect, LeaksOverArea
from soilflow.site.plan import WallLine, outline_polygon, stepped_polygon, wall_lines
from soilflow.units import Coordinate, Length, Permeability, check_fields

__all__ = ["Slab"]


@dataclass(frozen=True, kw_only=True)
class Slab:
    """Concrete floor cast on the soil.

    Walls may run at a slant. The grid then follows them in steps that keep the floor's area,
    and what leaks along them counts with its true length.

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
    def outline(self) -> Polygon:
        """Footprint as it is, counter-clockwise. [m]"""
        return outline_polygon(self.corners)

    @cached_property
    def polygon(self) -> Polygon:
        """Footprint with stairs in place of slanted walls, as the grid has it. [m]"""
        return stepped_polygon(self.outline)

    @cached_property
    def walls(self) -> tuple[WallLine, ...]:
        """Straight wall stretches and steps around it, named by the side they face."""
        return wall_lines(self.outline)

    @property
    def area(self) -> float:
        """Area of the floor. [m2]"""
        return float(self.polygon.area)

    def effects(
        self, plan: BaseGeometry, reference: str, permeability: float | None = None
    ) -> tuple[Effect, ...]:
        """The slab body leaks to what is above it (mechanism 4).

        Parameters
        ----------
        plan : shapely geometry
            A part of it. [m]
        reference : str
            The room above that part.
        permeability : float or None
            Air permeability there; None is that of the slab. [m2]

        Returns
        -------
        effects : tuple of Effect
            One area leak at the slab underside; none for no area.
        """
        if plan.is_empty:
            return ()
        body = self.permeability if permeability is None else permeability
        leakance = body / self.thickness
        return (
            LeaksOverArea(plan=plan, depth=0.0, leakance=leakance, reference=reference, floor=True),
        )
