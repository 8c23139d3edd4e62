"""Manufactured solutions: a field is chosen, the source that makes it so is put in, order 2 asked.

No publication is behind these. The network has no sources of its own, so the right-hand side is
written here: for each cell what flows out of it in the chosen field, integrated over its faces
by Gauss's rule; at held sides, and at what the slab leaks to, the port edges get the value of
the chosen field at their own place instead of one value a port. Matrix, faces, half cells,
leaks and gap are the network's. Permeability varies smoothly from cell to cell, put into the
soil map as a random field would be. Order 1.9 to 2.1.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import assert_order
from problems.manufactured import (
    PLANE,
    error_in_plane,
    graded_in_plane,
    looseness,
    out_of_cells,
    space,
    wave_slope,
)
from small_soils import MU

from soilflow.flow.grid import Grid


def test_plane_is_second_order():
    assert_order(error_in_plane, (20, 40, 80), 2.0, tol=0.1)


def test_graded_plane_is_second_order():
    """Three halvings of a grid whose cells differ sevenfold."""
    assert_order(lambda n: graded_in_plane(round(math.log2(n))), (1, 2, 4, 8), 2.0, tol=0.1)


@pytest.mark.parametrize("graded", [False, True])
@pytest.mark.parametrize("with_gap", [False, True])
def test_space_under_a_slab_is_second_order(with_gap, graded):
    """Soil tighter downwards than along, slab and gap, in the soil and in the gap."""

    def error(n, in_gap):
        answer = space(round(math.log2(n)), with_gap, graded)
        return answer.error(answer.in_gap == in_gap)

    assert_order(lambda n: error(n, False), (1, 2, 4), 2.0, tol=0.1)
    if with_gap:
        assert_order(lambda n: error(n, True), (1, 2, 4), 2.0, tol=0.1)


def test_source_sums_to_what_leaves_through_the_sides():
    """The right-hand side alone: sources over the square are the field's flow over its rim."""
    edges = np.linspace(0.0, 1.0, 41)
    grid = Grid(x=edges, y=edges, z=np.array([0.0, 1.0]))
    t = np.linspace(0.0, 1.0, 20001)
    rim = 0.0
    for axis in range(2):
        for end, sign in ((0.0, -1.0), (1.0, 1.0)):
            x, y = (np.full_like(t, end), t) if axis == 0 else (t, np.full_like(t, end))
            flux = -looseness(x, y, 0.0) / MU * wave_slope(axis, x, y, 0.0)
            rim += sign * np.trapezoid(flux, t)
    assert_allclose(out_of_cells(grid, PLANE).sum(), rim, rtol=1e-5)
