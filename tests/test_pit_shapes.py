"""Round pits, pans, sumps with water in them, and drains as suction points."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import Point
from small_soils import solve_soil
from tiny_house import TEXT

from soilflow.errors import CaseError, InputError
from soilflow.files.case_toml import parse_case
from soilflow.files.write_toml import write_case
from soilflow.grids import grid_of, map_of
from soilflow.layout.bodies import Cylinder, OnLine
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import (
    BoxPit,
    CylinderPit,
    HemisphericalPit,
    OnConductor,
    cylinder_of_volume,
)
from soilflow.output.printout import print_result
from soilflow.run import run_layout
from soilflow.site.plan import footprint_polygon

FLOOR = footprint_polygon(((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0)))
PIT = CylinderPit(diameter=0.5, depth=0.3)
BOX = 'pit = {shape = "box", length = "20 in", width = "20 in", depth = "12 in"}'


def with_pit(text):
    return TEXT.replace(BOX, f"pit = {text}")


def first_pit(text):
    return parse_case(with_pit(text)).layouts[0].points[0].pit


@pytest.mark.parametrize("at", [(4.0, 3.0), (0.1, 3.0), (0.1, 0.15), (7.8, 0.05), (0.01, 0.01)])
def test_a_round_pit_keeps_its_volume_at_walls(at):
    """Its area inside the floor, by a polygon of 4000 sides, times its depth."""
    body = PIT.body(*at, FLOOR)
    left = Point(at).buffer(body.radius, quad_segs=1000).intersection(FLOOR).area
    assert_allclose(left * body.bottom, PIT.volume, rtol=1e-5)
    assert body.radius >= 0.25
    assert (body.top, body.bottom) == (0.0, 0.3)


def test_against_a_wall_and_in_a_corner_by_hand():
    """Half a disk, r = sqrt 2 times the free one; a quarter, twice."""
    assert_allclose(PIT.body(1e-9, 3.0, FLOOR).radius, 0.25 * math.sqrt(2.0), rtol=1e-6)
    assert_allclose(PIT.body(1e-9, 1e-9, FLOOR).radius, 0.5, rtol=1e-6)


def test_a_clipped_cylinder_ends_at_the_wall():
    body = Cylinder(centre=(0.1, 3.0), radius=0.5, top=0.0, bottom=0.3, clip=FLOOR)
    x, y = np.array([-0.2, 0.2]), np.array([3.0, 3.0])
    assert body.contains(x, y, np.full(2, 0.1)).tolist() == [False, True]
    assert body.rim_contains(x, y).tolist() == [False, True]
    assert body.rim_area(-0.4, 0.0, 2.9, 3.1) == 0.0
    whole = replace(body, clip=None)
    assert whole.contains(x, y, np.full(2, 0.1)).all()
    assert whole.rim_area(-0.3, 0.0, 2.9, 3.1) > 0.0


def test_a_pit_too_large_for_the_floor_is_refused():
    with pytest.raises(InputError, match="does not fit under this floor"):
        CylinderPit(diameter=30.0, depth=0.3).body(4.0, 3.0, FLOOR)


def test_one_pit_said_in_three_ways():
    """18 in across and 12 in deep: pi/4 18^2 12 = 3053.63 cubic inches, 13.2192 gal of 231."""
    gallons = math.pi / 4.0 * 18.0**2 * 12.0 / 231.0
    plain = first_pit('{shape = "cylinder", diameter = "18 in", depth = "12 in"}')
    assert_allclose(plain.volume, gallons * 231.0 * 0.0254**3, rtol=1e-12)
    for other in ('diameter = "18 in"', 'depth = "12 in"'):
        made = first_pit(f'{{shape = "cylinder", volume = "{gallons!r} gal", {other}}}')
        assert_allclose([made.diameter, made.depth], [plain.diameter, plain.depth], rtol=1e-9)


def test_a_pan_is_a_flat_cylinder():
    pan = first_pit('{shape = "pan", volume = "2 buckets", depth = "4 in"}')
    assert isinstance(pan, CylinderPit)
    assert_allclose(pan.volume, HemisphericalPit(volume=0.0378541).volume, rtol=1e-5)
    assert_allclose(pan.depth, 4 * 0.0254, rtol=1e-12)
    assert_allclose(0.25 * math.pi * pan.diameter**2 * pan.depth, pan.volume, rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('{shape = "cylinder", volume = "2 buckets"}', "one of the two"),
        (
            '{shape = "pan", volume = "1 gal", depth = "4 in", diameter = "9 in"}',
            "one of the two",
        ),
        ('{shape = "cylinder", depth = "12 in"}', "diameter: missing"),
        ('{shape = "cylinder", volume = "4 in", depth = "12 in"}', "volume: "),
        ('{shape = "ball", radius = "9 in"}', '"pan"'),
        ('{shape = "cylinder", volum = "1 gal", depth = "12 in"}', 'did you mean "volume"'),
        (
            '{shape = "box", length = "1 ft", width = "1 ft", depth = "1 ft", '
            'water_level = "14 in"}',
            "leave it out",
        ),
    ],
)
def test_pits_that_cannot_be(text, message):
    with pytest.raises(CaseError, match=message) as caught:
        first_pit(text)
    assert len(caught.value.mistakes) == 1


@pytest.mark.parametrize(("depth", "diameter"), [(None, None), (0.3, 0.3)])
def test_a_volume_wants_one_size(depth, diameter):
    with pytest.raises(InputError, match="one of depth and diameter"):
        cylinder_of_volume(0.04, depth=depth, diameter=diameter)


@pytest.mark.parametrize(
    "text",
    [
        '{shape = "cylinder", diameter = "18 in", depth = "12 in", smear = "1 in"}',
        '{shape = "cylinder", diameter = "18 in", depth = "24 in", water_level = "11 in"}',
        '{shape = "box", length = "1 ft", width = "2 ft", depth = "2 ft", water_level = "8 in"}',
    ],
)
def test_what_is_written_is_read_again(text):
    case = parse_case(with_pit(text))
    assert parse_case(write_case(case)) == case


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (PIT, HemisphericalPit(volume=0.0327)),
        (PIT, BoxPit(length=0.5, width=0.5, depth=0.3)),
        (PIT, PIT),
    ],
)
def test_round_pits_keep_apart_from_others(a, b):
    """Half a metre across each: 0.52 m apart is clear by 2 cm, 0.505 m is not by 1 cm."""
    for apart, fits in ((0.52, True), (0.505, False)):
        points = (
            SuctionPoint(name="A", x=3.0, y=3.0, pit=a, vacuum=1.0),
            SuctionPoint(name="B", x=3.0 + apart, y=3.0, pit=b, vacuum=1.0),
        )
        layout = Layout(name="pair", points=points)
        if fits:
            assert len(layout.held_bodies(FLOOR)) == 2
        else:
            with pytest.raises(InputError, match="run into each other"):
                layout.held_bodies(FLOOR)


def pit_flow(pit, text=TEXT):
    """Flow of one pit in the small house, pit at -1 and all else at zero. [m3/s]"""
    case = parse_case(text)
    layout = Layout(name="x", points=(SuctionPoint(name="A", x=1.8, y=1.5, pit=pit, vacuum=1.0),))
    soil = map_of(case, layout)
    effects = (*case.site.effects(), *layout.effects(case.site.slab.polygon))
    answer = solve_soil(soil.grid, effects, soil.held)
    return answer, answer.flow("A", {**dict.fromkeys(soil.ports, 0.0), "A": -1.0})


SUMPS = [
    CylinderPit(diameter=0.46, depth=0.6),
    BoxPit(length=0.4, width=0.5, depth=0.6),
]


@pytest.mark.parametrize("dry", SUMPS, ids=["round", "square"])
def test_only_what_lies_above_the_water_draws(dry):
    """Less than the dry sump; less than a pit dug only so far, whose bottom draws too."""
    wet = replace(dry, water_level=0.3)
    soaked, flow = pit_flow(wet)
    assert flow < 0.9 * pit_flow(replace(dry, depth=0.3))[1] < 0.9 * pit_flow(dry)[1]
    higher = pit_flow(replace(dry, water_level=0.2))[1]
    assert higher < 0.95 * flow
    grid = soaked.soil.grid
    x, y, z = np.meshgrid(*(grid.centres(a) for a in range(3)), indexing="ij")
    if isinstance(dry, BoxPit):
        inside = (abs(x - 1.8) < 0.2) & (abs(y - 1.5) < 0.25)
    else:
        inside = np.hypot(x - 1.8, y - 1.5) < 0.23
    for top, bottom, is_cavity in ((0.0, 0.3, True), (0.3, 0.6, False)):
        cells = inside & (z > top) & (z < bottom)
        assert cells.sum() > 8
        assert not soaked.soil.air[cells].any()
        assert ((soaked.soil.cavity[cells] >= 0) == is_cavity).all()
    below = inside & (z > 0.6)
    assert soaked.soil.air[below].all()


def test_water_far_below_the_air_changes_nothing_but_the_bottom():
    """A sump to the tight bottom with water from the middle: the wall above it alone draws.

    So it draws as much as a pit of that depth on a plate as wide, which the water is.
    """
    answer, flow = pit_flow(CylinderPit(diameter=0.46, depth=0.9, water_level=0.4))
    deeper, same = pit_flow(CylinderPit(diameter=0.46, depth=1.5, water_level=0.4))
    assert_allclose(same, flow, rtol=0.05)
    assert answer.soil.ports == deeper.soil.ports


TILE = """
[[drain_tiles]]
name = "tile"
points = [["1 ft", "1 ft"], ["11 ft", "1 ft"], ["11 ft", "8 ft"]]
depth = "8 in"
diameter = "4 in"
"""
ON_TILE = (
    with_pit('{shape = "drain", line = "tile"}')
    .replace("[[joints]]", TILE + "[[joints]]")
    .replace('y = "3 ft"', 'y = "1 ft"', 1)
)


def test_a_point_on_a_drain():
    case = parse_case(ON_TILE)
    [point] = case.layouts[0].points
    assert point.pit == OnConductor(line="tile")
    assert parse_case(write_case(case)) == case
    [held] = case.layouts[0].held_bodies(case.site.slab.polygon)
    assert held.body == OnLine(line="tile")
    result = run_layout(case, baseline=False)
    on = result.conditions["today"].operating_point
    with_pit_flow = run_layout(parse_case(TEXT), baseline=False).conditions["today"]
    here = on.port_names.index("A")
    assert on.states[here] == "fan on"
    assert on.flows[here] > 1.5 * with_pit_flow.operating_point.flows[here]
    assert 'A draws on the drain "tile"' in print_result(result, case)


def refusal(text):
    with pytest.raises(CaseError) as caught:
        parse_case(text)
    [mistake] = caught.value.mistakes
    return mistake


def test_drains_that_cannot_be_drawn_on():
    missing = refusal(ON_TILE.replace('line = "tile"', 'line = "tiles"'))
    assert 'no drain "tiles" on this site; it has "tile"' in missing.message
    assert missing.field == "layouts[0].points[0].pit"
    beside = refusal(ON_TILE.replace('x = "3 ft"\ny = "1 ft"', 'x = "3 ft"\ny = "3 ft"', 1))
    assert 'stands 1 ft 10 in (0.56 m) beside the drain "tile"' in beside.message
    assert "put it at x = 3 ft (0.91 m), y = 1 ft (0.30 m)" in beside.message
    opened = refusal(ON_TILE.replace('diameter = "4 in"', 'diameter = "4 in"\nopen_to = "house"'))
    assert 'is open to "house"' in opened.message


def second_point(pit, x, y):
    """The house on its tile, with another point on the fan."""
    more = f'[[layouts.points]]\nname = "C"\nx = "{x}"\ny = "{y}"\npit = {pit}\n'
    return ON_TILE.replace('[[layouts]]\nname = "held', more + '\n[[layouts]]\nname = "held')


def test_one_riser_holds_all_of_a_drain():
    both = refusal(second_point('{shape = "drain", line = "tile"}', "9 ft", "1 ft"))
    assert 'both on the drain "tile"' in both.message
    assert both.field == "layouts[0].points[1].pit.line"


def test_a_pit_dug_into_anothers_drain_is_refused():
    into = refusal(second_point('"2 buckets"', "8 ft", "1 ft 8 in"))
    assert 'the pit "C" runs into the drain "tile", which has the pressure of "A"' in into.message
    assert into.field == "layouts[0].points[1].pit"
    parse_case(second_point('"2 buckets"', "6 ft", "6 ft"))


def test_a_grid_has_no_lines_for_a_drain_point():
    case = parse_case(ON_TILE)
    without = grid_of(case, ())
    assert grid_of(case, case.layouts[:1]).shape == without.shape
