"""Before digging: no pit, no pipe, no fan; three states with three names."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tiny_house import FIRST, SECOND, house, solved

from soilflow.baseline import before_digging
from soilflow.grids import grid_of
from soilflow.run import run_layout, solve_soil


def test_the_three_states_differ_and_are_ordered():
    """In winter the soil pushes up; a pit with an open riser vents it to the outdoors; the fan
    pulls it down."""
    for condition in solved().conditions.values():
        before = condition.baseline
        on, off = condition.test_holes["T1"], condition.test_holes_off["T1"]
        assert on < 0.0 < before.test_holes["T1"]
        assert off != before.test_holes["T1"]
        assert before.house.from_soil > 0.0
        assert before.house.from_soil != condition.house_off.from_soil


def test_with_room_and_outdoors_alone_everything_scales_with_the_outdoors():
    found = solved().conditions
    today, winter = (found[name].baseline for name in ("today", "design_winter"))
    # 1 Pa and 4 Pa; the difference of p and u is below 2e-5 of either
    assert_allclose(winter.floor.pressure, 4.0 * today.floor.pressure, rtol=1e-4)
    assert_allclose(winter.house.from_soil, 4.0 * today.house.from_soil, rtol=1e-4)
    inside = winter.floor.pressure[winter.floor.floor]
    assert np.all((inside > 0.0) & (inside < 4.0))


def test_it_is_the_layout_that_digs_nothing():
    """A capped pit of a thimble is no pit."""
    layout = house().layout(SECOND)
    pit = dataclasses.replace(layout.points[0].pit, volume=2e-4)
    point = dataclasses.replace(layout.points[0], pit=pit, vacuum=None, capped=True)
    thimble = run_layout(house(), dataclasses.replace(layout, points=(point,)))
    winter = thimble.conditions["design_winter"]
    before = before_digging(house(), thimble.solution.soil.grid, engine=solve_soil)
    want = before["design_winter"]
    assert_allclose(winter.house_off.from_soil, want.house.from_soil, rtol=2e-3)
    assert_allclose(winter.test_holes_off["T1"], want.test_holes["T1"], rtol=2e-3)


def test_layouts_share_it_on_a_common_grid():
    layouts = list(house().layouts)
    grid = grid_of(house(), layouts)
    first, second = (
        run_layout(house(), layout, grid=grid).conditions["today"].baseline for layout in layouts
    )
    assert np.array_equal(first.floor.pressure, second.floor.pressure, equal_nan=True)


def test_it_can_be_left_out():
    assert run_layout(house(), FIRST, baseline=False).conditions["today"].baseline is None


@pytest.mark.parametrize("layout", [FIRST, SECOND])
def test_its_pressures_keep_between_room_and_outdoors(layout):
    for condition in solved(layout).conditions.values():
        pressure = condition.baseline.floor.pressure
        inside = pressure[~np.isnan(pressure)]
        assert inside.min() >= -1e-9
        assert inside.max() <= condition.outdoor_pressure + 1e-9
