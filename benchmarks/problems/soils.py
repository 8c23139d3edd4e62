"""Small pieces of soil: a grid, some effects, some held bodies, and the answer."""

from dataclasses import dataclass

import numpy as np
from shapely.geometry import box

from soilflow.flow.grid import Grid
from soilflow.flow.response import SoilResponse, respond
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.site.effects import Prism, SetsPermeability

MU = 1.81e-5  # viscosity that all published check values use [Pa s]
EVERYWHERE = box(-1e4, -1e4, 1e4, 1e4)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A solved piece of soil."""

    soil: SoilMap
    network: SoilNetwork
    response: SoilResponse

    def flow(self, port, values):
        """Flow from the soil into a port, the ports being held at some values. [m3/s]"""
        held = np.array([values[name] for name in self.response.ports])
        return -float(self.response.port_matrix[self.response.ports.index(port)] @ held)

    def cells(self, values):
        """Pressure per cell, not a number where there is no air path. [Pa]"""
        held = np.array([values[name] for name in self.response.ports])
        nodes = np.append(held @ self.response.unit_fields, np.nan)
        return nodes[self.network.cell_node]


def layer(permeability, top, bottom, vertical=None):
    """Soil of one permeability between two depths, without end in plan."""
    return SetsPermeability(
        where=Prism(plan=EVERYWHERE, top=top, bottom=bottom),
        horizontal=permeability,
        vertical=permeability if vertical is None else vertical,
    )


def solve_soil(grid, effects, held, viscosity=MU):
    """All hops from effects to the response."""
    soil = build_soil_map(grid, effects, held)
    network = build_soil_network(soil, viscosity)
    return Answer(soil=soil, network=network, response=respond(network))


def even_edges(low, high, n):
    """Edges of n equal cells."""
    return np.linspace(low, high, n + 1)


def growing_edges(start, fine_to, size, growth, end):
    """Equal cells out to ``fine_to``, then cells that grow evenly and end exactly at ``end``."""
    n = max(round((fine_to - start) / size), 1)
    fine = np.linspace(start, fine_to, n + 1)
    widths = []
    while sum(widths) < end - fine_to:
        widths.append((fine[1] - fine[0]) * growth ** (len(widths) + 1))
    outer = fine_to + np.cumsum(widths) * (end - fine_to) / sum(widths)
    return np.concatenate([fine, outer])


def beyond(edges, width):
    """Edges with one more cell at the end, to hold a boundary."""
    return np.append(edges, edges[-1] + width)


def slab_body(port, axis, low, high):
    """Everything between two coordinates along one axis, held at the pressure of a port."""
    lo, hi = [-1e3] * 3, [1e3] * 3
    lo[axis], hi[axis] = low, high
    return HeldBody(port=port, body=Brick(low=tuple(lo), high=tuple(hi)))


def split_times(grid, times):
    """The grid with every cell halved several times."""
    for _ in range(times):
        grid = grid.split()
    return grid


def plane_grid(x, y, thickness):
    """One layer of cells: flow in plan only."""
    return Grid(x=x, y=y, z=np.array([0.0, thickness]))
