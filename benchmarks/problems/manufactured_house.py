"""A chosen field in a whole house: slab, footing, yard and a box pit at once.

The field is smooth but for the footing, across which it jumps; along all walls, the ends of the
yard and the bottom it is level, as no air passes there. Slab, open ground and pit get the value
of the field at their own place.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np

from problems.exact_houses import rectangle
from problems.manufactured import Chosen, Manufactured, on_axes, out_of_cells
from problems.soils import MU
from soilflow import BoxPit, FoundationWalls, Ground, Layout, Site, Slab, SoilLayer, SuctionPoint
from soilflow.flow.grid import Grid
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.flow.solve import precondition, solve

K, LEAKANCE = 1e-12, 2e-12
WIDTH, DEPTH, FOOTING, BOTTOM = 3.0, 2.0, 0.5, 2.0
PIT_LOW, PIT_HIGH = (1.0, 0.5, 0.0), (2.0, 1.5, 0.5)
WAVES = np.pi / WIDTH, np.pi / DEPTH, np.pi / BOTTOM

SITE = Site(
    slab=Slab(
        corners=rectangle(0.0, 0.0, WIDTH, DEPTH), thickness=0.1, permeability=0.1 * LEAKANCE
    ),
    walls=FoundationWalls(thickness=0.0, footing_depth=FOOTING),
    ground=Ground(layers=(SoilLayer(permeability=K),), bottom=BOTTOM),
)
_BOX = BoxPit(length=1.0, width=1.0, depth=0.5)
LAYOUT = Layout(name="one", points=(SuctionPoint(name="pit", x=1.5, y=1.0, pit=_BOX, vacuum=1.0),))


def _jump(x, y, z):
    """How far the soil between the footings stands above what it would be without them."""
    inside = (x > 0.0) & (x < WIDTH) & (y > 0.0) & (y < DEPTH)
    return np.where(inside, np.maximum(FOOTING - z, 0.0), 0.0)


def pressure(x, y, z):
    a, b, c = WAVES
    smooth = np.cos(a * x) * np.cos(b * y) * (2.0 + np.cos(c * z))
    return smooth + 8.0 * _jump(x, y, z) ** 3 * (1.0 + 0.5 * np.cos(2.0 * a * x))


def slope(axis, x, y, z):
    a, b, c = WAVES
    up = _jump(x, y, z)
    if axis == 0:
        smooth = -a * np.sin(a * x) * np.cos(b * y) * (2.0 + np.cos(c * z))
        return smooth - 8.0 * up**3 * a * np.sin(2.0 * a * x)
    if axis == 1:
        return -b * np.cos(a * x) * np.sin(b * y) * (2.0 + np.cos(c * z)) + 0.0 * up
    smooth = -c * np.cos(a * x) * np.cos(b * y) * np.sin(c * z)
    return smooth - 24.0 * up**2 * (1.0 + 0.5 * np.cos(2.0 * a * x))


def looseness(x, y, z):
    return K * (1.0 + 0.4 * np.sin(x + 0.5 * y) + 0.2 * z)


FIELD = Chosen(
    pressure=pressure,
    slope=slope,
    horizontal=looseness,
    vertical=lambda x, y, z: 0.4 * looseness(x, y, z),
)


def _at_ports(network, place):
    """Value of the field where each edge to a port ends. [Pa]"""
    value = np.full(network.port.shape, np.nan)
    for number, name in enumerate(network.ports):
        mine = network.port == number
        x, y, z = place[network.port_node[mine]].T
        if name == "pit":
            faces = np.clip(np.stack([x, y, z]).T, PIT_LOW, PIT_HIGH)
            value[mine] = FIELD.pressure(*faces.T)
            continue
        value[mine] = FIELD.pressure(x, y, 0.0 * z)
        if name == "house":  # k dp/dz = G (p - p_house) at the slab's underside
            rise = FIELD.vertical(x, y, 0.0 * z) * FIELD.slope(2, x, y, 0.0 * z)
            value[mine] -= rise / LEAKANCE
    return value


@functools.cache
def solve_house(cells):
    """The house on so many cells a metre."""
    edges = [
        np.linspace(low, high, round((high - low) * cells) + 1)
        for low, high in ((-WIDTH, 2.0 * WIDTH), (-DEPTH, 2.0 * DEPTH), (0.0, BOTTOM))
    ]
    grid = Grid(x=edges[0], y=edges[1], z=edges[2])
    soil = build_soil_map(grid, SITE.effects(), LAYOUT.held_bodies(SITE.slab.polygon))
    centres = np.broadcast_arrays(*on_axes([grid.centres(a) for a in range(3)]))
    k = {"horizontal": FIELD.horizontal(*centres), "vertical": FIELD.vertical(*centres)}
    soil = dataclasses.replace(soil, **k)
    network = build_soil_network(soil, MU)
    place, source = np.zeros((network.nodes, 3)), np.zeros(network.nodes)
    node = network.cell_node[soil.air]
    place[node] = np.stack([c[soil.air] for c in centres], axis=-1)
    source[node] = out_of_cells(grid, FIELD)[soil.air]
    at_ports = network.port_conductance * _at_ports(network, place)
    np.add.at(source, network.port_node, at_ports)
    found, _ = solve(precondition(network.matrix()), source, tolerance=1e-12)
    alike = np.ones(network.nodes)
    return Manufactured(
        found=found,
        chosen=FIELD.pressure(*place.T),
        size=alike,
        in_gap=np.zeros(network.nodes, dtype=bool),
    )


def error_in_house(cells):
    """Root mean square over all soil. [Pa]"""
    answer = solve_house(cells)
    return answer.error(~answer.in_gap)
