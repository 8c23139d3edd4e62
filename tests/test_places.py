"""First places for pits and holes on a rectangular floor."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soilflow.layout.places import along_walls, clear_of, spread_over

SIDES = st.floats(2.0, 30.0)


@settings(max_examples=60, deadline=None)
@given(SIDES, SIDES, st.integers(1, 20))
def test_places_along_walls_lie_on_the_ring_at_equal_steps(width, length, count):
    inset = 0.3
    places = along_walls(width, length, count, inset=inset)
    assert len(places) == count
    for x, y in places:
        edge = min(x, width - x, y, length - y)
        assert edge == pytest.approx(inset, abs=1e-9)
    around = 2.0 * (width + length - 4.0 * inset)
    for a, b in itertools.pairwise(places):
        assert math.dist(a, b) <= around / count + 1e-9


def test_one_pit_goes_to_the_middle_of_a_long_wall():
    assert along_walls(8.0, 6.0, 1, inset=0.3) == ((4.0, 0.3),)
    assert along_walls(6.0, 8.0, 1, inset=0.3)[0] == pytest.approx((0.3, 4.0))


@settings(max_examples=60, deadline=None)
@given(SIDES, SIDES, st.integers(1, 20))
def test_spread_places_balance_around_the_middle(width, length, count):
    places = spread_over(width, length, count)
    assert len(places) == len(set(places)) == count
    assert sum(x for x, _ in places) / count == pytest.approx(0.5 * width)
    assert all(0.0 < x < width and 0.0 < y < length for x, y in places)


MIDDLE = {"middle": (5.0, 4.0)}


def test_a_clear_place_stays_and_one_in_the_way_moves_just_far_enough():
    assert clear_of(10.0, 8.0, MIDDLE, [(1.0, 1.0)], clear=1.0) == MIDDLE
    moved = clear_of(10.0, 8.0, MIDDLE, [(5.0, 4.0)], clear=1.0)["middle"]
    # along x the raster has a step of a quarter of 10 m over 12
    assert 1.0 <= math.dist(moved, (5.0, 4.0)) <= 1.0 + 10.0 / 48.0


def test_places_on_a_floor_too_full_are_the_clearest_and_not_one_on_another():
    taken = [(0.5 + i, 0.5 + j) for i in range(10) for j in range(8)]
    found = clear_of(10.0, 8.0, {"a": (5.0, 4.0), "b": (5.0, 4.0)}, taken, clear=3.0)
    # in the middle of four places 1 m apart, half a diagonal from each, there is the most room
    assert all(min(math.dist(p, t) for t in taken) > 0.6 for p in found.values())
    assert math.dist(found["a"], found["b"]) > 0.6
    # neither has left the part of the floor it belongs to
    assert all(math.dist(p, (5.0, 4.0)) < 3.3 for p in found.values())
