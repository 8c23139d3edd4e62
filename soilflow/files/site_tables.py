"""From the tables that say what is there to drafts of the site's nouns."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from shapely.geometry import Polygon

from soilflow.errors import InputError
from soilflow.files.draft import BAD, Draft, Notes, one_of, parse_path, take
from soilflow.files.toml_lines import KeyPath
from soilflow.files.written_form import (
    Corner,
    inset_corners,
    read_text,
    rectangle_corners,
    si_text,
    turn_corners,
)
from soilflow.site import (
    ExteriorBackfill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    Yard,
)
from soilflow.units import Length

__all__ = ["NEEDED", "SITE_TABLES", "Written", "site_draft", "slab_draft"]

Written = Mapping[str, tuple[Any, KeyPath]]  # what was written by table name, and where

NEEDED = ("slab", "walls", "ground")
SITE_TABLES = (*NEEDED, "bands", "backfill", "moist_zones", "gaps", "joints", "yards")

_RECTANGLE = ("corners", "size")
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
        _outline(draft, "corners", "size", notes, lambda: rectangle_corners(table["size"]))
    elif key == "turns":
        _outline(draft, "corners", "turns", notes, lambda: turn_corners(table["turns"]))
    elif key is None:
        _missing(
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
    makers: dict[str, Callable[[dict[str, Any], KeyPath], Draft]] = {
        "bands": lambda table, at: take(table, at, PerimeterBand, notes),
        "moist_zones": lambda table, at: _moist_zone(table, at, notes),
        "gaps": lambda table, at: _gap(table, at, floor, notes),
        "joints": lambda table, at: _joint(table, at, notes),
        "yards": lambda table, at: take(table, at, Yard, notes),
    }
    for name, maker in makers.items():
        if name in written:
            value, at = written[name]
            draft.fields[name] = [maker(table, where) for where, table in notes.tables(value, at)]
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
        draft.fields["layers"] = [_layer(layer, where, notes) for where, layer in pairs] or BAD
        if table["layers"] == []:
            notes.wrong((*at, "layers"), f"no soil layer; write {_LIKE_A_HOUSE['ground']}")
    elif "layers" not in draft.fields:
        draft.fields["layers"] = BAD
        notes.wrong((*at, "layers"), f"missing; write {_LIKE_A_HOUSE['ground']}")
    return draft


def _layer(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, SoilLayer, notes, extra=("soil",))
    help_ = 'write soil = "packed silty clay, damp" or permeability = "1e-12 m2"'
    _renamed(table, draft, "permeability", "soil", notes, help_)
    return draft


def _joint(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, FloorWallJoint, notes, extra=("joint",))
    help_ = 'write joint = "card" or aperture = "0.3 mm"'
    _renamed(table, draft, "aperture", "joint", notes, help_)
    return draft


def _moist_zone(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, MoistZone, notes, extra=("size", "at"))
    key = one_of(table, draft, _RECTANGLE, notes)
    if key == "size":
        _rectangle(table, draft, notes)
    elif key is None:
        help_ = 'write size = "10 ft x 9 ft" with at = ["20 ft", "0 ft"], or corners'
        _missing(draft, "corners", ("size",), notes, help_)
    return draft


def _gap(table: dict[str, Any], at: KeyPath, floor: Polygon | None, notes: Notes) -> Draft:
    extra = ("gap", "size", "at", "from_walls", "along_walls")
    draft = take(table, at, SettledGap, notes, extra=extra)
    help_ = 'write gap = "sounds hollow" or aperture = "1 mm"'
    _renamed(table, draft, "aperture", "gap", notes, help_)
    key = one_of(table, draft, (*_RECTANGLE, "from_walls", "along_walls"), notes)
    if key == "size":
        _rectangle(table, draft, notes)
    elif key == "from_walls":
        _inset(table, draft, "corners", "from_walls", floor, notes)
    elif key == "along_walls":
        _inset(table, draft, "hole", "along_walls", floor, notes)
        if "hole" in table:
            notes.wrong((*at, "hole"), '"along_walls" already leaves out the middle; drop hole')
    return draft


def _renamed(
    table: dict[str, Any], draft: Draft, name: str, word: str, notes: Notes, help_: str
) -> None:
    """Let a key for words stand for a noun's field."""
    key = one_of(table, draft, (word, name), notes)
    if key is None:
        _missing(draft, name, (word,), notes, help_)
    elif key == word:
        draft.put(name, table[word], word)


def _missing(draft: Draft, name: str, others: Iterable[str], notes: Notes, help_: str) -> None:
    """Note a field that was not written in any way, unless a misspelled key hides it."""
    if name not in draft.fields:
        draft.fields[name] = BAD
        if not draft.guessed.intersection(others):
            notes.wrong((*draft.at, name), f"missing; {help_}")


def _rectangle(table: dict[str, Any], draft: Draft, notes: Notes) -> None:
    if "at" not in table:
        draft.fields["corners"] = BAD
        if "at" not in draft.guessed:
            help_ = 'missing; write the south-west corner, at = ["20 ft", "0 ft"]'
            notes.wrong((*draft.at, "at"), help_)
        return
    size, place = table["size"], table["at"]
    _outline(draft, "corners", "size", notes, lambda: rectangle_corners(size, place))


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
    _outline(draft, name, key, notes, lambda: inset_corners(floor, read_text(table[key], Length)))


def _outline(
    draft: Draft, name: str, key: str, notes: Notes, make: Callable[[], tuple[Corner, ...]]
) -> None:
    """Set a field to corners made of what another key says."""
    try:
        corners: Any = [[si_text(x, "length"), si_text(y, "length")] for x, y in make()]
    except InputError as error:
        corners = BAD
        where = parse_path(error.field) if error.field else (key,)
        notes.wrong((*draft.at, *where), error.message)
    draft.put(name, corners, key)
