"""Where pits and test holes might go on a rectangular floor, before anything is known of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

__all__ = ["Place", "along_walls", "clear_of", "spread_over"]

Place = tuple[float, float]


def along_walls(width: float, length: float, count: int, *, inset: float) -> tuple[Place, ...]:
    """Places at equal steps around a floor, a little way in from its walls.

    Parameters
    ----------
    width, length : float
        Sides of the floor along x and y. [m]
    count : int
        How many places.
    inset : float
        Distance from the walls, less than half of either side. [m]

    Returns
    -------
    places : tuple of (float, float)
        The first in the middle of a long wall, the others counter-clockwise from it. [m]

    Examples
    --------
    >>> along_walls(8.0, 6.0, 4, inset=1.0)
    ((4.0, 1.0), (7.0, 3.0), (4.0, 5.0), (1.0, 3.0))
    """
    a, b = width - 2.0 * inset, length - 2.0 * inset
    # once around from the middle of the south wall, or of the west wall where that is longer
    start = 0.5 * a if width >= length else 2.0 * a + 1.5 * b
    around = 2.0 * (a + b)

    def at(way: float) -> Place:
        for side, x, y in ((a, 1, 0), (b, 0, 1), (a, -1, 0), (b, 0, -1)):
            if way <= side or (x, y) == (0, -1):
                break
            way -= side
        corner = {(1, 0): (0.0, 0.0), (0, 1): (a, 0.0), (-1, 0): (a, b), (0, -1): (0.0, b)}[x, y]
        return inset + corner[0] + x * way, inset + corner[1] + y * way

    return tuple(at((start + i * around / count) % around) for i in range(count))


def spread_over(width: float, length: float, count: int) -> tuple[Place, ...]:
    """Places in rows over a floor, each in the middle of about the same area.

    Parameters
    ----------
    width, length : float
        Sides of the floor along x and y. [m]
    count : int
        How many places.

    Returns
    -------
    places : tuple of (float, float)
        Row by row from the south. [m]

    Examples
    --------
    >>> spread_over(8.0, 4.0, 3)
    ((1.3333333333333333, 2.0), (4.0, 2.0), (6.666666666666667, 2.0))
    """
    rows = min(max(round(math.sqrt(count * length / width)), 1), count)
    ends = [round(count * row / rows) for row in range(rows + 1)]
    places = []
    for row in range(rows):
        several = ends[row + 1] - ends[row]
        y = length * 0.5 * (ends[row] + ends[row + 1]) / count  # a row is as deep as it is full
        places += [(width * (i + 0.5) / several, y) for i in range(several)]
    return tuple(places)


def clear_of(
    width: float,
    length: float,
    wanted: Mapping[str, Place],
    taken: Sequence[Place],
    *,
    clear: float,
) -> dict[str, Place]:
    """Places near wanted ones, yet some way from others and from one another.

    Parameters
    ----------
    width, length : float
        Sides of the floor along x and y. [m]
    wanted : mapping of str to (float, float)
        Places by name. [m]
    taken : sequence of (float, float)
        Places to keep away from. [m]
    clear : float
        Distance to keep. [m]

    Returns
    -------
    places : dict of str to (float, float)
        By name: the wanted place where it is clear, else the nearest clear place up to a quarter
        of the floor away along either side, or the clearest when there is none. [m]

    Examples
    --------
    >>> clear_of(8.0, 6.0, {"middle": (4.0, 3.0)}, [(1.0, 3.0)], clear=1.0)
    {'middle': (4.0, 3.0)}
    """
    found: dict[str, Place] = {}
    for name, place in wanted.items():
        avoid = [*taken, *found.values()]
        near = [place, *_around(place, width, length)]
        room = {p: min((math.dist(p, a) for a in avoid), default=clear) for p in near}
        enough = min(clear, max(room.values()))
        found[name] = min((p for p in room if room[p] >= enough), key=lambda p: math.dist(p, place))
    return found


def _around(place: Place, width: float, length: float) -> list[Place]:
    """A raster around a place, no nearer to a wall than a quarter of the floor or the place is."""
    steps, (x, y) = 12, place
    off = min(x, width - x, y, length - y, 0.25 * width, 0.25 * length)
    raster = [
        (x + 0.25 * width * i / steps, y + 0.25 * length * j / steps)
        for i in range(-steps, steps + 1)
        for j in range(-steps, steps + 1)
    ]
    return [p for p in raster if off <= p[0] <= width - off and off <= p[1] <= length - off]
