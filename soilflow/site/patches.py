"""Soil of another kind than the native layers: fill under the slab, patches and seams."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon

from soilflow.errors import InputError
from soilflow.site.effects import Effect, Prism, SetsPermeability
from soilflow.site.plan import outline_polygon
from soilflow.units import Coordinate, Length, Permeability, check_fields

__all__ = ["Fill", "Patch"]


@dataclass(frozen=True, kw_only=True)
class Fill:
    """A layer brought in under the slab, between the walls.

    Parameters
    ----------
    thickness : float
        How deep it reaches below the slab underside. [m]
    permeability : float
        Air permeability along the layer. [m2]
    vertical : float or None
        Air permeability across the layer; None makes it the same. [m2]
    source : str
        Where the permeability comes from: a test, a table, a guess.
    """

    thickness: Length
    permeability: Permeability
    vertical: Permeability | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(self, footprint: Polygon) -> tuple[Effect, ...]:
        """The fill sets permeability under the floor (mechanism 1).

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces. [m]

        Returns
        -------
        effects : tuple of Effect
            One region.
        """
        return (
            SetsPermeability(
                where=Prism(plan=footprint, top=0.0, bottom=self.thickness),
                horizontal=self.permeability,
                vertical=self.permeability if self.vertical is None else self.vertical,
            ),
        )


@dataclass(frozen=True, kw_only=True)
class Patch:
    """A body of other soil: gravel around a drain, a seam of sand, a lens of clay.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    corners : tuple of (float, float)
        Outline in plan; the cells whose middle lies in it belong to it. [m]
    permeability : float
        Air permeability along the layers. [m2]
    bottom : float
        Depth it reaches to, below the slab underside. [m]
    top : float
        Depth it reaches from, negative above the slab underside. [m]
    vertical : float or None
        Air permeability across the layers; None makes it the same. [m2]
    source : str
        Where the permeability comes from: a test, a table, a guess.
    """

    name: str
    corners: tuple[tuple[Coordinate, Coordinate], ...]
    permeability: Permeability
    bottom: Length
    top: Coordinate = 0.0
    vertical: Permeability | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _ = self.polygon
        if self.bottom <= self.top:
            raise InputError(
                f"bottom {self.bottom:g} m is not below top {self.top:g} m", field="bottom"
            )

    @cached_property
    def polygon(self) -> Polygon:
        """Plan of the patch. [m]"""
        return outline_polygon(self.corners)

    def effects(self, grade: float) -> tuple[Effect, ...]:
        """The patch sets permeability (mechanism 1).

        Parameters
        ----------
        grade : float
            Height of the ground above the slab underside; there is no soil above it. [m]

        Returns
        -------
        effects : tuple of Effect
            One region.
        """
        return (
            SetsPermeability(
                where=Prism(plan=self.polygon, top=max(self.top, -grade), bottom=self.bottom),
                horizontal=self.permeability,
                vertical=self.permeability if self.vertical is None else self.vertical,
            ),
        )
