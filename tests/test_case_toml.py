"""Case files: lines of keys, words, ranges, pits, pipes, variants, and the way back to TOML."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from types import MappingProxyType

import pytest
from shapely.geometry import Polygon

from soilflow.air import Air
from soilflow.case import TestHole, Uncertain
from soilflow.data import fan_classes, pipes, word_ranges
from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, read_case, write_case
from soilflow.files.field_paths import field_dimension
from soilflow.files.written_form import read_spread, rectangle_corners, turn_corners
from soilflow.flow.grid import FINE
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FoundationWalls,
)
from soilflow.units import Dimension

CASES = Path(__file__).parent.parent / "cases"
INCH, FOOT = 0.0254, 0.3048  # exact by definition
GALLON = 231 * INCH**3  # US gallon, exact by definition

TOP = """\
title = "small house"
fan = "high-suction"
"""
SITE = """\
[slab]
size = "20 ft x 15 ft"
thickness = "4 in"
permeability = "1e-16 m2"
[walls]
thickness = "8 in"
footing_depth = "18 in"
[[ground.layers]]
permeability = "1e-12 m2"
"""
LAYOUT = """\
[[layouts]]
name = "one"
[[layouts.points]]
name = "A"
x = "10 ft"
y = "7 ft"
pit = "2 buckets"
"""
CONDITION = """\
[conditions.today]
outdoor_pressure = "1 Pa"
"""


def case_of(*, top="", site=SITE, layout=LAYOUT, more=""):
    return parse_case(TOP + top + site + layout + CONDITION + more)


# --- sizes, turns, words, ranges -----------------------------------------------------------


def test_size_is_east_west_by_north_south():
    assert case_of().site.slab.corners == (
        (0.0, 0.0),
        (20 * FOOT, 0.0),
        (20 * FOOT, 15 * FOOT),
        (0.0, 15 * FOOT),
    )
    assert rectangle_corners("2 m by 1 m", ["-1 m", "3 m"]) == (
        (-1.0, 3.0),
        (1.0, 3.0),
        (1.0, 4.0),
        (-1.0, 4.0),
    )


def test_turns_close_and_start_anywhere():
    ell = ["28 ft east", "24 ft north", "14 ft W", "6 ft north", "14 ft west"]
    expected = Polygon([(0, 0), (28, 0), (28, 24), (14, 24), (14, 30), (0, 30)])
    for turns in (ell, [*ell, "30 ft south"], ["14 ft west", "30 ft south", *ell[:4]]):
        corners = turn_corners(turns)
        assert len(corners) == 6
        found = Polygon([(x / FOOT, y / FOOT) for x, y in corners])
        assert found.normalize().equals_exact(expected.normalize(), 1e-8)
    site = SITE.replace('size = "20 ft x 15 ft"', f"turns = {ell}")
    assert case_of(site=site).site.slab.area == pytest.approx((28 * 24 + 14 * 6) * FOOT**2)


@pytest.mark.parametrize("step", ["1/8 in", "0.1 ft", "7 mm"])
def test_turns_stay_square_whatever_the_steps_add_up_to(step):
    turns = [f"{step} east"] * 30 + [f"{step} north"] * 7 + [f"{step} west"] * 30
    xs, ys = zip(*turn_corners(turns), strict=True)
    assert max(xs) == xs[30] == xs[36]
    assert min(xs) == xs[0] == xs[-1] == 0.0
    assert max(ys) == ys[-1] == ys[37]


@pytest.mark.parametrize(
    ("old", "new", "table", "word", "path"),
    [
        ('"1e-16 m2"', '"Sound"', "slab_words", "sound", "site.slab.permeability"),
        (
            'permeability = "1e-12 m2"',
            'soil = "packed silty clay damp"',
            "soil_words",
            "packed silty clay, damp",
            "site.ground.layers[0].permeability",
        ),
    ],
)
def test_a_word_is_its_geometric_mean_and_a_range(old, new, table, word, path):
    case = case_of(site=SITE.replace(old, new))
    entry = word_ranges(table)[word]
    assert case.uncertain == (
        Uncertain(
            path=path,
            low=entry.low,
            high=entry.high,
            law="log-uniform",
            source=f"word '{word}' ({entry.mark})",
        ),
    )
    noun = case.site.slab if table == "slab_words" else case.site.ground.layers[0]
    assert noun.permeability == pytest.approx(math.sqrt(entry.low * entry.high), rel=1e-12, abs=0)
    assert entry.mark in noun.source


def test_words_of_gaps_joints_and_bands():
    case = case_of(
        more="""
[[bands]]
width = "18 in"
looser_by = "looser along the wall"
[[gaps]]
name = "g"
gap = "sounds solid"
source = "knocked with a hammer"
[[joints]]
joint = "card"
"""
    )
    ranges = {u.path: (u.low, u.high, u.law) for u in case.uncertain}
    assert ranges == {
        "site.bands[0].looser_by": (3.0, 30.0, "log-uniform"),
        "site.gaps[0].aperture": (0.0, 2e-4, "uniform"),
        "site.joints[0].aperture": (2e-4, 5e-4, "log-uniform"),
    }
    site = case.site
    assert site.gaps[0].aperture == pytest.approx(1e-4)  # an end is zero: the arithmetic mean
    assert site.gaps[0].source == "knocked with a hammer"
    assert site.joints[0].aperture == pytest.approx(math.sqrt(2e-4 * 5e-4))
    assert site.bands[0].looser_by == pytest.approx(math.sqrt(90.0))


@pytest.mark.parametrize(
    ("text", "dimension", "low", "high"),
    [
        ("1e-13 to 1e-12 m2", Dimension("permeability", "m2"), 1e-13, 1e-12),
        ("0.1 mm to 1/16 in", Dimension("length", "m"), 1e-4, INCH / 16),
        ("1/16 to 1/8 in", Dimension("length", "m"), INCH / 16, INCH / 8),
        ("2..8 mm", Dimension("length", "m"), 2e-3, 8e-3),
        ("3 to 30", Dimension("ratio", "-"), 3.0, 30.0),
        ("5 to 20 %", Dimension("ratio", "-"), 0.05, 0.2),
    ],
)
def test_ranges(text, dimension, low, high):
    spread = read_spread(text, dimension)
    assert (spread.low, spread.high) == pytest.approx((low, high), rel=1e-12, abs=0)
    assert spread.value == pytest.approx(math.sqrt(low * high), rel=1e-12, abs=0)
    assert spread.law == "log-uniform"


def test_a_range_of_one_value_is_no_range():
    site = SITE.replace('"1e-12 m2"', '"1e-12 to 1e-12 m2"')
    case = case_of(site=site)
    assert case.uncertain == ()
    assert case.site.ground.layers[0].permeability == 1e-12


# --- zones and gaps ------------------------------------------------------------------------


def test_gaps_by_their_distance_from_the_walls():
    case = case_of(
        more="""
[[gaps]]
name = "middle"
aperture = "1 mm"
from_walls = "30 in"
[[gaps]]
name = "ring"
aperture = "1 mm"
along_walls = "18 in"
[[gaps]]
name = "corner"
aperture = "1 mm"
size = "5 ft x 4 ft"
at = ["15 ft", "0 ft"]
"""
    )
    middle, ring, corner = case.site.gaps
    floor = case.site.slab.polygon
    assert middle.hole is None
    assert middle.plan(floor).area == pytest.approx(15 * 10 * FOOT**2)
    assert middle.plan(floor).bounds == pytest.approx(
        (2.5 * FOOT, 2.5 * FOOT, 17.5 * FOOT, 12.5 * FOOT)
    )
    assert ring.corners is None
    assert ring.plan(floor).area == pytest.approx((20 * 15 - 17 * 12) * FOOT**2)
    assert corner.plan(floor).area == pytest.approx(20 * FOOT**2)


def test_from_walls_on_an_ell():
    turns = ["28 ft east", "24 ft north", "14 ft west", "6 ft north", "14 ft west"]
    site = SITE.replace('size = "20 ft x 15 ft"', f"turns = {turns}")
    case = case_of(site=site, more='[[gaps]]\nname = "g"\naperture = "1 mm"\nfrom_walls = "2 ft"\n')
    # 24 x 20 ft, and on top of it 10 x 6 ft
    assert case.site.gaps[0].plan(case.site.slab.polygon).area == pytest.approx(540 * FOOT**2)


def test_moist_zone():
    case = case_of(
        more="""
[[moist_zones]]
name = "wet corner"
size = "10 ft x 9 ft"
at = ["10 ft", "0 ft"]
multiplier = 0.02
bottom = "4 ft"
"""
    )
    zone = case.site.moist_zones[0]
    assert zone.polygon.bounds == pytest.approx((10 * FOOT, 0.0, 20 * FOOT, 9 * FOOT))
    assert (zone.multiplier, zone.top, zone.bottom) == (0.02, 0.0, pytest.approx(4 * FOOT))


# --- what is added -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "pit"),
    [
        ('"2 buckets"', HemisphericalPit(volume=10 * GALLON)),
        ('{shape = "hemisphere", volume = "10 gal"}', HemisphericalPit(volume=10 * GALLON)),
        (
            '{shape = "hemisphere", radius = "0.25 m"}',
            HemisphericalPit(volume=2 / 3 * math.pi * 0.25**3),
        ),
        (
            '{shape = "box", length = "18 in", width = "16 in", depth = "12 in"}',
            BoxPit(length=18 * INCH, width=16 * INCH, depth=12 * INCH),
        ),
    ],
)
def test_pits(written, pit):
    found = case_of(layout=LAYOUT.replace('"2 buckets"', written)).layouts[0].points[0].pit
    assert type(found) is type(pit)
    assert found.volume == pytest.approx(pit.volume, rel=1e-12)
    assert found.depth_below_slab == pytest.approx(pit.depth_below_slab, rel=1e-12)


def test_fan_by_class_and_by_points():
    entry = fan_classes()["high-suction"]
    fan = case_of().layouts[0].fan
    assert (fan.shutoff_pressure, fan.free_air_flow) == pytest.approx(
        (entry.shutoff_pressure, entry.free_air_flow)
    )
    points = """\
[layouts.fan]
name = "attic"
flows = ["0 cfm", "30 cfm", "60 cfm"]
static_pressures = ["4 in. w.c.", "3 in. w.c.", "0 in. w.c."]
powers = ["60 W", "70 W", "80 W"]
"""
    own = case_of(layout=LAYOUT + points).layouts[0].fan
    assert own.name == "attic"  # the layout's own fan, not the one for all
    assert own.flows == pytest.approx((0.0, 30 * FOOT**3 / 60, FOOT**3))
    assert own.powers == (60.0, 70.0, 80.0)
    slow = case_of(layout=LAYOUT + '[layouts.fan]\nclass = "high suction"\nspeed = "80 %"\n')
    slow = slow.layouts[0]
    assert (slow.fan.speed, slow.fan.source) == (0.8, entry.source)
    # fan laws: pressure with the square of speed, flow in proportion (AMCA, from memory)
    assert slow.fan.shutoff_pressure == pytest.approx(0.64 * entry.shutoff_pressure)
    assert slow.fan.free_air_flow == pytest.approx(0.8 * entry.free_air_flow)


@pytest.mark.parametrize(
    ("fan", "field", "words"),
    [
        ('class = "hurricane"', "fan.class", "hurricane"),
        ("class = 3", "fan.class", "a class such as"),
        ('class = "general"\nspeed = "fast"', "fan.speed", "fast"),
        ('class = "general"\nsped = "80 %"', "fan.sped", "speed"),
    ],
)
def test_a_class_of_fan_written_wrong(fan, field, words):
    with pytest.raises(CaseError) as caught:
        case_of(layout=LAYOUT + f"[layouts.fan]\n{fan}\n")
    assert len(caught.value.mistakes) == 1
    assert field in str(caught.value)
    assert words in str(caught.value)


def test_shorthand_pipe_gives_each_point_a_branch():
    second = """\
[[layouts.points]]
name = "B"
x = "15 ft"
y = "7 ft"
pit = "1 bucket"
[[layouts.points]]
name = "held"
x = "4 ft"
y = "7 ft"
pit = "1 bucket"
vacuum = "1 in. w.c."
"""
    short = """\
[pipe]
size = "4 in"
branch = "10 ft"
branch_fittings = ["sharp 90 bend"]
run = "40 ft"
run_fittings = ["long-sweep elbow", "long-sweep elbow"]
discharge_height = "20 ft"
air_temperature = "68 F"
"""
    tree = case_of(layout=LAYOUT + second, more=short).layouts[0].pipes
    assert [pipe.name for pipe in tree.pipes] == ["A", "B"]
    for pipe in tree.pipes:
        assert pipe.into == "discharge"
        assert pipe.length == pytest.approx(10 * FOOT)
        assert pipe.fittings == ("sharp 90 bend",)
        assert pipe.source == pipes()["4 in"].source
    assert tree.discharge.length == pytest.approx(40 * FOOT)
    assert tree.discharge.fittings == ("long-sweep elbow",) * 2
    assert tree.discharge.bore == pytest.approx(4.026 * INCH)  # Schedule 40, as the table says
    assert tree.discharge_height == pytest.approx(20 * FOOT)
    assert tree.air_temperature == pytest.approx(293.15)


def test_pipe_tree_in_full():
    tree = """\
[layouts.pipes]
discharge_height = "3 m"
[[layouts.pipes.runs]]
name = "A"
length = "2 m"
size = '3"'
into = "manifold"
[[layouts.pipes.runs]]
name = "manifold"
length = "5 m"
bore = "0.1 m"
roughness = "0.01 mm"
[layouts.pipes.discharge]
length = "6 m"
size = "4 in"
source = "measured"
"""
    found = case_of(layout=LAYOUT + tree).layouts[0].pipes
    assert [(p.name, p.into) for p in found.pipes] == [("A", "manifold"), ("manifold", "discharge")]
    assert found.pipes[0].bore == pytest.approx(3.068 * INCH)
    assert found.pipes[1].roughness == pytest.approx(1e-5)
    assert (found.discharge.name, found.discharge.source) == ("discharge", "measured")


def test_a_layout_held_at_a_vacuum_takes_no_fan_and_no_pipe():
    layout = LAYOUT + 'vacuum = "2 in. w.c."\n'
    more = '[pipe]\nsize = "4 in"\nbranch = "1 m"\nrun = "2 m"\ndischarge_height = "3 m"\n'
    found = case_of(layout=layout, more=more).layouts[0]
    assert found.fan is None
    assert found.pipes is None
    assert found.points[0].vacuum == pytest.approx(2 * 249.08891)


def test_conditions_air_resolution_and_test_holes():
    case = case_of(
        top='soil_temperature = "12 C"\nresolution = "fine"\n',
        more="""
[conditions.design_winter]
below_neutral_level = "10 ft"
outdoor_temperature = "14 F"
added_pressure = "1 Pa"
[[test_holes]]
name = "T1"
x = "1 m"
y = "2 m"
""",
    )
    assert [c.name for c in case.conditions] == ["today", "design_winter"]
    winter = case.conditions[1]
    assert winter.outdoor_temperature == pytest.approx(263.15)
    assert winter.below_neutral_level == pytest.approx(10 * FOOT)
    assert case.air == Air(temperature=285.15)
    assert case.resolution is FINE
    assert case.test_holes == (TestHole(name="T1", x=1.0, y=2.0),)


# --- variants ------------------------------------------------------------------------------


def test_variants_replace_whole_tables():
    case = case_of(
        more="""
[[bands]]
width = "18 in"
looser_by = 10
[[joints]]
aperture = "0.3 mm"
walls = ["north"]
[variant.no_band]
none = ["bands"]
[variant.other]
walls = {thickness = "10 in", footing_depth = "2 ft"}
[[variant.other.joints]]
joint = "closed"
[[variant.other.ground.layers]]
permeability = "1e-13 to 1e-11 m2"
"""
    )
    assert list(case.variants) == ["no_band", "other"]
    assert case.variants["no_band"] == replace(case.site, bands=())
    other = case.variants["other"]
    assert other.walls == FoundationWalls(thickness=10 * INCH, footing_depth=2 * FOOT)
    assert other.joints[0].walls == ()
    assert other.ground.layers[0].permeability == pytest.approx(1e-12, rel=1e-9, abs=0)
    assert (other.slab, other.bands) == (case.site.slab, case.site.bands)
    assert [u.path for u in case.uncertain] == [
        "variants.other.ground.layers[0].permeability",
        "variants.other.joints[0].aperture",
    ]
    assert case.with_variant("other").site is other
    with pytest.raises(TypeError):
        case.variants["third"] = other


def test_a_range_that_a_variant_inherits_is_listed_once():
    site = SITE.replace('"1e-12 m2"', '"1e-13 to 1e-12 m2"')
    walls = 'walls = {thickness = "0 m", footing_depth = "0 m"}\n'
    case = case_of(site=site, more="[variant.v]\n" + walls)
    assert [u.path for u in case.uncertain] == ["site.ground.layers[0].permeability"]


def test_a_gap_from_the_walls_follows_the_floor_of_a_variant():
    case = case_of(
        more="""
[[gaps]]
name = "middle"
aperture = "1 mm"
from_walls = "2 ft"
[variant.wider]
slab = {size = "30 ft x 15 ft", thickness = "4 in", permeability = "1e-16 m2"}
"""
    )
    wider = case.variants["wider"]
    assert wider.gaps[0].plan(wider.slab.polygon).area == pytest.approx(26 * 11 * FOOT**2)


# --- ranges by path ------------------------------------------------------------------------


def test_ranges_by_the_path_of_a_field():
    case = case_of(
        more="""
[[uncertain]]
path = "site.walls.footing_depth"
low = "0 ft"
high = "2 ft"
law = "uniform"
source = "not dug"
"""
    )
    assert case.uncertain == (
        Uncertain(
            path="site.walls.footing_depth", low=0.0, high=2 * FOOT, law="uniform", source="not dug"
        ),
    )


@pytest.mark.parametrize("path", ["site.slab", "site.bands[0].width", "variants.x.slab", "", "[0]"])
def test_a_path_to_no_quantity_is_refused(path):
    with pytest.raises(InputError, match="no "):
        field_dimension(case_of(), path)


# --- shipped cases -------------------------------------------------------------------------

SHIPPED = sorted(CASES.glob("*.toml"))


def sources_in(noun, at="case"):
    if is_dataclass(noun):
        for f in fields(noun):
            value = getattr(noun, f.name)
            if f.name == "source":
                yield at, value
            yield from sources_in(value, f"{at}.{f.name}")
    elif isinstance(noun, tuple):
        for i, item in enumerate(noun):
            yield from sources_in(item, f"{at}[{i}]")
    elif isinstance(noun, MappingProxyType):
        for name, item in noun.items():
            yield from sources_in(item, f"{at}.{name}")


def test_there_are_shipped_cases():
    assert "perimeter_or_centre.toml" in {path.name for path in SHIPPED}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_cases_read_and_say_where_their_numbers_come_from(path):
    case = read_case(path)
    assert case.question
    assert case.answer
    assert parse_case(write_case(case)) == case
    found = list(sources_in(case))
    assert found
    assert [at for at, source in found if not source or source == "not stated"] == []


def test_perimeter_or_centre_is_the_house_it_says():
    case = read_case(CASES / "perimeter_or_centre.toml")
    assert [layout.name for layout in case.layouts] == [
        "four at the walls",
        "four in the middle",
        "two at the walls",
        "one in the middle",
    ]
    volumes = [point.pit.volume for layout in case.layouts for point in layout.points]
    assert volumes == pytest.approx([10 * GALLON] * (4 + 4 + 2 + 1))
    assert list(case.variants) == [
        "frozen",
        "dry",
        "uniform_soil",
        "loose_band",
        "gap_in_the_middle",
        "gap_along_walls",
    ]
    assert case.variants["uniform_soil"] == replace(case.site, bands=())
    assert case.variants["loose_band"].bands[0].looser_by >= case.site.bands[0].looser_by
    assert [c.outdoors for c in case.conditions] == [1.0, 4.0]
    assert [site.doubts() for site in case.variants.values()] == [()] * 6
