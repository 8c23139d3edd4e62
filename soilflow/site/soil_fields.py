"""Soil that varies from place to place: known at points, or at random with a stated spread."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import box

from soilflow.bounds import LARGEST
from soilflow.errors import InputError
from soilflow.site.effects import Effect, MultipliesPermeability, Prism
from soilflow.units import Coordinate, Dimension, Length, check_fields

__all__ = ["RandomSoil", "SoilField"]

Array = NDArray[np.float64]
Multiplier = Annotated[float, Dimension("ratio", "-", ge=0.0, most=LARGEST["ratio"])]

# Waves in a random field, enough that no single one shows (chosen by the project).
_WAVES = 500
_EVERYWHERE = box(-1e4, -1e4, 1e4, 1e4)


@dataclass(frozen=True, kw_only=True)
class SoilField:
    """A multiplier on permeability, known at the nodes of a raster.

    Linear between nodes; beyond the outermost ones the nearest value holds.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    x, y : tuple of float
        Coordinates of the nodes, increasing. [m]
    z : tuple of float
        Their depths below the slab underside, increasing; empty for one value at all depths. [m]
    multipliers : tuple of tuple of tuple of float
        Air permeability relative to the soil there: for each x, for each y, the values down, one
        for each z or a single one. [-]
    source : str
        Where the values come from.
    """

    name: str
    x: tuple[Coordinate, ...]
    y: tuple[Coordinate, ...]
    multipliers: tuple[tuple[tuple[Multiplier, ...], ...], ...]
    z: tuple[Coordinate, ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        for axis in ("x", "y", "z"):
            nodes = getattr(self, axis)
            if any(b <= a for a, b in itertools.pairwise(nodes)):
                raise InputError("coordinates must increase", field=axis)
            if not nodes and axis != "z":
                raise InputError("at least one coordinate is needed", field=axis)
        shape = (len(self.x), len(self.y), max(len(self.z), 1))
        counts = {len(self.multipliers)}, {len(row) for row in self.multipliers}
        deep = {len(column) for row in self.multipliers for column in row}
        if (*counts, deep) != tuple({n} for n in shape):
            raise InputError(
                f"{shape[0]} lists of {shape[1]} lists of {shape[2]} values are needed, "
                "one for each x, y and z",
                field="multipliers",
            )

    def at(self, x: Array, y: Array, z: Array) -> Array:
        """The multiplier at some points.

        Parameters
        ----------
        x, y, z : array, shapes that broadcast
            The points. [m]

        Returns
        -------
        multiplier : array, their common shape
            Air permeability relative to the soil there. [-]
        """
        values = np.asarray(self.multipliers)
        (i, s), (j, t), (k, u) = (
            _place(nodes, at) for nodes, at in zip((self.x, self.y, self.z), (x, y, z), strict=True)
        )
        upright = [[_mix(values[a, b, k[0]], values[a, b, k[1]], u) for b in j] for a in i]
        sheets = [_mix(south, north, t) for south, north in upright]
        return _mix(sheets[0], sheets[1], s)

    def effects(self, grade: float, bottom: float) -> tuple[Effect, ...]:
        """The field multiplies the permeability of the soil it lies in (mechanism 1).

        Parameters
        ----------
        grade : float
            Height of the ground above the slab underside. [m]
        bottom : float
            Depth of the tight bottom. [m]

        Returns
        -------
        effects : tuple of Effect
            One multiplier.
        """
        where = Prism(plan=_EVERYWHERE, top=-grade, bottom=bottom)
        return (MultipliesPermeability(where=where, factor=self.at),)


def _place(
    nodes: Sequence[float], at: Array
) -> tuple[tuple[NDArray[np.int64], NDArray[np.int64]], Array]:
    """Nodes on either side of points along one axis, and how far between them a point lies."""
    if len(nodes) < 2:
        zero = np.zeros(np.shape(at), dtype=np.int64)
        return (zero, zero), np.zeros(np.shape(at))
    edges = np.asarray(nodes)
    low = np.clip(np.searchsorted(edges, at, side="right") - 1, 0, edges.size - 2)
    part = (at - edges[low]) / (edges[low + 1] - edges[low])
    return (low, low + 1), np.clip(part, 0.0, 1.0)


def _mix(a: Array, b: Array, part: Array) -> Array:
    """Between a and b; exactly a where they are equal."""
    return np.asarray(a + part * (b - a))


@dataclass(frozen=True, kw_only=True)
class RandomSoil:
    """Permeability that varies at random around that of the layers.

    Its logarithm is normal. It is a sum of waves with random direction, length and phase, whose
    correlation over a distance d along an axis is exp(-(d / length)^2). Being a formula of the
    place, it is the same on every grid.

    Parameters
    ----------
    sigma : float
        Standard deviation of the natural logarithm of permeability. [-]
    lengths : tuple of float
        Correlation lengths along x, y and z, at which correlation has fallen to 1/e. [m]
    seed : int
        Picks the draw; one seed is one soil.
    source : str
        Where spread and lengths come from.

    Notes
    -----
    The median multiplier is 1 over many draws, and within one draw over an area much larger than
    the correlation lengths. The grid takes the value at each cell's middle, so cells must be
    smaller than the lengths.

    References
    ----------
    Sums of random waves: Shinozuka 1971, J. Acoustical Society of America 49, 357, from memory.
    """

    sigma: Multiplier
    lengths: tuple[Length, Length, Length]
    seed: int = 0
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if isinstance(self.seed, bool) or not isinstance(self.seed, int) or self.seed < 0:
            raise InputError(f"{self.seed!r}: a whole number from 0 is needed", field="seed")

    def at(self, x: Array, y: Array, z: Array) -> Array:
        """The multiplier at some points.

        Parameters
        ----------
        x, y, z : array, shapes that broadcast
            The points. [m]

        Returns
        -------
        multiplier : array, their common shape
            Air permeability relative to the soil there. [-]
        """
        rng = np.random.default_rng(self.seed)
        # the correlation above is the mean of cos(k d) over normal k of this spread
        waves = rng.standard_normal((_WAVES, 3)) * math.sqrt(2.0) / np.asarray(self.lengths)
        phase = rng.uniform(0.0, 2.0 * math.pi, _WAVES)
        total = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y), np.shape(z)))
        for (kx, ky, kz), start in zip(waves, phase, strict=True):
            # three short factors and one product, not a cosine for every cell
            plan = np.exp(1j * (kx * x + start)) * np.exp(1j * ky * y)
            total += np.real(plan * np.exp(1j * kz * z))
        with np.errstate(over="ignore"):  # beyond all measure: refused where soil is made of it
            return np.asarray(np.exp(self.sigma * math.sqrt(2.0 / _WAVES) * total))

    def effects(self, grade: float, bottom: float) -> tuple[Effect, ...]:
        """The soil's spread multiplies the permeability of the layers (mechanism 1).

        Parameters
        ----------
        grade : float
            Height of the ground above the slab underside. [m]
        bottom : float
            Depth of the tight bottom. [m]

        Returns
        -------
        effects : tuple of Effect
            One multiplier; none without spread.
        """
        if self.sigma == 0.0:
            return ()
        where = Prism(plan=_EVERYWHERE, top=-grade, bottom=bottom)
        return (MultipliesPermeability(where=where, factor=self.at),)
