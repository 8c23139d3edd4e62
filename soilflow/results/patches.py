"""Patches of floor: the size of place at which suction is judged, in every position."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.results.floor import FloorPressure

__all__ = ["Patches", "patches_of"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Patches:
    """All places of a patch at which a mean can be lowest.

    Parameters
    ----------
    floor : FloorPressure
        The floor; its pressure only tells where air reaches.
    side : float
        Side of the patch. [m]
    x, y : array, shape (nx,), (ny,)
        West and south edges of the patch. [m]
    air_area : array, shape (nx, ny)
        Area of each patch that air reaches. [m2]
    usable : array of bool, shape (nx, ny)
        Patches wholly inside the floor, air below at least half of them.
    """

    floor: FloorPressure
    side: float
    x: Array
    y: Array
    air_area: Array
    usable: Mask

    @property
    def middles(self) -> list[NDArray[np.int64]]:
        """Column along each axis that the middle of a patch lies in."""
        return [
            np.clip(np.searchsorted(e, p + 0.5 * self.side) - 1, 0, e.size - 2)
            for e, p in ((self.floor.x, self.x), (self.floor.y, self.y))
        ]

    def means(self, values: Array) -> Array:
        """Mean of what is constant in each column, over the part of each patch that air reaches.

        Parameters
        ----------
        values : array, any shape that ends in those of the columns
            By column. [SI]

        Returns
        -------
        means : array, shape (nx, ny)
            By patch; anything where a patch is not usable. [SI]
        """
        there = self.floor.floor & ~np.isnan(self.floor.pressure)
        sums = _patch_sums(self.floor, np.where(there, values, 0.0), [self.x, self.y], self.side)
        return sums / np.where(self.usable, self.air_area, 1.0)

    def in_one_piece(self, i: int, j: int) -> bool:
        """Whether the air under a patch is on one side of every footing.

        Parameters
        ----------
        i, j : int
            Number of the patch along x and y.

        Returns
        -------
        whole : bool
            True also where there is no footing.
        """
        return _in_one_piece(self.floor, float(self.x[i]), float(self.y[j]), self.side)


def patches_of(floor: FloorPressure, wanted: float) -> Patches:
    """The places a patch is looked at in.

    Parameters
    ----------
    floor : FloorPressure
        The floor; its pressure only tells where air reaches.
    wanted : float
        Side of a patch, on a narrower floor less. [m]

    Returns
    -------
    patches : Patches
        With an edge on a column edge along each axis.

    Raises
    ------
    InputError
        No patch of the floor has air below it.
    """
    air = floor.floor & ~np.isnan(floor.pressure)
    side = min(wanted, float(np.ptp(floor.x)), float(np.ptp(floor.y)))
    places = [np.unique(np.concatenate([e, e - side])) for e in (floor.x, floor.y)]
    places = [
        p[(p >= e[0] - 1e-9) & (p + side <= e[-1] + 1e-9)]
        for p, e in zip(places, (floor.x, floor.y), strict=True)
    ]
    inside, reached = (
        _patch_sums(floor, there.astype(float), places, side) for there in (floor.floor, air)
    )
    usable = (inside >= side * side * (1.0 - 1e-9)) & (reached >= 0.5 * side * side)
    if not usable.any():
        raise InputError("no patch of the floor has air below it, so there is no margin to give")
    return Patches(
        floor=floor, side=side, x=places[0], y=places[1], air_area=reached, usable=usable
    )


def _in_one_piece(floor: FloorPressure, x: float, y: float, side: float) -> bool:
    """Whether the air under a patch is on one side of every footing."""
    i, j = (
        slice(int(np.searchsorted(e, at + 1e-9)) - 1, int(np.searchsorted(e, at + side - 1e-9)))
        for e, at in ((floor.x, x), (floor.y, y))
    )
    air = (floor.floor & ~np.isnan(floor.pressure))[i, j]
    # columns and the borders between them, in turn
    ways = np.zeros((2 * air.shape[0] - 1, 2 * air.shape[1] - 1), dtype=bool)
    ways[::2, ::2] = air
    ways[1::2, ::2] = floor.open_x[i.start : i.stop - 1, j] & air[1:] & air[:-1]
    ways[::2, 1::2] = floor.open_y[i, j.start : j.stop - 1] & air[:, 1:] & air[:, :-1]
    from scipy.ndimage import label  # 0.06 s, and `check` imports this module for its strips

    return int(label(ways)[1]) <= 1


def _patch_sums(floor: FloorPressure, values: Array, places: list[Array], side: float) -> Array:
    """Integral of a columnwise constant over each patch, shape of the places."""
    weighted = values * floor.areas
    cumulative = np.zeros((floor.x.size, floor.y.size))
    cumulative[1:, 1:] = weighted.cumsum(axis=0).cumsum(axis=1)
    low = [_along(floor.x, places[0]), _along(floor.y, places[1])]
    high = [_along(floor.x, places[0] + side), _along(floor.y, places[1] + side)]
    rows = _pick(cumulative, high[0], 0) - _pick(cumulative, low[0], 0)
    return _pick(rows, high[1], 1) - _pick(rows, low[1], 1)


def _along(edges: Array, at: Array) -> Array:
    """Place along an axis in cells, linear between edges."""
    return np.interp(at, edges, np.arange(edges.size, dtype=float))


def _pick(table: Array, at: Array, axis: int) -> Array:
    """Linear interpolation of a table along an axis at fractional indices."""
    low = np.clip(at.astype(int), 0, table.shape[axis] - 2)
    part = at - low
    shape = [1, 1]
    shape[axis] = -1
    part = part.reshape(shape)
    a, b = np.take(table, low, axis=axis), np.take(table, low + 1, axis=axis)
    return np.asarray(a + part * (b - a))
