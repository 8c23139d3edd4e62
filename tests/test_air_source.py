"""Where the air comes from: by hand, by a stream function, and conserved on any house."""

from __future__ import annotations

import cmath
import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose
from random_sites import VERY_ROUGH, examples, houses
from small_soils import even_edges, layer, plane_grid, slab_body, solve_soil
from test_rooms import run_with
from tiny_house import SECOND, house, solved

from soilflow.errors import BalanceError
from soilflow.flow.leaks_on_grid import DirectLeaks
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.tracer import air_paths, destination_shares, origin_shares, trace_air
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit
from soilflow.results.air_source import air_sources
from soilflow.results.leaks import leak_flows
from soilflow.results.result import SoilSolution
from soilflow.run import run_layout
from soilflow.site import Opening, SettledGap
from soilflow.site.effects import HOUSE, OUTDOORS

NO_LEAKS = DirectLeaks(
    body=np.zeros(0, dtype=np.int64),
    port=np.zeros(0, dtype=np.int64),
    geometry=np.zeros(0),
    line=np.zeros(0, dtype=np.int64),
)


def bare_network(ports, nodes, edges, port_edges, *, slots=(), slot_nodes=(), slot_edges=()):
    """Conductances by hand: edges (i, j, t, slot) and port edges (node, port, g, slot)."""
    inner = [(*e, -1)[:4] for e in edges] + list(slot_edges)
    outer = [(*e, -1)[:4] for e in port_edges]
    index = np.array([e[:2] for e in inner], dtype=np.int64).reshape(-1, 2)
    return SoilNetwork(
        ports=ports,
        nodes=nodes,
        cell_node=np.arange(nodes).reshape(-1, 1, 1),
        sheet_node=np.full((nodes, 1), -1),
        line_node=np.zeros(0, dtype=np.int64),
        edges=index,
        conductance=np.array([e[2] for e in inner], dtype=float),
        edge_slot=np.array([e[3] for e in inner], dtype=np.int64),
        port_node=np.array([e[0] for e in outer]),
        port=np.array([e[1] for e in outer]),
        port_conductance=np.array([e[2] for e in outer], dtype=float),
        port_slot=np.array([e[3] for e in outer]),
        port_area=np.full(len(outer), -1),
        direct=np.zeros((len(ports),) * 2),
        slots=np.array(slots, dtype=float).reshape(-1, 3),
        slot_nodes=np.array(slot_nodes, dtype=np.int64).reshape(-1, 2),
        lost_cells=0,
        viscosity=1.0,
    )


def exchange(network, node_u, port_u, bodies=()):
    node_u, port_u = np.array(node_u, dtype=float), np.array(port_u, dtype=float)
    return trace_air(air_paths(network, node_u, port_u, bodies, NO_LEAKS)).exchanged()


def test_two_ways_in_series_and_parallel_by_hand():
    """Two rooms at 0 meet in node 0, one unit of flow from the first and three from the second;
    node 1 takes half of that and the yard's two; the pit draws both nodes.

    u0 = -1: in from the rooms 1 + 3 = 4; to node 1 at u1 = -2 with t = 2: 2; to the pit at -3
    with g = 1: 2. Node 1 gets 2 from node 0 and 2 from the yard at 0 (g = 1), and gives 4 to the
    pit at -3 (g = 4). The pit draws 6: of the first room 1, of the second 3, of the yard 2.
    """
    network = bare_network(
        ("first", "second", "yard", "pit"),
        2,
        [(0, 1, 2.0)],
        [(0, 0, 1.0), (0, 1, 3.0), (1, 2, 1.0), (0, 3, 1.0), (1, 3, 4.0)],
    )
    found = exchange(network, [-1.0, -2.0], [0.0, 0.0, 0.0, -3.0], bodies=[3])
    assert_allclose(found[:, 3], [1.0, 3.0, 2.0, 0.0], rtol=1e-14)
    assert_allclose(found[:, :3], 0.0)


def test_air_that_no_pit_gets_ends_in_the_room_and_both_directions_count():
    """A chain yard 4 -> node 2 -> room 0, with a pit at 1 on the node: u = 2 there.

    Yard gives g (4 - 2) = 2; the room gets 1 (2 - 0) x 0.5 = 1, the pit 1 (2 - 1) = 1. Held at
    -2 instead, with the node at 0.8, pit and room change roles: the room's flow is 0.4 still out
    of the soil.
    """
    network = bare_network(("yard", "room", "pit"), 1, [], [(0, 0, 1.0), (0, 1, 0.5), (0, 2, 1.0)])
    found = exchange(network, [2.0], [4.0, 0.0, 1.0], bodies=[2])
    assert_allclose(found, [[0.0, 1.0, 1.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]], atol=1e-14)
    # 4 - u = 0.5 u + (u + 2)  ->  u = 0.8; 3.2 = 0.4 + 2.8
    found = exchange(network, [0.8], [4.0, 0.0, -2.0], bodies=[2])
    assert_allclose(found[0], [0.0, 0.4, 2.8], rtol=1e-14)
    # 4 - u = 0.5 u + (u + 8)  ->  u = -1.6; yard 5.6 and room 0.8 in, 6.4 to the pit
    found = exchange(network, [-1.6], [4.0, 0.0, -8.0], bodies=[2])
    assert_allclose(found[:, 2], [5.6, 0.8, 0.0], rtol=1e-14)


def test_a_pit_that_blows_feeds_the_soil_and_a_capped_one_mixes():
    """Pit at 3 gives 1 to the node at 2; the yard at 4 gives 2; the room at 0 takes all 3."""
    ports = ("yard", "room", "pit")
    blowing = bare_network(ports, 1, [], [(0, 0, 1.0), (0, 1, 1.5), (0, 2, 1.0)])
    found = exchange(blowing, [2.0], [4.0, 0.0, 3.0], bodies=[2])
    assert_allclose(found[:, 1], [2.0, 0.0, 1.0], rtol=1e-14)
    # yard 3 -> node 2 -> capped pit 1 -> node 0 -> room -1, unit conductances; a second yard
    # at 1 feeds the far node, which the room drains twice as fast
    ports = ("yard", "room", "other yard", "pit")
    capped = bare_network(
        ports, 2, [], [(0, 0, 1.0), (0, 3, 1.0), (1, 3, 1.0), (1, 1, 2.0), (1, 2, 1.0)]
    )
    found = exchange(capped, [2.0, 0.0], [3.0, -1.0, 1.0, 1.0], bodies=[3])
    assert_allclose(found[:, 1], [1.0, 0.0, 1.0, 0.0], rtol=1e-14)
    assert_allclose(found[:, 3], 0.0, atol=1e-14)


def test_air_mixes_in_the_foot_of_a_slot():
    """Room at 0, gap node at -1, soil node at -2, legs of one each: the foot is at -1.

    The star passes 1 from the room to the soil and nothing to the gap. The triangle of thirds
    that stands for it would send 1/3 from room to gap and 1/3 from gap to soil.
    """
    third = 1.0 / 3.0
    network = bare_network(
        ("room", "pit"),
        2,
        [],
        [(0, 0, third, 0), (1, 0, third, 0), (0, 1, 1.0)],
        slots=[(1.0, 1.0, 1.0)],
        slot_nodes=[(0, 1)],
        slot_edges=[(0, 1, third, 0)],
    )
    paths = air_paths(network, np.array([-2.0, -1.0]), np.array([0.0, -3.0]), [1], NO_LEAKS)
    assert_allclose(trace_air(paths).exchanged(), [[0.0, 1.0], [0.0, 0.0]], rtol=1e-14)
    assert not np.any((paths.start == 1) | (paths.end == 1))  # the gap stands still


def test_a_flow_that_does_not_balance_is_refused():
    network = bare_network(("yard", "pit"), 1, [], [(0, 0, 1.0), (0, 1, 1.0)])
    with pytest.raises(BalanceError, match="is lost on the way"):
        exchange(network, [2.1], [4.0, 0.0], bodies=[1])


def test_a_house_open_alike_on_both_sides_gives_equal_shares():
    """The same leak left and right of a pit in the middle of a strip: half and half."""
    grid = plane_grid(even_edges(0.0, 5.0, 25), even_edges(0.0, 1.0, 5), 1.0)
    held = [
        slab_body("left", 0, -1.0, 0.2),
        slab_body("right", 0, 4.8, 6.0),
        HeldBody(port="pit", body=Brick(low=(2.4, 0.4, -1.0), high=(2.6, 0.6, 2.0))),
    ]
    answer = solve_soil(grid, [layer(1e-11, -1.0, 3.0)], held)
    assert_allclose(shares_of(answer, {"left": 0.0, "right": 0.0, "pit": -50.0}), [0.5, 0.5])


def shares_of(answer, values, port="pit"):
    """Share of each other port in the air of one, its neighbours unlimited."""
    ports = answer.response.ports
    port_u = np.array([values[name] for name in ports])
    node_u = port_u @ answer.response.unit_fields
    at = ports.index(port)
    leaks = answer.soil.direct_leaks
    found = trace_air(air_paths(answer.network, node_u, port_u, [at], leaks)).exchanged()
    return [found[i, at] / found[:, at].sum() for i in range(len(ports)) if i != at]


def captured_band(width, at, drawn, upstream):
    """Band of a uniform stream in a channel that a sink beside its middle line draws in.

    A sink at height y0 between the tight walls y = 0 and W, in a stream along x, has the
    complex potential w = U z - q / (2 pi) ln(cosh s - cos th), s = pi z / W, th = pi y0 / W: its
    images in both walls, summed. Upstream the stream function is y (U + q / 2W). The branch on
    which it has no jump below the sink gives the lower edge of the band at the stagnation point,
    where sinh s / (cosh s - cos th) = 2 W U / q.
    """
    mean = upstream - 0.5 * drawn / width
    kappa, th = 2.0 * width * mean / drawn, math.pi * at / width
    root = cmath.sqrt((kappa * math.cos(th)) ** 2 - kappa**2 + 1.0)
    assert root.imag != 0.0  # one stagnation point inside the channel
    s = cmath.log((kappa * math.cos(th) + root) / (kappa - 1.0))
    s = complex(s.real, abs(s.imag))
    psi = mean * s.imag * width / math.pi
    psi -= 0.5 * drawn / math.pi * cmath.phase(cmath.cosh(s) - math.cos(th))
    return psi / upstream, (psi + drawn) / upstream


@pytest.mark.parametrize(("cells", "off_by"), [(40, 0.02), (80, 0.006)])
def test_shares_by_the_stream_function_of_a_sink_in_a_channel(cells, off_by):
    """One stream, its lower part room air and its upper part outdoor air, and a sink that takes
    a part of each: the dividing streamline says how much.
    """
    width, border, middle = 1.0, 0.35, 0.425
    h = width / cells
    half = 1.5 * h
    x = np.arange(-round(1.2 / h), round(1.2 / h) + 1) * h
    x = np.concatenate([[x[0] - h], x, [x[-1] + h]])
    grid = plane_grid(x, even_edges(0.0, width, cells), 1.0)

    def inlet(port, low, high):
        return HeldBody(port=port, body=Brick(low=(-9.0, low, -9.0), high=(x[1], high, 9.0)))

    sink = Brick(low=(-half, middle - half, -9.0), high=(half, middle + half, 9.0))
    held = [
        inlet("room", -9.0, border),
        inlet("yard", border, 9.0),
        slab_body("drain", 0, x[-2], 99.0),
        HeldBody(port="pit", body=sink),
    ]
    answer = solve_soil(grid, [layer(1e-11, -1.0, 3.0)], held)
    values = {"room": 0.0, "yard": 0.0, "drain": -100.0, "pit": -80.0}
    drawn = answer.flow("pit", values)
    whole = drawn + answer.flow("drain", values)
    assert 0.2 < drawn / whole < 0.6
    low, high = captured_band(width, middle, drawn, whole / width)
    assert low < border < high
    found = shares_of(answer, values)[0]
    assert abs(found - (border - low) / (high - low)) < off_by


@given(house=houses(most=2))
@examples(6)
def test_any_house_keeps_its_air(house):
    """What enters arrives, per port and per opening, from both ends of the way."""
    answer = house.answer()
    ports = answer.response.ports
    pits = [answer.soil.body_port(b) for b in range(len(answer.soil.held))]
    for vacuum, outdoors in ((200.0, 3.0), (2.0, -4.0)):
        port_u = np.array([{OUTDOORS: outdoors, HOUSE: 0.0}.get(name, 1.0) for name in ports])
        port_u[pits] = -vacuum * np.linspace(1.0, 0.6, len(pits))
        node_u = port_u @ answer.response.unit_fields
        paths = air_paths(answer.network, node_u, port_u, pits, answer.soil.direct_leaks)
        trace = trace_air(paths)
        flows = -answer.response.face_matrix.T @ port_u
        moved, size = trace.exchanged(), max(trace.entries.flow.sum(), 1e-30)
        assert_allclose(moved.sum(axis=0) - moved.sum(axis=1), flows, atol=2e-7 * size)
        assert_allclose(trace.destinations.sum(axis=1), 1.0, atol=1e-9)
        exits, came = paths.exits, origin_shares(paths)
        backward = np.zeros_like(moved)
        np.add.at(backward.T, exits.port, exits.flow[:, None] * came[exits.place])
        assert_allclose(backward, moved, atol=2e-7 * size)
        for name in set(ports) - {ports[p] for p in pits}:
            leaks = leak_flows(answer.network, node_u, port_u, name)
            at = ports.index(name)
            into = trace.entries.flow[trace.entries.port == at].sum()
            out = exits.flow[exits.port == at].sum()
            assert_allclose([into, out], [leaks.into_soil, leaks.from_soil], atol=1e-9 * size)


def test_shares_lie_between_none_and_all():
    found = solved(SECOND)
    solution, point = found.solution, found.conditions["design_winter"].operating_point
    pits = [solution.soil.body_port(b) for b in range(2)]
    node_u = point.u @ solution.response.unit_fields
    paths = air_paths(solution.network, node_u, point.u, pits, solution.soil.direct_leaks)
    for shares in (origin_shares(paths), destination_shares(paths)):
        assert shares.min() >= 0.0
        assert_allclose(shares.sum(axis=1), 1.0, rtol=1e-12)


def sources_of(result, condition="design_winter", *, on=True):
    found = result.conditions[condition]
    point = found.operating_point if on else found.fan_off
    return air_sources(result.site, result.solution, point.u), found


def test_a_result_says_whose_air_each_point_draws():
    result = solved(SECOND)
    found, condition = sources_of(result)
    flow = condition.operating_point.flows[result.solution.soil.ports.index("B")]
    assert found.points[0] == "B"
    whole = sum(found.flow(place, "B") for place in found.places)
    assert_allclose(whole, flow, rtol=1e-6)
    assert_allclose(sum(found.share(place, "B") for place in found.places), 1.0, rtol=1e-12)
    assert_allclose(found.soil_gas(), condition.house_on.from_soil, rtol=1e-9)
    assert math.isnan(found.share(HOUSE, "the one by the furnace, left open for now and shut"))
    drawn = {stream.through for stream in found.entering if stream.place == HOUSE}
    assert {"south joint", "slab"} <= drawn
    assert f"{1e3 * found.room_air:.3g} L/s" in str(found)


def test_with_the_fan_off_soil_gas_goes_into_the_house_and_it_says_through_what():
    found, condition = sources_of(solved(SECOND), on=False)
    assert found.room_air == 0.0
    assert_allclose(found.soil_gas(), condition.house_off.from_soil, rtol=1e-9)
    assert_allclose(found.flow(OUTDOORS, HOUSE), found.soil_gas(), rtol=1e-6)
    assert "out of the soil into house, through south joint" in str(found)


def test_another_room_is_a_source_of_its_own():
    found, condition = sources_of(run_with())
    parts = [found.flow(place) for place in (HOUSE, "garage", OUTDOORS)]
    assert min(parts) > 0.0
    assert_allclose(sum(parts), condition.air_drawn(found.points), rtol=1e-6)
    assert any("garage" in s.through for s in found.entering if s.place == "garage")


def test_an_opening_is_named_and_an_open_drain_beside_a_pit_feeds_it():
    case = house()
    lid = Opening(name="floor drain", x=2.6, y=1.5, area=0.04)
    site = dataclasses.replace(case.site, openings=(lid,))
    case = dataclasses.replace(case, site=site, variants={})
    point = SuctionPoint(
        name="A", x=1.8, y=1.5, pit=BoxPit(length=0.4, width=0.4, depth=0.3), vacuum=50.0
    )
    result = run_layout(case, Layout(name="beside it", points=(point,)), baseline=False)
    found, _ = sources_of(result)
    [drain] = [s for s in found.entering if s.through == "floor drain"]
    assert drain.place == HOUSE
    assert drain.goes_to["A"] > 5.0 * (found.room_air - drain.goes_to["A"])


def test_joints_keep_their_names_over_a_gap():
    """There a slot has three legs and a place of its own."""
    case = house().with_resolution(VERY_ROUGH)
    gap = SettledGap(name="everywhere", aperture=1e-3)
    site = dataclasses.replace(case.site, gaps=(gap,))
    result = run_layout(dataclasses.replace(case, site=site, variants={}), SECOND, baseline=False)
    found, condition = sources_of(result)
    joints = [s for s in found.entering if s.through.endswith("joint")]
    assert {s.through for s in joints} == {f"{w} joint" for w in ("north", "east", "south", "west")}
    inside = [s.flow for s in found.entering if s.place == HOUSE]
    assert_allclose(sum(inside), condition.house_on.into_soil, rtol=1e-9)
    assert sum(s.flow for s in joints) > 0.99 * sum(inside)


def test_a_solution_by_hand_needs_no_result():
    found = solved(SECOND)
    soil = found.solution
    again = SoilSolution(soil=soil.soil, network=soil.network, response=soil.response)
    u = np.zeros(len(soil.soil.ports))
    assert air_sources(found.site, again, u).entering == ()
    assert str(air_sources(found.site, again, u)).startswith("from")
