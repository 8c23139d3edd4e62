"""Pits of growing size side by side, and the rule when to stop digging."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.units import M_PER_INCH

__all__ = ["Digging", "PitSeries", "PitSizes", "worth_digging"]

Array = NDArray[np.float64]

# The rule: a bucket that adds less than this to the air is not worth carrying out. [-]
_WORTH = 0.10


@dataclass(frozen=True, kw_only=True)
class Digging:
    """How pits are dug and what else lies below: all guesses until somebody looks.

    Parameters
    ----------
    smear : float
        Thickness of the soil packed onto the wall of a pit that was not scraped. [m]
    smear_ratio : float
        Permeability of that soil relative to what it was. [-]
    seam_depth : float
        Depth of the top of a loose seam below the slab underside. [m]
    seam_thickness : float
        Its thickness. [m]
    seam_looser_by : float
        Its permeability relative to that of the top layer. [-]
    aperture : float
        Height of a gap that is not the case's own. [m]
    """

    smear: float = 0.020
    smear_ratio: float = 0.1
    seam_depth: float = 12.0 * M_PER_INCH
    seam_thickness: float = 2.0 * M_PER_INCH
    seam_looser_by: float = 30.0
    aperture: float = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class PitSeries:
    """One shape of pit in one place and state, dug deeper bucket by bucket.

    Parameters
    ----------
    shape, place, state : str
        What is dug, where, and how the soil is.
    conductance : array, shape (n + 1,)
        Flow into the pit for a pascal of suction against room and outdoors, from the bare core
        hole on; not a number where it may not be dug. [m3/(s Pa)]
    margins : array, shape (n + 1,)
        Suction at the worst spot of the floor beyond the pass line. [Pa]
    flows : array, shape (n + 1,)
        Through the fan, or at the stated vacuum. [m3/s]
    refused : str
        Why larger pits may not be dug there; empty when all may.
    """

    shape: str
    place: str
    state: str
    conductance: Array
    margins: Array
    flows: Array
    refused: str = ""

    @property
    def gains(self) -> Array:
        """What each bucket adds to the conductance, shape (n,). [-]"""
        return np.asarray(self.conductance[1:] / self.conductance[:-1] - 1.0)

    @property
    def stop(self) -> int:
        """Buckets after which none adds as much as a tenth any more."""
        return worth_digging(self.gains)

    @property
    def holds_from(self) -> int | None:
        """Fewest buckets with which the floor holds; None when none of them does."""
        with np.errstate(invalid="ignore"):
            enough = np.flatnonzero(self.margins >= 0.0)
        return int(enough[0]) if enough.size else None


@dataclass(frozen=True, kw_only=True, eq=False)
class PitSizes:
    """What digging brings.

    Parameters
    ----------
    case : Case
        The house.
    series : tuple of PitSeries
        By place, state and shape.
    digging : Digging
        How pits are dug.
    places : dict of str to (float, float)
        Where the pits are. [m]
    failures : tuple of str
        Why points have no answer, each reason once.
    """

    case: Case
    series: tuple[PitSeries, ...]
    digging: Digging
    places: dict[str, tuple[float, float]]
    failures: tuple[str, ...]

    @property
    def most(self) -> int:
        """Buckets of the largest pit."""
        return self.series[0].conductance.size - 1


def worth_digging(gains: Array, least: float = _WORTH) -> int:
    """The rule when to stop: after the last bucket that adds as much as a tenth to the air.

    Parameters
    ----------
    gains : array, shape (n,)
        What each bucket adds to the one before; not a number where no more may be dug. [-]
    least : float
        What a bucket must add to be worth it. [-]

    Returns
    -------
    buckets : int
        0 when even the first one is not.

    Examples
    --------
    >>> worth_digging(np.array([1.9, 0.26, 0.14, 0.101, 0.08]))
    4
    """
    with np.errstate(invalid="ignore"):
        worth = np.flatnonzero(gains >= least)
    return int(worth[-1]) + 1 if worth.size else 0
