"""A study of unknown soil from the text of a case: what is done already, and what is left."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.files.case_toml import parse_case
from soilflow.files.member_records import key_of, read_member, write_member
from soilflow.files.provenance import SOILFLOW, versions_at_work
from soilflow.flow.grid import Resolution
from soilflow.flow.side_by_side import Progress
from soilflow.studies.soil_odds import UnknownSoil
from soilflow.studies.unknown_soil import (
    LayoutOutcome,
    draw_soils,
    ranges_of,
    seconds_per_soil,
    solve_soil_drawn,
)
from soilflow.studies.workforce import Workforce, as_finished

__all__ = ["SoilPlan", "plan_soils", "run_soils", "solve_task"]

Task = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilPlan:
    """A study laid out: every soil, and what is known of it.

    Parameters
    ----------
    case : Case
        The case, on the grid of the study.
    layouts : tuple of str
        Names of the layouts.
    members : int
        Soils that count.
    seed : int
        What they are drawn with.
    values : array, shape (soils, inputs)
        The soils. [SI]
    tasks : tuple of mapping
        What has to be known for each of them, as text and numbers.
    done : mapping of int to tuple of LayoutOutcome
        Soils with a record.
    notes : tuple of str
        Records that are damaged, and are made again.
    folder : Path or None
        Where the records are.
    """

    case: Case
    layouts: tuple[str, ...]
    members: int
    seed: int
    values: NDArray[np.float64]
    tasks: tuple[Task, ...]
    done: Mapping[int, tuple[LayoutOutcome, ...]]
    notes: tuple[str, ...]
    folder: Path | None

    @property
    def left(self) -> int:
        """Soils still to be solved."""
        return len(self.tasks) - len(self.done)

    @property
    def seconds(self) -> float:
        """What they will take one worker, estimated. [s]"""
        return self.left * seconds_per_soil(self.case, self.layouts)


def plan_soils(
    text: str,
    *,
    file: str = "<text>",
    members: int = 64,
    seed: int = 0,
    sensitivity: bool = False,
    layouts: Sequence[str] | None = None,
    resolution: Resolution | None = None,
    folder: Path | None = None,
) -> SoilPlan:
    """Lay out a study and look up what is done already.

    Parameters
    ----------
    text : str
        The case.
    file : str
        What messages call it.
    members : int
        How many soils.
    seed : int
        What they are drawn with.
    sensitivity : bool
        Also solve what sensitivities need: as many soils again for each input, and once more.
    layouts : sequence of str or None
        Names of the layouts; None takes all.
    resolution : Resolution or None
        The grid; None takes the case's own.
    folder : Path or None
        Where records are and go; None keeps none.

    Returns
    -------
    plan : SoilPlan
        Nothing is solved yet.

    Raises
    ------
    InputError
        A mistake in the case, no ranges in it, no such layout, or no such number of soils.
    """
    case = parse_case(text, file=file)
    if resolution is not None:
        case = case.with_resolution(resolution)
    names = [one.name for one in case.layouts] if layouts is None else list(layouts)
    chosen = tuple(dict.fromkeys(case.layout(name).name for name in names))
    if not chosen:
        raise InputError("nothing to solve; name a layout", field="layouts")
    values = draw_soils(ranges_of(case), members, seed=seed, sensitivity=sensitivity)
    shared = {
        "text": text,
        "layouts": list(chosen),
        "resolution": asdict(case.resolution),
        "versions": versions_at_work(SOILFLOW),
    }
    tasks = tuple({**shared, "values": row} for row in values.tolist())
    done: dict[int, tuple[LayoutOutcome, ...]] = {}
    notes: list[str] = []
    for i, task in enumerate(tasks if folder is not None else ()):
        assert folder is not None
        known, damage = read_member(folder, task)
        if known is not None:
            done[i] = known
        elif damage:
            name = f"{key_of(task)[:12]}....json"
            notes.append(f"the record of soil {i + 1}, {name}, is damaged ({damage}): done again")
    return SoilPlan(
        case=case,
        layouts=chosen,
        members=members,
        seed=seed,
        values=values,
        tasks=tasks,
        done=done,
        notes=tuple(notes),
        folder=folder,
    )


def run_soils(
    plan: SoilPlan, workforce: Workforce, *, progress: Progress | None = None
) -> UnknownSoil:
    """Solve what is left of a plan, keeping each soil as it comes back.

    Parameters
    ----------
    plan : SoilPlan
        The plan.
    workforce : Workforce
        Who solves.
    progress : callable or None
        Called with the soils solved now and all that were left, first with none.

    Returns
    -------
    study : UnknownSoil
        The same whoever solved, and in however many goes.
    """
    tell = progress or (lambda done, total: None)
    found = dict(plan.done)
    left = [i for i in range(len(plan.tasks)) if i not in found]
    tell(0, len(left))
    for count, (at, answer) in enumerate(
        as_finished(workforce, solve_task, [plan.tasks[i] for i in left]), start=1
    ):
        outcomes = tuple(LayoutOutcome(**one) for one in answer)
        if plan.folder is not None:
            write_member(plan.folder, plan.tasks[left[at]], outcomes)
        found[left[at]] = outcomes
        tell(count, len(left))
    return UnknownSoil(
        title=plan.case.title,
        ranges=ranges_of(plan.case),
        layouts=plan.layouts,
        resolution=plan.case.resolution.name,
        members=plan.members,
        seed=plan.seed,
        values=plan.values,
        outcomes=tuple(found[i] for i in range(len(plan.tasks))),
    )


def solve_task(task: Task) -> list[dict[str, Any]]:
    """Solve one soil, in whatever process this is.

    Parameters
    ----------
    task : mapping
        As `plan_soils` makes it: text and numbers.

    Returns
    -------
    outcomes : list of dict
        One for each layout, as text and numbers.

    Raises
    ------
    InputError
        This process has another soilflow than the one that asks.
    """
    mine, asked = versions_at_work(SOILFLOW)[SOILFLOW], task["versions"][SOILFLOW]
    if mine != asked:
        raise InputError(f"a worker has soilflow {mine}, this is {asked}; install the same there")
    case = _parsed(task["text"]).with_resolution(Resolution(**task["resolution"]))
    return [asdict(one) for one in solve_soil_drawn(case, task["values"], task["layouts"])]


@functools.lru_cache(maxsize=4)
def _parsed(text: str) -> Case:
    return parse_case(text)
