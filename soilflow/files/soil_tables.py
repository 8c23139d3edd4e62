"""From tables about the soil, and what parts it, to drafts of its nouns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import MappingProxyType
from typing import Any

from soilflow.data import lookup_word
from soilflow.errors import InputError
from soilflow.files.alternatives import missing, plan_of, renamed
from soilflow.files.draft import BAD, Draft, Notes, one_of, take
from soilflow.files.toml_lines import KeyPath
from soilflow.site import (
    Fill,
    FootingOpening,
    InteriorFooting,
    MoistZone,
    Patch,
    Pores,
    SoilField,
    SoilLayer,
)
from soilflow.soil import (
    gas_relative_permeability_brooks_corey,
    gas_relative_permeability_parker,
)

__all__ = [
    "CURVES",
    "fill_draft",
    "footing_draft",
    "layer_draft",
    "moist_zone_draft",
    "patch_draft",
    "soil_field_draft",
]

# What water leaves to air, as a case file calls the published curves.
CURVES: Mapping[str, Callable[[float, float], float]] = MappingProxyType(
    {
        "Parker": gas_relative_permeability_parker,
        "Brooks-Corey": gas_relative_permeability_brooks_corey,
    }
)
_SOIL_HELP = 'write soil = "packed silty clay, damp" or permeability = "1e-12 m2"'


def layer_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of a soil layer.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    return _of_soil(table, take(table, at, SoilLayer, notes, extra=("soil",)), notes)


def fill_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of the fill; parameters and result as for a layer.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    return _of_soil(table, take(table, at, Fill, notes, extra=("soil",)), notes)


def patch_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of a patch of other soil.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    draft = take(table, at, Patch, notes, extra=("soil", "size", "at"))
    plan_of(table, draft, notes)
    return _of_soil(table, draft, notes)


def _of_soil(table: dict[str, Any], draft: Draft, notes: Notes) -> Draft:
    renamed(table, draft, "permeability", "soil", notes, _SOIL_HELP)
    return draft


def moist_zone_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of a moist zone, wet by a ratio or by how much water there is.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    draft = take(table, at, MoistZone, notes, extra=("size", "at", "texture"))
    plan_of(table, draft, notes)
    ways = ("multiplier", "saturation", "suction_head")
    used = one_of(table, draft, ways, notes)
    if used is None:
        missing(draft, "multiplier", ways, notes, "write multiplier = 0.1, or saturation = 0.8")
    for way in set(ways) & set(table) - {used}:
        draft.fields[way] = BAD
    _by_word(table, draft, "curve", "curve", notes, partial(lookup_word, CURVES))
    _by_word(table, draft, "pores", "texture", notes, Pores.of_texture)
    if one_of(table, draft, ("texture", "pores"), notes) == "pores":
        pores = notes.table(table["pores"], (*at, "pores"))
        draft.fields["pores"] = BAD if pores is None else take(pores, (*at, "pores"), Pores, notes)
    return draft


def _by_word(
    table: dict[str, Any],
    draft: Draft,
    name: str,
    key: str,
    notes: Notes,
    find: Callable[[str], Any],
) -> None:
    """Set a field to what a word under some key stands for."""
    if key not in table:
        return
    try:
        found = find(str(table[key]))
    except InputError as error:
        found = BAD
        notes.wrong((*draft.at, key), error.message)
    draft.put(name, found, key)


def footing_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of a footing inside the house.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    draft = take(table, at, InteriorFooting, notes)
    if "openings" in table:
        pairs = notes.tables(table["openings"], (*at, "openings"))
        draft.fields["openings"] = [take(t, where, FootingOpening, notes) for where, t in pairs]
    return draft


def soil_field_draft(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """Draft of a field of multipliers.

    Parameters
    ----------
    table : dict
        What was written; without depths it may hold a plain number for each x and y.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    draft = take(table, at, SoilField, notes)
    rows = draft.fields.get("multipliers")
    if "z" not in table and isinstance(rows, list):
        draft.fields["multipliers"] = [
            [v if isinstance(v, list) else [v] for v in row] if isinstance(row, list) else row
            for row in rows
        ]
    return draft
