"""The same house in another season, asked for in a few words."""

from __future__ import annotations

import re
from dataclasses import replace

from soilflow.data import SeasonWord, season_words
from soilflow.errors import InputError
from soilflow.plain_text import printable
from soilflow.site.moisture import MoistZone
from soilflow.site.site import Site
from soilflow.site.yards import YardSoil

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
        that one alone.

    Returns
    -------
    site : Site
        The changed site; sizes and ratios are those of ``soilflow/data/season_words.toml``.

    Raises
    ------
    InputError
        No such season, no moist zone to dry, or a yard that has a season already.
    """
    asked = " ".join(words.lower().replace("_", " ").split())
    table = season_words()
    if asked in table and asked != _WET:
        return _with_yard(site, table[asked])
    corner = _WET_CORNER.fullmatch(asked)
    if corner:
        return _with_wet_corner(site, table[_WET], *corner.groups())
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
    x1, y1 = x - right * word.side, y - up * word.side
    (x0, x1), (y0, y1) = sorted((x, x1)), sorted((y, y1))
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
