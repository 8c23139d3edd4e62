"""Fan, pipes and buoyancy as one, for any flow and pressure an iteration may try."""

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from soilflow.air import P_ATM, u_from_pressure
from soilflow.errors import OutOfRangeError
from soilflow.layout.drive import Drive, fan_duty, pipe_notes, riser_vacuums, velocities
from soilflow.layout.fan import Fan
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree

TREE = PipeTree(
    pipes=(Pipe(name="A", length=3.0, bore=0.1),),
    discharge=Pipe(name=DISCHARGE, length=5.0, bore=0.1),
    discharge_height=6.0,
    entry_coefficient=0.5,
)
FAN = Fan(name="straight", flows=(0.0, 0.1), static_pressures=(400.0, 0.0), powers=(50.0, 90.0))


def drive(**changes):
    return Drive(
        **{
            "points": ("A",),
            "fan": FAN,
            "pipes": TREE,
            "discharge_pressure": 3.0,
            "pipe_density": 1.2,
            "outdoor_density": 1.3,
            "viscosity": 1.81e-5,
            "pressure_atm": P_ATM,
            **changes,
        }
    )


def test_rest_is_outdoors_less_buoyancy():
    """3 Pa - (1.3 - 1.2) x 9.80665 x 6; without pipes there is no riser to be warm."""
    assert_allclose(drive().resting_pressure, 3.0 - 5.88399, rtol=1e-9)
    assert drive(pipes=None).resting_pressure == 3.0


def test_u_is_continued_smoothly_and_always_rises():
    for pressure in (-5e4, -1000.0, 0.0, 2000.0):
        assert_allclose(drive().u_continued(pressure), u_from_pressure(pressure), rtol=1e-14)
    values = [drive().u_continued(p) for p in np.linspace(-1e6, 1e5, 400)]
    assert all(b > a for a, b in itertools.pairwise(values))
    half, h = -P_ATM / 2.0, 1.0
    below, at, above = (drive().u_continued(half + d) for d in (-h, 0.0, h))
    assert_allclose(above - at, at - below, rtol=1e-4)


def test_fan_sees_swollen_air_and_backflow_as_it_is():
    assert_allclose(drive().inlet_flow(0.02, -P_ATM / 20.0), 0.02 / 0.95, rtol=1e-14)
    assert drive().inlet_flow(-0.02, -P_ATM / 20.0) == -0.02
    straight = 400.0 * (1.0 - 0.2 / 0.95) * 1.2 / 1.204
    assert_allclose(drive().fan_pressure(0.02, -P_ATM / 20.0), straight, rtol=1e-12)
    assert drive(fan=None).fan_pressure(0.02, 0.0) == 0.0


@pytest.mark.parametrize("flow", [0.03, -0.03])
def test_gauge_reads_static_pressure_past_the_entry(flow):
    """Air sucked in: pit vacuum + 0.5 + 1 heads; air blown out: pit vacuum - 0.5 + 1 heads."""
    head = 1.2 * (0.03 / TREE.pipes[0].area) ** 2 / 2.0
    deep = drive(pressure_atm=1e14)
    vacuum = riser_vacuums(deep, {"A": flow}, [-100.0])["A"]
    assert_allclose(vacuum, 100.0 + np.sign(flow) * 0.5 * head + head, rtol=1e-9)


def test_velocity_is_that_of_the_thin_air_at_the_downstream_end():
    """The run ends at the fan's inlet, where a tenth of an atmosphere is missing."""
    speeds = velocities(drive(), {"A": 0.03}, -P_ATM / 10.0)
    assert_allclose(speeds[DISCHARGE], 0.03 / 0.9 / TREE.discharge.area, rtol=1e-12)
    assert 0.03 / TREE.discharge.area < speeds["A"] < speeds[DISCHARGE]
    assert velocities(drive(pipes=None), {"A": 0.03}, 0.0) == {}


def test_duty_stops_outside_the_points():
    duty = fan_duty(drive(), 0.05, 0.0)
    assert_allclose((duty.flow, duty.power), (0.05, 70.0 * 1.2 / 1.204), rtol=1e-12)
    assert fan_duty(drive(fan=None), 0.05, 0.0).power is None
    for flow in (-0.01, 0.11):
        with pytest.raises(OutOfRangeError):
            fan_duty(drive(), flow, 0.0)


def test_notes_begin_at_2000_fpm():
    """2000 fpm = 10.16 m/s (ANSI/AARST SGM-SF 2017 rev. 12/20, 6.3.8, seen)."""
    assert pipe_notes({"A": 10.15, "B": -10.15}, ()) == ()
    notes = pipe_notes({"A": 10.17, "B": 1.0}, ("B",))
    assert len(notes) == 2
    assert "'A'" in notes[0]
    assert "'B'" in notes[1]
