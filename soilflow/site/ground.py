"""The native soil in layers, and the gap it left when it settled."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.site.areas import only_area
from soilflow.site.effects import (
    CarriesAlongSheet,
    Effect,
    Prism,
    SetsPermeability,
)
from soilflow.site.plan import footprint_polygon
from soilflow.soil import cubic_law_transmissivity
from soilflow.units import Coordinate, Depth, Fraction, Length, Permeability, check_fields

__all__ = ["DEFAULT_BOTTOM", "Ground", "SettledGap", "SoilLayer"]

# Chosen by the project: with a loose band, a bottom at 4 m moves the covered area by points.
DEFAULT_BOTTOM = 10.0


@dataclass(frozen=True, kw_only=True)
class SoilLayer:
    """One layer of native soil.

    Parameters
    ----------
    permeability : float
        Air permeability along the layer. [m2]
    vertical : float or None
        Air permeability across the layer; None makes it the same. [m2]
    top : float
        Depth of its top below the slab underside; the first layer reaches up to grade. [m]
    source : str
        Where the permeability comes from: a test, a table, a guess.
    """

    permeability: Permeability
    vertical: Permeability | None = None
    top: Coordinate = 0.0
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    @property
    def across(self) -> float:
        """Air permeability across the layer. [m2]"""
        return self.permeability if self.vertical is None else self.vertical


@dataclass(frozen=True, kw_only=True)
class Ground:
    """Layers of soil over a tight bottom.

    Parameters
    ----------
    layers : tuple of SoilLayer
        From the top down.
    bottom : float
        Depth of the tight bottom below the slab underside. [m]
    water_table : float or None
        Depth of the highest water of the year; it bounds digging and does nothing to the air. [m]
    source : str
        Where the depths come from.
    """

    layers: tuple[SoilLayer, ...]
    bottom: Length = DEFAULT_BOTTOM
    water_table: Length | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.layers:
            raise InputError("no soil layer; give at least one", field="layers")
        tops = [layer.top for layer in self.layers]
        for above, below in itertools.pairwise(tops):
            if below <= above:
                raise InputError(
                    f"a layer with its top at {below:g} m follows one at {above:g} m; "
                    "list layers from the top down",
                    field="layers",
                )
        if tops[-1] >= self.bottom:
            raise InputError(
                f"the last layer starts at {tops[-1]:g} m, at or below the bottom at "
                f"{self.bottom:g} m",
                field="bottom",
            )

    def effects(self, grade: float) -> tuple[Effect, ...]:
        """Each layer sets permeability (mechanism 1).

        Parameters
        ----------
        grade : float
            Height of the ground above the slab underside, where the first layer starts. [m]

        Returns
        -------
        effects : tuple of Effect
            One per layer, from the top down.
        """
        everywhere = box(-1e4, -1e4, 1e4, 1e4)
        tops = [min(-grade, self.layers[0].top), *(layer.top for layer in self.layers[1:])]
        bottoms = [*tops[1:], self.bottom]
        return tuple(
            SetsPermeability(
                where=Prism(plan=everywhere, top=top, bottom=bottom),
                horizontal=layer.permeability,
                vertical=layer.across,
            )
            for layer, top, bottom in zip(self.layers, tops, bottoms, strict=True)
        )


@dataclass(frozen=True, kw_only=True)
class SettledGap:
    """Air space left under a slab where the soil has settled.

    The aperture rises from ``aperture_at_edge`` on the outline to ``aperture`` at a distance
    ``taper`` from it, and stays there.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    corners : tuple of (float, float) or None
        Outline in plan, slanted edges in steps; None takes the whole floor. [m]
    hole : tuple of (float, float) or None
        Outline of a part without gap inside it, such as the middle of the floor. [m]
    aperture : float
        Height of the gap. [m]
    aperture_at_edge : float or None
        Height on the outline; None is the same everywhere. [m]
    taper : float
        Width over which it grows to the full height. [m]
    contact_fraction : float
        Part of the area where slab and soil still touch. [-]
    source : str
        Where the height comes from.
    """

    name: str
    aperture: Depth
    corners: tuple[tuple[Coordinate, Coordinate], ...] | None = None
    hole: tuple[tuple[Coordinate, Coordinate], ...] | None = None
    aperture_at_edge: Depth | None = None
    taper: Depth = 0.0
    contact_fraction: Fraction = 0.0
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        for field in ("corners", "hole"):
            ring = getattr(self, field)
            if ring is not None:
                footprint_polygon(ring, field=field)
        if self.aperture_at_edge is not None and self.taper <= 0.0:
            raise InputError(
                "aperture_at_edge needs a taper, the width over which the gap grows", field="taper"
            )

    def plan(self, footprint: Polygon) -> BaseGeometry:
        """Area of the gap.

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces, used when the gap states no corners. [m]

        Returns
        -------
        plan : shapely geometry
            Area of the gap, cut to the floor. [m]
        """
        whole = footprint
        if self.corners is not None:
            whole = footprint_polygon(self.corners).intersection(footprint)
        if self.hole is not None:
            whole = whole.difference(footprint_polygon(self.hole))
        return only_area(whole)

    def past_floor(self, footprint: BaseGeometry) -> float:
        """How far its corners lie beyond the floor.

        Parameters
        ----------
        footprint : shapely geometry
            Inner wall faces. [m]

        Returns
        -------
        distance : float
            That of the farthest corner; 0 for a gap that states none. [m]
        """
        return max((Point(c).distance(footprint) for c in self.corners or ()), default=0.0)

    def aperture_map(
        self, plan: BaseGeometry, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Height of the gap at points inside it.

        Parameters
        ----------
        plan : shapely geometry
            Area of the gap. [m]
        x, y : array, any one shape
            Points in plan. [m]

        Returns
        -------
        aperture : array, shape of x
            Height. [m]
        """
        if self.aperture_at_edge is None:
            return np.full(np.shape(x), self.aperture)
        inside = shapely.distance(plan.boundary, shapely.points(x, y))
        rise = np.minimum(inside / self.taper, 1.0)
        return self.aperture_at_edge + (self.aperture - self.aperture_at_edge) * rise

    def effects(self, footprint: Polygon) -> tuple[Effect, ...]:
        """The gap carries along a sheet (mechanism 3).

        Parameters
        ----------
        footprint : shapely.Polygon
            Inner wall faces. [m]

        Returns
        -------
        effects : tuple of Effect
            One sheet; none when the gap has no height or no area.
        """
        plan = self.plan(footprint)
        if plan.is_empty or self.aperture == 0.0:
            return ()

        def transmissivity(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
            aperture = self.aperture_map(plan, x, y)
            return np.asarray(cubic_law_transmissivity(aperture, self.contact_fraction))

        return (CarriesAlongSheet(plan=plan, transmissivity=transmissivity),)
