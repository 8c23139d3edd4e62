"""Air: standard atmosphere, CoolProp, stack and wind pressure, the compressible unknown."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from soilflow.air import (
    P_ATM,
    Air,
    density_ideal,
    pressure_atm_at_altitude,
    pressure_from_u,
    stack_pressure,
    u_from_pressure,
    viscosity_sutherland,
    wind_pressure,
)
from soilflow.errors import InputError, OutOfRangeError


def test_viscosity_matches_standard_atmosphere():
    """U.S. Standard Atmosphere 1976, sea level: 1.7894e-5 Pa s at 288.15 K, five figures."""
    assert viscosity_sutherland(288.15) == pytest.approx(1.7894e-5, rel=0, abs=0.5e-9)


@pytest.mark.parametrize(
    ("celsius", "sutherland", "density"),
    [
        (-10, 1.66607e-5, 1.341392),
        (0, 1.71600e-5, 1.292284),
        (10, 1.76507e-5, 1.246644),
        (15, 1.78930e-5, 1.225012),
        (20, 1.81332e-5, 1.204118),
        (25, 1.83715e-5, 1.183925),
    ],
)
def test_air_against_computed_table_and_coolprop(celsius, sutherland, density):
    """The other form of Sutherland's law, 1.716e-5 (T/273.15)^1.5 383.55/(T + 110.4), is
    printed here; the two agree to 5e-5, as their rounded constants let them.
    CoolProp (Lemmon and Jacobsen) is the independent model: 0.5 % and 0.1 %.
    """
    kelvin = celsius + 273.15
    assert viscosity_sutherland(kelvin) == pytest.approx(sutherland, rel=6e-5)
    assert density_ideal(kelvin) == pytest.approx(density, rel=1e-6)
    real_viscosity = PropsSI("viscosity", "T", kelvin, "P", P_ATM, "Air")
    real_density = PropsSI("Dmass", "T", kelvin, "P", P_ATM, "Air")
    assert viscosity_sutherland(kelvin) == pytest.approx(real_viscosity, rel=5e-3)
    assert density_ideal(kelvin) == pytest.approx(real_density, rel=1e-3)


def test_twenty_degrees_change_viscosity_by_nearly_six_per_cent():
    assert viscosity_sutherland(293.15) / viscosity_sutherland(273.15) == pytest.approx(
        1.057, abs=5e-4
    )


def test_stack_pressure_of_a_cold_day():
    """-10 C outdoors, 20 C in, 2.5 m below the neutral level: 3.365486 Pa; 7 m: 9.423359 Pa.

    From p_atm g / R with R = 287.05; ASHRAE Fundamentals chapter 16, from memory, gives 0.0449
    Pa per m and K.
    """
    assert stack_pressure(2.5, 263.15, 293.15) == pytest.approx(3.365486, rel=1e-6)
    assert stack_pressure(7.0, 263.15, 293.15) == pytest.approx(9.423359, rel=1e-6)
    assert stack_pressure(1.0, 263.15, 293.15) / 30.0 == pytest.approx(0.0449, abs=5e-5)


def test_stack_pressure_turns_in_summer_and_vanishes_without_a_difference():
    assert stack_pressure(2.5, 303.15, 293.15) < 0.0
    assert stack_pressure(2.5, 293.15, 293.15) == 0.0
    assert stack_pressure(2.5, 263.15, 293.15, pressure_atm=P_ATM / 2) == pytest.approx(
        stack_pressure(2.5, 263.15, 293.15) / 2
    )


def test_wind_pressure():
    """Half rho U squared: 5 m/s at 1.2 kg/m3 is 15 Pa."""
    assert wind_pressure(5.0, 1.0, 1.2) == pytest.approx(15.0, rel=1e-12)
    assert wind_pressure(5.0, -0.4, 1.2) == pytest.approx(-6.0, rel=1e-12)


@pytest.mark.parametrize("altitude", [0.0, 500.0, 1600.0, 3000.0, 10000.0])
def test_pressure_at_altitude_against_another_program(altitude):
    assert pressure_atm_at_altitude(altitude) == pytest.approx(
        ATMOSPHERE_1976(altitude).P, rel=1e-6
    )


def test_density_ratio_at_1600_m():
    """Standard atmosphere at 1600 m: fan pressure falls to 0.855213 of that at sea level.

    Density follows from the pressure and the lapse rate of 6.5 K per geopotential km.
    """
    geopotential = 1600.0 * 6356766.0 / (6356766.0 + 1600.0)
    cold = 288.15 - 0.0065 * geopotential
    ratio = density_ideal(cold, pressure_atm_at_altitude(1600.0)) / density_ideal(288.15)
    assert ratio == pytest.approx(0.855213, rel=1e-6)


@pytest.mark.parametrize(
    ("vacuum", "flow_factor", "field_error"),
    [
        (250.0, 0.9987663, 3.088e-4),
        (1000.0, 0.9950654, 1.240e-3),
        (5000.0, 0.9753269, 6.324e-3),
        (20000.0, 0.9013077, 2.737e-2),
    ],
)
def test_compressible_column_through_u(vacuum, flow_factor, field_error):
    """One-dimensional isothermal flow, derived: inflow is 1 - dp/2p of the linear form's.

    The largest error of a linear pressure field is near dp^2/8p; printed to four figures.
    """
    u_pit = u_from_pressure(-vacuum)
    assert u_pit / -vacuum == pytest.approx(flow_factor, rel=1e-6)
    x = np.linspace(0.0, 1.0, 2001)
    error = np.abs(pressure_from_u(u_pit * x) - (-vacuum * x)).max() / vacuum
    assert error == pytest.approx(
        field_error, abs=0.6 * 10 ** (np.floor(np.log10(field_error)) - 3)
    )


@given(st.floats(min_value=-1e5, max_value=1e5), st.floats(min_value=1.01e5, max_value=1.1e5))
def test_u_round_trip(pressure, pressure_atm):
    u = u_from_pressure(pressure, pressure_atm)
    assert pressure_from_u(u, pressure_atm) == pytest.approx(pressure, rel=1e-9, abs=1e-9)


@given(st.floats(min_value=-1e-3, max_value=1e-3))
def test_u_keeps_its_digits_near_zero(u):
    assert u_from_pressure(pressure_from_u(u)) == pytest.approx(u, rel=1e-14, abs=0.0)


def test_arrays_go_through():
    pressure = np.array([-500.0, 0.0, 4.0])
    assert u_from_pressure(pressure)[0] == u_from_pressure(-500.0)
    assert pressure_from_u(pressure).shape == (3,)
    assert viscosity_sutherland(np.array([288.15]))[0] == viscosity_sutherland(288.15)


@pytest.mark.parametrize(
    "call",
    [
        lambda: u_from_pressure(-P_ATM),
        lambda: u_from_pressure(np.array([0.0, -2 * P_ATM])),
        lambda: pressure_from_u(-P_ATM / 2),
        lambda: pressure_from_u(float("nan")),
        lambda: viscosity_sutherland(0.0),
        lambda: viscosity_sutherland(float("nan")),
        lambda: density_ideal(-1.0),
        lambda: density_ideal(283.15, 0.0),
        lambda: stack_pressure(2.5, 0.0, 293.15),
        lambda: pressure_atm_at_altitude(20000.0),
    ],
)
def test_out_of_range_is_refused(call):
    with pytest.raises(OutOfRangeError, match="must be"):
        call()


def test_air_noun():
    air = Air(temperature=288.15)
    assert air.viscosity == viscosity_sutherland(288.15)
    assert air.density == pytest.approx(1.225, abs=5e-4)  # standard atmosphere, four figures
    assert Air(temperature=300) == Air(temperature=300.0)
    assert Air(temperature=288.15, pressure_atm=P_ATM / 2).density == pytest.approx(air.density / 2)
    with pytest.raises(InputError, match="temperature: 0 K: must be above 0 K"):
        Air(temperature=0.0)
    with pytest.raises(InputError, match="pressure_atm: 0 Pa: must be above 0 Pa"):
        Air(temperature=288.15, pressure_atm=0.0)
