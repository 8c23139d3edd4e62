"""Balancing: dampers set so that each point's part of the floor has the same margin.

Equal flows are no aim: a point beside a leaky joint moves much air and holds little floor. What
is made equal is the worst margin in each point's territory, and the highest such margin that one
fan and its pipes can give is looked for; at least one damper then stays open.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.errors import ConvergenceError, InputError
from soilflow.grids import map_of
from soilflow.layout.drive import Drive
from soilflow.layout.layout import Layout
from soilflow.layout.losses import MOST_TURNED, damper_coefficient
from soilflow.layout.pipes import PipeTree
from soilflow.operate import operate, ports_in_use
from soilflow.port_elimination import SeenSoil, all_ports, eliminate
from soilflow.results.air_source import AirSources, air_sources
from soilflow.results.coverage import WorstPatch, worst_margins
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.leak_changes import patch_weights
from soilflow.results.result import deciding
from soilflow.results.solved import ConditionResult, SoilSolution
from soilflow.run import evaluate, solve_soil
from soilflow.site.effects import HOUSE
from soilflow.units import M3S_PER_CFM

__all__ = ["Balance", "balance_dampers", "territories", "territory_margins"]

Array = NDArray[np.float64]

# Margins this close are equal, far below what a gauge shows. [Pa]
_EQUAL = 1e-4
_Setting = tuple[float, float]  # angle of the blade [rad], further velocity heads [-]
_MOST_STEPS = 40


@dataclass(frozen=True, kw_only=True, eq=False)
class Balance:
    """A layout with its dampers set, beside the same layout with them open.

    Parameters
    ----------
    layout : Layout
        With the dampers in it.
    condition : str
        The condition it was balanced for.
    dampers : mapping of str to float
        How far the damper of each point on the fan is turned from open. [rad]
    further_losses : mapping of str to float
        Velocity heads that it must take beyond a blade as good as shut: a valve that shuts
        tighter, or a narrow plate. They are in the layout too. [-]
    margins_open, margins : mapping of str to float
        Worst margin in the territory of each point, dampers open and set. [Pa]
    before, after : ConditionResult
        Everything under the condition, dampers open and set.
    air_before, air_after : AirSources
        Where the air comes from, dampers open and set.
    """

    layout: Layout
    condition: str
    dampers: Mapping[str, float]
    further_losses: Mapping[str, float]
    margins_open: Mapping[str, float]
    margins: Mapping[str, float]
    before: ConditionResult
    after: ConditionResult
    air_before: AirSources
    air_after: AirSources

    @property
    def room_air_saved(self) -> float:
        """House air that is no longer drawn through the floor; negative is more. [m3/s]"""
        return self.air_before.room_air - self.air_after.room_air

    @property
    def margin_gained(self) -> float:
        """Worst margin of the whole floor with the dampers set less with them open. [Pa]"""
        return self.after.worst.margin - self.before.worst.margin

    def __str__(self) -> str:
        lines = [f"{'point':<20}{'damper':>10}{'margin open':>16}{'margin set':>16}"]
        for name, angle in self.dampers.items():
            lines.append(
                f"{name[:19]:<20}{np.degrees(angle):6.1f} deg{self.margins_open[name]:13.2f} Pa"
                f"{self.margins[name]:13.2f} Pa"
                + ("  nearly shut: a valve, not a blade" if self.further_losses[name] else "")
            )
        saved = self.room_air_saved
        lines.append(
            f"house air saved: {1e3 * saved:.3g} L/s ({saved / M3S_PER_CFM:.2g} cfm); worst margin "
            f"{self.margin_gained:+.2g} Pa"
        )
        return "\n".join(lines)


def territories(floor: FloorResponse, points: Mapping[str, int]) -> NDArray[np.int64]:
    """The floor shared out among suction points: a column belongs to the one it feels most.

    Parameters
    ----------
    floor : FloorResponse
        Unit fields under the slab.
    points : mapping of str to int
        Suction points and their ports.

    Returns
    -------
    territory : array of int, shape (nx, ny)
        Port of the point; of the first where no air reaches.
    """
    ports = np.array(list(points.values()))
    return ports[np.argmax(np.nan_to_num(floor.unit_fields[ports]), axis=0)]


def territory_margins(
    floor: FloorResponse,
    port_u: Array,
    territory: NDArray[np.int64],
    *,
    room: int,
    pressure_atm: float,
) -> dict[int, WorstPatch]:
    """Worst place of each territory.

    Parameters
    ----------
    floor : FloorResponse
        Unit fields under the slab.
    port_u : array, shape (p,)
        p + p^2 / (2 p_atm) at the ports. [Pa]
    territory : array of int, shape (nx, ny)
        Port of the point each column belongs to.
    room : int
        Port of the room whose floor is judged.
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    worst : dict of int to WorstPatch
        By port; points without a patch of floor are left out.
    """
    return worst_margins(floor.pressure(port_u, pressure_atm, room=room), territory)


def balance_dampers(
    case: Case,
    layout: str | Layout | None = None,
    *,
    condition: str | None = None,
    engine: Callable[..., SoilSolution] = solve_soil,
    solution: SoilSolution | None = None,
) -> Balance:
    """Set the dampers at the points of a fan so that their territories have one worst margin.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        A layout of one fan with pipes; None takes the first. Dampers it has are opened first.
    condition : str or None
        Name of the condition; None takes the one that decides.
    engine : callable
        Turns a soil map and a viscosity into a solution.
    solution : SoilSolution or None
        The soil with this layout's pits, solved already; None solves it.

    Returns
    -------
    balance : Balance
        The layout with its dampers, and what they save and cost.

    Raises
    ------
    InputError
        Not one fan with pipes and two points or more, a point without floor of its own, or one
        that would have to draw nothing.
    OutOfRangeError
        The fan would work outside its curve.
    ConvergenceError
        No setting makes the margins equal.

    Notes
    -----
    Territories stay as the soil draws them, whatever the dampers do. The dampers sit in the
    branches, which are pipes named after the points, with a loss as `damper_coefficient` has it.
    In tight soil a branch carries so little air that a blade takes hardly any pressure until it
    is as good as shut; what is missing then stands as a further loss coefficient.
    """
    chosen = layout if isinstance(layout, Layout) else case.layout(layout)
    tree = _one_tree(chosen)
    opened = _with_dampers(chosen, dict.fromkeys(chosen.points_on(""), (0.0, 0.0)))
    if solution is None:
        solution = engine(map_of(case, opened), case.air.viscosity)
    floor = floor_response(solution.soil, solution.network, solution.response)
    found = {c.name: evaluate(case, opened, c, solution, floor) for c in case.conditions}
    before = found[condition] if condition in found else deciding(found)
    if condition is not None and condition not in found:
        raise InputError(f'no condition "{condition}" in this case', field="condition")
    [day] = [c for c in case.conditions if c.name == before.name]
    task = _Task(case, opened, day, solution, floor)
    start = operate(case, opened, day, solution, fan_on=True)
    open_margins = task.named(task.worst(start.u))
    settings = task.settings(start.u, tree)
    balanced = _with_dampers(opened, settings)
    after = evaluate(case, balanced, day, solution, floor)
    return Balance(
        layout=balanced,
        condition=day.name,
        dampers={name: angle for name, (angle, _) in settings.items()},
        further_losses={name: further for name, (_, further) in settings.items()},
        margins_open=open_margins,
        margins=task.named(task.worst(after.operating_point.u)),
        before=before,
        after=after,
        air_before=air_sources(case.site, solution, start.u),
        air_after=air_sources(case.site, solution, after.operating_point.u),
    )


def _one_tree(layout: Layout) -> PipeTree:
    """The pipes of a layout that can be balanced, or why it cannot."""
    points = layout.points_on("")
    if layout.more_fans or layout.pipes is None or len(points) < 2:
        raise InputError(
            f'layout "{layout.name}": dampers balance two points or more on one fan with pipes',
            field="layout",
        )
    for name in points:
        for other in points:
            if other != name and name in [p.name for p in layout.pipes.way_out(other)]:
                raise InputError(
                    f'the pipe of "{name}" also carries the air of "{other}"; give both a branch '
                    "of their own",
                    field="pipes",
                )
    return layout.pipes


def _with_dampers(layout: Layout, settings: Mapping[str, _Setting]) -> Layout:
    """The layout with dampers in the branches of some points."""
    assert layout.pipes is not None
    pipes = []
    for pipe in layout.pipes.pipes:
        angle, further = settings.get(pipe.name, (pipe.damper, 0.0))
        coefficient = pipe.loss_coefficient + further
        pipes.append(dataclasses.replace(pipe, damper=angle, loss_coefficient=coefficient))
    tree = dataclasses.replace(layout.pipes, pipes=tuple(pipes))
    return dataclasses.replace(layout, pipes=tree)


class _Task:
    """One layout under one condition: what suction each margin takes, and what the fan has left."""

    def __init__(
        self,
        case: Case,
        layout: Layout,
        condition: Condition,
        solution: SoilSolution,
        floor: FloorResponse,
    ) -> None:
        given, _, drives = ports_in_use(case, layout, condition, solution, fan_on=True)
        self.drive: Drive = drives[0]
        self.floor, self.matrix = floor, solution.response.port_matrix
        self.atm, self.names = case.air.pressure_atm, solution.soil.ports
        self.room = self.names.index(HOUSE)
        self.soil: SeenSoil = eliminate(self.matrix, self.names, given, self.drive.points, self.atm)
        # only where air reaches is looked at in it
        self.at_rest = floor.pressure(np.zeros(len(self.names)), self.atm, room=self.room)
        drawing = {p.name: self.names.index(p.name) for p in layout.points if not p.capped}
        self.territory = territories(floor, drawing)

    def worst(self, port_u: Array) -> list[WorstPatch]:
        """Worst place of each point's territory."""
        found = territory_margins(
            self.floor, port_u, self.territory, room=self.room, pressure_atm=self.atm
        )
        for port in self.soil.on:
            if port not in found:
                raise InputError(
                    f'point "{self.names[port]}" has no floor that it holds more than another '
                    "does; leave it out of the balance: cap it or give it a fan",
                    field="layout",
                )
        return [found[port] for port in self.soil.on]

    def named(self, worst: list[WorstPatch]) -> dict[str, float]:
        """Margins by point."""
        return {n: w.margin for n, w in zip(self.drive.points, worst, strict=True)}

    def suction_for(self, margin: float, start: Array) -> Array:
        """u at the points that gives every territory one worst margin."""
        u = start.copy()
        for _ in range(_MOST_STEPS):
            port_u, _ = all_ports(self.matrix, self.soil, u)
            worst = self.worst(port_u)
            missing = np.array([w.margin - margin for w in worst])
            if np.abs(missing).max() < 0.01 * _EQUAL:
                return u
            u += np.linalg.solve(np.array([self._felt(w) for w in worst]), missing)
        raise ConvergenceError(
            f"the margins differ by {np.abs(missing).max():.3g} Pa still after {_MOST_STEPS} steps",
            reached=float(np.abs(missing).max()),
            wanted=0.01 * _EQUAL,
            iterations=_MOST_STEPS,
        )

    def _felt(self, worst: WorstPatch) -> Array:
        """What a place feels of each point, capped ones following."""
        weights = patch_weights(self.at_rest, worst)
        mean = np.nansum(self.floor.unit_fields * weights, axis=(1, 2))
        follow = self.soil.capped_by_point.T @ mean[self.soil.capped]
        return np.asarray(mean[self.soil.on] - follow)

    def to_spare(self, u: Array) -> tuple[Array, Array]:
        """What the fan leaves for the damper of each point, in u [Pa], and their flows [m3/s]."""
        flows, drive = self.soil.flows(u), self.drive
        inlet, whole = drive.resting_pressure, float(flows.sum())
        for _ in range(_MOST_STEPS):
            inlet = drive.resting_pressure - drive.fan_pressure(whole, inlet)
        return u - drive.u_continued(inlet) - drive.losses(flows), flows

    def settings(self, port_u: Array, tree: PipeTree) -> dict[str, _Setting]:
        """How each damper stands at the highest margin that all can have."""
        start = port_u[self.soil.on]
        margins = [w.margin for w in self.worst(port_u)]
        low, high = min(margins), max(margins)
        if high - low < _EQUAL:
            return dict.fromkeys(self.drive.points, (0.0, 0.0))

        def least_spare(margin: float) -> float:
            return float(self.to_spare(self.suction_for(margin, start))[0].min())

        step = high - low
        for _ in range(_MOST_STEPS):
            if least_spare(low) >= 0.0:
                break
            low -= step
        else:
            raise ConvergenceError(
                f"no margin down to {low:.3g} Pa leaves every damper something to take",
                reached=least_spare(low),
                wanted=0.0,
                iterations=_MOST_STEPS,
            )
        margin = brentq(least_spare, low, high, xtol=0.01 * _EQUAL)
        spare, flows = self.to_spare(self.suction_for(margin, start))
        return {
            name: self._setting(name, float(loss), float(flow), tree)
            for name, loss, flow in zip(self.drive.points, spare, flows, strict=True)
        }

    def _setting(self, name: str, loss: float, flow: float, tree: PipeTree) -> _Setting:
        """How a damper takes a loss: by its blade, and past that by a valve that shuts tighter."""
        if flow <= 0.0:
            raise InputError(
                f'point "{name}" would draw nothing: the other points hold its floor; write capped '
                "= true there",
                field="layout",
            )
        head = 0.5 * self.drive.pipe_density * (flow / tree.way_out(name)[0].area) ** 2
        wanted, most = max(loss, 0.0) / head, damper_coefficient(MOST_TURNED)
        if wanted >= most:
            return MOST_TURNED, wanted - most
        angle = brentq(lambda a: damper_coefficient(a) - wanted, 0.0, MOST_TURNED, xtol=1e-12)
        return float(angle), 0.0
