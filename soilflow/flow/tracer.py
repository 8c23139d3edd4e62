"""Where air that enters the soil ends up: a conservative upwind tracer on a solved flow.

Air runs from higher u to lower u and never in a circle, so in the order of falling u the upwind
matrix is triangular and one substitution solves it exactly. Solved backwards, from where air
arrives, one column per port answers for all the places at which air enters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, eye_array
from scipy.sparse.linalg import spsolve_triangular

from soilflow.errors import BalanceError
from soilflow.flow.conductances import summed
from soilflow.flow.leaks_on_grid import DirectLeaks
from soilflow.flow.soil_network import SoilNetwork

__all__ = [
    "AirPaths",
    "AirTrace",
    "Crossings",
    "air_paths",
    "destination_shares",
    "origin_shares",
    "trace_air",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Net flow of a body below this part of what passes through it is what the solve left over. [-]
_NOTHING = 1e-8
# Largest loss accepted between what enters and what arrives, relative to all that enters: a
# hundred times what the pressure solve may leave over. [-]
_LOST = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Crossings:
    """Places where air crosses between soil and ports, all in one direction.

    Parameters
    ----------
    port : array of int, shape (n,)
        Port on the far side.
    place : array of int, shape (n,)
        Place of `AirPaths` on the near side.
    slot, area, direct : array of int, shape (n,)
        Slot, area leak or direct leak it goes through, -1 for none. With none of them it is the
        rim of a hole, or what comes out of a body's pipe or goes into it.
    flow : array, shape (n,)
        Volume at atmospheric pressure, positive. [m3/s]
    """

    port: Index
    place: Index
    slot: Index
    area: Index
    direct: Index
    flow: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class AirPaths:
    """Flows between places, each directed the way the air runs.

    Places are the nodes of the network, the middles of slots with three legs, the bodies, which
    mix what reaches them, and last the other ports, which never run out.

    Parameters
    ----------
    ports : tuple of str
        Names of the ports.
    place_of_port : array of int, shape (p,)
        Place that each port is.
    inner : int
        Number of places that pass on what they get; those of a higher number are ports.
    start, end : array of int, shape (m,)
        Places that air runs from and to.
    flow : array, shape (m,)
        Volume at atmospheric pressure, positive. [m3/s]
    slot, area, direct : array of int, shape (m,)
        Slot, area leak or direct leak it goes through, -1 for none.
    order : array of int, shape (inner,)
        The passing places, u falling.
    into_bodies : array, shape (p,)
        Net flow from the soil into each body, which leaves by its pipe; negative comes out of it;
        0 at other ports. [m3/s]
    """

    ports: tuple[str, ...]
    place_of_port: Index
    inner: int
    start: Index
    end: Index
    flow: Array
    slot: Index
    area: Index
    direct: Index
    order: Index
    into_bodies: Array

    @property
    def entries(self) -> Crossings:
        """Where air enters the soil from ports."""
        return self._crossings(self.start, self.end, np.maximum(-self.into_bodies, 0.0))

    @property
    def exits(self) -> Crossings:
        """Where air leaves the soil into ports."""
        return self._crossings(self.end, self.start, np.maximum(self.into_bodies, 0.0))

    def _crossings(self, far: Index, near: Index, piped: Array) -> Crossings:
        mine, piping = far >= self.inner, np.flatnonzero(piped > 0.0)
        port = np.full(far.max(initial=-1) + 1, -1)
        known = self.place_of_port < port.size
        port[self.place_of_port[known]] = np.flatnonzero(known)
        none = np.full(piping.size, -1)
        return Crossings(
            port=np.concatenate([port[far[mine]], piping]),
            place=np.concatenate([near[mine], self.place_of_port[piping]]),
            slot=np.concatenate([self.slot[mine], none]),
            area=np.concatenate([self.area[mine], none]),
            direct=np.concatenate([self.direct[mine], none]),
            flow=np.concatenate([self.flow[mine], piped[piping]]),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class AirTrace:
    """Where air enters the soil, where it leaves, and which part of which goes where.

    Parameters
    ----------
    ports : tuple of str
        Names of the ports.
    entries, exits : Crossings
        Where air enters the soil and where it leaves.
    destinations : array, shape (n, p)
        Share of the air of each entry that ends at each port. [-]
    lost : float
        Largest difference between what arrives at a port and what flows into it, relative to
        all that enters. [-]
    """

    ports: tuple[str, ...]
    entries: Crossings
    exits: Crossings
    destinations: Array
    lost: float

    def exchanged(self) -> Array:
        """Flow from each port to each port through the soil.

        Returns
        -------
        flows : array, shape (p, p)
            From the port of the row to that of the column. [m3/s]
        """
        found = np.zeros((len(self.ports),) * 2)
        np.add.at(found, self.entries.port, self.entries.flow[:, None] * self.destinations)
        return found

    def __repr__(self) -> str:
        return (
            f"AirTrace({self.entries.flow.size} places where air enters, {self.exits.flow.size} "
            f"where it leaves, {self.entries.flow.sum():.4g} m3/s in all, lost {self.lost:.1e})"
        )


def air_paths(
    network: SoilNetwork, node_u: Array, port_u: Array, bodies: Sequence[int], leaks: DirectLeaks
) -> AirPaths:
    """Direct every flow of a solved network the way the air runs.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    node_u : array, shape (nodes,)
        p + p^2 / (2 p_atm) at the nodes. [Pa]
    port_u : array, shape (p,)
        The same at the ports. [Pa]
    bodies : sequence of int
        Ports that are cavities: they mix what reaches them and pass it on.
    leaks : DirectLeaks
        What leaks straight into bodies.

    Returns
    -------
    paths : AirPaths
        All flows but those of exactly nothing.

    Notes
    -----
    A slot with three legs gets a place of its own again, in which its legs mix; between the ends
    of the triangle that stands for it in the network air would go past the slot.
    """
    legs, slot_nodes = network.slots, network.slot_nodes
    starred = np.unique(network.edge_slot[network.edge_slot >= 0])
    starred = starred[np.isfinite(legs[starred, 1])]
    number = np.full(len(legs), -1)
    number[starred] = network.nodes + np.arange(starred.size)
    inner = network.nodes + starred.size + len(bodies)
    place_of_port = np.full(len(network.ports), -1)
    place_of_port[list(bodies)] = inner - len(bodies) + np.arange(len(bodies))
    others = place_of_port < 0
    place_of_port[others] = inner + np.arange(int(others.sum()))

    parts = _Parts()
    parts.add(network.edges[:, 0], network.edges[:, 1], network.conductance, network.edge_slot)
    far = place_of_port[network.port]
    parts.add(
        network.port_node, far, network.port_conductance, network.port_slot, area=network.port_area
    )
    parts.drop(starred)
    slot_port = np.full(len(legs), -1)
    slotted = network.port_slot >= 0
    slot_port[network.port_slot[slotted]] = place_of_port[network.port[slotted]]
    ends = np.column_stack([slot_port, slot_nodes])[starred]
    for leg in range(3):
        parts.add(number[starred], ends[:, leg], legs[starred, leg], starred)
    near, beyond = place_of_port[leaks.body], place_of_port[leaks.port]
    own = np.arange(leaks.body.size)
    parts.add(near, beyond, leaks.geometry / network.viscosity, direct=own)

    u = np.empty(inner + int(others.sum()))
    u[: network.nodes] = node_u
    u[place_of_port] = port_u
    middle = (legs[starred] * u[ends]).sum(axis=1) / legs[starred].sum(axis=1)
    u[number[starred]] = middle
    start, end, flow, slot, area, direct = parts.directed(u)
    arriving, leaving = (summed(side, flow, u.size)[place_of_port] for side in (end, start))
    piped = arriving - leaving
    idle = np.abs(piped) <= _NOTHING * np.maximum(arriving, leaving)
    into_bodies = np.where(others | idle, 0.0, piped)
    return AirPaths(
        ports=network.ports,
        place_of_port=place_of_port,
        inner=inner,
        start=start,
        end=end,
        flow=flow,
        slot=slot,
        area=area,
        direct=direct,
        order=np.argsort(-u[:inner], kind="stable"),
        into_bodies=into_bodies,
    )


class _Parts:
    """Conductances between places with what they belong to, gathered part by part."""

    def __init__(self) -> None:
        self.ends = np.zeros((2, 0), dtype=np.int64)
        self.tags = np.zeros((3, 0), dtype=np.int64)  # slot, area leak, direct leak
        self.conductance = np.zeros(0)

    def add(
        self,
        a: Index,
        b: Index,
        conductance: Array,
        slot: Index | None = None,
        *,
        area: Index | None = None,
        direct: Index | None = None,
    ) -> None:
        none = np.full(a.shape, -1)
        tags = [none if tag is None else tag for tag in (slot, area, direct)]
        self.ends = np.concatenate([self.ends, [a, b]], axis=1)
        self.tags = np.concatenate([self.tags, tags], axis=1)
        self.conductance = np.concatenate([self.conductance, conductance])

    def drop(self, slots: Index) -> None:
        kept = ~np.isin(self.tags[0], slots)
        self.ends, self.tags = self.ends[:, kept], self.tags[:, kept]
        self.conductance = self.conductance[kept]

    def directed(self, u: Array) -> tuple[Index, Index, Array, Index, Index, Index]:
        a, b = self.ends
        flow = self.conductance * (u[a] - u[b])
        moves = flow != 0.0
        start, end = np.where(flow > 0.0, a, b)[moves], np.where(flow > 0.0, b, a)[moves]
        slot, area, direct = self.tags[:, moves]
        return start, end, np.abs(flow[moves]), slot, area, direct


def destination_shares(paths: AirPaths) -> Array:
    """Share of the air at each place that ends at each port.

    Parameters
    ----------
    paths : AirPaths
        The flows.

    Returns
    -------
    shares : array, shape (places, p)
        Rows add up to one wherever air leaves a place. [-]
    """
    return _carried(paths, paths.start, paths.end, np.maximum(paths.into_bodies, 0.0), upwind=False)


def origin_shares(paths: AirPaths) -> Array:
    """Share of the air at each place that came in from each port.

    Parameters
    ----------
    paths : AirPaths
        The flows.

    Returns
    -------
    shares : array, shape (places, p)
        Rows add up to one wherever air reaches a place. [-]
    """
    return _carried(paths, paths.end, paths.start, np.maximum(-paths.into_bodies, 0.0), upwind=True)


def _carried(
    paths: AirPaths, place: Index, neighbour: Index, piped: Array, *, upwind: bool
) -> Array:
    """Means over the neighbours that a place exchanges with, weighted by flow, ports at one."""
    inner, ports = paths.inner, len(paths.ports)
    order = paths.order if upwind else paths.order[::-1]
    rank = np.empty(inner, dtype=np.int64)
    rank[order] = np.arange(inner)
    port_of = np.full(inner + ports, -1)
    port_of[paths.place_of_port] = np.arange(ports)
    bodies = paths.place_of_port < inner
    through = summed(place, paths.flow, inner + ports)[:inner]
    through[paths.place_of_port[bodies]] += piped[bodies]
    inside = place < inner
    row, column, flow = place[inside], neighbour[inside], paths.flow[inside]
    weight = flow / through[row]
    passing = column < inner
    matrix = coo_matrix(
        (-weight[passing], (rank[row[passing]], rank[column[passing]])), shape=(inner, inner)
    )
    known = np.zeros((inner, ports))
    np.add.at(known, (rank[row[~passing]], port_of[column[~passing]]), weight[~passing])
    at = paths.place_of_port[bodies]
    with np.errstate(invalid="ignore", divide="ignore"):
        own = np.where(through[at] > 0.0, piped[bodies] / through[at], 0.0)
    known[rank[at], np.flatnonzero(bodies)] += own
    shares = np.zeros((inner + ports, ports))
    if inner:
        system = (matrix + eye_array(inner)).tocsr()
        shares[order] = spsolve_triangular(system, known, lower=True, unit_diagonal=True)
    shares[paths.place_of_port[~bodies], np.flatnonzero(~bodies)] = 1.0
    return shares[: inner + int((~bodies).sum())]


def trace_air(paths: AirPaths) -> AirTrace:
    """Follow the air of every place where it enters the soil to where it leaves.

    Parameters
    ----------
    paths : AirPaths
        The flows.

    Returns
    -------
    trace : AirTrace
        Shares of each entry by destination.

    Raises
    ------
    BalanceError
        What arrives at a port is not what flows into it.
    """
    entries, exits = paths.entries, paths.exits
    shares = destination_shares(paths)[entries.place]
    arrived = entries.flow @ shares
    counted = summed(exits.port, exits.flow, len(paths.ports))
    whole = float(entries.flow.sum())
    lost = float(np.abs(arrived - counted).max(initial=0.0)) / whole if whole > 0.0 else 0.0
    if lost > _LOST:
        raise BalanceError(
            f"{lost:.1e} of the air that enters the soil is lost on the way, {_LOST:.0e} is "
            "accepted; look for permeabilities that differ by more decades than intended",
            reached=lost,
            wanted=_LOST,
        )
    return AirTrace(ports=paths.ports, entries=entries, exits=exits, destinations=shares, lost=lost)
