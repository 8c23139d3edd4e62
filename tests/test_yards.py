"""Several outdoors: wind pushes on one side of a house and pulls on the other."""

import dataclasses

import pytest
from numpy.testing import assert_allclose
from shapely.geometry import box
from tiny_house import SECOND, TEXT, house, solved

from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, write_case
from soilflow.run import run_layout
from soilflow.site import Yard
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.site.yards import SIDES, yard_effects

NORTH = """
[[yards]]
name = "windward"
side = "north"
"""


def with_yards(yards=NORTH, **pressures):
    """The tiny house with yards, and what design winter says of them."""
    text = TEXT.replace(
        '[conditions.design_winter]\noutdoor_pressure = "4 Pa"\n',
        '[conditions.design_winter]\noutdoor_pressure = "4 Pa"\nreferences = {'
        + ", ".join(f"{name} = {value}" for name, value in pressures.items())
        + "}\n",
    )
    return parse_case(text + yards, file="yards.toml")


def test_a_yard_at_the_outdoors_pressure_changes_nothing():
    plain, found = solved(), run_layout(with_yards())
    assert found.solution.soil.ports == (OUTDOORS, "windward", HOUSE, "A")
    for name in plain.conditions:
        was, is_now = plain.conditions[name], found.conditions[name]
        assert_allclose(is_now.floor.pressure, was.floor.pressure, rtol=1e-7)
        assert_allclose(is_now.operating_point.fan_flow, was.operating_point.fan_flow, rtol=1e-8)
        assert_allclose(is_now.outdoors_on.into_soil, was.outdoors_on.into_soil, rtol=1e-7)


def test_the_outdoors_is_the_sum_of_its_parts():
    whole = solved().solution.response.port_matrix
    parts = run_layout(with_yards()).solution.response.port_matrix
    summed = parts[1:].copy()
    summed[0] += parts[0]
    summed = summed[:, 1:] + [[row[0], 0.0, 0.0] for row in summed]
    assert_allclose(summed, whole, rtol=1e-6, atol=1e-9 * abs(whole).max())


def test_wind_on_one_side_pushes_gas_up_on_that_side():
    found = run_layout(with_yards(windward='{above_outdoors = "20 Pa"}'))
    calm, wind = (r.conditions["design_winter"].floor for r in (solved(), found))
    rise = wind.pressure - calm.pressure
    assert (rise > 0.0).all()
    assert rise[:, -1].mean() > 2.0 * rise[:, 0].mean()  # north wall against south wall


def test_equal_wind_all_around_is_a_higher_outdoors():
    yards = "".join(NORTH.replace("windward", side).replace("north", side, 2) for side in SIDES)
    winds = dict.fromkeys(SIDES, '{above_outdoors = "3 Pa"}')
    # no fan, whose discharge would stay in the calm
    found = run_layout(with_yards(yards, **winds), SECOND).conditions["design_winter"]
    case = house()
    winter = dataclasses.replace(case.conditions[1], added_pressure=3.0)
    case = dataclasses.replace(case, conditions=(case.conditions[0], winter))
    want = run_layout(case, SECOND).conditions["design_winter"]
    assert_allclose(found.floor.pressure, want.floor.pressure, rtol=1e-7, atol=1e-7)
    assert_allclose(found.outdoors_on.into_soil, want.outdoors_on.into_soil, rtol=1e-7)


@pytest.mark.parametrize(
    ("written", "pascals"),
    [('"6 Pa"', 6.0), ('{pressure = "-1 Pa"}', -1.0), ('{above_outdoors = "2 Pa"}', 6.0)],
)
def test_pressures_by_name(written, pascals):
    case = with_yards(windward=written)
    assert case.conditions[1].pressure_of("windward") == pascals
    assert case.conditions[0].pressure_of("windward") is None
    assert parse_case(write_case(case), file="again.toml") == case


def test_every_piece_of_ground_belongs_to_one_part():
    outer = box(0.0, 0.0, 8.0, 6.0)
    yards = [Yard(name=side, side=side) for side in SIDES]
    yards.append(Yard(name="court", corners=((2.0, 5.0), (4.0, 5.0), (4.0, 9.0), (2.0, 9.0))))
    effects = yard_effects(outer, 0.5, yards)
    near = box(-20.0, -20.0, 28.0, 26.0)
    areas = {e.reference: e.plan.intersection(near).area for e in effects}
    assert_allclose(sum(areas.values()), near.area - outer.area, rtol=1e-12)
    assert areas["court"] == pytest.approx(6.0)  # 2 m wide, from the wall at 6 m to 9 m
    assert areas["north"] == pytest.approx(8.0 * 20.0 - 6.0)  # corners went to east and west
    assert OUTDOORS not in areas  # four sides leave nothing
    assert {e.depth for e in effects} == {-0.5}


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        ({"name": "outdoors", "side": "north"}, "name", "cannot name"),
        ({"name": "a"}, "side", "either side or corners"),
        ({"name": "a", "side": "up"}, "side", "not a side"),
        ({"name": "a", "side": "north", "corners": ((0, 0), (1, 0), (1, 1))}, "side", "either"),
    ],
)
def test_a_yard_that_cannot_be(fields, field, words):
    with pytest.raises(InputError, match=words) as caught:
        Yard(**fields)
    assert caught.value.field == field


def test_a_pressure_for_no_yard_is_refused_where_it_stands():
    with pytest.raises(CaseError, match=r'no yard "leeward"') as caught:
        with_yards(leeward='"1 Pa"')
    assert "conditions.design_winter.references.leeward" in str(caught.value)
    with pytest.raises(CaseError, match="names a yard too"):
        with_yards(NORTH.replace("windward", "A"))
