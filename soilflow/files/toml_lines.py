"""Where each key of a TOML text stands.

The standard library's reader gives values without lines. This one gives lines without values:
it walks the text once and notes the line of every key, table and array item. It also stops at
sizes no case needs, before the reader spends memory on them. A text that is not TOML is walked
as far as it makes sense; what is wrong with it is for the reader to say.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass

from soilflow.bounds import DEPTH, ITEMS, TABLES
from soilflow.errors import InputError

__all__ = ["KeyPath", "OverLimit", "line_index", "line_of"]

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"[ \t\r\n]++|#[^\n]*+")
_LINE_REST = re.compile(r"[^\n]*+")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]++")
_TEXT = re.compile(
    r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']++|'{1,2}(?!'))*+'{3,5}"
    r'|"(?:[^"\\\n]++|\\[^\n])*+"'
    r"|'[^'\n]*+'"
)
_SCALAR = re.compile(r"[^,\]}#\n]*+")


class OverLimit(InputError):
    """A text larger than any case needs.

    Parameters
    ----------
    message : str
        What there is too much of.
    line : int
        Line where the bound is passed, from 1.
    """

    def __init__(self, message: str, *, line: int) -> None:
        super().__init__(message)
        self.line = line


@dataclass
class _Open:
    """A bracket not yet closed: an array, or an inline table when ``items`` is None."""

    path: KeyPath
    items: int | None


def line_index(text: str) -> dict[KeyPath, int]:
    """Find the line of every key, table and array item.

    Parameters
    ----------
    text : str
        The TOML text, with plain newlines.

    Returns
    -------
    dict
        Line, from 1, by path; a path is made of keys and of positions in arrays.

    Raises
    ------
    OverLimit
        Nested too deeply, or an array too long.

    Examples
    --------
    >>> line_index('[slab]\\nthickness = "4 in"\\n')
    {('slab',): 1, ('slab', 'thickness'): 2}
    """
    walk = _Walk(text)
    walk.run()
    return walk.index


def line_of(index: Mapping[KeyPath, int], path: KeyPath) -> int:
    """Line of a key, or of the nearest table around one that is not there.

    Parameters
    ----------
    index : mapping
        What `line_index` found.
    path : tuple of str and int
        Path of the key.

    Returns
    -------
    int
        Line, from 1; 0 when nothing of the path is there.
    """
    for end in range(len(path), 0, -1):
        if path[:end] in index:
            return index[path[:end]]
    return 0


class _Walk:
    def __init__(self, text: str) -> None:
        self.text = text
        self.pos = 0
        self.breaks = [match.start() for match in re.finditer("\n", text)]
        self.index: dict[KeyPath, int] = {}
        self.tables: dict[KeyPath, int] = {}  # how many [[tables]] of each path so far
        self.table: KeyPath = ()

    def run(self) -> None:
        while self._skip_blank():
            if self.text[self.pos] == "[":
                self._header()
            else:
                path = self._assignment(self.table)
                if path is not None:
                    self._value(path)
            self._match(_LINE_REST)

    def _line(self) -> int:
        return bisect.bisect_left(self.breaks, self.pos) + 1

    def _match(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.pos)
        if match is None:
            return ""
        self.pos = match.end()
        return match.group()

    def _skip_blank(self) -> bool:
        """Step over space and comments; whether anything is left."""
        while self._match(_BLANK):
            pass
        return self.pos < len(self.text)

    def _at(self, mark: str) -> bool:
        return self.text.startswith(mark, self.pos)

    def _take(self, mark: str) -> bool:
        if not self._at(mark):
            return False
        self.pos += len(mark)
        return True

    def _mark(self, path: KeyPath, *, at: int | None = None) -> None:
        if len(path) > DEPTH:
            raise OverLimit(f"nested more than {DEPTH} deep", line=self._line())
        self.index.setdefault(path, at or self._line())

    def _key(self) -> list[str]:
        """Read a key with its dots; empty when there is none."""
        parts: list[str] = []
        while True:
            self._match(re.compile(r"[ \t]*+"))
            part = self._match(_BARE_KEY) or self._match(_TEXT)
            if not part:
                return []
            parts.append(_plain_key(part))
            if len(parts) > DEPTH:
                raise OverLimit(f"nested more than {DEPTH} deep", line=self._line())
            self._match(re.compile(r"[ \t]*+"))
            if not self._take("."):
                return parts

    def _header(self) -> None:
        """Read a [table] or [[table]] header."""
        line, many = self._line(), self._take("[[")
        if not many:
            self._take("[")
        parts = self._key()
        path: KeyPath = ()
        for i, part in enumerate(parts):
            path = (*path, part)
            last = i == len(parts) - 1
            if last and many:
                self.index.setdefault(path, line)
                self.tables[path] = count = self.tables.get(path, 0) + 1
                if count > TABLES:
                    raise OverLimit(f"more than {TABLES} [[{part}]] tables", line=line)
                path = (*path, count - 1)
            elif not last and path in self.tables:
                path = (*path, self.tables[path] - 1)
            self._mark(path, at=line)
        if parts:
            self.index[path] = line  # a table named in passing before now has its own line
        self.table = path

    def _assignment(self, base: KeyPath) -> KeyPath | None:
        """Read ``key =`` and note the key; None when it is not there."""
        line, parts = self._line(), self._key()
        if not parts or not self._take("="):
            return None
        for i in range(len(parts)):
            self._mark((*base, *parts[: i + 1]), at=line)
        return (*base, *parts)

    def _value(self, start: KeyPath) -> None:
        """Step over a value and note all that is inside it."""
        open_brackets: list[_Open] = []
        path: KeyPath | None = start
        while path is not None:
            self._match(re.compile(r"[ \t]*+"))
            begun = True
            if self._take("["):
                open_brackets.append(_Open(path, 0))
            elif self._take("{"):
                open_brackets.append(_Open(path, None))
            else:
                begun = False
                if not self._match(_TEXT):
                    self._match(_SCALAR)
            path = self._next(open_brackets, begun)

    def _next(self, open_brackets: list[_Open], begun: bool) -> KeyPath | None:
        """Path of the next value inside the open brackets; None when all are closed."""
        while open_brackets and self._skip_blank():
            inner = open_brackets[-1]
            if self._take("]" if inner.items is not None else "}"):
                open_brackets.pop()
                begun = False
            elif self._take(","):
                begun = True
            elif not begun:
                return None
            elif inner.items is None:
                return self._assignment(inner.path)
            else:
                path = (*inner.path, inner.items)
                inner.items += 1
                if inner.items > ITEMS:
                    raise OverLimit(f"more than {ITEMS} items in a list", line=self._line())
                self._mark(path)
                return path
        return None


def _plain_key(part: str) -> str:
    if part[0] not in "\"'":
        return part
    try:
        return str(tomllib.loads(f"key = {part}")["key"])
    except tomllib.TOMLDecodeError:
        return part
