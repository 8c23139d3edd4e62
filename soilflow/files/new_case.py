"""A first case file from a few words, to be run as it is and then corrected by hand."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from soilflow.data import fan_classes, lookup_word, word_ranges
from soilflow.errors import InputError
from soilflow.files.case_toml import parse_case
from soilflow.files.new_case_words import ADDED, BEGINNING, GAP, LAYOUTS, NO_GAP, THERE, WEATHER
from soilflow.files.written_form import read_text, size_text
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.layout.places import Place, along_walls, clear_of, spread_over
from soilflow.quantity_text import NUMBER_WORDS
from soilflow.site.slab import Slab
from soilflow.units import M_PER_INCH, Depth, Permeability, Volume, feet_inches

__all__ = ["Wishes", "new_case_text"]

_ARM = 12.0 * M_PER_INCH  # a pit's centre from the wall: a core drill's reach, common practice [m]
_HOLE = 24.0 * M_PER_INCH  # a test hole from the two walls of its corner, the same [m]
_ROOM = 18.0 * M_PER_INCH  # between a pit's rim and a test hole, chosen by the project [m]
_MOST_PITS = 40
_USUAL_PITS = ("2 buckets", "1 bucket")
_USUAL_FOOTING = "18 in"  # common practice, no source

Read = TypeVar("Read")


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What a new case is made from; every entry as it was written.

    Parameters
    ----------
    size : str
        Sides of the floor, east-west by north-south.
    soil, joint, gap, slab, fan : str
        Words, or a number with its unit for all but the fan; an empty gap means none.
    pits : int
        How many pits each layout has.
    pit : str
        Volume of one; empty for two buckets, or one where two do not fit.
    footing_depth : str
        Bottom of the footing below the slab underside; empty when nobody knows.
    grade : str
        Ground outside above the slab underside.
    title : str
        Title of the case.
    """

    size: str
    soil: str = "packed silty clay, damp"
    joint: str = "card"
    gap: str = ""
    slab: str = "old, crazed, patched"
    fan: str = "high-suction"
    pits: int = 4
    pit: str = ""
    footing_depth: str = ""
    grade: str = "0 ft"
    title: str = "A new house"


def new_case_text(wishes: Wishes) -> str:
    """Write a commented case file that runs as it is.

    Parameters
    ----------
    wishes : Wishes
        Size, words and numbers.

    Returns
    -------
    text : str
        TOML; two layouts of as many pits, one along the walls and one spread over the floor.

    Raises
    ------
    InputError
        A word that is not known, or pits that do not fit; ``field`` names the wish.
    """
    floor = _field("size", lambda: size_text(wishes.size))
    said = _said(wishes)
    if not 1 <= wishes.pits <= _MOST_PITS:
        raise InputError(f"{wishes.pits}: write 1 to {_MOST_PITS} pits", field="pits")
    pit, walls, spread = _placed(wishes, floor)
    clear = HemisphericalPit(volume=read_text(pit, Volume)).free_radius + _ROOM
    holes = clear_of(*floor, _corners_and_middle(floor), [*walls, *spread], clear=clear)
    metric = re.search(r"\d\s*(m|cm|mm)\b", wishes.size) is not None
    starts = "30 in" if min(floor) > 8.0 * _ARM else feet_inches(0.25 * min(floor), denominator=1)
    gaps = GAP.format(gap=said["gap"], from_walls=_quoted(starts)) if said["gap"] else NO_GAP
    text = "".join(
        [
            BEGINNING.format(**said),
            THERE.format(**said, gaps=gaps),
            ADDED,
            LAYOUTS.format(
                walls=_quoted(_called(wishes.pits, "at a wall", "along the walls")),
                spread=_quoted(_called(wishes.pits, "in the middle", "spread over the floor")),
                at_walls=_pits(walls, pit, metric),
                over_floor=_pits(spread, pit, metric),
            ),
            WEATHER.format(holes=_holes(holes, metric)),
        ]
    )
    parse_case(text, file="new case")  # what the checks above cannot see is found now, not later
    return text


def _field(field: str, read: Callable[[], Read]) -> Read:
    try:
        return read()
    except InputError as error:
        raise InputError(error.message, field=field) from None


def _said(wishes: Wishes) -> dict[str, str]:
    """The wishes in quotation marks, words spelled as their tables do."""
    tables: dict[str, tuple[Mapping[str, Any], Any]] = {
        "soil": (word_ranges("soil_words"), Permeability),
        "joint": (word_ranges("joint_words"), Depth),
        "gap": (word_ranges("gap_words"), Depth),
        "slab": (word_ranges("slab_words"), Permeability),
        "fan": (fan_classes(), None),
        "footing_depth": ({}, Depth),
        "grade": ({}, Depth),
    }
    said = {"size": _quoted(wishes.size), "title": _quoted(wishes.title)}
    for field, (table, alias) in tables.items():
        text = getattr(wishes, field).strip()
        if not text and field == "footing_depth":
            said[field] = _quoted(_USUAL_FOOTING)
        elif not text and field == "gap":
            said[field] = ""
        elif alias is None or (table and not text.lstrip("+-.")[:1].isnumeric()):
            said[field] = _quoted(_word(field, text, table))
        else:
            _field(field, partial(read_text, text, alias))
            said[field] = _quoted(text)
    known = "said" if wishes.footing_depth else "guess: the footing was not measured"
    return {**said, "footing_source": _quoted(known)}


def _word(field: str, text: str, table: Mapping[str, Any]) -> str:
    try:
        entry = lookup_word(table, text)
    except InputError as error:
        known = "; ".join(f'"{word}"' for word in table)
        nearest = error.message if "did you mean" in error.message else f"{text}: not a known word"
        raise InputError(f"{nearest}; the words are {known}", field=field) from None
    high = getattr(entry, "high", None)
    if high == 0.0 or high == math.inf:
        number = '"1 in"' if field == "gap" else '"1e-15 m2"'
        raise InputError(
            f'"{entry.word}" gives no range to compute with; write a number, such as {number}',
            field=field,
        )
    return str(entry.word)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a text of TOML escapes as JSON does


def _placed(
    wishes: Wishes, floor: tuple[float, float]
) -> tuple[str, tuple[Place, ...], tuple[Place, ...]]:
    """Volume of a pit, and the places of both layouts, once the pits are known to fit there."""
    *larger, last = [wishes.pit] if wishes.pit else _USUAL_PITS
    for pit in larger:
        try:
            return pit, *_fitting(wishes, floor, pit)
        except InputError:
            continue  # a smaller one may fit; if not, the last one says why
    return last, *_fitting(wishes, floor, last)


def _fitting(
    wishes: Wishes, floor: tuple[float, float], pit: str
) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
    """Places of both layouts for pits of one volume, none of which undermines a footing.

    A bowl of radius r keeps above the line at 45 degrees from a footing's bottom at depth z when
    its axis is r sqrt(2) - z or more from the wall.
    """
    bowl = HemisphericalPit(volume=_field("pit", lambda: read_text(pit, Volume)))
    footing = read_text(wishes.footing_depth, Depth) if wishes.footing_depth else 0.0
    # an inch more, for places are written to the inch
    off = math.sqrt(2.0) * bowl.free_radius - footing
    inset = min(max(_ARM, (math.ceil(off / M_PER_INCH) + 1) * M_PER_INCH), 0.4 * min(floor))
    walls = along_walls(*floor, wishes.pits, inset=inset)
    spread = spread_over(*floor, wishes.pits)
    for places in (walls, spread):
        problem = _problem(floor, places, bowl, off)
        if problem:
            many = f"{wishes.pits} pit{'s' * (wishes.pits > 1)} of {pit}"
            fewer = "write fewer, or a smaller --pit"
            message = f"{many} do not fit on {wishes.size}: {problem}; {fewer}"
            raise InputError(message, field="pits")
    return walls, spread


def _problem(
    floor: tuple[float, float], places: tuple[Place, ...], bowl: HemisphericalPit, off: float
) -> str:
    """What is wrong with pits in these places; empty when nothing is."""
    width, length = floor
    slab = Slab(
        corners=((0.0, 0.0), (width, 0.0), (width, length), (0.0, length)),
        thickness=0.1,
        permeability=1e-14,
    )
    points = [
        SuctionPoint(name=_letters(i), x=_to_inch(x), y=_to_inch(y), pit=bowl, vacuum=0.0)
        for i, (x, y) in enumerate(places)
    ]
    try:
        Layout(name="new", points=tuple(points)).held_bodies(slab.polygon)
    except InputError as error:
        return error.message
    if min(min(p.x, width - p.x, p.y, length - p.y) for p in points) < off - M_PER_INCH:
        return "they would reach below the line going down and out at 45 degrees from a footing"
    return ""


def _to_inch(value: float) -> float:
    return round(value / M_PER_INCH) * M_PER_INCH


def _corners_and_middle(floor: tuple[float, float]) -> dict[str, Place]:
    width, length = floor
    inset = min(_HOLE, 0.25 * min(floor))
    return {
        "SW": (inset, inset),
        "SE": (width - inset, inset),
        "NE": (width - inset, length - inset),
        "NW": (inset, length - inset),
        "middle": (0.5 * width, 0.5 * length),
    }


def _called(count: int, one: str, several: str) -> str:
    number = NUMBER_WORDS[count - 1] if count <= len(NUMBER_WORDS) else str(count)
    return f"{number} {one if count == 1 else several}"


def _letters(number: int) -> str:
    """A, B, ... Z, AA, AB: the tags of pits on a plan."""
    rest, last = divmod(number, 26)
    return (_letters(rest - 1) if rest else "") + chr(ord("A") + last)


def _at(place: Place, metric: bool) -> list[str]:
    inches = [_to_inch(value) for value in place]
    return [f"{v:.3f} m" if metric else feet_inches(v, denominator=1) for v in inches]


def _pits(places: tuple[Place, ...], volume: str, metric: bool) -> str:
    return "".join(
        f'  {{name = "{_letters(i)}", x = "{x}", y = "{y}", pit = {_quoted(volume)}}},\n'
        for i, place in enumerate(places)
        for x, y in [_at(place, metric)]
    )


def _holes(holes: Mapping[str, Place], metric: bool) -> str:
    return "\n".join(
        f'[[test_holes]]\nname = "{name}"\nx = "{x}"\ny = "{y}"\n'
        for name, place in holes.items()
        for x, y in [_at(place, metric)]
    )
