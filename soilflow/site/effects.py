"""What a feature of a house can do to the flow of air: five mechanisms, nothing else.

1. It **sets or multiplies permeability** in a region: `SetsPermeability`,
   `MultipliesPermeability`.
2. It **blocks**: `Blocks` (a solid) or `BlocksFace` (a wall without thickness).
3. It **carries along a sheet**: `CarriesAlongSheet`.
4. It **leaks to a named reference**: `LeaksOverArea`, `LeaksOverFace`, `LeaksAlongLine`.
5. It **carries along a line**: `CarriesAlongLine`.

Trade nouns make effects; the grid, the soil map and the network know only effects.
Plan coordinates are x east and y north, z is depth below the slab underside, down.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

__all__ = [
    "HOUSE",
    "OUTDOORS",
    "Blocks",
    "BlocksFace",
    "CarriesAlongLine",
    "CarriesAlongSheet",
    "Effect",
    "LeaksAlongLine",
    "LeaksOverArea",
    "LeaksOverFace",
    "MultipliesPermeability",
    "Prism",
    "SetsPermeability",
]

Array = NDArray[np.float64]

HOUSE = "house"
OUTDOORS = "outdoors"


@dataclass(frozen=True, kw_only=True)
class Prism:
    """A plan area between two depths.

    Parameters
    ----------
    plan : shapely geometry
        Area in plan. [m]
    top : float
        Upper depth below the slab underside, negative above it. [m]
    bottom : float
        Lower depth. [m]
    """

    plan: BaseGeometry
    top: float
    bottom: float


@dataclass(frozen=True, kw_only=True)
class SetsPermeability:
    """Soil with its own permeability in a region.

    Parameters
    ----------
    where : Prism
        The region.
    horizontal, vertical : float
        Air permeability along and across the layers. [m2]
    """

    where: Prism
    horizontal: float
    vertical: float


@dataclass(frozen=True, kw_only=True)
class MultipliesPermeability:
    """A region whose soil passes air more or less easily than the soil it lies in.

    Parameters
    ----------
    where : Prism
        The region.
    factor : float or callable
        Permeability relative to the surrounding soil, 0 means no air path; or what maps
        coordinates x, y, z in metres, arrays that broadcast, to it. [-]
    """

    where: Prism
    factor: float | Callable[[Array, Array, Array], Array]


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """A solid, or house air: no soil and no cells.

    Parameters
    ----------
    where : Prism
        The solid.
    """

    where: Prism


@dataclass(frozen=True, kw_only=True)
class BlocksFace:
    """A vertical wall without thickness.

    Parameters
    ----------
    start, end : tuple of float
        Ends of the wall line in plan, axis-aligned. [m]
    top, bottom : float
        Depths it reaches from and to. [m]
    """

    start: tuple[float, float]
    end: tuple[float, float]
    top: float
    bottom: float


@dataclass(frozen=True, kw_only=True)
class CarriesAlongSheet:
    """An open sheet between the slab and the soil.

    Parameters
    ----------
    plan : shapely geometry
        Area of the sheet. [m]
    transmissivity : callable
        Maps plan coordinates x, y, arrays of one shape [m], to transmissivity [m3].
    """

    plan: BaseGeometry
    transmissivity: Callable[[Array, Array], Array]


@dataclass(frozen=True, kw_only=True)
class LeaksOverArea:
    """An area through which soil at one depth leaks up to a reference.

    Parameters
    ----------
    plan : shapely geometry
        The area. [m]
    depth : float
        Depth of the surface. [m]
    leakance : float
        Permeability over thickness of what covers the soil; infinite for open ground. [m]
    reference : str
        Name of the reference it leaks to.
    floor : bool
        Whether it is a slab, under which suction is wanted against that reference.
    hole : bool
        Whether it is a hole in a slab: a gap under the slab ends at its rim, open to it.
    """

    plan: BaseGeometry
    depth: float
    leakance: float
    reference: str
    floor: bool = False
    hole: bool = False


@dataclass(frozen=True, kw_only=True)
class LeaksOverFace:
    """An upright face through which soil on one side leaks to a reference.

    Parameters
    ----------
    start, end : tuple of float
        Ends of the face in plan, axis-aligned. [m]
    inward : tuple of int
        Unit vector from the face to the soil that leaks. [-]
    top, bottom : float
        Depths it reaches from and to. [m]
    leakance : float
        Permeability over thickness of what covers the soil. [m]
    reference : str
        Name of the reference it leaks to.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    inward: tuple[int, int]
    top: float
    bottom: float
    leakance: float
    reference: str


@dataclass(frozen=True, kw_only=True)
class CarriesAlongLine:
    """A pipe, tile or trench so open that all along it the pressure is one.

    Parameters
    ----------
    name : str
        What it is called; a suction point may take its place by that name.
    points : tuple of (float, float)
        Its course in plan, axis-aligned stretches. [m]
    depth : float
        Depth of its axis; 0 lies half buried in the slab's underside. [m]
    radius : float
        Radius of the round bore that is as open. [m]
    reference : str
        Name of the reference it is open to; empty when it ends blind.
    """

    name: str
    points: tuple[tuple[float, float], ...]
    depth: float
    radius: float
    reference: str = ""


@dataclass(frozen=True, kw_only=True)
class LeaksAlongLine:
    """A straight slot through the slab.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    start, end : tuple of float
        Ends of the slot in plan, axis-aligned. [m]
    inward : tuple of int
        Unit vector to the side it opens on when the other side is walled off. [-]
    aperture : float
        Width of the slot. [m]
    path : float
        Length of the slot along the flow, the slab thickness. [m]
    reference : str
        Name of the reference it leaks to.
    stretch : float
        True length over drawn length, below 1 where stairs stand for a slanted slot. [-]
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    inward: tuple[int, int]
    aperture: float
    path: float
    reference: str
    stretch: float = 1.0


Effect = (
    SetsPermeability
    | MultipliesPermeability
    | Blocks
    | BlocksFace
    | CarriesAlongSheet
    | LeaksOverArea
    | LeaksOverFace
    | LeaksAlongLine
    | CarriesAlongLine
)
