"""What sealing each metre of joint or crack, and each opening, would gain."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.flow.grid import COARSE, Resolution
from soilflow.flow.leak_update import LeakFields
from soilflow.flow.side_by_side import Progress
from soilflow.grids import map_of
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.sealing import Gain, SealingList, SealingValue, gain
from soilflow.run import solve_soil
from soilflow.studies.leak_model import LeakModel, leak_model
from soilflow.studies.leak_outcome import (
    LeakState,
    Outcome,
    deciding_state,
    fields_of,
    held_u,
    outcome,
    solved_measures,
)
from soilflow.studies.leak_sensitivity import air_sensitivity, margin_sensitivity

__all__ = ["SHORTLIST", "sealing_list"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Segments worked out exactly when nobody says otherwise: more than a seal list shows, and about
# 50 fields. Chosen by the project.
SHORTLIST = 10


def sealing_list(
    case: Case,
    layout: str | Layout | None = None,
    *,
    condition: str | None = None,
    resolution: Resolution | None = COARSE,
    shortlist: int | None = SHORTLIST,
    model: LeakModel | None = None,
    progress: Progress | None = None,
) -> SealingList:
    """Rank what can be sealed by what it gains.

    Every segment gets its gain to first order from one adjoint solve for each measure. The best
    by that are then worked out exactly, by an update of low rank with one unit field for each
    cell of slot, and through fan and pipes. Openings are sealed in the site and solved anew.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        The layout or its name; None takes the first.
    condition : str or None
        Name of the condition; None takes the design condition, or the one with the least margin.
    resolution : Resolution or None
        How fine the grid is; None takes the case's own, which takes longer than the run did.
    shortlist : int or None
        How many segments are worked out exactly; None is all of them.
    model : LeakModel or None
        The house, solved already for this case and layout; None solves it.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    values : SealingList
        The exact ones first, each group by worst margin gained.

    Raises
    ------
    InputError
        No such layout or condition.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        A fan would work outside its curve.
    """
    begun = time.perf_counter()
    chosen = layout if isinstance(layout, Layout) else case.layout(layout)
    if model is None:
        model = leak_model(case, chosen, resolution=resolution)
    state = deciding_state(model, condition)
    segments = _segments(model)
    linear = _first_order(model, state, segments)
    order = sorted(range(len(segments)), key=lambda i: _merit(linear[i][0]), reverse=True)
    picked = order if shortlist is None else order[:shortlist]
    rows = model.rows([n for i in picked for n in segments[i]])
    fields = fields_of(model, rows, progress=progress)
    exact = [_exact(model, state, fields, segments[i]) for i in picked]
    exact += [_opening(model, state, i) for i in _open_openings(model.case)]
    exact.sort(key=lambda value: _merit(value.whole), reverse=True)
    rest = [_inexact(model, segments[i], linear[i]) for i in order if i not in set(picked)]
    return SealingList(
        condition=state.condition.name,
        layout=chosen.name,
        before=state.measures,
        values=(*exact, *rest),
        resolution=model.case.resolution.name,
        cells=model.solution.network.nodes,
        solves=fields.at_kept.shape[0] + 2,
        seconds=time.perf_counter() - begun,
    )


def _merit(found: Gain) -> tuple[float, float]:
    return found.margin_gained, found.air_saved


def _segments(model: LeakModel) -> list[list[int]]:
    """Numbers of the open pieces of each segment, in order."""
    found: dict[int, list[int]] = {}
    for number, piece in enumerate(model.pieces):
        if model.is_open[number]:
            found.setdefault(piece.segment, []).append(number)
    return [found[key] for key in sorted(found)]


def _closed(
    model: LeakModel,
    state: LeakState,
    fields: LeakFields,
    pieces: Sequence[int],
) -> Outcome:
    """What closing some pieces does."""
    rows = model.rows(pieces)
    added = -(model.paths.conductance() + model.linked)[rows]
    return outcome(model, state, fields, rows, added, -model.direct[pieces].sum(axis=0))


def _exact(
    model: LeakModel, state: LeakState, fields: LeakFields, pieces: Sequence[int]
) -> SealingValue:
    """One segment, closed and half closed."""
    before = state.measures
    whole = _closed(model, state, fields, pieces)
    halves = [
        _closed(model, state, fields, part)
        for half in (0, 1)
        if (part := [n for n in pieces if model.pieces[n].half == half])
    ]
    best = max(halves, key=lambda one: _merit(gain(before, one.driven)))
    rows, paths = model.rows(pieces), model.paths
    thinner = (paths.conductance(0.5 * paths.above) - paths.conductance())[rows]
    straight = -0.5 * model.direct[pieces].sum(axis=0)
    patchy = outcome(model, state, fields, rows, thinner, straight)
    return _value(
        model,
        pieces,
        whole=gain(before, whole.driven),
        whole_held=gain(before, whole.held),
        half=gain(before, best.driven),
        half_held=gain(before, best.held),
        patchy=gain(before, patchy.driven),
        patchy_held=gain(before, patchy.held),
        joint_to_soil=_joint_to_soil(model, fields, pieces),
        exact=True,
    )


def _joint_to_soil(model: LeakModel, fields: LeakFields, pieces: Sequence[int]) -> float:
    """Resistance of the slots of some pieces over that of the soil, all else at one pressure."""
    rows = model.rows(pieces)
    conductance = model.paths.conductance()[rows]
    rows, conductance = rows[conductance > 0.0], conductance[conductance > 0.0]
    own = fields.solved[rows]
    # the slots' upper ends together at one pascal, every port at zero
    fed_back = conductance @ fields.resistance[np.ix_(own, own)] @ conductance
    straight = 0.5 * float(model.direct[pieces].sum())
    through = float(conductance.sum()) - float(fed_back) + straight
    slots = float(model.paths.above[rows].sum()) + straight
    return math.inf if slots <= through else through / (slots - through)


def _value(
    model: LeakModel,
    pieces: Sequence[int],
    *,
    whole: Gain,
    whole_held: Gain,
    half: Gain | None,
    half_held: Gain | None,
    patchy: Gain | None,
    patchy_held: Gain | None,
    joint_to_soil: float,
    exact: bool,
) -> SealingValue:
    first, last = model.pieces[pieces[0]], model.pieces[pieces[-1]]
    return SealingValue(
        name=first.line,
        begins=first.begins,
        length=last.begins + last.length - first.begins,
        start=first.start,
        end=last.end,
        whole=whole,
        whole_held=whole_held,
        half=half,
        half_held=half_held,
        patchy=patchy,
        patchy_held=patchy_held,
        joint_to_soil=joint_to_soil,
        exact=exact,
    )


def _inexact(model: LeakModel, pieces: Sequence[int], linear: tuple[Gain, Gain]) -> SealingValue:
    return _value(
        model,
        pieces,
        whole=linear[0],
        whole_held=linear[1],
        half=None,
        half_held=None,
        patchy=None,
        patchy_held=None,
        joint_to_soil=math.nan,
        exact=False,
    )


def _first_order(
    model: LeakModel, state: LeakState, segments: Sequence[Sequence[int]]
) -> list[tuple[Gain, Gain]]:
    """Gain of sealing each segment to first order, through the fan and at held pits."""
    response = model.solution.response
    drop = model.paths.drop(response.unit_fields)
    margin = margin_sensitivity(model, state)
    air, down = air_sensitivity(model, state, drop)
    conductance, u = model.paths.conductance() + model.linked, state.point.u
    ports = [i for i, name in enumerate(response.ports) if name in model.rooms]
    found = []
    for pieces in segments:
        rows = model.rows(pieces)
        pull = -conductance[rows] * (drop[rows] @ u)  # added flow out of the lower ends
        straight = -model.direct[pieces].sum(axis=0)
        gained = -float(margin.at_slots[rows] @ pull)
        saved = float(air.at_slots[rows] @ pull + pull[down[rows]].sum())
        flows = straight[ports] * (u[ports][:, None] - u)
        saved -= float(flows[u[ports][:, None] > u].sum())
        held = Gain(margin_gained=gained, coverage_gained=math.nan, air_saved=saved)
        change = drop[rows].T @ (-conductance[rows, None] * drop[rows])
        matrix = response.port_matrix + change + np.diag(straight.sum(axis=1)) - straight
        moved = _moved(model, state, matrix) - u
        through = replace(
            held,
            margin_gained=gained + float(margin.at_ports @ moved),
            air_saved=saved - float(air.at_ports @ moved),
        )
        found.append((through, held))
    return found


def _moved(model: LeakModel, state: LeakState, matrix: Array) -> Array:
    """u at the ports with fan and pipes on another port matrix. [Pa]"""
    solution = model.solution
    changed = replace(solution, response=replace(solution.response, port_matrix=matrix))
    return operate(model.case, model.layout, state.condition, changed, fan_on=True).u


def _open_openings(case: Case) -> list[int]:
    return [i for i, o in enumerate(case.site.openings) if not o.sealed and o.flow != 0.0]


def _opening(model: LeakModel, state: LeakState, number: int) -> SealingValue:
    """One opening, sealed in the site and solved anew on the same grid."""
    site = model.case.site
    opening = site.openings[number]
    sealed = (*site.openings[:number], replace(opening, sealed=True), *site.openings[number + 1 :])
    case = replace(model.case, site=replace(site, openings=sealed))
    soil = map_of(case, model.layout, model.solution.soil.grid)
    solution = solve_soil(soil, case.air.viscosity)
    driven = operate(case, model.layout, state.condition, solution, fan_on=True).u
    matrix = solution.response.port_matrix
    held = held_u(matrix, state.point, case.air.pressure_atm)
    before = state.measures
    place = (opening.x, opening.y)
    return SealingValue(
        name=opening.name,
        begins=0.0,
        length=0.0,
        start=place,
        end=place,
        whole=gain(before, solved_measures(model.case, solution, driven)),
        whole_held=gain(before, solved_measures(model.case, solution, held)),
        half=None,
        half_held=None,
        patchy=None,
        patchy_held=None,
        joint_to_soil=math.nan,
        exact=True,
    )
