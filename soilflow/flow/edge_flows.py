"""Flows along the edges of a network, exact where pressures hardly differ.

A field is held as the sum of two numbers per node, so that the difference across an edge of
large conductance keeps its digits: between two nodes of gravel shut in by clay it is far below
the last digit of either pressure.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from soilflow.flow.conductances import summed
from soilflow.flow.soil_network import SoilNetwork

__all__ = ["added", "edge_product", "leftover", "lone_ports"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]


def added(high: Array, low: Array, step: Array) -> tuple[Array, Array]:
    """Add a step to a field held as a sum of two numbers.

    Parameters
    ----------
    high, low : array, shape (nodes,)
        The field and what it lacks, below its last digit. [-]
    step : array, shape (nodes,)
        What is added. [-]

    Returns
    -------
    high, low : array, shape (nodes,)
        The new field. [-]

    References
    ----------
    Error of a sum: Knuth, The Art of Computer Programming 2, section 4.2.2, from memory.
    """
    step = low + step
    total = high + step
    part = total - high
    return total, (high - (total - part)) + (step - part)


def leftover(network: SoilNetwork, high: Array, low: Array, port: int) -> tuple[Array, Array]:
    """What a unit field leaves over at the nodes, and its flows out of the ports.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    high, low : array, shape (nodes,)
        The field and what it lacks, below its last digit. [-]
    port : int
        The port at one.

    Returns
    -------
    residual : array, shape (nodes,)
        Flow into each node that does not leave it. [m3/(s Pa)]
    flows : array, shape (p,)
        Flow out of each port into the soil. [m3/(s Pa)]
    """
    n = network.nodes
    i, j = network.edges[:, 0], network.edges[:, 1]
    flux = network.conductance * ((high[i] - high[j]) + (low[i] - low[j]))
    held = (network.port == port).astype(float)
    node = network.port_node
    inward = network.port_conductance * ((held - high[node]) - low[node])
    residual = summed(j, flux, n) - summed(i, flux, n) + summed(node, inward, n)
    return residual, summed(network.port, inward, len(network.ports))


def edge_product(network: SoilNetwork) -> Callable[[Array], Array]:
    """Product with the network's matrix as a sum over edges.

    Every edge takes from one end exactly what it gives to the other, so a region's leak is
    right to all its digits. On the diagonal of the assembled matrix it would have been rounded to
    those of the largest conductance.

    Parameters
    ----------
    network : SoilNetwork
        The soil.

    Returns
    -------
    product : callable
        Maps values at the nodes to flows out of them.
    """
    m, n = network.conductance.size, network.nodes
    i, j = network.edges[:, 0], network.edges[:, 1]
    ones, edge = np.ones(m), np.arange(m)
    along = coo_matrix(
        (np.concatenate([ones, -ones]), (np.concatenate([edge, edge]), np.concatenate([i, j]))),
        shape=(m, n),
    ).tocsr()
    back = along.T.tocsr()
    leak = summed(network.port_node, network.port_conductance, n)

    def product(values: Array) -> Array:
        flux = along @ values
        flux *= network.conductance
        return np.asarray(back @ flux + leak * values)

    return product


def lone_ports(network: SoilNetwork) -> tuple[Index, Mask]:
    """Where soil has a way to one port only, and which ports have a way to another.

    Parameters
    ----------
    network : SoilNetwork
        The soil.

    Returns
    -------
    lone : array of int, shape (nodes,)
        The only port a node has a way to, whose pressure it then has; -1 where there are several.
    coupled : array of bool, shape (p,)
        Ports that share some soil with another one; the others pass no air at any pressure.
    """
    n, p = network.nodes, len(network.ports)
    i, j = network.edges[:, 0], network.edges[:, 1]
    graph = coo_matrix((np.ones(i.size), (i, j)), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    touches = np.zeros((count, p), dtype=bool)
    touches[label[network.port_node], network.port] = True
    several = touches.sum(axis=1) > 1
    lone = np.where(several, -1, touches.argmax(axis=1))
    return lone[label], np.asarray(touches[several].any(axis=0))
