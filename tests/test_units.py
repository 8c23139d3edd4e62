"""Units: spellings, refusals, round trips, the markers under pydantic and in __post_init__."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import dataclass

import numpy as np
import pydantic
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soilflow import quantity_text, unit_tables, units
from soilflow.errors import InputError
from soilflow.units import (
    Coordinate,
    Depth,
    Dimension,
    Fraction,
    Length,
    Permeability,
    Ratio,
    Temperature,
    Vacuum,
    check_fields,
    feet_inches,
    format_si,
    format_trade,
    parse_quantity,
)

# NIST SP 811 (2008) Appendix B, from memory; the second source is a general units package.
IN_WC = 249.08891
CFM = 4.719474e-4
GAL = 3.785412e-3
SQ_FT = 0.09290304
DARCY = 9.869233e-13

PRINTED_VALUES = [
    *[
        (text, "pressure", 373.6334)
        for text in (
            "1.5 in. w.c.", "1.5 in. WC", "1.5 in wc", '1.5" wc', "1.5 in. w.g.", "1.5 in wg",
            "1.5 iwc", "1.5 in. H2O", "1.5 inH2O", "1.5 in H2O", "1.5 inches of water",
        )
    ],
    ("20 mm H2O", "pressure", 196.133),
    ("20 mmH2O", "pressure", 196.133),
    ("-5 Pa", "pressure", -5.0),
    ("0.004 in. w.c.", "pressure", 0.9963556),
    ("0.5 kPa", "pressure", 500.0),
    *[
        (text, "flow", 0.02831685)
        for text in (
            "60 cfm", "60 CFM", "60 ft3/min", "60 ft^3/min", "60 cu ft/min",
            "60 cu. ft. per min",
        )
    ],
    ("100 m3/h", "flow", 0.02777778),
    ("30 L/s", "flow", 0.03),
    ("30 l/s", "flow", 0.03),
    ("30 lps", "flow", 0.03),
    ("5 gal", "volume", 0.01892706),
    ("5 gallons", "volume", 0.01892706),
    ("5 gal.", "volume", 0.01892706),
    ("5-gallon", "volume", 0.01892706),
    ("20 L", "volume", 0.02),
    ("15 liters", "volume", 0.015),
    ("12 ft", "length", 3.6576),
    ("12'", "length", 3.6576),
    ("12 feet", "length", 3.6576),
    ("4 ft 6 in", "length", 1.3716),
    ("4'6\"", "length", 1.3716),
    ("4'-6\"", "length", 1.3716),
    ("4 in", "length", 0.1016),
    ("4 in.", "length", 0.1016),
    ('4"', "length", 0.1016),
    ("4 inches", "length", 0.1016),
    ("1/2 in", "length", 0.0127),
    ("3-1/2 in", "length", 0.0889),
    ("100 mm", "length", 0.1),
    ('1/16"', "length", 0.0015875),
    ("1200 sq ft", "area", 111.4836),
    ("1200 sq. ft.", "area", 111.4836),
    ("1200 ft2", "area", 111.4836),
    ("1200 sf", "area", 111.4836),
    ("1e-11 m2", "permeability", 1e-11),
    ("1e-11 m^2", "permeability", 1e-11),
    ("10 darcy", "permeability", 9.869233e-12),
    ("10 darcies", "permeability", 9.869233e-12),
    ("10 D", "permeability", 9.869233e-12),
]  # fmt: skip

CONVERTED_BY_HAND = [
    ("2 buckets", "volume", 2 * 5 * GAL),
    ("two buckets", "volume", 2 * 5 * GAL),
    ("1 bucket", "volume", 5 * GAL),
    ("2 cu ft", "volume", 2 * 0.3048**3),
    ("37 F", "temperature", (37 - 32) * 5 / 9 + 273.15),
    ("-4 °F", "temperature", 253.15),
    ("10 C", "temperature", 283.15),
    ("10 ℃", "temperature", 283.15),
    ("10 deg C", "temperature", 283.15),
    ("283 K", "temperature", 283.0),
    ("2000 fpm", "velocity", 2000 * 0.3048 / 60),
    ("2000 ft/min", "velocity", 2000 * 0.3048 / 60),
    ("10 mph", "velocity", 10 * 1609.344 / 3600),
    ("60 W", "power", 60.0),
    ("0.1 kW", "power", 100.0),
    ("1.2 kg/m3", "density", 1.2),
    ("0.075 lb/ft3", "density", 0.075 * 0.45359237 / 0.3048**3),
    ("10 min", "time", 600.0),
    ("2 h", "time", 7200.0),
    ("30 deg", "angle", math.pi / 6.0),
    ("0.5 rad", "angle", 0.5),
    ("0.15", "ratio", 0.15),
    ("15 %", "ratio", 0.15),
    ("15 times", "ratio", 15.0),
    ("1/8 in per ft", "ratio", 1 / 96),
    ("1/4 in/ft", "ratio", 1 / 48),
    ("12", "ratio", 12.0),
    ("4′ 6″", "length", 1.3716),
    ("4’ 6 1/2”", "length", 54.5 * 0.0254),
    ("6 feet 2 inches", "length", 74 * 0.0254),
    ("-4 ft 6 in", "length", -1.3716),
    ("6''", "length", 6 * 0.0254),
    ("3½ in", "length", 3.5 * 0.0254),
    ("3 1/2 in", "length", 3.5 * 0.0254),
    (".5 in", "length", 0.0127),
    ("0.3 mm", "length", 3e-4),
    ("1,200 sq ft", "area", 1200 * SQ_FT),
    ("1200 square feet", "area", 1200 * SQ_FT),
    ("1e-12 m²", "permeability", 1e-12),
    ("1×10⁻¹² m²", "permeability", 1e-12),
    ("2 x 10^-12 m2", "permeability", 2e-12),
    ("10⁻¹² m²", "permeability", 1e-12),
    ("500 mD", "permeability", 0.5 * DARCY),
    ("−4 Pa", "pressure", -4.0),
    ("29.92 in. Hg", "pressure", 29.92 * 3386.389),
    ("  5  cfm ", "flow", 5 * CFM),
]


@pytest.mark.parametrize(("text", "dimension", "expected"), PRINTED_VALUES)
def test_trade_spelling(text, dimension, expected):
    """Values printed to seven figures, so half a unit in the last is the tolerance."""
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=5e-7)


def test_the_table_of_spellings_is_whole():
    assert len(PRINTED_VALUES) == 55


@pytest.mark.parametrize(("text", "dimension", "expected"), CONVERTED_BY_HAND)
def test_further_spelling(text, dimension, expected):
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=2e-7)


@pytest.mark.parametrize(
    ("text", "dimension", "named", "offered"),
    [
        ("60 cfn", "flow", '"cfn"', 'did you mean "60 cfm"'),
        ("1.5 in", "pressure", '"in" is a unit of length', 'did you mean "1.5 in. w.c."'),
        ("60 m", "flow", '"m" is a unit of length, a flow is needed', '"60 cfm"'),
        ("12", "length", "12: no unit", '"12 ft" or "12 in" or "3.66 m"'),
        ("-12", "length", "-12: no unit", '"-12 ft" or "-12 in" or "-3.66 m"'),
        ("1/2", "length", "1/2: no unit", '"1/2 ft" or "1/2 in" or "0.152 m"'),
        ("10 gal", "area", "an area is needed", '"1200 sq ft"'),
        ("12 ft", "permeability", '"ft" is a unit of length', '"1e-12 m2"'),
        ("5 Pa", "ratio", '"Pa" is a unit of pressure', '"50 %"'),
        ("3-4 ft", "length", "one number is needed", '"12 ft"'),
        ("3 to 4 ft", "length", "one number is needed", '"12 ft"'),
        ("1,5 in", "length", "point for decimals", '"12 ft"'),
        ("ft", "length", "no number", '"12 ft"'),
        ("", "length", "empty text: no number", '"12 ft"'),
        ("nan ft", "length", "no number", '"12 ft"'),
        ("inf Pa", "pressure", "no number", '"370 Pa"'),
        ("1/0 in", "length", "not a finite number", '"12 ft"'),
        ("2^3 ft", "length", "not a finite number", '"12 ft"'),
        ("1e999 m", "length", "not a finite number", '"12 ft"'),
        ("5 mPa", "pressure", '"mPa" is not a known unit', '"370 Pa"'),
        ("2 x 4 in", "length", '"x 4 in" is not a known unit', '"12 ft"'),
        ("4'6", "length", '"\'6" is not a known unit', '"4 ft 6 in"'),
    ],
)
def test_refusal_names_the_unit_and_what_would_work(text, dimension, named, offered):
    with pytest.raises(InputError) as caught:
        parse_quantity(text, dimension)
    assert named in str(caught.value)
    assert offered in str(caught.value)


def test_unknown_dimension_lists_those_there_are():
    with pytest.raises(InputError, match="foo: not a dimension; there are angle, area, density"):
        parse_quantity("1 m", "foo")


def test_bounds_of_a_dimension_hold_for_text():
    dimension = Dimension("length", "m", gt=0.0, le=10.0)
    assert parse_quantity("10 m", dimension) == 10.0
    with pytest.raises(InputError, match="-4 ft: must be above 0 m and at most 10 m, such as"):
        parse_quantity("-4 ft", dimension)
    with pytest.raises(InputError, match="must be"):
        parse_quantity("0 ft", dimension)
    with pytest.raises(InputError, match="must be below 1"):
        parse_quantity("1", Dimension("ratio", "-", lt=1.0))


def test_constants_against_printed_values():
    """NIST SP 811 (2008) Appendix B, from memory."""
    assert pytest.approx(CFM, rel=5e-7) == units.M3S_PER_CFM
    assert pytest.approx(DARCY, rel=5e-7) == units.M2_PER_DARCY
    assert pytest.approx(GAL, rel=5e-7) == units.M3_PER_GALLON
    assert pytest.approx(IN_WC, rel=1e-12) == units.PA_PER_INCH_WC
    assert pytest.approx(25.4 * 9.80665, abs=5e-6) == units.PA_PER_INCH_WC
    # two buckets: 0.0379 m3
    assert pytest.approx(0.0379, abs=5e-5) == 2 * units.M3_PER_BUCKET


def test_every_spelling_is_in_the_form_the_parser_looks_up():
    for index in unit_tables.INDEX.values():
        assert len(index) > 1
        for spelling in index:
            assert unit_tables.canonical(spelling) == spelling


def test_no_spelling_means_two_units_of_one_dimension():
    for table in unit_tables.TABLES.values():
        words = [
            w for u in table.units for w in {unit_tables.canonical(u.label), *u.spellings.split()}
        ]
        assert len(words) == len(set(words))


def test_every_example_in_a_message_can_be_read():
    examples = [(e, name) for name, t in unit_tables.TABLES.items() for e in t.examples]
    assert len(examples) > 20
    for example, name in examples:
        assert math.isfinite(parse_quantity(example, name))


def test_all_is_sorted():
    for module in (units, quantity_text, unit_tables):
        constants = [n for n in module.__all__ if n.isupper()]
        classes = [n for n in module.__all__ if n[0].isupper() and not n.isupper()]
        functions = [n for n in module.__all__ if n[0].islower()]
        assert module.__all__ == constants + classes + functions
        for group in (classes, functions):
            assert group == sorted(group)


DIMENSIONS = st.sampled_from(sorted(unit_tables.TABLES))
SIZES = st.floats(min_value=1e-18, max_value=1e9)


@given(DIMENSIONS, SIZES)
def test_si_round_trip_to_six_digits(dimension, value):
    assert parse_quantity(format_si(value, dimension), dimension) == pytest.approx(value, rel=5e-6)


@given(DIMENSIONS, st.floats(allow_nan=False, allow_infinity=False))
def test_si_round_trip_with_every_digit_is_exact(dimension, value):
    assert parse_quantity(format_si(value, dimension, digits=None), dimension) == value


@given(st.sampled_from(sorted(set(unit_tables.TABLES) - {"length", "temperature"})), SIZES)
def test_trade_round_trip_to_three_digits(dimension, value):
    text = format_trade(value, dimension)
    assert parse_quantity(text, dimension) == pytest.approx(value, rel=5.1e-3)


@given(st.floats(min_value=-100.0, max_value=100.0))
def test_trade_length_is_within_a_quarter_inch(value):
    text = format_trade(value, "length")
    assert abs(parse_quantity(text, "length") - value) <= 0.25 * 0.0254 + 1e-12


@given(st.floats(min_value=-100.0, max_value=100.0), st.sampled_from([1, 2, 4, 8, 16]))
def test_feet_inches_is_within_half_a_step(value, denominator):
    text = feet_inches(value, denominator=denominator)
    assert abs(parse_quantity(text, "length") - value) <= 0.5 * 0.0254 / denominator + 1e-12


@given(st.integers(min_value=-60, max_value=150))
def test_whole_degrees_fahrenheit_come_back(degrees):
    kelvin = parse_quantity(f"{degrees} F", "temperature")
    assert format_trade(kelvin, "temperature") == f"{degrees} F"


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (1.3716, "length", "4 ft 6 in"),
        (3.6576, "length", "12 ft"),
        (0.0889, "length", "3-1/2 in"),
        (0.0127, "length", "0.5 in"),
        (1.5 * IN_WC, "pressure", "1.5 in. w.c."),
        (-1.0, "pressure", "-0.00401 in. w.c."),
        (12 * CFM, "flow", "12 cfm"),
        (10 * GAL, "volume", "10 gal"),
        (1200 * SQ_FT, "area", "1200 sq ft"),
        ((37 - 32) * 5 / 9 + 273.15, "temperature", "37 F"),
        (1600 * 0.3048 / 60, "velocity", "1600 fpm"),
        (60.0, "power", "60 W"),
        (0.15, "ratio", "0.15"),
        (5400.0, "time", "1.5 h"),
        (20.0, "time", "20 s"),
        (1e-12, "permeability", "1e-12 m2"),
    ],
)
def test_trade_format(value, dimension, text):
    assert format_trade(value, dimension) == text


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (-4.0, "pressure", "-4 Pa"),
        (-0.0, "pressure", "0 Pa"),
        (1e-12, "permeability", "1e-12 m2"),
        (101325.0, "pressure", "101325 Pa"),
        (0.3, "ratio", "0.3"),
        (283.15, "temperature", "283.15 K"),
    ],
)
def test_si_format(value, dimension, text):
    assert format_si(value, dimension) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0 in"), (-1.3716, "-4 ft 6 in"), (0.3, "1 ft"), (-1e-4, "0 in")]
)
def test_feet_inches_at_the_edges(value, text):
    assert feet_inches(value) == text


@dataclass(frozen=True, kw_only=True)
class Hole:
    x: Coordinate
    depth: Depth
    contact: Fraction = 0.0
    vacuum: Vacuum | None = None
    spacing: tuple[Length, ...] = ()
    corner: tuple[Coordinate, Coordinate] = (0.0, 0.0)
    label: str = ""

    def __post_init__(self) -> None:
        check_fields(self)


@dataclass(frozen=True, kw_only=True)
class Yard:
    hole: Hole
    soil: Permeability
    looser_by: Ratio = 1.0
    air: Temperature = 283.15


ADAPTER = pydantic.TypeAdapter(Yard)


def test_pydantic_reads_trade_text_into_a_plain_dataclass():
    hole = {
        "x": "-4 ft 6 in",
        "depth": "18 in",
        "contact": "15 %",
        "vacuum": "1.5 in. w.c.",
        "spacing": ["12 ft", "2 m"],
        "corner": ["0 ft", "-1 m"],
    }
    yard = ADAPTER.validate_python(
        {"hole": hole, "soil": "1e-12 m²", "looser_by": 15, "air": "50 F"}
    )
    assert yard == Yard(
        hole=Hole(
            x=parse_quantity("-4 ft 6 in", "length"),
            depth=parse_quantity("18 in", "length"),
            contact=0.15,
            vacuum=parse_quantity("1.5 in. w.c.", "pressure"),
            spacing=(parse_quantity("12 ft", "length"), 2.0),
            corner=(0.0, -1.0),
        ),
        soil=1e-12,
        looser_by=15.0,
        air=parse_quantity("50 F", "temperature"),
    )
    assert isinstance(yard.looser_by, float)
    assert ADAPTER.validate_json(
        json.dumps({"hole": {"x": "0 m", "depth": "0 m"}, "soil": "1 D"})
    ).hole == Hole(x=0, depth=0)


def test_pydantic_reports_all_mistakes_at_once():
    hole = {
        "x": 12,
        "depth": "-1 ft",
        "contact": 1.5,
        "vacuum": math.nan,
        "spacing": ["1 ft", "0 ft", True],
    }
    with pytest.raises(pydantic.ValidationError) as caught:
        ADAPTER.validate_python({"hole": hole, "soil": "12 ft", "looser_by": True, "air": ["50 F"]})
    messages = {".".join(map(str, e["loc"])): e["msg"] for e in caught.value.errors()}
    starts = {
        "hole.x": '12: no unit; write "12 ft" or "12 in" or "3.66 m"',
        "hole.depth": "-1 ft: must be at least 0 m, such as",
        "hole.contact": 'must be at least 0 and at most 1, such as "0.5"',
        "hole.vacuum": "nan: a finite number in Pa",
        "hole.spacing.1": "0 ft: must be above 0 m",
        "hole.spacing.2": "True: a text with a unit is needed",
        "soil": '"ft" is a unit of length, a permeability is needed',
        "looser_by": "True: a number is needed",
        "air": "['50 F']: a text with a unit is needed",
    }
    assert messages.keys() == starts.keys()
    for field, start in starts.items():
        assert start in messages[field]
        assert "\n" not in messages[field]
    assert {e["type"] for e in caught.value.errors()} == {"quantity"}


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan, "nan", "inf", True, None, []])
def test_pydantic_refuses_a_ratio_that_is_no_number(value):
    with pytest.raises(pydantic.ValidationError):
        pydantic.TypeAdapter(Ratio).validate_python(value)


def test_json_schema_says_text_or_number():
    schema = ADAPTER.json_schema()
    hole = schema["$defs"]["Hole"]["properties"]
    assert hole["depth"]["type"] == "string"
    assert "12 ft" in hole["depth"]["examples"]
    assert hole["contact"]["type"] == ["number", "string"]
    assert (hole["contact"]["minimum"], hole["contact"]["maximum"]) == (0.0, 1.0)
    assert schema["properties"]["looser_by"]["exclusiveMinimum"] == 0.0
    assert schema["required"] == ["hole", "soil"]


def test_json_schema_examples_pass_their_own_field():
    for alias in (Length, Depth, Permeability, Temperature, Vacuum, Fraction, Ratio):
        adapter = pydantic.TypeAdapter(alias)
        examples = adapter.json_schema()["examples"]
        assert examples
        for example in examples:
            assert math.isfinite(adapter.validate_python(example))


def test_check_fields_makes_floats_so_that_equal_nouns_hash_alike():
    whole = Hole(x=1, depth=np.int64(2), vacuum=3, spacing=[1, 2], corner=(0, 1))
    real = Hole(x=1.0, depth=2.0, vacuum=3.0, spacing=(1.0, 2.0), corner=(0.0, 1.0))
    assert whole == real
    assert hash(whole) == hash(real)
    assert repr(whole) == repr(real)
    assert Hole(x=1, depth=2).vacuum is None


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"depth": -1}, "depth", "-1 m: must be at least 0 m"),
        ({"contact": 1.2}, "contact", "1.2: must be at least 0 and at most 1"),
        ({"x": math.inf}, "x", "inf: a finite number in m"),
        ({"x": True}, "x", "True: a number in m"),
        ({"x": "12 ft"}, "x", "'12 ft': a number in m"),
        ({"vacuum": -5.0}, "vacuum", "-5 Pa: must be at least 0 Pa"),
        ({"spacing": (1.0, 0.0)}, "spacing[1]", "0 m: must be above 0 m"),
        ({"spacing": 3.0}, "spacing", "a tuple of values"),
        ({"corner": (1.0,)}, "corner", "2 values are needed"),
        ({"corner": (1.0, None)}, "corner[1]", "None: a number in m"),
    ],
)
def test_check_fields_names_the_field(change, field, says):
    with pytest.raises(InputError) as caught:
        Hole(**{"x": 0.0, "depth": 0.0, **change})
    assert caught.value.field == field
    assert says in str(caught.value)


def test_pydantic_is_loaded_only_when_a_schema_is_asked_for():
    loaded = "import sys, soilflow.units, soilflow.data; print('pydantic' in sys.modules)"
    schema = "import sys, soilflow.units as u, pydantic; pydantic.TypeAdapter(u.Length); " + (
        "print('pydantic' in sys.modules)"
    )
    for code, expected in ((loaded, "False"), (schema, "True")):
        run = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        )
        assert run.stdout.strip() == expected
