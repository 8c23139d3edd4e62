"""Leaks as lists, one entry per cell face, stretch of slot, or opening into a body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["AreaLeaks", "DirectLeaks", "LineLeaks"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class AreaLeaks:
    """Cell faces that leak to a reference, upper or upright ones, one entry per face.

    Parameters
    ----------
    cell : array of int, shape (n,)
        Flat cell index under the face.
    area : array, shape (n,)
        Leaking area. [m2]
    leakance : array, shape (n,)
        Permeability over thickness of the cover, infinite for open ground. [m]
    port : array of int, shape (n,)
        Index into the ports of the map.
    axis : array of int, shape (n,)
        Axis across the face: 2 for upper faces.
    """

    cell: Index
    area: Array
    leakance: Array
    port: Index
    axis: Index


@dataclass(frozen=True, kw_only=True, eq=False)
class LineLeaks:
    """Stretches of slot, one entry per cell and side.

    Parameters
    ----------
    cell : array of int, shape (n,)
        Flat index of the cell the slot opens into.
    length : array, shape (n,)
        Length of slot in that cell. [m]
    aperture, path : array, shape (n,)
        Width of the slot and its length along the flow. [m]
    share : array, shape (n,)
        Part of the slot's conductance this side carries: 1 in a corner, 0.5 in open floor. [-]
    normal : array of int, shape (n,)
        Axis across the slot, 0 or 1.
    port : array of int, shape (n,)
        Index into the ports of the map.
    line : array of int, shape (n,)
        Index into ``SoilMap.line_names``.
    """

    cell: Index
    length: Array
    aperture: Array
    path: Array
    share: Array
    normal: Index
    port: Index
    line: Index


@dataclass(frozen=True, kw_only=True, eq=False)
class DirectLeaks:
    """Leaks that open straight into a held body, without soil between.

    Parameters
    ----------
    body, port : array of int, shape (n,)
        Ports at the two ends, indices into the ports of the map.
    geometry : array, shape (n,)
        Conductance times viscosity. [m3]
    line : array of int, shape (n,)
        Index into ``SoilMap.line_names``; -1 for the slab body.
    """

    body: Index
    port: Index
    geometry: Array
    line: Index
