"""What sealing gains, against houses solved anew with the stretch left out or closed."""

import functools
import math
from dataclasses import replace

import numpy as np
import pytest
from cracked_house import CRACK, DESIGN, OPENING, case, gapped, measured, pit, site, solved
from numpy.testing import assert_allclose

from soilflow.errors import InputError
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.grids import grid_of
from soilflow.layout.layout import Layout
from soilflow.results.sealing import SOIL_LIMITS, Gain, gain
from soilflow.run import run_layout
from soilflow.site.effects import LeaksAlongLine
from soilflow.site.leak_pieces import cut_leaks
from soilflow.site.leaks import Crack, FloorWallJoint
from soilflow.studies.sealing import sealing_list

OVER = Crack(name="over the pit", points=((0.2, 1.5), (1.2, 1.5)), aperture=5e-4)


@functools.cache
def ranked(kind="plain"):
    made = {
        "plain": case,
        "gap": gapped,
        "over": functools.partial(case, cracks=(CRACK, OVER)),
        "open": functools.partial(case, openings=(OPENING,)),
    }[kind]()
    return made, sealing_list(made, resolution=None, shortlist=6)


def without(made, name, begins, *, thicker=None):
    """Effects of a house without one segment, or with the slab above it so much thicker."""
    effects, pieces = cut_leaks(made.site.effects())
    order = iter(pieces)
    found = []
    for effect in effects:
        piece = next(order) if isinstance(effect, LeaksAlongLine) else None
        if piece and piece.line == name and begins - 1e-6 < piece.begins < begins + 0.99:
            if thicker is None:
                continue
            effect = replace(effect, path=effect.path * thicker)
        found.append(effect)
    return found


def assert_same(found: Gain, wanted: Gain, rtol=1e-5):
    got = [found.margin_gained, found.coverage_gained, found.air_saved]
    want = [wanted.margin_gained, wanted.coverage_gained, wanted.air_saved]
    assert abs(want[0]) > 1e-4
    assert want[2] > 0.0
    assert_allclose(got, want, rtol=rtol, atol=1e-9)


def segment(values, name, begins=0.0):
    [found] = [v for v in values if v.name == name and abs(v.begins - begins) < 1e-6]
    assert found.exact or values[0].half is None  # else the short list is too short for the test
    return found


def crack_with(points):
    return replace(CRACK, points=points)


def test_a_crack_sealed_in_the_site_gains_what_the_list_says():
    """No gap: a crack of one metre is one segment, and left out of the site it is gone."""
    made, found = ranked()
    grid = grid_of(made, made.layouts)
    before = measured(run_layout(made, grid=grid, baseline=False).conditions[DESIGN])
    without = replace(made, site=replace(made.site, cracks=(replace(CRACK, sealed=True),)))
    after = measured(run_layout(without, grid=grid, baseline=False).conditions[DESIGN])
    value = segment(found.values, "crack")
    assert value.exact
    assert value.length == pytest.approx(1.0)
    assert_same(value.whole, gain(before, after))


def test_half_of_it_is_half_the_length():
    """The better of the two halves, each as a site with the other half of the crack left."""
    made, found = ranked()
    grid = grid_of(made, made.layouts)
    before = measured(run_layout(made, grid=grid, baseline=False).conditions[DESIGN])
    gains = []
    for points in (((2.5, 1.5), (3.0, 1.5)), ((2.0, 1.5), (2.5, 1.5))):
        half = replace(made, site=replace(made.site, cracks=(crack_with(points),)))
        after = solved(half, half.site.effects(), grid=grid)
        gains.append(gain(before, measured(after)))
    best = max(gains, key=lambda one: one.margin_gained)
    assert_same(segment(found.values, "crack").half, best)
    # half the aperture would take an eighth of the slot's own conductance away from it
    assert segment(found.values, "crack").half.margin_gained < best.margin_gained * 1.001


@pytest.mark.parametrize("kind", ["plain", "gap", "over"])
def test_every_kind_of_segment_is_exact(kind):
    """A stretch of joint left out and solved anew: in soil, over a gap, over the pit itself.

    Sealed in patches it is as under a slab twice as thick: half the slot, the same soil.
    """
    made, found = ranked(kind)
    grid = grid_of(made, made.layouts)
    before = measured(solved(made, made.site.effects(), grid=grid))
    assert found.before.worst.margin == pytest.approx(before.worst.margin, rel=1e-6)
    assert found.before.room_air == pytest.approx(before.room_air, rel=1e-6)
    name, begins = ("over the pit", 0.0) if kind == "over" else ("south joint", 2.0)
    value = segment(found.values, name, begins)
    after = measured(solved(made, without(made, name, begins), grid=grid))
    assert_same(value.whole, gain(before, after))
    after = measured(solved(made, without(made, name, begins, thicker=2.0), grid=grid))
    assert_same(value.patchy, gain(before, after), rtol=1e-4)


def test_pits_held_at_their_vacuum_and_pits_on_the_fan():
    """With the pit at a stated vacuum both answers are one; on a fan it gains from less flow."""
    _, found = ranked("over")
    value = segment(found.values, "over the pit")
    assert value.whole.margin_gained > 1.1 * value.whole_held.margin_gained > 0.0
    held = Layout(name="held", points=(pit(vacuum=300.0), pit("B", 3.4, 2.4, capped=True)))
    made = case(held, cracks=(CRACK, OVER))
    for value in sealing_list(made, resolution=None, shortlist=2).values[:2]:
        assert_same(value.whole, value.whole_held, rtol=1e-9)


def test_an_opening_sealed_in_the_site():
    made, found = ranked("open")
    grid = grid_of(made, made.layouts)
    before = measured(run_layout(made, grid=grid, baseline=False).conditions[DESIGN])
    shut = replace(made, site=replace(made.site, openings=(replace(OPENING, sealed=True),)))
    after = measured(run_layout(shut, grid=grid, baseline=False).conditions[DESIGN])
    value = segment(found.values, "drain")
    assert_same(value.whole, gain(before, after))
    assert value.half is None
    assert value.length == 0.0


@pytest.mark.parametrize("kind", ["plain", "gap"])
def test_first_order_is_the_limit_of_a_small_change(kind):
    """Slots shorter by a ten-thousandth gain that part of the first order, to its square."""
    made, exact = ranked(kind)
    linear = sealing_list(made, resolution=None, shortlist=0)
    assert not any(value.exact for value in linear.values)
    grid = grid_of(made, made.layouts)
    before = measured(solved(made, made.site.effects(), grid=grid))
    tiny = 1e-4
    for name, begins in (("crack", 0.0), ("west joint", 1.0)):
        # the whole way, slot and soil, is closed by the same share: leave out part of its length
        kept = without(made, name, begins)
        effects = [
            e if e in kept or not isinstance(e, LeaksAlongLine) else replace(e, stretch=1.0 - tiny)
            for e in cut_leaks(made.site.effects())[0]
        ]
        after = gain(before, measured(solved(made, effects, grid=grid)))
        value = segment(linear.values, name, begins)
        assert value.whole.margin_gained * tiny == pytest.approx(after.margin_gained, rel=2e-2)
        assert value.whole.air_saved * tiny == pytest.approx(after.air_saved, rel=2e-2)
        whole = segment(exact.values, name, begins).whole
        ratio = whole.margin_gained / value.whole.margin_gained
        assert 1.0 < ratio < 6.0  # and the whole of it gains more


def test_the_shortlist_is_exact_and_the_rest_says_it_is_not():
    made, more_exact = ranked()
    found = sealing_list(made, resolution=None, shortlist=3)
    assert [v.exact for v in found.values] == [True] * 3 + [False] * (len(found.values) - 3)
    assert found.solves < more_exact.solves
    for value in found.values[:3]:
        assert_same(value.whole, segment(more_exact.values, value.name, value.begins).whole, 1e-6)
    assert "first order only" in str(found.values[-1])
    assert "rough grid" in str(found)
    assert f"{found.values[0].length:.2f} m along it" in str(found.values[0])


def test_patches_buy_nothing_where_the_soil_is_the_resistance():
    """Slot and soil in series, r apart: half the slot stops r / (1 + 2 r) of the flow.

    In series R = r + 1 before and 2 r + 1 after, in units of the soil's resistance. The formula
    takes the pressure that drives it as given, so the walls' joints, which share it, are tight.
    """
    fixed = Layout(name="held", points=(pit(vacuum=300.0),))
    shares = []
    for aperture in (2e-5, 1e-4, 1e-3):
        crack = replace(CRACK, aperture=aperture)
        made = case(fixed, joints=(), cracks=(crack,))
        [value] = sealing_list(made, resolution=None, shortlist=None).values
        r = value.joint_to_soil
        assert value.patchy_share == pytest.approx(r / (1.0 + 2.0 * r), rel=0.02)
        assert value.soil_limits == (r < SOIL_LIMITS)
        assert ("in patches" in str(value)) == value.soil_limits
        shares.append(value.patchy_share)
    assert shares[0] > 0.45  # the slot is nearly all of it: half of it is half of the flow
    assert shares[-1] < 0.02  # a wide crack half sealed is a crack unsealed


def test_the_ratio_follows_the_cube_law():
    """Ten times the aperture, a thousandth of the slot's resistance; the soil's hardly moves."""
    fixed = Layout(name="held", points=(pit(vacuum=300.0),))
    ratios = []
    for aperture in (2e-5, 2e-4):
        made = case(fixed, joints=(), cracks=(replace(CRACK, aperture=aperture),))
        [value] = sealing_list(made, resolution=None, shortlist=None).values
        ratios.append(value.joint_to_soil)
    # the soil's part falls with the slot's radius, by a logarithm: less than a third here
    assert 1.0 < ratios[0] / ratios[1] / 1e3 * 1.5 < 2.0


def test_a_house_with_nothing_to_seal_has_an_empty_list():
    found = sealing_list(case(joints=(), cracks=()), resolution=None)
    assert found.values == ()
    assert "0 of 0 exact" in str(found)


def test_an_unknown_condition_is_refused():
    with pytest.raises(InputError, match="no condition"):
        sealing_list(case(), condition="spring", resolution=None)


def test_pieces_are_the_line():
    """Cut pieces add up to each line, halves are half a segment, and the network is the same."""
    made = case(joints=(FloorWallJoint(aperture=4e-4),))
    effects = made.site.effects()
    cut, pieces = cut_leaks(effects)
    lines = [e for e in effects if isinstance(e, LeaksAlongLine)]
    total = sum(math.dist(e.start, e.end) for e in lines)
    assert sum(piece.length for piece in pieces) == pytest.approx(total)
    assert {round(piece.length, 9) for piece in pieces} == {0.5}
    grid = grid_of(made, made.layouts)
    bodies = made.layouts[0].held_bodies(made.site.slab.polygon)
    one, other = (
        respond(build_soil_network(build_soil_map(grid, e, bodies), made.air.viscosity))
        for e in (effects, cut)
    )
    largest = np.abs(one.port_matrix).max()
    assert_allclose(other.port_matrix, one.port_matrix, rtol=0, atol=1e-9 * largest)


def test_a_slanted_line_is_cut_by_its_true_length():
    crack = Crack(name="slant", points=((1.0, 0.5), (3.0, 2.0)), aperture=1e-3)
    effects, pieces = cut_leaks(site(cracks=(crack,)).effects())
    mine = [piece for piece in pieces if piece.line == "slant"]
    assert sum(piece.length for piece in mine) == pytest.approx(2.5)  # a 3-4-5 triangle
    segments = {piece.segment for piece in mine}
    assert len(segments) == round(2.5)
    for number in segments:
        for half in (0, 1):
            part = [p.length for p in mine if (p.segment, p.half) == (number, half)]
            assert sum(part) == pytest.approx(2.5 / (2 * len(segments)))
    slots = [e for e in effects if isinstance(e, LeaksAlongLine)]
    assert len(slots) == len(pieces)


def test_the_gain_of_a_change_for_the_worse_is_negative():
    _, found = ranked()
    worse = replace(found.before, room_air=found.before.room_air + 1e-3)
    assert gain(found.before, worse).air_saved == pytest.approx(-1e-3)
