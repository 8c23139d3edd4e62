"""The one hairline crack, along a joint or crack, that would hurt most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.leak_update import LeakFields
from soilflow.flow.side_by_side import Progress
from soilflow.results.leak_changes import FloorMeasures
from soilflow.site.effects import Effect, LeaksAlongLine
from soilflow.site.leak_pieces import LeakPiece
from soilflow.studies.leak_model import LeakModel
from soilflow.studies.leak_outcome import LeakState, Outcome, fields_of, outcome
from soilflow.studies.leak_sensitivity import margin_sensitivity

__all__ = [
    "HAIRLINE_APERTURE",
    "HAIRLINE_LENGTH",
    "Hairline",
    "Window",
    "hairline_windows",
    "with_hairline",
    "worst_hairline",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# A crack that no eye finds, over a length that no inspection misses: chosen by the project. [m]
HAIRLINE_APERTURE = 1e-4
HAIRLINE_LENGTH = 3.0


@dataclass(frozen=True, kw_only=True)
class Window:
    """A stretch of one line where a hairline might be.

    Parameters
    ----------
    line : str
        Name of the joint or crack.
    run : int
        Which unbroken line it is.
    begins : float
        True length of the line before it. [m]
    length : float
        Its true length; the whole line where that is shorter than a hairline. [m]
    """

    line: str
    run: int
    begins: float
    length: float

    def share(self, piece: LeakPiece) -> float:
        """How much of a piece it takes.

        Parameters
        ----------
        piece : LeakPiece
            A piece of any line.

        Returns
        -------
        share : float
            Of the piece's length. [-]
        """
        if piece.run != self.run:
            return 0.0
        low = max(piece.begins, self.begins)
        high = min(piece.begins + piece.length, self.begins + self.length)
        return max(high - low, 0.0) / piece.length


@dataclass(frozen=True, kw_only=True)
class Hairline:
    """The worst hairline, and what it does.

    Parameters
    ----------
    window : Window
        Where it runs.
    start, end : tuple of float
        Its ends in plan. [m]
    after : FloorMeasures
        The floor with it, fan and pipes at their new operating point.
    tried : int
        Places looked at, of which the likely ones exactly.
    exact : int
        Places worked out exactly.
    """

    window: Window
    start: tuple[float, float]
    end: tuple[float, float]
    after: FloorMeasures
    tried: int
    exact: int


def hairline_windows(pieces: Sequence[LeakPiece]) -> tuple[Window, ...]:
    """Every place for a hairline: one from each half-metre mark, and one at the end of a line.

    Parameters
    ----------
    pieces : sequence of LeakPiece
        Pieces of all lines.

    Returns
    -------
    windows : tuple of Window
        Line by line.
    """
    runs: dict[int, list[LeakPiece]] = {}
    for piece in pieces:
        runs.setdefault(piece.run, []).append(piece)
    found = []
    for run, mine in runs.items():
        total = mine[-1].begins + mine[-1].length
        length = min(total, HAIRLINE_LENGTH)
        last = total - length
        marks = sorted({0.0, last, *(p.begins for p in mine if p.begins < last - 1e-6)})
        found += [Window(line=mine[0].line, run=run, begins=mark, length=length) for mark in marks]
    return tuple(found)


def worst_hairline(
    model: LeakModel,
    state: LeakState,
    *,
    shortlist: int | None = 8,
    progress: Progress | None = None,
) -> Hairline | None:
    """Search all joints and cracks for the hairline that costs most margin.

    The hairline adds its conductance, by the cubic law through the slab's thickness, to that of
    the slot that is there; both share the way through the soil.

    Parameters
    ----------
    model : LeakModel
        The house, solved with ``hairline`` so that tight lines are among its pieces.
    state : LeakState
        As it is.
    shortlist : int or None
        Places worked out exactly: half of them those with most effect on the worst spot to first
        order, half those with least suction below. None works out all of them.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    hairline : Hairline or None
        The worst of them; None for a slab without any line.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    OutOfRangeError
        A fan would work outside its curve.
    """
    windows = hairline_windows(model.pieces)
    if not windows:
        return None
    changes = [_change(model, window) for window in windows]
    picked = range(len(windows)) if shortlist is None else _likely(model, state, changes, shortlist)
    rows = np.unique(np.concatenate([changes[i][0] for i in picked]))
    fields = fields_of(model, rows, progress=progress)
    found = {i: _after(model, state, fields, changes[i]) for i in picked}
    worst = min(found, key=lambda i: found[i].driven.worst.margin)
    window = windows[worst]
    return Hairline(
        window=window,
        start=_place(model.pieces, window.run, window.begins),
        end=_place(model.pieces, window.run, window.begins + window.length),
        after=found[worst].driven,
        tried=len(windows),
        exact=len(found),
    )


Change = tuple[Index, Array, Array]


def _change(model: LeakModel, window: Window) -> Change:
    """Slots a hairline widens, what it adds to each, and what it adds straight into pits."""
    shares = np.array([window.share(piece) for piece in model.pieces])
    rows = np.flatnonzero(shares[model.piece] > 0.0)
    paths, cube = model.paths, HAIRLINE_APERTURE**3
    wider = paths.conductance(paths.above + cube * model.cubic) - paths.conductance()
    wider += np.where(model.is_open[model.piece], 0.0, model.linked)
    direct = cube * np.tensordot(shares, model.direct_cubic, axes=1)
    return rows, (shares[model.piece] * wider)[rows], np.asarray(direct)


def _likely(model: LeakModel, state: LeakState, changes: Sequence[Change], count: int) -> list[int]:
    """Places that may be the worst: by effect on the worst spot, and by lack of suction there."""
    drop = model.paths.drop(model.solution.response.unit_fields) @ state.point.u
    lam = margin_sensitivity(model, state).at_slots
    costs = [float(lam[rows] @ (added * drop[rows])) for rows, added, _ in changes]
    suction = []
    for rows, added, _ in changes:
        leaks = np.where(model.paths.port[rows] >= 0, added, 0.0)  # links see no room
        some = leaks.sum() > 0.0
        suction.append(float(-(leaks @ drop[rows]) / leaks.sum()) if some else np.inf)
    half = max(count // 2, 1)
    first = sorted(range(len(changes)), key=lambda i: costs[i], reverse=True)[:half]
    rest = [i for i in np.argsort(suction, kind="stable").tolist() if i not in first]
    return [*first, *rest[: max(count - half, 0)]]


def _after(model: LeakModel, state: LeakState, fields: LeakFields, change: Change) -> Outcome:
    rows, added, direct = change
    return outcome(model, state, fields, rows, added, direct)


def _place(pieces: Sequence[LeakPiece], run: int, along: float) -> tuple[float, float]:
    """A place by its true length from the start of a line. [m]"""
    mine = [piece for piece in pieces if piece.run == run]
    piece = next((p for p in mine if along <= p.begins + p.length), mine[-1])
    share = min(max((along - piece.begins) / piece.length, 0.0), 1.0)
    a, b = piece.start, piece.end
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def with_hairline(
    effects: Sequence[Effect],
    pieces: Sequence[LeakPiece],
    is_open: Sequence[bool],
    window: Window,
) -> tuple[Effect, ...]:
    """The same house with the hairline laid into it, for a solve in full.

    Parameters
    ----------
    effects : sequence of Effect
        With every line cut into pieces, tight ones open by a hairline.
    pieces : sequence of LeakPiece
        One for each slot among them, in their order.
    is_open : sequence of bool
        Which of them are really open.
    window : Window
        Where the hairline runs.

    Returns
    -------
    effects : tuple of Effect
        Tight lines gone but for the hairline. A slot that has it keeps its aperture, and with
        it its radius, and gets a shorter way through the slab for the conductance of both.
    """
    made: list[Effect] = []
    order = iter(zip(pieces, is_open, strict=True))
    for effect in effects:
        if isinstance(effect, LeaksAlongLine):
            piece, really = next(order)
            made += _slot_with(effect, piece, really, window)
        else:
            made.append(effect)
    return tuple(made)


def _slot_with(
    slot: LeaksAlongLine, piece: LeakPiece, is_open: bool, window: Window
) -> list[LeaksAlongLine]:
    """A piece of line cut at the ends of the hairline."""
    cube = slot.aperture**3
    path = slot.path * (cube / (cube + HAIRLINE_APERTURE**3) if is_open else 1.0)
    low = max(piece.begins, window.begins) - piece.begins
    high = min(piece.begins + piece.length, window.begins + window.length) - piece.begins
    if piece.run != window.run or high <= low + 1e-9:
        return [slot] if is_open else []
    marks = [0.0, low / piece.length, high / piece.length, 1.0]
    a, b = slot.start, slot.end
    ends = [(a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])) for s in marks]
    parts = [
        (ends[0], ends[1], slot.path, is_open),
        (ends[1], ends[2], path, True),
        (ends[2], ends[3], slot.path, is_open),
    ]
    return [
        replace(slot, start=start, end=end, path=length)
        for start, end, length, there in parts
        if there and max(abs(end[0] - start[0]), abs(end[1] - start[1])) > 1e-9
    ]
