"""Shipped cases: each is read, run on a rough grid, and must give the answer it states in words."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from soilflow.files.case_toml import read_case
from soilflow.flow.grid import Resolution
from soilflow.run import run_layout
from soilflow.units import M3S_PER_CFM

FOLDER = Path(__file__).parents[1] / "cases"
ROUGH = Resolution(name="rough", cells_per_radius=3.0, line_size=0.06, growth=1.6)


@cache
def winter(variant, layout):
    case = read_case(FOLDER / "perimeter_or_centre.toml").with_resolution(ROUGH)
    return run_layout(case.with_variant(variant), layout).conditions["design_winter"]


def cfm_per_point(found):
    states = found.operating_point.states
    flows = [q for q, s in zip(found.operating_point.flows, states, strict=True) if s == "fan on"]
    return [q / M3S_PER_CFM for q in flows]


def test_every_case_states_its_question_its_answer_and_its_sources():
    paths = sorted(FOLDER.glob("*.toml"))
    assert paths
    for path in paths:
        case = read_case(path)
        assert case.question
        assert case.answer
        assert case.site.slab.source != "not stated"
        assert all(layer.source != "not stated" for layer in case.site.ground.layers)


def test_loose_band_favours_the_walls():
    walls, middle = winter("", "four at the walls"), winter("", "four in the middle")
    assert sum(cfm_per_point(walls)) > 3.0 * sum(cfm_per_point(middle))
    assert walls.worst.margin > 3.0 * middle.worst.margin
    assert walls.passes
    assert not winter("", "one in the middle").passes


def test_uniform_soil_flips_the_order():
    walls, middle = (
        winter("uniform_soil", layout) for layout in ("four at the walls", "four in the middle")
    )
    assert middle.worst.margin > walls.worst.margin + 0.5
    assert middle.coverage_area[5.0] > walls.coverage_area[5.0] + 0.1


def test_a_gap_in_the_middle_favours_the_middle():
    name = "gap_in_the_middle"
    walls, middle = winter(name, "four at the walls"), winter(name, "four in the middle")
    assert middle.worst.margin > 1.3 * walls.worst.margin
    assert sum(cfm_per_point(middle)) > 1.5 * sum(cfm_per_point(walls))
    one = winter(name, "one in the middle")
    assert one.worst.margin > 0.7 * walls.worst.margin


@pytest.mark.parametrize("layout", ["four at the walls", "two at the walls"])
def test_a_gap_along_the_walls_draws_what_people_see(layout):
    """5 to 20 cfm a point: common practice, no source."""
    found = winter("gap_along_walls", layout)
    assert all(5.0 < q < 20.0 for q in cfm_per_point(found))
    assert found.passes
