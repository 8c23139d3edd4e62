"""Pits under a sealed slab: hemisphere, box, and hemispheres near walls.

A far field is a hemisphere, held at zero, around the pit or around its images. What it leaves
out of the half space is a shell: with all images a source of strength Q seen through the solid
angle W of the wedge, u = Q mu / (W k r) far out, so that 1/S = 1/S_R + 1/(W R). The next term of
the far field falls off two powers of d/R faster and has no mean on the far hemisphere.
Tolerances: 2 % at the normal resolution, 0.5 % after extrapolation.
"""

import dataclasses
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import extrapolated, observed_order
from problems.pits import (
    FLOOR,
    RADIUS,
    box_pit,
    house_grid_error,
    near_walls,
    pressure_in_a_shell,
    shape_factor,
    shell,
)

from soilflow.flow.analytic import pressure_shell
from soilflow.flow.grid import NORMAL
from soilflow.layout.pits import BoxPit, HemisphericalPit

# Incropera & DeWitt, Table 4.1, sphere limit; Damkjaer & Korsbech 1992, from memory; r = 0.25 m
# and 10 m, k = 1e-12 m2, 250 Pa; second way FEM
SHELL_FLOW, SHELL_AT_1_M = 2.225239e-5, -57.69231


def test_hemisphere_in_a_shell():
    held = {"pit": -250.0, "far": 0.0}
    coarse, fine = (4.0 * shell(n, 10.0).flow("pit", held) for n in range(2))
    assert_allclose(coarse, SHELL_FLOW, rtol=0.02)
    assert_allclose(extrapolated(coarse, fine, 2.0), SHELL_FLOW, rtol=5e-3)


def test_pressure_in_a_shell():
    assert_allclose(pressure_in_a_shell(1), SHELL_AT_1_M, rtol=0.01)
    assert_allclose(pressure_shell(1.0, RADIUS, 10.0, 250.0), SHELL_AT_1_M, rtol=1e-6)


def test_hemisphere_is_second_order():
    """Every cell halved and halved again, from r / 5 on: 1 / (1/r - 1/R) over 2 pi is exact.

    Two-sided: a staircase pit would show order one.
    """
    exact = 2.0 * math.pi / (1.0 / RADIUS - 1.0 / 1.25)
    errors = [abs(4.0 * shape_factor(shell(n, 1.25, 1.3)) / exact - 1.0) for n in range(3)]
    assert abs(observed_order(0.5 ** np.arange(3), errors) - 2.0) < 0.15, errors


# half a cube of 0.4 m, 2 pi 0.66067813 a: Hwang & Mascagni 2004, from memory; second way panel BEM
BOX_SHAPE_FACTOR = 1.660465


def test_box_pit():
    """The field at an edge of 270 degrees goes as r^(2/3), so the flow converges as h^(4/3)."""
    assert_allclose(extrapolated(box_pit(0), box_pit(1), 4.0 / 3.0), BOX_SHAPE_FACTOR, rtol=5e-3)


@pytest.mark.parametrize("at", [(5.0, 5.0), (4.37, 5.21)])
def test_hemisphere_on_the_normal_grid_of_a_house(at):
    pit = HemisphericalPit(volume=0.0378541)
    exact = 2.0 * math.pi * pit.free_radius
    assert abs(house_grid_error(pit.body(*at, FLOOR), exact)) < 0.02


def test_box_on_the_normal_grid_of_a_house():
    """Its edges are singular: 2.4 % low as the grid comes, within 2 % with a farther reach.

    The second holds the pit's cell size out to two of its radii instead of one.
    """
    body = BoxPit(length=0.4, width=0.4, depth=0.2).body(5.0, 5.0, FLOOR)
    assert abs(house_grid_error(body, BOX_SHAPE_FACTOR)) < 0.025
    farther = dataclasses.replace(NORMAL, pit_reach=2.0)
    assert abs(house_grid_error(body, BOX_SHAPE_FACTOR, farther)) < 0.02


# half the series of a sphere near a sealed plane (Smythe, from memory; second way images); two
# walls by multipole collocation to 2e-6
@pytest.mark.parametrize(("walls", "exact"), [(1, 1.302050), (2, 1.008741)])
def test_hemisphere_near_walls(walls, exact):
    coarse, fine = near_walls(0, walls), near_walls(1, walls)
    assert_allclose(coarse, exact, rtol=0.02)
    assert_allclose(extrapolated(coarse, fine, 2.0), exact, rtol=5e-3)
