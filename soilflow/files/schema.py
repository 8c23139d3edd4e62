"""The JSON schema of a case file, made from the nouns and the tables that read it.

An editor that knows it completes keys and words, shows what they mean and marks what cannot be
right: an unknown key, a wrong word, a number without its unit, a unit of something else, two ways
to say one thing. Bounds, and what hangs on other tables, only reading the case finds out.
"""

from __future__ import annotations

import re
import types
import typing
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import Any

from soilflow.air import Air
from soilflow.case import TestHole, Uncertain
from soilflow.conditions import Condition, ReferencePressure
from soilflow.data import fan_classes, fittings, pipes
from soilflow.files.case_tables import RESOLUTIONS
from soilflow.files.make_nouns import FOUND, WORDS
from soilflow.files.schema_texts import (
    TEXT,
    Schema,
    definitions,
    quantity_schema,
    size_schema,
    words_schema,
)
from soilflow.files.site_tables import NEEDED, SITE_TABLES
from soilflow.files.text_patterns import turn_pattern
from soilflow.files.written_form import marker
from soilflow.flow.grid import Resolution
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import Pipe, PipeTree
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FloorWallJoint,
    Ground,
    MoistZone,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    Yard,
)
from soilflow.site.yards import SIDES
from soilflow.units import Coordinate, Length, Ratio, Volume, format_si

__all__ = ["case_schema"]


def case_schema() -> Schema:
    """The schema of a case file.

    Returns
    -------
    schema : dict
        JSON schema, draft 2020-12.
    """
    site = {name: _site_table(name) for name in SITE_TABLES}
    same = {name: {"$ref": f"#/properties/{name}"} for name in SITE_TABLES}
    removable = [name for name in SITE_TABLES if name not in NEEDED]
    none = {"type": "array", "items": {"enum": removable}, "description": "Tables left out."}
    variant = _object({**same, "none": none}, "The site, changed; a table replaces the whole one.")
    resolution = {"anyOf": [{"enum": list(RESOLUTIONS)}, _noun(Resolution)]}
    temperature = typing.get_type_hints(Air, include_extras=True)["temperature"]
    top: Schema = {
        "title": {**TEXT, "description": "Name of the house or the question."},
        "question": {**TEXT, "description": "The question the case asks."},
        "answer": {**TEXT, "description": "The expected answer in words."},
        "variant_name": {**TEXT, "description": "Name of the variant this site is."},
        "soil_temperature": quantity_schema(temperature, "Of the air in the soil."),
        "air": _noun(Air),
        "resolution": {**resolution, "description": "How fine the grid is.", "default": "normal"},
        "fan": {**_fan(), "description": "For all layouts that state none."},
        "pipe": {**_short_pipe(), "description": "For all layouts that state none."},
        **site,
        "layouts": _several(_layout(), "Suction points with a fan and its pipe.", least=1),
        "conditions": {
            "type": "object",
            "description": "What it must stand: today, design_winter, and any other.",
            "minProperties": 1,
            "additionalProperties": _condition(),
        },
        "test_holes": _several(_noun(TestHole), "Where the pressure is wanted."),
        "uncertain": _several(_range(), "Inputs known as ranges, by path."),
        "variant": {
            "type": "object",
            "description": "Other sites of the same house, by name.",
            "additionalProperties": variant,
        },
    }
    needed = ["title", *NEEDED, "layouts", "conditions"]
    made = _object(
        top, "One question about one house.", needed, _either_of("air", "soil_temperature")
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "soilflow case",
        **made,
        "$defs": definitions(made),
    }


def _object(
    properties: Schema, description: str = "", required: list[str] | None = None, *rules: Schema
) -> Schema:
    titled = {key: {"title": key.replace("_", " "), **item} for key, item in properties.items()}
    made: Schema = {"type": "object", "properties": titled, "additionalProperties": False}
    if description:
        made["description"] = description
    if required:
        made["required"] = required
    if rules:
        made["allOf"] = list(rules)
    return made


def _one_of(*keys: str) -> Schema:
    """Exactly one of several keys."""
    return {"oneOf": [{"required": [key]} for key in keys]}


def _either_of(*keys: str) -> Schema:
    """At most one of several keys."""
    written = [{"required": [key]} for key in keys]
    return {"oneOf": [*written, {"not": {"anyOf": written}}]}


def _several(items: Schema, description: str, *, least: int = 0) -> Schema:
    made = {"type": "array", "items": items, "description": description}
    return {**made, "minItems": least} if least else made


def _described(noun: type) -> dict[str, str]:
    """Description of each field, from the noun's docstring, its unit left out."""
    text = (noun.__doc__ or "").partition("Parameters\n")[2]
    found = {}
    for names, words in re.findall(r"^    (\w[\w, ]*) : .*\n((?:        .*\n?)+)", text, re.M):
        plain = re.sub(r"\s*\[[^\]]*\]$", "", " ".join(words.split()))
        found.update(dict.fromkeys(names.split(", "), plain))
    return found


def _noun(
    noun: type,
    *rules: Schema,
    extra: Schema | None = None,
    hidden: tuple[str, ...] = (),
    optional: tuple[str, ...] = (),
) -> Schema:
    """A table with the fields of a noun, and the written keys that stand for some of them."""
    words = _described(noun)
    own = [field for field in fields(noun) if field.name not in hidden]
    properties = {field.name: _field(noun, field, words.get(field.name, "")) for field in own}
    required = [
        field.name
        for field in own
        if field.default is MISSING
        and field.default_factory is MISSING
        and field.name not in optional
    ]
    sentence = (noun.__doc__ or "").split("\n\n")[0].strip()
    return _object({**properties, **(extra or {})}, sentence, required, *rules)


def _field(noun: type, field: Field[Any], description: str) -> Schema:
    hint = typing.get_type_hints(noun, include_extras=True)[field.name]
    dimension = marker(hint)
    if dimension is None:
        made = {**_hint(hint), "description": description}
    else:
        words = WORDS.get((noun, field.name), "")
        made = quantity_schema(hint, description, words=words, ranged=noun in FOUND, key=field.name)
    default = field.default
    if isinstance(default, float) and dimension is not None and dimension.unit != "-":
        default = format_si(default, dimension)
    plain = isinstance(default, bool | str | float) and default != ""
    return {**made, "default": default} if plain else made


def _hint(hint: Any) -> Schema:
    """What may be written for a field that is no single quantity."""
    if marker(hint) is not None:
        return quantity_schema(hint)
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        hint = next(arm for arm in typing.get_args(hint) if arm is not type(None))
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)
        if inner[1:] == (...,):
            return {"type": "array", "items": _hint(inner[0])}
        pair = [_hint(item) for item in inner]
        return {"type": "array", "prefixItems": pair, "items": False, "minItems": len(pair)}
    if is_dataclass(hint):
        return _noun(typing.cast(type, hint))
    return {"type": {str: "string", bool: "boolean", int: "integer", float: "number"}[hint]}


def _rectangle() -> Schema:
    at = {**_hint(tuple[Coordinate, Coordinate]), "description": "Its south-west corner."}
    return {"size": size_schema("10 ft x 9 ft"), "at": at}


def _site_table(name: str) -> Schema:
    """One of the site's tables, as it may be written."""
    hint = typing.get_type_hints(Site, include_extras=True)[name]
    arms = [arm for arm in typing.get_args(hint) if arm not in (type(None), ...)]
    noun: Any = arms[0] if arms else hint
    one = _SPECIAL[noun]() if noun in _SPECIAL else _noun(noun)
    listed = typing.get_origin(hint) is tuple
    return _several(one, one["description"]) if listed else one


def _slab() -> Schema:
    turn = {**TEXT, "pattern": turn_pattern(), "examples": ["28 ft east"]}
    turns = _several(turn, "Walls in order; the last may be left out.", least=3)
    rule = _one_of("size", "turns", "corners")
    extra = {"size": size_schema("26 ft x 33 ft"), "turns": turns}
    return _noun(Slab, rule, extra=extra, optional=("corners",))


def _ground() -> Schema:
    made = _noun(Ground)
    layer = _spoken(SoilLayer, "permeability", "soil", "What it feels like.")
    made["properties"]["layers"] = _several(layer, "Native soil, from the top down.", least=1)
    return made


def _spoken(noun: type, name: str, word: str, description: str, *rules: Schema) -> Schema:
    """A noun with a key for words that stands for one of its fields."""
    made = _noun(noun, _one_of(word, name), *rules, optional=(name, "corners"))
    own = made["properties"][name]
    made["properties"][word] = {**own, "title": word, "description": description}
    return made


def _joint() -> Schema:
    return _spoken(FloorWallJoint, "aperture", "joint", "What goes in.")


def _moist_zone() -> Schema:
    rules = [_one_of("size", "corners"), {"dependentRequired": {"size": ["at"]}}]
    return _noun(MoistZone, *rules, extra=_rectangle(), optional=("corners",))


def _gap() -> Schema:
    ways = _either_of("corners", "size", "from_walls", "along_walls")
    rules = [ways, {"dependentRequired": {"size": ["at"]}}]
    made = _spoken(SettledGap, "aperture", "gap", "What it sounds like, or what goes in.", *rules)
    made["properties"] |= {
        "from_walls": quantity_schema(Length, "Begins that far from all walls."),
        "along_walls": quantity_schema(Length, "Lies along all walls, that wide."),
        **_rectangle(),
    }
    return made


def _yard() -> Schema:
    given = {"anyOf": [{"required": ["side"]}, {"required": ["corners"]}]}
    made = _noun(Yard, given)
    made["properties"]["side"] |= {"enum": [*SIDES, ""]}  # empty beside corners
    return made


_SPECIAL = {
    FloorWallJoint: _joint,
    Ground: _ground,
    MoistZone: _moist_zone,
    SettledGap: _gap,
    Slab: _slab,
    Yard: _yard,
}


def _layout() -> Schema:
    made = _noun(Layout, _either_of("pipes", "pipe"), extra={"pipe": _short_pipe()})
    made["properties"] |= {
        "points": _several(_point(), "One for each pit.", least=1),
        "fan": {**_fan(), "description": "What draws on the points."},
        "pipes": _tree(),
    }
    return made


def _point() -> Schema:
    made = _noun(SuctionPoint)
    radius = quantity_schema(Length, "Of the bowl, in place of its volume.")
    rule = _one_of("volume", "radius")
    shape = {"const": "hemisphere", "description": "A bowl dug through a core hole."}
    extra = {"shape": shape, "radius": radius}
    bowl = _noun(HemisphericalPit, rule, extra=extra, optional=("volume",))
    box = _noun(BoxPit, extra={"shape": {"const": "box", "description": "Cut square."}})
    for table in (bowl, box):
        table["required"] = ["shape", *table.get("required", [])]
    made["properties"]["pit"] = {
        "anyOf": [quantity_schema(Volume), bowl, box],
        "description": "What is dug: a volume of air, or a table with a shape.",
    }
    return made


def _fan() -> Schema:
    word = {**words_schema(fan_classes()), "description": "A class of fan."}
    speed = quantity_schema(Ratio, "Relative to full.")
    slowed = _object({"class": word, "speed": speed}, "A class, turned down.", ["class"])
    return {"anyOf": [*word["anyOf"], slowed, _noun(Fan)]}


def _fittings() -> Schema:
    return _several(words_schema(fittings()), "Fittings, as often as they occur.")


def _nominal() -> Schema:
    return {**quantity_schema(Length), "description": "Nominal size.", "examples": list(pipes())}


def _pipe(*, optional: tuple[str, ...] = ()) -> Schema:
    rule = _one_of("size", "bore")
    made = _noun(Pipe, rule, extra={"size": _nominal()}, optional=("bore", *optional))
    made["properties"]["fittings"] = _fittings()
    return made


def _tree() -> Schema:
    runs = {"runs": _several(_pipe(), "All pipes but the discharge run.")}
    made = _noun(PipeTree, extra=runs, hidden=("pipes",))
    made["properties"]["discharge"] = _pipe(optional=("name",))
    return made


def _short_pipe() -> Schema:
    tree = _noun(PipeTree, hidden=("pipes", "discharge"))["properties"]
    own = {
        "size": _nominal(),
        "branch": quantity_schema(Length, "Of pipe from each pit to the run."),
        "run": quantity_schema(Length, "Of pipe from where the branches meet to the outlet."),
        "branch_fittings": _fittings(),
        "run_fittings": _fittings(),
        "source": {**TEXT, "description": "Where the numbers come from."},
    }
    needed = ["size", "branch", "run", "discharge_height"]
    return _object({**own, **tree}, "One branch per pit into one run.", needed)


def _condition() -> Schema:
    hints = typing.get_type_hints(ReferencePressure, include_extras=True)
    pressure = quantity_schema(hints["pressure"])
    rule = _one_of("pressure", "above_outdoors")
    made = _noun(Condition, _one_of("outdoor_pressure", "below_neutral_level"), hidden=("name",))
    named = {"anyOf": [pressure, _noun(ReferencePressure, rule, hidden=("name",))]}
    made["properties"]["references"] = {
        "anyOf": [
            {"type": "object", "additionalProperties": named},
            {"type": "array", "items": _noun(ReferencePressure, rule)},
        ],
        "description": "Pressures of yards and other rooms, by name.",
    }
    return made


def _range() -> Schema:
    end = {"type": ["string", "number"], "description": "An end of the range, with its unit."}
    made = _noun(Uncertain, optional=("law", "source"))
    made["properties"] |= {"low": end, "high": end}
    made["properties"]["law"] |= {"enum": ["log-uniform", "uniform"], "default": "log-uniform"}
    return made
