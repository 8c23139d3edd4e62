"""Coverage and margins against areas worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import box

from soilflow.errors import InputError
from soilflow.results.coverage import PASS_LINE, coverage, covered_area, worst_margin
from soilflow.results.floor import FloorPressure, pressure_at


def floor_of(pressure, *, x=None, y=None, open_x=None, open_y=None):
    nx, ny = pressure.shape
    x = np.linspace(0.0, 4.0, nx + 1) if x is None else x
    y = np.linspace(0.0, 3.0, ny + 1) if y is None else y
    return FloorPressure(
        x=x,
        y=y,
        floor=np.ones((nx, ny), dtype=bool),
        pressure=pressure,
        open_x=np.ones((nx - 1, ny), dtype=bool) if open_x is None else open_x,
        open_y=np.ones((nx, ny - 1), dtype=bool) if open_y is None else open_y,
    )


def centres(edges):
    return 0.5 * (edges[1:] + edges[:-1])


def test_a_plane_field_is_covered_up_to_its_level_line_exactly():
    """A pressure linear in x on a graded grid: the covered part ends where p = -5 Pa."""
    x = np.concatenate([np.linspace(0, 1, 8)[:-1], np.linspace(1, 4, 12)])
    pressure = np.repeat((-2.0 * centres(x))[:, None], 6, axis=1)
    floor = floor_of(pressure, x=x)
    # -2 x <= -5 beyond x = 2.5: the end cells are flat, so look away from the ends
    assert_allclose(coverage(floor, 5.0), 1.5 / 4.0, atol=1e-12)


def test_thiem_disk_coverage_interpolated_not_counted():
    """Radial flow between circles: coverage (r1/r2)^(2 p_t/dp) = 0.8691302 at 5 Pa.

    Thiem 1906 (from memory); k and b drop out; r1 = 0.15 m, r2 = 5 m, dp = 250 Pa. Counting
    the cells of this grid misses by 1.25 % (stated for 50 cells across).
    """
    edges = np.linspace(-5.0, 5.0, 101)
    xx, yy = np.meshgrid(centres(edges), centres(edges), indexing="ij")
    r = np.maximum(np.hypot(xx, yy), 0.15)
    pressure = np.minimum(-250.0 * np.log(5.0 / r) / math.log(5.0 / 0.15), 0.0)
    floor = floor_of(pressure, x=edges, y=edges)
    disk = math.pi * 25.0
    interpolated = float(covered_area(floor, 5.0).sum()) / disk
    counted = float(floor.areas[pressure <= -5.0].sum()) / disk
    assert_allclose(interpolated, 0.8691302, atol=5e-4)
    assert abs(interpolated - 0.8691302) < 0.5 * abs(counted - 0.8691302)


def test_interpolation_never_crosses_a_footing():
    """Either side of a wall is flat: with the wall closed the covered share is exactly half."""
    pressure = np.where(np.arange(8)[:, None] < 4, -10.0, 10.0) * np.ones((8, 6))
    closed = np.ones((7, 6), dtype=bool)
    closed[3] = False
    assert coverage(floor_of(pressure, open_x=closed), 3.0) == 0.5
    # without the wall the same numbers are joined by a slope, and -3 Pa lies within it
    assert 0.5 > coverage(floor_of(pressure), 3.0) > 0.4


def test_floor_without_air_leaves_numerator_and_denominator():
    pressure = np.full((8, 6), -4.0)
    pressure[:2] = np.nan
    floor = floor_of(pressure)
    assert coverage(floor, 1.0) == 1.0
    assert_allclose(floor.no_air_area, 4.0 * 3.0 / 4.0)
    assert math.isnan(coverage(floor_of(np.full((4, 4), np.nan)), 1.0))


def test_strip_counts_only_its_own_columns():
    pressure = np.where(np.arange(8)[:, None] < 2, 0.0, -4.0) * np.ones((8, 6))
    floor = floor_of(pressure)
    assert coverage(floor, 1.0, strip=box(2.0, 0.0, 4.0, 3.0)) == 1.0
    assert coverage(floor, 1.0, strip=box(0.0, 0.0, 0.5, 3.0)) == 0.0


def test_worst_margin_of_a_dent_is_its_patch_mean():
    """One column of 0.2 x 0.2 m at 0 Pa in a floor at -10 Pa: any patch of 0.6 m holds at most
    the whole column, so its mean suction is 10 (1 - 0.04 / 0.36)."""
    x, y = np.linspace(0, 4, 21), np.linspace(0, 3, 16)
    pressure = np.full((20, 15), -10.0)
    pressure[10, 7] = 0.0
    worst = worst_margin(floor_of(pressure, x=x, y=y))
    assert_allclose(worst.margin, 10.0 * (1.0 - 0.04 / 0.36) - PASS_LINE, rtol=1e-12)
    assert abs(worst.x - 2.1) <= 0.2 + 1e-9
    assert abs(worst.y - 1.5) <= 0.2 + 1e-9


def test_worst_margin_needs_air_below_the_floor():
    with pytest.raises(InputError, match="no patch of the floor has air"):
        worst_margin(floor_of(np.full((8, 6), np.nan)))


def test_patches_stay_wholly_inside_an_ell():
    """The high pressure sits where no slab is: it must not count."""
    pressure = np.full((20, 20), -3.0)
    x = y = np.linspace(0.0, 4.0, 21)
    floor = floor_of(pressure, x=x, y=y)
    outside = np.zeros((20, 20), dtype=bool)
    outside[10:, 10:] = True
    pressure[outside] = np.nan
    ell = FloorPressure(
        x=x, y=y, floor=~outside, pressure=pressure, open_x=floor.open_x, open_y=floor.open_y
    )
    worst = worst_margin(ell)
    assert_allclose(worst.margin, 2.0)
    assert worst.x <= 2.0 + 1e-9 or worst.y <= 2.0 + 1e-9


def test_reading_between_columns_is_bilinear():
    x, y = np.linspace(0.0, 4.0, 9), np.linspace(0.0, 3.0, 7)
    xx, yy = np.meshgrid(centres(x), centres(y), indexing="ij")
    floor = floor_of(2.0 * xx - yy + 1.0, x=x, y=y)
    assert_allclose(pressure_at(floor, 1.37, 1.11), 2.0 * 1.37 - 1.11 + 1.0, rtol=1e-12)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 2**31), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_more_suction_asked_never_covers_more(seed, a, b):
    rng = np.random.default_rng(seed)
    floor = floor_of(rng.normal(-8.0, 6.0, (9, 7)))
    low, high = sorted((a, b))
    assert 0.0 <= coverage(floor, high) <= coverage(floor, low) <= 1.0
