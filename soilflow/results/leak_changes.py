"""What a change of slots does to the floor: margin, coverage, and room air drawn down."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.leak_update import LeakFields, LeakPaths, LeakUpdate
from soilflow.flow.response import SoilResponse
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.results.coverage import PASS_LINE, PATCH, WorstPatch, coverage, worst_margin
from soilflow.results.floor import FloorPressure, FloorResponse, floor_response

__all__ = [
    "FloorMeasures",
    "FloorNodes",
    "changed_floor",
    "floor_nodes",
    "measure_floor",
    "patch_weights",
    "room_air",
    "room_nodes",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class FloorMeasures:
    """The house's floor under one condition, in three numbers and a place.

    Parameters
    ----------
    worst : WorstPatch
        The worst place and its margin.
    coverage_area : float
        Share of the floor at the pass line or beyond. [-]
    room_air : float
        Air that rooms lose into the soil and the pits. [m3/s]
    """

    worst: WorstPatch
    coverage_area: float
    room_air: float


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorNodes:
    """Where the pressure under each column of the floor comes from.

    Parameters
    ----------
    node : array of int, shape (nx, ny)
        Node whose value counts; -1 where a port's does, or no air reaches.
    weight : array, shape (nx, ny)
        How much of it; the rest comes down through the slab body. [-]
    """

    node: Index
    weight: Array


def floor_nodes(soil: SoilMap, network: SoilNetwork, response: SoilResponse) -> FloorNodes:
    """Take the way from nodes to the slab underside apart; it is linear.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    response : SoilResponse
        Its response; the values are not looked at.

    Returns
    -------
    nodes : FloorNodes
        Over the columns of the floor.
    """
    shape = response.unit_fields.shape
    numbers = np.tile(np.arange(shape[1], dtype=float), (shape[0], 1))
    probes: tuple[Array, ...] = (np.zeros(shape), np.ones(shape), numbers)
    carried = [
        floor_response(soil, network, replace(response, unit_fields=values)).unit_fields[0]
        for values in probes
    ]
    weight = np.nan_to_num(carried[1] - carried[0])
    number = np.nan_to_num(carried[2] - carried[0]) / np.where(weight > 0.0, weight, 1.0)
    return FloorNodes(
        node=np.where(weight > 0.0, np.round(number), -1).astype(np.int64), weight=weight
    )


def changed_floor(
    floor: FloorResponse, nodes: FloorNodes, fields: LeakFields, update: LeakUpdate
) -> FloorResponse:
    """The floor of a network with some slots changed.

    Parameters
    ----------
    floor : FloorResponse
        As it was.
    nodes : FloorNodes
        Where its values come from, all of them kept by the fields.
    fields : LeakFields
        Fields of the slots.
    update : LeakUpdate
        The change.

    Returns
    -------
    floor : FloorResponse
        After it.
    """
    on_node = nodes.node >= 0
    place = np.searchsorted(fields.kept, nodes.node[on_node])
    shift = np.zeros(floor.unit_fields.shape)
    shift[:, on_node] = fields.shift(update)[:, place] * nodes.weight[on_node]
    return replace(floor, unit_fields=floor.unit_fields - shift)


def measure_floor(
    floor: FloorResponse, u: Array, pressure_atm: float, *, house: int, air: float
) -> FloorMeasures:
    """Margin and coverage of the house's floor.

    Parameters
    ----------
    floor : FloorResponse
        Its unit fields.
    u : array, shape (p,)
        p + p^2 / (2 p_atm) at each port. [Pa]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    house : int
        Port of the house's room.
    air : float
        Room air drawn down, to stand beside them. [m3/s]

    Returns
    -------
    measures : FloorMeasures
        The numbers.
    """
    pressure = floor.pressure(u, pressure_atm, room=house)
    return FloorMeasures(
        worst=worst_margin(pressure),
        coverage_area=coverage(pressure, PASS_LINE),
        room_air=air,
    )


def room_nodes(network: SoilNetwork, rooms: tuple[str, ...]) -> Index:
    """Nodes that leak to rooms, not counting slots.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    rooms : tuple of str
        Names of the rooms.

    Returns
    -------
    nodes : array of int, shape (n,)
        Sorted, each once.
    """
    return np.unique(network.port_node[_area_edges(network, rooms)])


def _area_edges(network: SoilNetwork, rooms: tuple[str, ...]) -> NDArray[np.bool_]:
    ports = [i for i, name in enumerate(network.ports) if name in rooms]
    return np.isin(network.port, ports) & (network.port_slot < 0)


def room_air(
    network: SoilNetwork,
    paths: LeakPaths,
    conductance: Array,
    direct: Array,
    kept: Index,
    kept_u: Array,
    port_u: Array,
    rooms: tuple[str, ...],
) -> float:
    """Air that rooms lose into the soil and the pits, where it goes down.

    Parameters
    ----------
    network : SoilNetwork
        The soil, whose slab body and openings count.
    paths : LeakPaths
        The slots.
    conductance : array, shape (n,)
        Of each slot's way as it is now. [m3/(s Pa)]
    direct : array, shape (p, p)
        Conductance straight from port to port as it is now. [m3/(s Pa)]
    kept : array of int, shape (k,)
        Sorted nodes at which values are known: all that are needed.
    kept_u : array, shape (k,)
        u there. [Pa]
    port_u : array, shape (p,)
        u at the ports. [Pa]
    rooms : tuple of str
        Names of the rooms.

    Returns
    -------
    flow : float
        A slot counts by its net flow, a cell of floor by its own. [m3/s]
    """
    edge = _area_edges(network, rooms)
    node = np.searchsorted(kept, network.port_node[edge])
    through = network.port_conductance[edge] * (port_u[network.port[edge]] - kept_u[node])
    ports = [i for i, name in enumerate(network.ports) if name in rooms]
    mine = np.isin(paths.port, ports)
    slots = conductance * (port_u[paths.port] - _lower_ends(paths, kept, kept_u))
    straight = direct[ports] * (port_u[ports][:, None] - port_u)
    return float(sum(np.maximum(q, 0.0).sum() for q in (through, slots[mine], straight)))


def _lower_ends(paths: LeakPaths, kept: Index, kept_u: Array) -> Array:
    """u at the lower end of each slot, shape (n,); 0 where no air reaches. [Pa]"""
    value = np.zeros(paths.port.size)
    for node, share in (
        (paths.soil_node, paths.soil_share),
        (paths.gap_node, paths.gap_share),
    ):
        there = node >= 0
        value[there] += share[there] * kept_u[np.searchsorted(kept, node[there])]
    return value


def patch_weights(floor: FloorPressure, worst: WorstPatch) -> Array:
    """Weight of each column in the mean over the worst patch.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    worst : WorstPatch
        The place.

    Returns
    -------
    weights : array, shape (nx, ny)
        They add up to one over the columns with air. [-]
    """
    side = min(PATCH, float(np.ptp(floor.x)), float(np.ptp(floor.y)))
    part = []
    for edges, middle in ((floor.x, worst.x), (floor.y, worst.y)):
        low, high = middle - 0.5 * side, middle + 0.5 * side
        part.append(np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0.0, None))
    weights = np.where(floor.floor & ~np.isnan(floor.pressure), np.outer(*part), 0.0)
    return np.asarray(weights / weights.sum())
