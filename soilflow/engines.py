"""The independent engine in place of the soil network: same case, same questions, FiPy's fields."""

from __future__ import annotations

import numpy as np

from soilflow.errors import SoilflowError
from soilflow.flow.fipy_engine import FipyResponse, respond_fipy
from soilflow.flow.response import SoilResponse
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.results.result import SoilSolution

__all__ = ["on_nodes", "solve_soil_fipy"]


def on_nodes(found: FipyResponse, network: SoilNetwork) -> SoilResponse:
    """Put FiPy's fields on the nodes of the network, so that every result reads them.

    Parameters
    ----------
    found : FipyResponse
        FiPy's fields and flows.
    network : SoilNetwork
        Whose nodes are wanted; its conductances are not looked at.

    Returns
    -------
    response : SoilResponse
        FiPy's fields; its port matrix made symmetric, since the operating point needs it so.

    Raises
    ------
    SoilflowError
        FiPy has no air where the network has.
    """
    fields = np.empty((len(found.ports), network.nodes))
    for values, node in (
        (found.unit_fields, network.cell_node),
        (found.gap_fields, network.sheet_node),
    ):
        fields[:, node[node >= 0]] = values[:, node >= 0]
    if np.isnan(fields).any():
        raise SoilflowError("FiPy finds no way for air to some cells that the soil network reaches")
    partition = float(np.abs(fields.sum(axis=0) - 1.0).max(initial=0.0))
    return SoilResponse(
        ports=found.ports,
        unit_fields=fields,
        port_matrix=0.5 * (found.port_matrix + found.port_matrix.T),
        face_matrix=found.port_matrix,
        reports=found.reports,
        balance=found.balance,
        partition=partition,
    )


def solve_soil_fipy(
    soil: SoilMap, viscosity: float, *, progress: Progress | None = None
) -> SoilSolution:
    """Solve a soil map with FiPy; pass it to `soilflow.run.run_layout` as its engine.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    solution : SoilSolution
        FiPy's fields on the nodes of the network.

    Raises
    ------
    InputError
        More cells than this engine takes.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    network = build_soil_network(soil, viscosity)
    response = on_nodes(respond_fipy(soil, viscosity, progress=progress), network)
    return SoilSolution(soil=soil, network=network, response=response)
