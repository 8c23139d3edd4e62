"""The same house in another season, asked for in a few words."""

from __future__ import annotations

import re
from dataclasses import replace

from shapely.geometry import box

from soilflow.data import SeasonWord, season_words
from soilflow.errors import InputError
from soilflow.plain_text import printable
from soilflow.site.moisture import MoistZone
from soilflow.site.site import Site
from soilflow.site.yards import YardSoil
from soilflow.units import format_si, parse_quantity

__all__ = ["SEASONS", "in_season"]


_DRIED = "dried out"
_WET = "wet corner"
_WET_CORNER = re.compile(r"wet (north|south)-?(east|west) corner")
# What can be asked for; one of the four corners stands for all.
SEASONS = ("frozen yard", "dry yard", "soaked yard", "wet north-east corner", _DRIED)


def in_season(site: Site, words: str) -> Site:
    """The site in another season.

    Parameters
    ----------
    site : Site
        As the case has it.
    words : str
        ``frozen yard``, ``dry yard`` or ``soaked yard``: the soil outside the walls, to a depth
        below grade; ``wet north-east corner``, or any other corner: a wet square under the floor
        there; ``dried out``: every moist zone as dry as the soil around it, or ``dried NAME``:
        that one alone. Yards and corners may be followed by a comma and how deep, such as
        ``frozen yard, 4 ft``.

    Returns
    -------
    site : Site
        The changed site; sizes and ratios are those of ``soilflow/data/season_words.toml``.

    Raises
    ------
    InputError
        No such season, no moist zone to dry, no such corner on this floor, a depth that is none,
        or a yard that has a season already.

    Notes
    -----
    Frost stops at the outer wall faces, and does not change how much air the soil holds.
    """
    asked = " ".join(words.lower().replace("_", " ").split())
    table = season_words()
    first, comma, said = (part.strip() for part in asked.partition(","))
    if first in table and first != _WET:
        return _with_yard(site, _to_depth(table[first], said) if comma else table[first])
    corner = _WET_CORNER.fullmatch(first)
    if corner:
        word = _to_depth(table[_WET], said) if comma else table[_WET]
        return _with_wet_corner(site, word, *corner.groups())
    if asked == _DRIED:
        if not site.moist_zones:
            raise InputError(f'"{_DRIED}": this site has no moist zone to dry', field="variant")
        return replace(site, moist_zones=())
    named = [z for z in site.moist_zones if asked == f"dried {z.name.lower().replace('_', ' ')}"]
    if named:
        return replace(site, moist_zones=tuple(z for z in site.moist_zones if z not in named))
    have = ", ".join(f'"{one}"' for one in SEASONS)
    raise InputError(
        f'"{printable(words)}": no such season; there are {have} (any corner will do)',
        field="variant",
    )


def _to_depth(word: SeasonWord, said: str) -> SeasonWord:
    """The word with a depth of the user's own."""
    try:
        depth = parse_quantity(said, "length")
    except InputError as error:
        raise InputError(f'"{word.word}": {error.message}', field="variant") from None
    if depth <= 0.0:
        given = format_si(depth, "length", digits=3)
        raise InputError(f'"{word.word}": {given} is no depth; write "3 ft"', field="variant")
    return replace(word, depth=depth, source=f"{word.source}; the depth as asked for")


def _with_yard(site: Site, word: SeasonWord) -> Site:
    if site.yard_soil is not None:
        raise InputError(
            f'"{word.word}": the site says already what its yard is like, in [yard_soil]',
            field="variant",
        )
    made = YardSoil(looser_by=word.looser_by, depth=word.depth, source=word.source)
    return replace(site, yard_soil=made)


def _with_wet_corner(site: Site, word: SeasonWord, north_south: str, east_west: str) -> Site:
    """A wet square inward of the outermost corner of the floor on that side."""
    right, up = (1 if east_west == "east" else -1), (1 if north_south == "north" else -1)
    x, y = max(site.slab.corners, key=lambda at: right * at[0] + up * at[1])
    west, south, east, north = site.slab.polygon.bounds
    side = min(word.side, east - west, north - south)
    x1, y1 = x - right * side, y - up * side
    (x0, x1), (y0, y1) = sorted((x, x1)), sorted((y, y1))
    asked = f"wet {north_south}-{east_west} corner"
    if not site.slab.polygon.buffer(1e-6).covers(box(x0, y0, x1, y1)):
        raise InputError(
            f'"{asked}": no square of {format_si(side, "length", digits=3)} lies in that corner '
            "of the floor; draw the wet part as one of [[moist_zones]]",
            field="variant",
        )
    name, names = "wet corner", {zone.name for zone in site.moist_zones}
    while name in names:
        name += "+"
    zone = MoistZone(
        name=name,
        corners=((x0, y0), (x1, y0), (x1, y1), (x0, y1)),
        bottom=word.depth,
        multiplier=word.looser_by,
        source=word.source,
    )
    return replace(site, moist_zones=(*site.moist_zones, zone))
