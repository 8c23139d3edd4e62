"""One pit at a time in soil that is otherwise undug: what each candidate does on its own.

A pit acts on the soil around it as a layer of sources on its surface. With phi the unit field of
the pit alone, carried on into its cavity as one, and A the matrix of the undug soil, that layer is
s = A phi: it makes the field of the pit in undug soil exactly, and by reciprocity s / Y weighs any
field of undug soil into the pressure the pit would take in it, drawing nothing.
"""

from __future__ import annotations

import functools
import pickle
from collections.abc import Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from soilflow.contrast import naming_inputs
from soilflow.flow.edge_flows import edge_product
from soilflow.flow.grid import Grid
from soilflow.flow.lent_cycle import lent_cycle
from soilflow.flow.response import SoilResponse, is_careful, respond, system_of, unit_field
from soilflow.flow.side_by_side import WORTH_SHARING, Progress, each_of
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.flow.solve import Preconditioned
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.results.floor import floor_fields
from soilflow.results.leaks import slot_u
from soilflow.site.site import Site

__all__ = ["SinglePit", "Undug", "alone", "solve_single_pit", "solve_single_pits", "undug_soil"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Layers below the deepest pit and columns beside the floor that a pit's sources reach into.
_ROOM = 2


class SinglePit(NamedTuple):
    """What one pit does on its own, with all references at zero.

    Parameters
    ----------
    own : float
        Its conductance to all references. [m3/(s Pa)]
    through_soil : float
        That without what opens straight into it. [m3/(s Pa)]
    to_references : array, shape (m,)
        Its conductance to each. [m3/(s Pa)]
    layer : array, shape (near,)
        Flow into undug soil that stands for the pit at one pascal. [m3/(s Pa)]
    field : array, shape (near,)
        Its unit field at the nodes where pits may be. [-]
    floor_field : array, shape (nx, ny)
        Its unit field at the slab underside; not a number where no air reaches. [-]
    slot_field : array, shape (o,)
        Its unit field at the lower end of each slot of the undug soil. [-]
    iterations : int
        Of the solve.
    """

    own: float
    through_soil: float
    to_references: Array
    layer: Array
    field: Array
    floor_field: Array
    slot_field: Array
    iterations: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Undug:
    """A site without any pit, on the grid that all candidates share.

    Parameters
    ----------
    site : Site
        The site.
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    system : Preconditioned
        Its matrix; its multigrid cycle serves every pit.
    near : array of int, shape (near,)
        Nodes where pits may be, and one further around.
    """

    site: Site
    soil: SoilMap
    network: SoilNetwork
    system: Preconditioned
    near: Index

    @functools.cached_property
    def matrix(self) -> csr_matrix:
        """Matrix of the nodes. [m3/(s Pa)]"""
        return self.network.matrix()

    @property
    def references(self) -> tuple[str, ...]:
        """Everything the soil leaks to."""
        return self.soil.ports

    def response(self) -> SoilResponse:
        """Unit fields of the references.

        Returns
        -------
        response : SoilResponse
            With nothing dug.
        """
        return respond(self.network, system=self.system)


def undug_soil(site: Site, grid: Grid, viscosity: float, *, depth: float) -> Undug:
    """Lay a site on a grid and set up its solver.

    Parameters
    ----------
    site : Site
        The site.
    grid : Grid
        The grid.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    depth : float
        Depth of the deepest pit. [m]

    Returns
    -------
    undug : Undug
        Ready for any number of pits.
    """
    soil = build_soil_map(grid, site.effects(), ())
    network = build_soil_network(soil, viscosity)
    ix, iy = np.nonzero(soil.floor)
    columns = tuple(slice(max(i.min() - _ROOM, 0), i.max() + 1 + _ROOM) for i in (ix, iy))
    last = int(np.searchsorted(grid.z, depth)) + _ROOM
    nodes = [
        network.cell_node[(*columns, slice(None, last))].ravel(),
        network.sheet_node[columns].ravel(),
        network.line_node,
    ]
    near = np.concatenate(nodes)
    return Undug(
        site=site,
        soil=soil,
        network=network,
        system=system_of(network),
        near=near[near >= 0],
    )


def alone(point: SuctionPoint) -> Layout:
    """A layout of one point, held at a pascal.

    Parameters
    ----------
    point : SuctionPoint
        The point.

    Returns
    -------
    layout : Layout
        For grids and maps; no fan is on it.
    """
    return Layout(name=point.name, points=(replace(point, vacuum=1.0, capped=False, fan=""),))


def solve_single_pit(undug: Undug, point: SuctionPoint) -> SinglePit:
    """Solve one pit in soil that is otherwise undug.

    Parameters
    ----------
    undug : Undug
        The soil.
    point : SuctionPoint
        The pit.

    Returns
    -------
    single : SinglePit
        Its conductances, sources and field.

    Raises
    ------
    ConvergenceError, BalanceError
        The solve missed its tolerance.
    """
    site, base, layout = undug.site, undug.network, alone(point)
    floor = site.slab.polygon
    effects = (*site.effects(), *layout.effects(floor))
    soil = build_soil_map(undug.soil.grid, effects, layout.held_bodies(floor))
    network = build_soil_network(soil, base.viscosity)
    port, to_base = len(soil.ports) - 1, _base_nodes(base, network)
    with naming_inputs(site):
        solved = unit_field(network, port, _system(undug, network, to_base, port))
    direct = network.direct[port]
    extended = np.ones(base.nodes)
    kept = to_base >= 0
    extended[to_base[kept]] = solved.field[kept]
    layer = np.where(_touched(undug, network, to_base), undug.matrix @ extended, 0.0)
    fields = np.zeros((len(soil.ports), network.nodes))
    fields[port] = solved.field
    return SinglePit(
        own=float(solved.unit_flows[port] + direct.sum()),
        through_soil=float(solved.unit_flows[port]),
        to_references=direct[:port] - solved.unit_flows[:port],
        layer=layer[undug.near],
        field=extended[undug.near],
        floor_field=floor_fields(soil, network, fields).unit_fields[port],
        slot_field=slot_u(base, extended, np.zeros(len(base.slots))),
        iterations=solved.report.iterations,
    )


def _base_nodes(base: SoilNetwork, network: SoilNetwork) -> Index:
    """Node of the undug soil for each node of another network, -1 for none."""
    found = np.full(network.nodes + 1, -1, dtype=np.int64)
    for name in ("cell_node", "sheet_node", "line_node"):
        found[getattr(network, name)] = getattr(base, name)
    return found[:-1]  # the last one took those that are no nodes


def _system(undug: Undug, network: SoilNetwork, to_base: Index, port: int) -> Preconditioned:
    """The matrix of a network, with the cycle of the undug soil where that knows all nodes."""
    if np.any(to_base < 0):
        return system_of(network)
    at_pit = np.unique(network.port_node[network.port == port])
    times = edge_product(network) if is_careful(network) else None
    return lent_cycle(undug.system, network.matrix(), to_base, at_pit, times=times)


def _touched(undug: Undug, network: SoilNetwork, to_base: Index) -> NDArray[np.bool_]:
    """Undug nodes that digging takes away or whose conductances it changes."""
    before = undug.matrix.diagonal()
    after = np.zeros(before.size)
    kept = to_base >= 0
    after[to_base[kept]] = network.matrix().diagonal()[kept]
    gone = after == 0.0
    beside = np.asarray(undug.matrix @ gone.astype(float)) != 0.0
    return gone | beside | (np.abs(after - before) > 1e-12 * before)


def solve_single_pits(
    undug: Undug,
    points: Sequence[SuctionPoint],
    *,
    depth: float,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> list[SinglePit]:
    """Solve each of several pits on its own.

    Parameters
    ----------
    undug : Undug
        The soil.
    points : sequence of SuctionPoint
        The pits.
    depth : float
        Depth of the deepest. [m]
    executor : concurrent.futures.Executor or None
        Where to solve them; each worker lays the site on the grid once, for itself. None shares
        the work with forked processes where that is possible.
    progress : callable or None
        Called with the number of pits done and of all pits, first with none done.

    Returns
    -------
    singles : list of SinglePit
        In the order of the points, the same whoever solved them.

    Raises
    ------
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    if executor is None:
        return each_of(
            lambda i: solve_single_pit(undug, points[i]),
            len(points),
            share=undug.network.nodes >= WORTH_SHARING,
            progress=progress,
        )
    tell = progress or (lambda done, total: None)
    tell(0, len(points))
    ground = pickle.dumps((undug.site, undug.soil.grid, undug.network.viscosity, depth))
    waiting = [executor.submit(_solve_elsewhere, ground, point) for point in points]
    try:
        for done, future in enumerate(as_completed(waiting), start=1):
            future.result()
            tell(done, len(points))
    finally:
        for future in waiting:
            future.cancel()
    return [future.result() for future in waiting]


def _solve_elsewhere(ground: bytes, point: SuctionPoint) -> SinglePit:
    return solve_single_pit(_unpacked(ground), point)


@functools.lru_cache(maxsize=1)
def _unpacked(ground: bytes) -> Undug:
    """The undug soil in a worker, laid out once for all its pits."""
    site, grid, viscosity, depth = pickle.loads(ground)
    return undug_soil(site, grid, viscosity, depth=depth)
