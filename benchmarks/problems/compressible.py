"""Compressible flow along a column and between circles, up to the operating point."""

import functools
import math

import numpy as np
from shapely.geometry import box

from problems.soils import (
    beyond,
    layer,
    plane_grid,
    slab_body,
    solve_soil,
)
from soilflow.air import P_ATM
from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.operating_point import solve_operating_point
from soilflow.results.floor import floor_response
from soilflow.site.effects import LeaksOverArea

K, LENGTH, PIT, EDGE = 1e-11, 5.0, 0.15, 5.0
TWENTY_INCHES = 20.0 * 249.08891  # conventional inch of water, NIST SP 811, from memory [Pa]


def floor_plan():
    """A tight slab, so that there is a floor to look at."""
    plan = box(-99.0, -99.0, 99.0, 99.0)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=0.0, reference="house", floor=True)


@functools.cache
def column():
    """Five metres of soil, one by one metre, in 40 cells that grow."""
    inner = LENGTH * np.linspace(0.0, 1.0, 41) ** 1.5
    x = np.concatenate([[-0.5], inner, [LENGTH + 0.5]])
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=np.array([0.0, 1.0]))
    held = [slab_body("pit", 0, -9.0, 0.0), slab_body("edge", 0, LENGTH, 9.0)]
    return solve_soil(grid, [layer(K, 0.0, 1.0), floor_plan()], held)


@functools.cache
def ring(cells):
    """A quarter of a disk of 0.1 m, the pit's radius in so many cells."""
    size = PIT / cells
    sources = [(0.0, 1.25 * PIT, size), (EDGE, EDGE, 8.0 * size)]
    x = graded_edges([0.0, EDGE], sources, math.exp(1.04 / cells), [])
    x = beyond(x, x[-1] - x[-2])
    shape = {"centre": (0.0, 0.0), "top": 0.0, "bottom": 0.1}
    held = [
        HeldBody(port="pit", body=Cylinder(radius=PIT, **shape)),
        HeldBody(port="edge", body=Outside(inner=Cylinder(radius=EDGE, **shape))),
    ]
    return solve_soil(plane_grid(x, x, 0.1), [layer(K, 0.0, 0.1), floor_plan()], held)


def point_at(answer, vacuum):
    return solve_operating_point(
        answer.response.port_matrix,
        port_names=answer.response.ports,
        given_pressures={"pit": -vacuum, "edge": 0.0, "house": 0.0},
    )


def flow_at(answer, vacuum):
    """Into the pit, as volume at atmospheric density. [m3/s]"""
    return float(point_at(answer, vacuum).flows[answer.response.ports.index("pit")])


def floor_at(answer, vacuum):
    """Pressure under the slab at the centres of columns, and those centres."""
    floor = floor_response(answer.soil, answer.network, answer.response)
    found = floor.pressure(point_at(answer, vacuum).u, P_ATM)
    return found.pressure, answer.soil.grid.centres(0), answer.soil.grid.centres(1)


def exact_pressure(share, vacuum):
    """From a^2, straight in the share of the way from the pit, 0, to the edge, 1. [Pa]"""
    pit = P_ATM - vacuum
    return np.sqrt(pit**2 + share * (P_ATM**2 - pit**2)) - P_ATM


def off_straight(vacuum):
    """Largest difference of the column's field from the linear one, over the vacuum."""
    pressure, x, _ = floor_at(column(), vacuum)
    soil = (x > 0.0) & (x < LENGTH)
    return np.abs(pressure[soil, 0] + vacuum * (1.0 - x[soil] / LENGTH)).max() / vacuum
