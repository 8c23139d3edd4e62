"""Text to number and number to text, in trade or SI spelling.

One parser for every quantity. It refuses what does not fit the dimension that is asked for,
and says what would.
"""

from __future__ import annotations

import difflib
import fractions
import math
import re
import unicodedata
from collections.abc import Iterable

from soilflow.errors import InputError
from soilflow.unit_tables import INDEX, M_PER_INCH, TABLES, Named, canonical, unit_table

__all__ = [
    "NUMBER_WORDS",
    "feet_inches",
    "format_si",
    "format_trade",
    "parse_text",
    "quoted",
    "unit_missing",
]

_NUMBER = (
    r"(?:(?:\d+[-\s]+)?\d+\s*/\s*\d+"  # 1/2, 3-1/2, 3 1/2
    r"|(?:\d{1,3}(?:,\d{3})+(?!\d)|\d+)(?:\.\d*)?"  # 1,200 and 12.5
    r"|\.\d+)"
)
_EXPONENT = r"(?:e[+-]?\d+|\s*[x*·]\s*10\^[+-]?\d+|\^[+-]?\d+)?"
_QUANTITY = re.compile(rf"([+-]?)\s*({_NUMBER})({_EXPONENT})(.*)", re.IGNORECASE)
_FEET_INCHES = re.compile(
    rf"([+-]?)\s*(\d+)\s*(?:'|ft\.?|foot|feet)\s*[-,]?\s*({_NUMBER})\s*(?:\"|in\.?|inch(?:es)?)",
    re.IGNORECASE,
)
_PLAIN = str.maketrans("′’‘″”“−–—‐‑⁄×", "'''\"\"\"-----/x")
NUMBER_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def _plain(text: str) -> str:
    """Fold typographic marks into the characters of a keyboard, a leading word into digits."""
    # Both before normalising, which would glue 10⁻¹² into 10-12 and 3½ into 31/2.
    text = re.sub(r"(?<=10)(?=[⁺⁻⁰¹²³⁴-⁹])", "^", text)
    text = re.sub(r"(?<=\d)(?=[¼½¾⅐-⅞])", " ", text)
    text = unicodedata.normalize("NFKC", text).translate(_PLAIN).replace("''", '"').strip()
    word = re.split(r"[\s-]", text, maxsplit=1)[0].lower()
    if word in NUMBER_WORDS:
        return f"{NUMBER_WORDS.index(word) + 1}{text[len(word) :]}"
    return text


def _value(number: str, exponent: str = "") -> float:
    """Turn the matched pieces of a number into a float; infinite when it has no value."""
    power = re.split(r"[e^]", exponent.lower())[-1] or "0"
    if exponent.startswith("^"):
        return float(f"1e{power}") if number == "10" else math.inf
    if "/" not in number:
        return float(f"{number.replace(',', '')}e{power}")  # in one piece, so exact
    *whole, top, bottom = (float(digits) for digits in re.findall(r"\d+", number))
    return (sum(whole) + (top / bottom if bottom else math.inf)) * float(f"1e{power}")


def quoted(examples: Iterable[str]) -> str:
    """Join what would work into one phrase, each once, in quotation marks.

    Parameters
    ----------
    examples : iterable of str
        Texts that would be accepted.

    Returns
    -------
    str
        The phrase.
    """
    return " or ".join(f'"{e}"' for e in dict.fromkeys(examples))


def unit_missing(number: str, name: str) -> InputError:
    """Show a number that has no unit with two that fit.

    Parameters
    ----------
    number : str
        The number as it was written.
    name : str
        Dimension that is asked for.

    Returns
    -------
    InputError
        To be raised by the caller.
    """
    trade = f"{number} {TABLES[name].units[0].label}"
    si = format_si(parse_text(trade, name), name, digits=3)
    # a length may be a footing's 18 in as well as a floor's 26 ft: offer both
    small = (f"{number} in",) if name == "length" else ()
    return InputError(f"{number}: no unit; write {quoted((trade, *small, si))}")


def _refuse_unit(text: str, number: str, unit: str, name: str) -> InputError:
    """Say what is wrong with a unit, and the nearest thing that would work."""
    table, index, key = TABLES[name], INDEX[name], canonical(unit)
    if re.match(r"(,|-|to\b|\.\.)\s*\.?\d", unit):
        why = "one number is needed here, with a point for decimals"
        return InputError(f"{text}: {why}; write {quoted(table.examples)}")
    if not key:
        return unit_missing(number, name)
    homes = [n for n, words in INDEX.items() if key in words]
    why = f'"{unit}" is a unit of {homes[0]}' if homes else f'"{unit}" is not a known unit'
    article = "an" if name[0] in "aeiou" else "a"
    near = [f"{number} {index[w].label}" for w in difflib.get_close_matches(key, index, n=1)]
    hint = "did you mean" if near else "write"
    return InputError(
        f"{text}: {why}, {article} {name} is needed; {hint} {quoted([*near, *table.examples])}"
    )


def parse_text(text: str, name: str) -> float:
    """Read a quantity of the named dimension, finite but without bounds.

    Parameters
    ----------
    text : str
        Number and unit.
    name : str
        Dimension that is asked for.

    Returns
    -------
    float
        The quantity. [SI]

    Raises
    ------
    InputError
        No number, no unit, or a unit of something else.
    """
    plain, table = _plain(text), unit_table(name)
    if name == "length" and (match := _FEET_INCHES.fullmatch(plain)):
        sign, feet, inches = match.groups()
        size, unit = 12.0 * float(feet) + _value(inches), INDEX[name]["in"]
    elif match := _QUANTITY.fullmatch(plain):
        sign, number, exponent, word = (part.strip() for part in match.groups())
        if canonical(word) not in INDEX[name]:
            raise _refuse_unit(text, sign + number + exponent, word, name)
        size, unit = _value(number, exponent), INDEX[name][canonical(word)]
    else:
        raise InputError(
            f"{text or 'empty text'}: no number in front; write {quoted(table.examples)}"
        )
    value = unit.factor * (-size if sign == "-" else size) + unit.offset
    if not math.isfinite(value):
        raise InputError(f"{text}: not a finite number; write {quoted(table.examples)}")
    return value


def _digits(value: float, digits: int) -> str:
    """Round to significant digits, without an exponent for sizes met in a house."""
    rounded = float(f"{value:.{digits}g}") + 0.0  # + 0.0 turns -0.0 into 0.0
    return f"{rounded:.15g}" if 1e-4 <= abs(rounded) < 1e7 else f"{rounded:g}"


def format_si(value: float, dimension: Named | str, *, digits: int | None = 6) -> str:
    """Write a quantity in its SI unit.

    Parameters
    ----------
    value : float
        The quantity in the SI unit of the dimension. [SI]
    dimension : Dimension or str
        What the number is.
    digits : int or None
        Significant digits; None writes every digit, so that reading gives the same float. [-]

    Returns
    -------
    str
        Number and unit, readable by ``parse_quantity``.

    Examples
    --------
    >>> format_si(-4.0, "pressure"), format_si(1e-12, "permeability")
    ('-4 Pa', '1e-12 m2')
    """
    label = next(u.label for u in unit_table(dimension).units if (u.factor, u.offset) == (1.0, 0.0))
    number = repr(float(value)) if digits is None else _digits(value, digits)
    return f"{number} {label}".rstrip()


def format_trade(value: float, dimension: Named | str) -> str:
    """Write a quantity the way the trade does, to three significant digits.

    Lengths of an inch or more are rounded to the half inch, times take the largest unit
    that leaves a number above one.

    Parameters
    ----------
    value : float
        The quantity in the SI unit of the dimension. [SI]
    dimension : Dimension or str
        What the number is.

    Returns
    -------
    str
        Number and unit, readable by ``parse_quantity``.

    Examples
    --------
    >>> format_trade(1.3716, "length"), format_trade(373.6334, "pressure")
    ('4 ft 6 in', '1.5 in. w.c.')
    """
    table = unit_table(dimension)
    unit = table.units[0]
    if table is TABLES["length"]:
        if abs(value) >= M_PER_INCH:
            return feet_inches(value)
        unit = table.units[1]
    if table is TABLES["time"]:
        unit = next((u for u in reversed(table.units) if abs(value) >= u.factor), unit)
    return f"{_digits((value - unit.offset) / unit.factor, 3)} {unit.label}".rstrip()


def feet_inches(value: float, *, denominator: int = 2) -> str:
    """Write a length in feet and inches, rounded to a fraction of an inch.

    Parameters
    ----------
    value : float
        The length. [m]
    denominator : int
        Rounds to 1/denominator of an inch. [-]

    Returns
    -------
    str
        Such as ``4 ft 6 in``, ``3-1/2 in`` or ``12 ft``.

    Examples
    --------
    >>> feet_inches(1.3843), feet_inches(0.0015875, denominator=16)
    ('4 ft 6-1/2 in', '1/16 in')
    """
    steps = fractions.Fraction(round(abs(value) / M_PER_INCH * denominator), denominator)
    feet, inches = divmod(steps, 12)
    whole, part = divmod(inches, 1)
    words = [f"{feet} ft"] if feet else []
    if inches or not feet:
        words.append(("-".join(str(n) for n in (whole, part) if n) or "0") + " in")
    return ("-" if value < 0 and steps else "") + " ".join(words)
