"""Joints and cracks cut into segments of about a metre, each of two halves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from soilflow.site.effects import Effect, LeaksAlongLine

__all__ = ["SEGMENT", "LeakPiece", "cut_leaks"]

# Length that is sealed, or said to be open, as one thing: chosen by the project. [m]
SEGMENT = 1.0


@dataclass(frozen=True, kw_only=True)
class LeakPiece:
    """A straight part of one half of a segment.

    Parameters
    ----------
    line : str
        Name of its joint or crack.
    run : int
        Which unbroken line it lies on, counted over all of them.
    segment : int
        Which segment, counted over all lines.
    half : int
        0 for the first half of the segment, 1 for the second.
    start, end : tuple of float
        Its ends in plan. [m]
    begins : float
        True length of its line before it. [m]
    length : float
        Its own true length. [m]
    """

    line: str
    run: int
    segment: int
    half: int
    start: tuple[float, float]
    end: tuple[float, float]
    begins: float
    length: float


def cut_leaks(effects: Sequence[Effect]) -> tuple[tuple[Effect, ...], tuple[LeakPiece, ...]]:
    """Cut every slot into pieces: the same leaks, but each half of a segment by itself.

    Slots of one name that follow end to end are one line; its segments are of one length, as
    near to a metre as the line allows.

    Parameters
    ----------
    effects : sequence of Effect
        What a site does; all but slots is passed on as it is.

    Returns
    -------
    effects : tuple of Effect
        The same with every slot replaced by its pieces.
    pieces : tuple of LeakPiece
        One for each slot among those effects, in their order.
    """
    made: list[Effect] = []
    pieces: list[LeakPiece] = []
    segments = 0
    run: list[LeaksAlongLine] = []
    runs = 0

    def finish() -> None:
        nonlocal segments, runs
        if run:
            count = max(1, round(sum(map(_true_length, run)) / SEGMENT))
            for slot, piece in _cut_run(run, runs, segments, count):
                made.append(slot)
                pieces.append(piece)
            segments, runs = segments + count, runs + 1
            run.clear()

    for effect in effects:
        if isinstance(effect, LeaksAlongLine):
            if run and not _follows(run[-1], effect):
                finish()
            run.append(effect)
        else:
            finish()
            made.append(effect)
    finish()
    return tuple(made), tuple(pieces)


def _true_length(slot: LeaksAlongLine) -> float:
    return math.dist(slot.start, slot.end) * slot.stretch


def _follows(one: LeaksAlongLine, other: LeaksAlongLine) -> bool:
    same = (one.name, one.reference, one.aperture) == (other.name, other.reference, other.aperture)
    return same and math.dist(one.end, other.start) < 1e-6


def _cut_run(
    run: Sequence[LeaksAlongLine], number: int, first: int, count: int
) -> list[tuple[LeaksAlongLine, LeakPiece]]:
    """The pieces of one line of ``count`` segments."""
    half = sum(map(_true_length, run)) / (2 * count)
    found = []
    begins = 0.0
    for slot in run:
        length = _true_length(slot)
        marks = [j * half for j in range(1, 2 * count)]
        inside = [m - begins for m in marks if 1e-6 < m - begins < length - 1e-6]
        bounds = [0.0, *inside, length]
        for low, high in itertools.pairwise(bounds):
            which = min(int((begins + 0.5 * (low + high)) / half), 2 * count - 1)
            start, end = _between(slot, low / length), _between(slot, high / length)
            piece = LeakPiece(
                line=slot.name,
                run=number,
                segment=first + which // 2,
                half=which % 2,
                start=start,
                end=end,
                begins=begins + low,
                length=high - low,
            )
            found.append((replace(slot, start=start, end=end), piece))
        begins += length
    return found


def _between(slot: LeaksAlongLine, share: float) -> tuple[float, float]:
    """A place on a slot; its ends exactly."""
    if share in (0.0, 1.0):
        return slot.end if share else slot.start
    a, b = slot.start, slot.end
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
