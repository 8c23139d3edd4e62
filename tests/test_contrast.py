"""Conductances many decades apart: solved, right everywhere, or refused with the input named."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from small_soils import MU, even_edges, layer, slab_body, solve_soil
from tiny_house import FIRST, TEXT

from soilflow.case import Case
from soilflow.contrast import passages
from soilflow.errors import BalanceError, ConvergenceError
from soilflow.files.case_toml import parse_case
from soilflow.flow import response as response_module
from soilflow.flow.edge_flows import added
from soilflow.flow.grid import Grid, Resolution
from soilflow.flow.response import respond
from soilflow.run import run_layout
from soilflow.site import (
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    Patch,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)

_spec = importlib.util.spec_from_file_location(
    "benchmark_contrast", Path(__file__).parents[1] / "benchmarks" / "contrast.py"
)
benchmark = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(benchmark)

FEW_CELLS = Resolution(
    name="few cells",
    cells_per_radius=1.0,
    line_size=0.4,
    growth=6.0,
    largest_inside=2.0,
    largest_outside=8.0,
    largest_down=3.0,
)
TIGHTEST = 1e-17
rectangle = benchmark.rectangle
ISLAND = Patch(
    name="gravel", corners=rectangle(1.0, 1.0, 3.0, 3.0), permeability=1e-6, top=0.5, bottom=1.5
)


def house(*layers, gap=0.0, part=None, joint=3e-4, slab=1e-16, **nouns):
    """Six metres by five, the layers half a metre apart."""
    gaps = (SettledGap(name="gap", aperture=gap, corners=part),) if gap else ()
    return Site(
        slab=Slab(corners=rectangle(0.0, 0.0, 6.0, 5.0), thickness=0.1, permeability=slab),
        walls=FoundationWalls(thickness=0.2, footing_depth=0.45),
        ground=Ground(
            layers=tuple(SoilLayer(permeability=k, top=0.6 * i) for i, k in enumerate(layers)),
            bottom=4.0,
        ),
        gaps=gaps,
        joints=(FloorWallJoint(aperture=joint),) if joint else (),
        **nouns,
    )


def network_of(site, pits=1):
    return benchmark.network_of(site, benchmark.pits(6.0, 5.0, pits), FEW_CELLS)


def by_elimination(network):
    """Unit fields and port matrix with nothing ever subtracted.

    A node with conductances c_i to its neighbours stands for conductances c_i c_j / sum c between
    them (the star-mesh transformation), and its value is the mean of theirs weighted with c. All
    terms are positive, so every entry keeps its digits whatever the contrast.
    """
    n, p = network.nodes, len(network.ports)
    c = np.zeros((n + p, n + p))
    for i, j, t in (
        (*network.edges.T, network.conductance),
        (network.port_node, n + network.port, network.port_conductance),
    ):
        np.add.at(c, (i, j), t)
        np.add.at(c, (j, i), t)
    means = []
    for k in range(n):
        near = k + 1 + np.flatnonzero(c[k, k + 1 :])
        share = c[k, near] / c[k, near].sum()
        means.append((near, share))
        c[np.ix_(near, near)] += np.outer(c[k, near], share)
        c[near, near] = 0.0
    fields = np.zeros((n + p, p))
    fields[n:] = np.eye(p)
    for k in range(n - 1, -1, -1):
        near, share = means[k]
        fields[k] = share @ fields[near]
    between = c[n:, n:] + network.direct
    return fields[:n].T, np.diag(between.sum(axis=1)) - between


def patch(permeability):
    return Patch(name="patch", corners=ISLAND.corners, permeability=permeability, bottom=1.0)


def wet_ring():
    """Soil without air around a square in the middle, down to the bottom."""
    sides = ((1.0, 1.0, 4.0, 1.4), (1.0, 3.0, 4.0, 3.4), (1.0, 1.4, 1.4, 3.0), (3.6, 1.4, 4.0, 3.0))
    return tuple(
        MoistZone(name=f"wet {i}", corners=rectangle(*side), multiplier=0.0, bottom=4.0)
        for i, side in enumerate(sides)
    )


HOUSES = {
    "2e-17 around 1e-10": house(2e-17, patches=(patch(1e-10),)),
    "1e-10 over 2e-17": house(1e-10, 2e-17),
    "2e-17 over 1e-10": house(2e-17, 1e-10),
    "gravel shut in": house(TIGHTEST, patches=(ISLAND,)),
    "gravel shut in, gap of 10 mm": house(TIGHTEST, gap=1e-2, patches=(ISLAND,)),
    "gap of 10 mm on the tightest soil": house(TIGHTEST, gap=1e-2, joint=1e-5, slab=1e-20),
    "joint of 3 mm on a gap of 0.01 mm": house(1e-6, TIGHTEST, 1e-6, gap=1e-5, joint=3e-3),
    "water around the pit": house(1e-6, TIGHTEST, moist_zones=wet_ring(), joint=1e-5, slab=1e-19),
    "beyond what is promised": house(TIGHTEST, 1e-2, gap=1e-2, joint=1e-5, slab=1e-30),
}


@pytest.mark.parametrize("name", HOUSES)
def test_extremes_agree_with_elimination_without_subtraction(name):
    """Fields to the tolerance at every node, and every single entry of the port matrix."""
    network = network_of(HOUSES[name], pits=2)
    found = respond(network)
    fields, exact = by_elimination(network)
    assert 500 < network.nodes < 2500
    assert found.iterations < 30
    assert found.balance <= 1e-8
    assert_allclose(found.unit_fields, fields, rtol=0.0, atol=2e-8)
    assert_allclose(found.port_matrix, exact, rtol=1e-8, atol=1e-300)
    # what the ports exchange, one by one, as sums over faces and not of squares
    assert_allclose(found.face_matrix, exact, rtol=1e-7, atol=1e-300)


def test_elimination_notices_a_wrong_level():
    """The comparison above fails when the gravel shut in is a ten-thousandth off its level."""
    network = network_of(HOUSES["gravel shut in"])
    fields, _ = by_elimination(network)
    wrong = respond(network).unit_fields * (1.0 + 1e-4)
    with pytest.raises(AssertionError):
        assert_allclose(wrong, fields, rtol=0.0, atol=2e-8)


@pytest.mark.parametrize("number", [4, 16, 17, 27])
def test_houses_of_the_benchmark_agree_with_a_direct_solve(number):
    resolution, widest, most = benchmark.SETS["rough"]
    shares = benchmark.qmc.LatinHypercube(13, seed=benchmark.SEED).random(48)
    row = benchmark.measure(*benchmark.house(shares[number], widest, most), resolution)
    assert benchmark.kept(row)
    assert row["contrast"] > 1e13
    assert row["field"] <= 1e-8
    assert row["Y"] <= 1e-8
    assert row["flow"] <= 1e-8
    assert benchmark.line(number, row).endswith("kept")
    assert benchmark.line(number, {**row, "balance": 2e-8}).endswith("BROKEN")


@pytest.mark.parametrize("times", [1.0, 1e11, 1e-11])
def test_columns_in_series_are_exact(times):
    """Two layers between a body below and open air: Y = area / (mu (h1 / k1 + h2 / k2))."""
    upper, lower = 1e-17 * max(1.0, times), 1e-17 * max(1.0, 1.0 / times)
    grid = Grid(x=even_edges(0.0, 1.0, 2), y=even_edges(0.0, 2.0, 2), z=even_edges(0.0, 3.0, 12))
    effects = [layer(upper, 0.0, 0.5), layer(lower, 0.5, 3.0)]
    held = [slab_body("below", 2, 2.75, 4.0), slab_body("above", 2, -1.0, 0.25)]
    answer = solve_soil(grid, effects, held)
    resistance = MU * (0.25 / upper + 2.25 / lower) / 2.0
    expected = np.array([[1.0, -1.0], [-1.0, 1.0]]) / resistance
    assert_allclose(answer.response.port_matrix, expected, rtol=1e-12)
    assert_allclose(answer.response.face_matrix, expected, rtol=1e-8)
    just_below = answer.cells({"below": 1.0, "above": 0.0})[0, 0, 2]
    assert_allclose(just_below, MU * (0.25 / upper + 0.125 / lower) / 2.0 / resistance, rtol=1e-7)


def test_gap_of_ten_millimetres_has_one_pressure():
    """No drop along it exceeds the pit's flow through one row of its narrowest cells."""
    network = network_of(house(1e-15, gap=1e-2, joint=0.0))
    found = respond(network)
    pit = network.ports.index("P0")
    gap = found.unit_fields[pit][network.sheet_node[network.sheet_node >= 0]]
    along = MU * 12.0 / 1e-2**3 * (6.0 + 5.0) / 0.05  # narrower than any cell of this grid
    assert 0.0 < gap.max() - gap.min() <= found.port_matrix[pit, pit] * along
    assert_allclose(gap, 1.0, rtol=0.0, atol=1e-4)


@pytest.mark.parametrize("slab", [1e-13, 1e-20, 1e-30])
def test_zone_shut_in_has_the_pressure_of_what_it_leaks_to(slab):
    """A gap over soil without air, under a slab however tight, is the room's."""
    network = network_of(
        house(0.9e-17, gap=1e-2, part=rectangle(3.5, 0.5, 5.5, 4.0), joint=0.0, slab=slab)
    )
    found = respond(network)
    room = network.ports.index("house")
    assert network.nodes > 10
    assert_allclose(found.unit_fields[room], 1.0, rtol=0.0, atol=1e-15)
    assert_allclose(np.delete(found.unit_fields, room, axis=0), 0.0, atol=1e-15)
    assert found.balance == 0.0


def test_gravel_shut_in_is_at_the_mean_of_what_it_leaks_to():
    """One level inside: the mean of the pressures around it, weighted with the edges into it."""
    network = network_of(house(TIGHTEST, patches=(ISLAND,)))
    found = respond(network)
    i, j = network.edges.T
    diagonal = network.matrix().diagonal()
    inside = diagonal > 1e6 * np.median(diagonal)
    assert 3 < inside.sum() < 200
    rim = inside[i] != inside[j]
    outer, weight = np.where(inside[i], j, i)[rim], network.conductance[rim]
    for field in found.unit_fields:
        level = weight @ field[outer] / weight.sum()
        assert_allclose(field[inside], level, rtol=0.0, atol=1e-8)


def test_sum_of_two_numbers_keeps_what_one_would_lose():
    high, low = added(np.ones(1), np.zeros(1), np.array([1e-20]))
    high, low = added(high, low, np.array([3e-20]))
    assert high[0] == 1.0
    assert_allclose(low, 4e-20, rtol=1e-15)


def test_a_field_off_its_level_is_refused(monkeypatch):
    """Unit fields are solved one by one, so a level that one of them misses shows in the sum."""
    network = network_of(HOUSES["gravel shut in"])
    refined = response_module._refined_field

    def off(*arguments):
        found = refined(*arguments)
        return found._replace(field=found.field * (1.0 + 1e-5))

    monkeypatch.setattr(response_module, "_refined_field", off)
    with pytest.raises(ConvergenceError, match=r"add up to one within 1\.0e-05 only"):
        respond(network)


def case_with(text: str) -> Case:
    return parse_case(TEXT.replace("[[joints]]", f"{text}\n[[joints]]", 1), file="house.toml")


def test_refusal_names_the_inputs_and_what_works(monkeypatch):
    """Whatever may be written converges; stopped early, a solve says which inputs lie apart."""
    monkeypatch.setattr("soilflow.flow.solve._MOST_ITERATIONS", 2)
    case = case_with(
        """
[[patches]]
name = "gravel"
corners = [["1 ft", "1 ft"], ["9 ft", "1 ft"], ["9 ft", "9 ft"], ["1 ft", "9 ft"]]
bottom = "3 ft"
permeability = "1 m2"
[[patches]]
name = "clay"
corners = [["1 ft", "1 ft"], ["9 ft", "1 ft"], ["9 ft", "9 ft"], ["1 ft", "9 ft"]]
bottom = "2 ft"
permeability = "2e-17 m2"
"""
    )
    with pytest.raises((BalanceError, ConvergenceError)) as caught:
        run_layout(case, FIRST)
    message = str(caught.value)
    assert 'the loosest there is patches[0] "gravel" (1 m2)' in message
    assert 'the tightest patches[1] "clay" (2e-17 m2), 17 decades apart' in message
    assert "soil from 1e-17 to 1e-6 m2 solves" in message
    assert caught.value.reached > caught.value.wanted


def test_what_an_input_lets_through():
    """Slots by the cube law: soil of w^2 / 12 passes as much as an opening of width w."""
    site = house(1e-12, 1e-13, 0.9e-17, gap=1e-3, joint=2e-4, moist_zones=wet_ring()[:1])
    found = {p.what: p.permeability for p in passages(site)}
    assert found == {
        "ground.layers[0] (1e-12 m2)": 1e-12,
        "ground.layers[1] (1e-13 m2)": 1e-13,
        "slab (1e-16 m2)": 1e-16,
        'gaps[0] "gap" (1 mm, like 8.33e-08 m2)': pytest.approx(1e-6 / 12.0),
        "joints[0] (0.2 mm, like 3.33e-09 m2)": pytest.approx(4e-8 / 12.0),
    }


def test_multipliers_count_on_the_soil_they_lie_in():
    zone = MoistZone(name="wet", corners=ISLAND.corners, multiplier=1e-3, bottom=2.0)
    random_soil = benchmark.RandomSoil(sigma=math.log(10.0), lengths=(1.0, 1.0, 1.0))
    site = house(1e-12, moist_zones=(zone,), random_soil=random_soil)
    found = {p.what: p.permeability for p in passages(site)}
    soil = "ground.layers[0] (1e-12 m2)"
    assert found[f'moist_zones[0] "wet", 0.001 times {soil}'] == pytest.approx(1e-15)
    assert found[f"random_soil, 1e+03 times {soil}"] == pytest.approx(1e-9)
    assert found[f"random_soil, 0.001 times {soil}"] == pytest.approx(1e-15)


def test_benchmark_prints_a_line_for_each_house(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["contrast.py", "--first", "17", "--count", "1"])
    benchmark.main()
    title, row = capsys.readouterr().out.splitlines()
    assert title.split()[0] == "rough"
    assert row.split()[-1] == "kept"
    monkeypatch.setattr(benchmark, "MOST_ITERATIONS", 1)
    with pytest.raises(SystemExit, match="did not keep"):
        benchmark.main()
