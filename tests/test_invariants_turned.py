"""A house mirrored, turned, written in other words or other units is the same house."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from random_sites import SAME, TURNS, VERY_ROUGH, House, control_house, decades, examples, houses
from small_soils import Answer

from soilflow.files import parse_case
from soilflow.run import run_layout

CLOSE = 1e-8  # of the largest conductance


def check_turned(here: Answer, there: Answer, turn):
    """Grid, fields and flows of the turned house are those of the house, turned."""
    assert there.response.ports == here.response.ports
    for axis, sign in enumerate((turn.east, turn.north)):
        edges = here.soil.grid.edges[1 - axis if turn.swap else axis]
        found = there.soil.grid.edges[axis]
        assert found.shape == edges.shape, "another number of cells"
        # lines of two things closer than a micrometre are one line, that of either
        assert_allclose(found, (sign * edges)[::sign], rtol=0, atol=1e-6)
    y = here.response.port_matrix
    assert_allclose(there.response.port_matrix, y, rtol=0, atol=CLOSE * np.abs(y).max())
    for port in here.response.ports:
        held = {name: float(name == port) for name in here.response.ports}
        want = turn.field(here.cells(held))
        assert_allclose(there.cells(held), want, rtol=0, atol=1e-6, err_msg=port)


def check_renamed(here: Answer, there: Answer, new_name):
    """Flows and fields go with the pits, whatever these are called and in which order."""
    ports = [new_name.get(name, name) for name in here.response.ports]
    order = [there.response.ports.index(name) for name in ports]
    y = here.response.port_matrix
    found = there.response.port_matrix[np.ix_(order, order)]
    assert_allclose(found, y, rtol=0, atol=CLOSE * np.abs(y).max())
    for port, was in zip(ports, here.response.ports, strict=True):
        held = {name: float(name == port) for name in there.response.ports}
        before = {name: float(name == was) for name in here.response.ports}
        assert_allclose(there.cells(held), here.cells(before), rtol=0, atol=1e-6, err_msg=port)


@examples(30)
@given(house=houses(), turn=st.sampled_from(TURNS))
def test_turned_house_has_a_turned_field(house, turn):
    """Mirrors and quarter turns: all eight ways a square falls onto itself."""
    check_turned(house.answer(), house.turned(turn).answer(), turn)


@examples(12)
@given(house=houses(), data=st.data())
def test_names_and_their_order_are_only_names(house, data):
    names = [point.name for point in house.points]
    new_name = dict(
        zip(names, data.draw(st.permutations([*"north east", "0"][: len(names)])), strict=True)
    )
    points = tuple(dataclasses.replace(p, name=new_name[p.name]) for p in house.points)
    mixed = House(house.site, tuple(data.draw(st.permutations(points))))
    check_renamed(house.answer(), mixed.answer(), new_name)


TEXT = """
title = "one house, two ways to write it"
resolution = "coarse"
[slab]
size = "{width} x {depth}"
thickness = "{slab}"
permeability = "{concrete}"
[walls]
thickness = "{wall}"
footing_depth = "{footing}"
[ground]
bottom = "{bottom}"
layers = [{{permeability = "{soil}"}}]
[[bands]]
width = "{band}"
depth = "{footing}"
looser_by = 8.0
[[gaps]]
name = "gap"
aperture = "{gap}"
[[joints]]
aperture = "{joint}"
[[layouts]]
name = "one"
[[layouts.points]]
name = "A"
x = "{x}"
y = "{y}"
pit = "{pit}"
vacuum = "{vacuum}"
[conditions.today]
outdoor_pressure = "{outdoors}"
"""
FOOT, INCH = 0.3048, 0.0254  # exact by definition [m]
# by field: the unit it is written in first, the other unit, and what one of the first is in it
UNITS = {
    **dict.fromkeys(("width", "depth", "bottom", "x", "y"), ("ft", "m", FOOT)),
    **dict.fromkeys(("slab", "wall", "footing", "band"), ("in", "cm", 100.0 * INCH)),
    **dict.fromkeys(("gap", "joint"), ("in", "mm", 1000.0 * INCH)),
    **dict.fromkeys(("concrete", "soil"), ("um2", "m2", 1e-12)),
    **dict.fromkeys(("vacuum", "outdoors"), ("Pa", "kPa", 1e-3)),
    "pit": ("gal", "L", 231.0 * INCH**3 * 1000.0),
}


def tenth(low, high):
    return st.integers(10 * low, 10 * high).map(lambda n: n / 10)


NUMBERS = st.fixed_dictionaries(
    {
        "width": tenth(9, 16),
        "depth": tenth(8, 12),
        "bottom": tenth(4, 8),
        "x": tenth(1, 8),
        "y": tenth(1, 7),
        "slab": tenth(3, 6),
        "wall": st.sampled_from([0.0, 8.0]),
        "footing": tenth(6, 18),
        "band": tenth(6, 24),
        "gap": st.sampled_from([0.0, 0.01, 0.2]),
        "joint": st.sampled_from([0.0, 0.01, 0.05]),
        "concrete": decades(-5, -1),
        "soil": decades(-1, 2),
        "vacuum": tenth(1, 900),
        "outdoors": tenth(-5, 5),
        "pit": tenth(3, 20),
    }
)


def written(numbers, number_and_unit):
    """The case solved, each number of it written in some way."""
    text = TEXT.format(**{k: number_and_unit(v, *UNITS[k]) for k, v in numbers.items()})
    case = parse_case(text, file="house.toml").with_resolution(VERY_ROUGH)
    return run_layout(case, baseline=False)


def first(value, unit, other, each):
    return f"{value!r} {unit}"


def second(value, unit, other, each):
    return f"{value * each!r} {other}"


def check_same_result(here, there):
    """Pressures and flows, but for the last digits of a conversion."""
    one, two = here.conditions["today"], there.conditions["today"]
    largest = np.abs(one.operating_point.pressures).max()
    assert_allclose(two.floor.pressure, one.floor.pressure, rtol=0, atol=1e-7 * largest)
    flows = one.operating_point.flows
    assert_allclose(two.operating_point.flows, flows, rtol=0, atol=1e-8 * np.abs(flows).max())


@examples(8)
@given(numbers=NUMBERS)
def test_the_unit_a_number_is_written_in_makes_no_difference(numbers):
    check_same_result(written(numbers, first), written(numbers, second))


def test_the_turning_check_complains_of_a_house_that_did_not_turn():
    house = control_house()
    here = house.answer()
    for turn in TURNS:
        turned = house.turned(turn)
        check_turned(here, turned.answer(), turn)
        with pytest.raises(AssertionError):
            check_turned(here, here, turn)
        for left_out in ("bands", "moist_zones", "gaps", "joints"):
            with pytest.raises(AssertionError):
                check_turned(here, turned.changed(**{left_out: ()}).answer(), turn)
        with pytest.raises(AssertionError):
            check_turned(here, turned._replace(points=turned.points[:1]).answer(), turn)
    check_turned(here, here, SAME)


def test_the_naming_check_complains_when_names_are_mixed_up():
    house = control_house()
    here = house.answer()
    check_renamed(here, here, {})
    with pytest.raises(AssertionError):
        check_renamed(here, here, {"A": "B", "B": "A"})


def test_the_unit_check_complains_of_a_foot_too_short():
    numbers = {"width": 12.0, "depth": 9.0, "bottom": 6.0, "x": 3.0, "y": 3.0, "slab": 4.0}
    numbers |= {"wall": 8.0, "footing": 12.0, "band": 12.0, "gap": 0.01, "joint": 0.02}
    numbers |= {"concrete": 1e-2, "soil": 10.0, "vacuum": 400.0, "outdoors": 2.0, "pit": 5.0}
    here = written(numbers, first)
    check_same_result(here, written(numbers, second))
    for name in numbers:
        with pytest.raises(AssertionError):
            check_same_result(here, written(numbers | {name: 1.001 * numbers[name]}, second))
