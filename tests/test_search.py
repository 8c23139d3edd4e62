"""Search: many layouts at once are what single ones are, and the best is the best."""

import functools
import itertools
import json
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tiny_house import TEXT, house
from typer.testing import CliRunner

from soilflow.cli import app
from soilflow.errors import InputError
from soilflow.flow.grid import Resolution
from soilflow.layout.fan import fan_of_class
from soilflow.layout.pits import HemisphericalPit
from soilflow.operating_point import solve_operating_point
from soilflow.output.search_figure import plot_good_places, plot_staircase
from soilflow.output.search_printout import print_search, search_to_dict
from soilflow.run import run_layout
from soilflow.studies.candidates import candidates_of
from soilflow.studies.influence import influence_of
from soilflow.studies.layout_ranking import _SCREEN, evaluate_layouts, rank_layouts
from soilflow.studies.patch_tables import patch_tables
from soilflow.studies.search import FoundLayout, fans_on_offer, search_layouts
from soilflow.studies.searched_pipes import drive_tables, searched_layout, usual_riser

ROUGH = Resolution(
    name="rough", cells_per_radius=2.0, line_size=0.15, growth=2.0, largest_inside=0.5
)
PIT = HemisphericalPit(volume=0.02)
RISER = (0.0, 1.5)


@functools.cache
def case():
    return house().with_resolution(ROUGH)


@functools.cache
def influence():
    places = candidates_of(case(), pit=PIT, spacing=1.2, wall_spacing=None)
    return influence_of(case(), places)


def winter():
    return next(c for c in case().conditions if c.name == "design_winter")


@functools.cache
def tables(fan="high-suction"):
    return drive_tables(
        case(),
        winter(),
        influence().candidates.kept,
        fan=fan_of_class(fan),
        pipes=case().layouts[0].pipes,
        riser=RISER,
    )


def references():
    return influence().reference_u(case().reference_pressures(winter()))


def sets(pits):
    n = len(influence().candidates)
    return np.array(list(itertools.combinations(range(n), pits)))


@pytest.mark.parametrize("fan", ["general", "high-suction"])
@pytest.mark.parametrize("pits", [1, 3])
def test_a_batch_is_what_the_operating_point_of_each_layout_is(pits, fan):
    """Against `solve_operating_point`, which walks the pipe tree and the fan's own curve."""
    from soilflow.operate import _drive

    at = sets(pits)[::7][:4]
    margins, flows = evaluate_layouts(
        influence(), tables(fan), references(), at, patch_tables(influence())
    )
    known = case().reference_pressures(winter())
    for row, margin, flow in zip(at, margins, flows, strict=True):
        kept = [influence().candidates.kept[i] for i in row]
        layout = searched_layout(
            "x", kept, fan=fan_of_class(fan), pipes=case().layouts[0].pipes, riser=RISER
        )
        names, matrix = influence().port_matrix(row)
        points = tuple(p.name for p in layout.points)
        drive = _drive(case(), winter(), "first", points, layout.fan, layout.pipes)
        on = solve_operating_point(
            matrix,
            port_names=names,
            given_pressures={n: known[n] for n in names if n in known},
            capped=set(),
            drives=[drive],
            pressure_atm=case().air.pressure_atm,
        )
        assert_allclose(flow, on.flows[-pits:], rtol=1e-3)
        answer = influence().solve_layout(row.tolist(), known, flows=on.flows[-pits:])
        assert margin == pytest.approx(influence().worst_margins(answer)["house"].margin, abs=0.02)


def test_all_layouts_are_looked_at_and_the_best_is_the_best():
    found = rank_layouts(influence(), tables(), references(), 2, keep=5)
    at = sets(2)
    free = ~influence().candidates.clash[at[:, 0], at[:, 1]]
    margins, _ = evaluate_layouts(
        influence(), tables(), references(), at[free], patch_tables(influence())
    )
    assert found.exhaustive
    assert found.seen == free.sum()
    assert_allclose(found.margins, np.sort(margins)[::-1][:5], rtol=1e-5)
    for i in range(len(influence().candidates)):
        with_it = margins[(at[free] == i).any(axis=1)]
        assert found.best_with[i] >= with_it.max() - 1e-6  # screened on fewer patches


def test_shares_of_the_best_hundredth_are_counted_over_all_layouts():
    """Against a count over every layout, ranked by the same patches the search screens on."""
    found = rank_layouts(influence(), tables(), references(), 4)
    at = sets(4)
    clash = influence().candidates.clash
    at = at[[not clash[np.ix_(row, row)].any() for row in at]]
    screen = patch_tables(influence(), spacing=_SCREEN)
    margins, _ = evaluate_layouts(influence(), tables(), references(), at, screen)
    best = at[np.argsort(-margins, kind="stable")][: math.ceil(len(at) / 100)]
    wanted = [(best == i).any(axis=1).mean() for i in range(len(influence().candidates))]
    assert len(at) > 100  # else the best hundredth is the best one
    assert_allclose(found.share_of_best, wanted, atol=1e-12)
    assert found.share_of_best.sum() == pytest.approx(4.0)


def a_found(margin, confirmed=None):
    layout = case().layouts[0]
    return FoundLayout(layout=layout, margin=margin, covered=0.9, drawn=0.01, confirmed=confirmed)


def test_a_step_is_as_good_as_the_layout_it_shows():
    """A layout known from sums alone does not make a step pass whose best, solved, does not."""
    step = found().steps[0]
    doubtful = replace(step, top=(a_found(0.2, confirmed=-0.1), a_found(0.15)))
    assert doubtful.margin == -0.1
    assert not doubtful.passes
    assert replace(step, top=(a_found(-0.1, confirmed=0.2), a_found(-0.15))).passes


def test_regrets_compare_sums_with_sums_and_solves_with_solves():
    """0.50 and 0.45 from sums differ by 0.05, wherever the solve of the first comes out."""
    step = replace(found().steps[0], top=(a_found(0.50, confirmed=0.9), a_found(0.45)))
    text = print_search(replace(found(), steps=(step,), own_margins={case().layouts[1].name: None}))
    flat = " ".join(text.split())
    assert "0.45 Pa, 0.05 Pa less" in flat
    assert "0.90 Pa* beyond the pass line" in flat
    assert "off its fan" in flat


@pytest.mark.parametrize(("cubic_feet", "said"), [(0.5, True), (2.0, False)])
def test_a_layout_that_draws_what_no_gauge_shows_is_not_dependable(cubic_feet, said):
    """The verdict's rule of 1 cfm; 1 cfm is 0.3048^3 / 60 m3/s."""
    one = replace(a_found(5.0), drawn=cubic_feet * 0.3048**3 / 60.0)
    step = replace(found().steps[0], top=(one,))
    searched = replace(found(), steps=(step,))
    assert ("NOT DEPENDABLE" in print_search(searched)) is said
    assert search_to_dict(searched)["steps"][0]["layouts"][0]["draws_too_little"] is said


def test_a_margin_below_the_line_is_said_to_be_short_of_it():
    step = replace(found().steps[0], top=(a_found(-0.52, confirmed=-0.56),))
    flat = " ".join(print_search(replace(found(), steps=(step,))).split())
    assert "0.56 Pa* short of the pass line" in flat
    assert "NO LAYOUT" in flat


def test_an_exchange_search_finds_what_looking_at_all_does():
    every = rank_layouts(influence(), tables(), references(), 3, keep=1)
    some = rank_layouts(
        influence(), tables(), references(), 3, keep=1, most=0, rng=np.random.default_rng(1)
    )
    assert not some.exhaustive
    assert "best found" in repr(some)
    assert some.margins[0] == pytest.approx(every.margins[0], rel=1e-6)
    assert some.seen < every.seen or every.seen < 400


def test_more_candidates_than_pits_or_none_at_all():
    n = len(influence().candidates)
    assert len(rank_layouts(influence(), tables(), references(), n + 1).indices) == 0
    empty = influence().candidates.chosen([])
    with pytest.raises(InputError, match="needs a place"):
        search_layouts(case(), empty, fans=fans_on_offer(case()))


def test_fans_on_offer_are_the_one_there_is_and_the_next_class():
    assert [fan.name for fan in fans_on_offer(case())] == ["high-suction", "very-high-suction"]
    assert [fan.name for fan in fans_on_offer(case(), ["general"])] == ["general"]
    with pytest.raises(InputError):
        fans_on_offer(case(), ["huge"])
    bare = replace(case(), layouts=(case().layouts[1],))
    with pytest.raises(InputError, match="has no fan"):
        fans_on_offer(bare)


def test_branches_run_along_the_axes_with_two_elbows():
    candidate = influence().candidates.kept[0]
    layout = searched_layout(
        "x", [candidate], fan=fan_of_class("general"), pipes=case().layouts[0].pipes, riser=RISER
    )
    [branch] = layout.pipes.pipes
    wanted = abs(candidate.x - RISER[0]) + abs(candidate.y - RISER[1])
    assert branch.length == pytest.approx(wanted)
    assert len(branch.fittings) == 2
    assert layout.pipes.discharge == case().layouts[0].pipes.discharge
    x, y = usual_riser(case())  # 12 ft by 10 ft: the middle of a long wall
    assert x == pytest.approx(6 * 0.3048)
    assert y in (0.0, pytest.approx(10 * 0.3048))


@functools.cache
def found():
    return search_layouts(
        case(), influence().candidates, fans=fans_on_offer(case()), most_pits=2,
        influence=influence(), confirm=2,
    )  # fmt: skip


def test_what_was_found_is_confirmed_by_solves_in_full():
    for step in found().steps:
        first = step.top[0]
        day = replace(case(), conditions=(winter(),), test_holes=())
        full = run_layout(day, first.layout, baseline=False).conditions["design_winter"]
        assert first.confirmed == full.worst.margin
        assert first.margin == pytest.approx(first.confirmed, rel=0.15, abs=0.3)
        assert step.passes == (step.margin >= 0.0)
    smallest = found().smallest(found().fans[0])
    assert smallest is not None
    assert all(not s.passes for s in found().on(found().fans[0]) if s.pits < smallest.pits)


def test_the_answer_reads_in_a_narrow_window_and_as_json():
    text = print_search(found(), verbose=True)
    assert max(map(len, text.splitlines())) <= 60
    flat = " ".join(text.split())
    assert "hold" in flat
    assert "from the west wall" in flat
    assert "Suction is no radon reading" in flat
    told = json.loads(json.dumps(search_to_dict(found()), allow_nan=False))
    assert told["smallest"]["high-suction"] == found().smallest(found().fans[0]).pits
    assert len(told["steps"]) == len(found().steps)
    assert len(told["places"]) == len(influence().candidates)


def test_pictures_show_every_place_and_the_pass_line():
    plan = plot_good_places(found())
    offsets = plan.collections[-1].get_offsets() if plan.collections else []
    assert len(offsets) == np.isfinite(found().steps[0].ranked.best_with).sum()
    assert "[ft]" in plan.get_xlabel()
    stairs = plot_staircase(found())
    assert any(math.isclose(line.get_linewidth(), 3.0) for line in stairs.lines)


def test_the_command_writes_a_case_that_runs(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    grid = 'resolution = {name = "rough", cells_per_radius = 1.5, line_size = 0.2, growth = 3.0}'
    text = TEXT.replace('resolution = "coarse"', grid, 1)
    (tmp_path / "house.toml").write_text(text, encoding="utf-8")
    line = ["search", "house.toml", "--pits", "1", "--spacing", "6 ft", "--fan", "high-suction"]
    done = CliRunner().invoke(app, line)
    assert done.exit_code == 0, done.output
    assert (tmp_path / "house_search.png").stat().st_size > 5000
    again = CliRunner().invoke(app, ["check", "house_search.toml", "--quiet"])
    assert again.exit_code == 0, again.output
    for wrong, words in (("--riser", "two lengths"), ("--pit", "--pit:"), ("--fan", "--fan:")):
        bad = CliRunner().invoke(app, ["search", "house.toml", wrong, "nonsense"])
        assert bad.exit_code == 2
        assert words in bad.output
