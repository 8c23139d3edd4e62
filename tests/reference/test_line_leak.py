"""A slot in the floor, in contact with soil: flow, and how little it hangs on the grid.

In soil a slot of width w in the corner between floor and wall acts as a quarter cylinder of
radius w / 2, in open floor as a half cylinder of radius w / 4: mirrored, both are flat strips of
width 2 w and w, and a strip is worth a cylinder of a quarter of its width. The far edge is a
square of half-side a held at zero, whose conformal radius is 0.5393526 x 2 a (see
test_radial.py). So per metre of slot
R = 12 mu t / w^3 + mu ln(1.0787052 a / r) / (k W), W the angle of soil. Tolerance 1 %.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import extrapolated
from problems.line_leak import CELLS, HALF, THICKNESS, K, exact_flow, flow_per_metre
from small_soils import MU

from soilflow.flow.conductances import slot_legs


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("aperture", [1e-4, 3e-4, 1e-3])
@pytest.mark.parametrize("open_floor", [False, True])
def test_slot_in_soil(cell, aperture, open_floor):
    exact = exact_flow(aperture, open_floor=open_floor)
    assert_allclose(flow_per_metre(cell, aperture, open_floor=open_floor), exact, rtol=0.005)


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("open_floor", [False, True])
def test_splitting_hardly_moves_the_flow(cell, open_floor):
    """A slot of the grid's own width would gain ln 2 over ln(a / h), 17 %, with every split."""
    flows = [flow_per_metre(cell, 1e-3, open_floor=open_floor, times=n) for n in range(3)]
    assert_allclose(flows[1:], flows[0], rtol=0.02)
    at_zero = extrapolated(flows[1], flows[2], 2.0)
    assert_allclose(at_zero, exact_flow(1e-3, open_floor=open_floor), rtol=0.01)


def test_soil_saturates_the_cube_law():
    """From 0.1 to 1 mm the cube law says 1000 times; soil of 1e-11 m2 lets under ten through."""
    for open_floor in (False, True):
        thin, wide = (flow_per_metre((0.04, 0.04), w, open_floor=open_floor) for w in (1e-4, 1e-3))
        exact = exact_flow(1e-3, open_floor=open_floor) / exact_flow(1e-4, open_floor=open_floor)
        assert_allclose(wide / thin, exact, rtol=0.01)
        assert wide / thin < 10.0


@pytest.mark.parametrize("ratio", [0.25, 4.0])
def test_slot_in_layered_soil(ratio):
    """Vertical over horizontal permeability a: stretch x by a^1/4, z by a^-1/4.

    That is uniform soil of sqrt(kx kz), with a square far edge if the real one is stretched the
    other way, and a slot a^1/4 times as wide to the soil but not to the air in it.
    """
    stretch = ratio**0.25
    found = flow_per_metre(
        (0.04, 0.04),
        1e-3,
        open_floor=False,
        ends=(HALF / stretch, HALF * stretch),
        vertical=ratio * K,
    )
    k = math.sqrt(ratio) * K
    soil = MU * math.log(2.0 * 0.5393526 * HALF / (0.5e-3 * stretch)) / (k * 0.5 * math.pi)
    assert_allclose(found, 1.0 / (soil + 12.0 * MU * THICKNESS / 1e-9), rtol=0.01)


def legs(**changes):
    """Legs of one metre of a 1 mm slot in a corner cell of 4 cm, no gap."""
    values = {
        "length": 1.0,
        "aperture": 1e-3,
        "path": 0.1,
        "share": 1.0,
        "across": 0.04,
        "down": 0.04,
        "horizontal": 1e-12,
        "vertical": 1e-12,
        "sheet": 0.0,
    }
    arrays = {name: np.array([value]) for name, value in {**values, **changes}.items()}
    return [float(leg[0]) for leg in slot_legs(**arrays, viscosity=MU)]


def test_legs_by_hand():
    """w^3/(12 mu t) = 4.604051e-5 per metre, second way: 2.302026e-4 m3/s at 5 Pa (cubic law)."""
    to_reference, to_soil, to_sheet = legs()
    assert_allclose(5.0 * to_reference, 2.302026e-4, rtol=1e-6)
    # lattice radius of a square corner cell 0.7178 h = 0.028712, r_slot = 0.0005
    assert_allclose(to_soil, 1e-12 * 0.5 * math.pi / (MU * math.log(0.028712 / 0.0005)), rtol=1e-5)
    assert to_sheet == 0.0
    # half a gap cell of T = 1e-9 / 12 m3
    assert_allclose(legs(sheet=1e-9 / 12.0)[2], 1e-9 / 12.0 / (MU * 0.02), rtol=1e-12)


def test_half_slots_halve_the_conductance_not_the_width():
    half = legs(share=0.5)
    assert_allclose(half[0], 0.5 * legs()[0], rtol=1e-12)
    assert_allclose(half[1], 1e-12 * 0.5 * math.pi / (MU * math.log(0.028712 / 0.00025)), rtol=1e-5)


def test_slot_as_wide_as_its_cell_is_one_with_it():
    assert legs(aperture=0.06)[1] == math.inf
