"""JSON schema of the tables that say what is there."""

from __future__ import annotations

import typing
from collections.abc import Callable
from typing import Any

from soilflow.data import soil_classes
from soilflow.files.schema_nouns import either_of, hint_schema, noun_schema, one_of, several
from soilflow.files.schema_texts import TEXT, Schema, quantity_schema, size_schema, words_schema
from soilflow.files.soil_tables import CURVES
from soilflow.files.text_patterns import turn_pattern
from soilflow.site import (
    BareSoil,
    Channel,
    Crack,
    DrainTile,
    Fill,
    FloorWallJoint,
    Ground,
    MoistZone,
    NoDig,
    Opening,
    Patch,
    Pores,
    Room,
    SettledGap,
    Site,
    Slab,
    SoilField,
    SoilLayer,
    Trench,
    WallBody,
    Yard,
)
from soilflow.site.rooms import FLOORS
from soilflow.site.yards import SIDES
from soilflow.units import Coordinate, Length

__all__ = ["site_table_schema"]


def _rectangle() -> Schema:
    at = {**hint_schema(tuple[Coordinate, Coordinate]), "description": "Its south-west corner."}
    return {"size": size_schema("10 ft x 9 ft"), "at": at}


def site_table_schema(name: str) -> Schema:
    """One of the site's tables, as it may be written.

    Parameters
    ----------
    name : str
        The table.

    Returns
    -------
    schema : dict
        Its schema.
    """
    hint = typing.get_type_hints(Site, include_extras=True)[name]
    arms = [arm for arm in typing.get_args(hint) if arm not in (type(None), ...)]
    noun: Any = arms[0] if arms else hint
    one = _SPECIAL[noun]() if noun in _SPECIAL else noun_schema(noun)
    listed = typing.get_origin(hint) is tuple
    return several(one, one["description"]) if listed else one


def _slab() -> Schema:
    turn = {**TEXT, "pattern": turn_pattern(), "examples": ["28 ft east"]}
    turns = several(turn, "Walls in order; the last may be left out.", least=3)
    rule = one_of("size", "turns", "corners")
    extra = {"size": size_schema("26 ft x 33 ft"), "turns": turns}
    return noun_schema(Slab, rule, extra=extra, optional=("corners",))


def _ground() -> Schema:
    made = noun_schema(Ground)
    layer = _spoken(SoilLayer, "permeability", "soil", "What it feels like.")
    made["properties"]["layers"] = several(layer, "Native soil, from the top down.", least=1)
    return made


def _spoken(noun: type, name: str, word: str, description: str, *rules: Schema) -> Schema:
    """A noun with a key for words that stands for one of its fields."""
    made = noun_schema(noun, one_of(word, name), *rules, optional=(name, "corners"))
    own = made["properties"][name]
    made["properties"][word] = {**own, "title": word, "description": description}
    return made


def _joint() -> Schema:
    return _spoken(FloorWallJoint, "aperture", "joint", "What goes in.")


def _fill() -> Schema:
    return _spoken(Fill, "permeability", "soil", "What it feels like.")


def _patch() -> Schema:
    rules = [one_of("size", "corners"), {"dependentRequired": {"size": ["at"]}}]
    made = _spoken(Patch, "permeability", "soil", "What it feels like.", *rules)
    made["properties"] |= _rectangle()
    return made


def _moist_zone() -> Schema:
    rules = [
        one_of("size", "corners"),
        {"dependentRequired": {"size": ["at"]}},
        one_of("multiplier", "saturation", "suction_head"),
        either_of("multiplier", "texture", "pores"),
    ]
    extra = {
        "curve": {**words_schema(CURVES), "description": "What water leaves to air, by whom."},
        "texture": {**words_schema(soil_classes()), "description": "Texture class of the soil."},
        "pores": noun_schema(Pores, one_of("n", "pore_index")),
        **_rectangle(),
    }
    hidden = ("curve", "pores")
    return noun_schema(MoistZone, *rules, extra=extra, hidden=hidden, optional=("corners",))


def _soil_field() -> Schema:
    made = noun_schema(SoilField)
    deep = made["properties"]["multipliers"]
    flat = {**deep, "items": deep["items"]["items"]}
    made["properties"]["multipliers"] = {"anyOf": [flat, deep], "description": deep["description"]}
    return made


def _gap() -> Schema:
    ways = either_of("corners", "size", "from_walls", "along_walls")
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
    made = noun_schema(Yard, given)
    made["properties"]["side"] |= {"enum": [*SIDES, ""]}  # empty beside corners
    return made


def _crack() -> Schema:
    return _course(_spoken(Crack, "aperture", "crack", "What goes in."))


def _opening() -> Schema:
    both = {"dependentRequired": {"flow": ["at_pressure"], "at_pressure": ["flow"]}}
    return noun_schema(Opening, one_of("area", "diameter"), both)


def _wall_body() -> Schema:
    made = noun_schema(WallBody, either_of("body", "to_room"))
    own = made["properties"]["to_room"]
    made["properties"]["body"] = {**own, "title": "body", "description": "What it is built of."}
    return made


def _of_plan(noun: type) -> Schema:
    rules = [one_of("size", "corners"), {"dependentRequired": {"size": ["at"]}}]
    return noun_schema(noun, *rules, extra=_rectangle(), optional=("corners",))


def _room() -> Schema:
    made = _of_plan(Room)
    made["properties"]["floor"] |= {"enum": list(FLOORS)}
    return made


def _course(made: Schema) -> Schema:
    made["properties"]["points"] |= {"minItems": 2}
    return made


_SPECIAL: dict[type, Callable[[], Schema]] = {
    BareSoil: lambda: _of_plan(BareSoil),
    Channel: lambda: _course(noun_schema(Channel)),
    Crack: _crack,
    DrainTile: lambda: _course(noun_schema(DrainTile)),
    Fill: _fill,
    FloorWallJoint: _joint,
    Ground: _ground,
    MoistZone: _moist_zone,
    NoDig: lambda: _of_plan(NoDig),
    Opening: _opening,
    Patch: _patch,
    Room: _room,
    SettledGap: _gap,
    Slab: _slab,
    SoilField: _soil_field,
    Trench: lambda: _course(noun_schema(Trench)),
    WallBody: _wall_body,
    Yard: _yard,
}
