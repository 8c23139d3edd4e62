"""Air between two parallel plates: slit, radial gap, and slots through a slab.

Q = w b^3 dp / (12 mu L): Snow 1965; Witherspoon et al. 1980, WRR 16:1016; White, Viscous Fluid
Flow; all from memory. Viscosity 1.81e-5 Pa s. Tolerance 1e-6 for a straight slit; a radial gap
lies across square cells and is held to what other radial flows are.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import assert_order, extrapolated
from problems.slits import flow_in_radial_gap, slit
from small_soils import MU, layer, slab_body, solve_soil

from soilflow.flow.grid import Grid
from soilflow.site.effects import LeaksAlongLine
from soilflow.soil import cubic_law_transmissivity


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("cells", [1, 3, 16])
def test_slit(axis, cells):
    """1 mm by 1 m, 0.1 m long, 5 Pa: 2.302026e-4 m3/s, along either axis on any mesh."""
    answer = slit(axis, cells)
    assert not answer.soil.air.any()
    flow = answer.flow("to", {"from": 0.0, "to": -5.0})
    assert_allclose(flow, 1.0 * 1e-3**3 * 5.0 / (12.0 * MU * 0.1), rtol=1e-10)
    assert_allclose(flow, 2.302026e-4, rtol=1e-6)


@pytest.mark.parametrize("offset", [0.0, 0.03, 0.4])
def test_slit_straight_into_a_pit(offset):
    """The same slit upright through a slab, over a pit as long as it is, wherever cells end."""
    length = 1.0
    slot = LeaksAlongLine(
        name="crack",
        start=(0.5, offset),
        end=(0.5, offset + length),
        inward=(1, 0),
        aperture=1e-3,
        path=0.1,
        reference="house",
    )
    # lines at both ends of the slot, and an uneven one between
    y = np.array([-1.0, offset, offset + 0.37, offset + length, 3.0])
    grid = Grid(x=np.array([0.0, 0.5, 1.0]), y=y, z=np.array([0.0, 0.2, 0.4]))
    held = [slab_body("pit", 2, 0.0, 9.0)]
    answer = solve_soil(grid, [layer(1e-12, 0.0, 0.4), slot], held)
    assert_allclose(answer.flow("pit", {"house": 0.0, "pit": -5.0}), 2.302026e-4, rtol=1e-6)


def test_transmissivity_of_three_millimetres():
    assert_allclose(cubic_law_transmissivity(3e-3, 0.0), 2.25e-9, rtol=1e-6)


RADIAL_GAP = 2.227424e-3  # pi b^3 dp / (6 mu ln(r2 / r1)): 3 mm, r 0.15 to 5 m, 10 Pa [m3/s]


def test_radial_gap():
    coarse, fine = flow_in_radial_gap(8), flow_in_radial_gap(16)
    assert_allclose(coarse, RADIAL_GAP, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), RADIAL_GAP, rtol=1e-3)


def test_radial_gap_is_second_order():
    exact = math.pi * 3e-3**3 * 10.0 / (6.0 * MU * math.log(5.0 / 0.15))
    assert_allclose(exact, RADIAL_GAP, rtol=3e-7)
    assert_order(lambda n: abs(flow_in_radial_gap(n) / exact - 1.0), (8, 12, 16), 2.0)
