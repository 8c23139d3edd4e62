"""Flow in plan to a round pit: between circles, in a square, and through two rings of soil.

Viscosity 1.81e-5 Pa s. Tolerances: 1 % with the pit's radius in eight cells, 0.1 % after
extrapolation to cell size zero.
"""

import functools

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import extrapolated, observed_order
from shapely.geometry import Point
from small_soils import MU, beyond, growing_edges, layer, plane_grid, slab_body, solve_soil

from soilflow.flow.analytic import flow_composite_thiem, pressure_radial_thiem
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.site.effects import MultipliesPermeability, Prism

PIT, EDGE, SIDE = 0.15, 5.0, 10.0


def quarter_edges(times):
    """A quarter of the plan: eight cells to the pit's radius, 25 and a few more to the edge."""
    edges = growing_edges(0.0, 0.1875, PIT / 8.0, 1.14, EDGE)
    for _ in range(times):
        edges = np.sort(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])]))
    return beyond(edges, 0.5)


def pit(thickness):
    body = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=thickness)
    return HeldBody(port="pit", body=body)


def far_circle(thickness):
    inner = Cylinder(centre=(0.0, 0.0), radius=EDGE, top=0.0, bottom=thickness)
    return HeldBody(port="edge", body=Outside(inner=inner))


@functools.cache
def between_circles(times):
    edges = quarter_edges(times)
    grid = plane_grid(edges, edges, 0.10)
    return solve_soil(grid, [layer(1e-10, 0.0, 0.10)], [pit(0.10), far_circle(0.10)])


def flow_between_circles(times):
    return 4.0 * between_circles(times).flow("pit", {"pit": -250.0, "edge": 0.0})


# Thiem 1906, from memory; k = 1e-10 m2, b = 0.10 m, r 0.15 to 5 m, 250 Pa; second way 1-D FEM
THIEM_FLOW = 2.474915e-4
THIEM_AT_1_M = -114.7449


def test_flow_between_circles():
    coarse, fine = flow_between_circles(0), flow_between_circles(1)
    assert_allclose(coarse, THIEM_FLOW, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), THIEM_FLOW, rtol=1e-3)


def test_flow_between_circles_is_second_order():
    errors = [abs(flow_between_circles(n) / THIEM_FLOW - 1.0) for n in range(3)]
    assert abs(observed_order(0.5 ** np.arange(3), errors) - 2.0) < 0.15, errors


def test_field_between_circles():
    """The field over the whole ring, and the printed value at one metre from a line through it.

    Interpolated along the axis in ln r, in which Thiem's field is straight.
    """
    answer = between_circles(1)
    pressure = answer.cells({"pit": -250.0, "edge": 0.0})[:, :, 0]
    x, y = (answer.soil.grid.centres(axis) for axis in range(2))
    distance = np.hypot(x[:, None], y[None, :])
    ring = np.isfinite(pressure) & (distance > 2.0 * PIT)
    assert ring.sum() > 1000
    exact = pressure_radial_thiem(distance[ring], PIT, EDGE, 250.0)
    assert_allclose(pressure[ring], exact, rtol=0, atol=0.002 * 250.0)
    on_axis = np.isfinite(pressure[:, 0])
    at_1_m = np.interp(0.0, np.log(distance[on_axis, 0]), pressure[on_axis, 0])
    assert_allclose(at_1_m, THIEM_AT_1_M, rtol=1e-3)


@functools.cache
def flow_in_square(times):
    edges = quarter_edges(times)
    held = [
        pit(1.0),
        slab_body("edge", 0, 0.5 * SIDE, 99.0),
        slab_body("edge", 1, 0.5 * SIDE, 99.0),
    ]
    answer = solve_soil(plane_grid(edges, edges, 1.0), [layer(1e-10, 0.0, 1.0)], held)
    return 4.0 * answer.flow("pit", {"pit": -1.0, "edge": 0.0}) * MU / 1e-10


# conformal radius of the square, 0.5393526 a (Incropera & DeWitt, Table 4.1, from memory, print
# 1.08 for twice that); second way an eigenfunction series; S / b for a = 10 m, r = 0.15 m
SQUARE_SHAPE_FACTOR = 1.753943


def test_flow_in_a_square():
    assert_allclose(flow_in_square(0), SQUARE_SHAPE_FACTOR, rtol=0.01)
    at_zero = extrapolated(flow_in_square(0), flow_in_square(1), 2.0)
    assert_allclose(at_zero, SQUARE_SHAPE_FACTOR, rtol=1e-3)


def test_flow_through_two_rings_of_soil():
    """A band twenty times looser from 4 m out, 1.317081e-5 m3/s at 250 Pa (Thiem in series).

    The soils meet on a staircase of cells, so this is first order; 0.5 % is asked.
    """
    fine = np.linspace(3.4, 5.0, 65)
    edges = np.concatenate([growing_edges(0.0, 0.1875, PIT / 8.0, 1.14, 3.4), fine[1:]])
    edges = beyond(edges, 0.1)
    outer = Prism(
        plan=Point(0, 0).buffer(6.0, 64).difference(Point(0, 0).buffer(4.0, 256)),
        top=0.0,
        bottom=0.5,
    )
    effects = [layer(1e-12, 0.0, 0.5), MultipliesPermeability(where=outer, factor=20.0)]
    answer = solve_soil(plane_grid(edges, edges, 0.5), effects, [pit(0.5), far_circle(0.5)])
    flow = 4.0 * answer.flow("pit", {"pit": -250.0, "edge": 0.0})
    assert_allclose(flow, 1.317081e-5, rtol=5e-3)
    closed = flow_composite_thiem((PIT, 4.0, EDGE), (1e-12, 2e-11), 0.5, 250.0, MU)
    assert_allclose(closed, 1.317081e-5, rtol=5e-7)


@pytest.mark.parametrize("layers", [1, 3])
def test_flow_does_not_depend_on_layers_of_cells(layers):
    """Flow in plan has nothing to gain from cells on top of each other."""
    edges = quarter_edges(0)
    grid = Grid(x=edges, y=edges, z=np.linspace(0.0, 0.10, layers + 1))
    answer = solve_soil(grid, [layer(1e-10, 0.0, 0.10)], [pit(0.10), far_circle(0.10)])
    flow = 4.0 * answer.flow("pit", {"pit": -250.0, "edge": 0.0})
    assert_allclose(flow, flow_between_circles(0), rtol=1e-9)
