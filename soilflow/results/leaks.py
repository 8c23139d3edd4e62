"""What passes the joints, the slab and the ground surface, and which way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import pressure_from_u
from soilflow.flow.conductances import summed
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.site.effects import HOUSE

__all__ = ["LeakFlows", "WorstOpening", "leak_flows", "slot_u", "worst_opening"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class LeakFlows:
    """Air exchanged between the soil and one reference.

    Parameters
    ----------
    from_soil : float
        Flow out of the soil into the reference, summed over the places where it leaves. [m3/s]
    into_soil : float
        Flow from the reference into soil and pits, where it enters; positive. [m3/s]
    """

    from_soil: float
    into_soil: float


@dataclass(frozen=True, kw_only=True)
class WorstOpening:
    """The opening with the highest pressure under it.

    Parameters
    ----------
    name : str
        Which joint or crack.
    pressure : float
        Pressure at its lower end; positive pushes soil gas into the room. [Pa]
    x, y : float
        Place in plan. [m]
    """

    name: str
    pressure: float
    x: float
    y: float


def slot_u(network: SoilNetwork, node_u: Array, reference_u: Array) -> Array:
    """Carry a field to the lower end of each slot.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    node_u : array, shape (nodes,)
        p + p^2 / (2 p_atm) at the nodes. [Pa]
    reference_u : array, shape (n,)
        The same at the reference of each slot. [Pa]

    Returns
    -------
    u : array, shape (n,)
        The same at the lower ends, zero where no node lies below. [Pa]
    """
    legs = network.slots
    padded = np.append(node_u, 0.0)
    soil, gap = padded[network.slot_nodes[:, 0]], padded[network.slot_nodes[:, 1]]
    ends = np.column_stack([reference_u, soil, gap])
    with np.errstate(invalid="ignore"):
        mean = (legs * ends).sum(axis=1) / legs.sum(axis=1)
    return np.where(np.isfinite(legs[:, 1]), mean, soil)


def leak_flows(network: SoilNetwork, node_u: Array, port_u: Array, *references: str) -> LeakFlows:
    """Air between the soil and one or more references, both ways.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    node_u : array, shape (nodes,)
        p + p^2 / (2 p_atm) at the nodes. [Pa]
    port_u : array, shape (p,)
        The same at the ports. [Pa]
    *references : str
        Names of the references; one the network does not have exchanges nothing.

    Returns
    -------
    flows : LeakFlows
        A slot counts by its net flow, a cell of floor or ground by its own.
    """
    each = [
        _at_port(network, node_u, port_u, i) for i, p in enumerate(network.ports) if p in references
    ]
    every = np.concatenate([np.zeros(0), *each])
    return LeakFlows(
        from_soil=float(np.maximum(every, 0.0).sum()),
        into_soil=float(np.maximum(-every, 0.0).sum()),
    )


def _at_port(network: SoilNetwork, node_u: Array, port_u: Array, port: int) -> Array:
    """Flow into a port at each slot, cell and direct leak of it, shape (n,). [m3/s]"""
    mine = network.port == port
    flux = network.port_conductance[mine] * (node_u[network.port_node[mine]] - port_u[port])
    slot = network.port_slot[mine]
    by_slot = summed(slot[slot >= 0], flux[slot >= 0], len(network.slots))
    straight = network.direct[port] * (port_u - port_u[port])
    return np.concatenate([flux[slot < 0], by_slot, straight])


def worst_opening(
    soil: SoilMap,
    network: SoilNetwork,
    node_u: Array,
    port_u: Array,
    pressure_atm: float,
    *,
    room: str = HOUSE,
) -> WorstOpening | None:
    """The joint or crack of a room with the highest pressure at its lower end.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    node_u : array, shape (nodes,)
        p + p^2 / (2 p_atm) at the nodes. [Pa]
    port_u : array, shape (p,)
        The same at the ports. [Pa]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    room : str
        The reference whose slots count, and against which their pressure is given.

    Returns
    -------
    opening : WorstOpening or None
        None when no slot of the room opens into soil.
    """
    leaks = soil.line_leaks
    if room not in soil.ports:
        return None
    port = soil.ports.index(room)
    reached = (network.slot_nodes[:, 0] >= 0) & (leaks.port == port)
    if not reached.any():
        return None
    u = np.where(reached, slot_u(network, node_u, port_u[leaks.port]), -np.inf)
    worst = int(np.argmax(u))
    ix, iy, _ = np.unravel_index(leaks.cell[worst], soil.grid.shape)
    return WorstOpening(
        name=soil.line_names[leaks.line[worst]],
        pressure=float(pressure_from_u(u[worst], pressure_atm))
        - float(pressure_from_u(port_u[port], pressure_atm)),
        x=float(soil.grid.centres(0)[ix]),
        y=float(soil.grid.centres(1)[iy]),
    )
