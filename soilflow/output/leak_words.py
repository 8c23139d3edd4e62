"""Rooms, cracks, openings, walls and drains: how the plan shows them, and what check says."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from shapely import union_all
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from soilflow.output.page import cfm, pa
from soilflow.site.openings import Opening
from soilflow.site.site import Site
from soilflow.site.walls import select_walls
from soilflow.units import feet_inches, format_si

__all__ = ["leak_lines", "leak_marks"]

_INK = "#1b1b1b"
_PALE = {"facecolor": "0.9"}
_FINE = 0.02  # half width at which a crack or a leaking wall face is drawn [m]


def leak_marks(site: Site) -> Iterator[tuple[BaseGeometry, str, dict[str, Any]]]:
    """What the plan shows of them, from the bottom up.

    Parameters
    ----------
    site : Site
        What is there.

    Yields
    ------
    mark : tuple of (shapely geometry, str, dict)
        Area, name and how it is drawn. [m]
    """
    for line in site.conductors:
        area = line.line.buffer(0.5 * line.width, cap_style="flat", join_style="mitre")
        yield area, line.name, {**_PALE, "linewidth": 0.8, "linestyle": (0, (2, 1)), "hatch": "..."}
    for bare in site.bare_soil:
        yield bare.polygon, bare.name, {**_PALE, "linewidth": 1.0, "hatch": "//"}
    for room in site.rooms:
        hatch = {**_PALE, "hatch": "//"} if room.is_bare else {}
        yield room.polygon, room.name, {"linewidth": 1.2, "linestyle": (0, (8, 2, 2, 2)), **hatch}
    for crack in site.cracks:
        shown = {"linestyle": (0, (1, 1))} if crack.sealed else {"facecolor": _INK}
        area = crack.line.buffer(_FINE, cap_style="flat")
        yield area, crack.name, {"linewidth": 0.6, "zorder": 5, **shown}
    for opening in site.openings:
        shown = {"hatch": "xxxx"} if opening.sealed else {"facecolor": "white"}
        yield opening.plan, opening.name, {"linewidth": 1.2, "zorder": 5, **shown}
    for body in site.wall_bodies:
        walls = select_walls(site.slab.walls, body.walls)
        faces = [LineString([w.start, w.end]).buffer(_FINE, cap_style="flat") for w in walls]
        if body.to_room > 0.0 or body.to_yard > 0.0:
            yield union_all(faces), "", {"linewidth": 0.6, "zorder": 5, "facecolor": "white"}


def leak_lines(site: Site) -> tuple[str, ...]:
    """What check says of them, one sentence each.

    Parameters
    ----------
    site : Site
        What is there.

    Returns
    -------
    lines : tuple of str
        In the order of the site; empty when there are none.
    """
    found = []
    for crack in site.cracks:
        state = ", sealed" if crack.sealed else f", {1e3 * crack.aperture:.3g} mm wide"
        found.append(
            f'crack "{crack.name}", {feet_inches(crack.length, denominator=1)} long{state}'
        )
    found += [f'opening "{o.name}", {_opening(o)}' for o in site.openings]
    for bare in site.bare_soil:
        found.append(f'bare soil "{bare.name}", {bare.polygon.area:.3g} m2')
    for body in site.wall_bodies:
        which = ", ".join(body.walls) or "all"
        ways = {"room": body.to_room, "yard": body.to_yard}
        said = ", ".join(
            f"{format_si(g, 'length', digits=3)} to the {to}" for to, g in ways.items()
        )
        found.append(f"walls that leak ({which}): {said}")
    for line in site.conductors:
        end = f"open to {line.open_to}" if line.open_to else "no open end"
        length = feet_inches(line.line.length, denominator=1)
        found.append(f'{_KINDS[type(line).__name__]} "{line.name}", {length} long, {end}')
    for room in site.rooms:
        found.append(f'room "{room.name}", {room.polygon.area:.3g} m2, floor: {room.floor}')
    return tuple(found)


_KINDS = {"DrainTile": "drain tile", "Trench": "trench", "Channel": "channel"}


def _opening(opening: Opening) -> str:
    across = f"{feet_inches(opening.side)} square"
    if opening.sealed:
        return f"{across}, sealed"
    if opening.flow is None or opening.at_pressure is None:
        return f"{across}, open soil below"
    return f"{across}, {cfm(opening.flow)} at {pa(opening.at_pressure)}"
