"""Where fan, pipes and soil agree."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from one_fan import fans_meet_soil
from scipy.optimize import brentq

from soilflow.air import P_ATM, Air
from soilflow.errors import ConvergenceError, InputError, OutOfRangeError, SoilflowWarning
from soilflow.layout.fan import Fan, fan_of_class, static_pressure
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree, entry_loss, path_losses
from soilflow.operating_point import CAPPED, FAN_OFF, FAN_ON, GIVEN

RHO, MU = 1.204, 1.81e-5
STILL = {"pipe_density": RHO, "outdoor_density": RHO, "viscosity": MU}
# So much air that u is p to rounding: the incompressible limit.
DEEP = 1e14
FAN = fan_of_class("high-suction")


def soil(conductances, names):
    """Port matrix of a network: {("A", "room"): m3/s/Pa}."""
    y = np.zeros((len(names), len(names)))
    for (a, b), g in conductances.items():
        i, j = names.index(a), names.index(b)
        y[[i, j], [i, j]] += g
        y[[i, j], [j, i]] -= g
    return y


NAMES = ("A", "B", "room", "outdoors")
SOIL = soil(
    {
        ("A", "room"): 1e-5,
        ("A", "outdoors"): 4e-6,
        ("A", "B"): 2e-6,
        ("B", "room"): 3e-6,
        ("B", "outdoors"): 2e-5,
        ("room", "outdoors"): 1e-5,
    },
    NAMES,
)
PIPES = PipeTree(
    pipes=(
        Pipe(name="A", length=3.0, bore=0.0779),
        Pipe(name="B", length=9.0, bore=0.0779, fittings=("sharp 90 bend",)),
    ),
    discharge=Pipe(name=DISCHARGE, length=7.0, bore=0.1023),
    discharge_height=7.0,
)
HOUSE = {
    "port_names": NAMES,
    "given_pressures": {"room": 0.0, "outdoors": 4.0},
    "fan_points": ("A", "B"),
    "pipes": PIPES,
    "discharge_pressure": 4.0,
    **STILL,
}


def bare_run(loss_coefficient=0.0, bore=0.1):
    """A run from point A with nothing in it but a loss coefficient."""
    hair = {"length": 1e-12, "bore": bore}
    return PipeTree(
        pipes=(Pipe(name="A", loss_coefficient=loss_coefficient, **hair),),
        discharge=Pipe(name=DISCHARGE, **hair),
        discharge_height=0.0,
        entry_coefficient=0.0,
        exit_coefficient=0.0,
    )


def test_fan_meets_system():
    """Fan 350 (1 - (Q/0.08)^2), soil 3e-4 p, pipe 2e4 Q^2, derived here.

    A quadratic in Q: 350 - Q/3e-4 - (2e4 + 350/0.08^2) Q^2 = 0, so Q = 4.968591e-2 m3/s,
    165.6197 Pa at the pit, 214.9935 Pa at the fan; a root finder gave the same. The fan is
    given by 2001 points of its parabola, between which the interpolation is 1e-8 Pa off.
    """
    flows = np.linspace(0.0, 0.08, 2001)
    parabola = Fan(
        name="parabola",
        flows=tuple(flows),
        static_pressures=tuple(350.0 * (1.0 - (flows / 0.08) ** 2)),
    )
    area = math.pi * 0.1**2 / 4.0
    point = fans_meet_soil(
        soil({("A", "room"): 3e-4}, ("A", "room")),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        fan_points=("A",),
        fan=parabola,
        pipes=bare_run(loss_coefficient=2e4 * 2.0 * area**2 / RHO),
        pressure_atm=DEEP,
        **STILL,
    )
    assert_allclose(point.fan_flow, 4.968591e-2, rtol=1e-6)
    assert_allclose(-point.pressures[0], 165.6197, rtol=1e-6)
    assert_allclose(point.fan_static, 214.9935, rtol=1e-6)


def test_straight_fan_on_the_pit():
    """p = p0 / (1 + s C) for a fan p0 - s Q straight on a soil Q = C p, derived here."""
    c = 1e-4
    point = fans_meet_soil(
        soil({("A", "room"): c}, ("A", "room")),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        fan_points=("A",),
        fan=Fan(name="straight", flows=(0.0, 0.1), static_pressures=(400.0, 0.0)),
        pressure_atm=DEEP,
        **STILL,
    )
    assert_allclose(-point.pressures[0], 400.0 / (1.0 + 4000.0 * c), rtol=1e-9)
    assert_allclose(point.riser_vacuums["A"], -point.pressures[0], rtol=1e-12)


def test_compressible_fan_on_the_pit():
    """Soil Q = C (V - V^2/(2 p_atm)); the fan moves Q p_atm/(p_atm - V): one scalar equation."""
    fan, c = fan_of_class("very-high-suction"), 2e-6

    def excess(v):
        q = c * (v - v**2 / (2.0 * P_ATM))
        return fan.shutoff_pressure * (1.0 - q * P_ATM / (P_ATM - v) / fan.free_air_flow) - v

    vacuum = brentq(excess, 0.0, fan.shutoff_pressure, xtol=1e-10)
    point = fans_meet_soil(
        soil({("A", "room"): c}, ("A", "room")),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        fan_points=("A",),
        fan=fan,
        **STILL,
    )
    assert_allclose(-point.pressures[0], vacuum, rtol=1e-9)
    assert_allclose(point.flows[0], c * (vacuum - vacuum**2 / (2.0 * P_ATM)), rtol=1e-9)
    assert_allclose(point.fan_flow, point.flows[0] / (1.0 - vacuum / P_ATM), rtol=1e-9)
    assert point.fan_flow > 1.03 * point.flows[0]  # 20 in. w.c. is 5 % of an atmosphere


def test_pressures_add_up_along_each_way():
    """p_pit = p_outdoor - (rho_out - rho_pipe) g H - dp_fan + losses, with much air about."""
    warm, cold = Air(temperature=293.15).density, Air(temperature=263.15).density
    house = HOUSE | {"pipe_density": warm, "outdoor_density": cold, "pressure_atm": DEEP}
    point = fans_meet_soil(SOIL, fan=FAN, **house)
    flows = dict(zip("AB", point.flows[:2], strict=True))
    losses = path_losses(PIPES, flows, density=warm, viscosity=MU)
    made = static_pressure(FAN, sum(flows.values()), density=warm)
    for i, name in enumerate("AB"):
        expected = 4.0 - (cold - warm) * 9.80665 * 7.0 - made + losses[name]
        assert_allclose(point.pressures[i], expected, rtol=0, atol=2e-6)
        head = warm * (flows[name] / PIPES.pipes[i].area) ** 2 / 2.0
        entry = entry_loss(PIPES, name, flows[name], density=warm)
        assert_allclose(point.riser_vacuums[name], -expected + entry + head, rtol=1e-7)
    assert_allclose(point.velocities["A"], flows["A"] / PIPES.pipes[0].area, rtol=1e-9)
    assert point.states == (FAN_ON, FAN_ON, GIVEN, GIVEN)
    assert point.residual <= 1e-6


def test_losses_add_up_in_u_under_a_real_atmosphere():
    """Isothermal pipe flow: rho dp = const, so p + p^2/(2 p_atm) falls by the p_atm loss."""
    fan = fan_of_class("very-high-suction")
    point = fans_meet_soil(SOIL * 20.0, fan=fan, **HOUSE)
    flows = dict(zip("AB", point.flows[:2], strict=True))
    losses = path_losses(PIPES, flows, density=RHO, viscosity=MU)
    inlet = 4.0 - point.fan_static
    for i, name in enumerate("AB"):
        difference = point.u[i] - (inlet + inlet**2 / (2.0 * P_ATM))
        assert_allclose(difference, losses[name], rtol=0, atol=3e-6)
    assert_allclose(point.fan_flow, sum(flows.values()) * P_ATM / (P_ATM + inlet), rtol=1e-9)


def test_passive_stack_without_soil_flow():
    """7 m riser, -10 C outdoors, 20 C inside: 9.423359 Pa.

    (p_atm g / R) h (1/T_out - 1/T_in), R = 287.05; ASHRAE Fundamentals ch. 16, from memory.
    """
    point = fans_meet_soil(
        np.zeros((2, 2)),
        port_names=("A", "room"),
        given_pressures={"room": 0.0},
        fan_points=("A",),
        pipes=dataclasses.replace(bare_run(), discharge_height=7.0),
        pipe_density=Air(temperature=293.15).density,
        outdoor_density=Air(temperature=263.15).density,
        viscosity=MU,
    )
    assert_allclose(-point.pressures[0], 9.423359, rtol=1e-6)
    assert point.flows[0] == 0.0
    assert point.states == (FAN_OFF, GIVEN)
    assert point.fan_static == 0.0
    assert point.fan_power is None


def test_fan_off_ties_the_points_together():
    """A stack that draws from one point and feeds the other is no pair of capped points."""
    names = ("A", "B", "room", "yard")
    y = soil({("A", "room"): 1e-4, ("B", "yard"): 1e-4, ("A", "B"): 1e-9}, names)
    ports = {"port_names": names, "given_pressures": {"room": 0.0, "yard": -30.0}}
    off = fans_meet_soil(
        y, fan_points=("A", "B"), pipes=PIPES, discharge_pressure=-15.0, **ports, **STILL
    )
    shut = fans_meet_soil(y, capped=("A", "B"), **ports)
    assert abs(off.pressures[0] - off.pressures[1]) < 2.0
    assert shut.pressures[0] - shut.pressures[1] > 29.0
    assert off.backflow == ("B",)
    assert any("'B'" in note and "into the soil" in note for note in off.notes)


def test_capped_is_not_zero_vacuum():
    """A capped port floats at the mean of its neighbours, weighed by conductance."""
    capped = fans_meet_soil(
        SOIL,
        port_names=NAMES,
        given_pressures={"A": -500.0, "room": 0.0, "outdoors": 4.0},
        capped=("B",),
        pressure_atm=DEEP,
    )
    expected = (2e-6 * -500.0 + 2e-5 * 4.0) / (2e-6 + 3e-6 + 2e-5)
    assert_allclose(capped.pressures[1], expected, rtol=1e-9)
    assert capped.flows[1] == 0.0
    assert capped.states == (GIVEN, CAPPED, GIVEN, GIVEN)
    vented = fans_meet_soil(
        SOIL,
        port_names=NAMES,
        given_pressures={"A": -500.0, "B": 0.0, "room": 0.0, "outdoors": 4.0},
        pressure_atm=DEEP,
    )
    assert vented.flows[0] > capped.flows[0]
    assert abs(vented.flows[1]) > 1e-4


def test_capped_point_beside_points_on_the_fan():
    """Eliminating B by hand leaves star-mesh conductances g_i g_j / sum g."""
    g = {"A": 2e-6, "room": 3e-6, "outdoors": 2e-5}
    total = sum(g.values())
    names = ("A", "room", "outdoors")
    meshed = soil(
        {
            ("A", "room"): 1e-5 + g["A"] * g["room"] / total,
            ("A", "outdoors"): 4e-6 + g["A"] * g["outdoors"] / total,
            ("room", "outdoors"): 1e-5 + g["room"] * g["outdoors"] / total,
        },
        names,
    )
    house = HOUSE | {"fan_points": ("A",)}
    with_cap = fans_meet_soil(SOIL, fan=FAN, **house | {"capped": ("B",)})
    by_hand = fans_meet_soil(meshed, fan=FAN, **house | {"port_names": names})
    keep = [0, 2, 3]
    assert_allclose(with_cap.pressures[keep], by_hand.pressures, rtol=1e-9)
    assert_allclose(with_cap.flows[keep], by_hand.flows, rtol=1e-9)


def test_pit_without_air_path_sits_at_the_pipes_pressure():
    names = ("A", "B", "room")
    point = fans_meet_soil(
        soil({("A", "room"): 1e-5}, names),
        **HOUSE | {"port_names": names, "given_pressures": {"room": 0.0}},
        fan=FAN,
    )
    assert point.flows[1] == 0.0
    run = path_losses(PIPES, {"A": point.flows[0], "B": 0.0}, density=RHO, viscosity=MU)["B"]
    inlet = 4.0 - point.fan_static
    assert_allclose(point.u[1], inlet + inlet**2 / (2.0 * P_ATM) + run, atol=2e-6)
    assert point.backflow == ()


def test_capped_pit_without_air_path_is_said():
    names = ("A", "B", "C", "room")
    point = fans_meet_soil(
        soil({("A", "room"): 1e-9, ("B", "C"): 1e-3}, names),
        port_names=names,
        given_pressures={"room": -7.0},
        capped=("A", "B", "C"),
    )
    assert_allclose(point.pressures[0], -7.0, rtol=1e-12)  # weakly tied is not cut off
    assert [("'B'" in n, "'C'" in n) for n in point.notes] == [(True, False), (False, True)]


@st.composite
def networks(draw):
    """1 to 4 points, a room and outdoors; conductances over six decades, some missing."""
    n = draw(st.integers(1, 4))
    names = (*"ABCD"[:n], "room", "outdoors")
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    size = st.just(-math.inf) | st.floats(-9.0, -3.0)
    g = draw(st.lists(size, min_size=len(pairs), max_size=len(pairs)))
    return names, soil({p: 10.0**e for p, e in zip(pairs, g, strict=True)}, names)


def manifold(points):
    """One branch after the other along a manifold: M0 takes A, M1 takes M0 and B, ..."""
    pipes = [Pipe(name=p, length=2.0 + i, bore=0.0779, into=f"M{i}") for i, p in enumerate(points)]
    pipes += [
        Pipe(
            name=f"M{i}",
            length=4.0,
            bore=0.1023,
            into=f"M{i + 1}" if i + 1 < len(points) else DISCHARGE,
        )
        for i in range(len(points))
    ]
    return PipeTree(
        pipes=tuple(pipes),
        discharge=Pipe(name=DISCHARGE, length=7.0, bore=0.1023, fittings=("sharp 90 bend",)),
        discharge_height=7.0,
    )


def solve_any(network, fan, **more):
    names, y = network
    points = names[:-2]
    return fans_meet_soil(
        y,
        **{
            "port_names": names,
            "given_pressures": {"room": 0.0, "outdoors": 4.0},
            "fan_points": points,
            "fan": fan,
            "pipes": manifold(points),
            "discharge_pressure": 4.0,
            **STILL,
            **more,
        },
    )


@given(
    network=networks(),
    fan=st.sampled_from(["general", "high-suction", "very-high-suction"]),
    starts=st.lists(st.floats(-10.0, 10.0), min_size=4, max_size=4),
)
@settings(max_examples=150, deadline=None)
def test_any_start_gives_the_same_answer(network, fan, starts):
    fan = fan_of_class(fan)
    n = len(network[0]) - 2
    usual = solve_any(network, fan)
    start = np.array(starts[:n]) * fan.free_air_flow
    strayed = solve_any(network, fan, start=start)
    assert_allclose(strayed.pressures, usual.pressures, rtol=0, atol=1e-8 * fan.shutoff_pressure)
    assert_allclose(strayed.flows, usual.flows, rtol=0, atol=1e-8 * fan.free_air_flow)
    assert usual.residual <= 1e-6
    rounding = 1e-13 * np.abs(network[1]).max() * np.abs(usual.u).max()
    assert abs(usual.flows.sum()) <= rounding


@given(network=networks(), speed=st.floats(0.3, 0.99), off=st.booleans())
@settings(max_examples=60, deadline=None)
def test_more_fan_means_more_vacuum_everywhere(network, speed, off):
    """Points that draw on the room alone: each branch then gives more as its junction falls.

    So, junction by junction, the whole tree gives more as the fan's inlet falls. Points
    tied to one another through the soil have no such proof and are left out.
    """
    names, y = network
    n = len(names) - 2
    own = soil({(p, "room"): max(y[i, i], 1e-9) for i, p in enumerate(names[:n])}, names)
    strong = fan_of_class("high-suction")
    weak = None if off else dataclasses.replace(strong, speed=speed)
    more = {"given_pressures": {"room": 0.0, "outdoors": 0.0}, "discharge_pressure": 0.0}
    fast = solve_any((names, own), strong, **more)
    slow = solve_any((names, own), weak, **more)
    assert np.all(fast.pressures[:n] <= slow.pressures[:n] + 1e-5)
    assert fast.fan_flow >= slow.fan_flow


def test_outside_the_points_stops_or_warns():
    loose = SOIL * 1e3
    house = HOUSE | {"given_pressures": {"room": 0.0, "outdoors": 200.0}}
    with pytest.raises(OutOfRangeError, match="high-suction"):
        fans_meet_soil(loose, fan=FAN, **house)
    with pytest.warns(SoilflowWarning, match="extrapolated"):
        point = fans_meet_soil(loose, fan=FAN, extrapolate=True, **house)
    assert point.fan_flow > FAN.free_air_flow


def test_power_and_fast_pipe_are_said():
    """Trade rule: below 2000 fpm (10.16 m/s), ANSI/AARST SGM-SF 2017, 6.3.8, seen."""
    fan = Fan(
        name="strong",
        flows=(0.0, 0.1),
        static_pressures=(4000.0, 0.0),
        powers=(100.0, 200.0),
    )
    point = fans_meet_soil(SOIL * 10.0, fan=fan, **HOUSE)
    assert_allclose(point.fan_power, 100.0 + 1000.0 * point.fan_flow, rtol=1e-9)
    fast = [name for name, v in point.velocities.items() if v > 10.16]
    assert fast, "the case is meant to be too fast somewhere"
    assert [
        name for name in point.velocities if any(f"pipe '{name}'" in n for n in point.notes)
    ] == (fast)
    slow = fans_meet_soil(SOIL * 0.1, fan=fan, **HOUSE)
    assert slow.notes == ()


def test_text_has_units_and_the_solver_in_it():
    text = str(fans_meet_soil(SOIL, fan=FAN, **HOUSE))
    for piece in ("p [Pa]", "q [m3/s]", FAN_ON, "riser at B", "m/s", "residual", "Pa after"):
        assert piece in text


def test_missed_tolerance_is_raised(monkeypatch):
    monkeypatch.setattr("soilflow.operating_point.WANTED_RESIDUAL", -1.0)
    with pytest.raises(ConvergenceError, match="Pa only") as caught:
        fans_meet_soil(SOIL, fan=FAN, **HOUSE)
    assert caught.value.wanted == -1.0
    assert 0.0 <= caught.value.reached < 1e-6
    assert caught.value.iterations > 0


def test_more_vacuum_than_air_is_refused():
    monster = Fan(name="monster", flows=(0.0, 1.0), static_pressures=(9e4, 0.0))
    with pytest.raises(OutOfRangeError, match="weaker fan"):
        fans_meet_soil(SOIL * 0.01, fan=monster, **HOUSE)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"fan_points": ("A",)}, "'B' has 0 states"),
        ({"capped": ("B",)}, "'B' has 2 states"),
        ({"capped": ("C",)}, "no port is named 'C'"),
        ({"port_names": ("A", "B", "room")}, "port_matrix"),
        ({"given_pressures": {"room": 0.0, "outdoors": math.nan}}, "outdoors: nan"),
        ({"pipes": None, "fan": None}, "neither fan nor pipes"),
        ({"start": [0.1]}, "start: give 2 finite"),
    ],
)
def test_bad_calls_are_refused(change, message):
    with pytest.raises(InputError, match=message):
        fans_meet_soil(SOIL, **{"fan": FAN, **HOUSE, **change})


@pytest.mark.parametrize("entry", [(0, 1, 1e-4), (2, 2, 1e-4), (1, 1, math.inf)])
def test_what_is_no_port_matrix_is_refused(entry):
    i, j, value = entry
    y = SOIL.copy()
    y[i, j] += value
    with pytest.raises(InputError, match="port_matrix"):
        fans_meet_soil(y, fan=FAN, **HOUSE)
