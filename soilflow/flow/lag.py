"""How soil air follows a change at the ports: mean lag, and what is still to come at any time.

A step in the ports' pressures leaves every node a part of its change still to come. The area
under that curve is the mean lag (the mean action time of heat flow); one solve with the steady
matrix gives it everywhere. The curve itself comes from a handful of implicit steps, each one
solve: the change is followed exactly in the space they span, without stepping through time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags

from soilflow.flow.response import SoilResponse
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.solve import precondition, solve

__all__ = ["Lag", "gap_height", "node_storage", "response_lag"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Of the estimated error of a field: tighter than of a unit field, for lags are its differences. [-]
_TOLERANCE = 1e-10
# Where less than this part of the largest change arrives there is nothing to be late for. [-]
_NO_CHANGE = 1e-6
# Steps from three times the longest mean lag downwards, two to a decade, until each place that
# is looked at has less than half of its change behind it. Chosen by the project: on houses with
# gaps of 0.3 to 3 mm the curves are then within 1 % of the change past the first steps.
_LONGEST, _PER_DECADE, _MOST_STEPS = 3.0, 2.0, 20
# Directions that add less than this to the others are rounding. [-]
_DEPENDENT = 1e-11


@dataclass(frozen=True, kw_only=True, eq=False)
class Lag:
    """How far nodes are behind a step at the ports.

    Parameters
    ----------
    change : array, shape (nodes,)
        Final less first u. [Pa]
    mean : array, shape (nodes,)
        Mean lag: the part of the change still to come, added up over time; NaN without a
        change. [s]
    rates : array, shape (k,)
        Rates at which parts of the change die away. [1/s]
    parts : array, shape (nodes, k)
        Those parts. [Pa]
    """

    change: Array
    mean: Array
    rates: Array
    parts: Array

    def left(self, node: Index, times: ArrayLike) -> Array:
        """Part of the change at some nodes that is still to come.

        Parameters
        ----------
        node : array of int, shape (n,)
            The nodes.
        times : array_like, shape (t,)
            Time since the step. [s]

        Returns
        -------
        left : array, shape (n, t)
            1 at the start; NaN without a change. [-]
        """
        at = np.asarray(node)
        decay = np.exp(-np.outer(self.rates, np.asarray(times, dtype=float)))
        change = np.where(np.isnan(self.mean[at]), np.nan, self.change[at])
        return np.asarray(self.parts[at] @ decay / change[:, None])

    def time_to(self, share: float, node: Index) -> Array:
        """Time after which no more than a part of the change is still to come.

        Parameters
        ----------
        share : float
            That part. [-]
        node : array of int, shape (n,)
            The nodes.

        Returns
        -------
        times : array, shape (n,)
            The last time the curve crosses it; NaN without a change. [s]
        """
        at = np.asarray(node)
        found = np.full(at.shape, np.nan)
        if not self.rates.size:
            return found
        ends = 1e-2 / self.rates.max(), 30.0 / self.rates.min()
        grid = np.geomspace(*ends, 1 + int(40.0 * np.log10(ends[1] / ends[0])))
        curve = np.abs(self.left(at, grid))
        late = curve > share
        last = grid.size - 1 - np.argmax(late[:, ::-1], axis=1)
        some = late.any(axis=1) & (last + 1 < grid.size)
        i, n = last[some], np.flatnonzero(some)
        above, below = np.log(curve[n, i]), np.log(np.maximum(curve[n, i + 1], 1e-30))
        part = (above - np.log(share)) / (above - below)
        found[n] = grid[i] * (grid[i + 1] / grid[i]) ** part
        found[~late.any(axis=1) & ~np.isnan(self.mean[at])] = 0.0
        return found


def gap_height(sheet: Array) -> Array:
    """Height of a gap without contacts that has a transmissivity: the least air it can hold.

    b = (12 T)^(1/3)

    Parameters
    ----------
    sheet : array, any shape
        Transmissivity. [m3]

    Returns
    -------
    height : array, shape of the sheet
        Height. [m]
    """
    return np.asarray(np.cbrt(12.0 * sheet))


def node_storage(
    soil: SoilMap, network: SoilNetwork, air_porosity: float | Array, pressure_atm: float
) -> Array:
    """Air that each node takes up per pascal.

    S = a V / p_atm, isothermal

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its nodes.
    air_porosity : float or array, shape of the grid
        Air volume over total volume. [-]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    storage : array, shape (nodes,)
        Volume at atmospheric pressure; line conductors hold nothing. [m3/Pa]
    """
    x, y, z = (soil.grid.sizes(axis) for axis in range(3))
    plan = np.outer(x, y)
    volume = np.broadcast_to(air_porosity, soil.grid.shape) * plan[:, :, None] * z
    storage = np.zeros(network.nodes)
    cells, sheet = network.cell_node >= 0, network.sheet_node >= 0
    storage[network.cell_node[cells]] = volume[cells] / pressure_atm
    held = plan * gap_height(soil.sheet) / pressure_atm
    storage[network.sheet_node[sheet]] = held[sheet]
    return storage


def response_lag(
    network: SoilNetwork,
    response: SoilResponse,
    storage: Array,
    port_change: Array,
    *,
    watched: Index,
    shortest: float = 1.0,
    floating: Sequence[int] = (),
    port_storage: Array | None = None,
) -> Lag:
    """Lag of every node behind a step at the ports.

    A (mean lag x change) = S change; S de/dt = -A e, e(0) = change

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    response : SoilResponse
        Its unit fields.
    storage : array, shape (nodes,)
        Air that each node takes up. [m3/Pa]
    port_change : array, shape (p,)
        Final less first u at the ports, those that float included. [Pa]
    watched : array of int, shape (n,)
        Nodes whose curves must be right.
    shortest : float
        Times shorter than this are all the same to the reader. [s]
    floating : sequence of int
        Ports that follow the soil instead of stepping: capped ones.
    port_storage : array, shape (p,), or None
        Air that floating ports take up; None for nothing. [m3/Pa]

    Returns
    -------
    lag : Lag
        Mean lag, and the curve of each node.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.

    Notes
    -----
    The other ports step at once: the fan's own time, and the air in pits and pipes that it takes
    out first, are left out. The curves are those of the equation projected onto the solutions
    of implicit steps of many lengths, the change itself and its mean lag.

    References
    ----------
    Mean action time: McNabb and Wake 1991, IMA Journal of Applied Mathematics 47, 193 (from
    memory). That its moments do not give times to steady state well by themselves: Carr 2017,
    Physical Review E 96, 012116 (abstract seen). Projection on implicit steps: shift-and-invert
    or rational Krylov methods, Ruhe 1984, Linear Algebra and its Applications 58, 391 (from
    memory).
    """
    matrix, kept = _with_floating(network, floating)
    held = np.zeros(len(network.ports)) if port_storage is None else port_storage
    stored = np.concatenate([storage, held[kept]])
    change = np.concatenate([np.asarray(port_change) @ response.unit_fields, port_change[kept]])
    moves = np.abs(change) > _NO_CHANGE * np.abs(change).max(initial=0.0)
    looked_at = np.asarray(watched)[moves[watched]]
    mean = np.full(change.shape, np.nan)
    rates, parts = np.zeros(0), np.zeros((change.size, 0))
    if moves.any():
        late, _ = solve(precondition(matrix), stored * change, tolerance=_TOLERANCE)
        mean[moves] = late[moves] / change[moves]
    if looked_at.size:
        step = _LONGEST * float(np.abs(mean[looked_at]).max())
        steps = [change, late, *_implicit_steps(matrix, stored, change, looked_at, step, shortest)]
        rates, parts = _decay(matrix, stored, change, np.column_stack(steps))
    n = network.nodes
    return Lag(change=change[:n], mean=mean[:n], rates=rates, parts=parts[:n])


def _with_floating(network: SoilNetwork, floating: Sequence[int]) -> tuple[csr_matrix, list[int]]:
    """The matrix with floating ports as further unknowns, and those that something leads to."""
    g = np.bincount(network.port, network.port_conductance, len(network.ports))
    whole = g + network.direct.sum(axis=1)
    kept = [port for port in floating if whole[port] > 0.0]
    n, row = network.nodes, np.full(len(network.ports), -1)
    row[kept] = n + np.arange(len(kept))
    mine = row[network.port] >= 0
    node, at = network.port_node[mine], row[network.port[mine]]
    flow = -network.port_conductance[mine]
    beside = np.diag(whole)[np.ix_(kept, kept)] - network.direct[np.ix_(kept, kept)]
    i, j = (index.ravel() + n for index in np.indices(beside.shape))
    inner = network.matrix().tocoo()
    rows = np.concatenate([inner.coords[0], node, at, i])
    columns = np.concatenate([inner.coords[1], at, node, j])
    values = np.concatenate([inner.data, flow, flow, beside.ravel()])
    size = (n + len(kept),) * 2
    return coo_matrix((values, (rows, columns)), shape=size).tocsr(), kept


def _implicit_steps(
    matrix: csr_matrix,
    stored: Array,
    change: Array,
    watched: Index,
    step: float,
    shortest: float,
) -> list[Array]:
    """What is left after one implicit step, for steps ever shorter."""
    found = []
    for _ in range(_MOST_STEPS):
        system = precondition((matrix + diags(stored / step)).tocsr())
        after, _ = solve(system, stored * change / step, tolerance=_TOLERANCE)
        found.append(after)
        if float((after[watched] / change[watched]).min()) > 0.5 or step < shortest:
            break
        step /= 10.0 ** (1.0 / _PER_DECADE)
    return found


def _decay(matrix: csr_matrix, stored: Array, change: Array, space: Array) -> tuple[Array, Array]:
    """Rates and parts of the decay of a change, projected onto a space. [1/s], [Pa]"""
    weighted = stored[:, None] * space
    space = space / np.sqrt(np.einsum("ij,ij->j", space, weighted))
    strength, turned = np.linalg.eigh(space.T @ (stored[:, None] * space))
    real = strength > _DEPENDENT * strength.max()
    space = space @ (turned[:, real] / np.sqrt(strength[real]))
    rates, modes = np.linalg.eigh(space.T @ (matrix @ space))
    modes = space @ modes
    return rates, modes * (modes.T @ (stored * change))
