"""Fans: published points of static pressure against flow, and the fan laws."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from soilflow.data import fan_classes, lookup_word
from soilflow.errors import InputError, OutOfRangeError, SoilflowWarning
from soilflow.quantity_text import format_trade
from soilflow.units import Density, Flow, Power, Ratio, Vacuum, check_fields

__all__ = [
    "Fan",
    "continued_pressure",
    "fan_of_class",
    "fan_power",
    "in_range",
    "static_pressure",
]


@dataclass(frozen=True, kw_only=True)
class Fan:
    """A fan by the points its maker prints.

    Parameters
    ----------
    name : str
        What the user calls it.
    flows : tuple of float
        Flow at each point, rising, the first one 0 (shutoff). [m3/s]
    static_pressures : tuple of float
        Static pressure the fan makes at each point, never rising. [Pa]
    powers : tuple of float or None
        Electrical power at each point; None when not printed. [W]
    density : float
        Air density the points were printed for; 1.204 is air at 20 C and 101325 Pa. [kg/m3]
    speed : float
        Speed relative to the one the points were printed for. [-]
    source : str
        Where the points come from.

    Raises
    ------
    InputError
        If the points are not a falling curve that begins at shutoff.

    Examples
    --------
    >>> fan = Fan(name="attic", flows=(0.0, 0.05, 0.09), static_pressures=(420.0, 300.0, 0.0))
    >>> fan.shutoff_pressure, fan.free_air_flow
    (420.0, 0.09)
    """

    name: str
    flows: tuple[Flow, ...]
    static_pressures: tuple[Vacuum, ...]
    powers: tuple[Power, ...] | None = None
    density: Density = 1.204
    speed: Ratio = 1.0
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _check_points(self)

    @property
    def shutoff_pressure(self) -> float:
        """Static pressure at no flow, in air of the curve's own density. [Pa]"""
        return self.speed**2 * self.static_pressures[0]

    @property
    def free_air_flow(self) -> float:
        """Flow at the last point; free air when that point has no pressure. [m3/s]"""
        return self.speed * self.flows[-1]


def static_pressure(fan: Fan, flow: float, *, density: float, extrapolate: bool = False) -> float:
    """Static pressure of a fan at a flow.

    Monotone cubic through the points, p = N^2 (rho / rho_curve) p_curve(Q / N).

    Parameters
    ----------
    fan : Fan
        The fan.
    flow : float
        Volume of air through the fan, at the pressure it has there. [m3/s]
    density : float
        Density of that air at atmospheric pressure. [kg/m3]
    extrapolate : bool
        Continue the curve past its ends, with a warning, instead of stopping.

    Returns
    -------
    float
        Static pressure the fan makes. [Pa]

    Raises
    ------
    OutOfRangeError
        If the flow lies outside the points and `extrapolate` is not set.

    Notes
    -----
    Fan laws Q ~ N, p ~ N^2 rho (AMCA and ASHRAE handbooks, from memory). Interpolation by
    Fritsch and Butland (1984), which keeps a falling curve falling.

    Examples
    --------
    >>> fan = Fan(name="attic", flows=(0.0, 0.05, 0.09), static_pressures=(420.0, 300.0, 0.0))
    >>> static_pressure(fan, 0.05, density=1.204)
    300.0
    """
    _refuse_outside(fan, flow, extrapolate)
    return continued_pressure(fan, flow, density=density)


def continued_pressure(fan: Fan, flow: float, *, density: float) -> float:
    """Static pressure of a fan, continued by straight lines past both ends.

    For use while an iteration is under way: it never rises with flow, so that the
    operating point stays unique. An answer out there is not one: see `static_pressure`.

    Parameters
    ----------
    fan : Fan
        The fan.
    flow : float
        Volume of air through the fan, of any size and sign. [m3/s]
    density : float
        Density of that air at atmospheric pressure. [kg/m3]

    Returns
    -------
    float
        Static pressure, negative where the fan would hold the air back. [Pa]
    """
    curve, first_slope, last_slope = _pressure_curve(fan)
    at = flow / fan.speed
    last = fan.flows[-1]
    if at < 0.0:
        pressure = fan.static_pressures[0] + first_slope * at
    elif at > last:
        pressure = fan.static_pressures[-1] + last_slope * (at - last)
    else:
        pressure = float(curve(at))
    return fan.speed**2 * density / fan.density * pressure


def fan_power(fan: Fan, flow: float, *, density: float, extrapolate: bool = False) -> float | None:
    """Electrical power of a fan at a flow.

    W = N^3 (rho / rho_curve) W_curve(Q / N); past the ends the power of the end point.

    Parameters
    ----------
    fan : Fan
        The fan.
    flow : float
        Volume of air through the fan, at the pressure it has there. [m3/s]
    density : float
        Density of that air at atmospheric pressure. [kg/m3]
    extrapolate : bool
        Hold the end point's power past the ends, with a warning, instead of stopping.

    Returns
    -------
    float or None
        Power drawn; None for a fan without power points. [W]

    Raises
    ------
    OutOfRangeError
        If the flow lies outside the points and `extrapolate` is not set.

    Notes
    -----
    The law is one for shaft power (AMCA and ASHRAE handbooks, from memory): motor
    losses, which follow no such law, are scaled along with it.
    """
    if fan.powers is None:
        return None
    _refuse_outside(fan, flow, extrapolate)
    at = min(max(flow / fan.speed, 0.0), fan.flows[-1])
    return fan.speed**3 * density / fan.density * float(_power_curve(fan)(at))


def fan_of_class(name: str, *, speed: float = 1.0) -> Fan:
    """A generic fan by the words for its class.

    Parameters
    ----------
    name : str
        "general", "high-suction" or "very-high-suction".
    speed : float
        Speed relative to full. [-]

    Returns
    -------
    Fan
        A straight curve from shutoff to free air, without power points.

    Raises
    ------
    InputError
        If there is no such class.

    Examples
    --------
    >>> round(fan_of_class("high-suction").shutoff_pressure)
    996
    """
    entry = lookup_word(fan_classes(), name)
    return Fan(
        name=entry.word,
        flows=(0.0, entry.free_air_flow),
        static_pressures=(entry.shutoff_pressure, 0.0),
        speed=speed,
        source=entry.source,
    )


def in_range(fan: Fan, flow: float) -> bool:
    """Whether a flow lies within the points of a fan at its speed.

    Parameters
    ----------
    fan : Fan
        The fan.
    flow : float
        Volume of air through the fan. [m3/s]

    Returns
    -------
    bool
        True from shutoff to the last point, with room for rounding at both ends.
    """
    rounding = 1e-12 * fan.free_air_flow
    return -rounding <= flow <= fan.free_air_flow + rounding


def _refuse_outside(fan: Fan, flow: float, extrapolate: bool) -> None:
    if in_range(fan, flow):
        return
    asked, most = (f"{format_trade(q, 'flow')} ({q:.4g} m3/s)" for q in (flow, fan.free_air_flow))
    message = f'the fan "{fan.name}" is asked for {asked} and its curve runs from 0 to {most}'
    if not extrapolate:
        raise OutOfRangeError(f"{message}; give more points of it, or take another fan")
    warnings.warn(f"{message}: extrapolated", SoilflowWarning, stacklevel=3)


def _check_points(fan: Fan) -> None:
    flows, pressures = fan.flows, fan.static_pressures
    if len(flows) < 2:
        raise InputError(f"{len(flows)} point(s); a curve needs two or more", field="flows")
    for field, values in (("static_pressures", pressures), ("powers", fan.powers)):
        if values is not None and len(values) != len(flows):
            raise InputError(
                f"{len(values)} values for {len(flows)} flows; give one for each", field=field
            )
    if flows[0] != 0.0:
        raise InputError(
            f"the first flow is {flows[0]:g} m3/s; a curve begins at shutoff, flow 0",
            field="flows[0]",
        )
    for i in range(1, len(flows)):
        pair = f"({flows[i - 1]:g} m3/s, {pressures[i - 1]:g} Pa) and "
        pair += f"({flows[i]:g} m3/s, {pressures[i]:g} Pa)"
        if flows[i] <= flows[i - 1]:
            raise InputError(
                f"flow does not rise between {pair}; sort the points by flow", field=f"flows[{i}]"
            )
        if pressures[i] > pressures[i - 1]:
            raise InputError(
                f"static pressure rises between {pair}; on a rising stretch a fan may have two "
                "operating points: give the falling branch only",
                field=f"static_pressures[{i}]",
            )


@lru_cache(maxsize=256)
def _pressure_curve(fan: Fan) -> tuple[Callable[[float], Any], float, float]:
    # scipy.interpolate takes about 0.3 s to import, too long for a command's --help.
    from scipy.interpolate import PchipInterpolator

    curve = PchipInterpolator(fan.flows, fan.static_pressures)
    slope = curve.derivative()
    return curve, min(float(slope(0.0)), 0.0), min(float(slope(fan.flows[-1])), 0.0)


@lru_cache(maxsize=256)
def _power_curve(fan: Fan) -> Callable[[float], Any]:
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(fan.flows, fan.powers)
