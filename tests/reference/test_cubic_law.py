"""Air between two parallel plates: slit, radial gap, and slots through a slab.

Q = w b^3 dp / (12 mu L): Snow 1965; Witherspoon et al. 1980, WRR 16:1016; White, Viscous Fluid
Flow; all from memory. Viscosity 1.81e-5 Pa s. Tolerance 1e-6 for a straight slit; a radial gap
lies across square cells and is held to what other radial flows are.
"""

import functools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import assert_order, extrapolated
from shapely.geometry import box
from small_soils import MU, beyond, even_edges, layer, slab_body, solve_soil

from soilflow.flow.grid import Grid, graded_edges
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.site.effects import CarriesAlongSheet, LeaksAlongLine
from soilflow.soil import cubic_law_transmissivity

EVERYWHERE = box(-99.0, -99.0, 99.0, 99.0)
NO_AIR = 0.9e-17  # soil below the least permeability that counts, so the gap is alone [m2]


def gap(aperture):
    """A gap of one height; the transmissivity of its cube law is the project's own formula."""

    def transmissivity(x, y):
        return np.full(x.shape, cubic_law_transmissivity(aperture, 0.0))

    return CarriesAlongSheet(plan=EVERYWHERE, transmissivity=transmissivity)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("cells", [1, 3, 16])
def test_slit(axis, cells):
    """1 mm by 1 m, 0.1 m long, 5 Pa: 2.302026e-4 m3/s, along either axis on any mesh."""
    edges = [np.array([0.0, 0.3, 1.0])] * 2
    uneven = 0.1 * even_edges(0.0, 1.0, cells) ** 1.3
    edges[axis] = np.concatenate([[-0.2], uneven, [0.25]])
    grid = Grid(x=edges[0], y=edges[1], z=np.array([0.0, 0.1, 0.3]))
    held = [slab_body("from", axis, -9.0, 0.0), slab_body("to", axis, 0.1, 9.0)]
    answer = solve_soil(grid, [layer(NO_AIR, 0.0, 0.3), gap(1e-3)], held)
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


@functools.cache
def flow_in_radial_gap(cells):
    """A quarter of the plan, the pit's radius in so many cells; no soil, only the gap."""
    size = 0.15 / cells
    sources = [(0.0, 0.1875, size), (5.0, 5.0, 8.0 * size)]
    x = graded_edges([0.0, 5.0], sources, math.exp(1.04 / cells), [])
    x = beyond(x, x[-1] - x[-2])
    pit = Cylinder(centre=(0.0, 0.0), radius=0.15, top=0.0, bottom=0.2)
    rim = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=5.0, top=0.0, bottom=0.2))
    held = [HeldBody(port="pit", body=pit), HeldBody(port="edge", body=rim)]
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.2]))
    answer = solve_soil(grid, [layer(NO_AIR, 0.0, 0.2), gap(3e-3)], held)
    return 4.0 * answer.flow("pit", {"pit": -10.0, "edge": 0.0})


def test_radial_gap():
    coarse, fine = flow_in_radial_gap(8), flow_in_radial_gap(16)
    assert_allclose(coarse, RADIAL_GAP, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), RADIAL_GAP, rtol=1e-3)


def test_radial_gap_is_second_order():
    exact = math.pi * 3e-3**3 * 10.0 / (6.0 * MU * math.log(5.0 / 0.15))
    assert_allclose(exact, RADIAL_GAP, rtol=3e-7)
    assert_order(lambda n: abs(flow_in_radial_gap(n) / exact - 1.0), (8, 12, 16), 2.0)
