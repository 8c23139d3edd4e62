"""Manufactured solutions: a field is chosen, and the source that makes it so is put in."""

import dataclasses
import functools
import math
from collections.abc import Callable

import numpy as np
from shapely.geometry import box

from problems.soils import MU, layer, slab_body, split_times
from soilflow.flow.grid import Grid, graded_edges
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.flow.solve import precondition, solve
from soilflow.site.effects import CarriesAlongSheet, LeaksOverArea

K = 1e-12
EVERYWHERE = box(-99.0, -99.0, 99.0, 99.0)
SIDES = {"west": (0, -9.0, 0.0), "east": (0, 1.0, 9.0), "south": (1, -9.0, 0.0)}
SIDES |= {"north": (1, 1.0, 9.0), "below": (2, 1.0, 9.0)}
GAUSS = 0.5 + np.array([-0.5, 0.5]) / math.sqrt(3.0)  # two points on [0, 1], weight a half each


@dataclasses.dataclass(frozen=True, kw_only=True)
class Chosen:
    """A field, its slope, and the soil it lives in; all take x, y, z that broadcast."""

    pressure: Callable
    slope: Callable  # the same with an axis in front
    horizontal: Callable
    vertical: Callable

    def along(self, axis):
        return self.vertical if axis == 2 else self.horizontal


def looseness(x, y, z):
    return K * (1.0 + x**2 + 0.5 * np.sin(3.0 * y)) + 0.0 * z


def wave(x, y, z):
    return np.sin(np.pi * x) * np.cos(2.0 * np.pi * y) * np.exp(0.5 * x) + 0.0 * z


def wave_slope(axis, x, y, z):
    if axis == 0:
        inner = np.pi * np.cos(np.pi * x) + 0.5 * np.sin(np.pi * x)
        return inner * np.cos(2.0 * np.pi * y) * np.exp(0.5 * x) + 0.0 * z
    if axis == 1:
        inner = -2.0 * np.pi * np.sin(2.0 * np.pi * y)
        return np.sin(np.pi * x) * inner * np.exp(0.5 * x) + 0.0 * z
    return 0.0 * (x + y + z)


PLANE = Chosen(pressure=wave, slope=wave_slope, horizontal=looseness, vertical=looseness)


def swell(x, y, z):
    """Gentle in plan and steep at the slab, so that what happens there shows in the error."""
    return np.sin(1.2 * x + 0.3) * np.cos(1.1 * y) * np.exp(-2.0 * z)


def swell_slope(axis, x, y, z):
    if axis == 0:
        return 1.2 * np.cos(1.2 * x + 0.3) * np.cos(1.1 * y) * np.exp(-2.0 * z)
    if axis == 1:
        return -1.1 * np.sin(1.2 * x + 0.3) * np.sin(1.1 * y) * np.exp(-2.0 * z)
    return -2.0 * swell(x, y, z)


SPACE = Chosen(
    pressure=swell,
    slope=swell_slope,
    horizontal=lambda x, y, z: looseness(x, y, z) * (1.0 + 0.3 * z),
    vertical=lambda x, y, z: 0.4 * looseness(x, y, z) * (1.0 + 0.3 * z) * (1.0 + 0.5 * x),
)
LEAKANCE = 2e-12  # of the slab, about k / 0.5 m, so that neither soil nor slab rules [m]


def transmissivity(x, y):
    """Of the gap, about half that of the metre of soil below it. [m3]"""
    return 0.5e-12 * (1.0 + 0.5 * np.cos(2.0 * x) * np.exp(-y))


def reference_over_gap(x, y):
    return 2.0 + x - y * y


def reference_over_soil(x, y):
    """What the slab has to leak to for k dp/dz = G (p - p_ref) at its underside."""
    z = np.zeros_like(x)
    slope = SPACE.slope(2, x, y, z)
    return SPACE.pressure(x, y, z) - SPACE.vertical(x, y, z) * slope / LEAKANCE


def on_axes(points):
    """Three coordinate arrays that broadcast against one another."""
    return [p.reshape([-1 if a == b else 1 for b in range(3)]) for a, p in enumerate(points)]


def cell_sums(values, counts):
    """Weighted means over Gauss points, ``counts`` of them per cell and axis, of a tensor."""
    shape = [part for n, c in zip(values.shape, counts, strict=True) for part in (n // c, c)]
    return values.reshape(shape).mean(axis=(1, 3, 5))


def through_faces(grid, axis, flux):
    """Flux per area integrated over all faces across an axis, one more than cells along it."""
    points, counts = [], []
    for a in range(3):
        if a == axis:
            points.append(grid.edges[a])
        else:
            at = grid.edges[a][:-1, None] + grid.sizes(a)[:, None] * GAUSS
            points.append(at.ravel())
        counts.append(1 if a == axis else 2)
    sizes = [np.ones(grid.edges[a].size) if a == axis else grid.sizes(a) for a in range(3)]
    area = functools.reduce(np.multiply, on_axes(sizes))
    values = flux(*on_axes(points))
    return cell_sums(np.broadcast_to(values, [p.size for p in points]), counts) * area


def out_of_cells(grid, chosen):
    """Net flow out of every cell in the chosen field. [m3/s]"""
    net = np.zeros(grid.shape)
    for axis in range(3):

        def flux(x, y, z, axis=axis):
            return -chosen.along(axis)(x, y, z) / MU * chosen.slope(axis, x, y, z)

        net += np.diff(through_faces(grid, axis, flux), axis=axis)
    return net


def out_of_gap(grid):
    """Net flow out of every gap cell: along it, up through the slab, down into the soil."""
    flat = Grid(x=grid.x, y=grid.y, z=np.array([-0.5, 0.5]))
    net = np.zeros(flat.shape[:2])
    for axis in range(2):

        def flux(x, y, z, axis=axis):
            return -transmissivity(x, y) / MU * SPACE.slope(axis, x, y, 0.0 * z)

        net += np.diff(through_faces(flat, axis, flux), axis=axis)[:, :, 0]

    def up_and_down(x, y, z):
        at_gap = SPACE.pressure(x, y, 0.0 * z)
        up = LEAKANCE / MU * (at_gap - reference_over_gap(x, y))
        return up - SPACE.vertical(x, y, 0.0 * z) / MU * SPACE.slope(2, x, y, 0.0 * z)

    return net + through_faces(flat, 2, up_and_down)[:, :, 0]


def padded(edges):
    """One more cell at both ends, to hold a boundary."""
    return np.concatenate([[edges[0] - 0.3], edges, [edges[-1] + 0.3]])


@dataclasses.dataclass(frozen=True, kw_only=True)
class Manufactured:
    """The solved field and the chosen one at every node, with the node's share of volume."""

    found: np.ndarray
    chosen: np.ndarray
    size: np.ndarray
    in_gap: np.ndarray

    def error(self, which):
        """Root mean square over some of the nodes."""
        off = (self.found - self.chosen)[which]
        return math.sqrt(float(np.average(off**2, weights=self.size[which])))


def solve_manufactured(grid, chosen, effects, sides, reference):
    """Solve on a padded grid, with the values of the chosen field at the sides."""
    held = [slab_body(name, *SIDES[name]) for name in sides]
    soil = build_soil_map(grid, [layer(K, 0.0, 9.0), *effects], held)
    centres = np.broadcast_arrays(*on_axes([grid.centres(a) for a in range(3)]))
    soil = dataclasses.replace(
        soil,
        horizontal=chosen.horizontal(*centres),
        vertical=chosen.vertical(*centres),
    )
    network = build_soil_network(soil, MU)
    place, size = np.zeros((network.nodes, 3)), np.zeros(network.nodes)
    source, in_gap = np.zeros(network.nodes), np.zeros(network.nodes, dtype=bool)
    node = network.cell_node[soil.air]
    place[node] = np.stack([c[soil.air] for c in centres], axis=-1)
    sizes = functools.reduce(np.multiply, on_axes([grid.sizes(a) for a in range(3)]))
    size[node] = np.broadcast_to(sizes, grid.shape)[soil.air]
    source[node] = out_of_cells(grid, chosen)[soil.air]
    gap = network.sheet_node >= 0
    if gap.any():
        node = network.sheet_node[gap]
        xy = np.stack([c[:, :, 0][gap] for c in centres[:2]], axis=-1)
        place[node] = np.column_stack([xy, np.zeros(len(xy))])
        size[node] = np.outer(grid.sizes(0), grid.sizes(1))[gap]
        source[node], in_gap[node] = out_of_gap(grid)[gap], True
    at = place[network.port_node].copy()
    value = np.full(at.shape[0], np.nan)
    for number, name in enumerate(network.ports):
        mine = network.port == number
        if name == "house":
            value[mine] = reference(at[mine, 0], at[mine, 1])
        else:
            axis, low, high = SIDES[name]
            at[mine, axis] = high if low == -9.0 else low
            value[mine] = chosen.pressure(*at[mine].T)
    np.add.at(source, network.port_node, network.port_conductance * value)
    found, _ = solve(precondition(network.matrix()), source, tolerance=1e-12)
    return Manufactured(found=found, chosen=chosen.pressure(*place.T), size=size, in_gap=in_gap)


AROUND = ("west", "east", "south", "north")


@functools.cache
def plane(cells):
    edges = padded(np.linspace(0.0, 1.0, cells + 1))
    grid = Grid(x=edges, y=edges, z=np.array([0.0, 1.0]))
    return solve_manufactured(grid, PLANE, [], AROUND, None)


def error_in_plane(cells):
    answer = plane(cells)
    return answer.error(~answer.in_gap)


@functools.cache
def graded_in_plane(splits):
    """Cells from 0.02 to 0.2, finest on two lines, then halved: sizes jump 2 to 1 at most."""
    x = graded_edges([0.0, 0.3, 1.0], [(0.3, 0.3, 0.03)], 1.5, [(-9.0, 9.0, 0.12)])
    y = graded_edges([0.0, 1.0], [(1.0, 1.0, 0.02)], 1.3, [(-9.0, 9.0, 0.12)])
    x, y = padded(x), padded(y)
    grid = split_times(Grid(x=x, y=y, z=np.array([0.0, 1.0])), splits)
    answer = solve_manufactured(grid, PLANE, [], AROUND, None)
    return answer.error(~answer.in_gap)


def slab():
    return LeaksOverArea(plan=EVERYWHERE, depth=0.0, leakance=LEAKANCE, reference="house")


def gap():
    return CarriesAlongSheet(plan=EVERYWHERE, transmissivity=transmissivity)


@functools.cache
def space(splits, with_gap, graded):
    """A metre cube under a leaky slab, held on its other five sides."""
    if graded:
        x = graded_edges([0.0, 1.0], [(0.4, 0.4, 0.08)], 1.25, [(-9.0, 9.0, 0.16)])
        z = graded_edges([0.0, 1.0], [(0.0, 0.0, 0.05)], 1.3, [(-9.0, 9.0, 0.2)])
    else:
        x = z = np.linspace(0.0, 1.0, 9)
    grid = Grid(x=padded(x), y=padded(np.linspace(0.0, 1.0, 9)), z=np.append(z, 1.3))
    effects = [slab(), gap()] if with_gap else [slab()]
    reference = reference_over_gap if with_gap else reference_over_soil
    sides = (*AROUND, "below")
    return solve_manufactured(split_times(grid, splits), SPACE, effects, sides, reference)
