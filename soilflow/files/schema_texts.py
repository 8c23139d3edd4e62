"""Texts of a case file in JSON schema: quantities, ranges, words and sizes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from typing import Any

from soilflow.data import word_ranges
from soilflow.files.make_nouns import example
from soilflow.files.text_patterns import (
    quantity_pattern,
    range_pattern,
    size_pattern,
    word_pattern,
)
from soilflow.files.written_form import marker
from soilflow.unit_tables import unit_table
from soilflow.units import Dimension

__all__ = ["TEXT", "Schema", "definitions", "quantity_schema", "size_schema", "words_schema"]

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}


def definitions(made: Schema) -> Schema:
    """The patterns that the texts of a schema refer to.

    Parameters
    ----------
    made : dict
        A schema whose texts were made here.

    Returns
    -------
    definitions : dict
        To be put under ``$defs``.
    """
    found = {}
    for key in sorted(set(re.findall(r'"#/\$defs/([^"]+)"', json.dumps(made)))):
        name, *more = key.split(", ")
        dimension = Dimension(name, "SI", ge=None if "signed" in more else 0.0)
        make = range_pattern if "range" in more else quantity_pattern
        found[key] = {"type": "string", "pattern": make(dimension)}
    return found


def _named(dimension: Dimension, *more: str) -> Schema:
    signed = ["signed"] if dimension.gt is None and dimension.ge is None else []
    # within allOf, since older editors drop what stands beside a reference
    return {"allOf": [{"$ref": "#/$defs/" + ", ".join([dimension.name, *signed, *more])}]}


def quantity_schema(
    hint: Any, description: str = "", *, words: str = "", ranged: bool = False, key: str = ""
) -> Schema:
    """Text with a unit, a range, one of some words; a bare number where there is no unit.

    Parameters
    ----------
    hint : type hint
        Alias of the quantity, such as ``Length`` or ``Length | None``.
    description : str
        What it is.
    words : str
        Table of words that may stand for it; empty for none.
    ranged : bool
        Whether it may be a range.
    key : str
        Name of the field, for an example.

    Returns
    -------
    schema : dict
        Its schema.
    """
    dimension = marker(hint)
    assert dimension is not None, f"{hint} is not the alias of a quantity"
    ways = [_named(dimension)]
    if dimension.unit == "-":
        ways.append({"type": "number"})
    if ranged:
        ways.append(_named(dimension, "range"))
    if words:
        table = [word for word, e in word_ranges(words).items() if e.unit == dimension.unit]
        ways += words_schema(table)["anyOf"]
    examples = [example(key, dimension), *unit_table(dimension).examples]
    kept = "" if dimension.unit == "-" else f"{dimension.name}, kept in {dimension.unit}"
    return {
        **(ways[0] if len(ways) == 1 else {"anyOf": ways}),
        "description": " ".join(filter(None, [description, f"[{kept}]" if kept else ""])),
        "examples": list(dict.fromkeys(examples)),
    }


def words_schema(table: Iterable[str]) -> Schema:
    """Words to be offered, and the same in other spellings to be taken.

    Parameters
    ----------
    table : iterable of str
        The words.

    Returns
    -------
    schema : dict
        Two ways, under ``anyOf``.
    """
    offered = list(table)
    return {"anyOf": [{"enum": offered}, {"type": "string", "pattern": word_pattern(offered)}]}


def size_schema(what: str) -> Schema:
    """The size of a rectangle.

    Parameters
    ----------
    what : str
        An example.

    Returns
    -------
    schema : dict
        Its schema.
    """
    made = {**TEXT, "pattern": size_pattern(), "examples": [what]}
    return {**made, "description": "East-west by north-south."}
