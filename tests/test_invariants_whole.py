"""What must hold for any house holds with everything an old house has in it."""

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from random_sites import SAME, TURNS, common_grid, decades, examples
from test_invariants import (
    check_balance,
    check_bounds,
    check_reciprocity,
    check_scaled,
    check_superposition,
    check_unity,
    scaled,
)
from test_invariants_limits import check_same_soil, with_gap
from test_invariants_monotone import check_never_less_power, check_never_less_suction
from test_invariants_turned import check_turned
from whole_houses import full_house, wet_houses, whole_houses

EVERYTHING = (
    "patches",
    "moist_zones",
    "soil_fields",
    "footings",
    "cracks",
    "openings",
    "bare_soil",
    "rooms",
    "wall_bodies",
    "drain_tiles",
    "trenches",
)


@examples(20)
@given(house=wet_houses(), seed=st.integers(0, 2**31))
def test_one_answer(house, seed):
    answer = house.answer()
    check_bounds(answer)
    check_unity(answer)
    check_reciprocity(answer)
    check_balance(answer)
    check_superposition(
        answer, np.random.default_rng(seed).uniform(-500.0, 5.0, len(answer.response.ports))
    )


def scaled_whole(house, factor):
    """All permeabilities and leaks of a whole house times a factor."""
    site = scaled(house, factor).site

    def times(group, *fields):
        return tuple(
            dataclasses.replace(
                noun,
                **{f: v * factor for f in fields if (v := getattr(noun, f)) is not None},
            )
            for noun in getattr(site, group)
        )

    fill = site.fill
    return house._replace(
        site=dataclasses.replace(
            site,
            fill=fill and dataclasses.replace(fill, permeability=fill.permeability * factor),
            patches=times("patches", "permeability", "vertical"),
            openings=times("openings", "flow"),
            wall_bodies=times("wall_bodies", "to_room", "to_yard"),
        )
    )


@examples(10)
@given(house=whole_houses(), factor=decades(-1.3, 1.3))
def test_everything_scaled_scales_the_flows_only(house, factor):
    grid = house.grid()
    check_scaled(house.answer(grid), scaled_whole(house, factor).answer(grid), factor)


@examples(16)
@given(house=whole_houses(at_random=False), turn=st.sampled_from(TURNS))
def test_turned_house_has_a_turned_field(house, turn):
    check_turned(house.answer(), house.turned(turn).answer(), turn)


@examples(10)
@given(house=whole_houses())
def test_gap_to_zero_is_the_soil_alone(house):
    thin = with_gap(house, 1e-9)
    grid = common_grid(thin)
    check_same_soil(with_gap(house, 0.0).answer(grid), thin.answer(grid))


@st.composite
def looser(draw, house):
    """The house with one of its further things letting more air through."""
    site = house.site
    factor = draw(st.floats(1.05, 30.0))
    ways = {
        "footings": lambda noun: None,
        "patches": lambda noun: dataclasses.replace(
            noun, permeability=noun.permeability * factor, vertical=noun.vertical
        ),
        "moist_zones": lambda noun: (
            dataclasses.replace(noun, saturation=noun.saturation / factor)
            if noun.saturation
            else noun
        ),
        "soil_fields": lambda noun: dataclasses.replace(
            noun,
            multipliers=tuple(
                tuple(tuple(factor * v for v in column) for column in row)
                for row in noun.multipliers
            ),
        ),
        "cracks": lambda noun: dataclasses.replace(noun, aperture=2.0 * noun.aperture),
        "openings": lambda noun: dataclasses.replace(noun, flow=None, at_pressure=None),
        "wall_bodies": lambda noun: dataclasses.replace(
            noun, to_room=noun.to_room * factor, to_yard=noun.to_yard * 1.5
        ),
    }
    have = [group for group in ways if getattr(site, group)]
    assume(have)
    group = draw(st.sampled_from(have))
    changed = [ways[group](noun) for noun in getattr(site, group)]
    return house.changed(**{group: tuple(noun for noun in changed if noun is not None)})


@examples(16)
@given(pair=whole_houses().flatmap(lambda h: st.tuples(st.just(h), looser(h))))
def test_more_air_paths_never_cost_power(pair):
    house, wider = pair
    grid = common_grid(house, wider)
    check_never_less_power(house.answer(grid), wider.answer(grid))


def tight(house):
    """The house with all its cracks and openings sealed and its walls tight to the rooms."""
    site = house.site
    return house.changed(
        cracks=tuple(dataclasses.replace(c, sealed=True) for c in site.cracks),
        openings=tuple(dataclasses.replace(o, sealed=True) for o in site.openings),
        wall_bodies=tuple(dataclasses.replace(b, to_room=0.0) for b in site.wall_bodies),
    )


@examples(12)
@given(house=whole_houses())
def test_sealing_a_leak_never_costs_suction(house):
    grid = common_grid(house)
    check_never_less_suction(house.answer(grid), tight(house).answer(grid))


@examples(12)
@given(house=whole_houses(packed=False))
def test_one_more_pit_never_costs_suction(house):
    assume(len(house.points) > 1)
    grid = house.grid()
    fewer = house._replace(points=house.points[:-1])
    check_never_less_suction(fewer.answer(grid), house.answer(grid))


def test_the_checks_complain_of_what_was_left_behind():
    """Each kind of thing matters to the house the checks are tried on, and they see it."""
    house = full_house()
    grid = house.grid()
    here = house.answer(grid)
    turn = TURNS[0]
    turned = house.turned(turn)
    check_turned(here, here, SAME)
    check_turned(house.answer(), turned.answer(), turn)
    check_scaled(here, scaled_whole(house, 2.0).answer(grid), 2.0)
    for group in EVERYTHING:
        with pytest.raises(AssertionError):
            check_turned(here, turned.changed(**{group: ()}).answer(), turn)
        # a room takes with it the port that the flows are compared by
        if group not in ("rooms",):
            with pytest.raises(AssertionError):
                check_scaled(here, house.changed(**{group: ()}).answer(grid), 1.0)
    with pytest.raises(AssertionError):
        check_never_less_power(here, house.changed(cracks=()).answer(grid))
    with pytest.raises(AssertionError):
        check_never_less_suction(tight(house).answer(grid), here)
