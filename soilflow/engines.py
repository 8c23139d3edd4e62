"""The independent engine in place of the soil network: same case, same questions, FiPy's fields."""

from __future__ import annotations

import time

import numpy as np

from soilflow.case import Case
from soilflow.errors import SoilflowError
from soilflow.flow.fipy_engine import FipyResponse, respond_fipy
from soilflow.flow.response import SoilResponse
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.layout.layout import Layout
from soilflow.results.floor import floor_response
from soilflow.results.result import Result, SoilSolution
from soilflow.run import evaluate, map_of

__all__ = ["on_nodes", "run_layout_fipy"]


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


def run_layout_fipy(case: Case, layout: str | Layout | None = None) -> Result:
    """Solve one layout of a case in all its conditions with FiPy.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        The layout or its name; None takes the first.

    Returns
    -------
    result : Result
        As from `soilflow.run.run_layout`, from FiPy's fields.

    Raises
    ------
    InputError
        No such layout, no floor with air below it, or more cells than this engine takes.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        The fan would work outside its curve.
    """
    chosen = layout if isinstance(layout, Layout) else case.layout(layout)
    start = time.perf_counter()
    soil = map_of(case, chosen)
    network = build_soil_network(soil, case.air.viscosity)
    response = on_nodes(respond_fipy(soil, case.air.viscosity), network)
    solution = SoilSolution(soil=soil, network=network, response=response)
    floor = floor_response(soil, network, response)
    conditions = {c.name: evaluate(case, chosen, c, solution, floor) for c in case.conditions}
    points = [
        f"{name}: {note}" for name, c in conditions.items() for note in c.operating_point.notes
    ]
    return Result(
        title=case.title,
        layout=chosen.name,
        variant=case.variant,
        site=case.site,
        arrangement=chosen,
        hole_places={hole.name: (hole.x, hole.y) for hole in case.test_holes},
        solution=solution,
        conditions=conditions,
        notes=("solved with FiPy, the engine for checks", *case.site.doubts(), *points),
        seconds={"all": time.perf_counter() - start},
    )
