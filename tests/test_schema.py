"""The schema of case files: it takes what the reader takes, and marks typical mistakes."""

import tomllib
from dataclasses import fields
from pathlib import Path

import jsonschema
import pytest
from tiny_house import TEXT, house

from soilflow.files import draft as draft_module
from soilflow.files import layout_tables, parse_case, site_tables, write_case
from soilflow.files.new_case import Wishes, new_case_text
from soilflow.files.schema import case_schema
from soilflow.files.shipped import shipped_cases
from soilflow.layout.pits import BoxPit, HemisphericalPit

SCHEMA = case_schema()
CHECK = jsonschema.Draft202012Validator(SCHEMA)
YARDS = Path(__file__).with_name("test_yards.py")

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
        ('[[test_holes]]\nname = "T1"', "[[test_holes]]"),
    ],
)
def test_typical_mistakes_are_marked(was, becomes):
    assert was in TEXT
    assert complaints(TEXT.replace(was, becomes, 1))


def keys_of(schema, path):
    for step in path:
        schema = schema[step]
    return set(schema["properties"])


def test_it_knows_the_keys_that_the_reader_knows(monkeypatch):
    """Record what each table may hold while a case that writes everything is read."""
    taken = {}

    def recording(table, at, noun, notes, *, extra=(), hidden=()):
        own = {field.name for field in fields(noun)} - set(hidden)
        taken.setdefault(noun.__name__, set()).update(own | set(extra))
        return draft_module.take(table, at, noun, notes, extra=extra, hidden=hidden)

    monkeypatch.setattr(layout_tables, "take", recording)
    monkeypatch.setattr(site_tables, "take", recording)
    parse_case(EVERYTHING, file="case.toml")
    top = SCHEMA["properties"]
    layout = top["layouts"]["items"]["properties"]
    point = layout["points"]["items"]
    tree = layout["pipes"]
    pits = point["properties"]["pit"]["anyOf"]
    schema_of = {
        "Slab": top["slab"],
        "FoundationWalls": top["walls"],
        "Ground": top["ground"],
        "SoilLayer": top["ground"]["properties"]["layers"]["items"],
        "ExteriorBackfill": top["backfill"],
        "PerimeterBand": top["bands"]["items"],
        "MoistZone": top["moist_zones"]["items"],
        "SettledGap": top["gaps"]["items"],
        "FloorWallJoint": top["joints"]["items"],
        "Yard": top["yards"]["items"],
        "Layout": top["layouts"]["items"],
        "SuctionPoint": point,
        "HemisphericalPit": pits[1],
        "BoxPit": pits[2],
        "PipeTree": tree,
        "Pipe": tree["properties"]["runs"]["items"],
        "Condition": top["conditions"]["additionalProperties"],
        "ReferencePressure": top["conditions"]["additionalProperties"]["properties"]["references"][
            "anyOf"
        ][0]["additionalProperties"]["anyOf"][1],
    }
    assert set(taken) == set(schema_of)
    for name, keys in taken.items():
        assert set(schema_of[name]["properties"]) == keys, name


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
