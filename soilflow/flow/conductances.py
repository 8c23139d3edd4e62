"""What one slot, one star and one covered face conduct: pure functions that every engine calls."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["area_conductance", "slot_legs", "star_to_triangle", "summed"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


def slot_legs(
    *,
    length: Array,
    aperture: Array,
    path: Array,
    share: Array,
    across: Array,
    down: Array,
    horizontal: Array,
    vertical: Array,
    sheet: Array,
    viscosity: float,
) -> tuple[Array, Array, Array]:
    """Conductances of a slot's three legs: to its reference, to the soil, to the gap.

    The slot passes w^3 / (12 mu t) per metre. Soil converges on it as on a part of a line
    source: between the slot's radius and the radius a cell stands for lies the resistance
    mu ln(r_cell / r_slot) / (k theta) per metre that the grid does not see. Over a gap air
    reaches it through half a gap cell.

    Parameters
    ----------
    length : array, shape (n,)
        Length of slot in the cell. [m]
    aperture, path : array, shape (n,)
        Width of the slot and its length along the flow. [m]
    share : array, shape (n,)
        Part of its conductance on this side: 1 in a corner, 0.5 in open floor. [-]
    across, down : array, shape (n,)
        Cell size across the slot and down. [m]
    horizontal, vertical : array, shape (n,)
        Permeability of the cell's soil, zero without an air path. [m2]
    sheet : array, shape (n,)
        Transmissivity of the gap there, 0 for none. [m3]
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    to_reference, to_soil, to_sheet : array, shape (n,)
        Conductances; an infinite one means slot and soil cell are one. [m3/(s Pa)]

    Notes
    -----
    A corner sees the slot as a quarter cylinder of radius w / 2, open
    floor as two corners with half the conductance and radius w / 4 each.
    """
    to_reference = share * aperture**3 / (12.0 * viscosity * path) * length
    soil = np.minimum(horizontal, vertical) > 0.0
    stretch = np.where(soil, vertical / np.where(soil, horizontal, 1.0), 1.0) ** 0.25
    r_cell = _corner_cell_radius(across * stretch, down / stretch)
    r_slot = 0.5 * aperture * share * stretch
    missing = np.log(np.maximum(r_cell / r_slot, 1.0))
    mean = np.sqrt(horizontal * vertical)
    with np.errstate(divide="ignore", invalid="ignore"):
        to_soil = mean * (0.5 * math.pi) * length / (viscosity * missing)
    to_soil = np.where(soil, to_soil, 0.0)
    to_sheet = sheet * length / (viscosity * 0.5 * across)
    return to_reference, to_soil, to_sheet


def _corner_cell_radius(across: Array, down: Array) -> Array:
    """Radius at which the field of a source in a corner cell has that cell's value. [m]

    r = e^-g / 4 sqrt(hx^2 + hz^2) exp(1/2 + (hx/hz atan(hz/hx) + hz/hx atan(hx/hz)) / 2), with
    Euler's g: 0.7178 h for a square cell. Derived here from the lattice Green function of the
    mirrored corner, whose source is spread over four cells.
    """
    ratio = across / down
    turned = ratio * np.arctan(1.0 / ratio) + np.arctan(ratio) / ratio
    spread = np.hypot(across, down) * np.exp(0.5 + 0.5 * turned)
    return np.asarray(0.25 * math.exp(-np.euler_gamma) * spread)


def star_to_triangle(a: Array, b: Array, c: Array) -> tuple[Array, Array, Array]:
    """Conductances between the ends of a star of three legs, its middle eliminated.

    Parameters
    ----------
    a, b, c : array, shape (n,)
        Legs; ``b`` may be infinite. [m3/(s Pa)]

    Returns
    -------
    ab, ac, bc : array, shape (n,)
        Conductances between the ends. [m3/(s Pa)]
    """
    total = a + b + c
    finite = np.isfinite(b)
    with np.errstate(invalid="ignore", divide="ignore"):
        ab = np.where(finite, a * b / total, a)
        ac = np.where(finite, a * c / total, 0.0)
        bc = np.where(finite, b * c / total, c)
    return ab, ac, bc


def area_conductance(
    area: Array, leakance: Array, half: Array, permeability: Array, viscosity: float
) -> Array:
    """Conductance from a cell centre through a face and its cover to a reference.

    Parameters
    ----------
    area : array, shape (n,)
        Leaking area. [m2]
    leakance : array, shape (n,)
        Permeability over thickness of the cover, infinite for open ground. [m]
    half : array, shape (n,)
        Distance from the face to the cell centre; 0 when air meets the cover directly. [m]
    permeability : array, shape (n,)
        Permeability of the soil across the face. [m2]
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    conductance : array, shape (n,)
        Series of cover and soil. [m3/(s Pa)]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.where(half > 0.0, half / permeability, 0.0)
    return np.asarray(area / (viscosity * (1.0 / leakance + below)))


def summed(index: Index, values: Array, size: int) -> Array:
    """Sum of the values that share an index.

    Parameters
    ----------
    index : array of int, shape (n,)
        Where each value goes.
    values : array, shape (n,)
        What is summed. [SI]
    size : int
        Number of sums.

    Returns
    -------
    sums : array, shape (size,)
        Zero where nothing went, also when there is nothing at all. [SI]
    """
    return np.bincount(index, values, size).astype(float)
