"""What a feature of a house can do to the flow of air: five mechanisms, nothing else.

1. It **sets or multiplies permeability** in a region: `SetsPermeability`,
   `MultipliesPermeability`.
2. It **blocks**: `Blocks` (a solid) or `BlocksFace` (a wall without thickness).
3. It **carries along a sheet**: `CarriesAlongSheet`.
4. It **leaks to a named reference**: `LeaksOverArea`, `LeaksAlongLine`.
5. It **carries along a line** (drain tile, trench). No feature makes one yet.

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
    "CarriesAlongSheet",
    "Effect",
    "LeaksAlongLine",
    "LeaksOverArea",
    "MultipliesPermeability",
    "Prism",
    "SetsPermeability",
]

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
    factor : float
        Permeability relative to the surrounding soil; 0 means no air path. [-]
    """

    where: Prism
    factor: float


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
    transmissivity: Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


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
    """

    plan: BaseGeometry
    depth: float
    leakance: float
    reference: str


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
    """

    name: str
    start: tuple[float, float]
    end: tuple[float, float]
    inward: tuple[int, int]
    aperture: float
    path: float
    reference: str


Effect = (
    SetsPermeability
    | MultipliesPermeability
    | Blocks
    | BlocksFace
    | CarriesAlongSheet
    | LeaksOverArea
    | LeaksAlongLine
)
