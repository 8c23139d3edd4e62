"""Air: viscosity, density, the pressures that weather makes, and the compressible unknown.

Published formulas, one function each, on floats or arrays in SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, TypeVar

import numpy as np
from numpy.typing import NDArray

from soilflow.bounds import LARGEST, SMALLEST
from soilflow.errors import OutOfRangeError
from soilflow.units import GRAVITY, Dimension, Temperature, check_fields

__all__ = [
    "GRAVITY",
    "P_ATM",
    "R_AIR",
    "Air",
    "density_ideal",
    "pressure_atm_at_altitude",
    "pressure_from_u",
    "stack_pressure",
    "u_from_pressure",
    "viscosity_sutherland",
    "wind_pressure",
]

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])

P_ATM = 101325.0  # standard atmosphere, exact (CGPM 1954) [Pa]
R_AIR = 287.05  # dry air, U.S. Standard Atmosphere 1976 to five figures [J/(kg K)]


def _positive(name: str, value: FloatOrArray, unit: str) -> None:
    if not np.all(np.asarray(value) > 0.0):
        lowest = float(np.min(value))
        raise OutOfRangeError(f"{name} {lowest:g} {unit}: must be above 0 {unit}")


def viscosity_sutherland(temperature: FloatOrArray) -> FloatOrArray:
    """Compute the dynamic viscosity of dry air.

    mu = 1.458e-6 T^1.5 / (T + 110.4)

    Parameters
    ----------
    temperature : float or array
        Absolute temperature. [K]

    Returns
    -------
    float or array
        Dynamic viscosity. [Pa s]

    Raises
    ------
    OutOfRangeError
        The temperature is not above zero.

    Notes
    -----
    0.3 to 0.4 % below modern reference values from -10 to 25 C; moisture is left out, which
    saturated soil air at 10 C feels as another 0.3 %.

    References
    ----------
    U.S. Standard Atmosphere 1976, equation 51, from memory.

    Examples
    --------
    >>> float(f"{viscosity_sutherland(288.15):.5g}")
    1.7894e-05
    """
    _positive("temperature", temperature, "K")
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


def density_ideal(temperature: FloatOrArray, pressure: float = P_ATM) -> FloatOrArray:
    """Compute the density of dry air as an ideal gas.

    rho = p / (R T)

    Parameters
    ----------
    temperature : float or array
        Absolute temperature. [K]
    pressure : float
        Absolute pressure. [Pa]

    Returns
    -------
    float or array
        Density. [kg/m3]

    Raises
    ------
    OutOfRangeError
        Temperature or pressure is not above zero.

    Examples
    --------
    >>> round(density_ideal(293.15), 3)
    1.204
    """
    _positive("temperature", temperature, "K")
    _positive("pressure", pressure, "Pa")
    return pressure / (R_AIR * temperature)


def stack_pressure(
    height: FloatOrArray,
    temperature_outdoor: float,
    temperature_room: float,
    *,
    pressure_atm: float = P_ATM,
) -> FloatOrArray:
    """Compute what the outdoors exceeds the room by, from the weight of the two air columns.

    dp = (p_atm g / R) h (1 / T_outdoor - 1 / T_room)

    Parameters
    ----------
    height : float or array
        Distance below the neutral level, down positive. [m]
    temperature_outdoor : float
        Absolute temperature outdoors. [K]
    temperature_room : float
        Absolute temperature of the house air. [K]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    float or array
        Outdoor pressure minus room pressure, positive in winter. [Pa]

    Raises
    ------
    OutOfRangeError
        A temperature or the atmospheric pressure is not above zero.

    Notes
    -----
    Both columns are taken at constant density. Below grade the outdoor column is soil air,
    warmer than the yard in winter, so the result is on the high side there.

    References
    ----------
    ASHRAE Handbook of Fundamentals, chapter 16, from memory.

    Examples
    --------
    >>> round(stack_pressure(2.5, 263.15, 293.15), 2)
    3.37
    """
    density_outdoor = density_ideal(temperature_outdoor, pressure_atm)
    density_room = density_ideal(temperature_room, pressure_atm)
    return GRAVITY * height * (density_outdoor - density_room)


def wind_pressure(speed: FloatOrArray, coefficient: float, density: float) -> FloatOrArray:
    """Compute the pressure of wind on a face of the house.

    dp = C_p rho U^2 / 2

    Parameters
    ----------
    speed : float or array
        Wind speed at the height the coefficient belongs to. [m/s]
    coefficient : float
        Pressure coefficient of the face, negative in the lee. [-]
    density : float
        Density of the outdoor air. [kg/m3]

    Returns
    -------
    float or array
        Pressure above that of still air. [Pa]

    Examples
    --------
    >>> wind_pressure(5.0, 1.0, 1.2)
    15.0
    """
    return coefficient * density * speed**2 / 2.0


def pressure_atm_at_altitude(altitude: FloatOrArray) -> FloatOrArray:
    """Compute the standard pressure at an altitude in the troposphere.

    p = p_0 (1 - L H / T_0)^(g M / (R* L)), H = r z / (r + z)

    Parameters
    ----------
    altitude : float or array
        Geometric altitude above sea level. [m]

    Returns
    -------
    float or array
        Atmospheric pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        Outside -5000 to 11000 m, where the lapse rate holds.

    References
    ----------
    U.S. Standard Atmosphere 1976, equations 18 and 33a, from memory.

    Examples
    --------
    >>> pressure_atm_at_altitude(0.0)
    101325.0
    """
    if not np.all((np.asarray(altitude) >= -5000.0) & (np.asarray(altitude) <= 11000.0)):
        raise OutOfRangeError(f"altitude {altitude} m: must be from -5000 m to 11000 m")
    geopotential = 6356766.0 * altitude / (6356766.0 + altitude)
    exponent = GRAVITY * 0.0289644 / (8.31432 * 0.0065)
    return P_ATM * (1.0 - 0.0065 * geopotential / 288.15) ** exponent


def u_from_pressure(pressure: FloatOrArray, pressure_atm: float = P_ATM) -> FloatOrArray:
    """Turn gauge pressure into the unknown that compressible Darcy flow is linear in.

    u = p + p^2 / (2 p_atm)

    Parameters
    ----------
    pressure : float or array
        Gauge pressure. [Pa]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    float or array
        The unknown u; its flows are volumes at atmospheric pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        The pressure is at or below a perfect vacuum.

    Examples
    --------
    >>> round(u_from_pressure(-1000.0), 2)
    -995.07
    """
    _positive("pressure_atm", pressure_atm, "Pa")
    if not np.all(np.asarray(pressure) > -pressure_atm):
        raise OutOfRangeError(
            f"pressure {float(np.min(pressure)):g} Pa: must be above -{pressure_atm:g} Pa"
        )
    return pressure + pressure**2 / (2.0 * pressure_atm)


def pressure_from_u(u: FloatOrArray, pressure_atm: float = P_ATM) -> FloatOrArray:
    """Turn the unknown of compressible Darcy flow back into gauge pressure.

    p = 2 u / (1 + sqrt(1 + 2 u / p_atm)), which loses no digits near zero

    Parameters
    ----------
    u : float or array
        The unknown u. [Pa]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    float or array
        Gauge pressure. [Pa]

    Raises
    ------
    OutOfRangeError
        No pressure above a perfect vacuum has this u.

    Examples
    --------
    >>> round(pressure_from_u(u_from_pressure(-1000.0)), 9)
    -1000.0
    """
    _positive("pressure_atm", pressure_atm, "Pa")
    if not np.all(np.asarray(u) > -pressure_atm / 2.0):
        raise OutOfRangeError(
            f"u {float(np.min(u)):g} Pa: must be above -{pressure_atm / 2.0:g} Pa"
        )
    return 2.0 * u / (1.0 + (1.0 + 2.0 * u / pressure_atm) ** 0.5)


@dataclass(frozen=True, kw_only=True)
class Air:
    """Dry air at one temperature under one atmosphere.

    Parameters
    ----------
    temperature : float
        Absolute temperature. [K]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Examples
    --------
    >>> round(Air(temperature=283.15).density, 3)
    1.247
    """

    temperature: Temperature
    pressure_atm: Annotated[
        float,
        Dimension("pressure", "Pa", gt=0.0, most=LARGEST["pressure"], least=SMALLEST["pressure"]),
    ] = P_ATM

    def __post_init__(self) -> None:
        """Check the fields against their markers."""
        check_fields(self)

    @property
    def viscosity(self) -> float:
        """Dynamic viscosity. [Pa s]"""
        return viscosity_sutherland(self.temperature)

    @property
    def density(self) -> float:
        """Density. [kg/m3]"""
        return density_ideal(self.temperature, self.pressure_atm)
