"""A thin layer or a settled gap that air reaches through the slab above it.

T = 2e-11 m3, slab 5e-13 m2 over 0.10 m, so that the leakage length is 2 m; pit of 0.15 m radius
at 200 Pa, viscosity 1.81e-5 Pa s. Tolerance 0.5 %.
"""

import functools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import box
from small_soils import MU, beyond, even_edges, growing_edges, layer, solve_soil

from soilflow.flow.analytic import (
    flow_leaky_de_glee,
    pressure_leaky_de_glee,
    pressure_leaky_disk_jacob,
)
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.results.coverage import coverage, covered_area
from soilflow.results.floor import floor_response
from soilflow.site.effects import CarriesAlongSheet, LeaksOverArea
from soilflow.soil import cubic_law_transmissivity

PIT, VACUUM, LEAKANCE = 0.15, 200.0, 5e-13 / 0.10
TRANSMISSIVITY = 2e-11
HELD = {"pit": -VACUUM, "house": 0.0}

# de Glee 1930, Jacob 1946, from memory; second ways 1-D FEM and an analytic-element library
INFINITE_FLOW, INFINITE_AT_3_M = 5.074909e-4, -15.77079
# the same with an edge at 5 m, c = K1/I1 or -K0/I0; second way 1-D FEM
SEALED_FLOW, SEALED_AT_2_5_M, SEALED_AT_5_M = 5.020051e-4, -24.78108, -11.59782
OPEN_FLOW, OPEN_AT_2_5_M = 5.110956e-4, -20.09286


def slab():
    return LeaksOverArea(
        plan=box(-99.0, -99.0, 99.0, 99.0),
        depth=0.0,
        leakance=LEAKANCE,
        reference="house",
        floor=True,
    )


def round_pit(bottom):
    body = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=bottom)
    return HeldBody(port="pit", body=body)


def plan_edges(end):
    return growing_edges(0.0, 0.1875, PIT / 8.0, 1.14, end)


@functools.cache
def thin_layer(end, circle):
    """A centimetre of k = 2e-9 m2; a quarter of the plan, with a round open edge or none."""
    x = beyond(plan_edges(end), 0.5) if circle else plan_edges(end)
    held = [round_pit(0.01)]
    if circle:
        inner = Cylinder(centre=(0.0, 0.0), radius=end, top=0.0, bottom=0.01)
        held.append(HeldBody(port="edge", body=Outside(inner=inner)))
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.01]))
    return solve_soil(grid, [layer(TRANSMISSIVITY / 0.01, 0.0, 0.01), slab()], held)


def rim_flow(answer, values):
    """Flow through the pit's rim: what the slab passes into the pit itself taken out.

    That part is the slab's leakance times the pit's area, by geometry.
    """
    through_slab = math.pi * PIT**2 * LEAKANCE / MU * VACUUM
    return 4.0 * answer.flow("pit", values) - through_slab


def on_axis(answer, values, distance):
    """Pressure along the first row of cells, interpolated."""
    row = answer.cells(values)[:, 0, 0]
    r = np.hypot(answer.soil.grid.centres(0), answer.soil.grid.centres(1)[0])
    have = np.isfinite(row)
    return np.interp(math.log(distance), np.log(r[have]), row[have])


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


@functools.cache
def sealed_disk():
    """A rim that floats: on a circle around the pit the pressure is one value.

    So a body at no net flow changes nothing there that a sealed edge would not. The slab above
    that body would vent it and is taken out. Gives the answer and the values of its ports.
    """
    fine = np.linspace(4.0, 5.2, 49)
    x = np.concatenate([plan_edges(4.0), fine[1:]])
    inner = Cylinder(centre=(0.0, 0.0), radius=5.0, top=0.0, bottom=0.01)
    held = [round_pit(0.01), HeldBody(port="beyond", body=Outside(inner=inner))]
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.01]))
    answer = solve_soil(grid, [layer(2e-9, 0.0, 0.01), slab()], held)
    y = answer.response.port_matrix
    p, b, h = (answer.response.ports.index(name) for name in ("pit", "beyond", "house"))
    direct = answer.network.direct[b, h]
    return answer, {**HELD, "beyond": y[b, p] * -VACUUM / -(y[b, b] - direct)}


def floor_of(answer, values):
    """Pressure under the slab, without compression, as these closed forms are."""
    floor = floor_response(answer.soil, answer.network, answer.response)
    return floor.pressure(np.array([values[port] for port in answer.response.ports]), 1e14)


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


@functools.cache
def gap_over_tight_soil(aperture, end=20.0):
    """A gap of one height over soil that passes a millionth of what the gap does."""

    def transmissivity(x, y):
        return np.full(x.shape, cubic_law_transmissivity(aperture, 0.0))

    sheet = CarriesAlongSheet(plan=box(-99.0, -99.0, 99.0, 99.0), transmissivity=transmissivity)
    grid = Grid(x=plan_edges(end), y=plan_edges(end), z=even_edges(0.0, 0.2, 2))
    return solve_soil(grid, [layer(2e-17, 0.0, 0.2), slab(), sheet], [round_pit(0.2)])


def test_gap_without_end():
    """The same T as a gap of (12 T)^(1/3), 0.62 mm, over tight soil."""
    answer = gap_over_tight_soil((12.0 * TRANSMISSIVITY) ** (1.0 / 3.0))
    assert_allclose(rim_flow(answer, HELD), INFINITE_FLOW, rtol=5e-3)
    nodes = np.array([HELD[p] for p in answer.response.ports]) @ answer.response.unit_fields
    row = answer.network.sheet_node[:, 0]
    x = answer.soil.grid.centres(0)
    have = row >= 0
    r = np.hypot(x[have], answer.soil.grid.centres(1)[0])
    at_3_m = np.interp(math.log(3.0), np.log(r), nodes[row[have]])
    assert_allclose(at_3_m, INFINITE_AT_3_M, rtol=5e-3)


@pytest.mark.parametrize("factor", [8.0, 27.0])
def test_gap_follows_the_cube_law(factor):
    """Twice or three times the height: 8 or 27 times T, so the leakage length grows by its root.

    x K1(x) / K0(x) with x = r1 / lambda, as above; the reach is still eight lengths.
    """
    t = 0.05 * TRANSMISSIVITY * factor
    answer = gap_over_tight_soil((12.0 * t) ** (1.0 / 3.0))
    exact = flow_leaky_de_glee(PIT, t, LEAKANCE, VACUUM, MU)
    assert_allclose(rim_flow(answer, HELD), exact, rtol=5e-3)
