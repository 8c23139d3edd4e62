"""The drive: fan, pipes and buoyancy, all that stands between suction points and open air.

Pipes are reckoned in u = p + p^2/(2 p_atm), in which the loss of a steady isothermal flow
does not depend on the pressure it happens at. Functions here are defined for any flow and
pressure, so that an iteration may stray; whether the answer is one, `fan_duty` decides.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import P_ATM, pressure_from_u
from soilflow.layout.fan import Fan, continued_pressure, fan_power, static_pressure
from soilflow.layout.fan_sets import FIRST
from soilflow.layout.pipes import PipeTree, entry_loss, path_losses, pipe_flows, pipe_losses
from soilflow.units import GRAVITY, MS_PER_FPM

__all__ = ["Drive", "FanDuty", "fan_duty", "pipe_notes", "riser_vacuums", "velocities"]

# 2000 fpm, so that condensate can run back: ANSI/AARST SGM-SF 2017 rev. 12/20, 6.3.8 [m/s]
FASTEST = 2000 * MS_PER_FPM


@dataclass(frozen=True, kw_only=True)
class Drive:
    """Fan and pipes on a day: who is connected, and what the air is like.

    Parameters
    ----------
    points : tuple of str
        Names of the suction points on it.
    fan : Fan or None
        The fan; None when it is off.
    pipes : PipeTree or None
        The pipes; None puts the fan straight on the points.
    discharge_pressure : float
        Pressure outdoors at the discharge, carried down to slab level. [Pa]
    pipe_density : float
        Density of the air in the pipes at atmospheric pressure; 1.204 is air at 20 C. [kg/m3]
    outdoor_density : float
        Density of the air outdoors. [kg/m3]
    viscosity : float
        Viscosity of the air in the pipes. [Pa s]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    name : str
        What the fan is called where there are several.
    """

    points: tuple[str, ...]
    fan: Fan | None = None
    pipes: PipeTree | None = None
    discharge_pressure: float = 0.0
    pipe_density: float = 1.204
    outdoor_density: float = 1.204
    viscosity: float = 1.81e-5
    pressure_atm: float = P_ATM
    name: str = FIRST

    @property
    def resting_pressure(self) -> float:
        """Pressure at the points with the fan off and no flow: outdoors less buoyancy. [Pa]"""
        height = 0.0 if self.pipes is None else self.pipes.discharge_height
        return self.discharge_pressure - (
            (self.outdoor_density - self.pipe_density) * GRAVITY * height
        )

    def losses(self, flows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Loss in u from each point to the fan at the end of the run, outlet included.

        Parameters
        ----------
        flows : array, shape (n,)
            Flow from each point, as volume at atmospheric pressure. [m3/s]

        Returns
        -------
        array, shape (n,)
            Loss. [Pa]
        """
        if self.pipes is None:
            return np.zeros(len(self.points))
        losses = path_losses(
            self.pipes,
            dict(zip(self.points, flows.tolist(), strict=True)),
            density=self.pipe_density,
            viscosity=self.viscosity,
        )
        return np.array([losses[name] for name in self.points])

    def swelling(self, pressure: float) -> float:
        """Volume of air at a pressure over its volume at atmospheric pressure, at most 2.

        Parameters
        ----------
        pressure : float
            Gauge pressure. [Pa]

        Returns
        -------
        float
            p_atm / (p_atm + p). [-]
        """
        return 1.0 / (1.0 + max(pressure / self.pressure_atm, -0.5))

    def inlet_flow(self, flow: float, inlet_pressure: float) -> float:
        """Volume of air at the fan's inlet; backflow, which is no answer, is left as it is.

        Parameters
        ----------
        flow : float
            Volume at atmospheric pressure. [m3/s]
        inlet_pressure : float
            Pressure at the fan's inlet. [Pa]

        Returns
        -------
        float
            Volume at the inlet's pressure. [m3/s]
        """
        return flow * self.swelling(inlet_pressure) if flow > 0.0 else flow

    def fan_pressure(self, flow: float, inlet_pressure: float) -> float:
        """Static pressure of the fan, continued past its points.

        Parameters
        ----------
        flow : float
            Volume at atmospheric pressure. [m3/s]
        inlet_pressure : float
            Pressure at the fan's inlet. [Pa]

        Returns
        -------
        float
            Static pressure, 0 with the fan off. [Pa]
        """
        if self.fan is None:
            return 0.0
        at_inlet = self.inlet_flow(flow, inlet_pressure)
        return continued_pressure(self.fan, at_inlet, density=self.pipe_density)

    def u_continued(self, pressure: float) -> float:
        """u of a pressure, made to rise everywhere: below -p_atm/2 a straight line.

        Parameters
        ----------
        pressure : float
            Gauge pressure of any size. [Pa]

        Returns
        -------
        float
            p + p^2/(2 p_atm) or its tangent. [Pa]
        """
        bent = max(pressure, -0.5 * self.pressure_atm)
        return bent + bent**2 / (2.0 * self.pressure_atm) + 0.5 * (pressure - bent)


@dataclass(frozen=True, kw_only=True)
class FanDuty:
    """What the fan does at an operating point.

    Parameters
    ----------
    flow : float
        Volume of air at its inlet's pressure. [m3/s]
    static_pressure : float
        Static pressure it makes, 0 when it is off. [Pa]
    power : float or None
        Electrical power; None when it is off or has no power points. [W]
    runs : bool
        Whether it is on and draws on a point.
    """

    flow: float
    static_pressure: float
    power: float | None
    runs: bool = True


def fan_duty(
    drive: Drive, flow: float, inlet_pressure: float, *, extrapolate: bool = False
) -> FanDuty:
    """What the fan does at a flow, refused outside its points.

    Parameters
    ----------
    drive : Drive
        Fan and pipes.
    flow : float
        Volume at atmospheric pressure. [m3/s]
    inlet_pressure : float
        Pressure at the fan's inlet. [Pa]
    extrapolate : bool
        Accept a flow outside the points, with a warning.

    Returns
    -------
    FanDuty
        Flow, static pressure and power.

    Raises
    ------
    OutOfRangeError
        If the flow lies outside the points and `extrapolate` is not set.
    """
    at_inlet = drive.inlet_flow(flow, inlet_pressure)
    if drive.fan is None or not drive.points:
        return FanDuty(flow=at_inlet, static_pressure=0.0, power=None, runs=False)
    density = drive.pipe_density
    made = static_pressure(drive.fan, at_inlet, density=density, extrapolate=extrapolate)
    # The line above has warned already; power past the ends is that of the end.
    inside = min(max(at_inlet, 0.0), drive.fan.free_air_flow)
    power = fan_power(drive.fan, inside, density=density)
    return FanDuty(flow=at_inlet, static_pressure=made, power=power)


def riser_vacuums(
    drive: Drive, flows_by_point: Mapping[str, float], pit_pressures: Sequence[float]
) -> dict[str, float]:
    """What a gauge tapped into the pipe just past each pit reads.

    Static vacuum: the pit's, and the entry loss and velocity head on top of it.

    Parameters
    ----------
    drive : Drive
        Fan and pipes.
    flows_by_point : mapping of str to float
        Flow from each suction point, as volume at atmospheric pressure. [m3/s]
    pit_pressures : sequence of float
        Pressure in each pit, in the order of the points. [Pa]

    Returns
    -------
    dict of str to float
        Vacuum against the room, by suction point; the pit's own without pipes. [Pa]
    """
    vacuums = {}
    for (point, flow), pressure in zip(flows_by_point.items(), pit_pressures, strict=True):
        vacuums[point] = -pressure
        if drive.pipes is not None:
            swelling = drive.swelling(pressure)
            density = drive.pipe_density / swelling
            velocity = flow * swelling / drive.pipes.way_out(point)[0].area
            entry = entry_loss(drive.pipes, point, flow * swelling, density=density)
            vacuums[point] += entry + density * velocity**2 / 2.0
    return vacuums


def velocities(
    drive: Drive, flows_by_point: Mapping[str, float], inlet_pressure: float
) -> dict[str, float]:
    """Mean velocity at the downstream end of each pipe, where the air is thinnest.

    Parameters
    ----------
    drive : Drive
        Fan and pipes.
    flows_by_point : mapping of str to float
        Flow from each suction point, as volume at atmospheric pressure. [m3/s]
    inlet_pressure : float
        Pressure at the fan's inlet. [Pa]

    Returns
    -------
    dict of str to float
        Velocity by pipe name, empty without pipes; negative in backflow. [m/s]
    """
    tree = drive.pipes
    if tree is None:
        return {}
    losses = pipe_losses(
        tree, flows_by_point, density=drive.pipe_density, viscosity=drive.viscosity
    )
    speeds = {}
    for name, flow in pipe_flows(tree, flows_by_point).items():
        pipe, *beyond = tree.way_out(name)
        u_end = drive.u_continued(inlet_pressure) + sum(losses[p.name] for p in beyond)
        pressure = float(pressure_from_u(u_end, drive.pressure_atm))
        speeds[name] = flow * drive.swelling(pressure) / pipe.area
    return speeds


def pipe_notes(speeds: Mapping[str, float], backflow: Collection[str]) -> tuple[str, ...]:
    """What the reader should know about the air in the pipes.

    Parameters
    ----------
    speeds : mapping of str to float
        Velocity by pipe name. [m/s]
    backflow : collection of str
        Suction points whose pipe blows into the soil.

    Returns
    -------
    tuple of str
        One sentence for each pipe above 2000 fpm and each point with backflow.
    """
    fast = [
        f"pipe {name!r}: air moves at {abs(speed):.3g} m/s, above {FASTEST:.4g} m/s (2000 fpm), "
        "so condensate may not run back"
        for name, speed in speeds.items()
        if abs(speed) > FASTEST
    ]
    back = [f"suction point {name!r}: its pipe blows air into the soil" for name in backflow]
    return (*fast, *back)
