"""The JSON schema of a case file, made from the nouns and the word tables that read it.

An editor that knows it completes keys and words, and marks what cannot be right. What hangs on
several fields at once, on bounds or on units only reading the case finds out.
"""

from __future__ import annotations

import re
import types
import typing
from dataclasses import MISSING, fields, is_dataclass
from typing import Any

from soilflow.air import Air
from soilflow.case import TestHole, Uncertain
from soilflow.conditions import Condition, ReferencePressure
from soilflow.data import fan_classes, fittings, pipes, word_ranges
from soilflow.files.case_tables import RESOLUTIONS
from soilflow.files.make_nouns import WORDS
from soilflow.files.site_tables import NEEDED, SITE_TABLES
from soilflow.files.written_form import marker
from soilflow.flow.grid import Resolution
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import Pipe, PipeTree
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FloorWallJoint,
    MoistZone,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)
from soilflow.unit_tables import unit_table
from soilflow.units import Dimension

__all__ = ["case_schema"]

Schema = dict[str, Any]

_QUANTITY = r"^\s*[-+]?\.?[0-9].*[A-Za-z%\"'].*$"
_TEXT: Schema = {"type": "string"}
_LENGTH = Dimension("length", "m")


def case_schema() -> Schema:
    """The schema of a case file.

    Returns
    -------
    schema : dict
        JSON schema, draft 2020-12.
    """
    site = {name: _site_table(name) for name in SITE_TABLES}
    removable = [name for name in SITE_TABLES if name not in NEEDED]
    none = {"type": "array", "items": {"enum": removable}, "description": "Tables left out."}
    variant = _object({**site, "none": none}, "The site, changed; a table replaces the whole one.")
    top: Schema = {
        "title": {**_TEXT, "description": "Name of the house or the question."},
        "question": {**_TEXT, "description": "The question the case asks."},
        "answer": {**_TEXT, "description": "The expected answer in words."},
        "variant_name": {**_TEXT, "description": "Name of the variant this site is."},
        "soil_temperature": _quantity(Dimension("temperature", "K"), "", "Of the soil air."),
        "air": _noun(Air),
        "resolution": {
            "anyOf": [{"enum": list(RESOLUTIONS)}, _noun(Resolution)],
            "description": "How fine the grid is.",
        },
        "fan": {**_fan(), "description": "For all layouts that state none."},
        "pipe": {**_short_pipe(), "description": "For all layouts that state none."},
        **site,
        "layouts": _several(_layout(), "Suction points with a fan and its pipe."),
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
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "soilflow case",
        **_object(top, "One question about one house.", needed),
    }


def _object(properties: Schema, description: str = "", required: list[str] | None = None) -> Schema:
    made: Schema = {
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
    }
    if description:
        made["description"] = description
    if required:
        made["required"] = required
    return made


def _several(items: Schema, description: str) -> Schema:
    return {"type": "array", "items": items, "description": description}


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
    *,
    extra: Schema | None = None,
    hidden: tuple[str, ...] = (),
    optional: tuple[str, ...] = (),
) -> Schema:
    """A table with the fields of a noun, and the written keys that stand for some of them."""
    hints = typing.get_type_hints(noun, include_extras=True)
    words = _described(noun)
    properties, required = {}, []
    for field in fields(noun):
        if field.name in hidden:
            continue
        properties[field.name] = {
            **_hint(hints[field.name], WORDS.get((noun, field.name), "")),
            "description": words.get(field.name, ""),
        }
        bare = field.default is MISSING and field.default_factory is MISSING
        if bare and field.name not in optional:
            required.append(field.name)
    sentence = (noun.__doc__ or "").split("\n\n")[0].strip()
    return _object({**properties, **(extra or {})}, sentence, required)


def _hint(hint: Any, words: str) -> Schema:
    """What may be written for a field."""
    dimension = marker(hint)
    if dimension is not None:
        return _quantity(dimension, words)
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        hint = next(arm for arm in typing.get_args(hint) if arm is not type(None))
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)
        if inner[1:] == (...,):
            return {"type": "array", "items": _hint(inner[0], "")}
        return {"type": "array", "prefixItems": [_hint(i, "") for i in inner], "items": False}
    if is_dataclass(hint):
        return _noun(typing.cast(type, hint))
    plain = {str: "string", bool: "boolean", int: "integer", float: "number"}
    return {"type": plain[hint]}


def _quantity(dimension: Dimension, words: str = "", description: str = "") -> Schema:
    """Text with a unit, a range, one of some words; a bare number where there is no unit."""
    examples = list(unit_table(dimension).examples)
    ways: list[Schema] = [{"type": "string", "pattern": _QUANTITY, "examples": examples}]
    if dimension.unit == "-":
        ways = [{"type": "number"}, {"type": "string", "pattern": r"^\s*[-+.]?[0-9]"}]
    if words:
        ways.insert(0, _words(words, dimension.unit))
    made = ways[0] if len(ways) == 1 else {"anyOf": ways}
    return {**made, "description": description} if description else made


def _words(table: str, unit: str) -> Schema:
    found = [word for word, entry in word_ranges(table).items() if entry.unit == unit]
    return {"enum": found}


def _place() -> Schema:
    return {"type": "array", "prefixItems": [_quantity(_LENGTH)] * 2, "items": False}


def _rectangle() -> Schema:
    return {
        "size": {**_TEXT, "description": "East-west by north-south.", "examples": ["10 ft x 9 ft"]},
        "at": {**_place(), "description": "South-west corner: east, then north."},
    }


def _site_table(name: str) -> Schema:
    """One of the site's tables, as it may be written."""
    hint = typing.get_type_hints(Site, include_extras=True)[name]
    arms = [arm for arm in typing.get_args(hint) if arm not in (type(None), ...)]
    noun: Any = arms[0] if arms else hint
    one = _SPECIAL[noun]() if noun in _SPECIAL else _noun(noun)
    listed = typing.get_origin(hint) is tuple
    if name == "ground":
        one["properties"]["layers"] = _several(_layer(), "Native soil, from the top down.")
    return _several(one, one["description"]) if listed else one


def _slab() -> Schema:
    turns = {"type": "array", "items": _TEXT, "description": 'Walls in order: "28 ft east", ...'}
    size = {**_TEXT, "description": "East-west by north-south.", "examples": ["26 ft x 33 ft"]}
    return _noun(Slab, extra={"size": size, "turns": turns}, optional=("corners",))


def _layer() -> Schema:
    words = _words("soil_words", "m2")
    ways = [words, _quantity(Dimension("permeability", "m2"))]
    soil = {"anyOf": ways, "description": "What it feels like."}
    return _noun(SoilLayer, extra={"soil": soil}, optional=("permeability",))


def _joint() -> Schema:
    joint = {**_words("joint_words", "m"), "description": "What goes in."}
    return _noun(FloorWallJoint, extra={"joint": joint}, optional=("aperture",))


def _moist_zone() -> Schema:
    return _noun(MoistZone, extra=_rectangle(), optional=("corners",))


def _gap() -> Schema:
    extra = {
        "gap": {**_words("gap_words", "m"), "description": "What it sounds like or takes."},
        "from_walls": _quantity(_LENGTH, "", "Begins that far from all walls."),
        "along_walls": _quantity(_LENGTH, "", "Lies along all walls, that wide."),
    }
    return _noun(SettledGap, extra={**extra, **_rectangle()}, optional=("aperture", "corners"))


_SPECIAL = {
    FloorWallJoint: _joint,
    MoistZone: _moist_zone,
    SettledGap: _gap,
    Slab: _slab,
}


def _layout() -> Schema:
    made = _noun(Layout, extra={"pipe": _short_pipe()})
    made["properties"]["points"] = _several(_point(), "One for each pit.")
    made["properties"]["fan"] = _fan()
    made["properties"]["pipes"] = _tree()
    return made


def _point() -> Schema:
    made = _noun(SuctionPoint)
    shape: Schema = {"shape": {"const": "hemisphere"}, "radius": _quantity(_LENGTH)}
    bowl = _noun(HemisphericalPit, extra=shape, optional=("volume",))
    box = _noun(BoxPit, extra={"shape": {"const": "box"}})
    volume = _quantity(Dimension("volume", "m3"))
    made["properties"]["pit"] = {"anyOf": [volume, bowl, box], "description": "What is dug."}
    return made


def _fan() -> Schema:
    word = {"enum": list(fan_classes())}
    slowed = _object({"class": word, "speed": _quantity(Dimension("ratio", "-"))}, "", ["class"])
    return {"anyOf": [word, slowed, _noun(Fan)]}


def _sizes() -> Schema:
    return {**_TEXT, "description": "Nominal size.", "examples": list(pipes())}


def _pipe(*, optional: tuple[str, ...] = ()) -> Schema:
    made = _noun(Pipe, extra={"size": _sizes()}, optional=("bore", *optional))
    made["properties"]["fittings"] = {"type": "array", "items": {"enum": list(fittings())}}
    return made


def _tree() -> Schema:
    runs = {"runs": _several(_pipe(), "All pipes but the discharge run.")}
    made = _noun(PipeTree, extra=runs, hidden=("pipes",))
    made["properties"]["discharge"] = _pipe(optional=("name",))
    return made


def _short_pipe() -> Schema:
    tree = _noun(PipeTree, hidden=("pipes", "discharge"))["properties"]
    several = {"type": "array", "items": {"enum": list(fittings())}}
    own = {
        "size": _sizes(),
        "branch": _quantity(_LENGTH, "", "Length of pipe from each pit to the run."),
        "run": _quantity(_LENGTH, "", "Length of the run to the outlet."),
        "branch_fittings": several,
        "run_fittings": several,
        "source": _TEXT,
    }
    needed = ["size", "branch", "run", "discharge_height"]
    return _object({**own, **tree}, "One branch per pit into one run.", needed)


def _condition() -> Schema:
    made = _noun(Condition, hidden=("name",))
    pressure = _quantity(Dimension("pressure", "Pa"))
    named = _noun(ReferencePressure, hidden=("name",))
    made["properties"]["references"] = {
        "anyOf": [
            {"type": "object", "additionalProperties": {"anyOf": [pressure, named]}},
            {"type": "array", "items": _noun(ReferencePressure)},
        ],
        "description": "Pressures of yards and other rooms, by name.",
    }
    return made


def _range() -> Schema:
    end = {"type": ["string", "number"], "description": "An end of the range, with its unit."}
    made = _noun(Uncertain, optional=("law", "source"))
    made["properties"].update(low=end, high=end)
    return made
