"""One pit at a time in soil that is otherwise undug: what each candidate does on its own.

A pit acts on the soil around it as a layer of sources on its surface. With phi the unit field of
the pit alone, carried on into its cavity as one, and A the matrix of the undug soil, that layer is
s = A phi: it makes the field of the pit in undug soil exactly, and by reciprocity s / Y weighs any
field of undug soil into the pressure the pit would take in it, drawing nothing.
"""

from __future__ import annotations

import functools
import pickle
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, TypeVar

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

__all__ = [
    "Dug",
    "SinglePit",
    "Undug",
    "alone",
    "dig",
    "for_each",
    "solve_single_pit",
    "undug_soil",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Answer = TypeVar("Answer")

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
    beside : array of int, any one shape
        Nodes of the undug soil on its rim, and their neighbours.
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
    beside: Index
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
    # a pit that meets a drain acts all along it
    lx, ly, lz = np.unravel_index(soil.conductors.cell, grid.shape)
    columns = tuple(
        slice(max(i.min() - _ROOM, 0), i.max() + 1 + _ROOM)
        for i in (np.append(ix, lx), np.append(iy, ly))
    )
    last = max(int(np.searchsorted(grid.z, depth)), *(lz + 1).tolist(), 0) + _ROOM
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
    base, dug = undug.network, dig(undug, point)
    port = dug.port
    with naming_inputs(undug.site):
        solved = unit_field(dug.network, port, dug.system)
    direct = dug.network.direct[port]
    extended = dug.on_base(solved.field, base.nodes, missing=1.0)
    layer = np.where(dug.touched, undug.matrix @ extended, 0.0)
    return SinglePit(
        own=float(solved.unit_flows[port] + direct.sum()),
        through_soil=float(solved.unit_flows[port]),
        to_references=direct[:port] - solved.unit_flows[:port],
        layer=layer[undug.near],
        field=extended[undug.near],
        floor_field=dug.under_slab(solved.field),
        slot_field=slot_u(base, extended, np.zeros(len(base.slots))),
        beside=dug.to_base[dug.beside],
        iterations=solved.report.iterations,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Dug:
    """A site with one pit dug.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    system : Preconditioned
        Its matrix.
    to_base : array of int, shape (nodes,)
        Node of the undug soil for each node, -1 for none.
    touched : array of bool, any one shape
        Nodes of the undug soil that digging takes away or whose conductances it changes.
    """

    soil: SoilMap
    network: SoilNetwork
    system: Preconditioned
    to_base: Index
    touched: NDArray[np.bool_]

    @property
    def port(self) -> int:
        """Number of the pit among the ports: the last."""
        return len(self.soil.ports) - 1

    @functools.cached_property
    def rim(self) -> Index:
        """Nodes around the pit whose conductances are not those of undug soil."""
        return np.flatnonzero((self.to_base >= 0) & self.touched[self.to_base])

    @functools.cached_property
    def rows(self) -> csr_matrix:
        """Rows of the matrix at the rim. [m3/(s Pa)]"""
        return self.network.matrix()[self.rim]

    @functools.cached_property
    def beside(self) -> Index:
        """Nodes of the undug soil that those rows look at, by their number here."""
        seen = np.unique(self.rows.indices)
        return seen[self.to_base[seen] >= 0]

    def on_base(self, field: Array, nodes: int, *, missing: float) -> Array:
        """A field at the nodes of the undug soil.

        Parameters
        ----------
        field : array, shape (own nodes,)
            At the nodes here. [-]
        nodes : int
            Nodes of the undug soil.
        missing : float
            Value where there is no node here. [-]

        Returns
        -------
        field : array, shape (nodes,)
            At the nodes there. [-]
        """
        wide = np.full(nodes, missing)
        kept = self.to_base >= 0
        wide[self.to_base[kept]] = field[kept]
        return wide

    def under_slab(self, field: Array) -> Array:
        """The unit field of the pit at the slab underside.

        Parameters
        ----------
        field : array, shape (nodes,)
            At the nodes. [-]

        Returns
        -------
        floor_field : array, shape (nx, ny)
            One over the pit, not a number where no air reaches. [-]
        """
        fields = np.zeros((len(self.soil.ports), self.network.nodes))
        fields[self.port] = field
        return floor_fields(self.soil, self.network, fields).unit_fields[self.port]


def dig(undug: Undug, point: SuctionPoint) -> Dug:
    """Lay a site with one pit on the common grid.

    Parameters
    ----------
    undug : Undug
        The site without it.
    point : SuctionPoint
        The pit.

    Returns
    -------
    dug : Dug
        Ready to be solved.
    """
    site, base, layout = undug.site, undug.network, alone(point)
    floor = site.slab.polygon
    effects = (*site.effects(), *layout.effects(floor))
    soil = build_soil_map(undug.soil.grid, effects, layout.held_bodies(floor))
    network = build_soil_network(soil, base.viscosity)
    to_base = _base_nodes(base, network)
    return Dug(
        soil=soil,
        network=network,
        system=_system(undug, network, to_base, len(soil.ports) - 1),
        to_base=to_base,
        touched=_touched(undug, network, to_base),
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


def for_each(
    work: Callable[..., Answer],
    undug: Undug,
    items: Sequence[tuple[Any, ...]],
    *,
    depth: float,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> list[Answer]:
    """Do the same for each of several pits.

    Parameters
    ----------
    work : callable
        A function of a module: takes the undug soil, then what is in an item.
    undug : Undug
        The soil.
    items : sequence of tuple
        What else the work takes; it can be pickled.
    depth : float
        Depth of the deepest pit. [m]
    executor : concurrent.futures.Executor or None
        Where to do it; each worker lays the site on the grid once, for itself. None shares the
        work with forked processes where that is possible.
    progress : callable or None
        Called with the number of items done and of all items, first with none done.

    Returns
    -------
    answers : list
        In the order of the items, the same whoever found them.
    """
    if executor is None:
        return each_of(
            lambda i: work(undug, *items[i]),
            len(items),
            share=undug.network.nodes >= WORTH_SHARING,
            progress=progress,
        )
    tell = progress or (lambda done, total: None)
    tell(0, len(items))
    ground = pickle.dumps((undug.site, undug.soil.grid, undug.network.viscosity, depth))
    waiting = [executor.submit(_elsewhere, work, ground, item) for item in items]
    try:
        for done, future in enumerate(as_completed(waiting), start=1):
            future.result()
            tell(done, len(items))
    finally:
        for future in waiting:
            future.cancel()
    return [future.result() for future in waiting]


def _elsewhere(work: Callable[..., Answer], ground: bytes, item: tuple[Any, ...]) -> Answer:
    return work(_unpacked(ground), *item)


@functools.lru_cache(maxsize=1)
def _unpacked(ground: bytes) -> Undug:
    """The undug soil in a worker, laid out once for all its pits."""
    site, grid, viscosity, depth = pickle.loads(ground)
    return undug_soil(site, grid, viscosity, depth=depth)
