"""How long to wait: against series of heat conduction, and against FiPy through time."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from random_sites import VERY_ROUGH
from shapely.geometry import box
from small_soils import MU, beyond, even_edges, layer, plane_grid, slab_body, solve_soil
from tiny_house import SECOND, house

from soilflow.errors import InputError, OutOfRangeError
from soilflow.flow.fipy_transient import step_fipy
from soilflow.flow.lag import gap_height, node_storage, response_lag
from soilflow.layout.bodies import Brick, HeldBody
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit
from soilflow.results.response_time import AIR_POROSITY, SLOW, diagnose_reading, floor_lag
from soilflow.run import run_layout
from soilflow.site import SettledGap
from soilflow.site.effects import Prism, SetsPermeability

ATM = 101325.0
K, AIR = 1e-12, 0.3
DIFFUSIVITY = K * ATM / (MU * AIR)


def column(length=2.0, cells=40, *, far=False, effects=None):
    """Soil between a face held by a pit at x < 0 and a tight end, or another held face."""
    edges = np.concatenate([[-0.1], even_edges(0.0, length, cells)])
    held = [slab_body("pit", 0, -9.0, 0.0)]
    if far:
        edges = beyond(edges, 0.1)
        held.append(slab_body("room", 0, length, 99.0))
    grid = plane_grid(edges, even_edges(0.0, 1.0, 1), 1.0)
    return solve_soil(grid, effects or [layer(K, -1.0, 3.0)], held)


def lag_of(answer, changes, *, shortest=1e-6, **floating):
    """Lag everywhere after the ports have stepped, and the middles of the cells."""
    storage = node_storage(answer.soil, answer.network, AIR, ATM)
    change = np.array([changes[name] for name in answer.response.ports])
    watched = np.arange(answer.network.nodes)
    node = answer.network.cell_node[:, 0, 0]
    x = answer.soil.grid.centres(0)[node >= 0]
    lag = response_lag(
        answer.network,
        answer.response,
        storage,
        change,
        watched=watched,
        shortest=shortest,
        **floating,
    )
    return lag, node[node >= 0], x


def conduction_series(x, time, length):
    """Part still to come in a slab with one face stepped and the other tight.

    4/pi sum (-1)^n / (2n+1) exp(-D (2n+1)^2 pi^2 t / 4 L^2) cos((2n+1) pi (L - x) / 2L): Carslaw
    and Jaeger 1959, section 3.3, from memory; each term solves the equation and both ends.
    """
    n = np.arange(200)
    odd = 2 * n + 1
    rate = DIFFUSIVITY * (odd * math.pi / (2.0 * length)) ** 2
    shape = np.cos(odd * math.pi * (length - x) / (2.0 * length))
    return 4.0 / math.pi * ((-1.0) ** n / odd * np.exp(-rate * time) * shape).sum()


def test_mean_lag_of_a_column_with_a_tight_end():
    """D tau'' = -1 with tau(0) = 0, tau'(L) = 0: tau = x (2 L - x) / 2 D, at the end L^2 / 2 D.

    Central differences are exact for a parabola up to the constant of the half cell at the face,
    h^2 / 8 D.
    """
    lag, node, x = lag_of(column(), {"pit": -100.0})
    exact = x * (2.0 * 2.0 - x) / (2.0 * DIFFUSIVITY)
    half_cell = 0.05**2 / (8.0 * DIFFUSIVITY)
    assert_allclose(lag.mean[node] - exact, half_cell, rtol=1e-6)


def test_mean_lag_between_two_held_faces():
    """Steady change c = 1 - x/L, so D (tau c)'' = -c: tau = x (2 L - x) / 6 D."""
    lag, node, x = lag_of(column(far=True), {"pit": -100.0, "room": 0.0})
    exact = x * (4.0 - x) / (6.0 * DIFFUSIVITY)
    assert_allclose(lag.mean[node][3:], exact[3:], rtol=5e-3)


def test_mean_lag_through_two_soils():
    """A tight half before an open one: the open half's air must come through the tight one.

    With K1 on (0, a), K2 on (a, L): flux at x is the storage beyond it, s (L - x), so
    tau(L) = s (int_0^a (L - x) dx / M1 + int_a^L (L - x) dx / M2), M = k / mu, s = AIR / ATM.
    """
    a, length, loose = 1.0, 2.0, 1e-10
    far = SetsPermeability(
        where=Prism(plan=box(a, -99.0, 99.0, 99.0), top=-1.0, bottom=3.0),
        horizontal=loose,
        vertical=loose,
    )
    lag, node, _ = lag_of(column(effects=[layer(K, -1.0, 3.0), far]), {"pit": -1.0})
    tight = (length * a - a**2 / 2.0) * MU / K
    open_ = (length - a) ** 2 / 2.0 * MU / loose
    assert_allclose(lag.mean[node[-1]], AIR / ATM * (tight + open_), rtol=1e-3)


def test_mean_lag_around_a_pit_in_plan_fulfils_greens_identity():
    """A tau = S with everything held at one step, so that tau A tau, summed here over the edges,
    is the sum of S tau.
    """
    grid = plane_grid(even_edges(0.0, 2.0, 20), even_edges(0.0, 2.0, 20), 1.0)
    pit = HeldBody(port="pit", body=Brick(low=(0.9, 0.9, -9.0), high=(1.1, 1.1, 9.0)))
    answer = solve_soil(grid, [layer(K, -1.0, 3.0)], [pit])
    lag, *_ = lag_of(answer, {"pit": -50.0})
    net, tau = answer.network, lag.mean
    i, j = net.edges.T
    work = (net.conductance * (tau[i] - tau[j]) ** 2).sum()
    work += (net.port_conductance * tau[net.port_node] ** 2).sum()
    assert_allclose(work, (node_storage(answer.soil, net, AIR, ATM) * tau).sum(), rtol=1e-7)


@pytest.mark.parametrize("at", [0, 10, 39])
def test_curve_of_a_column_is_the_series(at):
    """Half a per cent of the change from the first hundredth of L^2 / D on, on 40 cells."""
    lag, node, x = lag_of(column(), {"pit": -100.0})
    times = np.geomspace(0.01, 2.0, 15) * 2.0**2 / DIFFUSIVITY
    exact = [conduction_series(x[at], t, 2.0) for t in times]
    assert_allclose(lag.left(node[[at]], times)[0], exact, atol=0.005)


def test_t90_at_the_tight_end():
    """The first term alone, 4/pi exp(-pi^2 D t / 4 L^2) = 0.1, is right to 1e-9: 1.0309 L^2 / D."""
    lag, node, _ = lag_of(column(), {"pit": -100.0})
    exact = 4.0 / math.pi**2 * math.log(40.0 / math.pi) * 4.0 / DIFFUSIVITY
    [found] = lag.time_to(0.1, node[-1:])
    assert_allclose(found, exact, rtol=2e-3)
    assert 2.0 < found / lag.mean[node[-1]] < 2.7


def test_a_capped_point_in_the_way_changes_nothing_when_it_holds_no_air():
    """A thin capped cavity across the column: the lag beyond it is that of the soil alone."""
    edges = np.concatenate([[-0.1], even_edges(0.0, 1.0, 20), even_edges(1.0, 2.0, 20)[1:] + 0.001])
    edges = np.insert(edges, 21, 1.0 + 0.001)
    grid = plane_grid(np.unique(edges.round(9)), even_edges(0.0, 1.0, 1), 1.0)
    held = [slab_body("pit", 0, -9.0, 0.0), slab_body("capped", 0, 1.0, 1.001)]
    answer = solve_soil(grid, [layer(K, -1.0, 3.0)], held)
    lag, node, _ = lag_of(answer, {"pit": -100.0, "capped": -100.0}, floating=[1])
    assert_allclose(lag.mean[node[-1]], 4.0 / (2.0 * DIFFUSIVITY), rtol=2e-3)
    # its own air as much as all the soil beyond: that half of the storage now sits at x = 1
    room = np.array([0.0, AIR * 1.0 / ATM])
    more, *_ = lag_of(answer, {"pit": -100.0, "capped": -100.0}, floating=[1], port_storage=room)
    through = MU / K * 1.0  # resistance of the first metre
    assert_allclose(more.mean[node[-1]] - lag.mean[node[-1]], through * AIR * 1.0 / ATM, rtol=2e-3)


def test_a_gap_holds_at_least_the_air_of_its_transmissivity():
    """b^3 / 12 of 1 mm is 8.33e-11 m3."""
    assert_allclose(gap_height(np.array([1e-9 / 12.0])), [1e-3], rtol=1e-12)


def test_fipy_through_time_is_the_series():
    """Second order in time: within 0.8 % of the change, each step 1.4 times the last."""
    answer = column(cells=16)
    long = 2.0**2 / DIFFUSIVITY
    course = step_fipy(
        answer.soil,
        MU,
        air_porosity=AIR,
        pressure_atm=ATM,
        start=np.array([0.0]),
        end=np.array([-100.0]),
        columns=[(3, 0), (16, 0)],
        times=(0.004 * long, 0.8 * long),
        growth=1.4,
    )
    x = answer.soil.grid.centres(0)
    for row, i in enumerate((3, 16)):
        exact = [conduction_series(x[i], t, 2.0) for t in course.times[5:]]
        assert_allclose(course.left[row, 5:], exact, atol=0.008)
    assert_allclose(course.steady_u, -100.0, rtol=1e-9)


def gap_house(permeability_of="tight_soil", aperture=1e-3):
    """The tiny house, very rough, with a box pit at a held vacuum and a gap everywhere."""
    case = house().with_variant(permeability_of).with_resolution(VERY_ROUGH)
    gap = SettledGap(name="everywhere", aperture=aperture)
    site = dataclasses.replace(case.site, gaps=(gap,) if aperture else ())
    case = dataclasses.replace(case, site=site, variants={})
    pit = BoxPit(length=0.5, width=0.5, depth=0.3)
    point = SuctionPoint(name="A", x=0.9, y=0.9, pit=pit, vacuum=100.0)
    return run_layout(case, Layout(name="one", points=(point,)), baseline=False)


def test_a_house_with_a_gap_follows_as_fipy_steps_it_through_time():
    """Two roads to one curve: half of the change within a second, the rest in a minute.

    The pit is a box on grid lines, so the engines agree at rest; the way through time differs.
    """
    result = gap_house(aperture=3e-4)
    found, soil = result.conditions["today"], result.solution.soil
    on, off = found.operating_point, found.fan_off
    lag = floor_lag(result.solution, on, off, shortest=0.01)
    ix, iy = np.nonzero(soil.floor & (soil.cavity[:, :, soil.top_layer] < 0))
    columns = [(int(ix[n]), int(iy[n])) for n in (0, ix.size // 2, ix.size - 1)]
    course = step_fipy(
        soil,
        result.solution.network.viscosity,
        air_porosity=AIR_POROSITY,
        pressure_atm=ATM,
        start=off.u,
        end=on.u,
        columns=columns,
        times=(0.02, 100.0),
        growth=2.2,
    )
    assert course.left[-1, 3] > 0.2
    assert course.left[-1, -1] < 0.1
    x, y = soil.grid.centres(0), soil.grid.centres(1)
    for row, (i, j) in enumerate(columns):
        own = lag.curve(x[i], y[j], course.times[3:])
        assert_allclose(1.0 - own, course.left[row, 3:], atol=0.03)


def test_soil_and_gap_hold_the_air_of_their_volume():
    """A floor of 12 ft by 10 ft, less a pit of 0.5 m by 0.5 m: a gap of 1 mm holds 10.9 litres."""
    result = gap_house()
    soil, network = result.solution.soil, result.solution.network
    held = node_storage(soil, network, AIR, ATM) * ATM
    plan = 3.6576 * 3.048 - 0.25
    gap = held[network.sheet_node[network.sheet_node >= 0]].sum()
    assert_allclose(gap, plan * 1e-3, rtol=0.02)
    volume = np.outer(soil.grid.sizes(0), soil.grid.sizes(1))[:, :, None] * soil.grid.sizes(2)
    assert_allclose(held.sum() - gap, AIR * volume[soil.air].sum(), rtol=1e-9)


def test_waiting_times_of_a_house():
    """Farther is later; a gap makes the floor quick; more air in the pores makes it slow."""
    soil_only, with_gap = (gap_house(aperture=b) for b in (0.0, 1e-3))

    def lag(result, **more):
        found = result.conditions["today"]
        return floor_lag(result.solution, found.operating_point, found.fan_off, **more)

    slow, quick = lag(soil_only), lag(with_gap, shortest=1e-3)
    assert slow.at(1.5, 1.0)[1] < slow.at(3.4, 2.8)[1] <= slow.longest()[0]
    assert quick.longest()[0] < 0.1 * slow.longest()[0]
    double = lag(soil_only, air_porosity=2.0 * AIR_POROSITY)
    assert_allclose(double.mean, 2.0 * slow.mean, rtol=1e-6)
    assert np.isnan(slow.at(0.9, 0.9)).all()  # the pit itself
    assert np.isnan(slow.curve(0.9, 0.9, [1.0])).all()
    assert "longest" in repr(slow)
    with pytest.raises(InputError, match="off the grid"):
        slow.at(1e3, 0.0)
    with pytest.raises(OutOfRangeError, match="between 0 and 1"):
        lag(soil_only, air_porosity=1.0)


def test_a_capped_point_of_a_layout_follows():
    result = run_layout(house().with_resolution(VERY_ROUGH), SECOND, baseline=False)
    found = result.conditions["today"]
    lag = floor_lag(result.solution, found.operating_point, found.fan_off)
    assert np.isfinite(lag.t90[result.solution.soil.floor]).mean() > 0.8
    nothing = floor_lag(result.solution, found.fan_off, found.fan_off)
    assert np.isnan(nothing.t90).all()
    assert "nan" in repr(nothing)


@pytest.mark.parametrize(
    ("t90", "reading", "word"),
    [
        (SLOW, -0.99, "tight soil"),
        (SLOW - 1.0, -0.99, "leak"),
        (SLOW, -1.0, "wait"),
        (0.0, -5.0, "open"),
        (5.0, 2.0, "leak"),
    ],
)
def test_what_a_reading_says(t90, reading, word):
    found = diagnose_reading(t90, reading)
    assert found.word == word
    assert found.source == "chosen by the project"


def test_what_a_reading_says_needs_numbers():
    with pytest.raises(OutOfRangeError, match="at least 0 s"):
        diagnose_reading(float("nan"), -1.0)
    assert diagnose_reading(5.0, -3.0, wanted=5.0).word == "leak"
