"""The fan: its points, the fan laws, and what happens past the ends."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from soilflow.air import P_ATM, pressure_atm_at_altitude
from soilflow.errors import InputError, OutOfRangeError, SoilflowWarning
from soilflow.layout.fan import (
    Fan,
    continued_pressure,
    fan_of_class,
    fan_power,
    in_range,
    static_pressure,
)
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC

FAN = Fan(
    name="attic",
    flows=(0.0, 0.03, 0.06, 0.09),
    static_pressures=(420.0, 380.0, 240.0, 0.0),
    powers=(60.0, 70.0, 78.0, 80.0),
)


def test_curve_passes_through_its_points():
    for flow, pressure, power in zip(FAN.flows, FAN.static_pressures, FAN.powers, strict=True):
        assert_allclose(static_pressure(FAN, flow, density=FAN.density), pressure, atol=1e-12)
        assert_allclose(fan_power(FAN, flow, density=FAN.density), power, rtol=1e-14)


def test_straight_curve_stays_straight():
    fan = Fan(name="straight", flows=(0.0, 0.02, 0.1), static_pressures=(400.0, 320.0, 0.0))
    for flow in np.linspace(0.0, 0.1, 23):
        assert_allclose(
            static_pressure(fan, flow, density=fan.density), 400.0 - 4000.0 * flow, atol=1e-10
        )


def test_fan_laws():
    """Q ~ N, p ~ N^2 rho, W ~ N^3 rho (AMCA and ASHRAE handbooks, from memory).

    3000 to 2400 rpm: 0.8, 0.64 and 0.512 by the laws themselves.
    """
    slow = dataclasses.replace(FAN, speed=2400.0 / 3000.0)
    assert_allclose(slow.free_air_flow, 0.8 * FAN.free_air_flow, rtol=1e-14)
    assert_allclose(slow.shutoff_pressure, 0.64 * FAN.shutoff_pressure, rtol=1e-14)
    for flow in (0.0, 0.02, 0.05, 0.085):
        full = static_pressure(FAN, flow, density=1.204)
        assert_allclose(static_pressure(slow, 0.8 * flow, density=1.204), 0.64 * full, rtol=1e-12)
        full = fan_power(FAN, flow, density=1.204)
        assert_allclose(fan_power(slow, 0.8 * flow, density=1.204), 0.512 * full, rtol=1e-12)


def test_altitude_takes_pressure_from_a_fan():
    """1600 m: pressure x 0.855213, the density ratio of the U.S. Standard Atmosphere 1976.

    (1 - 0.0065 H / 288.15)^4.255877, H the geopotential height; from memory, computed twice.
    """
    temperature_ratio = (288.15 - 0.0065 * 1600.0 * 6356766.0 / (6356766.0 + 1600.0)) / 288.15
    ratio = pressure_atm_at_altitude(1600.0) / P_ATM / temperature_ratio
    high = static_pressure(FAN, 0.04, density=ratio * FAN.density)
    low = static_pressure(FAN, 0.04, density=FAN.density)
    assert_allclose(high / low, 0.855213, rtol=1e-6)


@given(
    drops=st.lists(st.just(0.0) | st.floats(1e-3, 200.0), min_size=1, max_size=6),
    flows=st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=20),
    speed=st.floats(0.3, 1.5),
)
@settings(max_examples=60, deadline=None)
def test_continued_curve_never_rises(drops, flows, speed):
    pressures = (*(float(p) for p in np.cumsum(drops[::-1])[::-1]), 0.0)
    fan = Fan(
        name="any",
        flows=tuple(0.02 * i for i in range(len(pressures))),
        static_pressures=pressures,
        speed=speed,
    )
    made = [continued_pressure(fan, q, density=1.1) for q in sorted(flows)]
    assert all(b <= a + 1e-9 for a, b in itertools.pairwise(made))


def test_continuation_is_a_straight_line_without_a_step():
    end, step = FAN.free_air_flow, 1e-3
    past = [continued_pressure(FAN, end + i * step, density=1.204) for i in range(3)]
    assert past[0] == pytest.approx(0.0, abs=1e-9)
    assert past[1] < 0.0
    assert_allclose(past[2], 2.0 * past[1], rtol=1e-9)
    assert continued_pressure(FAN, -step, density=1.204) >= FAN.shutoff_pressure


@pytest.mark.parametrize("flow", [-0.001, 0.0901])
def test_outside_the_points_stops_or_warns(flow):
    assert not in_range(FAN, flow)
    with pytest.raises(
        OutOfRangeError, match=r"\"attic\" is asked for .* 0 to 191 cfm \(0\.09 m3/s\)"
    ):
        static_pressure(FAN, flow, density=1.204)
    with pytest.raises(OutOfRangeError):
        fan_power(FAN, flow, density=1.204)
    with pytest.warns(SoilflowWarning, match="extrapolated"):
        value = static_pressure(FAN, flow, density=1.204, extrapolate=True)
    assert value == continued_pressure(FAN, flow, density=1.204)


def test_speed_moves_the_range():
    assert not in_range(FAN, 0.1)
    assert in_range(dataclasses.replace(FAN, speed=1.2), 0.1)


def test_power_needs_points():
    assert fan_power(dataclasses.replace(FAN, powers=None), 0.02, density=1.204) is None


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"static_pressures": (420.0, 430.0, 240.0, 0.0)}, "rises between .*420 Pa.*430 Pa"),
        ({"flows": (0.0, 0.03, 0.03, 0.09)}, "flow does not rise between .*0.03"),
        ({"flows": (0.01, 0.03, 0.06, 0.09)}, "begins at shutoff"),
        ({"flows": (0.0, 0.03, 0.06)}, "4 values for 3 flows"),
        ({"powers": (60.0,)}, "powers: 1 values for 4 flows"),
        ({"flows": (0.0,), "static_pressures": (1.0,), "powers": None}, "two or more"),
        ({"static_pressures": (420.0, 380.0, 240.0, -1.0)}, r"static_pressures\[3\]"),
        ({"speed": 0.0}, "speed"),
        ({"density": float("nan")}, "density"),
    ],
)
def test_bad_points_are_refused(change, message):
    with pytest.raises(InputError, match=message):
        dataclasses.replace(FAN, **change)


@pytest.mark.parametrize(
    ("words", "shutoff", "free"),
    [("general", 1.7, 190), ("high-suction", 4.0, 60), ("Very High Suction", 20.0, 45)],
)
def test_classes_by_words(words, shutoff, free):
    """Generic classes with straight curves; magnitudes from memory, as the source says."""
    fan = fan_of_class(words, speed=0.5)
    assert_allclose(fan.shutoff_pressure, 0.25 * shutoff * PA_PER_INCH_WC, rtol=1e-12)
    assert_allclose(fan.free_air_flow, 0.5 * free * M3S_PER_CFM, rtol=1e-12)
    middle = static_pressure(fan, fan.free_air_flow / 2.0, density=fan.density)
    assert_allclose(middle, fan.shutoff_pressure / 2.0, rtol=1e-12)
    assert "from memory" in fan.source


def test_unknown_class_names_the_known_ones():
    with pytest.raises(InputError, match="high-suction"):
        fan_of_class("hi-suction")
