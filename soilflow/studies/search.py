"""The best layouts of one, two, ... pits on each fan, out of all there are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace

import numpy as np

from soilflow.case import Case
from soilflow.conditions import DESIGN, Condition
from soilflow.data import fan_classes
from soilflow.errors import InputError, OutOfRangeError
from soilflow.flow.side_by_side import Progress
from soilflow.layout.fan import Fan, fan_of_class
from soilflow.layout.layout import Layout
from soilflow.results.coverage import PASS_LINE, coverage
from soilflow.run import run_layout
from soilflow.site.effects import HOUSE
from soilflow.studies.candidates import Candidates
from soilflow.studies.influence import Influence, influence_of
from soilflow.studies.layout_ranking import Ranked, rank_layouts
from soilflow.studies.searched_pipes import drive_tables, searched_layout, usual_riser

__all__ = ["FoundLayout", "Search", "Step", "fans_on_offer", "search_layouts"]

CONFIRMED = 5  # of the best are solved in full
_SEEDS = 20261125
_KEPT = 200  # layouts of each size that a ranking keeps


@dataclass(frozen=True, kw_only=True)
class FoundLayout:
    """One layout that the search found.

    Parameters
    ----------
    layout : Layout
        Its pits, on the fan, with branches to the riser.
    margin : float
        Worst margin, from sums of single pits. [Pa]
    covered : float
        Share of the floor at the pass line or beyond, likewise. [-]
    drawn : float
        Air drawn in all, likewise. [m3/s]
    confirmed : float or None
        Worst margin from a solve with all pits dug; None where there was none. [Pa]
    """

    layout: Layout
    margin: float
    covered: float
    drawn: float
    confirmed: float | None = None

    @property
    def best_known(self) -> float:
        """Worst margin from a solve in full where there was one, else from the sums. [Pa]"""
        return self.margin if self.confirmed is None else self.confirmed


@dataclass(frozen=True, kw_only=True, eq=False)
class Step:
    """The best layouts of one number of pits on one fan.

    Parameters
    ----------
    fan : Fan
        The fan.
    pits : int
        How many pits.
    top : tuple of FoundLayout
        The best, in order.
    ranked : Ranked
        How they were found, and how good each place can be.
    """

    fan: Fan
    pits: int
    top: tuple[FoundLayout, ...]
    ranked: Ranked

    @property
    def margin(self) -> float:
        """Worst margin of the first, the one that is shown and written. [Pa]"""
        return self.top[0].best_known if self.top else -np.inf

    @property
    def passes(self) -> bool:
        """Whether the best layout holds the whole floor."""
        return self.margin >= 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Search:
    """What a search found.

    Parameters
    ----------
    case : Case
        The case.
    condition : Condition
        The condition that decides.
    candidates : Candidates
        Places looked at, and those left out.
    riser : tuple of float
        Where the branches meet. [m]
    steps : tuple of Step
        By fan, then by number of pits.
    own_margins : mapping of str to float or None
        Worst margin of each layout of the case, solved in full; None where its fan would work
        outside its curve. [Pa]
    resolution : str
        Grid of the solves in full.
    columns : int
        Columns of the grid that the places share.
    """

    case: Case
    condition: Condition
    candidates: Candidates
    riser: tuple[float, float]
    steps: tuple[Step, ...]
    own_margins: Mapping[str, float | None] = field(default_factory=dict)
    resolution: str = ""
    columns: int = 0

    @property
    def fans(self) -> tuple[Fan, ...]:
        """The fans tried, in order."""
        return tuple(dict.fromkeys(step.fan for step in self.steps))

    def on(self, fan: Fan) -> tuple[Step, ...]:
        """The staircase of one fan.

        Parameters
        ----------
        fan : Fan
            The fan.

        Returns
        -------
        steps : tuple of Step
            By number of pits.
        """
        return tuple(step for step in self.steps if step.fan == fan)

    def smallest(self, fan: Fan) -> Step | None:
        """The fewest pits with which a layout holds the whole floor on a fan.

        Parameters
        ----------
        fan : Fan
            The fan.

        Returns
        -------
        step : Step or None
            None when none does.
        """
        return next((step for step in self.on(fan) if step.passes), None)


def fans_on_offer(case: Case, words: Sequence[str] = ()) -> tuple[Fan, ...]:
    """The fans a search tries.

    Parameters
    ----------
    case : Case
        The case.
    words : sequence of str
        Classes of fans; none for that of the first layout and the class above it.

    Returns
    -------
    fans : tuple of Fan
        At least one.

    Raises
    ------
    InputError
        No such class, or neither words nor a fan in the case.
    """
    if words:
        return tuple(fan_of_class(word) for word in words)
    own = case.layouts[0].fan
    if own is None:
        raise InputError('the first layout has no fan; give one, --fan "high-suction"', field="fan")
    above = [
        word
        for word, fan in fan_classes().items()
        if fan.shutoff_pressure > 1.05 * own.shutoff_pressure
    ]
    bigger = min(above, key=lambda word: fan_classes()[word].shutoff_pressure, default=None)
    return (own,) if bigger is None else (own, fan_of_class(bigger))


def search_layouts(
    case: Case,
    candidates: Candidates,
    *,
    fans: Sequence[Fan],
    most_pits: int = 4,
    riser: tuple[float, float] | None = None,
    influence: Influence | None = None,
    confirm: int = CONFIRMED,
    with_own: bool = True,
    executor: Executor | None = None,
    progress: Progress | None = None,
    ranking: Progress | None = None,
) -> Search:
    """Look at every layout of up to so many pits, on each fan, and confirm the best.

    Parameters
    ----------
    case : Case
        The case; its first layout gives pipe sizes and the run to the outlet.
    candidates : Candidates
        Places where a pit may be dug.
    fans : sequence of Fan
        Fans to try.
    most_pits : int
        Most pits of a layout. The search ends one pit past the first number that passes.
    riser : tuple of float or None
        Where the branches meet; None takes the middle of the longest wall. [m]
    influence : Influence or None
        What the candidates do; None solves for it.
    confirm : int
        How many of the best of the smallest layouts that pass are solved in full, of the best
        size where none does, and the best one of every other size.
    with_own : bool
        Whether the case's own layouts are solved in full beside them.
    executor : concurrent.futures.Executor or None
        What the solves of candidates run on.
    progress, ranking : callable or None
        Called with the parts done and all parts: of the candidate solves, and of the layouts.

    Returns
    -------
    search : Search
        Steps by fan and number of pits.

    Raises
    ------
    InputError
        No candidate, or no fan.
    ConvergenceError, BalanceError
        A solve missed its tolerance.

    Notes
    -----
    Ranked by worst margin in the design condition; among layouts within a hundredth of a pascal by
    coverage, then by less air drawn. Sums of single pits stand for the layouts: within about 1 %
    in flow (benchmarks/tables/influence.txt), which is why the best are solved in full.
    """
    if not len(candidates) or not fans or most_pits < 1:
        raise InputError("a search needs a place, a fan and at least one pit", field="pits")
    day = next((c for c in case.conditions if c.name == DESIGN), case.conditions[-1])
    if influence is None:
        influence = influence_of(case, candidates, executor=executor, progress=progress)
    known = influence.candidates
    place = usual_riser(case) if riser is None else riser
    pipes = case.layouts[0].pipes
    reference_u = influence.reference_u(case.reference_pressures(day))
    steps: list[Step] = []
    for fan in fans:
        tables = drive_tables(case, day, known.kept, fan=fan, pipes=pipes, riser=place)
        passed = False
        for pits in range(1, min(most_pits, len(known)) + 1):
            ranked = rank_layouts(
                influence,
                tables,
                reference_u,
                pits,
                keep=_KEPT,
                rng=np.random.default_rng([_SEEDS, pits]),
                progress=ranking,
            )
            top = _described(influence, ranked, day, case, fan, place)
            if not top:
                break
            top = _confirmed(case, top, min(confirm, 1), day)
            if not passed and any(one.best_known >= 0.0 for one in top[:confirm]):
                top = _confirmed(case, top, confirm, day)
            steps.append(Step(fan=fan, pits=pits, top=top, ranked=ranked))
            if passed:
                break
            passed = steps[-1].passes
    if steps and not any(step.passes for step in steps):
        i = max(range(len(steps)), key=lambda i: steps[i].margin)
        steps[i] = replace(steps[i], top=_confirmed(case, steps[i].top, confirm, day))
    own = {layout.name: _solved(case, layout, day) for layout in case.layouts if with_own}
    return Search(
        case=case,
        condition=day,
        candidates=known,
        riser=place,
        steps=tuple(steps),
        own_margins=own,
        resolution=case.resolution.name,
        columns=(influence.floor.x.size - 1) * (influence.floor.y.size - 1),
    )


def _described(
    influence: Influence,
    ranked: Ranked,
    day: Condition,
    case: Case,
    fan: Fan,
    riser: tuple[float, float],
    keep: int = 10,
) -> tuple[FoundLayout, ...]:
    """The best of a ranking as layouts, ties in margin by coverage and then by air drawn."""
    pressures = case.reference_pressures(day)
    found = []
    for indices, margin, flows in zip(
        ranked.indices[:keep], ranked.margins, ranked.flows, strict=False
    ):
        if not np.isfinite(margin):
            continue
        chosen = [influence.candidates.kept[i] for i in indices]
        name = ", ".join(candidate.name for candidate in chosen)
        layout = searched_layout(name, chosen, fan=fan, pipes=case.layouts[0].pipes, riser=riser)
        answer = influence.solve_layout(indices.tolist(), pressures, flows=flows)
        floor = influence.floor_pressure(answer, room=HOUSE)
        found.append(
            FoundLayout(
                layout=layout,
                margin=float(margin),
                covered=coverage(floor, PASS_LINE),
                drawn=float(flows.sum()),
            )
        )
    found.sort(key=lambda one: (-round(one.margin, 2), -round(one.covered, 3), one.drawn))
    return tuple(found)


def _confirmed(
    case: Case, top: tuple[FoundLayout, ...], count: int, day: Condition
) -> tuple[FoundLayout, ...]:
    """The first few solved in full, and put in the order that gives."""
    solved = [
        replace(one, confirmed=_solved(case, one.layout, day))
        if i < count and one.confirmed is None
        else one
        for i, one in enumerate(top)
    ]
    first = sorted(solved[:count], key=lambda one: -one.best_known)
    return (*first, *solved[count:])


def _solved(case: Case, layout: Layout, day: Condition) -> float | None:
    """Worst margin of a layout with all its pits dug; None where its fan cannot. [Pa]"""
    alone = replace(case, conditions=(day,), test_holes=())
    try:
        result = run_layout(alone, layout, baseline=False)
    except OutOfRangeError:
        return None
    return float(result.conditions[day.name].worst.margin)
