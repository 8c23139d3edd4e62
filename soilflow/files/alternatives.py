"""Fields that may be written in more than one way: words for numbers, sizes for corners."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from soilflow.errors import InputError
from soilflow.files.draft import BAD, Draft, Notes, one_of, parse_path
from soilflow.files.written_form import Corner, rectangle_corners, si_text

__all__ = ["RECTANGLE", "missing", "outline", "plan_of", "rectangle", "renamed"]

RECTANGLE = ("corners", "size")


def renamed(
    table: dict[str, Any], draft: Draft, name: str, word: str, notes: Notes, help_: str
) -> None:
    """Let a key for words stand for a noun's field.

    Parameters
    ----------
    table : dict
        What was written.
    draft : Draft
        The draft made of it.
    name : str
        The field.
    word : str
        The key for words.
    notes : Notes
        Where mistakes go.
    help_ : str
        What would work.
    """
    key = one_of(table, draft, (word, name), notes)
    if key is None:
        missing(draft, name, (word,), notes, help_)
    elif key == word:
        draft.put(name, table[word], word)


def missing(draft: Draft, name: str, others: Iterable[str], notes: Notes, help_: str) -> None:
    """Note a field that was not written in any way, unless a misspelled key hides it.

    Parameters
    ----------
    draft : Draft
        The draft.
    name : str
        The field.
    others : iterable of str
        Keys that would have said it.
    notes : Notes
        Where mistakes go.
    help_ : str
        What would work.
    """
    if name not in draft.fields:
        draft.fields[name] = BAD
        if not draft.guessed.intersection(others):
            notes.wrong((*draft.at, name), f"missing; {help_}")


def plan_of(table: dict[str, Any], draft: Draft, notes: Notes) -> None:
    """Set the corners of a place in plan, written as corners or as a size and a place.

    Parameters
    ----------
    table : dict
        What was written.
    draft : Draft
        The draft made of it.
    notes : Notes
        Where mistakes go.
    """
    key = one_of(table, draft, RECTANGLE, notes)
    if key == "size":
        rectangle(table, draft, notes)
    elif key is None:
        help_ = 'write size = "10 ft x 9 ft" with at = ["20 ft", "0 ft"], or corners'
        missing(draft, "corners", ("size",), notes, help_)


def rectangle(table: dict[str, Any], draft: Draft, notes: Notes) -> None:
    """Set corners from a size and the place of the south-west corner.

    Parameters
    ----------
    table : dict
        What was written.
    draft : Draft
        The draft made of it.
    notes : Notes
        Where mistakes go.
    """
    if "at" not in table:
        draft.fields["corners"] = BAD
        if "at" not in draft.guessed:
            help_ = 'missing; write the south-west corner, at = ["20 ft", "0 ft"]'
            notes.wrong((*draft.at, "at"), help_)
        return
    size, place = table["size"], table["at"]
    outline(draft, "corners", "size", notes, lambda: rectangle_corners(size, place))


def outline(
    draft: Draft, name: str, key: str, notes: Notes, make: Callable[[], tuple[Corner, ...]]
) -> None:
    """Set a field to corners made of what another key says.

    Parameters
    ----------
    draft : Draft
        The draft.
    name : str
        The field.
    key : str
        The other key.
    notes : Notes
        Where mistakes go.
    make : callable
        Makes the corners.
    """
    try:
        corners: Any = [[si_text(x, "length"), si_text(y, "length")] for x, y in make()]
    except InputError as error:
        corners = BAD
        where = parse_path(error.field) if error.field else (key,)
        notes.wrong((*draft.at, *where), error.message)
    draft.put(name, corners, key)
