"""Drafts: nouns not yet checked, with where each of their fields was written.

A draft is noun-shaped: its fields hold what the file says, further drafts, or lists of them.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from soilflow.case import Uncertain
from soilflow.files.toml_lines import KeyPath

__all__ = [
    "BAD",
    "Draft",
    "Notes",
    "locate",
    "one_of",
    "parse_path",
    "path_text",
    "shown",
    "take",
]

BAD = object()  # stands where a value could not be read and the mistake is already noted

_MOST_UNKNOWN = 20  # of one table, said one by one
# TOML gives a plain key to the table above it, wherever the user thinks it belongs
_ABOVE_TABLES = ("answer", "fan", "question", "resolution", "soil_temperature", "title")


@dataclass
class Draft:
    """A noun that is being read.

    Parameters
    ----------
    noun : type
        The class to be made.
    at : tuple of str and int
        Path of the table it was written in.
    fields : dict
        Values by field of the noun: as written, a draft, a list of drafts, a noun, or BAD.
    origin : dict
        Written path by field, for fields that were not written under their own name.
    guessed : set of str
        Keys that a misspelled key probably stands for.
    """

    noun: type
    at: KeyPath
    fields: dict[str, Any] = field(default_factory=dict)
    origin: dict[str, KeyPath] = field(default_factory=dict)
    guessed: set[str] = field(default_factory=set)

    def put(self, name: str, value: Any, key: str) -> None:
        """Set a field from a written key of another name.

        Parameters
        ----------
        name : str
            Field of the noun.
        value : Any
            Its value.
        key : str
            The key it was written under.
        """
        self.fields[name] = value
        self.origin[name] = (*self.at, key)


@dataclass
class Notes:
    """What is noted down while a case is read.

    Parameters
    ----------
    mistakes : dict of (path, str)
        Where something is wrong, and what, each once and in the order met.
    uncertain : list of Uncertain
        Fields given as ranges.
    """

    mistakes: dict[tuple[KeyPath, str], None] = field(default_factory=dict)
    uncertain: list[Uncertain] = field(default_factory=list)

    def wrong(self, at: KeyPath, message: str) -> None:
        """Note a mistake, once.

        Parameters
        ----------
        at : tuple of str and int
            Written path.
        message : str
            What was read, what is wrong, what would work.
        """
        self.mistakes[at, message] = None

    def table(self, value: Any, at: KeyPath) -> dict[str, Any] | None:
        """Take a value that must be a table.

        Parameters
        ----------
        value : Any
            What was written.
        at : tuple of str and int
            Its path.

        Returns
        -------
        dict or None
            The table; None when it is none, which is noted.
        """
        if isinstance(value, dict):
            return value
        if value is not BAD:
            self.wrong(at, f"{shown(value)}: a table is needed, written under [{_plain(at)}]")
        return None

    def tables(self, value: Any, at: KeyPath) -> list[tuple[KeyPath, dict[str, Any]]]:
        """Take a value that must be a list of tables.

        Parameters
        ----------
        value : Any
            What was written.
        at : tuple of str and int
            Its path.

        Returns
        -------
        list of (path, dict)
            The tables with their paths, without those that are none, which is noted.
        """
        if not isinstance(value, list):
            if value is not BAD:
                self.wrong(at, f"{shown(value)}: several may stand here; write [[{_plain(at)}]]")
            return []
        pairs = [((*at, i), self.table(item, (*at, i))) for i, item in enumerate(value)]
        return [(where, table) for where, table in pairs if table is not None]

    def unknown_keys(self, table: Mapping[str, Any], at: KeyPath, known: Iterable[str]) -> set[str]:
        """Note keys that a table does not have.

        Parameters
        ----------
        table : mapping
            What was written.
        at : tuple of str and int
            Path of the table.
        known : iterable of str
            The keys it may have.

        Returns
        -------
        set of str
            Known keys that are not written, and that an unknown one probably stands for.
        """
        keys, known = set(table), sorted(known)
        unknown = [key for key in table if key not in known]
        guessed: set[str] = set()
        for key in unknown[:_MOST_UNKNOWN]:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
            guessed.update(near)
            if near:
                hint = f'unknown key; did you mean "{near[0]}"?'
            elif at and key in _ABOVE_TABLES:
                hint = "belongs to the whole case; write it above the first [table]"
            else:
                hint = f"unknown key; known are {', '.join(known)}"
            self.wrong((*at, key), hint)
        if more := unknown[_MOST_UNKNOWN:]:
            self.wrong((*at, more[0]), f"unknown key, and so are {len(more) - 1} after it")
        return guessed - keys


def take(
    table: dict[str, Any],
    at: KeyPath,
    noun: type,
    notes: Notes,
    *,
    extra: Iterable[str] = (),
    hidden: Iterable[str] = (),
) -> Draft:
    """Start a draft from a table: copy the noun's own fields, refuse keys nobody knows.

    Parameters
    ----------
    table : dict
        What was written.
    at : tuple of str and int
        Its path.
    noun : type
        The dataclass to be made.
    notes : Notes
        Where unknown keys are noted.
    extra : iterable of str
        Written keys that the caller turns into fields.
    hidden : iterable of str
        Fields that are not written under their own name.

    Returns
    -------
    Draft
        With the noun's own fields; a field behind a misspelled key is BAD.
    """
    own = {f.name for f in fields(noun)} - set(hidden)
    guessed = notes.unknown_keys(table, at, own | set(extra))
    values = {key: table[key] for key in table if key in own}
    values.update(dict.fromkeys(guessed & own, BAD))
    return Draft(noun=noun, at=at, fields=values, guessed=guessed)


def one_of(table: dict[str, Any], draft: Draft, keys: Iterable[str], notes: Notes) -> str | None:
    """Which of several ways to write the same thing was used.

    Parameters
    ----------
    table : dict
        What was written.
    draft : Draft
        The draft made of it.
    keys : iterable of str
        The written keys that exclude each other.
    notes : Notes
        Where a second way is noted.

    Returns
    -------
    str or None
        The first of the keys that is written; None for none of them.
    """
    used = [key for key in keys if key in table]
    for key in used[1:]:
        notes.wrong((*draft.at, key), f'"{used[0]}" already says this; drop one of the two')
    return used[0] if used else None


def _plain(path: KeyPath) -> str:
    """Path without positions, as a [[header]] has it."""
    return ".".join(part for part in path if isinstance(part, str))


def locate(draft: Draft, path: KeyPath) -> KeyPath:
    """Where a field of a noun, or of a noun inside it, was written.

    Parameters
    ----------
    draft : Draft
        Draft of the outer noun.
    path : tuple of str and int
        Path of the field from there.

    Returns
    -------
    tuple of str and int
        The written path.
    """
    if not path or not isinstance(path[0], str):
        return (*draft.at, *path)
    name, rest = path[0], path[1:]
    inner = draft.fields.get(name)
    if isinstance(inner, list) and rest and isinstance(rest[0], int) and rest[0] < len(inner):
        inner, rest = inner[rest[0]], rest[1:]
    if isinstance(inner, Draft):
        return locate(inner, rest)
    return draft.origin.get(name, (*draft.at, *path))


def path_text(path: KeyPath) -> str:
    """Write a path as a person would, ``layouts[0].points[1].x``.

    Parameters
    ----------
    path : tuple of str and int
        Keys and positions.

    Returns
    -------
    str
        The text.
    """
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def parse_path(text: str) -> KeyPath:
    """Read what `path_text` writes, as errors of the nouns carry it.

    Parameters
    ----------
    text : str
        Such as ``layouts[0].points[1].x``; empty for the noun itself.

    Returns
    -------
    tuple of str and int
        Keys and positions.
    """
    parts = re.findall(r"\[(\d+)\]|([^.\[\]]+)", text)
    return tuple(int(index) if index else name for index, name in parts)


def shown(value: Any) -> str:
    """What was written, short enough for a message.

    Parameters
    ----------
    value : Any
        A value read from TOML.

    Returns
    -------
    str
        The value, or what kind of thing it is.
    """
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = value if isinstance(value, str) else str(value)
    return f'"{text}"' if isinstance(value, str) else text
