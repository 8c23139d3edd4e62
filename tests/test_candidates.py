"""Where a pit may be dug, and what is said where it may not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.files.case_toml import parse_case
from soilflow.layout.pits import BoxPit, HemisphericalPit, OnConductor
from soilflow.studies.candidates import (
    ALONG_THE_WALL,
    IN_THE_FLOOR,
    Candidates,
    candidates_of,
)

TEXT = """\
title = "An L with everything in it"

[slab]
corners = [["0 m", "0 m"], ["8 m", "0 m"], ["8 m", "4 m"], ["4 m", "4 m"], ["4 m", "7 m"],
           ["0 m", "7 m"]]
thickness = "4 in"
permeability = "1e-16 m2"
[walls]
thickness = "8 in"
footing_depth = "12 in"
[ground]
bottom = "8 ft"
[[ground.layers]]
permeability = "1e-12 m2"
[[layouts]]
name = "one"
[[layouts.points]]
name = "floor 1"
x = "6 m"
y = "2 m"
pit = "1 bucket"
vacuum = "1 in. w.c."
[conditions.design_winter]
outdoor_pressure = "4 Pa"
"""
TWO_BUCKETS = HemisphericalPit(volume=0.0378541)  # a radius of 0.262 m


def house(more: str = "", *, was: str = "[[layouts]]", footing: str = "12 in") -> Case:
    text = TEXT.replace(was, f"{more}\n{was}", 1).replace('"12 in"', f'"{footing}"')
    return parse_case(text, file="house.toml")


def given(case: Case, *places: tuple[float, float], pit=TWO_BUCKETS) -> Candidates:
    return candidates_of(case, pit=pit, spacing=None, wall_spacing=None, given=places)


def only_reason(case: Case, place: tuple[float, float], pit=TWO_BUCKETS) -> str:
    found = given(case, place, pit=pit)
    assert not found.kept
    [dropped] = found.dropped
    assert (dropped.x, dropped.y) == place
    return dropped.reason


def test_rows_over_the_floor_leave_the_missing_corner_out():
    """2 m rows in an 8 m x 7 m box: 4 by 4, the outermost half a row from the walls."""
    found = candidates_of(house(), pit=TWO_BUCKETS, spacing=2.0, wall_spacing=None)
    assert sorted({c.x for c in found.kept}) == [1.0, 3.0, 5.0, 7.0]
    assert sorted({c.y for c in found.kept}) == [0.875, 2.625, 4.375, 6.125]
    assert len(found.kept) == 12
    assert {(d.x, d.y, d.reason) for d in found.dropped} == {
        (x, y, "not under the slab") for x in (5.0, 7.0) for y in (4.375, 6.125)
    }
    assert {c.place for c in found.kept} == {IN_THE_FLOOR}


def test_wall_pits_stand_a_foot_off_every_wall():
    found = candidates_of(house(), pit=TWO_BUCKETS, spacing=None, wall_spacing=3.0)
    # six walls of 8, 4, 4, 3, 4 and 7 m in stretches of at most 3 m
    assert len(found.kept) + len(found.dropped) == 3 + 2 + 2 + 1 + 2 + 3
    assert not found.dropped
    walls = house().site.slab.polygon.exterior
    for candidate in found.kept:
        assert candidate.place == ALONG_THE_WALL
        assert candidate.point.pit.body(candidate.x, candidate.y, house().site.slab.polygon)
        from shapely.geometry import Point

        assert walls.distance(Point(candidate.x, candidate.y)) == pytest.approx(0.3048)


def test_the_line_at_45_degrees_moves_wall_pits_in():
    """A footing level with the slab keeps a bowl r sqrt(2) from the wall, on steps of 2 in."""
    wanted = math.sqrt(2.0) * TWO_BUCKETS.free_radius
    steps = math.ceil((wanted - 0.3048) / 0.0508)
    found = candidates_of(house(footing="0 in"), pit=TWO_BUCKETS, spacing=None, wall_spacing=4.0)
    assert {round(c.y, 6) for c in found.kept if c.y < 0.6} == {round(0.3048 + 0.0508 * steps, 6)}
    assert "45 degrees" in only_reason(house(footing="0 in"), (2.0, 0.3))


def test_a_slanted_wall_has_places_along_it():
    slanted = parse_case(
        TEXT.replace(
            '["8 m", "4 m"], ["4 m", "4 m"], ["4 m", "7 m"]', '["8 m", "4 m"], ["4 m", "7 m"]'
        ),
        file="house.toml",
    )
    found = candidates_of(slanted, pit=TWO_BUCKETS, spacing=None, wall_spacing=2.5)
    a, b = np.array([8.0, 4.0]), np.array([4.0, 7.0])
    out = np.array([3.0, 4.0]) / 5.0  # across the slant, out of the house
    off = [float((a - (c.x, c.y)) @ out) for c in found.kept]
    along = [float(((c.x, c.y) - a) @ (b - a)) / 5.0 for c in found.kept]
    mine = [o for o, t in zip(off, along, strict=True) if 1.0 < t < 4.0 and o < 0.7]
    assert len(mine) == 2  # 5 m in stretches of 2.5 m
    assert min(mine) >= 0.3048 - 1e-9


@pytest.mark.parametrize(
    ("more", "was", "place", "words"),
    [
        (
            '[[no_dig]]\nname = "tank"\nsize = "1 m x 1 m"\nat = ["2 m", "2 m"]',
            "[[layouts]]",
            (3.1, 2.5),
            "tank",
        ),
        (
            '[[footings]]\nname = "line"\npoints = [["4 m", "0 m"], ["4 m", "4 m"]]\n'
            'depth = "8 in"',
            "[[layouts]]",
            (4.1, 2.0),
            "line",
        ),
        (
            '[[openings]]\nname = "floor drain"\nx = "2 m"\ny = "2 m"\ndiameter = "4 in"',
            "[[layouts]]",
            (2.2, 2.0),
            "floor drain",
        ),
        (
            '[[bare_soil]]\nname = "crawl"\ncorners = [["0 m", "5 m"], ["4 m", "5 m"], '
            '["4 m", "7 m"], ["0 m", "7 m"]]',
            "[[layouts]]",
            (2.0, 6.0),
            "open",
        ),
        (
            '[[drain_tiles]]\nname = "tile"\ndiameter = "4 in"\ndepth = "4 in"\nopen_to = "house"\n'
            'points = [["2 m", "1 m"], ["2 m", "3 m"]]',
            "[[layouts]]",
            (2.1, 2.0),
            "tile",
        ),
        ("", "[[layouts]]", (6.0, 6.0), "not under the slab"),
    ],
)
def test_what_speaks_against_a_place(more, was, place, words):
    assert words in only_reason(house(more, was=was), place)
    if more:
        assert len(given(house(), place).kept) == 1  # and nothing else does


def test_bare_rooms_and_pits_that_do_not_fit():
    room = """[[rooms]]
name = "crawlspace"
floor = "bare"
corners = [["0 m", "5 m"], ["4 m", "5 m"], ["4 m", "7 m"], ["0 m", "7 m"]]
"""
    case = parse_case(
        TEXT.replace("[[layouts]]", f"{room}[[layouts]]", 1).replace(
            'outdoor_pressure = "4 Pa"',
            'outdoor_pressure = "4 Pa"\nreferences = {crawlspace = "1 Pa"}',
        ),
        file="house.toml",
    )
    assert "open" in only_reason(case, (2.0, 6.0))
    assert "open" in only_reason(case, (2.0, 4.9))  # its rim reaches under it
    assert len(given(case, (2.0, 4.0)).kept) == 1
    assert "fit" in only_reason(house(), (2.0, 2.0), pit=BoxPit(length=9.0, width=9.0, depth=0.2))


def test_names_are_free_and_places_counted_once():
    found = candidates_of(
        house(), pit=TWO_BUCKETS, spacing=4.0, wall_spacing=None, given=[(2.0, 1.75), (2.0, 1.75)]
    )
    names = [c.name for c in found.kept]
    assert len(set(names)) == len(names)
    assert "floor 1" not in names  # a point of the case has it
    assert [d.reason for d in found.dropped[:1]] == ["there is a candidate in this place already"]
    assert [c.point.name for c in found.kept] == names


def test_pits_that_cannot_both_be_dug():
    tile = """[[drain_tiles]]
name = "tile"
diameter = "4 in"
depth = "4 in"
points = [["1 m", "3 m"], ["7 m", "3 m"]]
"""
    found = given(house(tile), (1.0, 1.0), (1.4, 1.0), (2.0, 3.0), (6.0, 3.1), (6.0, 1.0))
    pairs = {(int(i), int(j)) for i, j in np.argwhere(found.clash)}
    assert pairs == {(0, 1), (1, 0), (2, 3), (3, 2)}
    part = found.chosen([2, 3, 4])
    assert len(part) == 3
    assert part.clash.sum() == 2
    riser = given(house(tile), (3.0, 3.0), (5.0, 3.0), (3.0, 1.0), pit=OnConductor(line="tile"))
    assert riser.clash.sum() == 2
    assert len(riser.dropped) == 1


@pytest.mark.parametrize("spacing", [0.0, -1.0, math.nan, math.inf, 0.06])
def test_spacings_that_make_no_sense(spacing):
    with pytest.raises(InputError, match=r"needed|wider"):
        candidates_of(house(), pit=TWO_BUCKETS, spacing=spacing)


def test_another_site_of_the_same_house():
    walls = replace(house().site.walls, footing_depth=0.0)
    site = replace(house().site, walls=walls)
    found = candidates_of(
        house(), pit=TWO_BUCKETS, site=site, spacing=None, wall_spacing=None, given=[(2.0, 0.3)]
    )
    assert not found.kept
