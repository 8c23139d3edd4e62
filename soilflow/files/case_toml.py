"""Read a case file: TOML with one table for each noun, all mistakes reported at once.

Text becomes tables, tables become drafts, drafts become nouns: words, ranges, sizes and the
like turn into fields of the nouns first, then every field is checked, and what is wrong is
said with the line and the key it was written under.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from typing import Any

from soilflow.bounds import CASE_BYTES, CORNERS, TABLES, TEXT_CHARACTERS, VALUES
from soilflow.case import Case
from soilflow.errors import CaseError, Mistake
from soilflow.files.case_tables import case_from_tables
from soilflow.files.draft import Notes, path_text
from soilflow.files.toml_lines import KeyPath, OverLimit, line_index, line_of
from soilflow.plain_text import control_character, printable

__all__ = ["parse_case", "read_case"]

_MAX_INTEGER = 2**63  # TOML promises no more

_HDF5 = b"\x89HDF\r\n\x1a\n"
_LINES_IN_PLAN = ("corners", "hole", "points", "turns")
_PROSE = ("answer", "question", "source")  # may run over several lines
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)")


def read_case(path: str | os.PathLike[str]) -> Case:
    """Read a case from a file.

    Parameters
    ----------
    path : str or path-like
        The TOML file.

    Returns
    -------
    Case
        The case.

    Raises
    ------
    CaseError
        With every mistake in the file; or the one reason why it cannot be read.
    """
    file = str(path)
    try:
        with open(path, "rb") as stream:
            data = stream.read(CASE_BYTES + 1)
    except FileNotFoundError:
        raise _refusal(file, "no such file; give the path of a case, a .toml file") from None
    except IsADirectoryError:
        raise _refusal(file, "a directory; give the path of a case in it, a .toml file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refusal(file, f"cannot be read: {reason}") from None
    if data.startswith(_HDF5):
        raise _refusal(file, "an HDF5 file, such as a result; a case is a text file in TOML")
    if len(data) > CASE_BYTES:
        raise _refusal(file, _too_long())
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"byte {error.start + 1} is not UTF-8 text; save the case as UTF-8"
        raise _refusal(file, message, line=line) from None
    return parse_case(text, file=file)


def parse_case(text: str, *, file: str = "<text>") -> Case:
    """Read a case from TOML text.

    Parameters
    ----------
    text : str
        The text.
    file : str
        Name of the file, for the mistakes.

    Returns
    -------
    Case
        The case.

    Raises
    ------
    CaseError
        With every mistake in the text.
    """
    if len(text) > CASE_BYTES:
        raise _refusal(file, _too_long())
    text = text.replace("\r\n", "\n")
    try:
        index = line_index(text)
    except OverLimit as error:
        message = f"{error.message}; no case needs that much"
        raise _refusal(file, message, line=error.line) from None
    tables = _toml(text, file)
    notes = Notes()
    for at, value in _scalars(tables, ()):
        if complaint := _complaint(at, value):
            notes.wrong(at, complaint)
    for at, complaint in _crowds(tables, ()):
        notes.wrong(at, complaint)
    if not notes.mistakes:
        case = case_from_tables(tables, notes)
        if case is not None:
            return case
    found = [
        Mistake(
            file=printable(file),
            line=line_of(index, at),
            field=printable(path_text(at)),
            message=printable(message),
        )
        for at, message in notes.mistakes
    ]
    raise CaseError(tuple(sorted(found, key=lambda mistake: mistake.line)))


def _too_long() -> str:
    return f"longer than {CASE_BYTES / 1e6:g} MB; no case needs that much"


def _refusal(file: str, message: str, *, line: int = 0) -> CaseError:
    mistake = Mistake(file=printable(file), line=line, field="", message=printable(message))
    return CaseError((mistake,))


def _toml(text: str, file: str) -> dict[str, Any]:
    """Read the tables, or say where the text stops being TOML."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = _PLACE.search(str(error))
        line = int(place[1]) if place and place[1] else text.count("\n") + 1
        column = f" at column {place[2]}" if place and place[2] else ""
        reason = _PLACE.sub("", str(error))
        message = f'not TOML{column}: {reason}; texts need quotation marks, thickness = "4 in"'
        raise _refusal(file, message, line=line) from None
    except ValueError:  # from int(), for thousands of digits
        raise _refusal(file, "not TOML: a whole number with thousands of digits") from None
    return tables


def _scalars(value: Any, at: KeyPath) -> Iterator[tuple[KeyPath, Any]]:
    """Every value that is no table and no list, and every key as a text of its own."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield (*at, key), key
            yield from _scalars(item, (*at, key))
    elif isinstance(value, list):
        for i, item in enumerate(value):
            yield from _scalars(item, (*at, i))
    else:
        yield at, value


def _crowds(value: Any, at: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Tables and lists with more in them than a house has, each with what there is too much of."""
    if at[-1:] == ("multipliers",):
        if (count := _count(value)) > VALUES:
            yield at, f"{count} values; at most {VALUES} can stand here"
        return
    items = value.values() if isinstance(value, dict) else value
    inner = [item for item in items if isinstance(item, dict)]
    lists = [item for item in items if isinstance(item, list)]
    drawn = isinstance(value, list) and at[-1:] and at[-1] in _LINES_IN_PLAN
    if at and len(inner) > TABLES:
        yield at, f"{len(inner)} tables; at most {TABLES} can stand here"
    elif drawn and len(value) > CORNERS and not inner:
        yield at, f"{len(value)} items; at most {CORNERS} can stand here"
    elif inner or lists:
        for key, item in value.items() if isinstance(value, dict) else enumerate(value):
            if isinstance(item, dict | list):
                yield from _crowds(item, (*at, key))


def _count(value: Any) -> int:
    """How many values there are in lists of lists."""
    return sum(map(_count, value)) if isinstance(value, list) else 1


def _complaint(at: KeyPath, value: Any) -> str:
    """What makes a value unfit to be shown; empty when nothing does."""
    if isinstance(value, str):
        prose = at[-1] in _PROSE
        if len(value) > TEXT_CHARACTERS and not prose:
            return f"{len(value)} characters; at most {TEXT_CHARACTERS} can stand here"
        if char := control_character(value, also="\n\t" if prose else ""):
            return f"contains the character {char!a}, which cannot be shown; remove it"
    elif isinstance(value, int) and abs(value) > _MAX_INTEGER:
        return "a whole number longer than TOML allows"
    return ""
