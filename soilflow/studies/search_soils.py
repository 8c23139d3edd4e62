"""A search over soils that are not known: the best nominal layouts in each soil that was drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.errors import InputError, SoilflowError
from soilflow.flow.side_by_side import Progress
from soilflow.studies.influence import Influence, influence_of
from soilflow.studies.layout_ranking import evaluate_layouts
from soilflow.studies.patch_tables import patch_tables
from soilflow.studies.search import Search, Step
from soilflow.studies.searched_pipes import drive_tables
from soilflow.studies.unknown_soil import draw_soils, member_case, ranges_of

__all__ = ["NOMINAL", "SoilSearch", "chosen_step", "places_needed", "search_over_soils"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# So many of the best nominal layouts are looked at in each soil.
NOMINAL = 200
_TENTH = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilSearch:
    """The best nominal layouts of one size in many soils.

    Parameters
    ----------
    step : Step
        The size and fan; its ranking gave the layouts.
    names : tuple of str
        Pits of each layout.
    margins : array, shape (soils, layouts)
        Worst margin from sums of single pits; NaN where a pit has no air in a soil. [Pa]
    values : array, shape (soils, inputs)
        The soils. [SI]
    seed : int
        What they were drawn with.
    failed : tuple of str
        Why soils have no answer at all.
    """

    step: Step
    names: tuple[str, ...]
    margins: Array
    values: Array
    seed: int
    failed: tuple[str, ...] = ()

    @property
    def passed(self) -> Index:
        """Soils in which each layout holds the whole floor, shape (layouts,)."""
        return np.asarray(np.sum(self.margins >= 0.0, axis=0), dtype=np.int64)

    @property
    def worst_tenth(self) -> Array:
        """Mean margin over each layout's own worst tenth of the soils, shape (layouts,). [Pa]"""
        if not len(self.margins):
            return np.full(len(self.names), np.nan)
        count = math.ceil(_TENTH * len(self.margins))
        low = np.sort(np.nan_to_num(self.margins, nan=-np.inf), axis=0)[:count]
        return np.asarray(low.mean(axis=0))

    @property
    def most_often(self) -> int:
        """Layout that holds in most soils; of several the one better in its worst tenth."""
        order = np.lexsort((self.worst_tenth, self.passed))
        return int(order[-1])

    @property
    def best_in_worst_tenth(self) -> int:
        """Layout with the highest mean margin over its worst tenth of the soils."""
        return int(np.argmax(self.worst_tenth))

    def __repr__(self) -> str:
        n = len(self.margins)
        best = self.most_often
        return f"SoilSearch({n} soils, {self.names[best]} passes in {self.passed[best]})"


def chosen_step(search: Search) -> Step:
    """The size that is looked at in many soils: the smallest that holds, else the best.

    Parameters
    ----------
    search : Search
        A search in the nominal soil.

    Returns
    -------
    step : Step
        On the first fan on which one holds.
    """
    held = [s for fan in search.fans if (s := search.smallest(fan)) is not None]
    return held[0] if held else max(search.steps, key=lambda step: step.margin)


def places_needed(step: Step) -> Index:
    """Candidates that the best nominal layouts use.

    Parameters
    ----------
    step : Step
        The size.

    Returns
    -------
    places : array of int, shape (n,)
        Their numbers, sorted.
    """
    return np.unique(step.ranked.indices[:NOMINAL])


def search_over_soils(
    search: Search,
    members: int,
    *,
    seed: int = 0,
    progress: Progress | None = None,
) -> SoilSearch:
    """Look at the best nominal layouts in soils drawn from the ranges of the case.

    Parameters
    ----------
    search : Search
        A search in the nominal soil.
    members : int
        How many soils.
    seed : int
        What they are drawn with.
    progress : callable or None
        Called with soils done and all soils.

    Returns
    -------
    found : SoilSearch
        Margins of every layout in every soil.

    Raises
    ------
    InputError
        The case has no range, or no layout was found.

    Notes
    -----
    In each soil the places that these layouts use are solved anew, on the grid that candidates
    share, and layouts are sums of them; the fan and the pipes answer as in the search.
    """
    case, step = search.case, chosen_step(search)
    at = step.ranked.indices[:NOMINAL]
    if not len(at):
        raise InputError("no layout was found to look at in other soils", field="members")
    values = draw_soils(ranges_of(case), members, seed=seed)
    places = places_needed(step)
    rows, failed = [], []
    for done, drawn in enumerate(values):
        if progress is not None:
            progress(done, members)
        try:
            rows.append(_in_soil(member_case(case, drawn), search, step, places, at))
        except SoilflowError as error:
            failed.append(" ".join(str(error).split()))
    if progress is not None:
        progress(members, members)
    kept = search.candidates.kept
    return SoilSearch(
        step=step,
        names=tuple(", ".join(kept[i].name for i in row) for row in at),
        margins=np.array(rows).reshape(len(rows), len(at)),
        values=values,
        seed=seed,
        failed=tuple(failed),
    )


def _in_soil(case: Case, search: Search, step: Step, places: Index, at: Index) -> Array:
    """Margins of the layouts in one soil. [Pa]"""
    influence = influence_of(case, search.candidates.chosen(places.tolist()))
    number = {c.name: i for i, c in enumerate(influence.candidates.kept)}
    kept = search.candidates.kept
    here = np.array([[number.get(kept[i].name, -1) for i in row] for row in at])
    there = (here >= 0).all(axis=1)
    margins = np.full(len(at), np.nan)
    if there.any():
        margins[there] = _margins(case, search, step, influence, here[there])
    return margins


def _margins(
    case: Case, search: Search, step: Step, influence: Influence, at: Sequence[Index] | Index
) -> Array:
    [day] = [c for c in case.conditions if c.name == search.condition.name]
    tables = drive_tables(
        case,
        day,
        influence.candidates.kept,
        fan=step.fan,
        pipes=case.layouts[0].pipes,
        riser=search.riser,
    )
    reference_u = influence.reference_u(case.reference_pressures(day))
    every = patch_tables(influence)
    rows = np.asarray(at, dtype=np.int64)
    parts = [
        evaluate_layouts(influence, tables, reference_u, rows[i : i + 64], every)[0]
        for i in range(0, len(rows), 64)
    ]
    return np.concatenate(parts)
