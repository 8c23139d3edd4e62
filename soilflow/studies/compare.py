"""Layouts side by side: every layout on every site variant asked for, on one grid."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from soilflow.baseline import before_digging
from soilflow.case import Case
from soilflow.conditions import DESIGN
from soilflow.errors import InputError, SoilflowError
from soilflow.flow.grid import Grid
from soilflow.flow.side_by_side import Progress
from soilflow.grids import fitting_grid_of
from soilflow.layout.layout import Layout
from soilflow.results.result import Baseline, ConditionResult, SoilSolution, deciding
from soilflow.run import run_layout, solve_soil
from soilflow.site.site import Site

__all__ = ["Comparison", "Member", "compare_layouts"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Member:
    """One layout on one site of a comparison, without its unit fields.

    Parameters
    ----------
    layout, variant : str
        Names; an empty variant is the case as written.
    site : Site
        What is there.
    arrangement : Layout
        The layout itself.
    hole_places : mapping of str to (float, float)
        Places of the test holes. [m]
    conditions : mapping of str to ConditionResult
        By name, without values at the nodes; empty when it failed.
    notes : tuple of str
        What the reader should know.
    failure : str
        Why there is no answer; empty when there is one.
    """

    layout: str
    variant: str
    site: Site
    arrangement: Layout
    hole_places: Mapping[str, tuple[float, float]]
    conditions: Mapping[str, ConditionResult]
    notes: tuple[str, ...] = ()
    failure: str = ""

    def judged(self, condition: str = DESIGN) -> ConditionResult:
        """The condition that decides.

        Parameters
        ----------
        condition : str
            Its name; the one with the least margin when there is none of that name.

        Returns
        -------
        result : ConditionResult
            What happens under it.
        """
        return deciding(self.conditions, condition)


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Layouts side by side.

    Parameters
    ----------
    title : str
        Title of the case.
    members : tuple of Member
        In the order they were asked for.
    cells : int
        Cells of the common grid.
    """

    title: str
    members: tuple[Member, ...]
    cells: int

    @property
    def failed(self) -> tuple[Member, ...]:
        """Members without an answer."""
        return tuple(member for member in self.members if member.failure)

    def ranked(self, variant: str | None = "") -> tuple[Member, ...]:
        """Members of one site, or all of them, the best first.

        Parameters
        ----------
        variant : str or None
            Name of the site variant; None takes all sites together.

        Returns
        -------
        members : tuple of Member
            By worst margin in the design condition, then floor covered at 1 Pa, then less air;
            those without an answer left out.
        """
        solved = [m for m in self.members if variant in (None, m.variant) and not m.failure]
        return tuple(sorted(solved, key=_merit, reverse=True))

    @property
    def variants(self) -> tuple[str, ...]:
        """Names of the site variants, in order."""
        return tuple(dict.fromkeys(member.variant for member in self.members))

    def __repr__(self) -> str:
        lines = [f"Comparison({self.title!r}, {len(self.members)} members, {self.cells} cells"]
        for member in self.members:
            name = f"{member.layout!r} on {member.variant or 'the case as written'!r}"
            lines.append(f"  {name}: {member.failure or repr(member.judged())}")
        return "\n".join(lines) + ")"


def _merit(member: Member) -> tuple[float, float, float]:
    found = member.judged()
    return found.worst.margin, found.coverage_area[1.0], -found.operating_point.fan_flow


def compare_layouts(
    case: Case,
    layouts: Sequence[str] | None = None,
    *,
    variants: Sequence[str] = ("",),
    engine: Callable[..., SoilSolution] = solve_soil,
    baseline: bool = True,
    progress: Progress | None = None,
) -> Comparison:
    """Solve layouts on site variants, all on one grid, so that grids are not compared.

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
    baseline : bool
        Whether to solve the floor before digging too, once for each site.
    progress : callable or None
        Called with the members done and all members, first with none done.

    Returns
    -------
    comparison : Comparison
        A member that could not be solved says why.

    Raises
    ------
    InputError
        No such layout or variant, or nothing to compare.
    TooLargeError
        The common grid would take more memory than is free.
    """
    chosen = list(case.layouts) if layouts is None else [case.layout(name) for name in layouts]
    if not chosen or not variants:
        raise InputError("nothing to compare; name a layout and a variant", field="layouts")
    cases = [case.with_variant(name) for name in variants]
    grid = fitting_grid_of(case, chosen, sites=[one.site for one in cases])
    tell = progress or (lambda done, total: None)
    total = len(cases) * len(chosen)
    tell(0, total)
    members: list[Member] = []
    for one in cases:
        before = before_digging(one, grid, engine=engine) if baseline else {}
        for layout in chosen:
            members.append(_member(one, layout, grid, before, engine))
            tell(len(members), total)
    return Comparison(title=case.title, members=tuple(members), cells=grid.cells)


def _member(
    case: Case,
    layout: Layout,
    grid: Grid,
    before: Mapping[str, Baseline],
    engine: Callable[..., SoilSolution],
) -> Member:
    places = {hole.name: (hole.x, hole.y) for hole in case.test_holes}
    member = Member(
        layout=layout.name,
        variant=case.variant,
        site=case.site,
        arrangement=layout,
        hole_places=places,
        conditions={},
    )
    try:
        result = run_layout(case, layout, grid=grid, engine=engine, baseline=before)
    except SoilflowError as error:
        return replace(member, failure=" ".join(str(error).split()))
    light = {n: replace(c, node_u=np.zeros(0)) for n, c in result.conditions.items()}
    return replace(member, conditions=light, notes=result.notes)
