"""The operating point: where fan, pipes and soil agree.

The soil is its port matrix Y alone: q = -Y u, q positive from soil into a port, with
u = p + p^2/(2 p_atm). Everything here is dense algebra on a few ports.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from soilflow.air import P_ATM, pressure_from_u, u_from_pressure
from soilflow.errors import ConvergenceError, InputError, OutOfRangeError
from soilflow.layout.drive import Drive, fan_duty, pipe_notes, riser_vacuums, velocities
from soilflow.layout.fan import Fan
from soilflow.layout.pipes import PipeTree

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
    fan_flow : float
        Volume through the fan, or through the open discharge, at its inlet pressure. [m3/s]
    fan_static : float
        Static pressure the fan makes, 0 when it is off. [Pa]
    fan_power : float or None
        Electrical power; None when the fan is off or has no power points. [W]
    velocities : mapping of str to float
        Mean velocity at the downstream end of each pipe, by pipe name. [m/s]
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
    fan_flow: float
    fan_static: float
    fan_power: float | None
    velocities: Mapping[str, float]
    backflow: tuple[str, ...]
    notes: tuple[str, ...]
    residual: float
    iterations: int

    def __str__(self) -> str:
        lines = [f"{'port':<20} {'state':<8} {'p [Pa]':>12} {'q [m3/s]':>12}"]
        for name, state, p, q in zip(
            self.port_names, self.states, self.pressures, self.flows, strict=True
        ):
            lines.append(f"{name:<20} {state:<8} {p:12.4f} {q:12.4e}")
        lines += [f"riser at {name}: {v:.4f} Pa" for name, v in self.riser_vacuums.items()]
        power = "" if self.fan_power is None else f", {self.fan_power:.1f} W"
        lines.append(f"fan: {self.fan_static:.4f} Pa at {self.fan_flow:.4e} m3/s{power}")
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
    fan_points: Sequence[str] = (),
    fan: Fan | None = None,
    pipes: PipeTree | None = None,
    discharge_pressure: float = 0.0,
    pipe_density: float = 1.204,
    outdoor_density: float = 1.204,
    viscosity: float = 1.81e-5,
    pressure_atm: float = P_ATM,
    extrapolate: bool = False,
    start: ArrayLike | None = None,
) -> OperatingPoint:
    """Find the pressures and flows at which fan, pipes and soil agree.

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
    fan_points : sequence of str
        Suction points on the pipes (or, without pipes, on the fan itself).
    fan : Fan or None
        The fan; None leaves the discharge open with the fan off.
    pipes : PipeTree or None
        The pipes; None puts the fan straight on the suction points.
    discharge_pressure : float
        Pressure outdoors at the discharge, carried down to slab level. [Pa]
    pipe_density : float
        Density of the air in the pipes at atmospheric pressure. [kg/m3]
    outdoor_density : float
        Density of the air outdoors. [kg/m3]
    viscosity : float
        Viscosity of the air in the pipes. [Pa s]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    extrapolate : bool
        Accept an answer outside the fan's points, with a warning.
    start : array_like, shape (n,), or None
        Flow at each fan point to begin from; any will do. [m3/s]

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

    Mass flow is kept through the pipes: losses are differences of u (see `pipe_loss`), and
    the fan moves Q p_atm/(p_atm + p) with p at its inlet. The fan stands at the end of the
    discharge run. Left out: the change of volume from soil to riser temperature (3 % for
    10 K), and cooling of the air along the pipes.

    Examples
    --------
    A fan straight on a pit that draws 1e-5 m3/s per Pa from the room:

    >>> fan = Fan(name="attic", flows=(0.0, 0.1), static_pressures=(400.0, 0.0))
    >>> point = solve_operating_point(
    ...     [[1e-5, -1e-5], [-1e-5, 1e-5]], port_names=("A", "room"),
    ...     given_pressures={"room": 0.0}, fan_points=("A",), fan=fan)
    >>> round(float(point.pressures[0]), 1)
    -384.6
    """
    names = tuple(port_names)
    y = _checked_matrix(port_matrix, names)
    _check_states(names, given_pressures, capped, fan_points)
    if fan_points and fan is None and pipes is None:
        message = "neither fan nor pipes are given; cap the points or give what they are on"
        raise InputError(message, field="fan_points")
    drive = Drive(
        points=tuple(fan_points),
        fan=fan,
        pipes=pipes,
        discharge_pressure=discharge_pressure,
        pipe_density=pipe_density,
        outdoor_density=outdoor_density,
        viscosity=viscosity,
        pressure_atm=pressure_atm,
    )
    soil = _eliminate(y, names, given_pressures, drive)
    u_points, inlet, residual, iterations = _solve(drive, soil, given_pressures, start)
    u, flows = _all_ports(y, soil, u_points)
    pressures = pressure_from_u(u, pressure_atm)
    q_points = dict(zip(drive.points, flows[soil.on].tolist(), strict=True))
    speeds = velocities(drive, q_points, inlet)
    backflow = _backflow(y, u, flows, soil, drive.points)
    duty = fan_duty(drive, sum(q_points.values()), inlet, extrapolate=extrapolate)
    tied = FAN_OFF if fan is None else FAN_ON
    return OperatingPoint(
        port_names=names,
        states=tuple(CAPPED if n in capped else tied if n in fan_points else GIVEN for n in names),
        pressures=pressures,
        u=u,
        flows=flows,
        riser_vacuums=riser_vacuums(drive, q_points, pressures[soil.on].tolist()),
        fan_flow=duty.flow,
        fan_static=duty.static_pressure,
        fan_power=duty.power,
        velocities=speeds,
        backflow=tuple(backflow),
        notes=(*pipe_notes(speeds, backflow), *_floating_notes([names[i] for i in soil.floating])),
        residual=residual,
        iterations=iterations,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Soil:
    """The soil as the fan points see it: q = -(matrix u + offset), capped ports eliminated."""

    on: list[int]
    given: list[int]
    capped: list[int]
    floating: list[int]  # capped ports that no air path ties to a stated pressure
    u_given: Array
    matrix: Array
    offset: Array
    capped_by_point: Array  # u_capped = capped_offset - capped_by_point u_points
    capped_offset: Array

    def flows(self, u_points: Array) -> Array:
        return -(self.matrix @ u_points + self.offset)


def _eliminate(
    y: Array, names: tuple[str, ...], given_pressures: Mapping[str, float], drive: Drive
) -> _Soil:
    on = [names.index(name) for name in drive.points]
    given = [names.index(name) for name in given_pressures]
    capped = [i for i in range(len(names)) if i not in on and i not in given]
    u_given = np.array([u_from_pressure(p, drive.pressure_atm) for p in given_pressures.values()])
    inverse, null = _pseudo_inverse(y[np.ix_(capped, capped)])
    by_point = inverse @ y[np.ix_(capped, on)]
    by_given = inverse @ y[np.ix_(capped, given)]
    y_on_capped = y[np.ix_(on, capped)]
    return _Soil(
        on=on,
        given=given,
        capped=capped,
        floating=[i for i, loose in zip(capped, null, strict=True) if loose],
        u_given=u_given,
        matrix=y[np.ix_(on, on)] - y_on_capped @ by_point,
        offset=(y[np.ix_(on, given)] - y_on_capped @ by_given) @ u_given,
        capped_by_point=by_point,
        capped_offset=-by_given @ u_given,
    )


def _all_ports(y: Array, soil: _Soil, u_points: Array) -> tuple[Array, Array]:
    """u [Pa] and flow [m3/s] at every port."""
    u = np.zeros(len(y))
    u[soil.given] = soil.u_given
    u[soil.on] = u_points
    u[soil.capped] = soil.capped_offset - soil.capped_by_point @ u_points
    flows = -y @ u
    flows[soil.capped] = 0.0
    return u, flows


def _pseudo_inverse(block: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Inverse of a semidefinite block, and which rows belong to its null space.

    Scaled to a unit diagonal first: clay and gravel pits may differ by 1e6, and that alone
    must not make the clay pit look cut off.
    """
    diagonal = np.diag(block)
    scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    values, vectors = np.linalg.eigh(scale[:, None] * block * scale)
    null = values <= 1e-12
    kept = vectors[:, ~null]
    inverse = scale[:, None] * ((kept / values[~null]) @ kept.T) * scale
    return inverse, np.any(np.abs(vectors[:, null]) > 1e-6, axis=1)


def _solve(
    drive: Drive, soil: _Soil, given_pressures: Mapping[str, float], start: ArrayLike | None
) -> tuple[Array, float, float, int]:
    """u at the fan points, pressure at the fan's inlet, residual [Pa], iterations."""
    n = len(drive.points)
    if n == 0:
        return np.empty(0), drive.resting_pressure, 0.0, 0
    shutoff = drive.fan_pressure(0.0, 0.0)
    scale = max(1.0, shutoff, abs(drive.resting_pressure), *map(abs, given_pressures.values()))

    def mismatch(x: Array) -> Array:
        u_points, inlet = scale * x[:n], scale * float(x[n])
        q = soil.flows(u_points)
        at_points = u_points - drive.u_continued(inlet) - drive.losses(q)
        at_fan = inlet - drive.resting_pressure + drive.fan_pressure(float(q.sum()), inlet)
        return np.append(at_points, at_fan) / scale

    found = least_squares(
        mismatch, _begin(drive, start) / scale, xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=500
    )
    residual = scale * float(np.max(np.abs(found.fun)))
    if not residual <= WANTED_RESIDUAL:
        raise ConvergenceError(
            f"fan, pipes and soil agree to {residual:.3g} Pa only, {WANTED_RESIDUAL:g} Pa is "
            "wanted; look for a port matrix or a pipe far out of the usual",
            reached=residual,
            wanted=WANTED_RESIDUAL,
            iterations=int(found.njev),
        )
    u_points, inlet = scale * found.x[:n], scale * float(found.x[n])
    half = 0.5 * drive.pressure_atm
    if min(drive.u_continued(inlet), float(u_points.min())) < drive.u_continued(-half):
        message = f"the answer needs more than {half:.6g} Pa of vacuum, half of all there is"
        raise OutOfRangeError(f"{message}; take a weaker fan")
    return u_points, inlet, residual, int(found.njev)


def _begin(drive: Drive, start: ArrayLike | None) -> Array:
    """u at the points and pressure at the fan's inlet that go with the flows of a start."""
    n = len(drive.points)
    q = np.zeros(n) if start is None else np.asarray(start, dtype=float)
    if q.shape != (n,) or not np.all(np.isfinite(q)):
        raise InputError(f"give {n} finite flow(s), one for each fan point", field="start")
    inlet = drive.resting_pressure - drive.fan_pressure(float(q.sum()), 0.0)
    return np.append(drive.u_continued(inlet) + drive.losses(q), inlet)


def _backflow(y: Array, u: Array, flows: Array, soil: _Soil, points: Sequence[str]) -> list[str]:
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
