"""Walls at a slant: stairs that keep the area, joints that keep their length, one name a wall."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon
from small_soils import solve_soil

from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.grid import Resolution, grid_for
from soilflow.layout.bodies import Ball, HeldBody
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.run import run_layout
from soilflow.site import (
    ExteriorBackfill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)
from soilflow.site.effects import LeaksAlongLine
from soilflow.site.plan import (
    footprint_polygon,
    outline_polygon,
    stepped_polygon,
    wall_lines,
    wall_strip,
)
from soilflow.site.stairs import STEP, stair

CHAMFERED = ((0.0, 0.0), (6.0, 0.0), (6.0, 3.0), (4.0, 5.0), (0.0, 5.0))
KITE = ((3.0, 0.0), (6.0, 4.0), (3.0, 6.0), (0.0, 4.0))
WEDGE = ((0.0, 0.0), (6.0, 0.0), (0.0, 3.0))
BAY = (
    (0.0, 0.0),
    (2.0, 0.0),
    (3.0, -1.0),
    (5.0, -1.0),
    (6.0, 0.0),
    (8.0, 0.0),
    (8.0, 5.0),
    (0.0, 5.0),
)
SHAPES = (CHAMFERED, KITE, WEDGE, BAY)
ROUGH = Resolution(
    name="rough",
    cells_per_radius=1.5,
    line_size=0.15,
    growth=2.0,
    largest_inside=0.6,
    largest_outside=2.0,
)


def slab(corners, **more):
    return Slab(corners=corners, **{"thickness": 0.1, "permeability": 1e-18, **more})


def house(corners, **more):
    given = {
        "slab": slab(corners),
        "walls": FoundationWalls(thickness=0.2, footing_depth=0.4),
        "ground": Ground(layers=(SoilLayer(permeability=1e-11),), bottom=3.0),
    }
    return Site(**{**given, **more})


# stairs


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.tuples(*[st.integers(-20000, 20000).map(lambda mm: mm / 1000)] * 4))
def test_stairs_keep_the_area_beside_them_and_stay_near_the_line(ends):
    a, b = ends[:2], ends[2:]
    steps = stair(a, b)
    assert steps[0] == a
    assert steps[-1] == b
    assert steps[::-1] == stair(b, a)
    for (x0, y0), (x1, y1) in itertools.pairwise(steps):
        assert min(abs(x1 - x0), abs(y1 - y0)) <= 1e-6
    # shoelace over the way out along the stair and straight back
    x, y = np.array([*steps, steps[0]]).T
    assert abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) < 1e-9 * (1.0 + math.dist(a, b)) * 40.0
    if math.dist(a, b) > 0.0:
        line = LineString([a, b])
        assert max(line.distance(Point(p)) for p in steps) < 0.75 * STEP


@pytest.mark.parametrize("rise", [0.31, 0.9, 2.0, 10.0])
def test_steps_are_about_a_foot_high(rise):
    levels = sorted({y for _, y in stair((0.0, 0.0), (12.0, rise))})
    heights = np.diff(levels)
    assert_allclose(heights, heights[0])
    assert 2.0 / 3.0 * STEP < heights[0] < 1.5 * STEP


def test_an_edge_along_an_axis_is_no_stair():
    assert stair((1.0, 2.0), (7.0, 2.0)) == ((1.0, 2.0), (7.0, 2.0))
    assert stair((1.0, 2.0), (1.0, -2.0)) == ((1.0, 2.0), (1.0, -2.0))


# outlines


@pytest.mark.parametrize("corners", SHAPES)
def test_footprint_keeps_the_area_and_runs_along_the_axes(corners):
    floor = footprint_polygon(corners)
    assert floor.area == pytest.approx(Polygon(corners).area, rel=1e-12)
    ring = np.asarray(floor.exterior.coords)
    assert np.all(np.min(np.abs(np.diff(ring, axis=0)), axis=1) == 0.0)
    assert floor.exterior.is_ccw
    assert floor.equals(footprint_polygon(corners[::-1]))


def test_square_corners_are_left_alone():
    ell = ((0.0, 0.0), (8.0, 0.0), (8.0, 3.0), (5.0, 3.0), (5.0, 7.0), (0.0, 7.0))
    outline = outline_polygon(ell)
    assert list(outline.exterior.coords)[:-1] == list(ell)
    assert stepped_polygon(outline) is outline
    assert all(wall.stretch == 1.0 and wall.slant is None for wall in wall_lines(outline))


def test_rounding_of_a_corner_does_not_make_a_slant():
    corners = ((0.0, 0.0), (4.0, 1e-9), (4.0 - 1e-8, 3.0), (0.0, 3.0))
    assert len({wall.name for wall in wall_lines(outline_polygon(corners))}) == 4
    assert len(wall_lines(outline_polygon(corners))) == 4


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        (((0, 0), (4, 0)), "at least 3"),
        (((0, 0), (4, 4), (4, 0), (0, 4)), r"cross or touch near \(2.00, 2.00\) m"),
        (((0, 0), (4, 2), (2, 1)), "no area"),
        (((0, 0), (4, 0), (4, 0), (4, 0)), "no area"),
        (((4.62, 3.32), (1.1, 0.2), (4.27, 3.06)), "too sharp a corner"),
    ],
)
def test_outlines_that_cannot_be_say_why(corners, words):
    with pytest.raises(InputError, match=words) as caught:
        Slab(corners=corners, thickness=0.1, permeability=1e-15)
    assert caught.value.field == "corners"


# walls


@pytest.mark.parametrize(
    ("corners", "names"),
    [
        (CHAMFERED, ["south", "east", "north-east", "north", "west"]),
        (KITE, ["south-east", "north-east", "north-west", "south-west"]),
        (WEDGE, ["south", "north-east", "west"]),
        (
            BAY,
            ["south 1", "south-west", "south 2", "south-east", "south 3", "east", "north", "west"],
        ),
        # a wall that is nearly square to the axes is called by the axis
        (((0, 0), (8, 0), (8, 5), (0, 6)), ["south", "east", "north", "west"]),
    ],
)
def test_a_slanted_wall_has_one_name_and_its_true_length(corners, names):
    walls = slab(corners).walls
    assert list(dict.fromkeys(wall.name for wall in walls)) == sorted(
        names, key=[w.name for w in walls].index
    )
    true = {}
    for wall in walls:
        true[wall.name] = true.get(wall.name, 0.0) + wall.length
    ring = np.array([*corners, corners[0]])
    assert sorted(true.values()) == pytest.approx(
        sorted(np.hypot(*np.diff(ring, axis=0).T)), rel=1e-12
    )
    for here, there in zip(walls, (*walls[1:], walls[0]), strict=True):
        assert here.end == pytest.approx(there.start, rel=0, abs=1e-12)


def test_numbers_run_from_the_west():
    star = ((0, 0), (8, 0), (8, 3), (6, 5), (5, 4), (3, 6), (0, 6))
    found = {wall.name: wall.slant for wall in slab(star).walls if wall.slant}
    assert found["north-east 1"] == ((5.0, 4.0), (3.0, 6.0))
    assert found["north-east 2"] == ((8.0, 3.0), (6.0, 5.0))


def test_joint_and_band_of_a_slanted_wall_go_by_its_name():
    site = house(
        CHAMFERED,
        joints=(FloorWallJoint(aperture=0.001, walls=("north-east",)),),
        bands=(PerimeterBand(width=0.5, looser_by=5.0, walls=("north-east",), depth=0.5),),
    )
    slots = [effect for effect in site.effects() if isinstance(effect, LeaksAlongLine)]
    assert {slot.name for slot in slots} == {"north-east joint"}
    drawn = [math.dist(slot.start, slot.end) for slot in slots]
    stretched = sum(d * slot.stretch for d, slot in zip(drawn, slots, strict=True))
    assert stretched == pytest.approx(math.hypot(2.0, 2.0))
    assert sum(drawn) == pytest.approx(4.0)
    [(_, strip)] = site.band_strips()
    # all that lies within half a metre of the wall, its ends square instead of round
    near = LineString([(6.0, 3.0), (4.0, 5.0)]).buffer(0.5).intersection(site.slab.polygon)
    assert strip.area == pytest.approx(near.area, rel=0.05)
    with pytest.raises(InputError, match="north-west"):
        house(CHAMFERED, joints=(FloorWallJoint(aperture=0.001, walls=("north-west",)),))


def test_strip_along_all_walls_has_the_area_of_the_true_one():
    """The strip of a convex outline is what moving all edges inward leaves over."""
    outline = outline_polygon(CHAMFERED)
    floor = stepped_polygon(outline)
    for width in (0.15, 0.5, 1.0):
        strip = wall_strip(floor, wall_lines(outline), width)
        true = outline.area - outline.buffer(-width, join_style="mitre").area
        assert strip.area == pytest.approx(true, rel=0.02)


def test_backfill_follows_the_slant():
    walls = FoundationWalls(thickness=0.2, footing_depth=0.5)
    found = house(KITE, walls=walls, backfill=ExteriorBackfill(width=0.6, looser_by=3.0))
    [strip] = [e.where.plan for e in found.effects() if getattr(e, "factor", None) == 3.0]
    outline = outline_polygon(KITE)
    outer = outline.buffer(0.8, join_style="mitre")
    assert strip.union(walls.outer_face(found.slab.polygon)).area == pytest.approx(outer.area)


def test_doubts_name_each_slanted_wall_once():
    doubts = house(BAY).doubts()
    assert len(doubts) == 2
    assert "the south-west wall, from (2.00, 0.00) to (3.00, -1.00) m" in doubts[0]
    assert "the south-east wall" in doubts[1]
    assert house(BAY[:2] + BAY[5:]).doubts() == ()


# flow


def flow(site, x, y, grid=None):
    held = [HeldBody(port="pit", body=Ball(centre=(x, y, 0.0), radius=0.25))]
    effects = site.effects()
    grid = grid_for(effects, held, ROUGH) if grid is None else grid
    answer = solve_soil(grid, effects, held)
    return answer, answer.flow("pit", {"pit": -100.0, "house": 0.0, "outdoors": 0.0})


def turned_square(side):
    half = 0.5 * side * math.sqrt(2.0)
    return ((half, 0.0), (2.0 * half, half), (half, 2.0 * half), (0.0, half))


def test_joint_of_a_turned_house_leaks_as_much_as_before_turning():
    """A wide gap gives all of the joint one pressure: its flow is that of its length alone.

    A joint along the drawn stairs would leak 41 % more.
    """
    side, wide = 4.0, 5e-5
    parts = {
        "gaps": (SettledGap(name="wide", aperture=0.01),),
        "joints": (FloorWallJoint(aperture=wide),),
        "ground": Ground(layers=(SoilLayer(permeability=1e-15),), bottom=2.0),
    }
    square = ((0.0, 0.0), (side, 0.0), (side, side), (0.0, side))
    _, straight = flow(house(square, **parts), 2.0, 2.0)
    corners = turned_square(side)
    _, turned = flow(house(corners, **parts), corners[0][0], corners[1][1])
    slot = wide**3 / (12.0 * 1.81e-5 * 0.1) * 4.0 * side * 100.0
    assert straight == pytest.approx(slot, rel=0.01)
    assert turned == pytest.approx(slot, rel=0.01)


def test_pit_under_a_turned_house_draws_as_before_turning():
    """Soil alone, through the yard: same area, same walls. The stairs cost a few per cent."""
    square = ((0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0))
    _, straight = flow(house(square), 2.0, 2.0)
    corners = turned_square(4.0)
    _, turned = flow(house(corners), corners[0][0], corners[1][1])
    assert turned == pytest.approx(straight, rel=0.05)


@pytest.mark.parametrize("thickness", [0.0, 0.2])
@pytest.mark.parametrize("corners", SHAPES)
def test_stairs_of_a_wall_leave_no_hole(corners, thickness):
    """Down to the footing, soil under the floor and soil outside are two pieces."""
    walls = FoundationWalls(thickness=thickness, footing_depth=0.4)
    site = house(corners, walls=walls)
    effects = site.effects()
    grid = grid_for(effects, [], ROUGH)
    soil = solve_soil(grid, effects, []).soil
    top = soil.top_layer
    # cells and the faces between them on a raster twice as fine
    nx, ny, _ = grid.shape
    open_ = np.zeros((2 * nx - 1, 2 * ny - 1), dtype=bool)
    open_[::2, ::2] = soil.air[:, :, top]
    open_[1::2, ::2] = soil.open_x[:, :, top]
    open_[::2, 1::2] = soil.open_y[:, :, top]
    pieces, _ = ndimage.label(open_)
    cells = pieces[::2, ::2]
    inside = {*np.unique(cells[soil.floor & soil.air[:, :, top]])}
    outside = {*np.unique(cells[~soil.floor & soil.air[:, :, top]])}
    assert len(inside) == len(outside) == 1
    assert inside != outside


def test_a_house_with_a_slanted_wall_runs():
    case = Case(
        title="chamfered",
        site=house(
            CHAMFERED,
            bands=(PerimeterBand(width=0.5, looser_by=5.0, depth=0.5),),
            joints=(FloorWallJoint(aperture=0.0005),),
            gaps=(SettledGap(name="all", aperture=0.0005),),
        ),
        layouts=(
            Layout(
                name="one",
                points=(
                    SuctionPoint(
                        name="P", x=4.6, y=3.9, pit=HemisphericalPit(volume=0.03), vacuum=200.0
                    ),
                ),
            ),
        ),
        conditions=(Condition(name="design_winter", outdoor_pressure=3.0),),
        resolution=ROUGH,
    )
    result = run_layout(case, baseline=False)
    found = result.conditions["design_winter"]
    assert 0.5 < found.coverage_perimeter[1.0] <= 1.0
    assert 0.5 < found.coverage_area[1.0] <= 1.0
    assert result.mass_balance < 1e-8
    assert any("north-east wall" in note for note in result.notes)
