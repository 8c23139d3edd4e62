"""Pipes: friction against Colebrook, fittings, and the tree."""

import dataclasses
import math

import fluids.fittings
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from soilflow.errors import InputError
from soilflow.layout.losses import MOST_TURNED, damper_coefficient, friction_factor
from soilflow.layout.pipes import (
    DISCHARGE,
    Pipe,
    PipeTree,
    entry_loss,
    fall_needed,
    path_losses,
    pipe_flows,
    pipe_loss,
    pipe_losses,
)
from soilflow.units import M3S_PER_CFM, M_PER_INCH, MS_PER_FPM

RHO, MU = 1.204, 1.81e-5

# Darcy-Weisbach with Colebrook's factor, worked by fixed-point iteration of
# 1/sqrt f = -2 log10(eps/3.7D + 2.51/(Re sqrt f)) and again by Clamond's explicit form.
# bore [in], roughness [m], flow [cfm], velocity [m/s], Re, factor, gradient [Pa/m]
DUCTS = [
    (4.0, 9e-5, 100, 5.8213, 39342, 0.0245750, 4.93433),
    (4.026, 1.5e-6, 50, 2.8732, 19544, 0.0260619, 1.26652),
    (4.026, 1.5e-6, 100, 5.7463, 39088, 0.0221323, 4.30222),
    (3.068, 1.5e-6, 20, 1.9790, 10259, 0.0307052, 0.929031),
    (3.068, 1.5e-6, 50, 4.9476, 25647, 0.0244196, 4.61783),
    (3.068, 1.5e-6, 100, 9.8952, 51294, 0.0208435, 15.7663),
    (2.067, 1.5e-6, 20, 4.3600, 15227, 0.0277550, 6.04971),
]


def duct(bore_inches, roughness=1.5e-6, **more):
    return Pipe(name="duct", length=1.0, bore=bore_inches * M_PER_INCH, roughness=roughness, **more)


@pytest.mark.parametrize(("bore", "eps", "cfm", "v", "re", "factor", "gradient"), DUCTS)
def test_friction_matches_colebrook(bore, eps, cfm, v, re, factor, gradient):
    """The equation is Colebrook's of 1939 (from memory); each figure to its last digit."""
    pipe = duct(bore, eps)
    flow = cfm * M3S_PER_CFM
    assert_allclose(flow / pipe.area, v, atol=0.6e-4)
    reynolds = RHO * flow / pipe.area * pipe.bore / MU
    assert_allclose(reynolds, re, atol=0.6)
    assert_allclose(friction_factor(reynolds, eps / pipe.bore), factor, atol=0.6e-7)
    last_figure = 10.0 ** (math.floor(math.log10(gradient)) - 5)  # printed to six
    loss = pipe_loss(pipe, flow, density=RHO, viscosity=MU)
    assert_allclose(loss, gradient, rtol=0, atol=0.5 * last_figure)


def test_factor_solves_colebrooks_own_equation():
    for reynolds in (4000.0, 2e4, 1e6):
        for rough in (0.0, 1e-5, 1e-3, 0.05):
            root = math.sqrt(friction_factor(reynolds, rough))
            right = -2.0 * math.log10(rough / 3.7 + 2.51 / (reynolds * root))
            assert_allclose(1.0 / root, right, rtol=1e-9)


def test_laminar_pipe_is_hagen_poiseuille():
    """dp = 8 mu L Q / (pi r^4), with no friction factor in it."""
    pipe = dataclasses.replace(duct(3.068), length=7.0)
    flow = 1e-3
    expected = 8.0 * MU * 7.0 * flow / (math.pi * (pipe.bore / 2.0) ** 4)
    assert_allclose(pipe_loss(pipe, flow, density=RHO, viscosity=MU), expected, rtol=1e-12)


@pytest.mark.parametrize("bound", [2300.0, 4000.0])
@pytest.mark.parametrize("rough", [0.0, 1e-3, 0.05])
def test_factor_is_smooth_at_both_ends_of_transition(bound, rough):
    """Value and slope agree from both sides: one-sided differences over h differ by O(h)."""
    h = 0.01
    below, at, above = (friction_factor(bound + d, rough) for d in (-h, 0.0, h))
    assert_allclose(below, above, rtol=1e-5)
    assert_allclose((at - below) / h, (above - at) / h, atol=2e-8)


def test_three_inch_pipe_at_5_cfm_lies_between_its_two_laws():
    """Re 2565 in a 3.068-in pipe at 5 cfm: in transition."""
    pipe = duct(3.068)
    reynolds = RHO * 5 * M3S_PER_CFM / pipe.area * pipe.bore / MU
    assert_allclose(reynolds, 2565.0, atol=0.6)
    turbulent = 0.0457  # 1/sqrt f = 4.678 = -2 log10(2e-5/3.7 + 2.51/(2565 x 0.2138))
    assert 64.0 / reynolds < friction_factor(reynolds, 2e-5) < turbulent


@given(st.floats(1e-6, 0.2), st.floats(1.0001, 2.0), st.sampled_from([0.0, 1.5e-6, 9e-5, 2e-3]))
@settings(max_examples=200, deadline=None)
def test_loss_rises_with_flow_and_is_odd(flow, more, roughness):
    pipe = duct(4.0, roughness, loss_coefficient=0.4)
    loss = pipe_loss(pipe, flow, density=RHO, viscosity=MU)
    assert pipe_loss(pipe, more * flow, density=RHO, viscosity=MU) > loss > 0.0
    assert pipe_loss(pipe, -flow, density=RHO, viscosity=MU) == -loss


def test_no_flow_no_loss():
    assert pipe_loss(duct(4.0), 0.0, density=RHO, viscosity=MU) == 0.0


def test_loss_coefficient_in_metres_of_air():
    """Worked example: xi 1.3 at 10 m/s takes 6.6 m of air.

    Seen at engineeringtoolbox.com, minor loss coefficients in ducts (d_208), two figures.
    """
    pipe = dataclasses.replace(duct(4.0), loss_coefficient=1.3)
    bare = duct(4.0)
    flow = 10.0 * pipe.area
    extra = pipe_loss(pipe, flow, density=1.2, viscosity=MU) - pipe_loss(
        bare, flow, density=1.2, viscosity=MU
    )
    assert_allclose(extra / (1.2 * 9.80665), 6.6, atol=0.05)


@pytest.mark.parametrize(("inches", "cfm"), [(2, 35), (3, 80), (4, 140), (6, 315)])
def test_trade_pairs_of_flow_and_velocity(inches, cfm):
    """1600 fpm, the noise threshold of ANSI/AARST SGM-SF 2017 rev. 12/20, 6.3.8 (seen).

    Nominal bores and rounded flows: 2 %.
    """
    speed = cfm * M3S_PER_CFM / duct(float(inches)).area
    assert_allclose(speed / MS_PER_FPM, 1600.0, rtol=0.02)


def tree(**changes):
    """Two branches into a manifold, a third straight into the discharge run."""
    four, three = 4.026 * M_PER_INCH, 3.068 * M_PER_INCH
    return PipeTree(
        pipes=(
            Pipe(name="A", length=3.0, bore=three, into="manifold"),
            Pipe(name="B", length=5.0, bore=three, into="manifold", loss_coefficient=2.0),
            Pipe(name="manifold", length=4.0, bore=four),
            Pipe(name="C", length=6.0, bore=three),
        ),
        discharge=Pipe(name=DISCHARGE, length=7.0, bore=four),
        discharge_height=7.0,
        **changes,
    )


def test_flows_gather_down_the_tree():
    flows = pipe_flows(tree(), {"A": 0.01, "B": -0.002, "C": 0.03})
    expected = {"A": 0.01, "B": -0.002, "manifold": 0.008, "C": 0.03, DISCHARGE: 0.038}
    assert flows == pytest.approx(expected, abs=1e-15)


def test_path_loss_is_entry_pipes_and_outlet_once_each():
    pipes = tree(entry_coefficient=0.5, exit_coefficient=1.0)
    flows = {"A": 0.01, "B": 0.004}
    losses = path_losses(pipes, flows, density=RHO, viscosity=MU)
    a, b, manifold, _ = pipes.pipes
    run = (
        pipe_loss(manifold, 0.014, density=RHO, viscosity=MU)
        + pipe_loss(pipes.discharge, 0.014, density=RHO, viscosity=MU)
        + RHO * (0.014 / pipes.discharge.area) ** 2 / 2.0
    )
    for pipe, flow in ((a, 0.01), (b, 0.004)):
        own = pipe_loss(pipe, flow, density=RHO, viscosity=MU)
        entry = 0.5 * RHO * (flow / pipe.area) ** 2 / 2.0
        assert_allclose(losses[pipe.name], own + entry + run, rtol=1e-13)


def test_power_lost_on_the_ways_is_power_lost_in_the_pipes():
    """Sum over points of q times path loss = sum over pipes of their flow times their loss."""
    pipes = tree()
    flows = {"A": 0.01, "B": -0.003, "C": 0.02}
    ways = path_losses(pipes, flows, density=RHO, viscosity=MU)
    in_pipes = pipe_losses(pipes, flows, density=RHO, viscosity=MU)
    through = pipe_flows(pipes, flows)
    spent = sum(through[n] * loss for n, loss in in_pipes.items())
    spent += sum(q * entry_loss(pipes, n, q, density=RHO) for n, q in flows.items())
    assert_allclose(sum(q * ways[n] for n, q in flows.items()), spent, rtol=1e-12)


@given(st.lists(st.floats(-0.05, 0.05), min_size=6, max_size=6))
@settings(max_examples=60, deadline=None)
def test_losses_are_monotone_as_a_whole(q):
    """(L(q1) - L(q2)) . (q1 - q2) >= 0: what makes the operating point unique."""
    one, two = dict(zip("ABC", q[:3], strict=True)), dict(zip("ABC", q[3:], strict=True))
    first, second = (path_losses(tree(), f, density=RHO, viscosity=MU) for f in (one, two))
    assert sum((first[n] - second[n]) * (one[n] - two[n]) for n in "ABC") >= -1e-12


def test_single_point_may_use_the_discharge_run_alone():
    only = PipeTree(
        pipes=(), discharge=Pipe(name=DISCHARGE, length=7.0, bore=0.1), discharge_height=7.0
    )
    assert only.way_out(DISCHARGE) == (only.discharge,)


def test_default_entry_is_the_packages_sharp_edge():
    assert tree().entry_coefficient == pytest.approx(fluids.fittings.entrance_sharp(), abs=1e-12)
    assert tree().exit_coefficient == pytest.approx(fluids.fittings.exit_normal(), abs=1e-12)


def _with_pipes(*pipes):
    return dataclasses.replace(tree(), pipes=pipes)


def _p(name, into=DISCHARGE):
    return Pipe(name=name, length=1.0, bore=0.1, into=into)


@pytest.mark.parametrize(
    ("pipes", "message"),
    [
        ((_p("A"), _p("A")), "'A' is used for two pipes"),
        ((_p(DISCHARGE),), "used for two pipes"),
        ((_p("A", "manifld"), _p("manifold")), "'manifld', which is not there; .*'manifold'"),
        ((_p("A", "B"), _p("B", "C"), _p("C", "B")), "A -> B -> C -> B run in a loop"),
        ((_p("A", "A"),), "A -> A run in a loop"),
    ],
)
def test_what_is_no_tree_is_refused(pipes, message):
    with pytest.raises(InputError, match=message):
        _with_pipes(*pipes)


def test_discharge_run_has_its_own_name_and_no_next_pipe():
    with pytest.raises(InputError, match="must be 'discharge'"):
        dataclasses.replace(tree(), discharge=_p("stack"))
    with pytest.raises(InputError, match="open air"):
        dataclasses.replace(tree(), discharge=_p(DISCHARGE, "A"))


def test_unconnected_point_is_named():
    with pytest.raises(InputError, match="no pipe is named 'D'"):
        path_losses(tree(), {"D": 0.01}, density=RHO, viscosity=MU)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"bore": 0.0}, "bore"),
        ({"length": -1.0}, "length"),
        ({"roughness": 0.006}, "roughness"),
        ({"loss_coefficient": float("inf")}, "loss_coefficient"),
    ],
)
def test_bad_pipes_are_refused(change, field):
    with pytest.raises(InputError) as caught:
        dataclasses.replace(_p("A"), **change)
    assert caught.value.field == field


def test_way_out_is_listed_downstream():
    assert [p.name for p in tree().way_out("B")] == ["B", "manifold", DISCHARGE]
    assert np.isclose(tree().way_out("B")[-1].area, math.pi * (4.026 * M_PER_INCH) ** 2 / 4)


def test_fittings_add_up():
    """1.3 and twice 0.3 velocity heads (engineeringtoolbox.com d_208, seen)."""
    words = ("sharp 90 bend", "tee to branch", "tee to branch")
    flow = 0.02
    bare, fitted = duct(4.0), duct(4.0, fittings=words)
    extra = pipe_loss(fitted, flow, density=RHO, viscosity=MU) - pipe_loss(
        bare, flow, density=RHO, viscosity=MU
    )
    assert_allclose(extra, 1.9 * RHO * (flow / bare.area) ** 2 / 2.0, rtol=1e-12)


def test_unknown_fitting_is_refused():
    with pytest.raises(InputError, match=r"fittings: .*did you mean"):
        duct(4.0, fittings=("sharp 90 bnd",))


# Weisbach's blade in a round pipe; these five were seen in a public table of minor losses.
@pytest.mark.parametrize(
    ("degrees", "loss"), [(5, 0.24), (10, 0.52), (20, 1.54), (40, 10.8), (60, 118.0)]
)
def test_a_damper_loses_what_weisbach_measured(degrees, loss):
    assert_allclose(damper_coefficient(math.radians(degrees)), loss, rtol=1e-9)
    pipe = Pipe(name="A", length=1e-6, bore=0.1, damper=math.radians(degrees))
    speed = 0.02 / pipe.area
    assert_allclose(
        pipe_loss(pipe, 0.02, density=RHO, viscosity=MU), loss * RHO * speed**2 / 2.0, rtol=2e-5
    )


def test_an_open_damper_is_none_and_turning_it_only_adds_loss():
    assert damper_coefficient(0.0) == 0.0
    losses = [damper_coefficient(math.radians(d)) for d in np.linspace(0.0, 70.0, 281)]
    assert np.all(np.diff(losses) > 0.0)
    assert max(np.diff(np.log(losses[40:]))) < 0.12  # no jump at any of the measurements


def test_a_damper_past_the_last_measurement_is_refused():
    assert Pipe(name="A", length=1.0, bore=0.1, damper=MOST_TURNED).damper == MOST_TURNED
    with pytest.raises(InputError, match="capped = true") as caught:
        Pipe(name="A", length=1.0, bore=0.1, damper=math.radians(75.0))
    assert caught.value.field == "damper"


def test_pipes_fall_an_eighth_of_an_inch_per_foot():
    """Common practice, no source: a 10 ft branch falls 1 1/4 in; a riser's rise needs no fall."""
    foot, inch = 0.3048, 0.0254
    tree = PipeTree(
        pipes=(Pipe(name="A", length=10 * foot, bore=0.1),),
        discharge=Pipe(name=DISCHARGE, length=40 * foot, bore=0.1),
        discharge_height=16 * foot,
    )
    fall = fall_needed(tree)
    assert_allclose([fall["A"], fall[DISCHARGE]], [1.25 * inch, 3.0 * inch], rtol=1e-12)
    upright = dataclasses.replace(tree, discharge_height=50 * foot)
    assert fall_needed(upright)[DISCHARGE] == 0.0
