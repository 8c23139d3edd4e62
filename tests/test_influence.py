"""Influence of candidate pits: sums of single solves against solves with all pits dug."""

from __future__ import annotations

import functools
import pickle
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import fields, replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from soilflow.air import u_from_pressure
from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.files.case_toml import parse_case
from soilflow.flow.grid import Grid
from soilflow.flow.response import system_of, unit_field
from soilflow.flow.soil_network import build_soil_network
from soilflow.grids import grid_of, map_of
from soilflow.layout.layout import Layout
from soilflow.layout.pits import CylinderPit, HemisphericalPit, OnConductor
from soilflow.operating_point import solve_operating_point
from soilflow.results.coverage import coverage, worst_margin
from soilflow.results.result import Result
from soilflow.run import run_layout, solve_soil
from soilflow.studies.bridges import Bridging
from soilflow.studies.candidates import Candidates, candidates_of
from soilflow.studies.influence import COMMON, Influence, common_grid, influence_of
from soilflow.studies.single_pits import solve_single_pit
from soilflow.studies.undug import alone, undug_soil

TEXT = """\
title = "Two rooms over a gap"
resolution = "coarse"

[slab]
size = "4.8 m x 3.6 m"
thickness = "4 in"
permeability = "2e-14 m2"
[walls]
thickness = "6 in"
footing_depth = "12 in"
[ground]
bottom = "5 ft"
[[ground.layers]]
permeability = "1e-11 m2"
[[gaps]]
name = "hollow"
aperture = "0.3 mm"
corners = [["1 m", "0.6 m"], ["3 m", "0.6 m"], ["3 m", "3 m"], ["1 m", "3 m"]]
[[joints]]
aperture = "0.3 mm"
[[rooms]]
name = "garage"
corners = [["3.6 m", "0 m"], ["4.8 m", "0 m"], ["4.8 m", "3.6 m"], ["3.6 m", "3.6 m"]]
[[layouts]]
name = "one"
[[layouts.points]]
name = "A"
x = "2 m"
y = "2 m"
pit = "1 bucket"
vacuum = "1 in. w.c."
[conditions.design_winter]
outdoor_pressure = "4 Pa"
references = {garage = "1.5 Pa"}
"""
BUCKET = HemisphericalPit(volume=0.0189)
# in the gap, in the garage, cut by a wall, one in soil alone and one across the edge of the gap
PLACES = ((2.0, 1.8), (4.2, 0.9), (0.9, 0.15), (0.5, 3.0), (1.0, 2.2))
VACUUM = 250.0


@functools.cache
def house() -> Case:
    return parse_case(TEXT, file="house.toml")


@functools.cache
def candidates() -> Candidates:
    return candidates_of(house(), pit=BUCKET, spacing=None, wall_spacing=None, given=PLACES)


def rough(case: Case, some: Candidates) -> Grid:
    """The common grid's like with fewer cells: what is tested holds on any grid."""
    sizes = replace(COMMON, cells_per_radius=1.5, line_size=0.1, growth=1.8)
    return grid_of(case.with_resolution(sizes), [alone(c.point) for c in some.kept])


@functools.cache
def lattice() -> Grid:
    return rough(house(), candidates())


@functools.cache
def influence() -> Influence:
    return influence_of(house(), candidates(), grid=lattice())


@functools.cache
def dug(*indices: int) -> Result:
    """A full solve with some of the pits, on the same grid."""
    points = [replace(candidates().kept[i].point, vacuum=VACUUM) for i in indices]
    layout = Layout(name="some", points=tuple(points))
    return run_layout(house(), layout, grid=lattice(), baseline=False)


def pressures() -> dict[str, float]:
    return house().reference_pressures(house().conditions[0])


def flows_of(result: Result, indices: tuple[int, ...]) -> np.ndarray:
    point = result.conditions["design_winter"].operating_point
    names = [candidates().kept[i].name for i in indices]
    return np.array([point.flows[point.port_names.index(name)] for name in names])


@pytest.mark.parametrize("i", range(len(PLACES)))
def test_one_pit_flows_as_in_a_full_solve(i):
    """One pit is solved as it is, so only the solver's own error is left."""
    answer = influence().solve_layout([i], pressures(), vacuums=[VACUUM])
    assert_allclose(answer.flows, flows_of(dug(i), (i,)), rtol=1e-6)


def test_floor_and_worst_place_of_one_pit():
    """A pit's own effect on what references do to the floor is among its patterns."""
    answer = influence().solve_layout([3], pressures(), vacuums=[VACUUM])
    full = dug(3).conditions["design_winter"]
    for room, worst in (("house", full.worst), ("garage", full.rooms["garage"].worst)):
        mine = influence().worst_margins(answer)[room]
        assert abs(mine.margin - worst.margin) < 1e-4
        assert (mine.x, mine.y) == pytest.approx((worst.x, worst.y), abs=1e-6)
    floor = influence().floor_pressure(answer, room="house")
    assert 0.3 < full.coverage_area[5.0] < 0.99
    assert abs(coverage(floor, 5.0) - full.coverage_area[5.0]) < 1e-4
    opening = influence().opening_u(answer)
    here = influence().opening_room == influence().references.index("house")
    assert abs(opening[here].max() - full.opening.pressure) < 1e-4


@pytest.mark.parametrize("pair", [(0, 1), (1, 2), (0, 3), (2, 3), (0, 4)])
def test_two_pits_within_some_thousandths(pair):
    answer = influence().solve_layout(pair, pressures(), vacuums=[VACUUM] * 2)
    assert_allclose(answer.flows, flows_of(dug(*pair), pair), rtol=0.004)
    worst = dug(*pair).conditions["design_winter"].worst
    assert influence().worst_margins(answer)["house"].margin == pytest.approx(
        worst.margin, rel=0.01, abs=0.05
    )


def test_a_pit_across_the_edge_of_a_gap_lets_air_into_it():
    """Drawing nothing it still joins the gap with the soil beside it, for all others to feel."""
    plain = replace(influence(), bridging=silent(influence().bridging))
    true = flows_of(dug(0, 4), (0, 4))
    off = [
        np.abs(some.solve_layout([0, 4], pressures(), vacuums=[VACUUM] * 2).flows / true - 1.0)
        for some in (influence(), plain)
    ]
    assert off[0].max() < 0.2 * off[1].max()
    more, _ = influence().bridging.among(np.array([0, 4]))
    assert more[0, 0] < 0.0  # another way into the gap can only ease the flow out of it


def silent(bridging: Bridging) -> Bridging:
    none = {f.name: 0.0 * getattr(bridging, f.name) for f in fields(bridging)}
    return Bridging(**none)


def test_pits_act_on_one_another_alike():
    """Reciprocity, which the solves do not know of: sources of one in the field of another."""
    assert 0.0 < influence().reciprocity < 1e-7
    table = influence().interaction
    assert_array_equal(table, table.T)
    assert np.linalg.eigvalsh(table).min() > 0.0
    own = np.diag(table)
    assert np.all(table - np.diag(own) < np.sqrt(np.outer(own, own)))


def test_references_add_up():
    """Everything at one pressure: no flow, and that pressure everywhere."""
    parts = influence().reference_at_pits, influence().patch_reference.T
    for part in (*parts, influence().opening_reference.T):
        assert_allclose(part.sum(axis=1), 1.0, atol=1e-7)
    same = dict.fromkeys(influence().references, 7.0)
    answer = influence().solve_layout([0, 1, 2], same, vacuums=[-7.0] * 3)
    assert np.abs(answer.flows).max() < 1e-15
    assert_allclose(influence().patch_u(answer), u_from_pressure(7.0), rtol=1e-6)


def test_superposition_over_references_and_pits():
    """u is linear, so answers to parts of a load add up to the answer to all of it."""
    at, base = [0, 2, 3], dict.fromkeys(influence().references, 0.0)
    whole = influence().solve_layout(at, pressures(), pit_u=[-100.0, -200.0, -50.0])
    flows, patches = np.zeros(3), 0.0
    for name in influence().references:
        part = influence().solve_layout(at, base | {name: pressures()[name]}, pit_u=np.zeros(3))
        flows, patches = flows + part.flows, patches + influence().patch_u(part)
    for load in np.diag([-100.0, -200.0, -50.0]):
        part = influence().solve_layout(at, base, pit_u=load)
        flows, patches = flows + part.flows, patches + influence().patch_u(part)
    assert_allclose(flows, whole.flows, rtol=1e-12)
    assert_allclose(patches, influence().patch_u(whole), rtol=1e-9, atol=1e-9)


def test_columns_over_a_pit_count_at_its_pressure():
    answer = influence().solve_layout([0, 3], pressures(), vacuums=[40.0, 9.0])
    floor = influence().floor_pressure(answer)
    for i, vacuum in ((0, 40.0), (3, 9.0)):
        x, y = PLACES[i]
        at = int(np.searchsorted(floor.x, x)) - 1, int(np.searchsorted(floor.y, y)) - 1
        assert floor.pressure[at] == pytest.approx(-vacuum, rel=1e-9)


def test_many_layouts_at_once():
    many = np.array([[[0, 1], [2, 3]], [[4, 0], [1, 2]]])
    tables, shares = influence().between(many)
    strength = influence().bridging.amplitudes(many, 1e-6 * many, np.array([0.0, 4.0, 1.5]))
    for at in np.ndindex(2, 2):
        one = influence().between(many[at])
        assert_allclose(tables[at], one[0], rtol=1e-12)
        assert_allclose(shares[at], one[1], rtol=1e-12)
        alone = influence().bridging.amplitudes(
            many[at], 1e-6 * many[at], np.array([0.0, 4.0, 1.5])
        )
        assert_allclose(strength[at], alone, rtol=1e-9)


def test_flows_and_pressures_are_two_ways_to_ask():
    one = influence().solve_layout([1, 3], pressures(), vacuums=[100.0, 300.0])
    other = influence().solve_layout([1, 3], pressures(), flows=one.flows)
    assert_allclose(other.pit_u, one.pit_u, rtol=1e-12)
    with pytest.raises(InputError, match="one of"):
        influence().solve_layout([1], pressures(), vacuums=[1.0], flows=[1.0])


def test_port_matrix_is_what_fans_take():
    names, matrix = influence().port_matrix([0, 3])
    assert_allclose(matrix, matrix.T)
    assert_allclose(matrix.sum(axis=1), 0.0, atol=1e-7 * np.abs(matrix).max())
    pits = [candidates().kept[i].name for i in (0, 3)]
    point = solve_operating_point(
        matrix, port_names=names, given_pressures=pressures() | dict.fromkeys(pits, -VACUUM)
    )
    answer = influence().solve_layout([0, 3], pressures(), vacuums=[VACUUM] * 2)
    assert_allclose([point.flows[names.index(pit)] for pit in pits], answer.flows, rtol=1e-9)


def test_worst_places_by_two_roads():
    """Patch means of the sum are the sum of patch means."""
    answer = influence().solve_layout([1, 2], pressures(), vacuums=[20.0, 5.0])
    for room, mine in influence().worst_margins(answer).items():
        floor = influence().floor_pressure(answer, room=room)
        assert mine.margin == pytest.approx(worst_margin(floor).margin, abs=1e-4)


class Mail(Executor):
    """Everything goes there and back as bytes, as to another process."""

    def submit(self, fn, /, *args, **kwargs):
        future: Future = Future()
        work, given = pickle.loads(pickle.dumps((fn, args)))
        future.set_result(pickle.loads(pickle.dumps(work(*given, **kwargs))))
        return future


def test_any_executor_gives_the_same_numbers():
    told: list[tuple[int, int]] = []
    with ThreadPoolExecutor(2) as threads:
        for executor in (Mail(), threads):
            other = influence_of(
                house(),
                candidates(),
                grid=lattice(),
                executor=executor,
                progress=lambda *at: told.append(at),
            )
            assert_array_equal(other.interaction, influence().interaction)
            assert_array_equal(other.patch_influence, influence().patch_influence)
    assert told[:6] == [(0, 10), (1, 10), (2, 10), (3, 10), (4, 10), (5, 10)]
    assert told[11] == (10, 10)


def test_a_pit_without_air_around_it_is_dropped():
    """Soil too tight for air has no way to a pit, gap or not."""
    text = TEXT.replace(
        "[[gaps]]",
        '[[moist_zones]]\nname = "wet"\nsize = "1 m x 1 m"\nat = ["3.7 m", "0.4 m"]\n'
        'multiplier = "0 %"\nbottom = "5 ft"\n[[gaps]]',
    )
    case = parse_case(text, file="house.toml")
    found = influence_of(house(), candidates(), site=case.site, grid=lattice())
    assert [c.name for c in found.candidates.kept] == ["given 1", "given 3", "given 4", "given 5"]
    assert [(d.x, d.y) for d in found.candidates.dropped] == [PLACES[1]]
    assert "no air" in found.candidates.dropped[0].reason


def test_water_in_a_sump_and_a_drain_are_candidates_too():
    """A sump's own water, and a drain that takes its port's place, are undug like a pit."""
    text = TEXT.replace(
        "[[joints]]",
        '[[drain_tiles]]\nname = "tile"\ndiameter = "4 in"\ndepth = "8 in"\n'
        'points = [["3.3 m", "1 m"], ["3.3 m", "2.6 m"]]\n[[joints]]',
        1,
    )
    case = parse_case(text, file="house.toml")
    sump = CylinderPit(diameter=0.4, depth=0.6, water_level=0.3)
    for pit, place in ((sump, (2.0, 1.8)), (OnConductor(line="tile"), (3.3, 1.5))):
        some = candidates_of(case, pit=pit, spacing=None, wall_spacing=None, given=[place])
        grid = rough(case, some)
        mine = influence_of(case, some, grid=grid)
        point = replace(some.kept[0].point, vacuum=1.0)
        full = solve_soil(
            map_of(case, Layout(name="it", points=(point,)), grid), case.air.viscosity
        ).response
        assert_allclose(1.0 / mine.interaction[0, 0], full.port_matrix[-1, -1], rtol=1e-6)
        assert_allclose(
            mine.reference_at_pits[0],
            -full.port_matrix[-1, :-1] / full.port_matrix[-1, -1],
            rtol=1e-5,
        )


def test_the_lent_cycle_solves_what_its_own_would():
    undug = undug_soil(house().site, lattice(), house().air.viscosity, depth=0.3)
    for candidate in candidates().kept[:3]:
        single = solve_single_pit(undug, candidate.point)
        soil = map_of(house(), alone(candidate.point), lattice())
        network = build_soil_network(soil, house().air.viscosity)
        own = unit_field(network, len(soil.ports) - 1, system_of(network))
        assert single.iterations <= 1.5 * own.report.iterations
        assert single.through_soil == pytest.approx(own.unit_flows[len(soil.ports) - 1], rel=1e-7)


def test_the_common_grid_resolves_every_pit():
    """Three cells across a radius, for the pit in the middle as for the one at the wall."""
    grid = common_grid(house(), candidates())
    for candidate in candidates().kept:
        for axis, at in ((0, candidate.x), (1, candidate.y)):
            cell = int(np.searchsorted(grid.edges[axis], at)) - 1
            assert grid.sizes(axis)[cell] <= BUCKET.free_radius / 3.0 * (1.0 + 1e-6)


def test_nothing_to_look_at():
    none = replace(candidates(), kept=(), clash=np.zeros((0, 0), dtype=bool))
    with pytest.raises(InputError, match="no candidate"):
        influence_of(house(), none)
