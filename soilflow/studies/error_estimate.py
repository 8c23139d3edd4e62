"""Error bars of the grid: the same runs on three grids that differ in nothing but cell size.

The grids have two, three and four quarters of the cells that the resolution asks for along every
axis; the last of them is about the usual grid, and gives the values.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from soilflow.case import Case
from soilflow.flow.grid import Resolution
from soilflow.flow.side_by_side import Progress
from soilflow.grids import Estimate, estimate, grid_of
from soilflow.layout.layout import Layout
from soilflow.results.grid_error import Bars, bracket
from soilflow.results.headlines import HEADLINES, headlines, least_bars
from soilflow.results.result import ConditionResult, Result, SoilSolution
from soilflow.run import run_layout, solve_soil
from soilflow.site.slab import Slab
from soilflow.studies.compare import Comparison, Member, compare_layouts

__all__ = [
    "compare_with_bars",
    "estimate_comparison_with_bars",
    "estimate_with_bars",
    "resolutions_for_bars",
    "run_with_bars",
]

_QUARTERS = (2, 3, 4)
_SIZES = [4.0 / quarters for quarters in _QUARTERS]


def resolutions_for_bars(resolution: Resolution) -> tuple[Resolution, ...]:
    """Three grids of one family, the last about as fine as what was asked for.

    Parameters
    ----------
    resolution : Resolution
        How fine the grid would be.

    Returns
    -------
    resolutions : tuple of Resolution
        Cells twice as large, 4/3 as large, and as asked for.
    """
    return tuple(replace(resolution, quarters=quarters) for quarters in _QUARTERS)


def estimate_with_bars(case: Case, layout: Layout) -> Estimate:
    """What a run on three grids will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.

    Returns
    -------
    estimate : Estimate
        Cells and time of the three grids together; memory of the finest.
    """
    grids = resolutions_for_bars(case.resolution)
    return _together([estimate(case.with_resolution(one), layout) for one in grids])


def estimate_comparison_with_bars(
    case: Case, layouts: Sequence[str] | None = None, *, variants: Sequence[str] = ("",)
) -> Estimate:
    """What a comparison on three grids will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The case, as written.
    layouts : sequence of str or None
        Names of the layouts; None takes all.
    variants : sequence of str
        Names of the site variants; an empty name is the case as written.

    Returns
    -------
    estimate : Estimate
        Cells and time of all members on the three grids together; memory of the largest.
    """
    chosen = list(case.layouts) if layouts is None else [case.layout(name) for name in layouts]
    cases = [case.with_variant(name) for name in variants]
    costs = []
    for one in resolutions_for_bars(case.resolution):
        grid = grid_of(case.with_resolution(one), chosen, sites=[c.site for c in cases])
        costs += [estimate(c, layout, grid=grid) for c in cases for layout in chosen]
    return _together(costs)


def _together(costs: Sequence[Estimate]) -> Estimate:
    return Estimate(
        cells=sum(cost.cells for cost in costs),
        ports=max(cost.ports for cost in costs),
        seconds=sum(cost.seconds for cost in costs),
        megabytes=max(cost.megabytes for cost in costs),
    )


def run_with_bars(
    case: Case,
    layout: str | Layout | None = None,
    *,
    engine: Callable[..., SoilSolution] = solve_soil,
    progress: Progress | None = None,
) -> Result:
    """Solve one layout on three grids and put error bars on its headline numbers.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        The layout or its name; None takes the first.
    engine : callable
        Turns a soil map and a viscosity into a solution, with ``progress`` as a keyword.
    progress : callable or None
        Called with the number of fields done and of all fields on all grids.

    Returns
    -------
    result : Result
        On the finest grid, with `bars` in each condition.

    Raises
    ------
    InputError
        No such layout, one that cannot be dug, or no floor with air below it.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        The fan would work outside its curve.
    """
    grids = resolutions_for_bars(case.resolution)
    # the finest first: what cannot be solved, or not for want of memory, shows at once
    found = [
        run_layout(case.with_resolution(one), layout, engine=engine, progress=_part(progress, k))
        for k, one in enumerate(reversed(grids))
    ]
    fine, points = found[0], [point.name for point in found[0].arrangement.points]
    conditions = {
        name: _with_bars([one.conditions[name] for one in reversed(found)], points, case.site.slab)
        for name in fine.conditions
    }
    cells = [one.solution.soil.grid.cells for one in reversed(found)]
    return replace(fine, conditions=conditions, notes=(*fine.notes, _note(cells)))


def compare_with_bars(
    case: Case,
    layouts: Sequence[str] | None = None,
    *,
    variants: Sequence[str] = ("",),
    engine: Callable[..., SoilSolution] = solve_soil,
    progress: Progress | None = None,
) -> Comparison:
    """Compare layouts on three grids and put error bars on their headline numbers.

    Parameters
    ----------
    case : Case
        The case, as written.
    layouts : sequence of str or None
        Names of the layouts; None takes all.
    variants : sequence of str
        Names of the site variants; an empty name is the case as written.
    engine : callable
        Turns a soil map and a viscosity into a solution, with ``progress`` as a keyword.
    progress : callable or None
        Called with the members done and all members on all grids.

    Returns
    -------
    comparison : Comparison
        On the finest grid. A member that could not be solved on all three says why.

    Raises
    ------
    InputError
        No such layout or variant, or nothing to compare.
    """
    found = [
        compare_layouts(
            case.with_resolution(one),
            layouts,
            variants=variants,
            engine=engine,
            progress=_part(progress, k),
        )
        for k, one in enumerate(reversed(resolutions_for_bars(case.resolution)))
    ]
    note = _note([one.cells for one in reversed(found)])
    grouped = zip(*(one.members for one in reversed(found)), strict=True)
    return replace(found[0], members=tuple(_member(same, note) for same in grouped))


def _part(progress: Progress | None, which: int) -> Progress | None:
    """One of three counts in a row."""
    if progress is None:
        return None
    tell, grids = progress, len(_QUARTERS)
    return lambda done, total: tell(which * total + done, grids * total)


def _note(cells: Sequence[int]) -> str:
    coarse, middle, fine = cells
    return f"error bars from grids of {coarse}, {middle} and {fine} cells"


def _member(same: Sequence[Member], note: str) -> Member:
    """One member from the three grids, coarse to fine."""
    fine = same[-1]
    failures = [member.failure for member in same if member.failure]
    if failures:
        return replace(fine, conditions={}, failure=failures[-1])
    points = [point.name for point in fine.arrangement.points]
    conditions = {
        name: _with_bars([one.conditions[name] for one in same], points, fine.site.slab)
        for name in fine.conditions
    }
    return replace(fine, conditions=conditions, notes=(*fine.notes, note))


def _with_bars(
    same: Sequence[ConditionResult], points: Sequence[str], slab: Slab
) -> ConditionResult:
    """One condition from the three grids, coarse to fine."""
    return replace(same[-1], bars=_bars(same, points, least_bars(same[-1], slab)))


def _bars(
    same: Sequence[ConditionResult], points: Sequence[str], least: Mapping[str, float]
) -> Bars:
    numbers = [headlines(one, points) for one in same]
    return {
        name: {
            label: bracket(
                _SIZES,
                [one[name][label] for one in numbers],
                least=least.get(name, 0.0),
                share=HEADLINES[name][1] == "threshold",
            )
            for label in by_label
        }
        for name, by_label in numbers[-1].items()
    }
