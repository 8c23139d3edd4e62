"""Regular expressions for the texts of a case file, made from the tables that read them.

They are for editors: what the reader takes should match, and a wrong unit or word should not.
The reader has the last word; it also folds further typographic marks into plain ones.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from soilflow.data import season_words
from soilflow.quantity_text import NUMBER_WORDS
from soilflow.unit_tables import INDEX
from soilflow.units import Dimension

__all__ = [
    "quantity_pattern",
    "range_pattern",
    "season_pattern",
    "size_pattern",
    "turn_pattern",
    "word_pattern",
]

# What canonical() drops inside a unit.
_GAP = r"[\s.^°-]*"
# What else a character of a unit may be written as.
_LIKE = {
    "'": "['′’‘]",
    '"': "(?:[\"″“”]|''|′′)",
    "/": r"(?:/|[pP][eE][rR]\b)",
    "2": "[2²]",
    "3": "[3³]",
    "c": "[cC℃]",
    "f": "[fF℉]",
    "μ": "[μµΜ]",
}
_NUMBER = (
    r"(?:(?:[0-9]+[-\s]+)?[0-9]+\s*[/⁄]\s*[0-9]+"
    r"|[0-9]*\s*[¼½¾⅐-⅞]"
    r"|(?:[0-9]{1,3}(?:,[0-9]{3})+(?![0-9])|[0-9]+)(?:\.[0-9]*)?"
    r"|\.[0-9]+)"
)
_EXPONENT = (
    r"(?:[eE][+-]?[0-9]+"
    r"|\s*[xX*·×]\s*10(?:\^[+-]?[0-9]+|[⁺⁻]?[⁰¹²³⁴-⁹]+)"
    r"|\^[+-]?[0-9]+"
    r"|[⁺⁻]?[⁰¹²³⁴-⁹]+)?"
)
_SIGN = r"[+−–-]?\s*"


def quantity_pattern(dimension: Dimension) -> str:
    """Pattern of a number with a unit.

    Parameters
    ----------
    dimension : Dimension
        What is written; one that cannot be negative takes no minus sign.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> pattern = quantity_pattern(Dimension("length", "m", ge=0.0))
    >>> [bool(re.search(pattern, text)) for text in ("4 ft 6 in", "4", "4 Pa", "-4 ft")]
    [True, False, False, False]
    """
    return f"^\\s*{_quantity(dimension)}\\s*$"


def range_pattern(dimension: Dimension) -> str:
    """Pattern of two ends with "to" or ".." between them; the first may leave out its unit.

    Parameters
    ----------
    dimension : Dimension
        What is written.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> pattern = range_pattern(Dimension("permeability", "m2", gt=0.0))
    >>> [bool(re.search(pattern, text)) for text in ("1e-13 to 1e-12 m2", "1e-12 m2")]
    [True, False]
    """
    end, bare = _quantity(dimension), f"{_sign(dimension)}{_NUMBER}{_EXPONENT}"
    return f"^\\s*(?:{end}|{bare})(?:\\s+to\\s+|\\s*\\.\\.+\\s*){end}\\s*$"


def season_pattern() -> str:
    """Pattern of a season in words, with a depth behind it or none.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> pattern = season_pattern()
    >>> good = ("Frozen yard, 3 ft", "wet north-east corner", "dried low spot")
    >>> [bool(re.search(pattern, text)) for text in (*good, "frozen yard, 3", "thawing yard")]
    [True, True, True, False, False]
    """
    between, word = r"[\s_]+", _spelled
    yards = "|".join(map(word, (name.split()[0] for name in season_words() if "yard" in name)))
    north, east = ("|".join(map(word, sides)) for sides in (("north", "south"), ("east", "west")))
    corner = f"{word('wet')}{between}(?:{north})-?(?:{east}){between}{word('corner')}"
    depth = f"(?:\\s*,\\s*{_quantity(Dimension('length', 'm', gt=0.0))})?"
    dried = f"{word('dried')}{between}\\S.*"
    return f"^\\s*(?:(?:(?:{yards}){between}{word('yard')}|{corner}){depth}|{dried})\\s*$"


def size_pattern() -> str:
    """Pattern of the two sides of a rectangle.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> bool(re.search(size_pattern(), "26' x 33 ft"))
    True
    """
    side = _quantity(Dimension("length", "m", gt=0.0))
    return f"^\\s*{side}(?:\\s*[x×*]\\s*|\\s+by\\s+){side}\\s*$"


def turn_pattern() -> str:
    """Pattern of a wall length and the way it runs.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> [bool(re.search(turn_pattern(), text)) for text in ("28 ft East", "28 ft left")]
    [True, False]
    """
    ways = "|".join(map(_spelled, ("east", "north", "west", "south")))
    side = _quantity(Dimension("length", "m", gt=0.0))
    return f"^\\s*{side}\\s+(?:{ways}|[enwsENWS])\\.?\\s*$"


def word_pattern(words: Iterable[str]) -> str:
    """Pattern of words in any case, whatever stands between their parts.

    Parameters
    ----------
    words : iterable of str
        The words of a table.

    Returns
    -------
    pattern : str
        For the whole text.

    Examples
    --------
    >>> bool(re.search(word_pattern(["packed silty clay, damp"]), "Packed silty-clay damp"))
    True
    """
    between = r"[^\w/'.]+"
    spelled = [
        between.join("".join(map(_either, part)) for part in re.findall(r"[\w/'.]+", word))
        for word in words
    ]
    return f"^[^\\w/'.]*(?:{'|'.join(spelled)})[^\\w/'.]*$"


def _spelled(word: str) -> str:
    """A word in upper or lower case."""
    return "".join(map(_either, word))


def _either(character: str) -> str:
    """A character in upper or lower case; JSON schema has no way to say that case is the same."""
    low, high = character.lower(), character.upper()
    if low != high and len(high) == 1:
        return f"[{low}{high}]"
    return rf"\{character}" if character in ".^$*+?()[]{}|\\" else character


def _sign(dimension: Dimension) -> str:
    below = dimension.gt is None and dimension.ge is None
    return _SIGN if below or dimension.name == "temperature" else r"\+?\s*"


def _number() -> str:
    words = "|".join("".join(map(_either, word)) for word in NUMBER_WORDS)
    return f"(?:{_NUMBER}{_EXPONENT}|(?:{words})(?=[\\s-]))"


def _quantity(dimension: Dimension) -> str:
    units = INDEX[dimension.name]
    spelled = "|".join(_unit(unit) for unit in sorted(units, key=len, reverse=True) if unit)
    unit = f"{_GAP}(?:{spelled}){_GAP}"
    one = f"{_number()}{_GAP if '' in units else ''}(?:{unit}){'?' if '' in units else ''}"
    if dimension.name == "length":
        feet, inches = (
            f"{_GAP}(?:{'|'.join(_unit(u) for u, of in units.items() if of.label == label)})\\.?"
            for label in ("ft", "in")
        )
        one = f"(?:{one}|[0-9]+{feet}\\s*[-,]?\\s*{_NUMBER}{inches})"
    return f"{_sign(dimension)}{one}"


def _unit(spelling: str) -> str:
    """A spelling as `canonical` leaves it, with room for what it takes away."""
    return _GAP.join(_LIKE.get(character) or _either(character) for character in spelling)
