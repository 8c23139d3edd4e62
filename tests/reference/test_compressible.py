"""Compressible flow: solving in u gives the exact isothermal answer in p^2.

Gas of density proportional to absolute pressure a = p_atm + p has the mass flux
-(k/mu) (a/p_atm) grad p per unit density at p_atm, and its divergence is zero: so a^2 is what a
linear equation carries, and a^2 = p_atm^2 + 2 p_atm u. Between p = 0 and p = -V in one
dimension a^2 falls straight along the column, between circles straight in ln r; the flow at
atmospheric density is 1 - V / (2 p_atm) of the linear form's. Everything goes the way a result
does: unit fields, port matrix, operating point, floor. Viscosity 1.81e-5 Pa s.
"""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from orders import assert_order, extrapolated
from problems.compressible import (
    EDGE,
    LENGTH,
    PIT,
    TWENTY_INCHES,
    K,
    column,
    exact_pressure,
    floor_at,
    flow_at,
    off_straight,
    point_at,
    ring,
)
from scipy.integrate import solve_bvp
from small_soils import (
    MU,
)

from soilflow.air import P_ATM, pressure_from_u

# flow factor and largest error of a linear field over the vacuum, computed twice; the row at 20
# inches by the same formulas
PRINTED = [
    (250.0, 0.9987663, 3.088e-4),
    (1000.0, 0.9950654, 1.240e-3),
    (TWENTY_INCHES, None, None),
    (5000.0, 0.9753269, 6.324e-3),
    (20000.0, 0.9013077, 2.737e-2),
]
VACUUMS = [row[0] for row in PRINTED]


@pytest.mark.parametrize(("vacuum", "factor", "field_error"), PRINTED)
def test_column(vacuum, factor, field_error):
    """One dimension is exact on any mesh: flow and field to the solver's tolerance."""
    linear = K / MU * vacuum / LENGTH
    found = flow_at(column(), vacuum) / linear
    pit = P_ATM - vacuum
    assert_allclose(found, (P_ATM**2 - pit**2) / (2.0 * P_ATM * vacuum), rtol=1e-9)
    if factor is not None:
        assert_allclose(found, factor, rtol=1e-6)
    pressure, x, _ = floor_at(column(), vacuum)
    soil = (x > 0.0) & (x < LENGTH)
    assert_allclose(
        pressure[soil, 0], exact_pressure(x[soil] / LENGTH, vacuum), rtol=0, atol=1e-8 * vacuum
    )
    if field_error is not None:
        off = off_straight(vacuum)
        # the largest error lies between cells, where the field is 0.1 % flatter
        assert_allclose(off, field_error, rtol=2e-3)


def test_column_against_collocation():
    """(a p')' = 0 as it stands, without knowing of squares, by another solver."""

    def slopes(_, y):
        return np.array([y[1], -(y[1] ** 2) / (P_ATM + y[0])])

    def ends(at_pit, at_edge):
        return np.array([at_pit[0] + TWENTY_INCHES, at_edge[0]])

    x = np.linspace(0.0, LENGTH, 41)
    guess = np.array([-TWENTY_INCHES * (1.0 - x / LENGTH), np.full(x.shape, 1e3)])
    solved = solve_bvp(slopes, ends, x, guess, tol=1e-9)
    assert solved.success
    pressure, centres, _ = floor_at(column(), TWENTY_INCHES)
    soil = (centres > 0.0) & (centres < LENGTH)
    assert_allclose(
        pressure[soil, 0], solved.sol(centres[soil])[0], rtol=0, atol=1e-6 * TWENTY_INCHES
    )
    at_edge = K / MU * solved.sol(LENGTH)[1]  # where the density is the atmosphere's
    assert_allclose(flow_at(column(), TWENTY_INCHES), at_edge, rtol=1e-6)


@pytest.mark.parametrize("vacuum", VACUUMS)
def test_flow_factor_between_circles(vacuum):
    """Over the flow of so little vacuum that compression is lost, on one grid: to 1e-6."""
    factor = flow_at(ring(8), vacuum) / vacuum / (flow_at(ring(8), 1e-3) / 1e-3)
    assert_allclose(factor, 1.0 - vacuum / (2.0 * P_ATM), rtol=1e-6)


@pytest.mark.parametrize("vacuum", VACUUMS)
def test_flow_between_circles(vacuum):
    """pi b k (p_atm^2 - (p_atm - V)^2) / (mu p_atm ln(r2 / r1))."""
    exact = math.pi * 0.1 * K * (P_ATM**2 - (P_ATM - vacuum) ** 2) / (MU * P_ATM)
    exact /= math.log(EDGE / PIT)
    coarse, fine = (4.0 * flow_at(ring(n), vacuum) for n in (8, 16))
    assert_allclose(coarse, exact, rtol=0.01)
    assert_allclose(extrapolated(coarse, fine, 2.0), exact, rtol=1e-4)


def ring_error(cells, vacuum, exact):
    """Root mean square field error beyond twice the pit's radius, over the vacuum."""
    pressure, x, y = floor_at(ring(cells), vacuum)
    r = np.hypot(x[:, None], y[None, :])
    there = (r > 2.0 * PIT) & (r < EDGE)
    share = np.log(r[there] / PIT) / math.log(EDGE / PIT)
    return float(np.sqrt(np.mean((pressure[there] - exact(share, vacuum)) ** 2))) / vacuum


@pytest.mark.parametrize("vacuum", [TWENTY_INCHES, 20000.0])
def test_field_between_circles(vacuum):
    """Second order towards the field in p^2, and standing off the linear one."""
    assert_order(lambda n: ring_error(n, vacuum, exact_pressure), (8, 12, 16), 2.0)
    linear = ring_error(16, vacuum, lambda share, v: -v * (1.0 - share))
    assert linear > 20.0 * ring_error(16, vacuum, exact_pressure)
    # V / (8 p_atm) of the vacuum at most, derived from the first term of the root
    assert 0.25 < linear / (vacuum / (8.0 * P_ATM)) < 1.2


@pytest.mark.parametrize("vacuum", [250.0, TWENTY_INCHES])
def test_mass_balances_cell_by_cell(vacuum):
    """The face densities that make it so are arithmetic means: T (p_i - p_j) (a_i + a_j) / 2."""
    answer = ring(8)
    network = answer.network
    u = point_at(answer, vacuum).u @ answer.response.unit_fields
    p = pressure_from_u(u)
    held = {"pit": -vacuum, "edge": 0.0, "house": 0.0}
    at_port = np.array([held[name] for name in answer.response.ports])[network.port]

    def mass(conductance, a, b):
        return conductance * (a - b) * (1.0 + 0.5 * (a + b) / P_ATM)

    i, j = network.edges.T
    between = mass(network.conductance, p[i], p[j])
    out = mass(network.port_conductance, p[network.port_node], at_port)
    net = (
        np.bincount(i, between, network.nodes)
        - np.bincount(j, between, network.nodes)
        + np.bincount(network.port_node, out, network.nodes)
    )
    assert np.abs(net).max() < 1e-8 * flow_at(answer, vacuum)
