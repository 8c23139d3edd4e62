"""Slanted walls drawn as stairs, since a grid has only faces that run along its axes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

__all__ = ["SAME", "STEP", "Piece", "stair", "without_spikes"]

# Height of one step: well below a pit, well above a cell at a wall (chosen by the project). [m]
STEP = 0.3
# Coordinates nearer than this are meant to be one. [m]
SAME = 1e-6

Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A drawn stretch of a wall, along one axis.

    Parameters
    ----------
    wall : int
        Number of the wall it belongs to.
    start, end : tuple of float
        Its ends in plan. [m]
    """

    wall: int
    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length(self) -> float:
        """Drawn length. [m]"""
        return math.dist(self.start, self.end)


def stair(start: Point, end: Point, *, step: float = STEP) -> tuple[Point, ...]:
    """Corners of a stair between two points.

    Each step is a run, a rise halfway along it, and the rest of the run: what it adds on one
    side of the straight line it takes on the other, so that areas stay what they are.

    Parameters
    ----------
    start, end : tuple of float
        The points in plan. [m]
    step : float
        Height of one step, about. [m]

    Returns
    -------
    corners : tuple of (float, float)
        From start to end, both included; the same stair backwards when they change places. [m]

    Examples
    --------
    >>> stair((0.0, 0.0), (0.8, 0.2))
    ((0.0, 0.0), (0.4, 0.0), (0.4, 0.2), (0.8, 0.2))
    """
    if end < start:
        return stair(end, start, step=step)[::-1]
    along = 0 if abs(end[0] - start[0]) >= abs(end[1] - start[1]) else 1
    run, rise = (end[a] - start[a] for a in (along, 1 - along))
    if abs(rise) <= SAME:
        return start, end
    count = max(1, round(abs(rise) / step))
    corners = [start]
    for i in range(count):
        place = start[along] + run * (i + 0.5) / count
        level = end[1 - along] if i == count - 1 else start[1 - along] + rise * (i + 1) / count
        for height in (corners[-1][1 - along], level):
            corners.append((place, height) if along == 0 else (height, place))
    return (*corners, end)


def without_spikes(pieces: list[Piece]) -> list[Piece]:
    """An outline freed of parts that run out and straight back again.

    They arise in sharp corners, where a stair starts along the wall beside it.

    Parameters
    ----------
    pieces : list of Piece
        A closed outline, each piece along one axis.

    Returns
    -------
    pieces : list of Piece
        The same outline; a piece is shortened or gone where a spike was.
    """
    found = list(pieces)
    i = 0
    while len(found) > 2 and i < len(found):
        here, there = found[i - 1], found[i]
        if not _turns_back(here, there):
            i += 1
            continue
        if here.length > there.length + SAME:
            kept = [replace(here, end=there.end)]
        elif there.length > here.length + SAME:
            kept = [replace(there, start=here.start)]
        else:
            kept = []
        rest = found[i + 1 :] + found[: i - 1] if i else found[1:-1]
        found, i = kept + rest, 0
    return found


def _turns_back(here: Piece, there: Piece) -> bool:
    """Whether two pieces in a row run along one line, the second against the first."""
    return (
        sum(
            (a - b) * (d - c)
            for a, b, c, d in zip(here.end, here.start, there.start, there.end, strict=True)
        )
        < 0.0
    )
