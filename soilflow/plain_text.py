"""Text from anywhere, made fit to be shown: no character that a terminal obeys or that turns text.

It imports nothing of soilflow, so that the command can report with it before anything is loaded.
"""

from __future__ import annotations

import unicodedata

__all__ = ["control_character", "plain", "printable"]

_TURNING = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # reverse what follows
_LONGEST = 500  # characters of a message; a text can be as long as the file


def control_character(text: str, *, also: str = "") -> str:
    """First character that a terminal would obey instead of show.

    Parameters
    ----------
    text : str
        Any text.
    also : str
        Characters that are allowed all the same.

    Returns
    -------
    str
        The character; empty when there is none.
    """
    for char in text:
        if char in also or char.isprintable():
            continue
        if char in _TURNING or unicodedata.category(char) in ("Cc", "Zl", "Zp", "Cs"):
            return char
    return ""


def printable(text: str) -> str:
    """A text that can be shown on a terminal, in a length that can be read.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The same with control characters spelled out and the end of a long one left out.
    """
    cut = text if len(text) <= _LONGEST else f"{text[:_LONGEST]} ... ({len(text)} characters)"
    return plain(cut, also="")


def plain(text: str, *, also: str = "\n\t") -> str:
    """A text of any length with control characters spelled out.

    Parameters
    ----------
    text : str
        Any text.
    also : str
        Characters that stay all the same.

    Returns
    -------
    str
        The text.

    Examples
    --------
    >>> plain("\\x1b[2J red")
    '\\\\x1b[2J red'
    """
    if not control_character(text, also=also):
        return text
    return "".join(ascii(c)[1:-1] if control_character(c, also=also) else c for c in text)
