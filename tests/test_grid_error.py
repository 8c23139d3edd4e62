"""Error bars of the grid: against what is known exactly, and against a published table.

The bars come from three grids with 2, 3 and 4 quarters of the cells. On soils whose flow, pressure
or coverage is known exactly at least 19 in 20 must hold the true value, and they must not be so
long that they say nothing.
"""

import functools
import math

import numpy as np
import pytest
from exact_cases import DEEP_SOILS, FLAT
from hypothesis import given
from hypothesis import strategies as st
from tiny_house import house

from soilflow.errors import InputError
from soilflow.flow.grid import NORMAL, graded_edges
from soilflow.grids import grid_of
from soilflow.results.grid_error import Bracketed, bracket, observed_order, tell_apart
from soilflow.studies.error_estimate import resolutions_for_bars

SIZES = (2.0, 4.0 / 3.0, 1.0)


@functools.cache
def trials():
    """Every known number on two sets of grids: its bar, and what it should be."""
    found = []
    for finer in (1.0, 1.5):
        for name, (soil, exact) in {**FLAT, **DEEP_SOILS}.items():
            grids = [soil(quarters, finer) for quarters in (2, 3, 4)]
            for what, true in exact().items():
                bar = bracket(SIZES, [grid[what] for grid in grids])
                found.append((f"{name}, {what}, cells over {finer:g}", bar, true))
    return found


def outside(found, shorter=1.0):
    return [f"{n}: {b}, not {t:.7g}" for n, b, t in found if abs(b.value - t) > b.error / shorter]


def test_nineteen_bars_in_twenty_hold_the_exact_value():
    found = trials()
    assert len(found) >= 80
    assert len(outside(found)) <= len(found) / 20, outside(found)


def test_bars_of_a_third_would_not():
    """Shows the trials able to fail, and the bars not longer than they need to be by much."""
    found = trials()
    assert len(outside(found, shorter=3.0)) > len(found) / 4
    errors = [abs(bar.value - true) / bar.error for _, bar, true in found]
    assert np.median(errors) > 0.25


def test_a_number_exact_on_any_grid_gets_next_to_no_bar():
    [bar] = [bar for name, bar, _ in trials() if name.startswith("layers") and "over 1.5" in name]
    assert bar.error < 1e-6 * bar.value


# Celik et al. 2008, table 1, from memory: plane flows, so that cells go as 1 / h^2. The index there
# is 1.25 |f1 - f2| / (r^p - 1), with p as observed.
CELIK = [
    ((4500, 8000, 18000), (5.863, 5.972, 6.063), 1.53, 0.022),
    ((980, 4500, 18000), (10.6050, 10.7250, 10.7880), 0.75, 0.011),
]


@pytest.mark.parametrize(("cells", "values", "order", "index"), CELIK)
def test_orders_and_indices_of_a_published_table(cells, values, order, index):
    sizes = 1.0 / np.sqrt(cells)
    found = observed_order(sizes, values)
    assert found == pytest.approx(order, abs=0.005)
    bar = bracket(sizes, values)
    assert bar.value == values[-1]
    if order < 4.0 / 3.0:
        assert bar.error / bar.value == pytest.approx(index, abs=0.0005)
    else:  # no more than 4/3 is counted on here
        assert bar.error / bar.value > index


@given(
    order=st.floats(0.6, 1.3),
    limit=st.floats(-10.0, 10.0),
    factor=st.floats(0.01, 10.0),
    sign=st.sampled_from([-1.0, 1.0]),
)
def test_a_pure_power_is_seen_through(order, limit, factor, sign):
    values = [limit + sign * factor * h**order for h in SIZES]
    bar = bracket(SIZES, values)
    assert bar.order == pytest.approx(order, abs=1e-4)
    assert bar.error == pytest.approx(1.25 * factor, rel=1e-4)


def test_faster_than_the_scheme_is_chance_and_not_believed():
    """h^6: the error is 1, Richardson with 4/3 would say so, but the range is what is seen."""
    values = [h**6 for h in SIZES]
    assert bracket(SIZES, values).error >= 1.25 * (values[0] - values[-1])


@pytest.mark.parametrize("values", [(1.0, 2.0, 1.5), (1.0, 1.1, 1.3), (1.0, 1.0, 1.2)])
def test_what_does_not_settle_gets_three_times_its_range(values):
    bar = bracket(SIZES, values)
    assert math.isnan(bar.order)
    assert bar.error == pytest.approx(3.0 * (max(values) - min(values)))


def test_two_grids_get_a_factor_of_three_on_the_order_of_an_edge():
    bar = bracket([2.0, 1.0], [1.0 + 2.0 ** (4.0 / 3.0), 2.0])
    assert bar.error == pytest.approx(3.0)
    assert math.isnan(bar.order)


def test_a_bar_is_never_shorter_than_asked_and_never_longer_for_it():
    values = (3.0, 2.0, 1.5)
    free = bracket(SIZES, values)
    assert bracket(SIZES, values, least=0.1 * free.error) == free
    assert bracket(SIZES, values, least=10.0).error == 10.0
    assert bracket(SIZES, (1.0, 1.0, 1.0), least=0.01).error == 0.01


def test_a_share_is_somewhere_between_nothing_and_all():
    assert bracket(SIZES, (0.1, 0.9, 0.3), share=True).error == 0.7
    assert bracket(SIZES, (0.1, 0.9, 0.3)).error == pytest.approx(2.4)


def test_a_fourth_grid_pushes_the_first_out():
    assert bracket([9.0, *SIZES], [77.0, 3.0, 2.0, 1.5]) == bracket(SIZES, [3.0, 2.0, 1.5])


def test_a_number_missing_on_one_grid_is_known_to_nothing():
    bar = bracket(SIZES, (math.nan, 2.0, 1.5))
    assert (bar.value, bar.error) == (1.5, math.inf)
    assert not tell_apart(bar, Bracketed(value=99.0, error=0.0))


def test_sizes_must_fall_and_be_two_or_more():
    for sizes, values in (([1.0], [1.0]), ([1.0, 2.0], [1.0, 2.0]), (SIZES, [1.0, 2.0])):
        with pytest.raises(InputError):
            bracket(sizes, values)


def test_two_numbers_are_apart_beyond_both_errors_together():
    one = Bracketed(value=1.0, error=0.3)
    assert not tell_apart(one, Bracketed(value=1.49, error=0.4))
    assert tell_apart(one, Bracketed(value=1.51, error=0.4))
    assert not tell_apart(one, one)


def test_the_three_grids_differ_in_nothing_but_size():
    """Every line of the grid twice as coarse is a line of the finest; so are all interfaces."""
    case = house()
    coarse, middle, fine = (
        grid_of(case.with_resolution(one), list(case.layouts))
        for one in resolutions_for_bars(case.resolution)
    )
    for axis in range(3):
        n = coarse.shape[axis]
        assert (2 * middle.shape[axis], 2 * fine.shape[axis]) == (3 * n, 4 * n)
        np.testing.assert_allclose(fine.edges[axis][::2], coarse.edges[axis], atol=1e-12)
        np.testing.assert_allclose(fine.edges[axis][::4], middle.edges[axis][::3], atol=1e-12)
    usual = grid_of(case, list(case.layouts))
    assert 0.5 < fine.cells / usual.cells < 2.0
    assert resolutions_for_bars(NORMAL)[-1].name == "normal"


def test_no_quarters_leave_grids_as_they_were():
    lines, sources = [0.0, 0.3, 2.0], [(0.3, 0.3, 0.05)]
    plain = graded_edges(lines, sources, 1.4, [])
    assert np.array_equal(plain, graded_edges(lines, sources, 1.4, [], quarters=0))
    assert (graded_edges(lines, sources, 1.4, [], quarters=4).size - 1) % 4 == 0
