"""One pit at a time in soil that is otherwise undug: what each candidate does on its own.

A pit acts on the soil around it as a layer of sources on its surface. With phi the unit field of
the pit alone, carried on into its cavity as one, and A the matrix of the undug soil, that layer is
s = A phi: it makes the field of the pit in undug soil exactly, and by reciprocity s / Y weighs any
field of undug soil into the pressure the pit would take in it, drawing nothing.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from soilflow.contrast import naming_inputs
from soilflow.flow.edge_flows import edge_product
from soilflow.flow.lent_cycle import lent_cycle
from soilflow.flow.response import is_careful, system_of, unit_field
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.flow.solve import Preconditioned
from soilflow.layout.layout import SuctionPoint
from soilflow.results.floor import floor_fields
from soilflow.results.leaks import slot_u
from soilflow.studies.undug import Undug, alone

__all__ = ["Dug", "SinglePit", "dig", "solve_single_pit"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


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
    matrix : csr_matrix, shape (nodes, nodes)
        Its matrix. [m3/(s Pa)]
    system : Preconditioned
        The same, ready to be solved.
    to_base : array of int, shape (nodes,)
        Node of the undug soil for each node, -1 for none.
    touched : array of bool, any one shape
        Nodes of the undug soil that digging takes away or whose conductances it changes.
    """

    soil: SoilMap
    network: SoilNetwork
    matrix: csr_matrix
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
        return self.matrix[self.rim]

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
    matrix = network.matrix()
    return Dug(
        soil=soil,
        network=network,
        matrix=matrix,
        system=_system(undug, network, matrix, to_base),
        to_base=to_base,
        touched=_touched(undug, matrix, to_base),
    )


def _base_nodes(base: SoilNetwork, network: SoilNetwork) -> Index:
    """Node of the undug soil for each node of another network, -1 for none."""
    found = np.full(network.nodes + 1, -1, dtype=np.int64)
    for name in ("cell_node", "sheet_node", "line_node"):
        found[getattr(network, name)] = getattr(base, name)
    return found[:-1]  # the last one took those that are no nodes


def _system(
    undug: Undug, network: SoilNetwork, matrix: csr_matrix, to_base: Index
) -> Preconditioned:
    """The matrix of a network, with the cycle of the undug soil where that knows all nodes."""
    if np.any(to_base < 0):
        return system_of(network)
    at_pit = np.unique(network.port_node[network.port == len(network.ports) - 1])
    times = edge_product(network) if is_careful(network) else None
    return lent_cycle(undug.system, matrix, to_base, at_pit, times=times)


def _touched(undug: Undug, matrix: csr_matrix, to_base: Index) -> NDArray[np.bool_]:
    """Undug nodes that digging takes away or whose conductances it changes."""
    before = undug.matrix.diagonal()
    after = np.zeros(before.size)
    kept = to_base >= 0
    after[to_base[kept]] = matrix.diagonal()[kept]
    gone = after == 0.0
    beside = np.asarray(undug.matrix @ gone.astype(float)) != 0.0
    return gone | beside | (np.abs(after - before) > 1e-12 * before)
