"""Soil packed onto the wall of a pit in digging: two resistances in series.

Derived here: a hemisphere of radius r with a shell of thickness s and permeability a k draws,
relative to one without, 1 / (r [(1/a)(1/r - 1/(r+s)) + 1/(r+s)]) in a half space.
Tolerance on the normal grid: 2 %.
"""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from problems.smear import RADIUS, K, exact_flow, pit_flow
from small_soils import MU, beyond, growing_edges, layer, slab_body, solve_soil
from tiny_house import house

from soilflow.errors import InputError
from soilflow.flow.analytic import flow_ratio_smear
from soilflow.flow.fipy_engine import respond_fipy
from soilflow.flow.grid import Grid
from soilflow.grids import map_of
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.layout.pits import BoxPit, HemisphericalPit


# Ratios in a half space by the formula above: r = 0.2624 m (two buckets) and 0.2083 m (one),
# s = 20 mm, a = 0.1. The second is tabulated as 0.5592 and comes out as 0.5591.
@pytest.mark.parametrize(("radius", "ratio"), [(0.2624, 0.6107), (0.2083, 0.5592)])
def test_the_formula_gives_the_two_bucket_and_the_one_bucket_ratio(radius, ratio):
    with_shell = 10.0 * (1.0 / radius - 1.0 / (radius + 0.02)) + 1.0 / (radius + 0.02)
    assert_allclose(1.0 / (radius * with_shell), ratio, atol=1e-4)
    assert_allclose(flow_ratio_smear(radius, 0.02, 0.1), ratio, atol=1e-4)


@pytest.mark.parametrize("radius", [0.2624, 0.2083])
@pytest.mark.parametrize(("smear", "ratio"), [(0.02, 0.1), (0.02, 0.5), (0.05, 0.1), (0.005, 0.02)])
def test_a_smeared_bowl_on_the_normal_cell_size(radius, smear, ratio):
    found = pit_flow(radius=radius, smear=smear, ratio=ratio)
    assert_allclose(found, exact_flow(radius, smear, ratio), rtol=0.02)


def test_cells_split_twice_leave_half_a_per_cent():
    found = pit_flow(smear=0.05, ratio=0.1, times=2)
    assert_allclose(found, exact_flow(RADIUS, 0.05, 0.1), rtol=0.005)


def test_no_thickness_and_no_contrast_change_nothing():
    bare = pit_flow()
    assert pit_flow(smear=0.0, ratio=0.1) == bare
    assert pit_flow(smear=0.03, ratio=1.0) == bare


def test_more_of_it_and_tighter_lets_less_through():
    flows = [pit_flow(smear=s, ratio=a) for s, a in ((0.0, 1.0), (0.01, 0.3), (0.02, 0.3))]
    flows.append(pit_flow(smear=0.02, ratio=0.1))
    assert np.all(np.diff(flows) < 0.0)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_flat_face_adds_its_own_thickness_exactly(axis):
    """A column of soil of length 1 m between a box with a smear and a box held at zero."""
    edges = [np.array([0.0, 1.0])] * 3
    edges[axis] = np.linspace(0.0, 3.0, 31)
    grid = Grid(x=edges[0], y=edges[1], z=edges[2])
    held = [slab_body("a", axis, -9.0, 1.0), slab_body("b", axis, 2.0, 9.0)]
    held[0] = dataclasses.replace(held[0], smear=0.01, smear_ratio=0.05)
    answer = solve_soil(grid, [layer(K, -1.0, 9.0)], held)
    length = 1.0 + 0.01 * (1.0 / 0.05 - 1.0)
    assert_allclose(answer.flow("a", {"a": -1.0, "b": 0.0}), K / MU / length, rtol=1e-9)


def test_an_upright_cylinder_in_plan():
    """Two cylinders apart in plan, the inner one smeared: 2 pi k / mu over a sum of logarithms."""
    radius, smear, ratio, far = 0.15, 0.015, 0.1, 3.0
    edges = growing_edges(0.0, 2.0 * radius, radius / 6.0, 1.3, far)
    edges = beyond(edges, edges[-1] - edges[-2])
    grid = Grid(x=edges, y=edges, z=np.array([0.0, 0.1]))
    tube = {"centre": (0.0, 0.0), "top": -1.0, "bottom": 1.0}
    held = [
        HeldBody(port="in", body=Cylinder(radius=radius, **tube), smear=smear, smear_ratio=ratio),
        HeldBody(port="out", body=Outside(inner=Cylinder(radius=far, **tube))),
    ]
    answer = solve_soil(grid, [layer(K, 0.0, 1.0)], held)
    logs = np.log(1.0 + smear / radius) / ratio + np.log(far / (radius + smear))
    want = 0.5 * np.pi * K * 0.1 / MU / logs
    assert_allclose(answer.flow("in", {"in": -1.0, "out": 0.0}), want, rtol=0.02)


def test_pits_hand_their_smear_on_and_refuse_to_loosen():
    pit = HemisphericalPit(volume=0.03, smear=0.02, smear_ratio=0.2)
    layout = house().layout()
    point = dataclasses.replace(layout.points[0], pit=pit)
    body = dataclasses.replace(layout, points=(point,)).held_bodies(house().site.slab.polygon)[0]
    assert (body.smear, body.smear_ratio) == (0.02, 0.2)
    with pytest.raises(InputError, match="1 or less") as caught:
        BoxPit(length=0.4, width=0.4, depth=0.3, smear=0.02, smear_ratio=1.5)
    assert caught.value.field == "smear_ratio"


def test_the_checking_engine_refuses_what_it_does_not_know():
    layout = house().layout()
    pit = dataclasses.replace(layout.points[0].pit, smear=0.02, smear_ratio=0.2)
    layout = dataclasses.replace(layout, points=(dataclasses.replace(layout.points[0], pit=pit),))
    with pytest.raises(InputError, match="no packed soil"):
        respond_fipy(map_of(house(), layout), MU)
