"""Pipes of layouts that nobody has drawn: each pit's branch along the axes to one riser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.air import Air
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.layout.drive import Drive
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree, entry_loss, pipe_losses
from soilflow.studies.candidates import Candidate

__all__ = ["DriveTables", "drive_tables", "searched_layout", "usual_riser"]

Array = NDArray[np.float64]

# Two turns from the pit to the riser, common practice, no source.
_ELBOWS = ("sharp 90 bend", "sharp 90 bend")
_SHORTEST = 0.3  # of a branch [m]
_POINTS = 241  # of each table
_STEPS = 40  # fixed-point steps for the pressure at the fan's inlet


@dataclass(frozen=True, kw_only=True, eq=False)
class DriveTables:
    """Fan and pipes as tables over flow, so that many layouts can be looked up at once.

    Parameters
    ----------
    flows : array, shape (t,)
        Flow from no flow to past the fan's last point, the same for all tables. [m3/s]
    inlet : array, shape (t,)
        u at the fan's inlet plus the loss of the run, by the flow of all pits together. [Pa]
    branches : array, shape (n, t)
        Loss from each candidate's pit to the riser by its own flow. [Pa]
    last : float
        Flow at which the fan's points end. [m3/s]
    """

    flows: Array
    inlet: Array
    branches: Array
    last: float


def usual_riser(case: Case) -> tuple[float, float]:
    """Where a riser goes when nobody says: the middle of the longest wall.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    place : tuple of float
        In plan. [m]
    """
    walls = case.site.slab.walls
    lengths = [np.hypot(w.end[0] - w.start[0], w.end[1] - w.start[1]) for w in walls]
    wall = walls[int(np.argmax(lengths))]
    return 0.5 * (wall.start[0] + wall.end[0]), 0.5 * (wall.start[1] + wall.end[1])


def searched_layout(
    name: str,
    candidates: Sequence[Candidate],
    *,
    fan: Fan,
    pipes: PipeTree | None,
    riser: tuple[float, float],
) -> Layout:
    """A layout of some candidates on one fan.

    Parameters
    ----------
    name : str
        What it is called.
    candidates : sequence of Candidate
        Its pits.
    fan : Fan
        The fan.
    pipes : PipeTree or None
        Pipes of the case, whose discharge run, bores and losses at the ends are kept; None for
        no losses.
    riser : tuple of float
        Where the branches meet the discharge run. [m]

    Returns
    -------
    layout : Layout
        With a branch for each pit, along the axes to the riser and with two elbows.
    """
    points = tuple(candidate.point for candidate in candidates)
    tree = None
    if pipes is not None:
        made = tuple(_branch(candidate, pipes, riser) for candidate in candidates)
        tree = replace(pipes, pipes=made, source="laid out by the search")
    return Layout(name=name, points=points, fan=fan, pipes=tree, source="found by the search")


def _branch(candidate: Candidate, pipes: PipeTree, riser: tuple[float, float]) -> Pipe:
    like = pipes.pipes[0] if pipes.pipes else pipes.discharge
    away = abs(candidate.x - riser[0]) + abs(candidate.y - riser[1])
    return Pipe(
        name=candidate.point.name,
        length=max(away, _SHORTEST),
        bore=like.bore,
        roughness=like.roughness,
        fittings=_ELBOWS,
        into=DISCHARGE,
        source="along the axes to the riser, two elbows",
    )


def drive_tables(
    case: Case,
    condition: Condition,
    candidates: Sequence[Candidate],
    *,
    fan: Fan,
    pipes: PipeTree | None,
    riser: tuple[float, float],
) -> DriveTables:
    """Tables of what the fan gives and what the pipes take on the day of a condition.

    Parameters
    ----------
    case : Case
        The case.
    condition : Condition
        The condition.
    candidates : sequence of Candidate
        All candidates.
    fan : Fan
        The fan.
    pipes : PipeTree or None
        Pipes of the case; None for no losses.
    riser : tuple of float
        Where the branches meet. [m]

    Returns
    -------
    tables : DriveTables
        On flows from nothing to a fifth past the fan's last point.
    """
    whole = searched_layout("all", candidates, fan=fan, pipes=pipes, riser=riser)
    atm = case.air.pressure_atm
    warmth = condition.room_temperature if pipes is None else pipes.air_temperature
    pipe_air = Air(temperature=warmth, pressure_atm=atm)
    drive = Drive(
        points=tuple(point.name for point in whole.points),
        fan=fan,
        pipes=whole.pipes,
        discharge_pressure=condition.outdoors,
        pipe_density=pipe_air.density,
        outdoor_density=Air(temperature=condition.outdoor_temperature, pressure_atm=atm).density,
        viscosity=pipe_air.viscosity,
        pressure_atm=atm,
    )
    most = 1.2 * fan.free_air_flow
    flows = np.concatenate([[0.0], np.geomspace(1e-5 * most, most, _POINTS - 1)])
    run = np.zeros(_POINTS)
    branches = np.zeros((len(candidates), _POINTS))
    if whole.pipes is not None:
        alone = [_losses(whole.pipes, drive, float(q)) for q in flows]
        run = np.array([loss[0] for loss in alone])
        branches = np.array([loss[1] for loss in alone]).T
    inlet = np.array([_inlet(drive, float(q)) for q in flows])
    return DriveTables(flows=flows, inlet=inlet + run, branches=branches, last=fan.free_air_flow)


def _losses(tree: PipeTree, drive: Drive, flow: float) -> tuple[float, Array]:
    """Loss of the run at a flow, and from each pit to the riser at the same flow. [Pa]"""
    density, names = drive.pipe_density, drive.points
    air = {"density": density, "viscosity": drive.viscosity}
    first = {names[0]: flow, **dict.fromkeys(names[1:], 0.0)}
    run = pipe_losses(tree, first, **air)[DISCHARGE]
    lost = pipe_losses(tree, dict.fromkeys(names, flow), **air)
    branches = [lost[name] + entry_loss(tree, name, flow, density=density) for name in names]
    return run, np.array(branches)


def _inlet(drive: Drive, flow: float) -> float:
    """u at the fan's inlet when the fan moves a flow. [Pa]"""
    inlet = drive.resting_pressure
    for _ in range(_STEPS):
        inlet = drive.resting_pressure - drive.fan_pressure(flow, inlet)
    return drive.u_continued(inlet)
