"""A buried drain as a line conductor: flow, and how little it hangs on the grid.

Per metre of drain Q = S (k / mu) dp. Under open ground, a bore of diameter D with its axis z down:
S = 2 pi / acosh(2 z / D), exact: Incropera and DeWitt, Table 4.1, from memory; second way
multipole collocation, to rounding. Half buried in the underside of a slab that lets nothing
through, inside a square of half-side a held at zero, whose conformal radius is
0.5393526 x 2 a (see test_radial.py): S = pi / ln(1.0787052 a / r).
"""

import functools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import extrapolated
from problems.drain import (
    FAR,
    SQUARE,
    K,
    drawn,
    exact,
    grid_around,
    half_buried,
    line,
    on_line,
    open_ground,
    under_open_ground,
)
from scipy.special import gamma
from small_soils import MU, layer, slab_body

from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.site.conductors import Channel, DrainTile, Trench, rectangle_radius

# a wall or a joint beside the drain, with its fine cells, makes the grid around it uneven
BESIDE = [(), (0.0,), (0.1,), (0.3,), (-0.13, 0.4)]


def test_the_printed_number():
    """D = 0.10 m, z = 0.5 m: S = 2.099137; 5 Pa through 1e-12 m2: 5.798721e-7 m2/s."""
    assert_allclose(exact(0.5, 0.05), 2.099137, rtol=3e-7)
    found = under_open_ground(0.5, 0.05)
    assert_allclose(found, 2.099137, rtol=0.02)
    assert_allclose(found * K * 5.0 / MU, 5.798721e-7, rtol=0.02)


@pytest.mark.parametrize("beside", BESIDE)
@pytest.mark.parametrize(
    ("depth", "radius"), [(0.5, 0.05), (0.5, 0.01), (1.0, 0.05), (0.3, 0.1), (0.25, 0.05)]
)
def test_drain_under_open_ground(depth, radius, beside):
    assert_allclose(under_open_ground(depth, radius, beside), exact(depth, radius), rtol=0.02)


@pytest.mark.parametrize("beside", BESIDE)
@pytest.mark.parametrize("radius", [0.02, 0.05, 0.1, 0.2])
def test_drain_half_buried_in_the_slab_underside(radius, beside):
    assert_allclose(half_buried(radius, beside), exact(0.0, radius), rtol=0.005)


@pytest.mark.parametrize("beside", BESIDE[:3])
@pytest.mark.parametrize(("depth", "radius"), [(0.5, 0.05), (0.3, 0.1), (0.0, 0.1), (0.0, 0.02)])
def test_splitting_hardly_moves_the_flow(depth, radius, beside):
    """A line of the grid's own width would gain ln 2 over ln(2 z / r), 23 %, with every split."""
    way = half_buried if depth == 0.0 else functools.partial(under_open_ground, depth)
    flows = [way(radius, beside, times) for times in range(3)]
    assert_allclose(flows[1:], flows[0], rtol=0.01)
    assert_allclose(extrapolated(flows[1], flows[2], 2.0), exact(depth, radius), rtol=0.005)


@pytest.mark.parametrize("ratio", [0.25, 0.5, 4.0])
def test_drain_in_layered_soil(ratio):
    """Vertical over horizontal permeability a: stretch z by a^-1/2 and the soil is even.

    The bore becomes an ellipse of half axes r and r / sqrt(a), worth a circle of their mean, in
    soil of sqrt(kx kz): Q = 2 pi sqrt(kx kz) / (mu ln(2 z / r_mean)), z much larger than r.
    """
    drain = line(1.0, 0.02)
    effects = [layer(K, 0.0, FAR, ratio * K), drain, open_ground()]
    found = drawn(grid_around(drain), effects, [on_line()])
    root = math.sqrt(ratio)
    mean, deep = 0.5 * 0.02 * (1.0 + 1.0 / root), 1.0 / root
    assert_allclose(found, root * 2.0 * math.pi / math.log(2.0 * deep / mean), rtol=0.02)


def test_rectangle_draws_as_much_as_its_round_bore():
    """Square: side x Gamma(1/4)^2 / (4 pi^1.5), 0.5902; strip: a quarter of its width.

    Both from any text on conformal maps, from memory. Logarithmic capacity grows with the body
    and lies between those of the inscribed ellipse, the mean of its half axes, and the square.
    """
    square = gamma(0.25) ** 2 / (4.0 * math.pi**1.5)
    assert_allclose(rectangle_radius(1.0, 1.0), square, rtol=1e-12)
    assert_allclose(rectangle_radius(2.0, 1e-9), 0.5, rtol=1e-6)
    assert_allclose(rectangle_radius(2.0, 1e-4), 0.5, rtol=1e-3)
    for short in (0.02, 0.2, 0.7):
        found = rectangle_radius(1.0, short)
        assert found == rectangle_radius(short, 1.0)
        assert 0.25 * (1.0 + short) < found < square
    assert_allclose(rectangle_radius(0.3, 0.12), 0.3 * rectangle_radius(1.0, 0.4), rtol=1e-9)


@pytest.mark.parametrize(("width", "height"), [(0.2, 0.1), (0.3, 0.3), (0.1, 0.3)])
def test_trench_at_the_slab_against_its_resolved_section(width, height):
    """The same trench as a body of box shape, resolved by ten cells across."""
    course = ((0.0, 0.0), (0.0, 1.0))
    trench = Trench(name="tile", points=course, width=width, height=height)
    (drain,) = trench.effects()
    far = [slab_body("far", 2, SQUARE, 99.0), slab_body("far", 0, SQUARE, 99.0)]
    far.append(slab_body("far", 0, -99.0, -SQUARE))
    found = drawn(grid_around(drain), [layer(K, 0.0, FAR), drain], [on_line(), *far])

    half, h = 0.5 * width, 0.05 * min(width, height)
    wide = [(-9.0 * FAR, 9.0 * FAR, 0.5)]
    sharp = [(-half, -half, 0.25 * h), (half, half, 0.25 * h)]
    x = graded_edges([-FAR, -SQUARE, -half, half, SQUARE, FAR], sharp, 1.2, wide)
    z = graded_edges([0.0, height, SQUARE, FAR], [(height, height, 0.25 * h)], 1.2, wide)
    box_body = Brick(low=(-half, -9.0, 0.0), high=(half, 9.0, height))
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=z)
    resolved = drawn(grid, [layer(K, 0.0, FAR)], [HeldBody(port="tile", body=box_body), *far])
    assert_allclose(found, resolved, rtol=0.01)


def test_a_channel_is_a_trench_at_the_slab():
    course = ((0.0, 0.0), (0.0, 1.0))
    sides = {"name": "a", "points": course, "width": 0.1, "height": 0.05}
    assert Channel(**sides).effects() == Trench(**sides).effects()
    assert Channel(**sides).effects()[0].depth == 0.0
    deep = Trench(**sides, top=0.2).effects()[0]
    assert deep.depth == pytest.approx(0.225)
    assert_allclose(deep.radius, rectangle_radius(0.1, 0.05), rtol=1e-12)
    pipe = DrainTile(name="a", points=course, depth=0.3, diameter=0.1).effects()[0]
    assert (pipe.depth, pipe.radius) == (0.3, 0.05)
