"""Named troubles, each against a house that has it, solved anew."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from cracked_house import CRACK, DESIGN, GAP, WET, case, gapped, measured, pit, solved
from numpy.testing import assert_allclose

from soilflow.errors import InputError
from soilflow.grids import grid_of
from soilflow.layout.layout import Layout
from soilflow.results.verdict import FRAGILE, judge
from soilflow.run import run_layout
from soilflow.site.effects import LeaksAlongLine
from soilflow.site.ground import Ground, SoilLayer
from soilflow.site.leak_pieces import cut_leaks
from soilflow.site.leaks import Crack, FloorWallJoint
from soilflow.site.patches import Patch
from soilflow.studies.hairline import (
    HAIRLINE_APERTURE,
    HAIRLINE_LENGTH,
    Window,
    hairline_windows,
    with_hairline,
    worst_hairline,
)
from soilflow.studies.leak_model import leak_model, lines_with_tight
from soilflow.studies.leak_outcome import deciding_state
from soilflow.studies.troubles import TROUBLES, coverage_if, coverage_if_all

# a tight slab, in which a hairline is news; its crack ends over the pit
TIGHT = functools.partial(
    case, joints=(), cracks=(Crack(name="old", points=((0.5, 1.5), (3.5, 1.5)), aperture=5e-5),)
)
KINDS = {
    "open joints": functools.partial(case, joints=(FloorWallJoint(aperture=1e-4),)),
    "tight walls": TIGHT,
    "gap": gapped,
    "gap, tight walls": functools.partial(gapped, joints=()),
}


@functools.cache
def searched(kind, shortlist=None):
    made = KINDS[kind]()
    model = leak_model(made, made.layouts[0], resolution=None, hairline=HAIRLINE_APERTURE)
    state = deciding_state(model)
    return model, state, worst_hairline(model, state, shortlist=shortlist)


@pytest.mark.parametrize("kind", KINDS)
def test_the_worst_hairline_is_what_a_full_solve_says(kind):
    """Low rank against map, network and fields of the house with the hairline in it."""
    model, state, found = searched(kind, 8)
    made = model.case
    effects = with_hairline(*cut(made), found.window)
    after = measured(solved(made, effects, grid=model.solution.soil.grid))
    lost = state.measures.worst.margin - found.after.worst.margin
    assert lost > 1e-3
    rtol = 1e-5
    assert state.measures.worst.margin - after.worst.margin == pytest.approx(lost, rel=rtol)
    air = found.after.room_air - state.measures.room_air
    assert after.room_air - state.measures.room_air == pytest.approx(air, rel=rtol)
    assert after.coverage_area == pytest.approx(found.after.coverage_area, rel=1e-4)


def cut(made):
    effects, pieces, is_open = lines_with_tight(made.site, HAIRLINE_APERTURE)
    return effects, pieces, is_open.tolist()


@pytest.mark.parametrize("kind", ["open joints", "tight walls"])
def test_the_short_list_holds_the_worst(kind):
    """All places exactly, and only the eight likely ones: the same answer."""
    _, _, every = searched(kind)
    _, _, likely = searched(kind, 8)
    assert every.exact == every.tried > likely.exact == 8
    assert likely.after.worst.margin == pytest.approx(every.after.worst.margin, abs=1e-9)


def test_a_hairline_may_run_anywhere_along_walls_and_cracks():
    model, _, _ = searched("tight walls", 8)
    windows = hairline_windows(model.pieces)
    sides = {"north joint", "east joint", "south joint", "west joint", "old"}
    assert {window.line for window in windows} == sides
    # 4 m walls have places at 0, 0.5 and 1 m; walls and crack of 3 m have one
    assert len(windows) == 2 * 3 + 2 + 1
    assert {window.length for window in windows} == {HAIRLINE_LENGTH}
    for window in windows:
        covered = sum(window.share(piece) * piece.length for piece in model.pieces)
        assert covered == pytest.approx(HAIRLINE_LENGTH)


def test_a_line_shorter_than_a_hairline_is_taken_whole():
    made = case(joints=())
    _, pieces = cut_leaks(made.site.effects())
    [window] = hairline_windows(pieces)
    assert (window.line, window.begins) == ("crack", 0.0)
    assert window.length == pytest.approx(1.0)


def test_a_hairline_in_a_sealed_crack_is_that_crack_with_its_aperture():
    """The house solved anew is the one a user would write."""
    made = case(joints=(), cracks=(replace(CRACK, sealed=True),))
    effects, pieces, is_open = lines_with_tight(made.site, HAIRLINE_APERTURE)
    mine = [piece for piece in pieces if piece.line == "crack"]
    window = Window(line="crack", run=mine[0].run, begins=0.0, length=1.0)
    got = with_hairline(effects, pieces, is_open.tolist(), window)
    written = case(joints=(), cracks=(replace(CRACK, aperture=HAIRLINE_APERTURE),))
    wanted, _ = cut_leaks(written.site.effects())
    assert slots_of(got) == slots_of(wanted) != []


def slots_of(effects):
    return [e for e in effects if isinstance(e, LeaksAlongLine)]


def test_an_open_crack_with_a_hairline_conducts_both():
    """Cubes of the apertures add over the length they share; the slot keeps its own radius."""
    made = case(joints=())
    effects, pieces, is_open = lines_with_tight(made.site, HAIRLINE_APERTURE)
    run = next(piece.run for piece in pieces if piece.line == "crack")
    window = Window(line="crack", run=run, begins=0.25, length=0.5)
    found = slots_of(with_hairline(effects, pieces, is_open.tolist(), window))
    conducts = sum((e.end[0] - e.start[0]) * e.aperture**3 / e.path for e in found)
    wanted = (1.0 * 1e-3**3 + 0.5 * HAIRLINE_APERTURE**3) / 0.1
    assert conducts == pytest.approx(wanted, rel=1e-12)
    assert {e.aperture for e in found} == {1e-3}


def test_dried_is_the_site_without_its_wet_zones():
    made = case(moist_zones=(WET,))
    found = coverage_if(made, "wet zones dried", resolution=None)
    dry = replace(made, site=replace(made.site, moist_zones=()))
    grid = grid_of(made, made.layouts)
    after = measured(run_layout(dry, grid=grid, baseline=False).conditions[DESIGN])
    assert_allclose(numbers(found.after), numbers(after), rtol=1e-9)
    assert found.befalls


def test_a_looser_yard_is_looser_soil_outside_the_walls():
    """Written the other way round: all ground ten times looser but for that under it."""
    made = case()
    found = coverage_if(made, "yard ten times looser", resolution=None)
    old = Patch(
        name="old soil",
        corners=made.site.slab.corners,
        permeability=1e-11,
        bottom=made.site.ground.bottom,
    )
    ground = Ground(layers=(SoilLayer(permeability=1e-10),), bottom=1.5)
    other = replace(made, site=replace(made.site, ground=ground, patches=(old,)))
    grid = grid_of(made, made.layouts)
    after = measured(run_layout(other, grid=grid, baseline=False).conditions[DESIGN])
    assert_allclose(numbers(found.after), numbers(after), rtol=1e-9)
    assert found.after.worst.margin < found.before.worst.margin  # outdoors presses on the floor


def numbers(measures):
    return [measures.worst.margin, measures.coverage_area, measures.room_air]


def test_a_gap_below_feeds_the_hairline():
    """In soil contact a hairline saturates; over a gap it keeps its cube law and draws more."""
    held = Layout(name="held", points=(pit(vacuum=300.0),))
    made = replace(TIGHT(), layouts=(held,))
    found = coverage_if_all(
        made, troubles=("hairline crack", "hairline over a gap"), resolution=None
    )
    alone, over = found.tried
    assert over.place == alone.place != ""
    assert over.after.room_air > 1.5 * alone.after.room_air


def test_a_wider_gap_that_is_there_already_stays():
    """With 1 mm everywhere a strip of 0.5 mm below the hairline changes nothing but the grid."""
    made = case(gaps=(replace(GAP, aperture=1e-3),))
    alone, over = coverage_if_all(
        made, troubles=("hairline crack", "hairline over a gap"), resolution=None
    ).tried
    assert over.after.worst.margin == pytest.approx(alone.after.worst.margin, rel=0.02)


def test_the_verdict_takes_the_margins():
    found = coverage_if_all(case(), troubles=("yard ten times looser",), resolution=None)
    [(name, margin)] = found.margins.items()
    assert margin == found.tried[0].after.worst.margin < 0.0
    assert judge(1.0, 0.01, troubles=found.margins).word == FRAGILE
    assert "LOST" in str(found)
    assert name in TROUBLES


def test_what_cannot_befall_is_said_and_does_not_count():
    found = coverage_if_all(case(), troubles=("wet zones dried",), resolution=None)
    assert found.margins == {}
    assert "nothing here it could befall" in str(found)
    assert found.tried[0].after is found.tried[0].before


def test_an_unknown_trouble_is_refused():
    with pytest.raises(InputError, match="no trouble"):
        coverage_if(case(), "flood")


def test_worse_is_found_whatever_the_house_is_short_of():
    """No hairline makes the floor better where the room is what the soil lacks: it only leaks."""
    for kind in ("open joints", "tight walls"):
        _, state, found = searched(kind, 8)
        assert found.after.worst.margin < state.measures.worst.margin
        assert np.isfinite(found.after.room_air)
