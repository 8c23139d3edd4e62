"""Several fans on one house: each with its own pipes, all coupled by the soil alone."""

import dataclasses
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from one_fan import fans_meet_soil
from test_operating_point import MU, PIPES, RHO, STILL, manifold, networks, soil
from tiny_house import TEXT

from soilflow.air import P_ATM
from soilflow.errors import CaseError, InputError, SoilflowWarning
from soilflow.files.case_toml import parse_case
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.files.write_toml import write_case
from soilflow.grids import estimate
from soilflow.layout.drive import Drive
from soilflow.layout.fan import Fan, fan_of_class
from soilflow.layout.fan_sets import FanSet
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import DISCHARGE, Pipe, PipeTree, path_losses
from soilflow.layout.pits import HemisphericalPit
from soilflow.operating_point import FAN_OFF, FAN_ON
from soilflow.output.check_printout import print_check
from soilflow.output.printout import print_result
from soilflow.output.report import result_to_dict
from soilflow.run import run_layout

STRONG, WEAK = fan_of_class("very-high-suction"), fan_of_class("general")
LONG = PipeTree(
    pipes=(Pipe(name="B", length=20.0, bore=0.0779, fittings=("sharp 90 bend",)),),
    discharge=Pipe(name=DISCHARGE, length=15.0, bore=0.0779),
    discharge_height=5.0,
)
SHORT = dataclasses.replace(PIPES, pipes=PIPES.pipes[:1])
NAMES = ("A", "B", "room", "outdoors")
GIVEN = {"room": 0.0, "outdoors": 4.0}


def drive(name, points, fan, pipes, outdoors=4.0):
    return Drive(
        name=name,
        points=tuple(points),
        fan=fan,
        pipes=pipes,
        discharge_pressure=outdoors,
        pressure_atm=P_ATM,
        **STILL,
    )


def two_fans(y, first=STRONG, second=WEAK, names=NAMES, **more):
    return fans_meet_soil(
        y,
        port_names=names,
        given_pressures=GIVEN,
        fan_points=("A",),
        fan=first,
        pipes=SHORT,
        discharge_pressure=4.0,
        more_drives=(drive("back", "B", second, LONG),),
        **STILL,
        **more,
    )


def one_fan(y, point, fan, pipes, names):
    return fans_meet_soil(
        y,
        port_names=names,
        given_pressures=GIVEN,
        fan_points=(point,),
        fan=fan,
        pipes=pipes,
        discharge_pressure=4.0,
        **STILL,
    )


def test_two_fans_on_soils_apart_are_two_houses():
    own = {"A": {("A", "room"): 2e-5, ("A", "outdoors"): 1e-5}, "B": {("B", "room"): 7e-5}}
    both = two_fans(soil({**own["A"], **own["B"]}, NAMES))
    for point, fan, pipes, name in (("A", STRONG, SHORT, "first"), ("B", WEAK, LONG, "back")):
        names = (point, "room", "outdoors")
        alone = one_fan(soil(own[point], names), point, fan, pipes, names)
        here = NAMES.index(point)
        assert_allclose(both.pressures[here], alone.pressures[0], rtol=1e-9)
        assert_allclose(both.flows[here], alone.flows[0], rtol=1e-9)
        assert_allclose(both.fans[name].flow, alone.fans["first"].flow, rtol=1e-9)
        assert_allclose(both.fans[name].static_pressure, alone.fan_static, rtol=1e-9)
        assert_allclose(both.riser_vacuums[point], alone.riser_vacuums[point], rtol=1e-9)
    assert both.states == (FAN_ON, FAN_ON, "given", "given")
    assert both.fan_flow == sum(duty.flow for duty in both.fans.values())
    assert both.fan_static == both.fans["first"].static_pressure  # the stronger one
    assert both.fan_power is None


def test_alike_fans_on_alike_points_do_not_see_what_lies_between():
    """A and B at one pressure pass nothing between them: each is alone with half the soil."""
    names = ("A", "B", "room", "outdoors")
    g = {("A", "room"): 2e-5, ("B", "room"): 2e-5}
    twin = {
        "fan_points": ("A",),
        "fan": STRONG,
        "pipes": SHORT,
        "discharge_pressure": 4.0,
        "more_drives": (
            drive(
                "twin",
                "B",
                STRONG,
                dataclasses.replace(SHORT, pipes=(dataclasses.replace(SHORT.pipes[0], name="B"),)),
            ),
        ),
    }
    coupled = fans_meet_soil(
        soil({**g, ("A", "B"): 9e-5}, names),
        port_names=names,
        given_pressures=GIVEN,
        **twin,
        **STILL,
    )
    alone = one_fan(
        soil({("A", "room"): 2e-5}, ("A", "room", "outdoors")),
        "A",
        STRONG,
        SHORT,
        ("A", "room", "outdoors"),
    )
    assert_allclose(coupled.pressures[:2], alone.pressures[0], rtol=1e-9)
    assert_allclose(coupled.flows[:2], alone.flows[0], rtol=1e-9)


def test_one_fan_split_into_two_halves():
    """Without pipes, one fan on two alike points is two of half the flow at every pressure."""
    names = ("A", "B", "room", "outdoors")
    y = soil({("A", "room"): 2e-5, ("B", "room"): 2e-5, ("A", "B"): 1e-5}, names)
    half = dataclasses.replace(STRONG, flows=tuple(0.5 * q for q in STRONG.flows))
    shared = {"port_names": names, "given_pressures": GIVEN, **STILL}
    whole = fans_meet_soil(y, fan_points=("A", "B"), fan=STRONG, **shared)
    split = fans_meet_soil(
        y,
        fan_points=("A",),
        fan=half,
        more_drives=(drive("other", "B", half, None, outdoors=0.0),),
        **shared,
    )
    assert_allclose(split.pressures, whole.pressures, rtol=1e-9)
    assert_allclose(split.fan_flow, whole.fan_flow, rtol=1e-9)
    assert_allclose(split.fans["other"].flow, 0.5 * whole.fan_flow, rtol=1e-9)


def test_pressures_add_up_along_each_fans_own_way():
    """u at the pit is u at its own fan's inlet and the losses of its own pipes."""
    y = soil({("A", "room"): 2e-5, ("A", "B"): 3e-5, ("B", "outdoors"): 4e-5}, NAMES)
    found = two_fans(y)
    for i, (name, pipes) in enumerate((("first", SHORT), ("back", LONG))):
        point = NAMES[i]
        flow = float(found.flows[i])
        loss = path_losses(pipes, {point: flow}, density=RHO, viscosity=MU)[point]
        inlet = 4.0 - found.fans[name].static_pressure
        assert_allclose(found.u[i], inlet + inlet**2 / (2.0 * P_ATM) + loss, atol=3e-6)
        assert_allclose(found.fans[name].flow, flow * P_ATM / (P_ATM + inlet), rtol=1e-9)
    assert set(found.velocities) == {"A", DISCHARGE, "back: B", f"back: {DISCHARGE}"}
    assert "fan 'back'" in str(found)


def test_a_strong_fan_can_push_a_weak_one_back():
    """Two points all but in one place: the weak fan's pipe blows into the soil, and it is said.

    Its fan is off there, since a curve ends at no flow.
    """
    y = soil({("A", "room"): 1e-5, ("A", "B"): 1e-2}, NAMES)
    found = two_fans(y, second=None)
    assert found.backflow == ("B",)
    assert found.states[:2] == (FAN_ON, FAN_OFF)
    assert found.fans["back"].flow < 0.0
    assert not found.fans["back"].runs


@given(
    network=networks(),
    split=st.integers(1, 3),
    starts=st.lists(st.floats(-10.0, 10.0), min_size=4, max_size=4),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_any_start_gives_the_same_answer(network, split, starts):
    """Up to four points on up to three fans, soil over six decades."""
    names, y = network
    points = names[:-2]
    groups = [points[:split], points[split : split + 1], points[split + 1 :]]
    fans = [STRONG, WEAK, STRONG]

    def solve(**more):
        own, *others = [
            drive(f"fan {i}", group, fan, manifold(group) if group else None)
            for i, (group, fan) in enumerate(zip(groups, fans, strict=True))
        ]
        return fans_meet_soil(
            y,
            port_names=names,
            given_pressures=GIVEN,
            fan_points=own.points,
            fan=own.fan,
            pipes=own.pipes,
            discharge_pressure=4.0,
            more_drives=others,
            extrapolate=True,
            **STILL,
            **more,
        )

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", SoilflowWarning)  # a fan overrun, which extrapolates
        usual = solve()
        strayed = solve(start=np.array(starts[: len(points)]) * STRONG.free_air_flow)
    allowed = 1e-8 * STRONG.shutoff_pressure
    assert_allclose(strayed.pressures, usual.pressures, rtol=0, atol=allowed)
    assert usual.residual <= 1e-6
    rounding = 1e-13 * np.abs(y).max() * np.abs(usual.u).max()
    assert abs(usual.flows.sum()) <= rounding


def test_the_order_of_fans_does_not_matter():
    y = soil({("A", "room"): 2e-5, ("A", "B"): 3e-5, ("B", "outdoors"): 4e-5}, NAMES)
    one = two_fans(y)
    other = fans_meet_soil(
        y,
        port_names=NAMES,
        given_pressures=GIVEN,
        fan_points=("B",),
        fan=WEAK,
        pipes=LONG,
        discharge_pressure=4.0,
        more_drives=(drive("back", "A", STRONG, SHORT),),
        **STILL,
    )
    assert_allclose(other.pressures, one.pressures, rtol=1e-9)
    assert_allclose(other.fans["back"].flow, one.fans["first"].flow, rtol=1e-9)


def test_watts_add_up_when_all_are_known():
    y = soil({("A", "room"): 2e-5, ("B", "room"): 2e-5}, NAMES)
    fan = Fan(name="f", flows=(0.0, 0.1), static_pressures=(900.0, 0.0), powers=(60.0, 90.0))
    found = two_fans(y, first=fan, second=fan)
    each = [60.0 + 300.0 * duty.flow for duty in found.fans.values()]
    assert_allclose(found.fan_power, sum(each), rtol=1e-9)
    assert two_fans(y, first=fan).fan_power is None


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ((drive("first", "B", WEAK, LONG),), "two fans are called 'first'"),
        ((dataclasses.replace(drive("x", "B", WEAK, LONG), pressure_atm=9e4),), "one atmosphere"),
        ((drive("x", "B", None, None),), "neither fan nor pipes"),
        ((drive("x", "A", WEAK, SHORT),), "'A' has 2 states"),
    ],
)
def test_bad_calls_are_refused(more, message):
    y = soil({("A", "room"): 2e-5, ("B", "room"): 2e-5}, NAMES)
    with pytest.raises(InputError, match=message):
        fans_meet_soil(
            y,
            port_names=NAMES,
            given_pressures=GIVEN,
            fan_points=("A",),
            fan=STRONG,
            pipes=SHORT,
            more_drives=more,
            **STILL,
        )


# a further fan in the small house, on a point of its own
MORE = """
[[layouts.points]]
name = "C"
x = "8 ft"
y = "7 ft"
pit = "5 gal"
fan = "shed"
[[layouts.more_fans]]
name = "shed"
"""


def house(more=MORE, extra=""):
    own, rest = TEXT.split('[[layouts]]\nname = "held', 1)
    return own + more + extra + '\n[[layouts]]\nname = "held' + rest


def test_a_further_fan_takes_what_all_layouts_share():
    case = parse_case(house())
    layout = case.layouts[0]
    [more] = layout.more_fans
    assert more.fan == layout.fan
    assert [pipe.name for pipe in more.pipes.pipes] == ["C"]
    assert [pipe.name for pipe in layout.pipes.pipes] == ["A"]
    assert layout.points_on("") == layout.points_on("first") == ("A",)
    assert layout.points_on("shed") == ("C",)
    assert parse_case(write_case(case)) == case


def test_a_further_fan_of_its_own():
    own = 'fan = "general"\npipe = {size = "3 in", branch = "2 ft", run = "9 ft", '
    own += 'discharge_height = "3 ft"}\n'
    [more] = parse_case(house(extra=own)).layouts[0].more_fans
    assert more.fan == WEAK
    assert more.pipes.discharge_height == pytest.approx(3 * 0.3048)
    assert parse_case(TEXT).layouts[0].more_fans == ()


@pytest.mark.parametrize(
    ("change", "message", "field"),
    [
        (('fan = "shed"', 'fan = "shet"'), 'no further fan "shet".*"shed"', "points[1].fan"),
        (('name = "shed"', 'name = "first"'), "cannot name a further fan", "more_fans[0].name"),
        (('fan = "shed"\n', ""), 'no point is on the fan "shed"', "more_fans[0].name"),
        (('fan = "shed"\n', 'fan = "shed"\nvacuum = "1 Pa"\n'), "no vacuum of its own", "vacuum"),
        (
            ('name = "shed"\n', 'name = "shed"\nfan = "hovering"\n'),
            "hovering",
            "more_fans[0].fan",
        ),
    ],
)
def test_fans_that_cannot_be(change, message, field):
    with pytest.raises(CaseError, match=message) as caught:
        parse_case(house(MORE.replace(*change)))
    assert any(field in mistake.field for mistake in caught.value.mistakes)


def test_nouns_refuse_what_files_refuse():
    points = (
        SuctionPoint(name="A", x=1.0, y=1.0, pit=HemisphericalPit(volume=0.02), fan="b"),
        SuctionPoint(name="B", x=2.0, y=1.0, pit=HemisphericalPit(volume=0.02), fan="b"),
    )
    twice = (FanSet(name="b", fan=WEAK), FanSet(name="b", fan=WEAK))
    with pytest.raises(InputError, match="give each fan its own name"):
        Layout(name="x", points=points, more_fans=twice)
    with pytest.raises(InputError, match=r'more_fans\[0\].pipes: no pipe starts at point "A"'):
        Layout(name="x", points=points, more_fans=(FanSet(name="b", fan=WEAK, pipes=LONG),))
    only = Layout(name="x", points=points, more_fans=twice[:1])
    assert only.fan_sets == (("b", WEAK, None),)


def test_every_fan_is_reported(tmp_path):
    case = parse_case(house())
    result = run_layout(case, baseline=False)
    on = result.conditions["today"].operating_point
    assert list(on.fans) == ["first", "shed"]
    assert on.states.count(FAN_ON) == 2
    assert result.conditions["today"].fan_off.states.count(FAN_OFF) == 2
    report = result_to_dict(result)["conditions"]["today"]
    assert [fan["name"] for fan in report["fans"]] == ["first", "shed"]
    assert report["fan"]["flow_m3s"] == sum(fan["flow_m3s"] for fan in report["fans"])
    names = [pipe["name"] for pipe in report["pipes"]]
    assert names == ["A", DISCHARGE, "shed: C", f"shed: {DISCHARGE}"]
    assert all(pipe["fall_m"] > 0.0 for pipe in report["pipes"])
    text = print_result(result, case, verbose=True)
    for piece in ('Fan "first" (high-suction)', 'Fan "shed" (high-suction)', "on C", "shed: C"):
        assert piece in text
    assert 'fans high-suction "first"' in " ".join(
        print_check(case, {case.layouts[0].name: estimate(case, case.layouts[0])}).split()
    )
    write_result(result, case, house(), tmp_path / "r.h5", engine="own")
    stored = read_result(tmp_path / "r.h5")
    assert stored.arrays["fan"].tolist() == ["first", "shed"]
    where = "conditions/today"
    flows = stored.arrays[f"{where}/flow_by_fan"]
    assert flows.tolist() == [duty.flow for duty in on.fans.values()]
    assert_allclose(stored.arrays[f"{where}/fan_flow"], flows.sum(), rtol=1e-15)
    assert stored.units[f"{where}/static_by_fan"] == "Pa"
    assert np.isnan(stored.arrays[f"{where}/power_by_fan"]).all()


def test_with_one_fan_no_axis_of_fans_is_stored(tmp_path):
    case = parse_case(TEXT)
    result = run_layout(case, baseline=False)
    write_result(result, case, TEXT, tmp_path / "r.h5", engine="own")
    assert not any("by_fan" in path for path in read_result(tmp_path / "r.h5").arrays)
