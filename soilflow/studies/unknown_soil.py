"""Soil known as ranges: drawing it, and each layout of a case in one soil that was drawn."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case, Uncertain
from soilflow.errors import InputError, SoilflowError, TooLargeError
from soilflow.grids import estimate, grid_of
from soilflow.results.coverage import PASS_LINE
from soilflow.studies.compare import Member, compare_layouts

__all__ = [
    "LayoutOutcome",
    "draw_soils",
    "member_case",
    "ranges_of",
    "seconds_per_soil",
    "solve_soil_drawn",
]

Array = NDArray[np.float64]

# More members than this are a slip of the pen (chosen by the project).
_MOST = 65_536


@dataclass(frozen=True, kw_only=True)
class LayoutOutcome:
    """What one layout does in one soil, under the condition that decides.

    Parameters
    ----------
    layout : str
        Its name.
    margin : float
        Worst margin; NaN without an answer. [Pa]
    coverage_area : float
        Share of the floor at the pass line or beyond. [-]
    flow : float
        What the fans move. [m3/s]
    failure : str
        Why there is no answer; empty when there is one.
    """

    layout: str
    margin: float = math.nan
    coverage_area: float = math.nan
    flow: float = math.nan
    failure: str = ""


def ranges_of(case: Case) -> tuple[Uncertain, ...]:
    """Inputs of the case that are known as ranges, without those of its variants.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    ranges : tuple of Uncertain
        At least one.

    Raises
    ------
    InputError
        Everything in the case is one number.
    """
    found = tuple(u for u in case.uncertain if not u.path.startswith("variants."))
    if not found:
        raise InputError(
            "nothing in this case is known as a range, so there is no unknown soil to try. Where a "
            'number is a guess write both ends, permeability = "2e-12 to 2e-11 m2", or a word, '
            'permeability = "packed silt", or add a table [[uncertain]] with path, low and high',
            field="uncertain",
        )
    return found


def draw_soils(
    ranges: Sequence[Uncertain], members: int, *, seed: int, sensitivity: bool = False
) -> Array:
    """Draw values for every input known as a range, from one scrambled Sobol sequence.

    Parameters
    ----------
    ranges : sequence of Uncertain
        The inputs; each is drawn on its own, whatever the others are.
    members : int
        How many soils; a power of two for sensitivities.
    seed : int
        Where the scrambling starts. More members of one seed begin with the same soils.
    sensitivity : bool
        Also draw what sensitivities need: as many second soils, and for each input the first ones
        with that input alone taken from the second.

    Returns
    -------
    values : array, shape (soils, inputs)
        ``members`` rows; ``members (inputs + 2)`` with sensitivities. [SI]

    Raises
    ------
    InputError
        No such number of members, or a range that cannot be drawn from.

    References
    ----------
    Saltelli et al. 2010, Comput. Phys. Commun. 181, 259, for the second set and the mixed ones
    (from memory).
    """
    if not 1 <= members <= _MOST:
        raise InputError(f"{members}: between 1 and {_MOST} soils can be drawn", field="members")
    if seed < 0:
        raise InputError(f"{seed}: a whole number from 0 is needed", field="seed")
    if sensitivity and (members < 2 or members & (members - 1)):
        below = max(2, 1 << (members.bit_length() - 1))
        raise InputError(
            f"{members}: sensitivities need a power of two of soils, such as {below} or "
            f"{2 * below}",
            field="members",
        )
    from scipy.stats import qmc  # a quarter of a second that nothing else needs

    count = len(ranges)
    start = np.random.default_rng(np.random.SeedSequence(seed))
    balanced = 1 << (members - 1).bit_length()
    shares = qmc.Sobol(2 * count, seed=start).random(balanced)[:members]
    first, second = shares[:, :count], shares[:, count:]
    if not sensitivity:
        return _values(ranges, first)
    mixed = [np.where(np.arange(count) == i, second, first) for i in range(count)]
    return _values(ranges, np.concatenate([first, second, *mixed]))


def _values(ranges: Sequence[Uncertain], shares: Array) -> Array:
    found = np.empty_like(shares)
    for i, known in enumerate(ranges):
        low, high = known.low, known.high
        if known.law == "uniform":
            found[:, i] = low + (high - low) * shares[:, i]
        elif known.law == "log-uniform" and low > 0.0:
            found[:, i] = low * (high / low) ** shares[:, i]
        else:
            raise InputError(
                f'"{known.path}": no law "{known.law}" from {low:g}; "uniform", or "log-uniform" '
                "above 0, would work",
                field="uncertain",
            )
    return found


def member_case(case: Case, values: Sequence[float]) -> Case:
    """The case in one soil: every input known as a range has a value.

    Parameters
    ----------
    case : Case
        The case.
    values : sequence of float
        In the order of `ranges_of`. [SI]

    Returns
    -------
    member : Case
        Without ranges.

    Raises
    ------
    InputError
        A path leads nowhere, or there can be no such house.
    """
    ranges = ranges_of(case)
    if len(values) != len(ranges):
        raise InputError(f"{len(values)} values for {len(ranges)} ranges", field="uncertain")
    tree: dict[str | int, Any] = {}
    for known, value in zip(ranges, values, strict=True):
        parts = re.findall(r"\[(\d+)\]|([^.\[\]]+)", known.path)
        *parents, last = [int(at) if at else name for at, name in parts]
        branch = tree
        for step in parents:
            branch = branch.setdefault(step, {})
        branch[last] = float(value)
    return replace(_with(case, tree, ""), uncertain=())


def _with(noun: Any, tree: dict[str | int, Any], path: str) -> Any:
    """A copy of a noun, or of a tuple of them, with other values in it.

    All at once: values that go together may not go with the ones they replace.
    """
    made: dict[Any, Any] = {}
    for step, inner in tree.items():
        where = f"{path}[{step}]" if isinstance(step, int) else f"{path}.{step}".lstrip(".")
        if isinstance(step, int) and isinstance(noun, tuple) and step < len(noun):
            old = noun[step]
        elif isinstance(step, str) and is_dataclass(noun) and hasattr(noun, step):
            old = getattr(noun, step)
        else:
            raise InputError(f'"{where}": there is no such place in this case', field="uncertain")
        made[step] = _with(old, inner, where) if isinstance(inner, dict) else inner
    if isinstance(noun, tuple):
        return tuple(made.get(i, old) for i, old in enumerate(noun))
    return replace(noun, **made)


def solve_soil_drawn(
    case: Case, values: Sequence[float], layouts: Sequence[str]
) -> tuple[LayoutOutcome, ...]:
    """Solve layouts in one soil, all on one grid.

    Parameters
    ----------
    case : Case
        The case, as written.
    values : sequence of float
        In the order of `ranges_of`. [SI]
    layouts : sequence of str
        Names of the layouts.

    Returns
    -------
    outcomes : tuple of LayoutOutcome
        One for each; one that could not be solved says why.

    Raises
    ------
    TooLargeError
        The grid would take more memory than is free here.
    """
    try:
        found = compare_layouts(member_case(case, values), layouts, baseline=False)
    except TooLargeError:
        raise  # says something of this machine, and nothing of the soil
    except SoilflowError as error:
        why = " ".join(str(error).split())
        return tuple(LayoutOutcome(layout=name, failure=why) for name in layouts)
    return tuple(_outcome(member) for member in found.members)


def _outcome(member: Member) -> LayoutOutcome:
    if member.failure:
        return LayoutOutcome(layout=member.layout, failure=member.failure)
    judged = member.judged()
    return LayoutOutcome(
        layout=member.layout,
        margin=float(judged.worst.margin),
        coverage_area=float(judged.coverage_area[PASS_LINE]),
        flow=float(judged.operating_point.fan_flow),
    )


def seconds_per_soil(case: Case, layouts: Sequence[str]) -> float:
    """What one soil will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The case.
    layouts : sequence of str
        Names of the layouts.

    Returns
    -------
    seconds : float
        On one worker. [s]
    """
    chosen = [case.layout(name) for name in layouts]
    grid = grid_of(case, chosen)
    return sum(estimate(case, layout, grid=grid, files=False).seconds for layout in chosen)
