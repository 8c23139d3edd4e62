"""A thin layer or a settled gap that air reaches through the slab above it.

T = 2e-11 m3, slab 5e-13 m2 over 0.10 m, so that the leakage length is 2 m; pit of 0.15 m radius
at 200 Pa, viscosity 1.81e-5 Pa s. Tolerance 0.5 %.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from problems.leaky_layer import (
    HELD,
    LEAKANCE,
    PIT,
    TRANSMISSIVITY,
    VACUUM,
    floor_of,
    gap_over_tight_soil,
    in_gap_at,
    on_axis,
    rim_flow,
    sealed_disk,
    thin_layer,
)
from small_soils import MU

from soilflow.flow.analytic import (
    flow_leaky_de_glee,
    pressure_leaky_de_glee,
    pressure_leaky_disk_jacob,
)
from soilflow.results.coverage import coverage, covered_area

# de Glee 1930, Jacob 1946, from memory; second ways 1-D FEM and an analytic-element library
INFINITE_FLOW, INFINITE_AT_3_M = 5.074909e-4, -15.77079
# the same with an edge at 5 m, c = K1/I1 or -K0/I0; second way 1-D FEM
SEALED_FLOW, SEALED_AT_2_5_M, SEALED_AT_5_M = 5.020051e-4, -24.78108, -11.59782
OPEN_FLOW, OPEN_AT_2_5_M = 5.110956e-4, -20.09286


def test_layer_without_end():
    """At 20 m, ten leakage lengths, an edge is not felt."""
    answer = thin_layer(20.0, False)
    assert_allclose(rim_flow(answer, HELD), INFINITE_FLOW, rtol=5e-3)
    assert_allclose(on_axis(answer, HELD, 3.0), INFINITE_AT_3_M, rtol=5e-3)
    assert_allclose(pressure_leaky_de_glee(3.0, PIT, 2.0, VACUUM), INFINITE_AT_3_M, rtol=1e-6)


def test_disk_with_an_open_edge():
    answer = thin_layer(5.0, True)
    values = {**HELD, "edge": 0.0}
    assert_allclose(rim_flow(answer, values), OPEN_FLOW, rtol=5e-3)
    assert_allclose(on_axis(answer, values, 2.5), OPEN_AT_2_5_M, rtol=5e-3)


def test_disk_with_a_sealed_edge():
    answer, values = sealed_disk()
    assert_allclose(rim_flow(answer, values), SEALED_FLOW, rtol=5e-3)
    assert_allclose(on_axis(answer, values, 2.5), SEALED_AT_2_5_M, rtol=5e-3)
    assert_allclose(values["beyond"], SEALED_AT_5_M, rtol=5e-3)
    for distance, printed in ((2.5, SEALED_AT_2_5_M), (5.0, SEALED_AT_5_M)):
        closed = pressure_leaky_disk_jacob(distance, PIT, 5.0, 2.0, VACUUM)
        assert_allclose(closed, printed, rtol=1e-6)


def test_all_of_a_sealed_disks_flow_comes_through_the_slab():
    """G p over the floor outside the pit, summed by hand, is the flow through the pit's rim."""
    answer, values = sealed_disk()
    floor = floor_of(answer, values)
    soil = answer.soil.air[:, :, 0]
    through = -LEAKANCE / MU * float((floor.pressure * floor.areas)[soil].sum())
    # cells the pit's rim cuts: their part over the pit leaks straight into it
    leaks = answer.soil.area_leaks
    ix, iy, _ = np.unravel_index(leaks.cell, answer.soil.grid.shape)
    over_pit = floor.areas[ix, iy] - leaks.area
    through += LEAKANCE / MU * float((floor.pressure[ix, iy] * over_pit).sum())
    assert_allclose(4.0 * through, SEALED_FLOW, rtol=5e-3)
    assert_allclose(4.0 * through, rim_flow(answer, values), rtol=1e-6)


def test_coverage_of_a_sealed_disk():
    """Share of the disk at 50 Pa 0.08023304, second way 1-D FEM; at 5 Pa all of it."""
    answer, values = sealed_disk()
    floor = floor_of(answer, values)
    disk = 0.25 * math.pi * 5.0**2
    assert_allclose(float(covered_area(floor, 50.0).sum()) / disk, 0.08023304, rtol=5e-3)
    assert coverage(floor, 5.0) == 1.0


def test_gap_without_end():
    """The same T as a gap of (12 T)^(1/3), 0.62 mm, over tight soil."""
    answer = gap_over_tight_soil((12.0 * TRANSMISSIVITY) ** (1.0 / 3.0))
    assert_allclose(rim_flow(answer, HELD), INFINITE_FLOW, rtol=5e-3)
    assert_allclose(in_gap_at(answer, 3.0), INFINITE_AT_3_M, rtol=5e-3)


@pytest.mark.parametrize("factor", [8.0, 27.0])
def test_gap_follows_the_cube_law(factor):
    """Twice or three times the height: 8 or 27 times T, so the leakage length grows by its root.

    x K1(x) / K0(x) with x = r1 / lambda, as above; the reach is still eight lengths.
    """
    t = 0.05 * TRANSMISSIVITY * factor
    answer = gap_over_tight_soil((12.0 * t) ** (1.0 / 3.0))
    exact = flow_leaky_de_glee(PIT, t, LEAKANCE, VACUUM, MU)
    assert_allclose(rim_flow(answer, HELD), exact, rtol=5e-3)
