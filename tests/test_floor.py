"""Pressure carried to the slab underside, and what passes the leaks, against hand numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import box

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.results.floor import floor_response, pressure_at
from soilflow.results.leaks import leak_flows, worst_opening
from soilflow.site.effects import (
    CarriesAlongSheet,
    LeaksAlongLine,
    LeaksOverArea,
    Prism,
    SetsPermeability,
)

MU = 1.8e-5
K, DEEP, LEAKANCE = 1e-12, 1.0, 2e-12
FLOOR = box(0.0, 0.0, 2.0, 1.0)


def column(*, extra=(), held=None):
    """Soil 1 m deep under a leaky slab, over a floor of suction: everything is one-dimensional."""
    z = np.linspace(0.0, 1.5, 13)
    grid = Grid(x=np.linspace(0.0, 2.0, 9), y=np.linspace(0.0, 1.0, 5), z=z)
    effects = (
        SetsPermeability(where=Prism(plan=FLOOR, top=0.0, bottom=1.5), horizontal=K, vertical=K),
        LeaksOverArea(plan=FLOOR, depth=0.0, leakance=LEAKANCE, reference="house", floor=True),
        *extra,
    )
    if held is None:
        deep = Brick(low=(-1.0, -1.0, DEEP), high=(3.0, 2.0, 2.0))
        held = (HeldBody(port="pit", body=deep),)
    soil = build_soil_map(grid, effects, held)
    network = build_soil_network(soil, MU)
    return soil, network, respond(network)


def test_slab_leak_in_series_with_the_soil_by_hand():
    """Q = A dp / (mu (1/L + D/k)); at the slab p = p_pit (D/k's complement): two resistances."""
    soil, network, response = column()
    area, drop = 2.0, 100.0
    expected = area * drop / (MU * (1.0 / LEAKANCE + DEEP / K))
    pit = soil.ports.index("pit")
    assert_allclose(drop * response.port_matrix[pit, pit], expected, rtol=1e-9)
    floor = floor_response(soil, network, response)
    u = np.zeros(2)
    u[pit] = -drop
    at_slab = floor.pressure(u, 1e12).pressure
    share = (1.0 / LEAKANCE) / (1.0 / LEAKANCE + DEEP / K)
    assert_allclose(at_slab, -drop * share, rtol=1e-9)
    assert_allclose(pressure_at(floor.pressure(u, 1e12), 0.3, 0.3), -drop * share, rtol=1e-9)


def test_a_gap_shows_its_own_pressure_and_changes_nothing_in_one_dimension():
    sheet = CarriesAlongSheet(plan=FLOOR, transmissivity=lambda x, y: np.full(x.shape, 1e-10))
    plain = column()
    gapped = column(extra=(sheet,))
    assert_allclose(gapped[2].port_matrix, plain[2].port_matrix, rtol=1e-9)
    a = floor_response(*plain).unit_fields
    b = floor_response(*gapped).unit_fields
    assert_allclose(b, a, rtol=1e-8)


def test_floor_over_a_pit_counts_at_the_pits_own_pressure():
    pit = HeldBody(port="pit", body=Brick(low=(0.5, 0.25, 0.0), high=(1.0, 0.75, 0.5)))
    soil, network, response = column(held=(pit,))
    floor = floor_response(soil, network, response)
    port = soil.ports.index("pit")
    over = floor.unit_fields[port][2:4, 1:3]
    assert_allclose(over, 1.0)
    assert floor.unit_fields[port].min() < 0.9


def test_no_slab_no_floor():
    grid = Grid(x=np.array([0.0, 1.0]), y=np.array([0.0, 1.0]), z=np.array([0.0, 1.0]))
    ground = (
        SetsPermeability(where=Prism(plan=FLOOR, top=0.0, bottom=1.0), horizontal=K, vertical=K),
        LeaksOverArea(plan=FLOOR, depth=0.0, leakance=np.inf, reference="outdoors"),
    )
    soil = build_soil_map(grid, ground, ())
    network = build_soil_network(soil, MU)
    with pytest.raises(InputError, match="no slab"):
        floor_response(soil, network, respond(network))


def test_leak_flows_add_up_to_the_ports_flow_and_change_sign_with_it():
    slot = LeaksAlongLine(
        name="crack",
        start=(1.0, 0.0),
        end=(1.0, 1.0),
        inward=(1, 0),
        aperture=5e-4,
        path=0.1,
        reference="house",
    )
    soil, network, response = column(extra=(slot,))
    house = soil.ports.index("house")
    for sign in (-1.0, 1.0):
        u = np.zeros(2)
        u[soil.ports.index("pit")] = sign * 50.0
        node_u = u @ response.unit_fields
        flows = leak_flows(network, node_u, u, "house")
        into_house = float(-response.port_matrix[house] @ u)
        assert_allclose(flows.from_soil - flows.into_soil, into_house, rtol=1e-8)
        assert (flows.from_soil == 0.0) == (sign < 0)
        opening = worst_opening(soil, network, node_u, u, 101325.0)
        assert opening.name == "crack"
        assert opening.pressure * sign > 0.0
    assert leak_flows(network, node_u, u, "garage").into_soil == 0.0
    assert worst_opening(*column()[:2], node_u, u, 101325.0) is None
