"""The reading needed today: at it, the design condition puts the hole on the pass line."""

import functools
import math
from dataclasses import replace

import pytest
from cracked_house import FAN, case, pit
from scipy.optimize import bisect

from soilflow.case import TestHole
from soilflow.errors import InputError
from soilflow.layout.fan_sets import FanSet
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.floor import floor_response, pressure_at
from soilflow.run import run_layout
from soilflow.studies.must_read import must_read_today, with_fans_at

WEAK = replace(FAN, static_pressures=(120.0, 90.0, 0.0))
BOTH = Layout(
    name="both",
    points=(pit(), pit("B", 3.4, 2.4, fan="second")),
    fan=WEAK,
    more_fans=(FanSet(name="second", fan=replace(WEAK, name="other")),),
)
FIXED = Layout(name="held", points=(pit(vacuum=60.0),))


@functools.cache
def solved(layout=None):
    made = case(layout)
    return made, run_layout(made, baseline=False)


def at_hole(made, result, layout, condition, hole):
    solution = result.solution
    floor = floor_response(solution.soil, solution.network, solution.response)
    point = operate(made, layout, condition, solution, fan_on=True)
    return pressure_at(floor.pressure(point.u, made.air.pressure_atm), hole.x, hole.y)


@pytest.mark.parametrize("layout", [None, BOTH, FIXED], ids=["strong", "two weak", "held"])
def test_at_the_reading_needed_the_hole_sits_on_the_pass_line(layout):
    """Turn the fans until the hole reads it today; on the hardest day there is 1 Pa left."""
    made, result = solved(layout)
    today, design = made.conditions
    found = must_read_today(made, result)
    assert [one.hole for one in found] == [hole.name for hole in made.test_holes]
    for one, hole in zip(found, made.test_holes, strict=True):

        def off(speed, hole=hole, wanted=one.must_read):
            layout = with_fans_at(result.arrangement, speed)
            return at_hole(made, result, layout, today, hole) - wanted

        speed = bisect(off, 0.9 * one.speed, 1.1 * one.speed, xtol=1e-12)
        layout = with_fans_at(result.arrangement, speed)
        left = at_hole(made, result, layout, design, hole)
        assert left == pytest.approx(-1.0, abs=1e-6)
        assert one.enough == (at_hole(made, result, result.arrangement, design, hole) <= -1.0)


def test_expected_readings_are_those_of_the_run():
    made, result = solved()
    for one in must_read_today(made, result):
        assert one.fan_on == pytest.approx(result.conditions["today"].test_holes[one.hole])
        assert one.fan_off == result.conditions["today"].test_holes_off[one.hole]
        assert one.design == pytest.approx(result.conditions["design_winter"].test_holes[one.hole])


def test_held_pits_need_just_the_shift_of_the_outdoors():
    """With pits at a stated vacuum a reading is p = phi_pit u_pit + phi_out u_out.

    From today to the design day u_out alone changes, by 5 Pa (and its square over two
    atmospheres, below 2e-4 Pa): the reading needed is 1 Pa of suction and phi_out times that.
    """
    made, result = solved(FIXED)
    solution = result.solution
    floor = floor_response(solution.soil, solution.network, solution.response)
    unit = [float(name == "outdoors") for name in solution.response.ports]
    for one, hole in zip(must_read_today(made, result), made.test_holes, strict=True):
        share = pressure_at(floor.pressure(unit, 1e12), hole.x, hole.y)
        assert one.must_read == pytest.approx(-1.0 - 5.0 * share, abs=5e-4)


def test_a_colder_design_day_asks_for_more():
    made, result = solved()
    today, design = made.conditions
    colder = replace(design, outdoor_pressure=9.0)
    harder = replace(made, conditions=(today, colder))
    again = run_layout(harder, baseline=False)
    for one, more in zip(
        must_read_today(made, result), must_read_today(harder, again), strict=True
    ):
        assert more.must_read < one.must_read < 0.0


def test_with_no_change_of_weather_it_is_the_pass_line():
    made, result = solved()
    for one in must_read_today(made, result, design="today"):
        assert one.must_read == pytest.approx(-1.0, abs=1e-6)


def test_a_hole_no_fan_can_bring_there_says_so():
    """Four times the speed is sixteen times 40 Pa; the far corner sees a fortieth of it."""
    feeble = Layout(
        name="feeble", points=(pit(),), fan=replace(FAN, static_pressures=(40.0, 30.0, 0.0))
    )
    made = case(feeble)
    today, design = made.conditions
    made = replace(
        made,
        test_holes=(TestHole(name="far", x=3.9, y=0.1),),
        conditions=(today, replace(design, outdoor_pressure=30.0)),
    )
    [one] = must_read_today(made, run_layout(made, baseline=False))
    assert math.isnan(one.must_read)
    assert not one.enough
    assert "no speed of this fan" in str(one)


def test_words_say_expected_and_needed():
    made, result = solved()
    text = str(must_read_today(made, result)[0])
    assert text.startswith("T1: expect ")
    assert "fan off" in text
    assert "must read" in text
    assert "in. w.c." in text


def test_a_missing_condition_is_refused():
    made, result = solved()
    with pytest.raises(InputError, match="no condition"):
        must_read_today(made, result, design="spring")
