"""The JSON schema of a case file, made from the nouns and the tables that read it.

An editor that knows it completes keys and words, shows what they mean and marks what cannot be
right: an unknown key, a wrong word, a number without its unit, a unit of something else, two ways
to say one thing. Bounds, and what hangs on other tables, only reading the case finds out.
"""

from __future__ import annotations

import typing

from soilflow.air import Air
from soilflow.case import TestHole, Uncertain
from soilflow.conditions import Condition, ReferencePressure
from soilflow.data import fan_classes, fittings, pipes
from soilflow.files.case_tables import RESOLUTIONS
from soilflow.files.schema_nouns import either_of, noun_schema, object_schema, one_of, several
from soilflow.files.schema_site import site_table_schema
from soilflow.files.schema_texts import (
    TEXT,
    Schema,
    definitions,
    quantity_schema,
    words_schema,
)
from soilflow.files.site_tables import NEEDED, SITE_TABLES
from soilflow.files.text_patterns import season_pattern
from soilflow.flow.grid import Resolution
from soilflow.house_leakage import HouseLeakage
from soilflow.layout.fan import Fan
from soilflow.layout.fan_sets import FanSet
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import Pipe, PipeTree
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit, OnConductor
from soilflow.site.seasons import SEASONS
from soilflow.units import Length, Ratio, Volume

__all__ = ["case_schema"]


def case_schema() -> Schema:
    """The schema of a case file.

    Returns
    -------
    schema : dict
        JSON schema, draft 2020-12.
    """
    site = {name: site_table_schema(name) for name in SITE_TABLES}
    same = {name: {"$ref": f"#/properties/{name}"} for name in SITE_TABLES}
    removable = [name for name in SITE_TABLES if name not in NEEDED]
    none = {"type": "array", "items": {"enum": removable}, "description": "Tables left out."}
    variant = object_schema(
        {**same, "none": none}, "The site, changed; a table replaces the whole one."
    )
    season = {
        **TEXT,
        "title": "season",
        "pattern": season_pattern(),
        "examples": list(SEASONS),
        "description": "The site in another season.",
    }
    resolution = {"anyOf": [{"enum": list(RESOLUTIONS)}, noun_schema(Resolution)]}
    temperature = typing.get_type_hints(Air, include_extras=True)["temperature"]
    top: Schema = {
        "title": {**TEXT, "description": "Name of the house or the question."},
        "question": {**TEXT, "description": "The question the case asks."},
        "answer": {**TEXT, "description": "The expected answer in words."},
        "variant_name": {**TEXT, "description": "Name of the variant this site is."},
        "soil_temperature": quantity_schema(temperature, "Of the air in the soil."),
        "air": noun_schema(Air),
        "resolution": {**resolution, "description": "How fine the grid is.", "default": "normal"},
        "fan": {**_fan(), "description": "For all layouts that state none."},
        "pipe": {**_short_pipe(), "description": "For all layouts that state none."},
        **site,
        "layouts": several(_layout(), "Suction points with a fan and its pipe.", least=1),
        "conditions": {
            "type": "object",
            "description": "What it must stand: today, design_winter, and any other.",
            "minProperties": 1,
            "additionalProperties": _condition(),
        },
        "house_leakage": noun_schema(HouseLeakage),
        "test_holes": several(noun_schema(TestHole), "Where the pressure is wanted."),
        "uncertain": several(_range(), "Inputs known as ranges, by path."),
        "variant": {
            "type": "object",
            "description": "Other sites of the same house, by name.",
            "additionalProperties": {"anyOf": [season, variant]},
        },
    }
    needed = ["title", *NEEDED, "layouts", "conditions"]
    made = object_schema(
        top, "One question about one house.", needed, either_of("air", "soil_temperature")
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "soilflow case",
        **made,
        "$defs": definitions(made),
    }


def _layout() -> Schema:
    made = noun_schema(Layout, either_of("pipes", "pipe"), extra={"pipe": _short_pipe()})
    made["properties"] |= {
        "points": several(_point(), "One for each pit.", least=1),
        "fan": {**_fan(), "description": "What draws on the points."},
        "pipes": _tree(),
        "more_fans": several(_fan_set(), "Further fans, each on the points that name it."),
    }
    return made


def _fan_set() -> Schema:
    rule, extra = either_of("pipes", "pipe"), {"pipe": _short_pipe()}
    made = noun_schema(FanSet, rule, extra=extra, optional=("fan",))
    made["properties"] |= {"fan": {**_fan(), "description": "The fan."}, "pipes": _tree()}
    return made


def _point() -> Schema:
    made = noun_schema(SuctionPoint)
    radius = quantity_schema(Length, "Of the bowl, in place of its volume.")
    rule = one_of("volume", "radius")
    bowl = noun_schema(HemisphericalPit, rule, extra={"radius": radius}, optional=("volume",))
    sizes = ("diameter", "depth")
    two = {"oneOf": [{"required": list(p)} for p in (sizes, *(("volume", s) for s in sizes))]}
    volume = quantity_schema(Volume, "Air dug out, in place of one of its sizes.")
    round_ = noun_schema(CylinderPit, two, extra={"volume": volume}, optional=sizes)
    shapes = {
        "hemisphere": (bowl, "A bowl dug through a core hole."),
        "box": (noun_schema(BoxPit), "Cut square; with water in it a sump."),
        "cylinder": (round_, "Cut round, with a flat bottom; with water in it a sump."),
        "pan": (round_, "A cylinder, wide and shallow."),
        "drain": (noun_schema(OnConductor), "A drain tile, trench or channel that is there."),
    }
    tables = []
    for word, (table, about) in shapes.items():
        own = {"shape": {"title": "shape", "const": word, "description": about}}
        needed = ["shape", *table.get("required", [])]
        tables.append({**table, "properties": {**table["properties"], **own}, "required": needed})
    made["properties"]["pit"] = {
        "anyOf": [quantity_schema(Volume), *tables],
        "description": "What is dug: a volume of air, or a table with a shape.",
    }
    return made


def _fan() -> Schema:
    word = {**words_schema(fan_classes()), "description": "A class of fan."}
    speed = quantity_schema(Ratio, "Relative to full.")
    slowed = object_schema({"class": word, "speed": speed}, "A class, turned down.", ["class"])
    return {"anyOf": [*word["anyOf"], slowed, noun_schema(Fan)]}


def _fittings() -> Schema:
    return several(words_schema(fittings()), "Fittings, as often as they occur.")


def _nominal() -> Schema:
    return {**quantity_schema(Length), "description": "Nominal size.", "examples": list(pipes())}


def _pipe(*, optional: tuple[str, ...] = ()) -> Schema:
    rule = one_of("size", "bore")
    made = noun_schema(Pipe, rule, extra={"size": _nominal()}, optional=("bore", *optional))
    made["properties"]["fittings"] = _fittings()
    return made


def _tree() -> Schema:
    runs = {"runs": several(_pipe(), "All pipes but the discharge run.")}
    made = noun_schema(PipeTree, extra=runs, hidden=("pipes",))
    made["properties"]["discharge"] = _pipe(optional=("name",))
    return made


def _short_pipe() -> Schema:
    tree = noun_schema(PipeTree, hidden=("pipes", "discharge"))["properties"]
    own = {
        "size": _nominal(),
        "branch": quantity_schema(Length, "Of pipe from each pit to the run."),
        "run": quantity_schema(Length, "Of pipe from where the branches meet to the outlet."),
        "branch_fittings": _fittings(),
        "run_fittings": _fittings(),
        "source": {**TEXT, "description": "Where the numbers come from."},
    }
    needed = ["size", "branch", "run", "discharge_height"]
    return object_schema({**own, **tree}, "One branch per pit into one run.", needed)


def _condition() -> Schema:
    hints = typing.get_type_hints(ReferencePressure, include_extras=True)
    pressure = quantity_schema(hints["pressure"])
    rule = one_of("pressure", "above_outdoors")
    made = noun_schema(
        Condition, one_of("outdoor_pressure", "below_neutral_level"), hidden=("name",)
    )
    named = {"anyOf": [pressure, noun_schema(ReferencePressure, rule, hidden=("name",))]}
    made["properties"]["references"] = {
        "anyOf": [
            {"type": "object", "additionalProperties": named},
            {"type": "array", "items": noun_schema(ReferencePressure, rule)},
        ],
        "description": "Pressures of yards and other rooms, by name.",
    }
    return made


def _range() -> Schema:
    end = {"type": ["string", "number"], "description": "An end of the range, with its unit."}
    made = noun_schema(Uncertain, optional=("law", "source"))
    made["properties"] |= {"low": end, "high": end}
    made["properties"]["law"] |= {"enum": ["log-uniform", "uniform"], "default": "log-uniform"}
    return made
