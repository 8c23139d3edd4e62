"""Drilled holes, the half spheroid of anisotropic soil, and boundary elements for round pits."""

import functools
import math

import numpy as np
from scipy.special import ellipk

from problems.soils import MU, beyond, layer, solve_soil
from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Ball, Cylinder, HeldBody, Outside

K = 1e-12
_GAUSS, _WEIGHTS = np.polynomial.legendre.leggauss(10)


def rings(radius, depth, n):
    """Ends of panels on wall and bottom, (2n, 2) each of r and z; they shrink towards the edge."""
    t = 1.0 - (1.0 - np.linspace(0.0, 1.0, n + 1)) ** 3
    wall = np.column_stack([np.full(n + 1, radius), depth * t])
    bottom = np.column_stack([radius * t, np.full(n + 1, depth)])
    return np.vstack([wall[:-1], bottom[:-1]]), np.vstack([wall[1:], bottom[1:]])


def ring_potential(r, z, r_ring, z_ring):
    """Of rings of unit charge per area and their mirror images at z = 0, times 2 pi; per metre.

    A ring of radius a and charge Q has the potential Q K(m) / (2 pi^2 sqrt((r + a)^2 + h^2)),
    m = 4 a r / ((r + a)^2 + h^2), h the distance between the planes.
    """
    total = 0.0
    for image in (z_ring, -z_ring):
        far = (r + r_ring) ** 2 + (z - image) ** 2
        total = total + ellipk(np.minimum(4.0 * r * r_ring / far, 1.0 - 1e-15)) / np.sqrt(far)
    return 2.0 * r_ring * total


@functools.cache
def half_cylinder(radius, depth, n=60):
    """Shape factor of an open cylinder pit in deep soil under a sealed slab, by panels. [m]"""
    start, end = rings(radius, depth, n)
    middle, run = 0.5 * (start + end), end - start
    length = np.linalg.norm(run, axis=1)
    r, z = middle[:, :1], middle[:, 1:]
    matrix = np.zeros((2 * n, 2 * n))
    for g, w in zip(_GAUSS, _WEIGHTS, strict=True):
        at = middle + 0.5 * g * run
        matrix += ring_potential(r, z, at[None, :, 0], at[None, :, 1]) * 0.5 * w * length
    # a panel's own potential has a logarithm in the middle: points crowd there as s^4
    s = 0.5 * (_GAUSS + 1.0)
    for i in range(2 * n):
        own = 0.0
        for side in (-1.0, 1.0):
            at = middle[i] + side * 0.5 * run[i] * s[:, None] ** 4
            own += np.sum(ring_potential(*middle[i], *at.T) * 4.0 * s**3 * 0.5 * _WEIGHTS)
        matrix[i, i] = 0.5 * length[i] * own
    charge = np.linalg.solve(matrix, np.full(2 * n, 2.0 * math.pi))
    return float(np.sum(charge * 2.0 * math.pi * middle[:, 0] * length))


def half(first, size, rate, end, reach):
    """Edges from zero with cells of a size up to ``first``, growing to ``end``, and one more."""
    edges = graded_edges([0.0, end], [(0.0, first, size)], math.exp(rate), [(-1.0, 99.0, reach)])
    return beyond(edges, edges[-1] - edges[-2])


@functools.cache
def hole_in_a_layer(cells):
    """A drilled hole 0.05 m by 0.5 m in a layer 2 m thick, out to a held cylinder of 10 m."""
    size, rate, far = 0.05 / cells, 1.2 / cells, 10.0
    x = half(0.065, size, rate, far, 9.0 / cells)
    bounds = [(-9.0, 0.5, 0.3 / cells), (0.5, 9.0, 0.6)]
    z = graded_edges([0.0, 0.5, 2.0], [(0.5, 0.5, size)], math.exp(rate), bounds)
    hole = Cylinder(centre=(0.0, 0.0), radius=0.05, top=-9.0, bottom=0.5)
    outer = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=far, top=-9.0, bottom=9.0))
    held = [HeldBody(port="pit", body=hole), HeldBody(port="far", body=outer)]
    answer = solve_soil(Grid(x=x, y=x, z=z), [layer(K, 0.0, 2.0)], held)
    return 4.0 * answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K


STRETCH, SHORT, FAR = 20.0, 0.05, 12.0


class Squashed(Ball):
    """A ball of the coordinates in which the soil is even, as it lies in the soil: flat."""

    def contains(self, x, y, z):
        return super().contains(x, y, STRETCH * z)

    def exit(self, axis, sign, x, y, z):
        away = super().exit(axis, sign, x, y, STRETCH * z)
        return away / STRETCH if axis == 2 else away


@functools.cache
def half_spheroid(cells):
    """A hemisphere of 0.05 m where soil passes 400 times less down than along.

    With z times 20 the soil is even and the pit a half spheroid 1 m deep; its flow is the same
    over 20 there, and the far hemisphere is taken out as a shell.
    """
    size, rate = SHORT / cells, 1.2 / cells
    x = half(1.1 * SHORT, size, rate, FAR, 3.0)
    z = half(1.1 * SHORT, size, rate, FAR / STRETCH, 0.1)
    far = Outside(inner=Squashed(centre=(0.0, 0.0, 0.0), radius=FAR))
    pit = Ball(centre=(0.0, 0.0, 0.0), radius=SHORT)
    held = [HeldBody(port="pit", body=pit), HeldBody(port="far", body=far)]
    soil = layer(K, 0.0, 99.0, vertical=K / STRETCH**2)
    answer = solve_soil(Grid(x=x, y=x, z=z), [soil], held)
    seen = STRETCH * 4.0 * answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K
    return 1.0 / (1.0 / seen + 1.0 / (2.0 * math.pi * FAR))
