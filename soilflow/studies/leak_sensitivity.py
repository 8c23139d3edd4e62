"""What slots do to margin and room air to first order, from one adjoint solve for each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import pressure_from_u
from soilflow.flow.leak_update import adjoint
from soilflow.results.leak_changes import patch_weights
from soilflow.site.effects import HOUSE
from soilflow.studies.leak_model import LeakModel
from soilflow.studies.leak_outcome import LeakState

__all__ = ["Sensitivity", "air_sensitivity", "margin_sensitivity"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sensitivity:
    """How a measure answers to flow and pressure.

    Parameters
    ----------
    at_slots : array, shape (n,)
        Change of the measure for a unit of flow into the lower end of each slot. [SI]
    at_ports : array, shape (p,)
        Change for a unit of u at each port, the soil as it is. [SI]
    """

    at_slots: Array
    at_ports: Array


def margin_sensitivity(model: LeakModel, state: LeakState) -> Sensitivity:
    """Of the margin at the place that is worst now.

    Parameters
    ----------
    model : LeakModel
        The house.
    state : LeakState
        As it is.

    Returns
    -------
    sensitivity : Sensitivity
        Of pascals.

    Raises
    ------
    ConvergenceError
        The solve missed its tolerance.
    """
    atm, floor, u = model.case.air.pressure_atm, model.floor, state.point.u
    pressure = floor.pressure(u, atm, room=model.solution.network.ports.index(HOUSE))
    weights = patch_weights(pressure, state.measures.worst)
    used = weights > 0.0
    field = np.tensordot(u, floor.unit_fields[:, used], axes=1)
    weights = weights[used] / (1.0 + pressure_from_u(field, atm) / atm)
    node, share = model.nodes.node[used], model.nodes.weight[used]
    measure = np.zeros(model.solution.network.nodes)
    np.add.at(measure, node[node >= 0], -(weights * share)[node >= 0])
    lam = adjoint(model.system, measure)
    return Sensitivity(
        at_slots=model.paths.across(lam), at_ports=-floor.unit_fields[:, used] @ weights
    )


def air_sensitivity(
    model: LeakModel, state: LeakState, drop: Array
) -> tuple[Sensitivity, NDArray[np.bool_]]:
    """Of the air rooms lose through the slots and cells that draw it down now.

    Parameters
    ----------
    model : LeakModel
        The house.
    state : LeakState
        As it is.
    drop : array, shape (n, p)
        Difference of each unit field across each slot. [-]

    Returns
    -------
    sensitivity : Sensitivity
        Of cubic metres a second.
    down : array of bool, shape (n,)
        Slots that draw room air down.

    Raises
    ------
    ConvergenceError
        The solve missed its tolerance.
    """
    network, paths, u = model.solution.network, model.paths, state.point.u
    fields = model.solution.response.unit_fields
    ports = [i for i, name in enumerate(network.ports) if name in model.rooms]
    conductance = paths.conductance()
    down = np.isin(paths.port, ports) & (drop @ u < 0.0)
    edge = np.isin(network.port, ports) & (network.port_slot < 0)
    node, port, g = network.port_node[edge], network.port[edge], network.port_conductance[edge]
    falls = fields[:, node] * 1.0
    falls[port, np.arange(node.size)] -= 1.0
    used = u @ falls < 0.0
    measure = np.zeros(network.nodes)
    np.add.at(measure, node[used], -g[used])
    for ends, share in (
        (paths.soil_node, paths.soil_share),
        (paths.gap_node, paths.gap_share),
    ):
        mine = down & (ends >= 0)
        np.add.at(measure, ends[mine], -(conductance * share)[mine])
    at_ports = -(falls[:, used] @ g[used]) - drop[down].T @ conductance[down]
    for i in ports:
        lost = network.direct[i] * (u[i] > u)
        at_ports[i] += lost.sum()
        at_ports -= lost
    lam = adjoint(model.system, measure)
    return Sensitivity(at_slots=paths.across(lam), at_ports=at_ports), down
