"""Slots opened or closed after the solve: the exact answer as an update of low rank.

A slot is a star: a leg ``a`` through the slab to its reference, legs ``b`` and ``c`` to the soil
cell and to the gap. To the network it is two numbers along two directions: conductance
g = a (b + c) / (a + b + c) between the reference and the mean of soil and gap weighed by ``b``
and ``c``, and, over a gap, a link b c / (b + c) between soil and gap.

With A the matrix of the nodes, D the directions, dg the change of g, E the differences of the
unit fields along D, and M = D' A^-1 D, the update of Sherman, Morrison and Woodbury reads

    y = (1 + dg M)^-1 dg E,   Y' = Y + E' y,   phi' = phi - A^-1 D y.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.response import SoilResponse
from soilflow.flow.side_by_side import WORTH_SHARING, Progress, each_of
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.solve import Preconditioned, solve

__all__ = [
    "LeakFields",
    "LeakPaths",
    "LeakUpdate",
    "adjoint",
    "leak_fields",
    "leak_paths",
    "with_links",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Of the estimated error of a field; a gain is asked for to three figures. [-]
_TOLERANCE = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class LeakPaths:
    """Ways through slots, one for each slot of a network, and links between soil and gap.

    Parameters
    ----------
    soil_node, gap_node : array of int, shape (n,)
        Nodes at the lower end; -1 for none.
    soil_share, gap_share : array, shape (n,)
        Weights of the two nodes; they add up to one, or to zero where the way links them. [-]
    port : array of int, shape (n,)
        Port of the reference; -1 for a link, which has none.
    above : array, shape (n,)
        Conductance of the slot itself, through the slab. [m3/(s Pa)]
    below : array, shape (n,)
        Conductance from its lower end to soil cell and gap; infinite when they are one.
        [m3/(s Pa)]
    """

    soil_node: Index
    gap_node: Index
    soil_share: Array
    gap_share: Array
    port: Index
    above: Array
    below: Array

    def conductance(self, above: Array | None = None) -> Array:
        """Conductance of each way, slot and what leads to it in series.

        Parameters
        ----------
        above : array, shape (n,), or None
            That of the slots themselves; None takes their own. [m3/(s Pa)]

        Returns
        -------
        conductance : array, shape (n,)
            Zero where no air reaches. [m3/(s Pa)]
        """
        a = self.above if above is None else above
        with np.errstate(divide="ignore", invalid="ignore"):
            series = a / (1.0 + a / self.below)
        return np.where((self.soil_node >= 0) | (self.gap_node >= 0), series, 0.0)

    def across(self, node_values: Array) -> Array:
        """Values at the lower ends.

        Parameters
        ----------
        node_values : array, shape (..., nodes)
            Any field at the nodes. [SI]

        Returns
        -------
        values : array, shape (..., n)
            Mean of soil and gap. [SI]
        """
        none = np.zeros((*node_values.shape[:-1], 1))
        padded = np.concatenate([node_values, none], axis=-1)
        soil, gap = padded[..., self.soil_node], padded[..., self.gap_node]
        return np.asarray(self.soil_share * soil + self.gap_share * gap)

    def drop(self, unit_fields: Array) -> Array:
        """Difference of each unit field across each slot, lower end less reference.

        Parameters
        ----------
        unit_fields : array, shape (p, nodes)
            Unit fields. [-]

        Returns
        -------
        drop : array, shape (n, p)
            Between -1 and 1. [-]
        """
        drop = self.across(unit_fields).T.copy()
        slots = np.flatnonzero(self.port >= 0)
        drop[slots, self.port[slots]] -= 1.0
        return np.asarray(drop)


def leak_paths(
    network: SoilNetwork, port: Index, *, slots: Array | None = None, nodes: Index | None = None
) -> LeakPaths:
    """The ways through the slots of a network, or through others laid over it.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    port : array of int, shape (n,)
        Port of each slot.
    slots : array, shape (n, 3), or None
        Legs to reference, soil and gap; None takes those of the network. [m3/(s Pa)]
    nodes : array of int, shape (n, 2), or None
        Soil and gap node of each slot; None takes those of the network.

    Returns
    -------
    paths : LeakPaths
        One for each slot.
    """
    legs = network.slots if slots is None else slots
    ends = network.slot_nodes if nodes is None else nodes
    merged = np.isinf(legs[:, 1])
    soil = np.where(merged, 1.0, np.where(ends[:, 0] >= 0, legs[:, 1], 0.0))
    gap = np.where(merged | (ends[:, 1] < 0), 0.0, legs[:, 2])
    total = soil + gap
    share = np.where(total > 0.0, soil / np.where(total > 0.0, total, 1.0), 1.0)
    return LeakPaths(
        soil_node=ends[:, 0],
        gap_node=ends[:, 1],
        soil_share=share,
        gap_share=1.0 - share,
        port=np.asarray(port, dtype=np.int64),
        above=legs[:, 0],
        below=np.where(merged, np.inf, total),
    )


def with_links(paths: LeakPaths, rows: Index) -> LeakPaths:
    """Add a link between soil and gap, of no conductance yet, for each of some slots.

    Parameters
    ----------
    paths : LeakPaths
        The slots.
    rows : array of int, shape (m,)
        Those that get one.

    Returns
    -------
    paths : LeakPaths
        The slots and then the links.
    """
    none, one = np.zeros(rows.size), np.ones(rows.size)
    return LeakPaths(
        soil_node=np.concatenate([paths.soil_node, paths.soil_node[rows]]),
        gap_node=np.concatenate([paths.gap_node, paths.gap_node[rows]]),
        soil_share=np.concatenate([paths.soil_share, one]),
        gap_share=np.concatenate([paths.gap_share, -one]),
        port=np.concatenate([paths.port, np.full(rows.size, -1)]),
        above=np.concatenate([paths.above, none]),
        below=np.concatenate([paths.below, one]),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class LeakUpdate:
    """A network with some slots changed.

    Parameters
    ----------
    port_matrix : array, shape (p, p)
        Of the changed network. [m3/(s Pa)]
    rows : array of int, shape (m,)
        The slots that changed.
    pull : array, shape (m, p)
        Flow that each change makes with a port at one pascal: y above. [m3/(s Pa)]
    """

    port_matrix: Array
    rows: Index
    pull: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class LeakFields:
    """Fields of a unit flow into the lower end of each slot, all ports at zero.

    Parameters
    ----------
    paths : LeakPaths
        The slots.
    solved : array of int, shape (n,)
        Row of each slot's field below; -1 for one that was not solved.
    drop : array, shape (n, p)
        Difference of each unit field across each slot, lower end less reference. [-]
    resistance : array, shape (m, m)
        Value of each field at the lower end of each solved slot. [s Pa/m3]
    kept : array of int, shape (k,)
        Nodes at which the fields are kept.
    at_kept : array, shape (m, k)
        The fields there. [s Pa/m3]
    """

    paths: LeakPaths
    solved: Index
    drop: Array
    resistance: Array
    kept: Index
    at_kept: Array

    def update(self, port_matrix: Array, rows: Index, added: Array) -> LeakUpdate:
        """Change some slots.

        Parameters
        ----------
        port_matrix : array, shape (p, p)
            Of the network as it was. [m3/(s Pa)]
        rows : array of int, shape (m,)
            The slots to change, all of them solved.
        added : array, shape (m,)
            What is added to the conductance of each way; negative closes it. [m3/(s Pa)]

        Returns
        -------
        update : LeakUpdate
            Exact for a change of any size.
        """
        rows = rows[added != 0.0]
        added = added[added != 0.0]
        own, drop = self.solved[rows], self.drop[rows]
        system = np.eye(rows.size) + added[:, None] * self.resistance[np.ix_(own, own)]
        pull = np.linalg.solve(system, added[:, None] * drop)
        changed = port_matrix + drop.T @ pull
        return LeakUpdate(
            port_matrix=0.5 * (changed + changed.T), rows=rows, pull=np.asarray(pull, dtype=float)
        )

    def shift(self, update: LeakUpdate) -> Array:
        """What an update takes off the unit fields at the nodes that are kept.

        Parameters
        ----------
        update : LeakUpdate
            Changed slots.

        Returns
        -------
        shift : array, shape (p, k)
            phi less phi'. [-]
        """
        return np.asarray(update.pull.T @ self.at_kept[self.solved[update.rows]])


def leak_fields(
    network: SoilNetwork,
    response: SoilResponse,
    system: Preconditioned,
    paths: LeakPaths,
    *,
    rows: Sequence[int] | Index,
    kept: Index,
    tolerance: float = _TOLERANCE,
    progress: Progress | None = None,
) -> LeakFields:
    """Solve one field for each place where a slot may change.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    response : SoilResponse
        Its unit fields.
    system : Preconditioned
        Its matrix.
    paths : LeakPaths
        The slots.
    rows : sequence of int
        Those that may change; slots with the same lower end share a field.
    kept : array of int, shape (k,)
        Nodes at which the fields are wanted.
    tolerance : float
        Bound on the error of a field, relative to its largest value. [-]
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    fields : LeakFields
        Solved for these slots.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    """
    wanted = np.asarray(rows, dtype=np.int64)
    reached = (paths.soil_node[wanted] >= 0) | (paths.gap_node[wanted] >= 0)
    wanted = wanted[reached]
    ends = np.column_stack(
        [
            paths.soil_node[wanted],
            paths.gap_node[wanted],
            np.round(paths.soil_share[wanted], 12),
            np.round(paths.gap_share[wanted], 12),
        ]
    )
    _, first, which = np.unique(ends, axis=0, return_index=True, return_inverse=True)
    chosen = wanted[first]
    solved = np.full(paths.port.size, -1, dtype=np.int64)
    solved[wanted] = which.ravel()

    def field_of(number: int) -> tuple[Array, Array]:
        source = np.zeros(network.nodes)
        row = chosen[number]
        for node, share in (
            (paths.soil_node[row], paths.soil_share[row]),
            (paths.gap_node[row], paths.gap_share[row]),
        ):
            if node >= 0:
                source[node] += share
        field, _ = solve(system, source, tolerance=tolerance)
        return paths.across(field)[chosen], field[kept]

    share = network.nodes >= WORTH_SHARING
    found = each_of(field_of, chosen.size, share=share, progress=progress)
    resistance = np.array([f[0] for f in found]).reshape(chosen.size, chosen.size)
    return LeakFields(
        paths=paths,
        solved=solved,
        drop=paths.drop(response.unit_fields),
        resistance=0.5 * (resistance + resistance.T),
        kept=kept,
        at_kept=np.array([f[1] for f in found]).reshape(chosen.size, kept.size),
    )


def adjoint(system: Preconditioned, measure: Array) -> Array:
    """How much one unit of flow into each node would add to a measure: A lam = m.

    Parameters
    ----------
    system : Preconditioned
        The matrix.
    measure : array, shape (nodes,)
        Weight of each node in the measure. [SI]

    Returns
    -------
    sensitivity : array, shape (nodes,)
        Measure per flow into a node. [SI]

    Raises
    ------
    ConvergenceError
        The solve missed its tolerance.
    """
    return solve(system, measure, tolerance=_TOLERANCE)[0]
