"""What many soils say about each layout: in how many it passes, and which input matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Uncertain
from soilflow.results.verdict import LEAST_FLOW
from soilflow.studies.unknown_soil import LayoutOutcome

__all__ = ["InputEffect", "LayoutOdds", "UnknownSoil", "input_effects", "odds_of"]

Array = NDArray[np.float64]

# Resamples for the errors of sensitivities (chosen by the project): their own error is then 7 %.
_RESAMPLES = 100
# The worst tenth of the soils.
_TENTH = 0.1


@dataclass(frozen=True, kw_only=True)
class InputEffect:
    """How much of the spread of a layout's worst margin comes from one input.

    Parameters
    ----------
    path : str
        The input.
    first_order : float
        Share of the variance from this input alone. [-]
    first_order_error : float
        Its standard error, from resampling. [-]
    total_order : float
        Share in which it has a part, alone or together with others. [-]
    total_order_error : float
        Its standard error, from resampling. [-]
    """

    path: str
    first_order: float
    first_order_error: float
    total_order: float
    total_order_error: float


@dataclass(frozen=True, kw_only=True)
class LayoutOdds:
    """How one layout fares over all soils.

    Parameters
    ----------
    layout : str
        Its name.
    passed : int
        Soils in which it passes.
    solved : int
        Soils with an answer, also of the other layouts: all are counted on the same ones.
    weak : int
        Of these, soils in which it draws less than a field gauge shows.
    share : float
        Passed over solved: the probability of passing, if the ranges are right. [-]
    standard_error : float
        Of the share, as for draws independent of each other. [-]
    worst_member : int
        Number of its worst soil, from 0; -1 when there is no answer at all.
    margin : float
        Worst margin in that soil. [Pa]
    worst_tenth : float
        Mean worst margin over its own worst tenth of the soils, at least one. [Pa]
    effects : tuple of InputEffect
        In the order of the inputs; empty when they were not asked for or a soil has no answer.
    """

    layout: str
    passed: int
    solved: int
    weak: int
    share: float
    standard_error: float
    worst_member: int
    margin: float
    worst_tenth: float
    effects: tuple[InputEffect, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class UnknownSoil:
    """Layouts of a case in many soils.

    Parameters
    ----------
    title : str
        Title of the case.
    ranges : tuple of Uncertain
        Inputs that were drawn.
    layouts : tuple of str
        Names of the layouts.
    resolution : str
        Name of the grid.
    members : int
        Soils that count; those drawn for sensitivities alone come after them.
    seed : int
        What they were drawn with.
    values : array, shape (soils, inputs)
        The soils. [SI]
    outcomes : tuple of tuple of LayoutOutcome
        For each soil, each layout in order.
    """

    title: str
    ranges: tuple[Uncertain, ...]
    layouts: tuple[str, ...]
    resolution: str
    members: int
    seed: int
    values: Array
    outcomes: tuple[tuple[LayoutOutcome, ...], ...]

    @property
    def odds(self) -> tuple[LayoutOdds, ...]:
        """One for each layout, in order."""
        return tuple(odds_of(self, i) for i in range(len(self.layouts)))

    @property
    def answered(self) -> NDArray[np.bool_]:
        """Members with an answer for each layout that has any, shape (members,)."""
        members = self.outcomes[: self.members]
        known = np.array([[not one.failure for one in each] for each in members], dtype=bool)
        known = known.reshape(len(members), len(self.layouts))
        return np.asarray(known[:, known.any(axis=0)].all(axis=1))

    @property
    def failed(self) -> int:
        """Soils without an answer for at least one layout, those for sensitivities included."""
        return sum(any(one.failure for one in each) for each in self.outcomes)

    @property
    def best_in_worst_tenth(self) -> str:
        """Layout with the highest mean margin over its worst tenth of the soils; may be empty."""
        known = [one for one in self.odds if one.solved]
        return max(known, key=lambda one: one.worst_tenth).layout if known else ""

    def __repr__(self) -> str:
        lines = [f"UnknownSoil({self.title!r}, {self.members} soils, seed {self.seed}"]
        lines += [f"  {one.layout!r}: {one.passed} of {one.solved} pass" for one in self.odds]
        return "\n".join(lines) + ")"


def odds_of(study: UnknownSoil, layout: int) -> LayoutOdds:
    """How one layout fares.

    Parameters
    ----------
    study : UnknownSoil
        The soils and what came of them.
    layout : int
        Number of the layout.

    Returns
    -------
    odds : LayoutOdds
        Counts over the members, sensitivities over all soils.
    """
    margins = np.array([each[layout].margin for each in study.outcomes])
    mine = np.where(study.answered, margins[: study.members], np.nan)
    known = mine[np.isfinite(mine)]
    flows = np.array([each[layout].flow for each in study.outcomes[: study.members]])
    weak = int(np.sum(study.answered & (flows < LEAST_FLOW)))
    name, solved, passed = study.layouts[layout], known.size, int(np.sum(known >= 0.0))
    if not solved:
        return LayoutOdds(
            layout=name,
            passed=0,
            solved=0,
            weak=0,
            share=math.nan,
            standard_error=math.nan,
            worst_member=-1,
            margin=math.nan,
            worst_tenth=math.nan,
        )
    share = passed / solved
    worst = int(np.nanargmin(mine))
    return LayoutOdds(
        layout=name,
        passed=passed,
        solved=solved,
        weak=weak,
        share=share,
        standard_error=math.sqrt(share * (1.0 - share) / solved),
        worst_member=worst,
        margin=float(mine[worst]),
        worst_tenth=float(np.mean(np.sort(known)[: math.ceil(_TENTH * solved)])),
        effects=input_effects(margins, study.ranges, study.members, seed=study.seed),
    )


def input_effects(
    margins: Array, ranges: Sequence[Uncertain], members: int, *, seed: int
) -> tuple[InputEffect, ...]:
    """Sobol indices of the worst margin.

    Parameters
    ----------
    margins : array, shape (soils,)
        Worst margins in the order of `draw_soils`. [Pa]
    ranges : sequence of Uncertain
        The inputs.
    members : int
        Soils of the first kind.
    seed : int
        Where resampling starts.

    Returns
    -------
    effects : tuple of InputEffect
        In the order of the inputs; empty when a soil is missing. An index from few soils may be
        a little below 0 or above 1; the error beside it says how far off it can be.
    """
    count = len(ranges)
    if margins.size != members * (count + 2) or not np.all(np.isfinite(margins)):
        return ()
    from scipy.stats import sobol_indices

    parts = margins.reshape(count + 2, members)

    def indices(at: NDArray[np.int64]) -> Array:
        # each margin twice over: SciPy 1.17 falls over one output of one input
        taken = np.repeat(parts[:, np.newaxis, at], 2, axis=1)
        f = {"f_A": taken[0], "f_B": taken[1], "f_AB": taken[2:]}
        found = sobol_indices(func=f, n=members)
        orders = (found.first_order, found.total_order)
        return np.array([np.reshape(order, (2, count))[0] for order in orders])

    start = np.random.default_rng(np.random.SeedSequence(seed).spawn(1)[0])
    picks = start.integers(members, size=(_RESAMPLES, members))
    error = np.std([indices(pick) for pick in picks], axis=0, ddof=1)
    found = indices(np.arange(members))
    return tuple(
        InputEffect(
            path=known.path,
            first_order=float(found[0, i]),
            first_order_error=float(error[0, i]),
            total_order=float(found[1, i]),
            total_order_error=float(error[1, i]),
        )
        for i, known in enumerate(ranges)
    )
