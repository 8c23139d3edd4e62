"""Ends of a range: a gap of no height, a gap without end, a pit that draws nothing."""

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from random_sites import by_elimination, common_grid, control_house, examples, houses, suction
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from small_soils import Answer

from soilflow.air import u_from_pressure
from soilflow.operating_point import solve_operating_point
from soilflow.site import SettledGap


def check_same_soil(here: Answer, there: Answer, atol=1e-6):
    """The same fields in the soil, whatever lies over it, and the same flows."""
    assert there.response.ports == here.response.ports
    y = here.response.port_matrix
    assert_allclose(there.response.port_matrix, y, rtol=0, atol=atol * np.abs(y).max())
    for port in here.response.ports:
        held = {name: float(name == port) for name in here.response.ports}
        assert_allclose(there.cells(held), here.cells(held), rtol=0, atol=atol, err_msg=port)


def one_sheet(answer: Answer):
    """A number for each node and port: each connected gap has one, with the pits it runs into."""
    network = answer.network
    size = network.nodes + len(network.ports)
    gap = np.zeros(size, dtype=bool)
    gap[network.sheet_node[network.sheet_node >= 0]] = True
    within = gap[network.edges].all(axis=1)
    rims = gap[network.port_node] & (network.port_slot < 0)
    pits = {network.ports.index(body.port) for body in answer.soil.held}
    rims &= np.isin(network.port, [*pits])
    i = np.concatenate([network.edges[within, 0], network.port_node[rims]])
    j = np.concatenate([network.edges[within, 1], network.nodes + network.port[rims]])
    graph = coo_matrix((np.ones(i.size), (i, j)), shape=(size, size))
    return connected_components(graph, directed=False)[1]


def check_one_pressure(answer: Answer, atol=0.02):
    """Under equal pits a gap is at one pressure, the one it has when tied together.

    But for what a wide joint all round draws through it: 5 mm leave 1 % in a gap of 0.1 m, and
    a higher gap differs from tight soil by more decades than a solve bears.
    """
    held = suction(answer)
    nodes = answer.network.nodes
    tied, _ = by_elimination(answer.network, held, one_sheet(answer))
    values = np.array([held[name] for name in answer.response.ports])
    assert_allclose(values @ answer.response.unit_fields, tied[:nodes], rtol=0, atol=atol)


def with_gap(house, aperture):
    """The same gaps with one height everywhere, or a gap of that height under all the floor."""
    gaps = house.site.gaps or (SettledGap(name="gap", aperture=1.0),)
    return house.changed(
        gaps=tuple(
            dataclasses.replace(
                gap, aperture=aperture, aperture_at_edge=None, taper=0.0, contact_fraction=0.0
            )
            for gap in gaps
        )
    )


@examples(12)
@given(house=houses())
def test_gap_to_zero_is_the_soil_alone(house):
    """From 1e-9 m to none nothing jumps, for the gap lies in series with what it feeds."""
    thin = with_gap(house, 1e-9)
    grid = common_grid(thin)
    check_same_soil(with_gap(house, 0.0).answer(grid), thin.answer(grid))


@examples(12)
@given(house=houses())
def test_gap_to_infinity_is_one_pressure(house):
    check_one_pressure(with_gap(house, 0.1).answer())


def check_capped(answer: Answer, point, held, capped):
    """No flow into the capped pit, and the pressure the soil gives a cavity left to itself."""
    index = point.port_names.index(capped)
    assert abs(point.flows[index]) <= 1e-9 * np.abs(point.flows).max(), "a capped point draws"
    known = {name: float(u_from_pressure(p)) for name, p in held.items()}
    pressure, _ = by_elimination(answer.network, known)
    want = pressure[answer.network.nodes + index]
    largest = max(abs(p) for p in known.values())
    assert_allclose(point.u[index], want, rtol=0, atol=1e-7 * largest, err_msg="capped pit")


@examples(12)
@given(house=houses(), vacuum=st.floats(1.0, 1000.0), outdoors=st.floats(-5.0, 5.0))
def test_capped_point_draws_nothing_and_floats(house, vacuum, outdoors):
    assume(len(house.points) > 1)
    answer = house.answer()
    held = suction(answer, vacuum)
    held |= {name: outdoors for name, p in held.items() if p == 0.0 and name != "house"}
    capped = house.points[-1].name
    del held[capped]
    point = solve_operating_point(
        answer.response.port_matrix,
        port_names=answer.response.ports,
        given_pressures=held,
        capped=[capped],
    )
    check_capped(answer, point, held, capped)


def test_the_limit_checks_complain_away_from_the_limit():
    house = control_house()
    grid = common_grid(house)
    bare, thin = with_gap(house, 0.0).answer(grid), with_gap(house, 1e-9).answer(grid)
    check_same_soil(bare, thin)
    with pytest.raises(AssertionError):
        check_same_soil(bare, with_gap(house, 2e-5).answer(grid))
    check_one_pressure(with_gap(house, 0.1).answer(grid))
    with pytest.raises(AssertionError):
        check_one_pressure(with_gap(house, 1e-3).answer(grid))


def test_the_capped_check_complains_of_a_point_held_at_zero():
    """Capped is not the same as a vacuum of nought."""
    answer = control_house().answer()
    held = suction(answer, 500.0)
    ways = []
    for state in ("capped", "at zero"):
        given_pressures = dict(held, B=0.0)
        if state == "capped":
            del given_pressures["B"]
        ways.append(
            solve_operating_point(
                answer.response.port_matrix,
                port_names=answer.response.ports,
                given_pressures=given_pressures,
                capped=["B"] if state == "capped" else [],
            )
        )
    del held["B"]
    capped, at_zero = ways
    check_capped(answer, capped, held, "B")
    with pytest.raises(AssertionError, match="draws"):
        check_capped(answer, at_zero, held, "B")
    elsewhere = dataclasses.replace(capped, u=capped.u + 0.001)
    with pytest.raises(AssertionError, match="capped pit"):
        check_capped(answer, elsewhere, held, "B")
