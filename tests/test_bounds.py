"""What broken case files have found, and the bounds that came of it."""

from __future__ import annotations

import time

import numpy as np
import pytest
import tomli_w
from hostile_cases import EVERYTHING, coarse, holder
from numpy.testing import assert_allclose
from scipy.sparse import csr_matrix

from soilflow.bounds import CELLS, LARGEST, LINES, SMALLEST
from soilflow.errors import CaseError, ConvergenceError, InputError
from soilflow.files.case_toml import parse_case
from soilflow.flow.grid import COARSE, NORMAL, Resolution, graded_edges
from soilflow.flow.response import BALANCE
from soilflow.flow.solve import precondition, solve
from soilflow.grids import estimate
from soilflow.run import run_layout
from soilflow.site.plan import outline_polygon, wall_lines, wall_strip
from soilflow.site.slab import Slab
from soilflow.unit_tables import TABLES
from soilflow.units import Depth, Length, parse_quantity


def edited(*changes):
    """The house with a table of every kind, some of its values others."""
    tree = coarse(EVERYTHING)
    for path, value in changes:
        holder(tree, path)[path[-1]] = value
    return tomli_w.dumps(tree)


PIT = ("layouts", 0, "points", 0, "pit")
REFUSED = {
    "a floor to the stars": ((("slab", "size"), "1e308 ft x 12 ft"), "slab.size", "beyond any"),
    "a wall of nothing": ((("walls", "thickness"), "1e-300 in"), "walls.thickness", "measures"),
    "a slab of nothing": ((("slab", "thickness"), "1e-300 in"), "slab.thickness", "measures"),
    "open air": ((("ground", "layers", 1, "permeability"), "1e30 m2"), None, "beyond any house"),
    "two lengths of three": (
        (("random_soil", "lengths"), ["6 ft", "6 ft"]),
        "random_soil.lengths[2]",
        "three lengths",
    ),
    "cells of nothing": ((("resolution", "largest_down"), 0.0), "resolution.largest_down", "above"),
    "no growth": ((("resolution", "growth"), 1.0), "resolution.growth", "above 1"),
    "growth without end": ((("resolution", "growth"), float("inf")), "resolution.growth", "inf"),
    "halved for ever": ((("resolution", "splits"), 60), "resolution.splits", "halved"),
}


@pytest.mark.parametrize(("change", "field", "says"), REFUSED.values(), ids=REFUSED)
def test_what_no_house_has_is_refused_where_it_stands(change, field, says):
    with pytest.raises(CaseError) as caught:
        parse_case(edited(change))
    found = caught.value.mistakes[0]
    assert found.line > 0
    assert found.field == (field or "ground.layers[1].permeability")
    assert says in found.message


TOO_FINE = {
    "a pit as flat as an atom": (PIT, {"shape": "box", "length": "1 ft", "width": "1 ft"}),
    "small cells in the yard": (("resolution", "largest_outside"), 5e-3),
    "cells of an atom": (("resolution", "largest_down"), 5e-324),
    "many cells in a pit": (("resolution", "cells_per_radius"), 3000.0),
    "halved five times": (("resolution", "splits"), 5),
}


@pytest.mark.parametrize(("path", "value"), TOO_FINE.values(), ids=TOO_FINE)
def test_a_grid_is_refused_before_it_takes_memory(path, value):
    value = {**value, "depth": "1e-8 m"} if path == PIT else value
    case = parse_case(edited((path, value)))
    start = time.process_time()
    with pytest.raises(InputError, match=r"the grid would have .* would work") as caught:
        estimate(case, case.layouts[0])
    assert caught.value.field == "resolution"
    assert time.process_time() - start < 4.0


def test_the_bounds_of_a_grid_themselves():
    lines = np.arange(LINES, dtype=float)
    assert graded_edges(lines, [], 1.5, [(-1e9, 1e9, 10.0)]).size == LINES
    with pytest.raises(InputError, match=f"{LINES + 1} lines"):
        graded_edges([*lines, 1e6], [], 1.5, [(-1e9, 1e9, 10.0)])
    with pytest.raises(InputError, match=f"more than {CELLS} cells"):
        graded_edges([0.0, 1.0], [], 1.5, [(-1e9, 1e9, 0.9 / CELLS)])


def test_the_grids_that_have_a_name_are_within_bounds():
    for resolution in (COARSE, NORMAL):
        assert Resolution(**vars(resolution)) == resolution


@pytest.mark.parametrize("name", sorted(TABLES))
def test_the_examples_of_every_dimension_are_within_its_bounds(name):
    for text in TABLES[name].examples:
        assert SMALLEST.get(name, 0.0) <= abs(parse_quantity(text, name)) <= LARGEST[name]


def test_a_number_at_its_bound_is_read_and_the_next_one_not():
    length, depth = Length.__metadata__[0], Depth.__metadata__[0]
    for good in (SMALLEST["length"], LARGEST["length"]):
        assert length.check(good) == depth.check(good) == good
    assert depth.check(0.0) == 0.0
    for bad in (0.5 * SMALLEST["length"], np.nextafter(LARGEST["length"], 1e9)):
        for marker in (length, depth):
            with pytest.raises(InputError, match="would work"):
                marker.check(bad)


def test_a_spread_without_measure_is_refused():
    """exp(1e4) has no float."""
    case = parse_case(edited((("random_soil", "sigma"), 1e4)))
    with pytest.raises(InputError, match="smaller multipliers or spread"):
        run_layout(case)


def test_a_matrix_without_rank_is_said_in_our_words():
    """Two nodes that hang on each other and on nothing else."""
    matrix = csr_matrix([[1.0, -1.0, 0.0], [-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    with pytest.raises(ConvergenceError, match="in 0 iterations, wanted 1e-08"):
        solve(precondition(matrix), np.ones(3), tolerance=1e-8)


def test_a_pit_through_a_slab_like_a_sieve_does_not_hide_the_balance():
    """The leak from room to pit is 1e9 times what the soil passes; it balances by construction."""
    case = parse_case(edited((("slab", "permeability"), "1e-2 m2")))
    result = run_layout(case)
    response, network = result.solution.response, result.solution.network
    assert response.balance <= BALANCE
    direct = np.diag(network.direct.sum(axis=1)) - network.direct
    assert np.abs(direct).max() > 1e6 * np.abs(response.face_matrix - direct).max()
    assert_allclose(response.face_matrix, response.port_matrix, rtol=0, atol=1e-8 * direct.max())


@pytest.mark.parametrize("width", [1e-20, 1e-16, 1e-12])
@pytest.mark.parametrize("outside", [False, True])
def test_a_strip_as_thin_as_rounding_is_no_line(width, outside):
    floor = outline_polygon(((0.0, 0.0), (4.2672, 0.0), (4.2672, 3.6576), (0.0, 3.6576)))
    strip = wall_strip(floor, wall_lines(floor), width, outside=outside)
    assert strip.geom_type in ("Polygon", "MultiPolygon", "GeometryCollection")
    assert strip.area <= 20.0 * width
    assert all(part.geom_type == "Polygon" for part in getattr(strip, "geoms", [strip]))


def test_advice_on_a_shaft_and_on_a_large_floor_takes_no_time():
    """A pit 400 m deep, and one by the wall of a floor of 300 m by 300 m."""
    deep = (*PIT, "depth")
    start = time.process_time()
    for change in ((deep, "400 m"), (("slab", "size"), "300 m x 300 m")):
        text = edited(change, (("layouts", 0, "points", 0, "x"), "1 ft"), (deep, "400 m"))
        with pytest.raises(CaseError, match="too deep"):
            parse_case(text)
    assert time.process_time() - start < 8.0


def test_scripts_are_held_to_the_same_bounds():
    with pytest.raises(InputError, match="beyond any house"):
        Slab(
            corners=((0.0, 0.0), (1e4, 0.0), (1e4, 5.0), (0.0, 5.0)),
            thickness=0.1,
            permeability=1e-16,
        )
