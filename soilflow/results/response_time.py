"""How long to wait before a test hole is read, and what a slow or a quick reading says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilflow.air import P_ATM
from soilflow.errors import InputError, OutOfRangeError
from soilflow.flow.lag import Lag, node_storage, response_lag
from soilflow.operating_point import CAPPED, OperatingPoint
from soilflow.results.coverage import PASS_LINE
from soilflow.results.solved import SoilSolution

__all__ = [
    "AIR_POROSITY",
    "SLOW",
    "FloorLag",
    "ReadingDiagnosis",
    "diagnose_reading",
    "floor_lag",
]

Array = NDArray[np.float64]

# A guess: a loam has 0.43 of pores (mean of its class, Carsel and Parrish 1988), half of them
# under water. All times go with it. [-]
AIR_POROSITY = 0.2
# From here on a reading is slow: longer than anybody stands at a hole without being told.
# Chosen by the project. [s]
SLOW = 600.0


@dataclass(frozen=True, kw_only=True)
class ReadingDiagnosis:
    """What a reading says together with the time it took.

    Parameters
    ----------
    word : str
        One word for it.
    says : str
        One sentence.
    source : str
        Where the bounds come from.
    """

    word: str
    says: str
    source: str = "chosen by the project"


# By whether the reading is slow and whether it is small.
_DIAGNOSES = {
    (True, True): ReadingDiagnosis(
        word="tight soil", says="Slow and small: tight soil. More fan does not help."
    ),
    (False, True): ReadingDiagnosis(
        word="leak", says="Fast and small: leak. Look for it between this hole and the pit."
    ),
    (True, False): ReadingDiagnosis(
        word="wait", says="Slow, but it gets there: read again after the wait."
    ),
    (False, False): ReadingDiagnosis(word="open", says="Fast and enough: the way here is open."),
}


def diagnose_reading(t90: float, reading: float, *, wanted: float = PASS_LINE) -> ReadingDiagnosis:
    """Tell tight soil from a leak by how long a reading takes.

    Parameters
    ----------
    t90 : float
        Time from switching the fan on until nine tenths of the reading were there. [s]
    reading : float
        Final pressure at the hole, suction negative. [Pa]
    wanted : float
        Suction below which a reading is small. [Pa]

    Returns
    -------
    diagnosis : ReadingDiagnosis
        One of four.

    Raises
    ------
    OutOfRangeError
        A time below zero, or no number.

    Examples
    --------
    >>> diagnose_reading(3600.0, -0.4).word
    'tight soil'
    >>> diagnose_reading(5.0, -0.4).word
    'leak'
    """
    if not t90 >= 0.0 or not np.isfinite(reading):
        raise OutOfRangeError(
            f"a time of at least 0 s and a pressure are needed, not {t90} s and {reading} Pa"
        )
    return _DIAGNOSES[t90 >= SLOW, reading > -wanted]


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorLag:
    """How long the air under the floor takes to follow when the fan is switched on.

    Parameters
    ----------
    x, y : array, shape (nx + 1,), (ny + 1,)
        Column edges of the grid. [m]
    mean : array, shape (nx, ny)
        Mean lag; NaN off the floor, over pits, and where nothing changes. [s]
    t90 : array, shape (nx, ny)
        Time until nine tenths of the change are there; NaN where the mean is. [s]
    air_porosity : float
        Air volume over total volume of the soil that was assumed; times go with it. [-]
    node : array of int, shape (nx, ny)
        Node under each column of floor, -1 for none.
    lag : Lag
        Lag of every node, with its curve.
    """

    x: Array
    y: Array
    mean: Array
    t90: Array
    air_porosity: float
    node: NDArray[np.int64]
    lag: Lag

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Mean lag and t90 at a place, those of the column it is in.

        Parameters
        ----------
        x, y : float
            Place in plan. [m]

        Returns
        -------
        mean : float
            Mean lag. [s]
        t90 : float
            Time until nine tenths of the change are there. [s]

        Raises
        ------
        InputError
            A place off the grid.
        """
        column = self._column(x, y)
        return float(self.mean[column]), float(self.t90[column])

    def curve(self, x: float, y: float, times: ArrayLike) -> Array:
        """How much of the change at a place has come by some times.

        Parameters
        ----------
        x, y : float
            Place in plan. [m]
        times : array_like, shape (n,)
            Since the fan was switched on. [s]

        Returns
        -------
        share : array, shape (n,)
            From 0 to 1; NaN where nothing changes. [-]

        Raises
        ------
        InputError
            A place off the grid.
        """
        node = self.node[self._column(x, y)]
        if node < 0:
            return np.full(np.shape(times), np.nan)
        return np.asarray(1.0 - self.lag.left(np.array([node]), times)[0])

    def _column(self, x: float, y: float) -> tuple[int, int]:
        found = []
        for axis, edges, at in (("x", self.x, x), ("y", self.y, y)):
            if not edges[0] <= at <= edges[-1]:
                raise InputError(f"{axis} = {at:g} m lies off the grid", field=axis)
            found.append(min(int(np.searchsorted(edges, at, side="right")) - 1, edges.size - 2))
        return found[0], found[1]

    def longest(self) -> tuple[float, float, float]:
        """Where the floor is slowest to follow.

        Returns
        -------
        t90 : float
            Time until nine tenths of the change are there; NaN where nothing changes. [s]
        x, y : float
            Place in plan. [m]
        """
        if np.isnan(self.t90).all():
            return float("nan"), float("nan"), float("nan")
        i, j = np.unravel_index(int(np.nanargmax(self.t90)), self.t90.shape)
        x, y = 0.5 * (self.x[i] + self.x[i + 1]), 0.5 * (self.y[j] + self.y[j + 1])
        return float(self.t90[i, j]), float(x), float(y)

    def __repr__(self) -> str:
        t90, x, y = self.longest()
        middle = float(np.nanmedian(self.t90)) if np.isfinite(t90) else float("nan")
        return (
            f"FloorLag(t90: median {middle:.3g} s, longest {t90:.3g} s at "
            f"({x:.2f}, {y:.2f}) m, for an air porosity of {self.air_porosity:g})"
        )


def floor_lag(
    solution: SoilSolution,
    on: OperatingPoint,
    off: OperatingPoint,
    *,
    air_porosity: float = AIR_POROSITY,
    pressure_atm: float = P_ATM,
    shortest: float = 1.0,
) -> FloorLag:
    """How long the air under the floor takes to follow when the fan is switched on.

    Parameters
    ----------
    solution : SoilSolution
        The solved soil.
    on, off : OperatingPoint
        Pressures at the ports, fan on and fan off.
    air_porosity : float
        Air volume over total volume of the soil, alike everywhere. [-]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    shortest : float
        Times shorter than this are all the same to the reader; longer ones cost less. [s]

    Returns
    -------
    lag : FloorLag
        Mean lag and t90 under every column of floor.

    Raises
    ------
    OutOfRangeError
        The air porosity is not between 0 and 1.
    ConvergenceError
        A solve missed its tolerance.

    Notes
    -----
    Capped points follow the soil, their own air left out. The mean lag is one more solve, the
    curves one for each half decade between the slowest place and the quickest or ``shortest``.
    Wet soil holds less air than is assumed here and answers sooner; one that a stated multiplier
    makes tight keeps its air.
    """
    if not 0.0 < air_porosity < 1.0:
        raise OutOfRangeError(f"air porosity {air_porosity:g}: must lie between 0 and 1")
    soil, network = solution.soil, solution.network
    top = network.cell_node[:, :, soil.top_layer]
    node = np.where(network.sheet_node >= 0, network.sheet_node, top)
    node = np.where(soil.floor, node, -1)
    there = node >= 0
    lag = response_lag(
        network,
        solution.response,
        node_storage(soil, network, air_porosity, pressure_atm),
        on.u - off.u,
        watched=node[there],
        shortest=shortest,
        floating=[i for i, state in enumerate(on.states) if state == CAPPED],
    )
    mean, t90 = np.full(node.shape, np.nan), np.full(node.shape, np.nan)
    mean[there] = lag.mean[node[there]]
    t90[there] = lag.time_to(0.1, node[there])
    return FloorLag(
        x=soil.grid.x,
        y=soil.grid.y,
        mean=mean,
        t90=t90,
        air_porosity=air_porosity,
        node=node,
        lag=lag,
    )
