"""Balancing: equal margins, found again by solving the layout with its dampers in."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from random_sites import VERY_ROUGH
from tiny_house import FIRST, house

from soilflow.errors import InputError
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import Pipe, PipeTree
from soilflow.layout.pits import BoxPit
from soilflow.results.air_source import air_sources
from soilflow.results.coverage import worst_margin, worst_margins
from soilflow.results.floor import FloorPressure, floor_response
from soilflow.run import run_layout
from soilflow.site.effects import HOUSE
from soilflow.studies.balancing import balance_dampers, territories, territory_margins

PIT = BoxPit(length=0.43, width=0.43, depth=0.3)


@functools.cache
def rough(variant=""):
    return house().with_variant(variant).with_resolution(VERY_ROUGH)


def layout(places, *, damper=0.0, bore=0.05):
    """Points at some places, each with a narrow branch of its own, on the case's own fan."""
    names = [f"P{i}" for i in range(len(places))]
    points = tuple(
        SuctionPoint(name=n, x=x, y=y, pit=PIT) for n, (x, y) in zip(names, places, strict=True)
    )
    pipes = tuple(Pipe(name=n, length=3.0, bore=bore, damper=damper) for n in names)
    run = Pipe(name="discharge", length=8.0, bore=0.1)
    tree = PipeTree(pipes=pipes, discharge=run, discharge_height=5.0)
    return Layout(name="dampers", points=points, fan=house().layout(FIRST).fan, pipes=tree)


UNLIKE = ((0.7, 0.7), (2.4, 1.8))
ALIKE = ((0.9, 1.524), (3.6576 - 0.9, 1.524))


@functools.cache
def balanced(variant="", places=UNLIKE, damper=0.0, bore=0.05):
    return balance_dampers(rough(variant), layout(places, damper=damper, bore=bore))


def margins_of(result, points, condition):
    """Worst margins of the territories of a solved layout."""
    solution = result.solution
    floor = floor_response(solution.soil, solution.network, solution.response)
    ports = {name: solution.soil.ports.index(name) for name in points}
    found = territory_margins(
        floor,
        result.conditions[condition].operating_point.u,
        territories(floor, ports),
        room=solution.soil.ports.index(HOUSE),
        pressure_atm=result.air.pressure_atm,
    )
    return {name: found[port].margin for name, port in ports.items()}


@pytest.mark.parametrize("variant", ["", "gravel"])
def test_margins_are_equal_and_found_again_by_solving_anew(variant):
    found = balanced(variant)
    first, second = found.margins.values()
    assert_allclose(first, second, atol=1e-4)
    assert abs(np.diff(list(found.margins_open.values())).item()) > 0.1
    again = run_layout(rough(variant), found.layout, baseline=False)
    anew = margins_of(again, found.dampers, found.condition)
    assert_allclose(list(anew.values()), list(found.margins.values()), atol=1e-5)
    worst = again.conditions[found.condition].worst.margin
    assert_allclose(worst, min(anew.values()), atol=1e-9)
    assert_allclose(found.after.worst.margin, worst, atol=1e-5)


@pytest.mark.parametrize("variant", ["", "gravel"])
def test_one_damper_stays_open_and_the_better_point_is_the_one_turned(variant):
    found = balanced(variant)
    better = max(found.margins_open, key=found.margins_open.__getitem__)
    [turned] = [name for name, angle in found.dampers.items() if angle > 1e-3]
    assert turned == better


def test_a_layout_alike_on_both_sides_needs_no_damper():
    found = balanced("gravel", places=ALIKE)
    assert_allclose(list(found.dampers.values()), 0.0, atol=1e-3)
    assert_allclose(list(found.further_losses.values()), 0.0)
    assert_allclose(found.room_air_saved, 0.0, atol=1e-5 * found.air_before.room_air)


def test_dampers_of_the_layout_are_opened_first():
    other = balanced("gravel", damper=math.radians(40.0))
    assert_allclose(
        list(other.dampers.values()), list(balanced("gravel").dampers.values()), atol=1e-9
    )


def test_what_it_saves_and_costs_is_the_difference_of_two_runs():
    found = balanced()
    margins, room_air = [], []
    for each in (layout(UNLIKE), found.layout):
        result = run_layout(rough(), each, baseline=False)
        day = result.conditions[found.condition]
        margins.append(day.worst.margin)
        room_air.append(air_sources(result.site, result.solution, day.operating_point.u).room_air)
    assert_allclose(found.room_air_saved, room_air[0] - room_air[1], rtol=1e-6)
    assert_allclose(found.margin_gained, margins[1] - margins[0], atol=1e-6)
    assert found.room_air_saved > 0.0
    assert "house air saved" in str(found)


def test_where_a_blade_is_as_good_as_shut_a_valve_takes_the_rest():
    """In soil at 1e-11 m2 a wide branch carries too little air for any blade."""
    found = balanced(bore=0.2)
    assert max(found.further_losses.values()) > 0.0
    assert_allclose(np.diff(list(found.margins.values())), 0.0, atol=1e-4)
    assert "nearly shut" in str(found)
    assert max(pipe.loss_coefficient for pipe in found.layout.pipes.pipes) > 0.0


def test_what_cannot_be_balanced_says_why():
    case = rough()
    with pytest.raises(InputError, match="two points or more on one fan"):
        balance_dampers(case, FIRST)
    with pytest.raises(InputError, match='no condition "spring"'):
        balance_dampers(case, layout(UNLIKE), condition="spring")
    chained = layout(UNLIKE)
    first, second = chained.pipes.pipes
    tree = dataclasses.replace(
        chained.pipes, pipes=(first, dataclasses.replace(second, into=first.name))
    )
    with pytest.raises(InputError, match='"P0" also carries the air of "P1"'):
        balance_dampers(case, dataclasses.replace(chained, pipes=tree))


def test_a_condition_may_be_chosen():
    found = balance_dampers(rough("gravel"), layout(UNLIKE), condition="today")
    assert found.condition == "today"
    assert_allclose(np.diff(list(found.margins.values())), 0.0, atol=1e-4)


def test_the_worst_of_all_parts_is_the_worst_of_the_floor():
    edges = np.linspace(0.0, 3.0, 11)
    x = 0.5 * (edges[1:] + edges[:-1])
    pressure = -5.0 + np.add.outer(x, 0.5 * x)  # worst in the north-east corner
    floor = FloorPressure(
        x=edges,
        y=edges,
        floor=np.ones((10, 10), dtype=bool),
        pressure=pressure,
        open_x=np.ones((9, 10), dtype=bool),
        open_y=np.ones((10, 9), dtype=bool),
    )
    halves = np.repeat((x > 1.5).astype(int)[:, None], 10, axis=1)
    found = worst_margins(floor, halves)
    assert found[1] == worst_margin(floor)
    # the west half: its patches have their middles at x <= 1.5, their worst at 1.5 and y = 2.7
    assert_allclose(found[0].x, 1.5, atol=0.31)
    assert found[0].margin > found[1].margin
    assert set(worst_margins(floor, 7 * halves)) == {0, 7}
