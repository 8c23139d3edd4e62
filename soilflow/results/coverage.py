"""How much of the floor is under suction, and where it is worst."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from soilflow.results.floor import FloorPressure
from soilflow.results.patches import patches_of

__all__ = [
    "PASS_LINE",
    "PATCH",
    "STRIP",
    "THRESHOLDS",
    "WorstPatch",
    "column_share",
    "coverage",
    "covered_area",
    "worst_margin",
    "worst_margins",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# At least this much suction everywhere in the design condition; the smallest reversal a good
# gauge can show, common practice (from memory). [Pa]
PASS_LINE = 1.0
# The second threshold, shown beside it: mild-weather design suction, from memory. [Pa]
THRESHOLDS = (1.0, 5.0)
# Width of the strip along the walls that perimeter coverage looks at, chosen by the project. [m]
STRIP = 0.15
# Side of the patch whose mean counts as one place, about two feet, chosen by the project. [m]
PATCH = 0.6


@dataclass(frozen=True, kw_only=True)
class WorstPatch:
    """The worst place on the floor.

    Parameters
    ----------
    margin : float
        Mean suction there beyond the pass line; negative fails. [Pa]
    x, y : float
        Middle of the patch. [m]
    """

    margin: float
    x: float
    y: float


def covered_area(floor: FloorPressure, threshold: float, *, within: Mask | None = None) -> Array:
    """Area of each column where the pressure is at or below minus the threshold.

    Each column is cut into four triangles from its centre to its corners; corner values are
    bilinear means of the columns around, never across a footing; in a triangle the pressure is
    linear, so the area below a level is exact.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    threshold : float
        Suction wanted. [Pa]
    within : array of bool, shape (nx, ny), or None
        Columns to look at; None for the floor.

    Returns
    -------
    area : array, shape (nx, ny)
        Covered area. [m2]
    """
    use = floor.floor & ~np.isnan(floor.pressure)
    if within is not None:
        use &= within
    corners = _corner_values(floor)
    share = np.zeros(floor.pressure.shape)
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0)):
        share += 0.25 * _share_below(floor.pressure, corners[a], corners[b], -threshold)
    return np.where(use, share, 0.0) * floor.areas


def coverage(floor: FloorPressure, threshold: float, *, strip: BaseGeometry | None = None) -> float:
    """Share of the floor, or of a strip of it, under at least some suction.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    threshold : float
        Suction wanted. [Pa]
    strip : shapely geometry or None
        Part to look at, its edges on column edges; None for the whole floor. [m]

    Returns
    -------
    share : float
        Between 0 and 1; NaN when no air reaches any of it. [-]
    """
    within = _judged(floor, strip)
    whole = float(floor.areas[within].sum())
    if whole == 0.0:
        return float("nan")
    return float(covered_area(floor, threshold, within=within).sum()) / whole


def column_share(floor: FloorPressure, *, strip: BaseGeometry | None = None) -> float:
    """Part of the floor, or of a strip of it, that one column of cells stands for on average.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    strip : shapely geometry or None
        Part to look at; None for the whole floor. [m]

    Returns
    -------
    share : float
        One over the number of columns that air reaches. [-]
    """
    return 1.0 / max(int(_judged(floor, strip).sum()), 1)


def _judged(floor: FloorPressure, strip: BaseGeometry | None) -> Mask:
    """Columns that a coverage counts."""
    within = floor.floor & ~np.isnan(floor.pressure)
    if strip is None:
        return within
    cx, cy = 0.5 * (floor.x[1:] + floor.x[:-1]), 0.5 * (floor.y[1:] + floor.y[:-1])
    xx, yy = np.meshgrid(cx, cy, indexing="ij")
    return within & np.asarray(shapely.contains_xy(strip, xx, yy), dtype=bool)


def _share_below(a: Array, b: Array, c: Array, level: float) -> Array:
    """Share of a triangle with values a, b, c at its corners that lies at or below a level."""
    lo, mid, hi = np.sort(np.stack([a, b, c]), axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        below = (level - lo) ** 2 / ((mid - lo) * (hi - lo))
        above = 1.0 - (hi - level) ** 2 / ((hi - mid) * (hi - lo))
    share = np.where(level < mid, below, above)
    share = np.where(level < lo, 0.0, share)
    return np.asarray(np.where(level >= hi, 1.0, share))


def _corner_values(floor: FloorPressure) -> list[Array]:
    """Value at the four corners of each column, counter-clockwise from the south-west."""
    value = np.pad(floor.pressure, 1, constant_values=np.nan)
    dx = np.pad(np.diff(floor.x), 1, mode="edge")
    dy = np.pad(np.diff(floor.y), 1, mode="edge")
    open_x = np.pad(floor.open_x, ((1, 1), (1, 1)), constant_values=False)
    open_y = np.pad(floor.open_y, ((1, 1), (1, 1)), constant_values=False)
    nx, ny = floor.pressure.shape
    i, j = np.arange(1, nx + 1), np.arange(1, ny + 1)
    corners = []
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        bx, by = open_x[_border(i, sx)][:, j], open_y[i][:, _border(j, sy)]
        beside_x = open_y[i + sx][:, _border(j, sy)]
        beside_y = open_x[_border(i, sx)][:, j + sy]
        there = {
            (0, 0): np.ones((nx, ny), dtype=bool),
            (sx, 0): bx,
            (0, sy): by,
            (sx, sy): (bx & beside_x) | (by & beside_y),
        }
        total, weight = np.zeros((nx, ny)), np.zeros((nx, ny))
        for (ox, oy), reachable in there.items():
            v = value[i + ox][:, j + oy]
            # the nearer column weighs more: each weighs the other's size
            w = np.outer(dx[i + sx - ox], dy[j + sy - oy])
            w = np.where(reachable & ~np.isnan(v), w, 0.0)
            total += w * np.nan_to_num(v)
            weight += w
        with np.errstate(invalid="ignore"):
            corners.append(total / weight)
    return corners


def _border(index: NDArray[np.int64], sign: int) -> NDArray[np.int64]:
    """Index, in the padded border arrays, of the border on one side of padded columns."""
    return index if sign > 0 else index - 1


def worst_margin(floor: FloorPressure) -> WorstPatch:
    """Least mean suction over patches wholly inside the slab, beyond the pass line.

    The pressure is taken constant in each column, so a patch mean is bilinear in the patch's
    place between positions where its edges meet column edges: looking at those is exact.
    A patch counts when air reaches at least half of it and no footing parts that air; where none
    is left between footings, parted ones count.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.

    Returns
    -------
    worst : WorstPatch
        Margin and place.

    Raises
    ------
    InputError
        No patch of floor has air below it.
    """
    [worst] = worst_margins(floor, np.zeros(floor.floor.shape, dtype=np.int64)).values()
    return worst


def worst_margins(floor: FloorPressure, territory: NDArray[np.int64]) -> dict[int, WorstPatch]:
    """Least mean suction beyond the pass line in each part of the floor.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    territory : array of int, shape (nx, ny)
        Number of the part each column belongs to. A patch belongs to the part its middle is in.

    Returns
    -------
    worst : dict of int to WorstPatch
        By part, as `worst_margin` would find it there; parts without a patch are left out.

    Raises
    ------
    InputError
        No patch of the floor has air below it.
    """
    patches = patches_of(floor, PATCH)
    mean = np.where(patches.usable, patches.means(floor.pressure), -np.inf)
    part = territory[np.ix_(*patches.middles)]
    found = {}
    for number in np.unique(part[patches.usable]).tolist():
        mine = np.where(part == number, mean, -np.inf)
        worst_first = np.argsort(-mine, axis=None, kind="stable")[: int((mine > -np.inf).sum())]
        ranked = np.column_stack(np.unravel_index(worst_first, mean.shape))
        whole = (at for at in ranked if patches.in_one_piece(int(at[0]), int(at[1])))
        i, j = next(whole, ranked[0])
        found[number] = WorstPatch(
            margin=float(-mean[i, j]) - PASS_LINE,
            x=float(patches.x[i] + 0.5 * patches.side),
            y=float(patches.y[j] + 0.5 * patches.side),
        )
    return found
