"""The digging rule: no pit below a line falling outward at 45 degrees from a footing's edge."""

import dataclasses
import math
import re

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose
from shapely.geometry import LineString, Point, box
from tiny_house import TEXT

from soilflow.case import Case
from soilflow.errors import CaseError, InputError
from soilflow.files.case_toml import parse_case
from soilflow.files.write_toml import write_case
from soilflow.layout.bodies import Ball
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit
from soilflow.layout.undermining import Footing, lowest_margin
from soilflow.output.check_printout import print_check
from soilflow.run import run_layout
from soilflow.site import FoundationWalls, InteriorFooting, NoDig
from soilflow.site.plan import footprint_polygon
from soilflow.units import parse_quantity

FLOOR = footprint_polygon(((0.0, 0.0), (8.0, 0.0), (8.0, 3.0), (5.0, 3.0), (5.0, 7.0), (0.0, 7.0)))
TWO_BUCKETS = HemisphericalPit(volume=0.0378541)
PITS = {
    "bowl": TWO_BUCKETS,
    "box": BoxPit(length=0.5, width=0.4, depth=0.45),
    "round": CylinderPit(diameter=0.5, depth=0.35),
    "pan": CylinderPit(diameter=0.8, depth=0.1),
}
PADS = {
    "walls": FLOOR.exterior,
    "pad": box(2.0, 2.0, 2.6, 2.7),
    "bearing line": LineString([(0.5, 4.0), (3.0, 4.0)]),
}


def dug(pit, body, n=161):
    """Points of the soil a pit takes away: its deepest in each column of a fine raster."""
    reach = body.radius if not isinstance(pit, BoxPit) else 0.5 * max(pit.length, pit.width)
    if isinstance(pit, BoxPit):
        cx, cy = (0.5 * (a + b) for a, b in zip(body.low[:2], body.high[:2], strict=True))
    else:
        cx, cy = body.centre[:2]
    s = np.linspace(-1.0, 1.0, n) * (1.0 - 1e-9) * reach
    x, y = (c + grid for c, grid in zip((cx, cy), np.meshgrid(s, s), strict=True))
    if isinstance(body, Ball):
        z = np.sqrt(np.maximum(body.radius**2 - (x - cx) ** 2 - (y - cy) ** 2, 0.0))
    else:
        z = np.full(x.shape, pit.depth)
    inside = body.contains(x, y, 0.999 * np.minimum(z, pit.depth_below_slab) + 1e-12)
    inside &= shapely.contains_xy(FLOOR, x, y)
    return x[inside], y[inside], z[inside]


@pytest.mark.parametrize("depth", [0.0, 0.2, 0.45])
@pytest.mark.parametrize("where", PADS)
@pytest.mark.parametrize("name", PITS)
def test_the_margin_is_that_of_the_worst_point_dug(name, where, depth):
    """Depth allowed is d + s: looked up for every point of a raster over the pit."""
    pit, footing = PITS[name], Footing(name="f", plan=PADS[where], depth=depth)
    for at in ((0.3, 1.1), (0.9, 4.6), (4.8, 2.8), (3.1, 2.4), (1.5, 3.7), (0.2, 0.25)):
        body = pit.body(*at, FLOOR)
        x, y, z = dug(pit, body)
        space = shapely.distance(shapely.points(x, y), footing.plan)
        worst = float(np.min(depth + space - z))
        margin, found = lowest_margin(pit, body, [footing])
        assert found is footing
        # a raster misses the worst point by less than its step, on a slope of two at the most
        assert -1e-6 < worst - margin < 0.03, (at, worst, margin)


def test_a_bowl_beside_a_wall_by_hand():
    """Where it falls at 45 degrees a bowl is at r / sqrt 2 in and down: s + d - sqrt 2 r.

    Nearer to the wall than that only the wall's face counts: d - sqrt(r^2 - s^2).
    """
    r = TWO_BUCKETS.free_radius
    wall = Footing(name="wall", plan=FLOOR.exterior, depth=0.1)
    body = TWO_BUCKETS.body(0.3048, 5.0, FLOOR)
    margin, _ = lowest_margin(TWO_BUCKETS, body, [wall])
    assert_allclose(margin, 0.3048 + 0.1 - math.sqrt(2.0) * r, rtol=1e-9)
    near = TWO_BUCKETS.body(0.1, 5.0, FLOOR)
    margin, _ = lowest_margin(TWO_BUCKETS, near, [wall])
    assert_allclose(margin, 0.1 - math.sqrt(near.radius**2 - 0.1**2), rtol=1e-9)


def point(name, x, y, pit=TWO_BUCKETS):
    return SuctionPoint(name=name, x=x, y=y, pit=pit, vacuum=100.0)


def dig(footing_depth, *points, **site):
    """The small house with these points on walls that stand so deep."""
    case = parse_case(TEXT)
    walls = FoundationWalls(thickness=0.0, footing_depth=footing_depth)
    return dataclasses.replace(
        case,
        site=dataclasses.replace(case.site, walls=walls, **site),
        layouts=(Layout(name="x", points=points),),
        variants={},
    )


@pytest.mark.parametrize("name", PITS)
def test_the_last_depth_that_is_allowed(name):
    """Just deep enough a footing passes; a millimetre less is refused."""
    pit, (x, y) = PITS[name], (0.45, 1.5)
    if name == "bowl":
        needed = math.sqrt(2.0) * pit.free_radius - x
    else:
        half = 0.5 * (pit.length if name == "box" else pit.diameter)
        needed = pit.depth - max(x - half, 0.0)
    if needed <= 0.0:  # such a pit may be dug there whatever the footing
        assert isinstance(dig(0.0, point("A", x, y, pit)), Case)
        return
    assert isinstance(dig(needed + 1e-6, point("A", x, y, pit)), Case)
    with pytest.raises(InputError, match="45 degrees") as caught:
        dig(max(needed - 1e-3, 0.0), point("A", x, y, pit))
    assert caught.value.field == "layouts[0].points[0].pit"


def test_an_unknown_depth_is_level_with_the_slab():
    with pytest.raises(InputError, match="footing along the walls, level with the slab") as caught:
        dig(0.0, point("A", 0.3, 1.5))
    assert 'the pit "A" digs up to' in str(caught.value)


def test_every_wrong_point_is_named_at_once():
    with pytest.raises(InputError, match='The same is wrong with "C"') as caught:
        dig(0.0, point("A", 0.3, 1.5), point("B", 1.8, 1.5), point("C", 3.3, 2.5))
    assert caught.value.field == "layouts[0].points[0].pit"


LENGTH = r"\d[\w/ -]*(?:in|ft)"


def said(pattern, text):
    """Lengths a message offers, as a user would write them. [m]"""
    match = re.search(pattern, text)
    assert match, text
    return [parse_quantity(words, "length") for words in match.groups()]


@pytest.mark.parametrize("depth", [0.0, 0.1])
@pytest.mark.parametrize("name", ["bowl", "box", "round"])
def test_what_a_refusal_offers_can_be_dug(name, depth):
    """Each of its offers, typed in as it is printed, is a case that stands."""
    pit, x, y = PITS[name], 0.2, 1.5
    with pytest.raises(InputError) as caught:
        dig(depth, point("A", x, y, pit))
    text = caught.value.message
    away, east, north = said(
        rf"this pit ({LENGTH}) \(.*?\) away, at x = ({LENGTH}), y = ({LENGTH})", text
    )
    assert isinstance(dig(depth, point("A", east, north, pit)), Case)
    assert_allclose(math.hypot(east - x, north - y), away, atol=0.007)
    if name == "bowl":
        (down,) = said(rf"here a bowl of .*?, ({LENGTH}) \(.*?\) deep", text)
        smaller = HemisphericalPit(volume=2.0 / 3.0 * math.pi * down**3)
        assert isinstance(dig(depth, point("A", x, y, smaller)), Case)
    if depth > 0.0:
        down, across = said(
            rf"flat pan of the same volume, ({LENGTH}) \(.*?\) deep, ({LENGTH}) \(", text
        )
        floor = parse_case(TEXT).site.slab.polygon
        area = Point(x, y).buffer(0.5 * across, quad_segs=100).intersection(floor).area
        assert_allclose(area * down, pit.volume, rtol=0.06)  # half-inch steps
        assert "cut by the wall" in text
        flat = f'{{shape = "pan", volume = "{pit.volume!r} m3", depth = "{down!r} m"}}'
        text = TEXT.replace('footing_depth = "0 in"', f'footing_depth = "{depth} m"')
        old = 'pit = {shape = "box", length = "20 in", width = "20 in", depth = "12 in"}'
        text = text.replace('x = "3 ft"\ny = "3 ft"', f'x = "{x} m"\ny = "{y} m"')
        assert isinstance(parse_case(text.replace(old, f"pit = {flat}")), Case)


def test_the_nearest_place_is_the_nearest():
    """From 0.32 m a bowl beside a wall of no depth has to go to sqrt 2 r, on a 2-inch raster."""
    with pytest.raises(InputError) as caught:
        dig(0.0, point("A", 0.32, 1.5))
    away, *_ = said(rf"this pit ({LENGTH}) \(", caught.value.message)
    needed = math.sqrt(2.0) * TWO_BUCKETS.free_radius - 0.32
    assert needed - 0.01 < away < needed + 0.0508 * math.sqrt(2.0) + 0.01


def test_a_pit_too_large_for_any_place():
    with pytest.raises(InputError, match="No place under this floor"):
        dig(0.0, point("A", 1.8, 1.5, BoxPit(length=3.6, width=3.0, depth=1.0)))


def test_footings_inside_count_too():
    line = InteriorFooting(
        name="spine", points=((0.6, 2.4), (3.0, 2.4)), depth=0.0508, thickness=0.3
    )
    near = point("A", 1.8, 1.95)
    with pytest.raises(InputError, match='bottom edge of the footing "spine", 2 in'):
        dig(0.45, near, footings=(line,))
    deep = dataclasses.replace(line, depth=0.5)
    assert isinstance(dig(0.45, point("A", 1.8, 1.95), footings=(deep,)), Case)
    with pytest.raises(InputError, match='the pit "A" runs into the footing "spine"') as caught:
        dig(0.45, point("A", 1.8, 2.3), footings=(deep,))
    assert "What fits: this pit" in caught.value.message


AREA = NoDig(name="gas line", corners=((1.2, 1.2), (2.4, 1.2), (2.4, 1.8), (1.2, 1.8)))


def test_no_pit_in_a_no_dig_area():
    with pytest.raises(InputError, match='reaches into "gas line", where nothing may be dug') as e:
        dig(0.45, point("A", 1.8, 2.0), no_dig=(AREA,))
    x, y = said(rf"at x = ({LENGTH}), y = ({LENGTH})", e.value.message)
    assert isinstance(dig(0.45, point("A", x, y), no_dig=(AREA,)), Case)
    assert isinstance(dig(0.45, point("A", 1.8, 2.1), no_dig=(AREA,)), Case)


SITE_LINES = """
[[no_dig]]
name = "oil tank"
size = "2 ft x 2 ft"
at = ["{x}", "5 ft"]
source = "seen from the fill pipe"
"""


def test_no_dig_areas_and_the_water_table_in_a_file():
    text = TEXT.replace("[[joints]]", SITE_LINES.format(x="9 ft") + "[[joints]]")
    text = text.replace(
        'bottom = "6 ft"\n[[ground', 'bottom = "6 ft"\nwater_table = "10 in"\n[[ground'
    )
    case = parse_case(text)
    assert_allclose(case.site.no_dig[0].polygon.bounds, [v * 0.3048 for v in (9, 5, 11, 7)])
    assert parse_case(write_case(case)) == case
    [wrong] = _mistakes(text.replace('"9 ft", "5 ft"', '"2 ft", "3 ft"'))
    assert 'the pit "A" reaches into "oil tank"' in wrong.message
    flat = " ".join(print_check(case, {}).split())
    assert 'the pit "A" reaches 1 ft (0.30 m) down and the water table lies at 10 in' in flat
    result = run_layout(case, baseline=False)
    assert any("stand in water" in note and '"A"' in note for note in result.notes)
    dry = run_layout(parse_case(TEXT), baseline=False)
    assert not any("stand in water" in note for note in dry.notes)
    # it changes words, not the air
    [one, other] = (r.conditions["today"].operating_point.fan_flow for r in (result, dry))
    assert one == other


def _mistakes(text):
    with pytest.raises(CaseError) as caught:
        parse_case(text)
    return caught.value.mistakes


def test_a_file_says_the_line_of_the_pit():
    text = TEXT.replace('x = "3 ft"\ny = "3 ft"', 'x = "11 in"\ny = "3 ft"')
    [mistake] = _mistakes(text)
    pit = 'pit = {shape = "box", length = "20 in"'
    assert mistake.line == 1 + text[: text.index(pit)].count("\n")
    assert mistake.field == "layouts[0].points[0].pit"


def test_a_variant_that_lifts_the_footings_is_refused_too():
    deep = TEXT.replace('footing_depth = "0 in"', 'footing_depth = "18 in"')
    deep = deep.replace('x = "3 ft"\ny = "3 ft"', 'x = "11 in"\ny = "3 ft"')
    assert isinstance(parse_case(deep), Case)
    lifted = deep + '[variant.shallow]\nwalls = {thickness = "0 in", footing_depth = "0 in"}\n'
    [mistake] = _mistakes(lifted)
    assert mistake.field == "variant.shallow.walls"
    assert "layouts[0].points[0].pit: the pit" in mistake.message


def test_other_mistakes_of_a_site_make_no_digging_mistakes():
    """Without walls nothing says how deep they stand, and only the walls are missing."""
    text = TEXT.replace('thickness = "0 in"\nfooting_depth', 'thickness = "0 kg"\nfooting_depth')
    text = text.replace('x = "3 ft"\ny = "3 ft"', 'x = "11 in"\ny = "3 ft"')
    [mistake] = _mistakes(text)
    assert mistake.field == "walls.thickness"


def test_a_layout_handed_to_a_run_is_checked_as_well():
    case = parse_case(TEXT)
    near = Layout(name="mine", points=(point("A", 0.3, 1.5),))
    with pytest.raises(InputError, match="45 degrees"):
        run_layout(case, near)
