"""The operating point: where fan, pipes and soil agree.

The soil is its port matrix Y alone: q = -Y u, q positive from soil into a port, with
u = p + p^2/(2 p_atm). Everything here is dense algebra on a few ports.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from soilflow.air import P_ATM, pressure_from_u
from soilflow.errors import ConvergenceError, InputError, OutOfRangeError
from soilflow.layout.drive import (
    Drive,
    FanDuty,
    fan_duty,
    pipe_notes,
    riser_vacuums,
    velocities,
)
from soilflow.layout.fan_sets import pipe_label
from soilflow.port_elimination import SeenSoil, all_ports, eliminate

__all__ = [
    "CAPPED",
    "FAN_OFF",
    "FAN_ON",
    "GIVEN",
    "OperatingPoint",
    "solve_operating_point",
]

Array = NDArray[np.float64]
FAN_ON = "fan on"
FAN_OFF = "fan off"  # tied through the pipes, discharge open: a passive stack
CAPPED = "capped"
GIVEN = "given"  # a room, the outdoors, or a suction point at a stated vacuum
WANTED_RESIDUAL = 1e-6  # Pa


@dataclass(frozen=True, kw_only=True, eq=False)
class OperatingPoint:
    """Pressures and flows at which fan, pipes and soil agree.

    Parameters
    ----------
    port_names : tuple of str
        Names of the ports, in the order of the port matrix.
    states : tuple of str
        For each port "fan on", "fan off", "capped" or "given".
    pressures : array, shape (p,)
        Pressure at each port, relative to the room at slab level. [Pa]
    u : array, shape (p,)
        p + p^2/(2 p_atm) at each port. [Pa]
    flows : array, shape (p,)
        Flow from soil into each port, as volume at atmospheric pressure. [m3/s]
    riser_vacuums : mapping of str to float
        What a gauge on the pipe reads just past each pit, entry loss and velocity head
        included, by suction point. [Pa]
    fans : mapping of str to FanDuty
        What each fan does, by its name; the layout's own is called "first".
    velocities : mapping of str to float
        Mean velocity at the downstream end of each pipe, by pipe name; a further fan's pipes
        have its name in front. [m/s]
    backflow : tuple of str
        Suction points on the pipes that blow into the soil.
    notes : tuple of str
        What the reader should know about this point.
    residual : float
        Largest mismatch of pressure at a suction point or at the fan. [Pa]
    iterations : int
        Linearisations that the solver spent.
    """

    port_names: tuple[str, ...]
    states: tuple[str, ...]
    pressures: Array
    u: Array
    flows: Array
    riser_vacuums: Mapping[str, float]
    fans: Mapping[str, FanDuty]
    velocities: Mapping[str, float]
    backflow: tuple[str, ...]
    notes: tuple[str, ...]
    residual: float
    iterations: int

    @property
    def fan_flow(self) -> float:
        """Volume through all fans, or open discharges, each at its inlet's pressure. [m3/s]"""
        return sum(duty.flow for duty in self.fans.values())

    @property
    def fan_static(self) -> float:
        """Static pressure of the fan that makes most, 0 when all are off. [Pa]"""
        return max((duty.static_pressure for duty in self.fans.values()), default=0.0)

    @property
    def fan_power(self) -> float | None:
        """Electrical power of all fans; None when one that runs has no power points. [W]"""
        running = [duty.power for duty in self.fans.values() if duty.runs]
        powers = [power for power in running if power is not None]
        return sum(powers) if powers and len(powers) == len(running) else None

    def __str__(self) -> str:
        lines = [f"{'port':<20} {'state':<8} {'p [Pa]':>12} {'q [m3/s]':>12}"]
        for name, state, p, q in zip(
            self.port_names, self.states, self.pressures, self.flows, strict=True
        ):
            lines.append(f"{name:<20} {state:<8} {p:12.4f} {q:12.4e}")
        lines += [f"riser at {name}: {v:.4f} Pa" for name, v in self.riser_vacuums.items()]
        for name, duty in self.fans.items():
            which = "fan" if len(self.fans) == 1 else f"fan {name!r}"
            power = "" if duty.power is None else f", {duty.power:.1f} W"
            lines.append(f"{which}: {duty.static_pressure:.4f} Pa at {duty.flow:.4e} m3/s{power}")
        lines += [f"velocity in {name}: {v:.2f} m/s" for name, v in self.velocities.items()]
        lines += [f"note: {note}" for note in self.notes]
        lines.append(f"residual {self.residual:.1e} Pa after {self.iterations} iterations")
        return "\n".join(lines)


def solve_operating_point(
    port_matrix: ArrayLike,
    *,
    port_names: Sequence[str],
    given_pressures: Mapping[str, float],
    capped: Collection[str] = (),
    drives: Sequence[Drive] = (),
    pressure_atm: float = P_ATM,
    extrapolate: bool = False,
    start: ArrayLike | None = None,
) -> OperatingPoint:
    """Find the pressures and flows at which fans, pipes and soil agree.

    p_pit = p_discharge - (rho_outdoor - rho_pipe) g H - dp_fan(Q) + losses, q = -Y u.

    Parameters
    ----------
    port_matrix : array_like, shape (p, p)
        Symmetric positive semidefinite, rows summing to zero. [m3/(s Pa)]
    port_names : sequence of str
        Names of the ports in the order of the matrix.
    given_pressures : mapping of str to float
        Pressure of every port that has a stated one: rooms, outdoors, points at a
        stated vacuum V as -V. [Pa]
    capped : collection of str
        Suction points not in use: no flow, at whatever pressure the soil gives them.
    drives : sequence of Drive
        Fans with their pipes, each on its own points and by its own name; a drive without a
        fan leaves its discharge open.
    pressure_atm : float
        Atmospheric pressure, that of every drive. [Pa]
    extrapolate : bool
        Accept an answer outside a fan's points, with a warning.
    start : array_like, shape (n,), or None
        Flow to begin from at each point on a drive, in their order; any will do. [m3/s]

    Returns
    -------
    OperatingPoint
        The answer, which is unique.

    Raises
    ------
    InputError
        If ports and names do not match, or a port has no state or two.
    OutOfRangeError
        If the answer lies outside the fan's points, or needs more vacuum than there is air.
    ConvergenceError
        If soil and pipe pressures differ by more than 1e-6 Pa when the solver stops.

    Notes
    -----
    The pressure that fan and pipes leave at the pits never falls when a flow rises, and
    it is the gradient of a convex function of the flows; the flows the soil gives are the
    gradient of another in u. So the Jacobian of the mismatch, 1 + A B with A and B positive
    semidefinite, is nowhere singular, and a least-squares descent ends in the only answer.
    Several fans add their convex functions, each of its own points' flows: A gets a block for
    each, and the soil alone couples them.

    Mass flow is kept through the pipes: losses are differences of u (see `pipe_loss`), and
    the fan moves Q p_atm/(p_atm + p) with p at its inlet. The fan stands at the end of the
    discharge run. Left out: the change of volume from soil to riser temperature (3 % for
    10 K), and cooling of the air along the pipes.

    Examples
    --------
    A fan straight on a pit that draws 1e-5 m3/s per Pa from the room:

    >>> from soilflow.layout.fan import Fan
    >>> fan = Fan(name="attic", flows=(0.0, 0.1), static_pressures=(400.0, 0.0))
    >>> point = solve_operating_point(
    ...     [[1e-5, -1e-5], [-1e-5, 1e-5]], port_names=("A", "room"),
    ...     given_pressures={"room": 0.0}, drives=[Drive(points=("A",), fan=fan)])
    >>> round(float(point.pressures[0]), 1)
    -384.6
    """
    names = tuple(port_names)
    y = _checked_matrix(port_matrix, names)
    drives = tuple(drive for drive in drives if drive.points or drive.fan is not None)
    _check_drives(drives, pressure_atm)
    points = [name for drive in drives for name in drive.points]
    _check_states(names, given_pressures, capped, points)
    soil = eliminate(y, names, given_pressures, points, pressure_atm)
    u_points, inlets, residual, iterations = _solve(drives, soil, given_pressures, start)
    u, flows = all_ports(y, soil, u_points)
    pressures = pressure_from_u(u, pressure_atm)
    backflow = tuple(_backflow(y, u, flows, soil, points))
    fans: dict[str, FanDuty] = {}
    risers: dict[str, float] = {}
    speeds: dict[str, float] = {}
    for drive, inlet, part in zip(drives, inlets, _parts(drives), strict=True):
        own = [soil.on[i] for i in range(part.start, part.stop)]
        q_points = dict(zip(drive.points, flows[own].tolist(), strict=True))
        fans[drive.name] = fan_duty(drive, sum(q_points.values()), inlet, extrapolate=extrapolate)
        risers |= riser_vacuums(drive, q_points, pressures[own].tolist())
        own_speeds = velocities(drive, q_points, inlet).items()
        speeds |= {pipe_label(drive.name, pipe): speed for pipe, speed in own_speeds}
    tied = {p: FAN_OFF if d.fan is None else FAN_ON for d in drives for p in d.points}
    return OperatingPoint(
        port_names=names,
        states=tuple(CAPPED if n in capped else tied.get(n, GIVEN) for n in names),
        pressures=pressures,
        u=u,
        flows=flows,
        riser_vacuums=risers,
        fans=fans,
        velocities=speeds,
        backflow=backflow,
        notes=(*pipe_notes(speeds, backflow), *_floating_notes([names[i] for i in soil.floating])),
        residual=residual,
        iterations=iterations,
    )


def _parts(drives: Sequence[Drive]) -> list[slice]:
    """Where each drive's points lie among all of them."""
    ends = np.cumsum([0, *(len(drive.points) for drive in drives)]).tolist()
    return [slice(a, b) for a, b in itertools.pairwise(ends)]


def _solve(
    drives: Sequence[Drive],
    soil: SeenSoil,
    given_pressures: Mapping[str, float],
    start: ArrayLike | None,
) -> tuple[Array, list[float], float, int]:
    """u at the points, pressure at each fan's inlet, residual [Pa], iterations."""
    parts = _parts(drives)
    n = sum(len(drive.points) for drive in drives)
    begin = _begin(drives, parts, start)
    if n == 0:
        return np.empty(0), [drive.resting_pressure for drive in drives], 0.0, 0
    shutoffs = [drive.fan_pressure(0.0, 0.0) for drive in drives]
    rests = [abs(drive.resting_pressure) for drive in drives]
    scale = max(1.0, *shutoffs, *rests, *map(abs, given_pressures.values()))

    def mismatch(x: Array) -> Array:
        u_points, inlets = scale * x[:n], (scale * x[n:]).tolist()
        q = soil.flows(u_points)
        at_points, at_fans = np.empty(n), []
        for drive, part, inlet in zip(drives, parts, inlets, strict=True):
            losses = drive.losses(q[part])
            at_points[part] = u_points[part] - drive.u_continued(inlet) - losses
            made = drive.fan_pressure(float(q[part].sum()), inlet) if drive.points else 0.0
            at_fans.append(inlet - drive.resting_pressure + made)
        return np.append(at_points, at_fans) / scale

    found = least_squares(mismatch, begin / scale, xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=500)
    residual = scale * float(np.max(np.abs(found.fun)))
    if not residual <= WANTED_RESIDUAL:
        raise ConvergenceError(
            f"fan, pipes and soil agree to {residual:.3g} Pa only, {WANTED_RESIDUAL:g} Pa is "
            "wanted; look for a port matrix or a pipe far out of the usual",
            reached=residual,
            wanted=WANTED_RESIDUAL,
            iterations=int(found.njev),
        )
    u_points, inlets = scale * found.x[:n], (scale * found.x[n:]).tolist()
    half = 0.5 * drives[0].pressure_atm
    least = min(*(d.u_continued(p) for d, p in zip(drives, inlets, strict=True)), *u_points)
    if least < drives[0].u_continued(-half):
        message = f"the answer needs more than {half:.6g} Pa of vacuum, half of all there is"
        raise OutOfRangeError(f"{message}; take a weaker fan")
    return u_points, inlets, residual, int(found.njev)


def _begin(drives: Sequence[Drive], parts: Sequence[slice], start: ArrayLike | None) -> Array:
    """u at the points and pressure at the fans' inlets that go with the flows of a start."""
    n = sum(len(drive.points) for drive in drives)
    q = np.zeros(n) if start is None else np.asarray(start, dtype=float)
    if q.shape != (n,) or not np.all(np.isfinite(q)):
        raise InputError(f"give {n} finite flow(s), one for each fan point", field="start")
    u_points, inlets = np.empty(n), []
    for drive, part in zip(drives, parts, strict=True):
        made = drive.fan_pressure(float(q[part].sum()), 0.0) if drive.points else 0.0
        inlets.append(drive.resting_pressure - made)
        u_points[part] = drive.u_continued(inlets[-1]) + drive.losses(q[part])
    return np.append(u_points, inlets)


def _backflow(y: Array, u: Array, flows: Array, soil: SeenSoil, points: Sequence[str]) -> list[str]:
    rounding = 1e-12 * np.abs(y) @ np.abs(u)
    return [name for name, i in zip(points, soil.on, strict=True) if flows[i] < -rounding[i]]


def _floating_notes(floating: list[str]) -> list[str]:
    return [
        f"capped point {name!r}: no air path leads to it, so it has no pressure of its own; "
        "the room's is shown"
        for name in floating
    ]


def _checked_matrix(port_matrix: ArrayLike, names: tuple[str, ...]) -> Array:
    y = np.asarray(port_matrix, dtype=float)
    if y.shape != (len(names), len(names)):
        raise InputError(f"shape {y.shape} for {len(names)} port names", field="port_matrix")
    if not np.all(np.isfinite(y)):
        raise InputError("not every entry is a finite number", field="port_matrix")
    rounding = 1e-6 * np.max(np.abs(y), initial=0.0)
    if np.any(np.abs(y - y.T) > rounding) or np.any(np.abs(y.sum(axis=1)) > rounding):
        message = "must be symmetric with rows that sum to zero, to 1e-6 of its largest entry"
        raise InputError(message, field="port_matrix")
    return (y + y.T) / 2.0


def _check_drives(drives: Sequence[Drive], pressure_atm: float) -> None:
    names = [drive.name for drive in drives]
    for drive in drives:
        if names.count(drive.name) > 1:
            raise InputError(f"two fans are called {drive.name!r}", field="drives")
        if drive.pressure_atm != pressure_atm:
            raise InputError("fans under one atmosphere are needed", field="drives")
        if drive.points and drive.fan is None and drive.pipes is None:
            message = "neither fan nor pipes are given; cap the points or give what they are on"
            raise InputError(message, field="drives")


def _check_states(
    names: tuple[str, ...],
    given_pressures: Mapping[str, float],
    capped: Collection[str],
    fan_points: Sequence[str],
) -> None:
    stated = [*given_pressures, *capped, *fan_points]
    for name in stated:
        if name not in names:
            raise InputError(f"no port is named {name!r}; there are {', '.join(map(repr, names))}")
    for name in names:
        if stated.count(name) != 1:
            raise InputError(
                f"port {name!r} has {stated.count(name)} states; give it one: a pressure, "
                "capped, or on the fan"
            )
    for name, pressure in given_pressures.items():
        if not math.isfinite(pressure):
            raise InputError(f"{pressure}: a finite pressure is needed", field=name)
