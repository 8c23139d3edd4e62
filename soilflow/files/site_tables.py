"""From the tables that say what is there to drafts of the site's nouns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from shapely.geometry import Polygon

from soilflow.files.alternatives import RECTANGLE, missing, outline, plan_of, rectangle, renamed
from soilflow.files.draft import BAD, Draft, Notes, one_of, take
from soilflow.files.leak_tables import LEAK_DRAFTS
from soilflow.files.soil_tables import (
    fill_draft,
    footing_draft,
    layer_draft,
    moist_zone_draft,
    patch_draft,
    soil_field_draft,
)
from soilflow.files.toml_lines import KeyPath
from soilflow.files.written_form import (
    inset_corners,
    read_text,
    rectangle_corners,
    turn_corners,
)
from soilflow.site import (
    ExteriorBackfill,
    FoundationWalls,
    Ground,
    NoDig,
    PerimeterBand,
    RandomSoil,
    SettledGap,
    Site,
    Slab,
    Yard,
    YardSoil,
)
from soilflow.units import Length

__all__ = ["NEEDED", "SITE_TABLES", "Written", "site_draft", "slab_draft"]

Written = Mapping[str, tuple[Any, KeyPath]]  # what was written by table name, and where

NEEDED = ("slab", "walls", "ground")
SITE_TABLES = (
    *NEEDED,
    "fill",
    "bands",
    "backfill",
    "yard_soil",
    "patches",
    "moist_zones",
    "soil_fields",
    "random_soil",
    "footings",
    "gaps",
    *LEAK_DRAFTS,
    "yards",
    "no_dig",
)

_LIKE_A_HOUSE = {
    "slab": '[slab] with size = "26 ft x 33 ft", thickness and permeability',
    "walls": '[walls] with thickness = "8 in" and footing_depth = "18 in"',
    "ground": '[[ground.layers]] with soil = "packed silt"',
}


def slab_draft(written: Written, notes: Notes) -> Draft | object:
    """Draft of the slab.

    Parameters
    ----------
    written : mapping
        The site's tables.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft or BAD
        The draft.
    """
    found = _table(written, "slab", notes)
    if found is None:
        return BAD
    table, at = found
    draft = take(table, at, Slab, notes, extra=("size", "turns"))
    key = one_of(table, draft, ("corners", "size", "turns"), notes)
    if key == "size":
        outline(draft, "corners", "size", notes, lambda: rectangle_corners(table["size"]))
    elif key == "turns":
        outline(draft, "corners", "turns", notes, lambda: turn_corners(table["turns"]))
    elif key is None:
        missing(
            draft,
            "corners",
            ("size", "turns"),
            notes,
            'write size = "26 ft x 33 ft", or turns = ["28 ft east", ...], or corners',
        )
    return draft


def site_draft(written: Written, floor: Polygon | None, notes: Notes) -> Draft:
    """Draft of everything on the site but the slab.

    Parameters
    ----------
    written : mapping
        The site's tables.
    floor : shapely.Polygon or None
        The slab's outline; None when it could not be read. [m]
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft, its slab left open.
    """
    draft = Draft(noun=Site, at=())
    draft.origin = {name: at for name, (_, at) in written.items()}
    draft.fields["walls"] = _single(written, "walls", FoundationWalls, notes)
    draft.fields["ground"] = _ground(written, notes)
    if "backfill" in written:
        draft.fields["backfill"] = _single(written, "backfill", ExteriorBackfill, notes)
    if "yard_soil" in written:
        draft.fields["yard_soil"] = _single(written, "yard_soil", YardSoil, notes)
    if "random_soil" in written:
        draft.fields["random_soil"] = _single(written, "random_soil", RandomSoil, notes)
    if (found := _table(written, "fill", notes)) is not None:
        draft.fields["fill"] = fill_draft(*found, notes)
    makers: dict[str, Callable[[dict[str, Any], KeyPath], Draft]] = {
        "bands": lambda table, at: take(table, at, PerimeterBand, notes),
        "patches": lambda table, at: patch_draft(table, at, notes),
        "moist_zones": lambda table, at: moist_zone_draft(table, at, notes),
        "soil_fields": lambda table, at: soil_field_draft(table, at, notes),
        "footings": lambda table, at: footing_draft(table, at, notes),
        "gaps": lambda table, at: _gap(table, at, floor, notes),
        **{name: partial(_with, draft, notes) for name, draft in LEAK_DRAFTS.items()},
        "yards": lambda table, at: take(table, at, Yard, notes),
        "no_dig": lambda table, at: _no_dig(table, at, notes),
    }
    for name, maker in makers.items():
        if name in written:
            value, at = written[name]
            draft.fields[name] = [maker(table, where) for where, table in notes.tables(value, at)]
    return draft


def _no_dig(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, NoDig, notes, extra=("size", "at"))
    plan_of(table, draft, notes)
    return draft


def _table(written: Written, name: str, notes: Notes) -> tuple[dict[str, Any], KeyPath] | None:
    if name not in written:
        if name in NEEDED:
            notes.wrong((name,), f"missing; write {_LIKE_A_HOUSE[name]}")
        return None
    value, at = written[name]
    table = notes.table(value, at)
    return None if table is None else (table, at)


def _single(written: Written, name: str, noun: type, notes: Notes) -> Draft | object:
    found = _table(written, name, notes)
    return BAD if found is None else take(*found, noun, notes)


def _ground(written: Written, notes: Notes) -> Draft | object:
    found = _table(written, "ground", notes)
    if found is None:
        return BAD
    table, at = found
    draft = take(table, at, Ground, notes)
    if "layers" in table:
        pairs = notes.tables(table["layers"], (*at, "layers"))
        draft.fields["layers"] = [layer_draft(layer, where, notes) for where, layer in pairs] or BAD
        if table["layers"] == []:
            notes.wrong((*at, "layers"), f"no soil layer; write {_LIKE_A_HOUSE['ground']}")
    elif "layers" not in draft.fields:
        draft.fields["layers"] = BAD
        notes.wrong((*at, "layers"), f"missing; write {_LIKE_A_HOUSE['ground']}")
    return draft


def _with(
    draft: Callable[[dict[str, Any], KeyPath, Notes], Draft],
    notes: Notes,
    table: dict[str, Any],
    at: KeyPath,
) -> Draft:
    return draft(table, at, notes)


def _gap(table: dict[str, Any], at: KeyPath, floor: Polygon | None, notes: Notes) -> Draft:
    extra = ("gap", "size", "at", "from_walls", "along_walls")
    draft = take(table, at, SettledGap, notes, extra=extra)
    help_ = 'write gap = "sounds hollow" or aperture = "1 mm"'
    renamed(table, draft, "aperture", "gap", notes, help_)
    key = one_of(table, draft, (*RECTANGLE, "from_walls", "along_walls"), notes)
    if key == "size":
        rectangle(table, draft, notes)
    elif key == "from_walls":
        _inset(table, draft, "corners", "from_walls", floor, notes)
    elif key == "along_walls":
        _inset(table, draft, "hole", "along_walls", floor, notes)
        if "hole" in table:
            notes.wrong((*at, "hole"), '"along_walls" already leaves out the middle; drop hole')
    return draft


def _inset(
    table: dict[str, Any],
    draft: Draft,
    name: str,
    key: str,
    floor: Polygon | None,
    notes: Notes,
) -> None:
    if floor is None:  # the slab's own mistake is already noted
        draft.fields[name] = BAD
        return
    outline(draft, name, key, notes, lambda: inset_corners(floor, read_text(table[key], Length)))
