"""JSON schema of a table that holds a noun, from the noun's own fields and docstring."""

from __future__ import annotations

import re
import types
import typing
from dataclasses import MISSING, Field, fields, is_dataclass
from typing import Any

from soilflow.files.make_nouns import FOUND, WORDS
from soilflow.files.schema_texts import Schema, quantity_schema
from soilflow.files.written_form import marker
from soilflow.units import format_si

__all__ = ["either_of", "hint_schema", "noun_schema", "object_schema", "one_of", "several"]


def object_schema(
    properties: Schema, description: str = "", required: list[str] | None = None, *rules: Schema
) -> Schema:
    """A table with certain keys and no others.

    Parameters
    ----------
    properties : dict
        Schema by key.
    description : str
        What it is.
    required : list of str or None
        Keys that must be there.
    *rules : dict
        What else must hold.

    Returns
    -------
    schema : dict
        Its schema.
    """
    titled = {key: {"title": key.replace("_", " "), **item} for key, item in properties.items()}
    made: Schema = {"type": "object", "properties": titled, "additionalProperties": False}
    if description:
        made["description"] = description
    if required:
        made["required"] = required
    if rules:
        made["allOf"] = list(rules)
    return made


def one_of(*keys: str) -> Schema:
    """Exactly one of several keys.

    Parameters
    ----------
    *keys : str
        The keys.

    Returns
    -------
    schema : dict
        The rule.
    """
    return {"oneOf": [{"required": [key]} for key in keys]}


def either_of(*keys: str) -> Schema:
    """At most one of several keys.

    Parameters
    ----------
    *keys : str
        The keys.

    Returns
    -------
    schema : dict
        The rule.
    """
    written = [{"required": [key]} for key in keys]
    return {"oneOf": [*written, {"not": {"anyOf": written}}]}


def several(items: Schema, description: str, *, least: int = 0) -> Schema:
    """A list of things of one kind.

    Parameters
    ----------
    items : dict
        Schema of one.
    description : str
        What they are.
    least : int
        How many there must be.

    Returns
    -------
    schema : dict
        Its schema.
    """
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


def noun_schema(
    noun: type,
    *rules: Schema,
    extra: Schema | None = None,
    hidden: tuple[str, ...] = (),
    optional: tuple[str, ...] = (),
) -> Schema:
    """A table with the fields of a noun, and the written keys that stand for some of them.

    Parameters
    ----------
    noun : type
        The dataclass.
    *rules : dict
        What else must hold.
    extra : dict or None
        Schema of further keys.
    hidden : tuple of str
        Fields that are not written under their own name.
    optional : tuple of str
        Fields that may be written in another way.

    Returns
    -------
    schema : dict
        Its schema.
    """
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
    return object_schema({**properties, **(extra or {})}, sentence, required, *rules)


def _field(noun: type, field: Field[Any], description: str) -> Schema:
    hint = typing.get_type_hints(noun, include_extras=True)[field.name]
    dimension = marker(hint)
    if dimension is None:
        made = {**hint_schema(hint), "description": description}
    else:
        words = WORDS.get((noun, field.name), "")
        made = quantity_schema(hint, description, words=words, ranged=noun in FOUND, key=field.name)
    default = field.default
    if isinstance(default, float) and dimension is not None and dimension.unit != "-":
        default = format_si(default, dimension)
    plain = isinstance(default, bool | str | float) and default != ""
    return {**made, "default": default} if plain else made


def hint_schema(hint: Any) -> Schema:
    """What may be written for a field that is no single quantity.

    Parameters
    ----------
    hint : type hint
        Of the field.

    Returns
    -------
    schema : dict
        Its schema.
    """
    if marker(hint) is not None:
        return quantity_schema(hint)
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        hint = next(arm for arm in typing.get_args(hint) if arm is not type(None))
    if typing.get_origin(hint) is tuple:
        inner = typing.get_args(hint)
        if inner[1:] == (...,):
            return {"type": "array", "items": hint_schema(inner[0])}
        pair = [hint_schema(item) for item in inner]
        return {"type": "array", "prefixItems": pair, "items": False, "minItems": len(pair)}
    if is_dataclass(hint):
        return noun_schema(typing.cast(type, hint))
    return {"type": {str: "string", bool: "boolean", int: "integer", float: "number"}[hint]}
