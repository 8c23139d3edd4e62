"""Rooms beside the house: whose air it is, who is judged against what, and where it shows."""

from __future__ import annotations

import dataclasses
import functools
import tomllib

import h5py
import jsonschema
import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from tiny_house import SECOND, TEXT, house, solved

from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, write_case
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.files.schema import case_schema
from soilflow.grids import estimate
from soilflow.output.check_printout import print_check
from soilflow.output.plan import FEET, draw_house
from soilflow.output.printout import print_result
from soilflow.output.report import result_to_dict
from soilflow.results.coverage import coverage, worst_margin
from soilflow.run import run_layout
from soilflow.site import BareSoil, Crack, FloorWallJoint, Opening, Room
from soilflow.site.effects import HOUSE, LeaksAlongLine, LeaksOverArea
from soilflow.site.rooms import pieces_along, plans_by_room, room_above

EAST = """
[[rooms]]
name = "garage"
size = "4 ft x 10 ft"
at = ["8 ft", "0 ft"]
source = "seen"
"""
BARE = EAST.replace('source = "seen"', 'floor = "bare"')


def text_with(rooms=EAST, today="0 Pa", winter="0 Pa"):
    text = TEXT
    for condition, written, pressure in (
        ("today", "1 Pa", today),
        ("design_winter", "4 Pa", winter),
    ):
        head = f'[conditions.{condition}]\noutdoor_pressure = "{written}"\n'
        assert head in text
        said = f'references = {{garage = "{pressure}"}}\n' if pressure else ""
        text = text.replace(head, head + said)
    return text + rooms


def with_rooms(rooms=EAST, today="0 Pa", winter="0 Pa"):
    """The tiny house, its east third a garage."""
    return parse_case(text_with(rooms, today, winter), file="rooms.toml")


@functools.cache
def run_with(rooms=EAST, today="0 Pa", winter="0 Pa", layout=SECOND):
    return run_layout(with_rooms(rooms, today, winter), layout)


def test_a_room_at_the_houses_pressure_moves_no_air():
    """The same soil, the same pressures; the leaks are shared out, and nothing else changes."""
    plain, found = solved(SECOND), run_with()
    assert found.solution.soil.ports[:3] == ("outdoors", HOUSE, "garage")
    for name in plain.conditions:
        was, now = plain.conditions[name], found.conditions[name]
        on_x = np.isin(np.round(now.floor.x, 6), np.round(was.floor.x, 6))
        assert on_x.sum() > 10  # lines of the old grid are still there
        assert_allclose(now.operating_point.flows[-2], was.operating_point.flows[-2], rtol=0.02)
        room = now.rooms["garage"]
        assert_allclose(
            now.house_on.into_soil + room.entry_on.into_soil, was.house_on.into_soil, rtol=0.02
        )


def test_the_house_is_the_sum_of_its_parts():
    """Port matrices on one grid: rows and columns of house and garage add up to the house's."""
    parts = run_with()
    grid = parts.solution.soil.grid
    whole = run_layout(house(), SECOND, grid=grid).solution.response
    y, ports = parts.solution.response.port_matrix, parts.solution.response.ports
    to = [whole.ports.index(HOUSE if p == "garage" else p) for p in ports]
    summed = np.zeros_like(whole.port_matrix)
    np.add.at(summed, (np.repeat(to, len(to)), np.tile(to, len(to))), y.ravel())
    size = np.abs(whole.port_matrix).max()
    assert_allclose(summed, whole.port_matrix, atol=1e-8 * size)


def test_a_room_is_judged_against_its_own_air():
    """Its slab is tight and its air the soil's equal: raising it raises its margin by as much.

    The soil hardly sees the garage through its slab and joint sealed; so the pressure under the
    floor stays, and what counts is the difference.
    """
    sealed = EAST.replace('source = "seen"', 'permeability = "1e-18 m2"')
    text = text_with(sealed).replace('[[joints]]\naperture = "0.3 mm"', "")
    found = []
    for pascals in (0.0, 2.5):
        case = parse_case(
            text.replace('garage = "0 Pa"', f'garage = "{pascals} Pa"'), file="g.toml"
        )
        found.append(run_layout(case, SECOND, baseline=False).conditions["design_winter"])
    low, high = (c.rooms["garage"] for c in found)
    assert_allclose((low.pressure, high.pressure), (0.0, 2.5))
    assert_allclose(high.worst.margin - low.worst.margin, 2.5, rtol=1e-3)
    assert_allclose(found[1].worst.margin, found[0].worst.margin, rtol=1e-3)


def test_the_house_is_judged_without_the_garage():
    """Coverage of house and garage, weighted by area, is that of the whole floor."""
    result = run_with()
    case = with_rooms()
    for name, condition in result.conditions.items():
        floor = condition.floor
        whole = {t: coverage(floor, t) for t in condition.coverage_area}
        for threshold, share in condition.coverage_area.items():
            garage = condition.rooms["garage"].coverage_area[threshold]
            mean = (80.0 * share + 40.0 * garage) / 120.0
            # all at one reference, so only the interpolation across the border differs
            assert_allclose(mean, whole[threshold], atol=0.01)
        both = min(condition.worst.margin, condition.rooms["garage"].worst.margin)
        assert both >= worst_margin(floor).margin - 1e-9, name
        assert condition.worst.x <= 8.0 * 0.3048
        assert condition.rooms["garage"].worst.x >= 8.0 * 0.3048
    assert case.site.room_names == ("garage",)


def test_interpolation_never_mixes_rooms():
    result = run_with()
    floor = result.conditions["today"].floor
    border = int(np.argmin(np.abs(floor.x - 8.0 * 0.3048)))
    assert_allclose(floor.x[border], 8.0 * 0.3048)
    assert not floor.open_x[border - 1].any()
    assert floor.open_x[border].all()
    assert floor.open_x[border - 2].all()


def test_air_of_a_room_under_pressure_goes_down_and_into_the_house():
    """20 Pa in the garage: it pushes air down through its floor, and soil gas rises elsewhere."""
    text = text_with(today="20 Pa", winter="20 Pa")
    calm, found = run_with(), run_layout(parse_case(text, file="g.toml"), SECOND)
    for name, condition in found.conditions.items():
        off, was = condition.rooms["garage"], calm.conditions[name].rooms["garage"]
        assert off.entry_off.into_soil > 1.5 * was.entry_off.into_soil
        assert condition.house_off.from_soil > calm.conditions[name].house_off.from_soil
        before = condition.baseline
        assert before.house.from_soil > calm.conditions[name].baseline.house.from_soil
        assert before.rooms["garage"].from_soil == pytest.approx(0.0, abs=1e-12)


def test_a_bare_room_has_no_floor_to_judge_but_lets_gas_in():
    bare, slab = run_with(BARE, winter="-2 Pa"), run_with(winter="-2 Pa")
    for result in (bare, slab):
        assert result.conditions["design_winter"].rooms["garage"].pressure == pytest.approx(-2.0)
    room = bare.conditions["design_winter"].rooms["garage"]
    assert room.worst is None
    assert all(np.isnan(share) for share in room.coverage_area.values())
    with_slab = slab.conditions["design_winter"].rooms["garage"]
    assert room.entry_off.from_soil > 3.0 * with_slab.entry_off.from_soil
    floor = bare.conditions["design_winter"].floor
    assert_allclose(floor.x[-1], 8.0 * 0.3048)  # the floor ends where the slab does


GARAGE = Room(name="garage", corners=((4, 0), (6, 0), (6, 4), (4, 4)))
SITE = house().site


def test_each_leak_belongs_to_the_room_above_it():
    room = dataclasses.replace(GARAGE, corners=((2, 0), (3.6576, 0), (3.6576, 3.048), (2, 3.048)))
    crack = Crack(name="long", points=((1, 1), (3, 1), (3, 2)), aperture=1e-3)
    made = dataclasses.replace(
        SITE,
        rooms=(room,),
        cracks=(crack,),
        openings=(
            Opening(name="a", x=2.5, y=0.5, area=0.01),
            Opening(name="b", x=1, y=2, area=0.01),
        ),
        joints=(FloorWallJoint(aperture=1e-3),),
    ).effects()
    slots = [e for e in made if isinstance(e, LeaksAlongLine)]
    lengths: dict[tuple[str, str], float] = {}
    for s in slots:
        key = (s.name, s.reference)
        lengths[key] = (
            lengths.get(key, 0.0) + abs(s.end[0] - s.start[0]) + abs(s.end[1] - s.start[1])
        )
    assert lengths == pytest.approx(
        {
            ("south joint", HOUSE): 2.0,
            ("south joint, garage", "garage"): 1.6576,
            ("east joint, garage", "garage"): 3.048,
            ("north joint", HOUSE): 2.0,
            ("north joint, garage", "garage"): 1.6576,
            ("west joint", HOUSE): 3.048,
            ("long", HOUSE): 1.0,
            ("long", "garage"): 2.0,
        }
    )
    areas = [e for e in made if isinstance(e, LeaksOverArea) and e.depth == 0.0 and e.floor]
    by_room = {n: sum(e.plan.area for e in areas if e.reference == n) for n in (HOUSE, "garage")}
    assert by_room == pytest.approx({HOUSE: 2 * 3.048, "garage": 1.6576 * 3.048})


def test_places_and_pieces():
    assert room_above((5.0, 1.0), [GARAGE]) == "garage"
    assert room_above((1.0, 1.0), [GARAGE]) == HOUSE
    parts = dict(plans_by_room(GARAGE.polygon.buffer(1.0, join_style="mitre"), [GARAGE]))
    assert_allclose((parts["garage"].area, parts[HOUSE].area), (8.0, 16.0), rtol=1e-6)
    nothing = GARAGE.polygon.intersection(GARAGE.polygon.buffer(-3.0))
    pieces = pieces_along((6.0, 1.0), (0.0, 1.0), [GARAGE], nothing)
    assert [name for name, _, _ in pieces] == ["garage", HOUSE]
    ends = [[start, end] for _, start, end in pieces]
    assert_allclose(ends, [[(6.0, 1.0), (4.0, 1.0)], [(4.0, 1.0), (0.0, 1.0)]], atol=1e-6)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"rooms": (GARAGE,)}, "rooms[0].corners"),
        (
            {
                "rooms": (
                    Room(name="a", corners=((0, 0), (2, 0), (2, 2), (0, 2))),
                    Room(name="b", corners=((1, 0), (3, 0), (3, 2), (1, 2))),
                )
            },
            "rooms[1].corners",
        ),
        ({"rooms": (Room(name="all", corners=SITE.slab.corners),)}, "rooms"),
        (
            {
                "rooms": (Room(name="a", floor="bare", corners=((0, 0), (2, 0), (2, 2), (0, 2))),),
                "openings": (Opening(name="o", x=1, y=1, area=0.01),),
            },
            "openings[0].x",
        ),
        (
            {"bare_soil": (BareSoil(name="all", corners=SITE.slab.corners),)},
            "bare_soil",
        ),
    ],
)
def test_rooms_that_cannot_be_there(changes, field):
    with pytest.raises(InputError) as caught:
        dataclasses.replace(SITE, **changes)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"name": "house"}, "name"),
        ({"name": " "}, "name"),
        ({"name": "a", "floor": "mud"}, "floor"),
        ({"name": "a", "floor": "bare", "permeability": 1e-15}, "permeability"),
        ({"name": "a", "corners": ((0, 0), (1, 1))}, "corners"),
    ],
)
def test_a_room_that_cannot_be(given, field):
    with pytest.raises(InputError) as caught:
        Room(**{"corners": GARAGE.corners, **given})
    assert caught.value.field == field


def test_a_room_without_a_pressure_is_refused_in_clear_words():
    with pytest.raises(CaseError, match='"design_winter" gives the room "garage" no pressure'):
        with_rooms(winter="")
    with pytest.raises(CaseError, match="references"):
        with_rooms(today="")
    with pytest.raises(CaseError, match='no yard "garage"'):
        with_rooms(rooms="")
    variant = TEXT + EAST.replace("[[rooms]]", "[[variant.split.rooms]]")
    case = parse_case(variant, file="v.toml").with_variant("split")
    with pytest.raises(InputError, match="no pressure"):
        run_layout(case, SECOND, baseline=False)


def test_a_pit_may_not_have_a_rooms_name():
    with pytest.raises(CaseError, match="a room; give the point another name"):
        parse_case(text_with().replace('name = "B"', 'name = "garage"'), file="g.toml")


def test_rooms_in_files():
    case = with_rooms(BARE)
    assert case.site.rooms[0].is_bare
    assert parse_case(write_case(case), file="again.toml") == case
    check = jsonschema.Draft202012Validator(case_schema())
    assert list(check.iter_errors(tomllib.loads(text_with()))) == []
    assert list(check.iter_errors(tomllib.loads(text_with(BARE.replace("bare", "mud"))))) != []
    shown = print_check(case, {SECOND: estimate(case, case.layout(SECOND))}, verbose=True)
    for words in ('room "garage"', "floor: bare", "garage: 0.00 Pa"):
        assert words in shown
    ax = Figure().add_subplot()
    draw_house(ax, case.site, FEET)
    assert "garage" in {text.get_text() for text in ax.texts}
    assert estimate(case, case.layout(SECOND)).ports == 5


def test_rooms_in_printout_and_report():
    result, case = run_with(winter="-2 Pa"), with_rooms(winter="-2 Pa")
    text = print_result(result, case)
    assert 'Room "garage", against its own air: ' in text
    assert 'Room "garage", judged against its own air' in print_result(result, case, verbose=True)
    assert 'Room "' not in print_result(solved(SECOND), house())
    room = result_to_dict(result)["conditions"]["design_winter"]["rooms"]["garage"]
    found = result.conditions["design_winter"].rooms["garage"]
    assert room["worst_margin_Pa"] == found.worst.margin
    assert room["passes"] == (found.worst.margin >= 0.0)
    assert room["pressure_Pa"] == pytest.approx(-2.0)
    assert room["soil_gas_entry"]["fan_on_m3s"] == found.entry_on.from_soil
    bare = result_to_dict(run_with(BARE, winter="-2 Pa"))["conditions"]["today"]["rooms"]["garage"]
    assert bare["worst_margin_Pa"] is None
    assert bare["coverage_area"] == {"1Pa": None, "5Pa": None}


def test_rooms_in_the_result_file(tmp_path):
    result, case = run_with(winter="-2 Pa"), with_rooms(winter="-2 Pa")
    path = tmp_path / "rooms.h5"
    write_result(result, case, text_with(winter="-2 Pa"), path)
    stored = read_result(path)
    assert stored.arrays["room"].tolist() == ["garage"]
    found = result.conditions["design_winter"].rooms["garage"]
    where = "conditions/design_winter"
    assert stored.arrays[f"{where}/room_worst_margin"].tolist() == [found.worst.margin]
    assert stored.arrays[f"{where}/room_entry"].tolist() == [found.entry_on.from_soil]
    assert stored.arrays[f"{where}/room_pressure"].tolist() == pytest.approx([-2.0])
    assert stored.units[f"{where}/room_entry"] == "m3 s-1"
    shares = list(found.coverage_area.values())
    assert stored.arrays[f"{where}/room_coverage_area"].tolist() == [shares]
    with h5py.File(path) as file:
        assert file[f"{where}/room_entry"].dims[0][0].name.endswith("room")
    assert "room" in result.to_xarray().coords
    plain = tmp_path / "plain.h5"
    write_result(solved(SECOND), house(), TEXT, plain)
    assert not [name for name in read_result(plain).arrays if "room" in name.rpartition("/")[2]]
