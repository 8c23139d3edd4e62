"""From drafts to nouns: every field checked at once, every mistake put where it was written."""

from __future__ import annotations

import functools
import math
import typing
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from soilflow.case import Uncertain
from soilflow.errors import InputError
from soilflow.files.draft import BAD, Draft, Notes, locate, parse_path, shown
from soilflow.files.toml_lines import KeyPath
from soilflow.files.written_form import marker, read_spread, si_text
from soilflow.layout.pipes import PipeTree
from soilflow.site import (
    Channel,
    Crack,
    DrainTile,
    ExteriorBackfill,
    Fill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    InteriorFooting,
    MoistZone,
    Opening,
    Patch,
    PerimeterBand,
    Pores,
    RandomSoil,
    Room,
    SettledGap,
    Slab,
    SoilLayer,
    Trench,
    WallBody,
    YardSoil,
)
from soilflow.unit_tables import unit_table
from soilflow.units import Dimension

__all__ = ["FOUND", "WORDS", "example", "make", "markers"]

# Ranges make sense for what is found on a site, not for what is chosen for it.
FOUND = {
    Channel,
    Crack,
    DrainTile,
    ExteriorBackfill,
    Fill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    InteriorFooting,
    MoistZone,
    Opening,
    Patch,
    PerimeterBand,
    Pores,
    RandomSoil,
    Room,
    SettledGap,
    Slab,
    SoilLayer,
    Trench,
    WallBody,
    YardSoil,
}
WORDS = {
    (Crack, "aperture"): "joint_words",
    (ExteriorBackfill, "looser_by"): "band_words",
    (ExteriorBackfill, "width"): "band_words",
    (Fill, "permeability"): "soil_words",
    (FloorWallJoint, "aperture"): "joint_words",
    (Patch, "permeability"): "soil_words",
    (PerimeterBand, "looser_by"): "band_words",
    (PerimeterBand, "width"): "band_words",
    (Room, "permeability"): "slab_words",
    (SettledGap, "aperture"): "gap_words",
    (Slab, "permeability"): "slab_words",
    (SoilLayer, "permeability"): "soil_words",
    (WallBody, "to_room"): "wall_words",
    (WallBody, "to_yard"): "wall_words",
}
_EXAMPLES = {
    "bottom": "3 ft",
    "depth": "12 in",
    "footing_depth": "18 in",
    "thickness": "4 in",
    "width": "18 in",
}


def make(draft: Draft, notes: Notes, *, where: str = "") -> Any:
    """Make the noun of a draft and all nouns inside it.

    Parameters
    ----------
    draft : Draft
        The draft; its lists keep only the drafts whose nouns could be made.
    notes : Notes
        Where mistakes and ranges go.
    where : str
        Path of the noun in the case, for the ranges.

    Returns
    -------
    dataclass instance or BAD
        The noun; BAD when there is a mistake in it, which is noted.
    """
    values: dict[str, Any] = {}
    whole = True
    for name, value in draft.fields.items():
        path = f"{where}.{name}" if where else name
        if isinstance(value, Draft):
            values[name] = make(value, notes, where=path)
        elif isinstance(value, list) and value and isinstance(value[0], Draft):
            values[name], complete = _make_list(draft, name, notes, path)
            whole = whole and complete
        else:
            values[name] = _plain(draft, name, notes, path, values)
    made = _validate(draft, values, notes)
    return made if whole else BAD


def _make_list(draft: Draft, name: str, notes: Notes, path: str) -> tuple[Any, bool]:
    drafts = draft.fields[name]
    nouns = [make(d, notes, where=f"{path}[{i}]") for i, d in enumerate(drafts)]
    kept = [(d, noun) for d, noun in zip(drafts, nouns, strict=True) if noun is not BAD]
    draft.fields[name] = [d for d, _ in kept]
    return [noun for _, noun in kept] or BAD, len(kept) == len(drafts)


def _plain(draft: Draft, name: str, notes: Notes, path: str, values: dict[str, Any]) -> Any:
    """A value as pydantic should see it: words and ranges become the value they stand for."""
    value, hint = draft.fields[name], _hints(draft.noun)[name]
    if value is BAD:
        return BAD
    if hint is bool and not isinstance(value, bool):
        notes.wrong(locate(draft, (name,)), f"{shown(value)}: write true or false, no quotes")
        return BAD
    if (
        hint is float
        and value is not BAD
        and not (type(value) in (int, float) and math.isfinite(value))
    ):
        notes.wrong(locate(draft, (name,)), f"{shown(value)}: a finite number is needed here")
        return BAD
    dimension = marker(hint)
    if dimension is None or not isinstance(value, str) or draft.noun not in FOUND:
        return value
    try:
        spread = read_spread(value, dimension, WORDS.get((draft.noun, name), ""))
    except InputError as error:
        notes.wrong(locate(draft, (name,)), error.message)
        return BAD
    if spread is None:
        return value
    if spread.low < spread.high:
        source = spread.source or str(draft.fields.get("source", "not stated"))
        notes.uncertain.append(
            Uncertain(path=path, low=spread.low, high=spread.high, law=spread.law, source=source)
        )
    if spread.source:
        values.setdefault("source", spread.source)
    return si_text(spread.value, dimension)


def _validate(draft: Draft, values: dict[str, Any], notes: Notes) -> Any:
    """Build the noun; after a mistake in one of its nouns, look for more without that one."""
    flawless = True
    while True:
        try:
            noun = _adapter(draft.noun).validate_python(values)
        except ValidationError as error:
            blamed = [_note(dict(item), draft, values, notes) for item in error.errors()]
        else:
            return noun if flawless else BAD
        flawless = False
        if len(blamed) != 1 or not _drop(blamed[0], draft, values):
            return BAD


def _note(error: Mapping[str, Any], draft: Draft, values: dict[str, Any], notes: Notes) -> KeyPath:
    """Put one finding of pydantic where it was written; its path in the noun."""
    path: KeyPath = tuple(error["loc"])
    if path and values.get(str(path[0])) is BAD:
        return ()
    message = _sentence(error, draft)
    if error["type"] == "value_error" and isinstance(error["ctx"]["error"], InputError):
        cause = error["ctx"]["error"]
        path, message = (*path, *parse_path(cause.field)), cause.message
    notes.wrong(locate(draft, path), message)
    return path


def _drop(path: KeyPath, draft: Draft, values: dict[str, Any]) -> bool:
    """Leave out the noun a mistake across nouns is about; whether there was one."""
    if len(path) < 2 or draft.noun is PipeTree or path[0] == "more_fans":
        return False  # the other pipes cannot be judged without it, nor the points on a fan
    name, i = str(path[0]), path[1]
    group = values.get(name)
    if not isinstance(group, list) or not isinstance(i, int):
        return False
    if i >= len(group) or not is_dataclass(group[i]):
        return False
    values[name] = group[:i] + group[i + 1 :]
    drafts = draft.fields[name]
    draft.fields[name] = drafts[:i] + drafts[i + 1 :]
    return bool(values[name]) or name not in ("layouts", "points")


def _sentence(error: Mapping[str, Any], draft: Draft) -> str:
    """Say in our words what pydantic found."""
    kind, path, value = error["type"], error["loc"], shown(error["input"])
    dimension = markers(draft.noun).get(str(path[0])) if path else None
    if kind == "missing" and len(path) == 1:
        return f'missing; write {path[0]} = "{example(str(path[0]), dimension)}"'
    if kind in ("missing", "too_long", "too_short") and len(path) > 1:
        if path[0] == "lengths":
            return 'three lengths are needed, along x, y and z: ["9 ft", "9 ft", "3 ft"]'
        return 'a corner is two lengths, east then north: ["12 ft", "0 ft"]'
    sentences = {
        "string_type": f"{value}: text in quotation marks is needed",
        "tuple_type": f"{value}: a list is needed, [{value}]",
    }
    return sentences.get(kind) or (
        error["msg"] if kind == "quantity" else f"{value}: {error['msg']}"
    )


def example(name: str, dimension: Dimension | None) -> str:
    """What might be written for a field.

    Parameters
    ----------
    name : str
        The field.
    dimension : Dimension or None
        What it holds; None for anything but a quantity.

    Returns
    -------
    str
        The text.
    """
    if name in _EXAMPLES or dimension is None:
        return _EXAMPLES.get(name, "...")
    return unit_table(dimension).examples[0]


@functools.cache
def markers(noun: type) -> dict[str, Dimension]:
    """Dimensions of the single quantities a noun holds.

    Parameters
    ----------
    noun : type
        The dataclass.

    Returns
    -------
    dict
        Dimension by field.
    """
    found = {name: marker(hint) for name, hint in _hints(noun).items()}
    return {name: dimension for name, dimension in found.items() if dimension is not None}


@functools.cache
def _hints(noun: type) -> dict[str, Any]:
    hints = typing.get_type_hints(noun, include_extras=True)
    return {f.name: hints[f.name] for f in fields(noun)}


@functools.cache
def _adapter(noun: type) -> TypeAdapter[Any]:
    return TypeAdapter(noun)
