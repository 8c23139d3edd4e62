"""The soil as a network of conductances: nodes, edges between them, edges to ports.

Nodes are soil cells with an air path, then the gap cells above them. A slot is a star of up to
three legs (to its reference, to the soil cell, to the gap cell); its middle is eliminated
exactly, so it costs no unknown.

Length: every kind of edge counts on the same numbering of nodes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components

from soilflow.flow.conductances import area_conductance, slot_legs, star_to_triangle, summed
from soilflow.flow.edge_lists import EdgeLists
from soilflow.flow.soil_map import SoilMap

__all__ = ["SoilNetwork", "build_soil_network"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# A body's surface this close to a cell centre, in cells, is taken to be this far: the error is
# far below the scheme's own, and the matrix keeps its conditioning.
_NEAREST = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilNetwork:
    """Nodes, edges and ports; all conductances are for air at the stated viscosity.

    Parameters
    ----------
    ports : tuple of str
        Names of the ports.
    nodes : int
        Number of nodes.
    cell_node : array of int, shape (nx, ny, nz)
        Node of each soil cell; -1 without one, for solids, cavities and lost islands.
    sheet_node : array of int, shape (nx, ny)
        Node of each gap cell, -1 without one.
    line_node : array of int, shape (n,)
        Node of each line conductor, -1 for one that is a port.
    edges : array of int, shape (m, 2)
        Nodes at the two ends.
    conductance : array, shape (m,)
        Conductance of each edge. [m3/(s Pa)]
    edge_slot : array of int, shape (m,)
        Slot an edge belongs to, -1 for none.
    port_node, port : array of int, shape (k,)
        Node and port of each port edge.
    port_conductance : array, shape (k,)
        Conductance of each port edge. [m3/(s Pa)]
    port_slot : array of int, shape (k,)
        Slot a port edge belongs to, -1 for none.
    port_area : array of int, shape (k,)
        Area leak a port edge belongs to, -1 for none; with neither it is the surface of a body or
        the rim of a hole.
    direct : array, shape (p, p)
        Conductance straight from port to port, symmetric, zero diagonal. [m3/(s Pa)]
    slots : array, shape (n, 3)
        Legs of each slot: to its reference, to its soil cell, to the gap. [m3/(s Pa)]
    slot_nodes : array of int, shape (n, 2)
        Soil and gap node of each slot, -1 for none.
    lost_cells : int
        Soil cells with no way to any port, left out.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    """

    ports: tuple[str, ...]
    nodes: int
    cell_node: Index
    sheet_node: Index
    line_node: Index
    edges: Index
    conductance: Array
    edge_slot: Index
    port_node: Index
    port: Index
    port_conductance: Array
    port_slot: Index
    port_area: Index
    direct: Array
    slots: Array
    slot_nodes: Index
    lost_cells: int
    viscosity: float

    def matrix(self) -> csr_matrix:
        """The symmetric positive definite matrix of the nodes.

        Returns
        -------
        matrix : csr_matrix, shape (nodes, nodes)
            Sum of conductances on the diagonal, their negatives beside it. [m3/(s Pa)]
        """
        i, j = self.edges[:, 0], self.edges[:, 1]
        t = self.conductance
        ends = np.concatenate([i, j, self.port_node])
        diagonal = summed(ends, np.concatenate([t, t, self.port_conductance]), self.nodes)
        d = np.arange(self.nodes)
        rows = np.concatenate([i, j, d])
        columns = np.concatenate([j, i, d])
        values = np.concatenate([-t, -t, diagonal])
        return coo_matrix((values, (rows, columns)), shape=(self.nodes, self.nodes)).tocsr()

    def sources(self) -> Array:
        """Right-hand side of each port held at one pascal.

        Returns
        -------
        sources : array, shape (p, nodes)
            Conductance from the port to each node. [m3/(s Pa)]
        """
        b = np.zeros((len(self.ports), self.nodes))
        np.add.at(b, (self.port, self.port_node), self.port_conductance)
        return b

    def __repr__(self) -> str:
        return (
            f"SoilNetwork({self.nodes} nodes, {self.conductance.size} edges, "
            f"{self.port.size} port edges, {len(self.slots)} slots, {self.lost_cells} cells "
            f"without a way to a port, viscosity {self.viscosity:.4g} Pa s)"
        )


def build_soil_network(soil: SoilMap, viscosity: float) -> SoilNetwork:
    """Turn a soil map into conductances.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    network : SoilNetwork
        Two-point fluxes over true half-distances, resistances in series.
    """
    cell_node = np.full(soil.grid.shape, -1, dtype=np.int64)
    count = int(soil.air.sum())
    cell_node[soil.air] = np.arange(count)
    sheet_node = np.full(soil.sheet.shape, -1, dtype=np.int64)
    has_sheet = soil.sheet > 0.0
    sheet_node[has_sheet] = count + np.arange(int(has_sheet.sum()))
    nodes = count + int(has_sheet.sum())
    blind = soil.conductors.port < 0
    line_node = np.where(blind, nodes + np.cumsum(blind) - 1, -1)
    nodes += int(blind.sum())

    edges = EdgeLists()
    for axis in range(3):
        _soil_faces(soil, axis, cell_node, viscosity, edges)
    _sheet_edges(soil, cell_node, sheet_node, line_node, viscosity, edges)
    _line_edges(soil, cell_node, line_node, viscosity, edges)
    below = cell_node.copy()  # what leaks open into: soil, or a line that fills the column
    drain_node, top = soil.conductors.over(line_node), soil.top_layer
    below[:, :, top] = np.where(drain_node >= 0, drain_node, below[:, :, top])
    _area_leaks(soil, below, sheet_node, viscosity, edges)
    slots, slot_nodes = _slots(soil, below, sheet_node, viscosity, edges)
    direct = np.zeros((len(soil.ports),) * 2)
    leaks = soil.direct_leaks
    np.add.at(direct, (leaks.body, leaks.port), leaks.geometry / viscosity)
    np.add.at(direct, (leaks.port, leaks.body), leaks.geometry / viscosity)
    return _without_islands(
        soil, nodes, cell_node, sheet_node, line_node, edges, direct, slots, slot_nodes, viscosity
    )


def _half_resistance(soil: SoilMap, axis: int) -> Array:
    """Half a cell over permeability along an axis, of the grid's shape. [1/m]"""
    k = soil.vertical if axis == 2 else soil.horizontal
    size = soil.grid.sizes(axis)
    shape = [1, 1, 1]
    shape[axis] = -1
    with np.errstate(divide="ignore"):
        return np.asarray(0.5 * size.reshape(shape) / k)


def _face_areas(soil: SoilMap, axis: int) -> Array:
    sizes = [soil.grid.sizes(a) for a in range(3)]
    sizes[axis] = np.ones(1)
    return sizes[0][:, None, None] * sizes[1][None, :, None] * sizes[2][None, None, :]


def _soil_faces(
    soil: SoilMap, axis: int, cell_node: Index, viscosity: float, edges: EdgeLists
) -> None:
    """Edges between neighbouring soil cells, and from soil cells to cavities beside them."""
    half = np.moveaxis(_half_resistance(soil, axis), axis, 0)
    area = np.moveaxis(_face_areas(soil, axis), axis, 0)
    node = np.moveaxis(cell_node, axis, 0)
    cavity = np.moveaxis(soil.cavity, axis, 0)
    air = np.moveaxis(soil.air, axis, 0)
    if axis == 2:
        is_open = np.ones(half[1:].shape, dtype=bool)
    else:
        is_open = np.moveaxis(soil.open_x if axis == 0 else soil.open_y, axis, 0)
    both = air[:-1] & air[1:] & is_open
    near_line = np.moveaxis(soil.conductors.factor_along(axis, soil.grid.shape), axis, 0)
    t = area * near_line / (viscosity * (half[:-1] + half[1:]))
    edges.between(node[:-1][both], node[1:][both], np.broadcast_to(t, both.shape)[both])
    for sign in (1, -1):
        near, far = (slice(None, -1), slice(1, None))[::sign]
        meets = air[near] & (cavity[far] >= 0) & is_open
        if not meets.any():
            continue
        at = np.nonzero(meets)
        offset = 0 if sign > 0 else 1
        index = [at[0] + offset, at[1], at[2]]
        other = [at[0] + 1 - offset, at[1], at[2]]
        g = _body_conductance(soil, axis, sign, index, other, half, area, viscosity)
        ports = np.array([soil.body_port(b) for b in range(len(soil.held))])
        edges.to_port(node[tuple(index)], ports[cavity[tuple(other)]], g)


def _body_conductance(
    soil: SoilMap,
    axis: int,
    sign: int,
    index: list[Index],
    other: list[Index],
    half: Array,
    area: Array,
    viscosity: float,
) -> Array:
    """Conductance from soil cells to the true surface of the bodies beside them. [m3/(s Pa)]"""
    order = [axis, *(a for a in range(3) if a != axis)]
    grid_index = [index[order.index(a)] for a in range(3)]
    other_index = tuple(other[order.index(a)] for a in range(3))
    centre = [soil.grid.centres(a)[grid_index[a]] for a in range(3)]
    size = soil.grid.sizes(axis)
    own, beyond = 0.5 * size[index[0]], 0.5 * size[other[0]]
    body = soil.cavity[other_index]
    distance, packed = np.full(own.shape, np.nan), np.zeros(own.shape)
    for b, item in enumerate(soil.held):
        mine = body == b
        x, y, z = (c[mine] for c in centre)
        distance[mine] = item.body.entry(axis, sign, x, y, z)
        if item.smear > 0.0:
            shell = item.body.shell(axis, x, y, z, item.smear)
            shell = np.where(np.isnan(shell), item.smear, shell)
            packed[mine] = shell * (1.0 / item.smear_ratio - 1.0)
    # a body cut by a plane between the two centres has its surface on the face itself
    distance = np.where(np.isnan(distance) | (distance <= 0.0), own, distance)
    distance = np.clip(distance, _NEAREST * 2.0 * own, own + beyond)
    near = half[tuple(index)] * np.minimum(distance / own, 1.0)
    with np.errstate(invalid="ignore"):
        far = np.where(distance > own, half[tuple(other)] * (distance - own) / beyond, 0.0)
    face = area[(np.zeros_like(index[0]), index[1], index[2])]
    skin = half[tuple(index)] / own * packed
    return np.asarray(face / (viscosity * (near + far + skin)))


def _sheet_edges(
    soil: SoilMap,
    cell_node: Index,
    sheet_node: Index,
    line_node: Index,
    viscosity: float,
    edges: EdgeLists,
) -> None:
    """The gap: along itself, down to the soil, and into the rims of pits, holes and lines."""
    have = sheet_node >= 0
    if not have.any():
        return
    top = soil.top_layer
    half_down = _half_resistance(soil, 2)[:, :, top]
    area = np.outer(soil.grid.sizes(0), soil.grid.sizes(1))
    over_soil = have & soil.air[:, :, top]
    down = (area / (viscosity * half_down))[over_soil]
    edges.between(sheet_node[over_soil], cell_node[:, :, top][over_soil], down)
    xx, yy = np.meshgrid(soil.grid.centres(0), soil.grid.centres(1), indexing="ij")
    dug = soil.cavity[:, :, top]
    drain_node = soil.conductors.over(line_node)
    rim_port = np.maximum(soil.hole_port, soil.conductors.over(soil.conductors.port))
    for axis in range(2):
        is_open = (soil.open_x if axis == 0 else soil.open_y)[:, :, top]
        size, width = soil.grid.sizes(axis), soil.grid.sizes(1 - axis)
        shape = (-1, 1) if axis == 0 else (1, -1)
        with np.errstate(divide="ignore"):
            half = 0.5 * size.reshape(shape) / soil.sheet
        width2 = np.broadcast_to(width.reshape(shape[::-1]), soil.sheet.shape)
        lo = (slice(None, -1), slice(None)) if axis == 0 else (slice(None), slice(None, -1))
        hi = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
        both = have[lo] & have[hi] & is_open
        t = width2[lo] / (viscosity * (half[lo] + half[hi]))
        edges.between(sheet_node[lo][both], sheet_node[hi][both], t[both])
        size2 = np.broadcast_to(size.reshape(shape), soil.sheet.shape)
        for sign, near, far in ((1, lo, hi), (-1, hi, lo)):
            g = width2[near] / (viscosity * half[near])
            rim = have[near] & (rim_port[far] >= 0) & is_open
            edges.to_port(sheet_node[near][rim], rim_port[far][rim], g[rim])
            rim = have[near] & (drain_node[far] >= 0) & is_open
            edges.between(sheet_node[near][rim], drain_node[far][rim], g[rim])
            for b, item in enumerate(soil.held):
                meets = have[near] & (dug[far] == b) & is_open
                if not meets.any():
                    continue
                own = 0.5 * size2[near][meets]
                reach = own + 0.5 * size2[far][meets]
                d = item.body.rim_entry(axis, sign, xx[near][meets], yy[near][meets])
                d = np.clip(np.where(np.isnan(d), own, d), _NEAREST * 2.0 * own, reach)
                g = width2[near][meets] * soil.sheet[near][meets] / (viscosity * d)
                port = np.full(g.shape, soil.body_port(b))
                edges.to_port(sheet_node[near][meets], port, g)


def _area_leaks(
    soil: SoilMap, cell_node: Index, sheet_node: Index, viscosity: float, edges: EdgeLists
) -> None:
    """Slab body and ground through the gap or half a cell; wall faces through the cell beside."""
    leaks = soil.area_leaks
    ix, iy, iz = np.unravel_index(leaks.cell, soil.grid.shape)
    half, permeability = soil.beside(leaks.cell, leaks.axis, leaks.area)
    over_gap = (sheet_node[ix, iy] >= 0) & (iz == soil.top_layer) & (leaks.axis == 2)
    half = np.where(over_gap, 0.0, half)
    g = area_conductance(leaks.area, leaks.leakance, half, permeability, viscosity)
    node = np.where(over_gap, sheet_node[ix, iy], cell_node[ix, iy, iz])
    edges.to_port(node, leaks.port, g, area=np.arange(leaks.cell.size))


def _line_edges(
    soil: SoilMap, cell_node: Index, line_node: Index, viscosity: float, edges: EdgeLists
) -> None:
    """From each line conductor, a node or a port, to the soil cells it passes."""
    lines = soil.conductors
    node = cell_node.ravel()[lines.cell]
    own, port = line_node[lines.line], lines.port[lines.line]
    g = lines.geometry / viscosity
    blind = own >= 0
    edges.between(own[blind], node[blind], g[blind])
    edges.to_port(node[~blind], port[~blind], g[~blind])


def _slots(
    soil: SoilMap, cell_node: Index, sheet_node: Index, viscosity: float, edges: EdgeLists
) -> tuple[Array, Index]:
    """Slots as triangles between reference, soil cell and gap cell."""
    leaks = soil.line_leaks
    ix, iy, iz = np.unravel_index(leaks.cell, soil.grid.shape)
    across = np.where(leaks.normal == 0, soil.grid.sizes(0)[ix], soil.grid.sizes(1)[iy])
    legs = slot_legs(
        length=leaks.length,
        aperture=leaks.aperture,
        path=leaks.path,
        share=leaks.share,
        across=across,
        down=soil.grid.sizes(2)[iz],
        horizontal=soil.horizontal[ix, iy, iz],
        vertical=soil.vertical[ix, iy, iz],
        sheet=soil.sheet[ix, iy],
        viscosity=viscosity,
    )
    # where a line conductor fills the column, the slot opens straight into it
    legs = legs[0], np.where(soil.conductors.opened[ix, iy] >= 0, np.inf, legs[1]), legs[2]
    ref_soil, ref_sheet, soil_sheet = star_to_triangle(*legs)
    soil_node, gap_node = cell_node[ix, iy, iz], sheet_node[ix, iy]
    gap = gap_node >= 0
    number = np.arange(leaks.cell.size)
    edges.to_port(soil_node, leaks.port, ref_soil, number)
    edges.to_port(gap_node[gap], leaks.port[gap], ref_sheet[gap], number[gap])
    edges.between(soil_node[gap], gap_node[gap], soil_sheet[gap], number[gap])
    return np.column_stack(legs), np.column_stack([soil_node, gap_node])


def _without_islands(
    soil: SoilMap,
    nodes: int,
    cell_node: Index,
    sheet_node: Index,
    line_node: Index,
    edges: EdgeLists,
    direct: Array,
    slots: Array,
    slot_nodes: Index,
    viscosity: float,
) -> SoilNetwork:
    """Drop nodes with no way to any port, and number the rest anew."""
    i, j, t = (np.concatenate([*part]) for part in (edges.i, edges.j, edges.t))
    node, port, g = (np.concatenate([*part]) for part in (edges.node, edges.port, edges.g))
    graph = coo_matrix((np.ones(i.size), (i, j)), shape=(nodes, nodes))
    _, label = connected_components(graph, directed=False)
    reached = np.zeros(label.max(initial=-1) + 1, dtype=bool)
    reached[label[node]] = True
    keep = reached[label] if nodes else np.zeros(0, dtype=bool)
    number = np.where(keep, np.cumsum(keep) - 1, -1)
    number = np.append(number, -1)  # so that -1, no node, maps to itself
    inside = keep[i]
    return SoilNetwork(
        ports=soil.ports,
        nodes=int(keep.sum()),
        cell_node=number[cell_node],
        sheet_node=number[sheet_node],
        line_node=number[line_node],
        edges=np.column_stack([number[i[inside]], number[j[inside]]]),
        conductance=t[inside],
        edge_slot=np.concatenate([*edges.inner_slot])[inside],
        port_node=number[node],
        port=port,
        port_conductance=g,
        port_slot=np.concatenate([*edges.slot]),
        port_area=np.concatenate([*edges.area]),
        direct=direct,
        slots=slots,
        slot_nodes=number[slot_nodes],
        lost_cells=int((~keep[: int(soil.air.sum())]).sum()),
        viscosity=viscosity,
    )
