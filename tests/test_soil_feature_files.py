"""Soil features in case files: read, written, in the schema, on the plan, listed by check."""

from __future__ import annotations

import tomllib

import jsonschema
import numpy as np
import pytest
from matplotlib.figure import Figure
from tiny_house import TEXT

from soilflow.errors import CaseError
from soilflow.files import parse_case, write_case
from soilflow.files.schema import case_schema
from soilflow.output.check_printout import print_check
from soilflow.output.plan import FEET, draw_house
from soilflow.site import Fill, FootingOpening, Pores, RandomSoil
from soilflow.soil import (
    gas_relative_permeability_brooks_corey,
    gas_relative_permeability_parker,
)

FOOT = 0.3048
CHECK = jsonschema.Draft202012Validator(case_schema())
FEATURES = """
[fill]
soil = "clean gravel"
thickness = "4 in"
vertical = "1e-9 m2"

[[patches]]
name = "drain gravel"
soil = "clean gravel"
size = "2 ft x 3 ft"
at = ["8 ft", "1 ft"]
bottom = "18 in"
[[patches]]
name = "sand seam"
permeability = "5e-11 m2"
corners = [["1 ft", "1 ft"], ["5 ft", "2 ft"], ["2 ft", "6 ft"]]
top = "6 in"
bottom = "12 in"
source = "seen in a pit"

[[moist_zones]]
name = "by the downspout"
size = "3 ft x 3 ft"
at = ["9 ft", "7 ft"]
bottom = "2 ft"
saturation = "80 %"
texture = "Sandy Loam"
[[moist_zones]]
name = "sump corner"
size = "2 ft x 2 ft"
at = ["0 ft", "8 ft"]
bottom = "2 ft"
suction_head = "40 in"
curve = "brooks corey"
pores = {pore_index = 0.6, entry_head = "8 in", residual_saturation = 0.1}

[[soil_fields]]
name = "probe raster"
x = ["0 ft", "6 ft", "12 ft"]
y = ["0 ft", "10 ft"]
multipliers = [[1.0, 0.5], [2.0, 1.0], [1.0, "25 %"]]
[[soil_fields]]
name = "by depth"
x = ["0 ft"]
y = ["0 ft"]
z = ["0 ft", "6 ft"]
multipliers = [[[1.0, 0.2]]]

[random_soil]
sigma = "0.5 to 1.5"
lengths = ["6 ft", "6 ft", "1 ft"]
seed = 3

[[footings]]
name = "bearing line"
points = [["10 ft", "0 ft"], ["10 ft", "10 ft"]]
depth = "12 in"
thickness = "16 in"
openings = [{start = "1 ft", length = "30 in"}]
"""
PLACE = "[[joints]]"


def text(features=FEATURES):
    assert TEXT.count(PLACE) == 1
    return TEXT.replace(PLACE, f"{features}\n{PLACE}")


@pytest.fixture(scope="module")
def case():
    return parse_case(text(), file="case.toml")


def test_features_are_read_as_written(case):
    site = case.site
    assert site.fill == Fill(
        thickness=site.fill.thickness,
        permeability=site.fill.permeability,
        vertical=1e-9,
        source="word 'clean gravel' (from memory)",
    )
    assert site.fill.thickness == pytest.approx(FOOT / 3)
    assert site.fill.permeability == pytest.approx(1e-8, rel=1e-9, abs=0)
    drain, seam = site.patches
    assert drain.polygon.bounds == pytest.approx([v * FOOT for v in (8, 1, 10, 4)])
    assert (seam.permeability, seam.source) == (5e-11, "seen in a pit")
    assert seam.top == pytest.approx(0.5 * FOOT)
    assert len(seam.corners) == 3
    downspout, sump = site.moist_zones
    assert downspout.saturation == 0.8
    assert downspout.pores == Pores.of_texture("sandy loam")
    assert downspout.curve is gas_relative_permeability_parker
    assert sump.curve is gas_relative_permeability_brooks_corey
    # S_e = (h / h_b)^-lambda = 5^-0.6, and Burdine's curve of it
    free = 5.0**-0.6
    expected = (1 - free) ** 2 * (1 - free ** (2.6 / 0.6))
    assert sump.factor == pytest.approx(expected, rel=1e-12)
    raster, by_depth = site.soil_fields
    assert raster.multipliers == (((1.0,), (0.5,)), ((2.0,), (1.0,)), ((1.0,), (0.25,)))
    assert by_depth.multipliers == (((1.0, 0.2),),)
    assert site.random_soil.lengths == pytest.approx([6 * FOOT, 6 * FOOT, FOOT])
    assert site.random_soil.seed == 3
    [footing] = site.footings
    assert footing.openings == (FootingOpening(start=FOOT, length=2.5 * FOOT),)
    assert [len(part) for part in footing.stretches()] == [2, 2]


def test_ranges_of_features_are_kept(case):
    ranges = {u.path: (u.low, u.high) for u in case.uncertain}
    assert ranges["site.fill.permeability"] == pytest.approx((1e-9, 1e-7), rel=1e-9, abs=0)
    assert ranges["site.patches[0].permeability"] == pytest.approx((1e-9, 1e-7), rel=1e-9, abs=0)
    assert ranges["site.random_soil.sigma"] == (0.5, 1.5)
    assert case.site.random_soil.sigma == pytest.approx(np.sqrt(0.75))


def test_features_come_back_from_what_is_written(case):
    again = parse_case(write_case(case), file="written.toml")
    assert again == case
    assert again.site.moist_zones[1].curve is gas_relative_permeability_brooks_corey


def test_features_are_in_the_schema(case):
    for written in (text(), write_case(case)):
        assert [e.message for e in CHECK.iter_errors(tomllib.loads(written))] == []


def test_a_variant_can_leave_features_out():
    wide = text() + '[variant.bare]\nnone = ["fill", "random_soil", "patches", "footings"]\n'
    bare = parse_case(wide, file="case.toml").with_variant("bare").site
    assert bare.fill is None
    assert bare.random_soil is None
    assert bare.patches == bare.footings == ()
    assert len(bare.moist_zones) == 2


# what is changed, where the mistake is said to be, a word of it, whether the schema sees it too
BAD = {
    "fill without soil": ('soil = "clean gravel"\nthick', "thick", "fill.permeability",
                          "missing", 1),
    "soil twice": ('permeability = "5e-11 m2"', 'permeability = "5e-11 m2"\nsoil = "packed silt"',
                   "patches[1].permeability", "already", 1),
    "no outline": ('size = "2 ft x 3 ft"\n', "", "patches[0].corners", "missing", 1),
    "two ways to be wet": ('saturation = "80 %"', 'saturation = "80 %"\nmultiplier = 0.5',
                           "moist_zones[0].saturation", "already", 1),
    "no way to be wet": ('saturation = "80 %"\n', "", "moist_zones[0].multiplier", "missing", 1),
    "no pores": ('texture = "Sandy Loam"\n', "", "moist_zones[0].pores", "pores", 0),
    "no such texture": ('"Sandy Loam"', '"sandy lome"', "moist_zones[0].texture", "sandy loam", 1),
    "no such curve": ('"brooks corey"', '"brook"', "moist_zones[1].curve", "Brooks-Corey", 1),
    "texture and pores": ('texture = "Sandy Loam"', 'texture = "loam"\npores = {n = 2.0}',
                          "moist_zones[0].pores", "already", 1),
    "unknown pore key": ("pore_index = 0.6", "pore_indx = 0.6", "moist_zones[1].pores.pore_indx",
                         "pore_index", 1),
    "no entry height": ('entry_head = "8 in", ', "", "moist_zones[1].pores.entry_head",
                        "air enters", 0),
    "ragged raster": ("[2.0, 1.0]", "[2.0]", "soil_fields[0].multipliers", "3 lists of 2", 0),
    "negative multiplier": ("[2.0, 1.0]", "[-2.0, 1.0]", "soil_fields[0].multipliers[1][0][0]",
                            "at least", 0),
    "slanted footing": ('["10 ft", "10 ft"]', '["9 ft", "10 ft"]', "footings[0].points",
                        "must run", 0),
    "opening past the end": ('length = "30 in"', 'length = "30 ft"', "footings[0].openings[0]",
                             "along a line", 0),
    "seed": ("seed = 3", "seed = -3", "random_soil.seed", "whole number", 0),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_one_mistake_gives_one_message(name):
    was, becomes, field, word, seen = BAD[name]
    assert FEATURES.count(was) == 1
    wrong = text(FEATURES.replace(was, becomes))
    with pytest.raises(CaseError) as caught:
        parse_case(wrong, file="case.toml")
    [mistake] = caught.value.mistakes
    assert mistake.field == field
    assert word in mistake.message
    if seen:
        assert list(CHECK.iter_errors(tomllib.loads(wrong)))


def test_features_are_drawn_on_the_plan_by_name(case):
    ax = Figure().add_subplot()
    draw_house(ax, case.site, FEET)
    written = {label.get_text() for label in ax.texts}
    named = ("drain gravel", "sand seam", "by the downspout", "sump corner", "probe raster")
    assert {*named, "bearing line", "soil varies at random, draw 3"} <= written
    bare = Figure().add_subplot()
    draw_house(bare, parse_case(TEXT, file="case.toml").site, FEET)
    assert len(ax.patches) > len(bare.patches) + 8


def test_check_lists_where_the_features_come_from(case):
    printed = " ".join(print_check(case, {}, verbose=True, width=200).split())
    for words in (
        "fill: word 'clean gravel' (from memory)",
        'patch "sand seam": seen in a pit',
        "pores of \"by the downspout\": texture class 'sandy loam'",
        'soil field "probe raster": not stated',
        "random soil: not stated",
        'footing "bearing line": not stated',
    ):
        assert words in printed


def test_random_soil_of_a_file_is_that_of_python(case):
    soil = RandomSoil(sigma=case.site.random_soil.sigma, lengths=(6 * FOOT, 6 * FOOT, FOOT), seed=3)
    at = np.linspace(0.0, 3.0, 7)
    assert np.array_equal(soil.at(at, at, at), case.site.random_soil.at(at, at, at))
