"""Many layouts at once: operating point and worst margin of thousands of sets of pits.

A layout of k candidates is a k by k table from `Influence.between`; fan and pipes are looked up in
`DriveTables`. Newton's method runs on all layouts of a batch together. Which layouts are looked at
is decided here too: all of them while they are few enough, else an exchange search.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.air import pressure_from_u
from soilflow.errors import ConvergenceError
from soilflow.results.coverage import PASS_LINE
from soilflow.site.effects import HOUSE
from soilflow.studies.influence import Influence
from soilflow.studies.patch_tables import PatchTables, patch_tables
from soilflow.studies.searched_pipes import DriveTables

__all__ = [
    "MOST_LAYOUTS",
    "Ranked",
    "evaluate_layouts",
    "rank_layouts",
]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Up to so many layouts all are looked at. Chosen by the project.
MOST_LAYOUTS = 2_000_000
_BATCH = 4096
_ENOUGH = 1e-3  # mismatch of u at a pit when a layout is solved [Pa]
_MOST_STEPS = 60
_RESTARTS = 12
# Layouts are screened on one patch for each square of this side [m]; as many as follow are then
# looked at on every patch.
_SCREEN, _SHORTLIST = 0.4, 256
# Part of the layouts looked at that counts as the best of them (chosen by the project). [-]
_BEST_PART = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class Ranked:
    """Layouts of one number of pits, best first.

    Parameters
    ----------
    pits : int
        How many each has.
    indices : array of int, shape (n, pits)
        The best layouts, by number among the candidates.
    margins : array, shape (n,)
        Worst margin of each. [Pa]
    flows : array, shape (n, pits)
        Flow into each pit. [m3/s]
    best_with : array, shape (c,)
        Best margin of any layout looked at that uses each candidate; NaN where none does. [Pa]
    share_of_best : array, shape (c,)
        Share of the best hundredth of all layouts, at least one, that uses each candidate; NaN
        after an exchange search, which has not seen them. [-]
    seen : int
        Layouts looked at.
    exhaustive : bool
        Whether that was all there are.
    """

    pits: int
    indices: Index
    margins: Array
    flows: Array
    best_with: Array
    share_of_best: Array
    seen: int
    exhaustive: bool

    def __repr__(self) -> str:
        how = "all" if self.exhaustive else "best found among"
        best = f"{self.margins[0]:.3g} Pa" if self.margins.size else "none"
        return f"Ranked({self.pits} pits, {how} {self.seen}, best margin {best})"


def evaluate_layouts(
    influence: Influence,
    tables: DriveTables,
    reference_u: Array,
    at: Index,
    patches: PatchTables,
) -> tuple[Array, Array]:
    """Worst margin and flows of layouts of one size, all on the same fan and pipes.

    Parameters
    ----------
    influence : Influence
        What the candidates do.
    tables : DriveTables
        Fan and pipes.
    reference_u : array, shape (m,)
        u at the references. [Pa]
    at : array of int, shape (b, k)
        The layouts.
    patches : PatchTables
        Where the worst is looked for.

    Returns
    -------
    margins : array, shape (b,)
        Worst margin of the house's floor; -inf where the fan's points end first. [Pa]
    flows : array, shape (b, k)
        Flow into each pit. [m3/s]

    Raises
    ------
    ConvergenceError
        Newton's method did not settle.
    """
    own, shares = influence.between(at)
    flows = _operate(np.asarray(np.linalg.inv(own)), shares @ reference_u, tables, at)
    n, k = len(influence.candidates), at.shape[1]
    rows = np.repeat(np.arange(len(at)), k)
    drawn = np.zeros((len(at), n), dtype=np.float32)
    drawn[rows, at.ravel()] = flows.ravel()
    u = (reference_u @ patches.reference).astype(np.float32) - drawn @ patches.influence
    strength = influence.bridging.amplitudes(at, flows, reference_u)
    patterns = strength.shape[-1]
    if patterns:
        spread = np.zeros((len(at), n, patterns), dtype=np.float32)
        spread[rows, at.ravel()] = strength.reshape(-1, patterns)
        u += spread.reshape(len(at), -1) @ patches.felt
    worst = u.max(axis=1).astype(float)
    room, atm = reference_u[influence.references.index(HOUSE)], influence.case.air.pressure_atm
    margins = pressure_from_u(np.full_like(worst, room), atm) - pressure_from_u(worst, atm)
    beyond = flows.sum(axis=1) > tables.last
    return np.where(beyond, -np.inf, margins - PASS_LINE), flows


def _operate(conductance: Array, still: Array, tables: DriveTables, at: Index) -> Array:
    """Flows at which soil, branches, run and fan agree, shape (b, k). [m3/s]"""
    b, k = still.shape
    lowest = np.full((b, 1), tables.inlet[0])
    u = lowest + np.zeros((b, k))
    step = np.full(b, np.inf)
    for _ in range(_MOST_STEPS):
        flows = np.einsum("bij,bj->bi", conductance, still - u)
        whole, slope = _looked_up(tables.flows, tables.inlet[None], flows.sum(axis=1)[:, None])
        branch, steep = _looked_up(tables.flows, tables.branches[at], flows)
        miss = u - whole - branch
        step = np.abs(miss).max(axis=1)
        if np.all(step < _ENOUGH):
            return np.asarray(flows)
        together = slope[:, :, None] * conductance.sum(axis=1)[:, None, :]
        jacobian = np.eye(k) + together + steep[:, :, None] * conductance
        u = u - np.linalg.solve(jacobian, miss[:, :, None])[:, :, 0]
    raise ConvergenceError(
        f"a layout missed its operating point by {step.max():.3g} Pa",
        reached=float(step.max()),
        wanted=_ENOUGH,
        iterations=_MOST_STEPS,
    )


def _looked_up(grid: Array, tables: Array, flow: Array) -> tuple[Array, Array]:
    """Value and slope of tables at flows, odd about no flow but for what they hold there."""
    size = np.minimum(np.abs(flow), grid[-1])
    i = np.clip(np.searchsorted(grid, size, side="right") - 1, 0, grid.size - 2)
    if tables.ndim == 2:  # one table for all
        low, high = tables[0][i], tables[0][i + 1]
        base = tables[0][0]
    else:
        low = np.take_along_axis(tables, i[..., None], axis=-1)[..., 0]
        high = np.take_along_axis(tables, i[..., None] + 1, axis=-1)[..., 0]
        base = tables[..., 0]
    slope = (high - low) / (grid[i + 1] - grid[i])
    value = low + slope * (np.abs(flow) - grid[i])
    return np.where(flow >= 0.0, value, 2.0 * base - value), slope


def rank_layouts(
    influence: Influence,
    tables: DriveTables,
    reference_u: Array,
    pits: int,
    *,
    keep: int = 50,
    most: int = MOST_LAYOUTS,
    rng: np.random.Generator | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Ranked:
    """The best layouts of a number of pits.

    Parameters
    ----------
    influence : Influence
        What the candidates do.
    tables : DriveTables
        Fan and pipes.
    reference_u : array, shape (m,)
        u at the references. [Pa]
    pits : int
        Pits of a layout.
    keep : int
        How many layouts are wanted.
    most : int
        Up to so many layouts all are looked at; beyond, pits are exchanged one by one from
        several starts.
    rng : numpy.random.Generator or None
        Draws those starts; None takes one seeded with 0.
    progress : callable or None
        Called with layouts looked at and all there are; not in an exchange search.

    Returns
    -------
    ranked : Ranked
        Best first; an exchange search says that it was none of all.
    """
    count = math.comb(len(influence.candidates), pits)
    few = patch_tables(influence, spacing=_SCREEN)
    shortlist = max(_SHORTLIST, keep)
    if count <= most:
        found = _all(influence, tables, reference_u, pits, few, shortlist, progress)
    else:
        rng = np.random.default_rng(0) if rng is None else rng
        found = _exchanged(influence, tables, reference_u, pits, few, shortlist, rng)
    return _on_all_patches(influence, tables, reference_u, found, keep)


def _on_all_patches(
    influence: Influence, tables: DriveTables, reference_u: Array, found: Ranked, keep: int
) -> Ranked:
    """The shortlist once more, with every patch of the floor looked at."""
    if not len(found.indices):
        return found
    every = patch_tables(influence)
    parts = [
        evaluate_layouts(influence, tables, reference_u, found.indices[i : i + 64], every)
        for i in range(0, len(found.indices), 64)
    ]
    margins = np.concatenate([margin for margin, _ in parts])
    best = np.argsort(-margins, kind="stable")[:keep]
    return replace(
        found, indices=found.indices[best], margins=margins[best], flows=found.flows[best]
    )


def _batches(n: int, pits: int) -> Iterator[Index]:
    """All sets of candidates, in order, a batch at a time."""
    order = itertools.combinations(range(n), pits)
    while True:
        flat = np.fromiter(
            itertools.chain.from_iterable(itertools.islice(order, _BATCH)), dtype=np.int64
        )
        if not flat.size:
            return
        yield flat.reshape(-1, pits)


def _free(influence: Influence, at: Index) -> NDArray[np.bool_]:
    """Which layouts have no two pits in one another's way."""
    clash = influence.candidates.clash
    free = np.ones(len(at), dtype=bool)
    for i, j in itertools.combinations(range(at.shape[1]), 2):
        free &= ~clash[at[:, i], at[:, j]]
    return free


def _all(
    influence: Influence,
    tables: DriveTables,
    reference_u: Array,
    pits: int,
    few: PatchTables,
    keep: int,
    progress: Callable[[int, int], None] | None,
) -> Ranked:
    n = len(influence.candidates)
    count, done, seen = math.comb(n, pits), 0, 0
    best_with = np.full(n, -np.inf)
    kept_at, kept_m = np.zeros((0, pits), dtype=np.int64), np.zeros(0)
    kept_q = np.zeros((0, pits))
    wanted = max(keep, math.ceil(_BEST_PART * count))
    for at in _batches(n, pits):
        done += len(at)
        at = at[_free(influence, at)]
        if at.size:
            margins, flows = evaluate_layouts(influence, tables, reference_u, at, few)
            np.maximum.at(best_with, at.ravel(), np.repeat(margins, pits))
            seen += len(at)
            kept_at = np.concatenate([kept_at, at])
            kept_m, kept_q = np.concatenate([kept_m, margins]), np.concatenate([kept_q, flows])
            best = np.argsort(-kept_m, kind="stable")[:wanted]
            kept_at, kept_m, kept_q = kept_at[best], kept_m[best], kept_q[best]
        if progress is not None:
            progress(done, count)
    best = kept_at[: math.ceil(_BEST_PART * seen)]
    return Ranked(
        pits=pits,
        indices=kept_at[:keep],
        margins=kept_m[:keep],
        flows=kept_q[:keep],
        best_with=np.where(np.isfinite(best_with), best_with, np.nan),
        share_of_best=np.bincount(best.ravel(), minlength=n) / max(len(best), 1),
        seen=seen,
        exhaustive=True,
    )


def _exchanged(
    influence: Influence,
    tables: DriveTables,
    reference_u: Array,
    pits: int,
    few: PatchTables,
    keep: int,
    rng: np.random.Generator,
) -> Ranked:
    """From several starts: exchange the one pit for the one place that gains most, until none."""
    n = len(influence.candidates)
    found: dict[tuple[int, ...], tuple[float, Array]] = {}

    def look(at: Index) -> None:
        new = [row for row in np.unique(np.sort(at, axis=1), axis=0) if tuple(row) not in found]
        for i in range(0, len(new), _BATCH):
            part = np.array(new[i : i + _BATCH])
            margins, flows = evaluate_layouts(influence, tables, reference_u, part, few)
            for row, margin, flow in zip(part, margins, flows, strict=True):
                found[tuple(int(v) for v in row)] = (float(margin), flow)

    for _ in range(_RESTARTS):
        now = _start(influence, pits, rng)
        if now is None:
            continue
        look(np.array([now]))
        while True:
            tries = []
            for i in range(pits):
                others = [v for j, v in enumerate(now) if j != i]
                tries += [[*others, v] for v in range(n) if v not in now]
            at = np.array(tries, dtype=np.int64)
            at = np.sort(at[_free(influence, at)], axis=1)
            look(at)
            best = max((tuple(int(v) for v in row) for row in at), key=lambda t: found[t][0])
            if found[best][0] <= found[tuple(sorted(now))][0]:
                break
            now = list(best)
    order = sorted(found, key=lambda t: -found[t][0])
    best_with = np.full(n, np.nan)
    for at_, (margin, _) in found.items():
        for i in at_:
            best_with[i] = np.nanmax([best_with[i], margin])
    chosen = order[:keep]
    return Ranked(
        pits=pits,
        indices=np.array(chosen, dtype=np.int64).reshape(-1, pits),
        margins=np.array([found[t][0] for t in chosen]),
        flows=np.array([found[t][1] for t in chosen]).reshape(-1, pits),
        best_with=best_with,
        share_of_best=np.full(n, np.nan),
        seen=len(found),
        exhaustive=False,
    )


def _start(influence: Influence, pits: int, rng: np.random.Generator) -> list[int] | None:
    """A set of candidates drawn at random that are not in one another's way."""
    clash = influence.candidates.clash
    for _ in range(200):
        chosen: list[int] = []
        for i in rng.permutation(len(influence.candidates)).tolist():
            if not any(clash[i, j] for j in chosen):
                chosen.append(i)
            if len(chosen) == pits:
                return sorted(chosen)
    return None
