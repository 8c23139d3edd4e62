"""Flow in plan to a round pit: between circles, in a square, and through two rings of soil.

Viscosity 1.81e-5 Pa s. Tolerances: 1 % with the pit's radius in eight cells, 0.1 % after
extrapolation to cell size zero, and second order from both sides over cells of a pit's radius
over 8, 12 and 16. These grids are graded anew for each size, not split, so that nothing nests.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import assert_order, extrapolated
from problems.radial import (
    EDGE,
    HELD,
    PIT,
    SIDE,
    between_circles,
    covered_share,
    far_circle,
    flow_between_circles,
    flow_in_square,
    on_axis,
    pit,
    quarter_edges,
    two_rings_unrolled,
)
from shapely.geometry import Point
from small_soils import (
    MU,
    beyond,
    growing_edges,
    layer,
    plane_grid,
    solve_soil,
)

from soilflow.flow.analytic import (
    coverage_radial_thiem,
    flow_composite_thiem,
    pressure_radial_thiem,
)
from soilflow.flow.grid import Grid
from soilflow.site.effects import MultipliesPermeability, Prism

LEVELS = (8, 12, 16)


# Thiem 1906, from memory; k = 1e-10 m2, b = 0.10 m, r 0.15 to 5 m, 250 Pa; second way 1-D FEM
THIEM_FLOW = 2.474915e-4
THIEM_AT_1_M = -114.7449
# (r1/r2)^(2 p_t/dp) at 5 Pa, derived from r* = r2 (r1/r2)^(p_t/dp); second way 1-D FEM
THIEM_COVERAGE = 0.8691302


def test_flow_between_circles():
    coarse, fine = flow_between_circles(8), flow_between_circles(16)
    assert_allclose(coarse, THIEM_FLOW, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), THIEM_FLOW, rtol=1e-3)


def test_flow_between_circles_is_second_order():
    """Against 2 pi k b dp / (mu ln(r2 / r1)) with all its digits."""
    exact = 2.0 * math.pi * 1e-11 * 250.0 / (MU * math.log(EDGE / PIT))
    assert_allclose(exact, THIEM_FLOW, rtol=2e-7)
    assert_order(lambda n: abs(flow_between_circles(n) / exact - 1.0), LEVELS, 2.0)


def test_pressure_at_one_metre():
    coarse, fine = (on_axis(between_circles(n), HELD, 1.0) for n in (8, 16))
    assert_allclose(coarse, THIEM_AT_1_M, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), THIEM_AT_1_M, rtol=1e-3)
    exact = -250.0 * math.log(EDGE) / math.log(EDGE / PIT)
    assert_order(lambda n: abs(on_axis(between_circles(n), HELD, 1.0) / exact - 1.0), LEVELS, 2.0)


def field_error(cells):
    """Root mean square over the ring from twice the pit's radius out, over the vacuum."""
    answer = between_circles(cells)
    pressure = answer.cells(HELD)[:, :, 0]
    grid = answer.soil.grid
    distance = np.hypot(grid.centres(0)[:, None], grid.centres(1)[None, :])
    ring = np.isfinite(pressure) & (distance > 2.0 * PIT)
    assert ring.sum() > 1000
    exact = pressure_radial_thiem(distance[ring], PIT, EDGE, 250.0)
    area = np.outer(grid.sizes(0), grid.sizes(1))[ring]
    return math.sqrt(np.average((pressure[ring] - exact) ** 2, weights=area)) / 250.0


def test_field_between_circles_is_second_order():
    assert field_error(8) < 0.001
    assert_order(field_error, LEVELS, 2.0)


def test_coverage_between_circles():
    """From grid to share of the floor; counting cells would miss by 1.3 % at 50 cells across."""
    coarse, fine = covered_share(8, 5.0), covered_share(16, 5.0)
    assert_allclose(coarse, THIEM_COVERAGE, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), THIEM_COVERAGE, rtol=1e-3)
    assert_allclose(coverage_radial_thiem(5.0, PIT, EDGE, 250.0), THIEM_COVERAGE, rtol=1e-6)


def test_coverage_is_second_order():
    """Level lines well inside the disk; where one falls in its cells is chance, so five of them."""

    def error(cells):
        thresholds = (20.0, 30.0, 50.0, 100.0, 150.0)
        exact = [(PIT / EDGE) ** (2.0 * t / 250.0) for t in thresholds]
        found = [covered_share(cells, t) for t in thresholds]
        return float(np.mean(np.abs(np.divide(found, exact) - 1.0)))

    assert_order(error, LEVELS, 2.0)


# conformal radius of the square, 0.5393526 a (Incropera & DeWitt, Table 4.1, from memory, print
# 1.08 for twice that); second way an eigenfunction series; S / b for a = 10 m, r = 0.15 m
SQUARE_SHAPE_FACTOR = 1.753943


def test_flow_in_a_square():
    coarse, fine = flow_in_square(8), flow_in_square(16)
    assert_allclose(coarse, SQUARE_SHAPE_FACTOR, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), SQUARE_SHAPE_FACTOR, rtol=1e-3)


def test_flow_in_a_square_is_second_order():
    """Against 2 pi / ln(4 sqrt(pi) a / (Gamma(1/4)^2 r)), good to 2e-8 here."""
    radius = 4.0 * math.sqrt(math.pi) / math.gamma(0.25) ** 2 * SIDE
    exact = 2.0 * math.pi / math.log(radius / PIT)
    assert_allclose(exact, SQUARE_SHAPE_FACTOR, rtol=3e-7)
    assert_order(lambda n: abs(flow_in_square(n) / exact - 1.0), LEVELS, 2.0)


# Thiem in series: k = 1e-12 m2 to 4 m, 2e-11 to 5 m, b = 0.5 m, r1 = 0.15 m, 250 Pa
COMPOSITE_FLOW, COMPOSITE_AT_4_M = 1.317081e-5, -0.8466334


def test_flow_through_two_rings_of_soil():
    """A band twenty times looser from 4 m out: the suction dies in the soil inside it.

    The soils meet on a staircase of 0.04 m cells, so this is first order: 0.5 % is asked of the
    flow, which the inner soil governs, and 1 % of the pressure at 4 m, which shows a quarter of
    a cell more or less of the band's one metre. It is read off the whole outer ring, where p
    goes as ln(r2 / r). The exact check is the strip below.
    """
    fine = np.linspace(2.68, 5.0, 59)
    edges = np.concatenate([growing_edges(0.0, 0.1875, PIT / 8.0, 1.14, 2.68), fine[1:]])
    edges = beyond(edges, 0.1)
    outer = Prism(
        plan=Point(0, 0).buffer(6.0, 64).difference(Point(0, 0).buffer(4.0, 256)),
        top=0.0,
        bottom=0.5,
    )
    effects = [layer(1e-12, 0.0, 0.5), MultipliesPermeability(where=outer, factor=20.0)]
    answer = solve_soil(plane_grid(edges, edges, 0.5), effects, [pit(0.5), far_circle(0.5)])
    flow = 4.0 * answer.flow("pit", HELD)
    assert_allclose(flow, COMPOSITE_FLOW, rtol=5e-3)
    closed = flow_composite_thiem((PIT, 4.0, EDGE), (1e-12, 2e-11), 0.5, 250.0, MU)
    assert_allclose(closed, COMPOSITE_FLOW, rtol=5e-7)
    x = answer.soil.grid.centres(0)
    r = np.hypot(x[:, None], x[None, :])
    pressure = answer.cells(HELD)[:, :, 0]
    ring = np.isfinite(pressure) & (r > 4.1) & (r < 4.9)
    assert ring.sum() > 100
    rise = pressure[ring] / np.log(EDGE / r[ring])
    assert_allclose(rise.mean() * math.log(EDGE / 4.0), COMPOSITE_AT_4_M, rtol=0.01)


@pytest.mark.parametrize("splits", [0, 1])
def test_two_rings_of_soil_unrolled(splits):
    flow, at_4_m = two_rings_unrolled(splits)
    series = math.log(4.0 / PIT) / 1e-12 + math.log(EDGE / 4.0) / 2e-11
    assert_allclose(flow, 2.0 * math.pi * 0.5 * 250.0 / (MU * series), rtol=1e-10)
    assert_allclose(flow, COMPOSITE_FLOW, rtol=5e-7)
    assert_allclose(at_4_m, COMPOSITE_AT_4_M, rtol=1e-6)


@pytest.mark.parametrize("layers", [1, 3])
def test_flow_does_not_depend_on_layers_of_cells(layers):
    """Flow in plan has nothing to gain from cells on top of each other."""
    edges = quarter_edges(8)
    grid = Grid(x=edges, y=edges, z=np.linspace(0.0, 0.10, layers + 1))
    answer = solve_soil(grid, [layer(1e-10, 0.0, 0.10)], [pit(0.10), far_circle(0.10)])
    flow = 4.0 * answer.flow("pit", HELD)
    assert_allclose(flow, flow_between_circles(8), rtol=1e-9)
