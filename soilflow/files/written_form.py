"""What people write instead of a number: words, ranges, sizes, wall lengths and turns.

Pure functions from written text to numbers, or to text in SI that a noun's own field reads.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any, get_args, get_origin

from shapely.geometry import Polygon

from soilflow.data import PipeSize, WordRange, lookup_word, pipes, word_ranges
from soilflow.errors import InputError
from soilflow.files.draft import shown
from soilflow.units import (
    M_PER_INCH,
    Coordinate,
    Dimension,
    Length,
    format_si,
    parse_quantity,
)

__all__ = [
    "Spread",
    "inset_corners",
    "marker",
    "pipe_size",
    "read_spread",
    "read_text",
    "rectangle_corners",
    "si_text",
    "size_text",
    "turn_corners",
]

Corner = tuple[float, float]

_COMPASS = {"e": (1, 0), "n": (0, 1), "w": (-1, 0), "s": (0, -1)}
_TURN = re.compile(r"(.*\S)\s+(east|north|west|south|e|n|w|s)\.?", re.IGNORECASE)
_PLAIN_NUMBER = re.compile(r"\s*[+-]?[\d.,/ -]+(?:e[+-]?\d+)?", re.IGNORECASE)
_DECIMALS = 9  # a nanometre: sums of wall lengths close, and edges stay square


@dataclass(frozen=True, kw_only=True)
class Spread:
    """A range, and the one value that stands for it.

    Parameters
    ----------
    value : float
        Geometric mean, or the arithmetic one when an end is not positive. [SI]
    low, high : float
        The ends; equal when the word means one value. [SI]
    law : str
        ``log-uniform``, or ``uniform`` when an end is not positive.
    source : str
        The word and its mark; empty for a range in numbers.
    """

    value: float
    low: float
    high: float
    law: str
    source: str


def marker(hint: Any) -> Dimension | None:
    """Dimension behind the type hint of a single quantity.

    Parameters
    ----------
    hint : type hint
        Such as ``Length`` or ``Length | None``.

    Returns
    -------
    Dimension or None
        The marker; None for anything but one quantity.
    """
    if get_origin(hint) is Annotated:
        return next((m for m in get_args(hint)[1:] if isinstance(m, Dimension)), None)
    arms = [arm for arm in get_args(hint) if arm is not type(None)]
    optional = len(arms) == 1 and type(None) in get_args(hint)
    return marker(arms[0]) if optional else None


def read_text(value: Any, alias: Any) -> float:
    """Read a single quantity.

    Parameters
    ----------
    value : Any
        What was written.
    alias : type hint
        What is needed, such as ``Length``.

    Returns
    -------
    float
        The quantity. [SI]

    Raises
    ------
    InputError
        It is no such quantity.
    """
    dimension = marker(alias)
    assert dimension is not None, f"{alias} is not the alias of a quantity"
    return dimension.read(value)


def si_text(value: float, dimension: Dimension | str) -> str:
    """Text that reads back as exactly this quantity.

    Parameters
    ----------
    value : float
        The quantity. [SI]
    dimension : Dimension or str
        What it is.

    Returns
    -------
    str
        Number and SI unit.
    """
    return format_si(value, dimension, digits=None)


def read_spread(text: str, dimension: Dimension, words: str = "") -> Spread | None:
    """Read a word or a range.

    Parameters
    ----------
    text : str
        Such as ``card``, ``3 to 30`` or ``1e-13 to 1e-12 m2``.
    dimension : Dimension
        What the field needs.
    words : str
        Table of words that may stand here; empty for none.

    Returns
    -------
    Spread or None
        None when the text is neither and should be read as a quantity.

    Raises
    ------
    InputError
        An unknown word, a word without an upper end, or a range that is none.

    Examples
    --------
    >>> spread = read_spread("1 to 4 mm", Dimension("length", "m"))
    >>> spread.low, spread.value, spread.high
    (0.001, 0.002, 0.004)
    """
    first = text.strip().lstrip("+-.")[:1]
    if words and not first.isnumeric():
        table = {w: e for w, e in word_ranges(words).items() if e.unit == dimension.unit}
        return _word_spread(lookup_word(table, text), dimension)
    ends = re.split(r"\s+to\s+|\s*\.\.+\s*", text.strip(), maxsplit=1)
    if len(ends) == 1:
        return None
    high = parse_quantity(ends[1], dimension)
    if _PLAIN_NUMBER.fullmatch(ends[0]):  # "1 to 4 mm": the unit belongs to both
        ends[0] += _PLAIN_NUMBER.sub("", ends[1], count=1)
    return _spread(parse_quantity(ends[0], dimension), high, text)


def _word_spread(entry: WordRange, dimension: Dimension) -> Spread:
    if not math.isfinite(entry.high):
        least = format_si(entry.low, dimension, digits=3)
        raise InputError(
            f'"{entry.word}" only says over {least}: measure it and give the height, such as "1 in"'
        )
    if entry.high == 0.0 and dimension.gt == 0.0:
        raise InputError(
            f'"{entry.word}" has no air path, so it cannot stand here; '
            "draw the place as one of [[moist_zones]] with multiplier = 0"
        )
    for end in (entry.low, entry.high):
        dimension.check(end)
    return _spread(entry.low, entry.high, entry.word, f"word '{entry.word}' ({entry.mark})")


def _spread(low: float, high: float, text: str, source: str = "") -> Spread:
    if low > high:
        raise InputError(f"{text}: runs backwards; write the lower end first")
    if low > 0.0:
        mean = low if low == high else math.sqrt(low * high)
        return Spread(value=mean, low=low, high=high, law="log-uniform", source=source)
    return Spread(value=0.5 * (low + high), low=low, high=high, law="uniform", source=source)


def size_text(value: Any) -> tuple[float, float]:
    """Read the size of a rectangle.

    Parameters
    ----------
    value : Any
        Such as ``26 ft x 33 ft``: along x, east, by along y, north.

    Returns
    -------
    tuple of float
        The two sides. [m]

    Raises
    ------
    InputError
        It is no such text.

    Examples
    --------
    >>> size_text("5 m x 4 m"), size_text("5 x 4 m")
    ((5.0, 4.0), (5.0, 4.0))
    """
    sides = re.split(r"\s*[x×*]\s*|\s+by\s+", value.strip()) if isinstance(value, str) else []
    if len(sides) != 2:
        raise InputError(
            f'{shown(value)}: two lengths are needed, east-west by north-south: "26 ft x 33 ft"'
        )
    if _PLAIN_NUMBER.fullmatch(sides[0]):  # "28 x 40 ft": the unit belongs to both
        sides[0] += _PLAIN_NUMBER.sub("", sides[1], count=1)
    return read_text(sides[0], Length), read_text(sides[1], Length)


def rectangle_corners(size: Any, at: Any = None) -> tuple[Corner, ...]:
    """Corners of a rectangle.

    Parameters
    ----------
    size : Any
        Text such as ``26 ft x 33 ft``.
    at : Any
        Place of its south-west corner, two texts; None puts it at the origin.

    Returns
    -------
    tuple of tuple of float
        The corners, counter-clockwise from the south-west. [m]

    Raises
    ------
    InputError
        Either cannot be read; ``field`` says which.
    """
    try:
        along_x, along_y = size_text(size)
    except InputError as error:
        raise InputError(error.message, field="size") from None
    x, y = (0.0, 0.0) if at is None else _place(at)
    return ((x, y), (x + along_x, y), (x + along_x, y + along_y), (x, y + along_y))


def _place(at: Any) -> Corner:
    try:
        if not isinstance(at, list) or len(at) != 2:
            raise InputError(
                f'{shown(at)}: the south-west corner is needed, east then north: ["20 ft", "0 ft"]'
            )
        return read_text(at[0], Coordinate), read_text(at[1], Coordinate)
    except InputError as error:
        raise InputError(error.message, field="at") from None


def turn_corners(turns: Any) -> tuple[Corner, ...]:
    """Corners of a floor from its wall lengths, walked in order.

    Parameters
    ----------
    turns : Any
        List of texts such as ``28 ft east``. The last wall may be left out.

    Returns
    -------
    tuple of tuple of float
        The corners in the order of the walk, with the south-west of the whole at the origin. [m]

    Raises
    ------
    InputError
        A wall that cannot be read (``field`` says which), or walls that do not close.

    Examples
    --------
    >>> turn_corners(["4 m east", "3 m north", "4 m west"])
    ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0))
    """
    if not isinstance(turns, list):
        raise InputError(f'{shown(turns)}: a list is needed, ["28 ft east", "24 ft north", ...]')
    x = y = 0.0
    walk = [(x, y)]
    for i, turn in enumerate(turns):
        try:
            dx, dy = _step(turn)
        except InputError as error:
            raise InputError(error.message, field=f"turns[{i}]") from None
        x, y = round(x + dx, _DECIMALS), round(y + dy, _DECIMALS)
        walk.append((x, y))
    if x == 0.0 and y == 0.0:
        walk.pop()
    elif x != 0.0 and y != 0.0:
        raise InputError(
            f"the walls do not close: the walk ends {format_si(abs(x), 'length')} "
            f"{'east' if x > 0 else 'west'} and {format_si(abs(y), 'length')} "
            f"{'north' if y > 0 else 'south'} of where it began; only the last wall may be left out"
        )
    west, south = min(p[0] for p in walk), min(p[1] for p in walk)
    return tuple((round(a - west, _DECIMALS), round(b - south, _DECIMALS)) for a, b in walk)


def _step(turn: Any) -> Corner:
    match = _TURN.fullmatch(turn.strip()) if isinstance(turn, str) else None
    if match is None:
        raise InputError(f'{shown(turn)}: a length and a direction are needed, "28 ft east"')
    length = read_text(match[1], Length)
    east, north = _COMPASS[match[2][0].lower()]
    return east * length, north * length


def inset_corners(floor: Polygon, distance: float) -> tuple[Corner, ...]:
    """Corners of the part of a floor that lies some way from all its walls.

    Parameters
    ----------
    floor : shapely.Polygon
        Inner wall faces. [m]
    distance : float
        Distance from the walls. [m]

    Returns
    -------
    tuple of tuple of float
        The corners. [m]

    Raises
    ------
    InputError
        Nothing is left that far in, or it is in several pieces.
    """
    inner = floor.buffer(-distance, join_style="mitre")
    away = format_si(distance, "length", digits=4)
    if inner.is_empty:
        raise InputError(f"no part of the floor lies {away} from all walls; write a smaller one")
    if not isinstance(inner, Polygon):
        raise InputError(
            f"the floor that lies {away} from all walls is in several pieces; "
            "write one gap for each, with corners"
        )
    ring = list(inner.exterior.coords)[:-1]
    return tuple((round(x, _DECIMALS), round(y, _DECIMALS)) for x, y in ring)


def pipe_size(value: Any) -> PipeSize:
    """Find a nominal pipe size.

    Parameters
    ----------
    value : Any
        Such as ``4 in``.

    Returns
    -------
    PipeSize
        Its bore and roughness.

    Raises
    ------
    InputError
        No such size; the message lists them.

    Examples
    --------
    >>> pipe_size('4"').word
    '4 in'
    """
    word = f"{read_text(value, Length) / M_PER_INCH:.6g} in"
    if word not in pipes():
        offer = ", ".join(f'"{size}"' for size in pipes())
        raise InputError(f"{shown(value)}: not a listed size; there are {offer}; or write bore")
    return lookup_word(pipes(), word)
