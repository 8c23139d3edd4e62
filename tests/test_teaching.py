"""The teaching gallery: every script draws its figure, and its sentence is true of its numbers."""

import importlib
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

FOLDER = Path(__file__).parents[1] / "cases" / "teaching"
LESSONS = sorted(p.stem for p in FOLDER.glob("*.py") if p.stem != "small_house")


def lesson(name):
    sys.path.insert(0, str(FOLDER))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(FOLDER))


def test_the_gallery_is_there():
    assert len(LESSONS) == 7


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_draws_one_figure_with_units_and_a_sentence(name, tmp_path):
    module = lesson(name)
    assert f"python cases/teaching/{name}.py" in module.__doc__
    assert module.SEE.rstrip().endswith(".")
    figure = module.draw()
    plans = [ax for ax in figure.axes if ax.get_xlabel()]
    assert plans
    for ax in plans:
        for label in (ax.get_xlabel(), ax.get_ylabel()):
            assert "[" in label, label
    figure.savefig(tmp_path / "lesson.png", dpi=40)
    assert (tmp_path / "lesson.png").stat().st_size > 2000


def test_radial_flow_is_a_straight_line_on_a_log_axis():
    """Thiem 1906 (from memory): suction falls by the same amount per ring of equal r2 / r1."""
    radial = lesson("radial_flow")
    r, suction, flow = radial.solve()
    exact = radial.VACUUM * np.log(radial.FAR / r) / np.log(radial.FAR / radial.PIT)
    inside = r < radial.FAR
    assert_allclose(suction[inside], exact[inside], rtol=0.0, atol=0.005 * radial.VACUUM)
    transmissivity = radial.SOIL * radial.THICKNESS / radial.VISCOSITY
    by_hand = 2.0 * np.pi * transmissivity * radial.VACUUM / np.log(radial.FAR / radial.PIT)
    assert_allclose(flow, by_hand, rtol=0.005)


@pytest.mark.parametrize("corner", [False, True])
def test_images_and_solver_agree_away_from_the_wall(corner):
    """Point images: exact far away; at 1.2 radii a corner's are 3.4 % off."""
    mirrors = lesson("walls_as_mirrors")
    for distance, tolerance in ((0.3, 0.05), (1.2, 0.02)):
        solved = mirrors.by_solver(distance, corner)
        assert_allclose(solved, mirrors.by_images(distance, corner), rtol=tolerance)


def test_one_cell_is_a_pit_of_its_own_size():
    """0.470 cell widths under a slab: the lattice value the verification table derives."""
    one = lesson("one_cell_pit")
    for size in (0.40, 0.16):
        meant = 0.470 * size
        expected = (1.0 / one.RADIUS - 1.0 / one.FAR) / (1.0 / meant - 1.0 / one.FAR)
        assert_allclose(one.one_cell(size), expected, rtol=0.03)
    assert_allclose(one.shaped(0.10), 1.0, rtol=0.02)


def test_a_gap_carries_its_cube_beside_the_soil():
    """Plates: b^3 / 12; the soil: permeability times depth; side by side they add."""
    gap = lesson("gap_cubed")
    for b in (0.05e-3, 0.4e-3, 1.6e-3):
        by_hand = gap.by_formula(b**3 / 12.0 + gap.SOIL * gap.DEPTH)
        assert_allclose(gap.flow(b), by_hand, rtol=0.01)
    assert_allclose(1e-3**3 / 12.0 / gap.SOIL, 83.3, atol=0.05)  # metres of soil


def test_half_the_joint_sealed_gains_next_to_nothing():
    half = lesson("half_sealed_joint")
    for opening in (half.GAP, 0.0):
        unsealed, two, three, all_four = half.margins(opening)
        assert unsealed < two < three < all_four
        assert (two - unsealed) < 0.1 * (all_four - unsealed)
        assert (three - unsealed) < 0.5 * (all_four - unsealed)


def test_the_strip_turns_the_order_of_wall_and_middle():
    ring = lesson("ring_or_centre")
    flow = {key: ring.flow_per_pit(result) for key, result in ring.results().items()}
    one, strip = ring.SOILS
    walls, middle = ring.RING.name, ring.CENTRE.name
    assert flow[strip, walls] > 2.0 * flow[strip, middle]
    assert flow[one, walls] < flow[one, middle]


def test_ten_times_everything_is_the_same_map():
    """Darcy's law is linear in the permeabilities: pressures stay, flow goes in proportion."""
    ten = lesson("times_ten")
    found = ten.results()
    assert ten.spread(found) < 1e-6
    flows = [ten.winter(result).air_drawn(["middle"]) for result in found.values()]
    assert_allclose(np.array(flows[1:]) / flows[:-1], 10.0, rtol=1e-6)
    assert_allclose(ten.hours(1e-12) / ten.hours(1e-11), 10.0)
