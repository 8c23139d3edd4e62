"""The schema of case files: it takes what the reader takes, and marks typical mistakes."""

import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from test_write_toml import cases
from tiny_house import TEXT, house

from soilflow.data import word_ranges
from soilflow.errors import CaseError
from soilflow.files import parse_case, write_case
from soilflow.files.draft import Notes
from soilflow.files.new_case import Wishes, new_case_text
from soilflow.files.schema import case_schema
from soilflow.files.shipped import shipped_cases
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.units import parse_quantity

SCHEMA = case_schema()
CHECK = jsonschema.Draft202012Validator(SCHEMA)

EVERYTHING = """
title = "everything that can be written"
soil_temperature = "50 F"
fan = {class = "high-suction", speed = "80 %"}
resolution = {name = "mine", cells_per_radius = 3.0, line_size = 0.05, growth = 1.5}
[slab]
turns = ["28 ft east", "24 ft north", "28 ft west"]
thickness = "4 in"
permeability = "1e-15 to 1e-14 m2"
[walls]
thickness = "8 in"
footing_depth = "18 in"
[ground]
bottom = "20 ft"
[[ground.layers]]
soil = "packed silt"
[[ground.layers]]
permeability = "1e-12 m2"
vertical = "5e-13 m2"
top = "3 ft"
[[bands]]
width = "18 in"
looser_by = "3 to 30"
walls = ["north"]
[backfill]
width = "2 ft"
looser_by = 4
[yard_soil]
looser_by = 0.05
depth = "3 ft"
[[moist_zones]]
name = "wet"
size = "4 ft x 4 ft"
at = ["20 ft", "0 ft"]
multiplier = 0.1
top = "0 ft"
bottom = "3 ft"
[[gaps]]
name = "settled"
gap = "sounds hollow"
from_walls = "30 in"
[[joints]]
joint = "card"
[[yards]]
name = "lee"
side = "north"
[[layouts]]
name = "one"
[[layouts.points]]
name = "A"
x = "10 ft"
y = "10 ft"
pit = {shape = "hemisphere", radius = "10 in", smear = "1 in", smear_ratio = 0.2}
[[layouts.points]]
name = "B"
x = "20 ft"
y = "10 ft"
pit = {shape = "box", length = "18 in", width = "18 in", depth = "12 in"}
[layouts.pipes]
discharge_height = "18 ft"
discharge = {size = "4 in", length = "30 ft"}
[[layouts.pipes.runs]]
name = "A"
size = "4 in"
length = "10 ft"
damper = "30 deg"
[[layouts.pipes.runs]]
name = "B"
bore = "4.026 in"
length = "10 ft"
fittings = ["sharp 90 bend"]
[conditions.today]
outdoor_pressure = "1 Pa"
references = {lee = {above_outdoors = "-1 Pa"}}
[house_leakage]
flow = "1500 cfm"
at_pressure = "50 Pa"
exponent = 0.65
existing_exhaust = "200 cfm"
source = "blower door"
[[test_holes]]
name = "T1"
x = "1 ft"
y = "1 ft"
[[uncertain]]
path = "site.walls.footing_depth"
low = "12 in"
high = "24 in"
[variant.tight]
none = ["gaps"]
joints = [{aperture = "0.05 mm"}]
"""


def complaints(text):
    return [error.message for error in CHECK.iter_errors(tomllib.loads(text))]


def test_it_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_shipped_case_is_valid():
    cases = shipped_cases()
    assert cases
    for path in cases.values():
        assert complaints(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "text",
    [TEXT, EVERYTHING, new_case_text(Wishes(size="26 ft x 33 ft", gap="sounds hollow"))],
    ids=["tiny", "everything", "new"],
)
def test_what_the_reader_takes_is_valid(text):
    case = parse_case(text, file="case.toml")
    assert complaints(text) == []
    assert complaints(write_case(case)) == []


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ('thickness = "4 in"', "thickness = 4"),
        ('thickness = "4 in"', 'thickness = "4"'),
        ('thickness = "4 in"', 'thickness = "4 in"\ncolour = "grey"'),
        ('permeability = "1e-16 m2"', 'permeability = "soundish"'),
        ('fan = "high-suction"', 'fan = "hurricane"'),
        ('title = "Small test house"', "titel = 3"),
        ('resolution = "coarse"', 'resolution = "coarsest"'),
        ("capped = true", 'capped = "yes"'),
        ('joints = [{aperture = "0.05 mm"}]', 'none = ["slab"]'),
        ("[variant.tight_joint]", '[variant]\nmelted = "thawing yard"\n[variant.tight_joint]'),
        ("[variant.tight_joint]", '[variant]\ncold = "frozen yard, 3"\n[variant.tight_joint]'),
        ('[[test_holes]]\nname = "T1"', "[[test_holes]]"),
        ('thickness = "4 in"', 'thickness = "4 Pa"'),
        ('thickness = "4 in"', 'thickness = "-4 in"'),
        ('thickness = "4 in"', 'thickness = "4 inn"'),
        ('size = "12 ft x 10 ft"', 'size = "12 x 10"'),
        ('size = "12 ft x 10 ft"', 'size = "12 ft x 10 ft"\nturns = ["1 ft east"]'),
        ('size = "12 ft x 10 ft"', 'turns = ["12 ft east", "10 ft up", "12 ft west"]'),
        ('permeability = "1e-11 m2"', 'soil = "packed sily clay, damp"'),
        ('permeability = "1e-11 m2"', 'permeability = "1e-11 m2"\nsoil = "packed silt"'),
        ('permeability = "1e-11 m2"', 'permeability = "1e-12 m2 to 1e-11"'),
        ('aperture = "0.3 mm"', 'joint = "dime"'),
        ('aperture = "0.3 mm"', "sealed = true"),
        ('vacuum = "1 in. w.c."', 'vacuum = "1 in"'),
        ('vacuum = "1 in. w.c."', 'vacuum = "1 to 2 in. w.c."'),  # chosen, not found
        ('pit = "20 gal"', 'pit = "20 cfm"'),
        ('pit = "20 gal"', 'pit = {shape = "cone", volume = "20 gal"}'),
        ('pit = "20 gal"', 'pit = {volume = "20 gal"}'),
        ('outdoor_pressure = "1 Pa"', 'outdoor_pressure = "1 Pa"\nbelow_neutral_level = "8 ft"'),
        ('[conditions.today]\noutdoor_pressure = "1 Pa"', "[conditions.today]"),
    ],
)
def test_typical_mistakes_are_marked(was, becomes):
    """And the reader does not take them either."""
    assert was in TEXT
    wrong = TEXT.replace(was, becomes, 1)
    assert complaints(wrong)
    with pytest.raises(CaseError):
        parse_case(wrong, file="wrong.toml")


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ('permeability = "1e-16 m2"', 'permeability = "Old - crazed - patched"'),
        ('permeability = "1e-11 m2"', 'soil = "1e-12 to 1e-11 m2"'),
        ('aperture = "0.3 mm"', 'joint = "1/64 in"'),
        ('size = "12 ft x 10 ft"', 'size = "12\' by 10\'-0\\""'),
        ('size = "12 ft x 10 ft"', 'turns = ["12 ft E", "10 ft N", "12 ft west"]'),
        ('fan = "high-suction"', 'fan = "High suction"'),
        ('vacuum = "1 in. w.c."', "vacuum = '1\" wc'"),
        ('pit = "20 gal"', 'pit = "two buckets"'),
        (
            "[variant.tight_joint]",
            '[variant]\nice = "Frozen_Yard, 2\' 6\\""\n[variant.tight_joint]',
        ),
        ('outdoor_pressure = "1 Pa"', 'below_neutral_level = "8 ft"\noutdoor_temperature = "-4 F"'),
    ],
)
def test_other_ways_to_write_are_not_marked(was, becomes):
    assert was in TEXT
    other = TEXT.replace(was, becomes, 1)
    assert parse_case(other, file="other.toml")
    assert complaints(other) == []


@settings(max_examples=25, deadline=None)
@given(cases())
def test_whatever_is_written_is_valid(case):
    assert complaints(write_case(case)) == []


def test_an_editor_finds_words_units_and_examples():
    layer = SCHEMA["properties"]["ground"]["properties"]["layers"]["items"]["properties"]["soil"]
    offered = [word for way in layer["anyOf"] for word in way.get("enum", [])]
    assert offered == list(word_ranges("soil_words"))
    thickness = SCHEMA["properties"]["slab"]["properties"]["thickness"]
    assert thickness["title"] == "thickness"
    assert thickness["description"] == "Thickness of the concrete. [length, kept in m]"
    assert thickness["examples"][0] == "4 in"
    roughness = SCHEMA["properties"]["layouts"]["items"]["properties"]["pipes"]["properties"][
        "runs"
    ]["items"]["properties"]["roughness"]
    assert parse_quantity(roughness["default"], "length") == 1.5e-6  # layout/pipes.py


def test_examples_and_defaults_are_themselves_valid():
    def walk(schema):
        if isinstance(schema, dict):
            own = [*schema.get("examples", []), *[schema[k] for k in ("default",) if k in schema]]
            yield from ((schema, value) for value in own if isinstance(schema.get("title"), str))
            for inner in schema.values():
                yield from walk(inner)
        elif isinstance(schema, list):
            for inner in schema:
                yield from walk(inner)

    found = list(walk(SCHEMA["properties"]))
    assert len(found) > 100
    for schema, value in found:
        alone = jsonschema.Draft202012Validator({**schema, "$defs": SCHEMA["$defs"]})
        assert alone.is_valid(value), (schema["title"], value)


def tables_at(path):
    """What the schema says of the table at a written path; a path may have several readings."""

    def opened(schema):
        if "$ref" in schema:
            name = schema["$ref"].rpartition("/")[2]
            return opened(SCHEMA["properties"][name])
        return (
            [part for way in schema["anyOf"] for part in opened(way)]
            if "anyOf" in schema
            else [schema]
        )

    found = [SCHEMA]
    for step in path:
        inner = []
        for schema in found:
            if isinstance(step, int):
                inner += opened(schema.get("items", {}))
            elif step in schema.get("properties", {}):
                inner += opened(schema["properties"][step])
            elif isinstance(schema.get("additionalProperties"), dict):
                inner += opened(schema["additionalProperties"])
        found = inner
    return [schema for schema in found if schema.get("type") == "object"]


def test_it_knows_the_keys_that_the_reader_knows(monkeypatch):
    """Whatever table the reader looks at has in the schema just the keys it asks for."""
    asked = {}
    plain = Notes.unknown_keys

    def recording(notes, table, at, known):
        known = set(known)
        asked[at] = known
        return plain(notes, table, at, known)

    monkeypatch.setattr(Notes, "unknown_keys", recording)
    for text in (EVERYTHING, TEXT):
        parse_case(text, file="case.toml")
    assert () in asked
    assert ("pipe",) in asked
    assert ("fan",) in asked
    assert len(asked) > 30
    for at, known in asked.items():
        assert known in [set(table["properties"]) for table in tables_at(at)], at


def test_every_key_says_what_it_is():
    def bare(schema, path=""):
        found = []
        for key, item in schema.get("properties", {}).items():
            words = item.get("description") or item.get("const") or item.get("enum")
            found += [] if words else [f"{path}.{key}"]
            for one in (item, item.get("items", {}), *item.get("anyOf", [])):
                found += bare(one, f"{path}.{key}") if isinstance(one, dict) else []
        return found

    known = {"class", "speed", "radius", "source", "branch_fittings", "run_fittings", "pipes"}
    assert {path.rpartition(".")[2] for path in bare(SCHEMA)} <= known | {"fan", "fittings"}


def test_the_house_of_the_tests_writes_both_shapes_of_pit():
    kinds = {type(p.pit) for layout in house().layouts for p in layout.points}
    assert kinds == {BoxPit, HemisphericalPit}
