"""Write a case as TOML: every field, in SI, so that reading gives an equal case."""

from __future__ import annotations

import types
import typing
from dataclasses import fields, is_dataclass
from typing import Any

import tomli_w

from soilflow.case import Case, Uncertain
from soilflow.files.case_tables import RESOLUTIONS
from soilflow.files.field_paths import field_dimension
from soilflow.files.site_tables import SITE_TABLES
from soilflow.files.soil_tables import CURVES
from soilflow.files.written_form import marker, si_text
from soilflow.layout.layout import Layout
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit, OnConductor
from soilflow.site import Site

__all__ = ["write_case"]

_SHAPES = {
    BoxPit: "box",
    CylinderPit: "cylinder",
    HemisphericalPit: "hemisphere",
    OnConductor: "drain",
}


def write_case(case: Case) -> str:
    """Write a case as the text of a case file.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    str
        TOML, which `parse_case` reads as an equal case.

    Raises
    ------
    InputError
        A range of the case belongs to no quantity in it.
    """
    tables: dict[str, Any] = {
        "title": case.title,
        "question": case.question,
        "answer": case.answer,
        "variant_name": case.variant,
        "resolution": _resolution(case),
        "air": _table(case.air),
        **_site(case.site),
        "house_leakage": {} if case.house_leakage is None else _table(case.house_leakage),
        "layouts": [_layout(layout) for layout in case.layouts],
        "conditions": {c.name: _without(_table(c), "name") for c in case.conditions},
        "test_holes": [_table(hole) for hole in case.test_holes],
        "uncertain": [_range(case, uncertain) for uncertain in case.uncertain],
        "variant": {name: _variant(case.site, site) for name, site in case.variants.items()},
    }
    empty = [key for key, value in tables.items() if value in ("", [], {}) and key != "title"]
    return tomli_w.dumps({key: value for key, value in tables.items() if key not in empty})


def _resolution(case: Case) -> Any:
    name = case.resolution.name
    return name if RESOLUTIONS.get(name) == case.resolution else _table(case.resolution)


def _site(site: Site) -> dict[str, Any]:
    tables = {name: getattr(site, name) for name in SITE_TABLES}
    return {name: _value(noun, None) for name, noun in tables.items() if noun not in (None, ())}


def _variant(base: Site, site: Site) -> dict[str, Any]:
    """The tables in which a variant differs."""
    tables = _site(site)
    changed = [name for name in SITE_TABLES if getattr(site, name) != getattr(base, name)]
    none = [name for name in changed if name not in tables]
    found = {name: tables[name] for name in changed if name in tables}
    return {"none": none, **found} if none else found


def _layout(layout: Layout) -> dict[str, Any]:
    table = _table(layout)
    for one in (table, *table["more_fans"]):
        if "pipes" in one:
            pipes = one.pop("pipes")
            discharge = _without(_without(pipes["discharge"], "name"), "into")
            one["pipes"] = {**_without(pipes, "pipes"), "runs": pipes["pipes"]}
            one["pipes"]["discharge"] = discharge
    return table if table["more_fans"] else _without(table, "more_fans")


def _range(case: Case, uncertain: Uncertain) -> dict[str, Any]:
    dimension = field_dimension(case, uncertain.path)
    ends = {"low": uncertain.low, "high": uncertain.high}
    return {**_table(uncertain), **{end: si_text(x, dimension) for end, x in ends.items()}}


def _without(table: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in table.items() if name != key}


def _table(noun: Any) -> dict[str, Any]:
    """A noun as a table, without the fields that hold nothing."""
    hints = typing.get_type_hints(type(noun), include_extras=True)
    values = {f.name: getattr(noun, f.name) for f in fields(noun)}
    written = {k: _value(v, hints[k]) for k, v in values.items() if v is not None}
    return {"shape": _SHAPES[type(noun)], **written} if type(noun) in _SHAPES else written


def _value(value: Any, hint: Any) -> Any:
    dimension = marker(hint)
    if dimension is not None:
        return value if dimension.unit == "-" else si_text(value, dimension)
    if isinstance(value, tuple):
        return [_value(v, h) for v, h in zip(value, _inner(hint, len(value)), strict=True)]
    if callable(value):
        return next(word for word, curve in CURVES.items() if curve is value)
    return _table(value) if is_dataclass(value) else value


def _inner(hint: Any, count: int) -> tuple[Any, ...]:
    """Type hints of the items of a tuple."""
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        hint = next(arm for arm in typing.get_args(hint) if arm is not type(None))
    inner = typing.get_args(hint) or (None, ...)
    return inner[:1] * count if inner[1:] == (...,) else inner
