"""Plane geometry of a footprint, against shapely and by hand."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import Point, Polygon, box

from soilflow.errors import InputError
from soilflow.site.plan import disk_area_in, footprint_polygon, wall_lines, wall_strip

SQUARE = ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))
ELL = ((0.0, 0.0), (8.0, 0.0), (8.0, 3.0), (5.0, 3.0), (5.0, 7.0), (0.0, 7.0))


def corners_of(polygon):
    return np.asarray(polygon.exterior.coords)[:-1]


def test_footprint_is_the_same_either_way_round():
    there, back = footprint_polygon(ELL), footprint_polygon(ELL[::-1])
    assert there.exterior.is_ccw
    assert back.exterior.is_ccw
    assert there.equals(back)
    assert_allclose(there.area, 8.0 * 3.0 + 5.0 * 4.0)


def test_corners_in_the_middle_of_an_edge_go():
    more = ((2.0, 0.0), (4.0, 0.0), (4.0, 1.0), (4.0, 3.0), (0.0, 3.0), (0.0, 0.0))
    polygon = footprint_polygon(more)
    assert len(corners_of(polygon)) == 4
    assert polygon.equals(Polygon(SQUARE))


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        (((0, 0), (1, 0)), "at least 3"),
        (((0, 0), (2, 2), (2, 0), (0, 2)), "cross"),
        (((0, 0), (2, 0), (1, 0), (0, 0)), "no area"),
    ],
)
def test_bad_footprints_say_why(corners, words):
    with pytest.raises(InputError, match=words) as caught:
        footprint_polygon(corners, field="slab.corners")
    assert caught.value.field == "slab.corners"


def test_walls_are_named_by_the_side_they_face():
    walls = {wall.name: wall for wall in wall_lines(footprint_polygon(ELL))}
    assert set(walls) == {"south", "east 1", "east 2", "north 1", "north 2", "west"}
    # numbered from the west, or from the south
    assert walls["north 1"].length == 5.0
    assert walls["north 2"].length == 3.0
    assert walls["east 1"].start == (8.0, 0.0)
    assert walls["east 2"].end == (5.0, 7.0)
    assert walls["south"].outward == (0, -1)
    assert walls["west"].outward == (-1, 0)
    assert_allclose(sum(wall.length for wall in walls.values()), 30.0)


def test_walls_run_round_without_a_break():
    walls = wall_lines(footprint_polygon(ELL))
    for here, there in zip(walls, (*walls[1:], walls[0]), strict=True):
        assert here.end == there.start


def test_strip_counts_corners_once():
    polygon = footprint_polygon(ELL)
    inside = wall_strip(polygon, wall_lines(polygon), 0.5)
    assert_allclose(inside.area, polygon.area - polygon.buffer(-0.5, join_style="mitre").area)
    outside = wall_strip(polygon, wall_lines(polygon), 0.5, outside=True)
    assert_allclose(outside.area, polygon.buffer(0.5, join_style="mitre").area - polygon.area)


def test_strip_along_one_wall():
    polygon = footprint_polygon(ELL)
    north = [wall for wall in wall_lines(polygon) if wall.name == "north 1"]
    assert_allclose(wall_strip(polygon, north, 0.5).area, 5.0 * 0.5)


def shapely_disk_area(centre, radius, polygon):
    """Disk as a polygon of 8000 sides, scaled so that it has the disk's own area."""
    sides = 8000
    shrunk = 0.5 * sides * math.sin(2.0 * math.pi / sides) / math.pi
    disk = Point(centre).buffer(radius / math.sqrt(shrunk), quad_segs=sides // 4)
    return disk.intersection(polygon).area


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    x=st.floats(-1.0, 9.0),
    y=st.floats(-1.0, 8.0),
    radius=st.floats(0.05, 6.0),
    shape=st.sampled_from([Polygon(SQUARE), Polygon(ELL), box(0.5, 0.5, 0.9, 4.0)]),
)
def test_disk_area_agrees_with_shapely(x, y, radius, shape):
    ours = disk_area_in((x, y), radius, corners_of(Polygon(shape.exterior).normalize().reverse()))
    expected = shapely_disk_area((x, y), radius, shape)
    assert_allclose(abs(ours), expected, rtol=0, atol=2e-6 * math.pi * radius**2)


def test_disk_area_by_hand():
    ring = corners_of(footprint_polygon(SQUARE))
    assert_allclose(disk_area_in((2.0, 1.5), 1.0, ring), math.pi, rtol=1e-14)
    assert_allclose(disk_area_in((0.0, 1.5), 1.0, ring), 0.5 * math.pi, rtol=1e-14)
    assert_allclose(disk_area_in((0.0, 0.0), 1.0, ring), 0.25 * math.pi, rtol=1e-14)
    assert_allclose(disk_area_in((2.0, 1.5), 99.0, ring), 12.0, rtol=1e-12)
    assert_allclose(disk_area_in((9.0, 9.0), 1.0, ring), 0.0, atol=1e-14)
    assert disk_area_in((2.0, 1.5), 0.0, ring) == 0.0
    # segment beyond a chord half a radius off: r^2 (pi/3 - sqrt(3)/4)
    segment = math.pi / 3.0 - math.sqrt(3.0) / 4.0
    assert_allclose(disk_area_in((0.5, 1.5), 1.0, ring), math.pi - segment, rtol=1e-14)


def test_disk_area_is_additive():
    """What two halves of a plan share with a disk is what the whole does."""
    left, right = box(0.0, 0.0, 1.7, 3.0), box(1.7, 0.0, 4.0, 3.0)
    parts = [
        disk_area_in(
            (1.2, 0.4), 1.1, corners_of(half.reverse() if not half.exterior.is_ccw else half)
        )
        for half in (left, right)
    ]
    whole = disk_area_in((1.2, 0.4), 1.1, corners_of(footprint_polygon(SQUARE)))
    assert_allclose(sum(parts), whole, rtol=1e-13)
