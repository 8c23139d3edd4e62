"""From the tables of rooms, cracks, openings, walls that leak and drains to drafts of nouns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from soilflow.files.alternatives import plan_of, renamed
from soilflow.files.draft import Draft, Notes, one_of, take
from soilflow.files.toml_lines import KeyPath
from soilflow.site import (
    BareSoil,
    Channel,
    Crack,
    DrainTile,
    FloorWallJoint,
    Opening,
    Room,
    Trench,
    WallBody,
)

__all__ = ["LEAK_DRAFTS"]

Table = dict[str, Any]


def _joint(table: Table, at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, FloorWallJoint, notes, extra=("joint",))
    help_ = 'write joint = "card" or aperture = "0.3 mm"'
    renamed(table, draft, "aperture", "joint", notes, help_)
    return draft


def _crack(table: Table, at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, Crack, notes, extra=("crack",))
    help_ = 'write crack = "card" or aperture = "0.3 mm"'
    renamed(table, draft, "aperture", "crack", notes, help_)
    return draft


def _wall_body(table: Table, at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, WallBody, notes, extra=("body",))
    if one_of(table, draft, ("body", "to_room"), notes) == "body":
        draft.put("to_room", table["body"], "body")
    return draft


def _of_plan(noun: type) -> Callable[[Table, KeyPath, Notes], Draft]:
    def draft(table: Table, at: KeyPath, notes: Notes) -> Draft:
        made = take(table, at, noun, notes, extra=("size", "at"))
        plan_of(table, made, notes)
        return made

    return draft


def _as_written(noun: type) -> Callable[[Table, KeyPath, Notes], Draft]:
    return lambda table, at, notes: take(table, at, noun, notes)


# By table of the site, in the order they are written.
LEAK_DRAFTS: Mapping[str, Callable[[Table, KeyPath, Notes], Draft]] = {
    "joints": _joint,
    "cracks": _crack,
    "openings": _as_written(Opening),
    "bare_soil": _of_plan(BareSoil),
    "wall_bodies": _wall_body,
    "drain_tiles": _as_written(DrainTile),
    "trenches": _as_written(Trench),
    "channels": _as_written(Channel),
    "rooms": _of_plan(Room),
}
