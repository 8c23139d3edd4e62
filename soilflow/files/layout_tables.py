"""From the tables that say what is added, and what it must stand, to drafts of their nouns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from soilflow.conditions import Condition, ReferencePressure
from soilflow.errors import InputError
from soilflow.files.draft import BAD, Draft, Notes, one_of, shown, take
from soilflow.files.toml_lines import KeyPath
from soilflow.files.written_form import pipe_size, read_text, si_text
from soilflow.layout.fan import Fan, fan_of_class
from soilflow.layout.fan_sets import FanSet
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree
from soilflow.layout.pits import (
    BoxPit,
    CylinderPit,
    HemisphericalPit,
    OnConductor,
    cylinder_of_volume,
)
from soilflow.units import Length, Volume

__all__ = ["Shared", "condition_drafts", "fan_draft", "layout_draft"]

_TREE = ("discharge_height", "entry_coefficient", "exit_coefficient", "air_temperature")
_ONE_PIPE = ("size", "branch", "run", "branch_fittings", "run_fittings", "source", *_TREE)
_PIT = '"2 buckets", or {shape = "box", length = "18 in", width = "18 in", depth = "12 in"}'


@dataclass(frozen=True, kw_only=True)
class Shared:
    """What every layout takes that says nothing of its own.

    Parameters
    ----------
    fan : Any
        Draft, noun or BAD; None when there is none.
    pipe : dict or None
        The shorthand table of pipe.
    """

    fan: Any
    pipe: dict[str, Any] | None


def layout_draft(table: dict[str, Any], at: KeyPath, shared: Shared, notes: Notes) -> Draft:
    """Draft of a layout.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    shared : Shared
        Fan and pipe of all layouts.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Draft
        The draft.
    """
    draft = take(table, at, Layout, notes, extra=("pipe",))
    if "points" in table:
        found = notes.tables(table["points"], (*at, "points"))
        draft.fields["points"] = [_point(point, where, notes) for where, point in found]
    elif "points" not in draft.fields:
        draft.fields["points"] = BAD
        notes.wrong((*at, "points"), "missing; write one [[layouts.points]] for each pit")
    points = draft.fields["points"]
    on_fan = [point for point in points if _on_fan(point)] if points is not BAD else []
    _fan_and_pipes(table, draft, [p for p in on_fan if not p.fields.get("fan")], shared, notes)
    if "more_fans" in table:
        found = notes.tables(table["more_fans"], (*at, "more_fans"))
        draft.fields["more_fans"] = [
            _fan_set(more, where, on_fan, shared, notes) for where, more in found
        ]
    return draft


def _fan_set(
    table: dict[str, Any], at: KeyPath, on_fan: list[Draft], shared: Shared, notes: Notes
) -> Draft:
    """A further fan, which takes what all layouts share as the first one does."""
    draft = take(table, at, FanSet, notes, extra=("pipe",))
    mine = [point for point in on_fan if point.fields.get("fan") == table.get("name")]
    _fan_and_pipes(table, draft, mine, shared, notes)
    if "fan" not in draft.fields:
        draft.fields["fan"] = BAD
        notes.wrong((*at, "fan"), 'missing; write fan = "high-suction"')
    return draft


def _fan_and_pipes(
    table: dict[str, Any], draft: Draft, on_fan: list[Draft], shared: Shared, notes: Notes
) -> None:
    if "fan" in table:
        draft.fields["fan"] = fan_draft(table["fan"], (*draft.at, "fan"), notes)
    elif (on_fan or draft.noun is FanSet) and shared.fan is not None:
        draft.fields["fan"] = shared.fan
        draft.origin["fan"] = ("fan",)
    _pipes(table, draft, on_fan, shared, notes)


def _on_fan(point: Draft) -> bool:
    return "vacuum" not in point.fields and point.fields.get("capped") is not True


def _pipes(
    table: dict[str, Any], draft: Draft, on_fan: list[Draft], shared: Shared, notes: Notes
) -> None:
    key = one_of(table, draft, ("pipes", "pipe"), notes)
    if key == "pipes":
        where = (*draft.at, "pipes")
        tree = notes.table(table["pipes"], where)
        draft.fields["pipes"] = BAD if tree is None else _tree(tree, where, notes)
    elif key == "pipe":
        where = (*draft.at, "pipe")
        short = notes.table(table["pipe"], where)
        draft.put("pipes", BAD if short is None else _short(short, where, on_fan, notes), "pipe")
    elif on_fan and shared.pipe is not None:
        draft.fields["pipes"] = _short(shared.pipe, ("pipe",), on_fan, notes)


def _point(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, SuctionPoint, notes)
    if "pit" in table:
        draft.fields["pit"] = _pit(table["pit"], (*at, "pit"), notes)
    elif "pit" not in draft.fields:
        draft.fields["pit"] = BAD
        notes.wrong((*at, "pit"), f"missing; write pit = {_PIT}")
    return draft


def _pit(value: Any, at: KeyPath, notes: Notes) -> Draft | object:
    if isinstance(value, str):
        draft = Draft(noun=HemisphericalPit, at=at, fields={"volume": value})
        draft.origin["volume"] = at
        return draft
    if not isinstance(value, dict):
        notes.wrong(at, f"{shown(value)}: a volume or a table with a shape is needed: {_PIT}")
        return BAD
    shape = value.get("shape")
    makers = {
        "box": lambda: take(value, at, BoxPit, notes, extra=("shape",)),
        "cylinder": lambda: _cylinder(value, at, notes),
        "drain": lambda: take(value, at, OnConductor, notes, extra=("shape",)),
        "hemisphere": lambda: _hemisphere(value, at, notes),
        "pan": lambda: _cylinder(value, at, notes),
    }
    if isinstance(shape, str) and shape in makers:
        return makers[shape]()
    what = "missing" if shape is None else f"{shown(shape)} is not a shape"
    offer = ", ".join(f'"{word}"' for word in makers)
    notes.wrong((*at, "shape"), f"{what}; there are {offer}")
    return BAD


def _cylinder(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    """By diameter and depth, or by volume and one of the two."""
    draft = take(table, at, CylinderPit, notes, extra=("shape", "volume"))
    if "volume" not in table:
        if "volume" in draft.guessed:
            draft.fields.update({k: BAD for k in ("depth", "diameter") if k not in table})
        return draft
    given = [key for key in ("depth", "diameter") if key in table]
    if len(given) != 1:
        help_ = "goes with depth or diameter, one of the two, and the other follows"
        notes.wrong((*at, "volume"), help_)
        draft.fields.update(dict.fromkeys(("depth", "diameter"), BAD))
        return draft
    sizes = {}
    for key, kind in (("volume", Volume), (given[0], Length)):
        try:
            sizes[key] = read_text(table[key], kind)
        except InputError as error:
            notes.wrong((*at, key), error.message)
    other = "diameter" if given[0] == "depth" else "depth"
    if len(sizes) < 2:
        draft.fields.update(dict.fromkeys((given[0], other), BAD))
    else:
        pit = cylinder_of_volume(**sizes)
        draft.put(other, si_text(getattr(pit, other), "length"), "volume")
    return draft


def _hemisphere(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, HemisphericalPit, notes, extra=("shape", "radius"))
    key = one_of(table, draft, ("volume", "radius"), notes)
    if key == "radius":
        try:
            radius = read_text(table["radius"], Length)
            draft.put("volume", si_text(2.0 / 3.0 * math.pi * radius**3, "volume"), "radius")
        except InputError as error:
            draft.fields["volume"] = BAD
            notes.wrong((*at, "radius"), error.message)
    elif key is None and "radius" in draft.guessed:
        draft.fields["volume"] = BAD
    return draft


def fan_draft(value: Any, at: KeyPath, notes: Notes) -> Any:
    """A fan by the words for its class, or the draft of one by its points.

    Parameters
    ----------
    value : Any
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    Fan, Draft or BAD
        The fan.
    """
    if isinstance(value, dict):
        return (
            _class_at_speed(value, at, notes) if "class" in value else take(value, at, Fan, notes)
        )
    if isinstance(value, str):
        try:
            return fan_of_class(value)
        except InputError as error:
            notes.wrong(at, f"{error.message}; or a table with name, flows and static_pressures")
            return BAD
    notes.wrong(at, f'{shown(value)}: a fan class such as "high-suction", or a table is needed')
    return BAD


def _class_at_speed(table: dict[str, Any], at: KeyPath, notes: Notes) -> Any:
    """A class of fan, turned down: {class = "high-suction", speed = "80 %"}."""
    draft = Draft(noun=Fan, at=at)
    notes.unknown_keys(table, at, ("class", "speed"))
    draft.origin.update(dict.fromkeys(("flows", "static_pressures", "name"), (*at, "class")))
    if not isinstance(table["class"], str):
        notes.wrong((*at, "class"), f'{shown(table["class"])}: a class such as "high-suction"')
        return BAD
    try:
        fan = fan_of_class(table["class"])
    except InputError as error:
        notes.wrong((*at, "class"), error.message)
        return BAD
    draft.fields = {"name": fan.name, "source": fan.source, "speed": table.get("speed", 1.0)}
    draft.fields["flows"] = [si_text(flow, "flow") for flow in fan.flows]
    draft.fields["static_pressures"] = [si_text(p, "pressure") for p in fan.static_pressures]
    return draft


def _tree(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, PipeTree, notes, extra=("runs",), hidden=("pipes",))
    runs = notes.tables(table.get("runs", []), (*at, "runs"))
    pipes = [_pipe(run, where, notes) for where, run in runs]
    draft.put("pipes", BAD if "runs" in draft.guessed else pipes, "runs")
    if "discharge" in table:
        where = (*at, "discharge")
        discharge = notes.table(table["discharge"], where)
        if discharge is None:
            draft.fields["discharge"] = BAD
        else:
            draft.fields["discharge"] = _pipe({"name": DISCHARGE, **discharge}, where, notes)
    return draft


def _pipe(table: dict[str, Any], at: KeyPath, notes: Notes) -> Draft:
    draft = take(table, at, Pipe, notes, extra=("size",))
    key = one_of(table, draft, ("size", "bore"), notes)
    if key == "size":
        _size(table["size"], draft, notes)
    elif key is None and "bore" not in draft.fields:
        draft.fields["bore"] = BAD
        if "size" not in draft.guessed:
            notes.wrong((*at, "size"), 'missing; write size = "4 in" or bore = "4.026 in"')
    return draft


def _size(value: Any, draft: Draft, notes: Notes) -> None:
    """Fill in what a nominal size stands for, where the table does not say it."""
    try:
        size = pipe_size(value)
    except InputError as error:
        draft.put("bore", BAD, "size")
        notes.wrong((*draft.at, "size"), error.message)
        return
    draft.put("bore", si_text(size.bore, "length"), "size")
    draft.fields.setdefault("roughness", si_text(size.roughness, "length"))
    draft.fields.setdefault("source", size.source)


def _short(table: dict[str, Any], at: KeyPath, on_fan: list[Draft], notes: Notes) -> Draft:
    """One branch of equal length from each point into one common run to the discharge."""
    guessed = notes.unknown_keys(table, at, _ONE_PIPE)
    tree = Draft(noun=PipeTree, at=at, guessed=guessed)
    tree.fields = {key: table[key] for key in (*_TREE, "source") if key in table}
    helps = {"size": '"4 in"', "branch": '"10 ft"', "run": '"40 ft"', "discharge_height": '"20 ft"'}
    for key, example in helps.items():
        if key not in table and key not in guessed:
            notes.wrong((*at, key), f"missing; write {key} = {example}")
    if any(key not in table for key in helps):
        tree.fields["discharge_height"] = BAD
    run = _stretch(table, at, "run", notes)
    run.fields["name"] = DISCHARGE
    tree.fields["discharge"] = run
    branches: list[Draft] = []
    for point in on_fan:
        if any(point.fields.get("name") == b.fields["name"] for b in branches):
            continue  # the layout itself says that the name is used twice
        branch = _stretch(table, at, "branch", notes)
        branch.fields["name"] = point.fields.get("name", BAD)
        branch.origin["name"] = (*point.at, "name")
        branches.append(branch)
    tree.fields["pipes"] = branches
    return tree


def _stretch(table: dict[str, Any], at: KeyPath, key: str, notes: Notes) -> Draft:
    draft = Draft(noun=Pipe, at=at)
    draft.put("length", table.get(key, BAD), key)
    if f"{key}_fittings" in table:
        draft.put("fittings", table[f"{key}_fittings"], f"{key}_fittings")
    if "source" in table:
        draft.fields["source"] = table["source"]
    if "size" in table:
        _size(table["size"], draft, notes)
    else:
        draft.put("bore", BAD, "size")
    return draft


def condition_drafts(value: Any, at: KeyPath, notes: Notes) -> list[Draft]:
    """Drafts of the conditions, one for each table, named by its key.

    Parameters
    ----------
    value : Any
        What was written.
    at : tuple of str and int
        Its path.
    notes : Notes
        Where mistakes go.

    Returns
    -------
    list of Draft
        In the order of the file.
    """
    drafts = []
    for name, item in (notes.table(value, at) or {}).items():
        table = notes.table(item, (*at, name))
        if table is not None:
            draft = take(table, (*at, name), Condition, notes, hidden=("name",))
            draft.fields["name"] = name
            if "references" in table:
                where = (*at, name, "references")
                draft.fields["references"] = _references(table["references"], where, notes)
            drafts.append(draft)
    return drafts


def _references(value: Any, at: KeyPath, notes: Notes) -> Any:
    """Pressures by name: garage = "-1 Pa", windward = {above_outdoors = "3 Pa"}; or a list."""
    if isinstance(value, list):
        return [take(t, where, ReferencePressure, notes) for where, t in notes.tables(value, at)]
    drafts = []
    for name, item in (notes.table(value, at) or {}).items():
        if isinstance(item, dict):
            draft = take(item, (*at, name), ReferencePressure, notes, hidden=("name",))
        else:
            draft = Draft(noun=ReferencePressure, at=at)
            draft.put("pressure", item, name)
        draft.fields["name"] = name
        draft.origin["name"] = (*at, name)
        drafts.append(draft)
    return drafts
