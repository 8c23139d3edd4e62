"""Layouts in many soils: what is drawn, what is set, what is counted, and who works on it."""

import csv
import functools
import io
import math
import sys
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace

import h5py
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from tiny_house import FIRST, RANGES, SECOND, TEXT
from typer.testing import CliRunner

from soilflow import cli
from soilflow.case import Uncertain
from soilflow.errors import ConvergenceError, InputError, TooLargeError
from soilflow.files.case_toml import parse_case
from soilflow.files.unknown_soil_hdf5 import write_soils
from soilflow.files.unknown_soil_run import plan_soils, run_soils, solve_task
from soilflow.output.unknown_soil_printout import print_soils, soils_to_csv
from soilflow.studies.compare import compare_layouts
from soilflow.studies.soil_odds import UnknownSoil, input_effects
from soilflow.studies.unknown_soil import (
    LayoutOutcome,
    draw_soils,
    member_case,
    ranges_of,
    solve_soil_drawn,
)
from soilflow.studies.workforce import on_cluster, on_this_machine

SOIL, JOINT = "site.ground.layers[0].permeability", "site.joints[0].aperture"


def known(path="a", low=1.0, high=3.0, law="uniform"):
    return Uncertain(path=path, low=low, high=high, law=law, source="made up")


@functools.cache
def small(members=4, workers=1):
    with on_this_machine(workers) as workforce:
        return run_soils(plan_soils(RANGES, members=members, seed=5, layouts=[FIRST]), workforce)


def made_up(margins, ranges=None):
    """A study whose answers are given, one list of margins for each layout; None has failed."""
    rows = zip(*margins.values(), strict=True)
    outcomes = tuple(
        tuple(
            LayoutOutcome(layout=name, failure="stuck")
            if margin is None
            else LayoutOutcome(layout=name, margin=margin, coverage_area=1.0, flow=0.01)
            for name, margin in zip(margins, row, strict=True)
        )
        for row in rows
    )
    return UnknownSoil(
        title="Made up",
        ranges=ranges or (known(),),
        layouts=tuple(margins),
        resolution="coarse",
        members=len(outcomes),
        seed=1,
        values=np.linspace(1.0, 3.0, len(outcomes))[:, np.newaxis],
        outcomes=outcomes,
    )


# --- drawing -------------------------------------------------------------------------------


def test_draws_fill_their_ranges_evenly_under_their_law():
    ranges = (known(), known("b", 1e-14, 1e-10, "log-uniform"))
    values = draw_soils(ranges, 256, seed=3)
    # a scrambled Sobol set of 2^m points has exactly one in each of 2^m slices of every axis
    # (Owen 1998: a (0, m, 1)-net in each coordinate, from memory)
    flat = np.sort((values[:, 0] - 1.0) / 2.0)
    assert_array_equal(np.floor(flat * 256), np.arange(256))
    decades = np.sort(np.log10(values[:, 1] / 1e-14) / 4.0)
    assert_array_equal(np.floor(decades * 256), np.arange(256))


def test_a_seed_is_a_draw_and_more_soils_begin_with_the_same():
    ranges = (known(), known("b"))
    few, many = draw_soils(ranges, 5, seed=7), draw_soils(ranges, 40, seed=7)
    assert_array_equal(few, many[:5])
    assert not np.any(few == draw_soils(ranges, 5, seed=8))


def test_mixed_soils_differ_from_the_first_in_one_input():
    values = draw_soils((known(), known("b"), known("c")), 8, seed=1, sensitivity=True)
    first, second, *mixed = values.reshape(5, 8, 3)
    for i, part in enumerate(mixed):
        assert_array_equal(part[:, i], second[:, i])
        others = [j for j in range(3) if j != i]
        assert_array_equal(part[:, others], first[:, others])
    assert not np.any(first == second)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"members": 0}, "between 1 and"),
        ({"members": 6, "sensitivity": True}, "such as 4 or 8"),
        ({"seed": -1}, "from 0"),
        ({"ranges": [known(law="normal")]}, '"uniform", or "log-uniform"'),
        ({"ranges": [known(low=0.0, law="log-uniform")]}, "above 0"),
    ],
)
def test_what_cannot_be_drawn(change, words):
    ask = {"ranges": [known()], "members": 4, "seed": 0, **change}
    with pytest.raises(InputError, match=words):
        draw_soils(ask.pop("ranges"), ask.pop("members"), **ask)


# --- one soil ------------------------------------------------------------------------------


def test_a_member_is_the_case_written_with_those_numbers():
    case = parse_case(RANGES)
    assert [u.path for u in ranges_of(case)] == [SOIL, JOINT]
    member = member_case(case, [2e-12, 4e-4])
    written = RANGES.replace("1e-13 to 1e-11 m2", "2e-12 m2").replace("0.1 to 3 mm", "0.4 mm")
    assert member.uncertain == ()
    for part in ("ground", "slab", "walls", "gaps"):
        assert getattr(member.site, part) == getattr(parse_case(written).site, part)
    [joint], [same] = member.site.joints, parse_case(written).site.joints
    assert joint.aperture == pytest.approx(same.aperture, rel=1e-12, abs=0)
    assert joint.walls == same.walls
    assert (member.layouts, member.conditions) == (case.layouts, case.conditions)


def test_a_soil_solved_is_the_comparison_of_that_case():
    case = parse_case(RANGES)
    found = solve_soil_drawn(case, [2e-12, 4e-4], [FIRST, SECOND])
    there = compare_layouts(member_case(case, [2e-12, 4e-4]))
    for one, member in zip(found, there.members, strict=True):
        assert (one.layout, one.failure) == (member.layout, "")
        assert one.margin == member.judged().worst.margin


def test_a_house_that_cannot_be_is_no_answer_and_too_large_a_grid_is_an_error(monkeypatch):
    case = parse_case(RANGES)
    for one in solve_soil_drawn(case, [2e-12, -1.0], [FIRST, SECOND]):
        assert "aperture" in one.failure
        assert math.isnan(one.margin)

    def too_large(*_, **__):
        raise TooLargeError("no room", needed=2.0, available=1.0)

    monkeypatch.setattr("soilflow.studies.unknown_soil.compare_layouts", too_large)
    with pytest.raises(TooLargeError):
        solve_soil_drawn(case, [2e-12, 4e-4], [FIRST])


def test_a_case_without_ranges_says_how_to_give_one():
    with pytest.raises(InputError, match=r"2e-12 to 2e-11 m2.*packed silt.*\[\[uncertain\]\]"):
        plan_soils(TEXT)


def test_a_range_of_a_variant_is_none_of_the_case():
    text = TEXT.replace('"1e-8 m2"', '"1e-9 to 1e-8 m2"')
    assert parse_case(text).uncertain != ()
    with pytest.raises(InputError, match="known as a range"):
        plan_soils(text)


# --- counting ------------------------------------------------------------------------------


def test_odds_worst_soil_and_worst_tenth():
    steady = [0.5] * 18 + [-1.0, -2.0]
    wild = [3.0] * 15 + [-9.0, None, None, -0.5, 3.0]
    study = made_up({"steady": steady, "wild": wild})
    one, other = study.odds
    # two soils have no answer for the other layout: both are counted on the same eighteen
    assert (one.passed, one.solved, one.weak) == (16, 18, 0)
    assert_allclose(one.standard_error, math.sqrt(16.0 / 18.0 * 2.0 / 18.0 / 18.0))
    assert (one.worst_member, one.margin) == (19, -2.0)
    assert one.worst_tenth == -1.5  # two of eighteen, rounded up
    assert (other.passed, other.solved, other.worst_member) == (16, 18, 15)
    assert other.worst_tenth == (-9.0 - 0.5) / 2.0  # two of eighteen, rounded up
    assert study.best_in_worst_tenth == "steady"
    assert study.failed == 2


def test_it_is_said_in_words_of_the_trade():
    case = parse_case(RANGES)
    ranges = (known(SOIL, 1e-13, 1e-11, "log-uniform"),)
    margins = {"a": [1.0] * 41 + [-1.0] * 23, "b": [1.0] * 60 + [None] * 4, "c": [None] * 64}
    text = print_soils(made_up(margins, ranges=ranges), case)
    assert max(map(len, text.splitlines())) <= 60
    text = " ".join(text.split())
    # on the soils that "b" has an answer in too: sqrt(41/60 19/60 / 60) = 0.060
    assert '"a" passes in 41 of 60 soils: 68 % ± 6 %; no answer in 4 more.' in text
    # rule of three: 3 / 60
    assert (
        '"b" passes in 60 of 60 soils; up to 5.0 % of soils may still fail; no answer in 4 more.'
        in text
    )
    assert '"c" has no answer in any of 64 soils.' in text
    assert "ground layers 1 permeability: 1e-13 m2 to 1e-11 m2" in text


def test_too_little_air_is_said():
    weak = LayoutOutcome(layout="a", margin=2.0, coverage_area=1.0, flow=1e-6)
    ranges = (known(SOIL, 1e-13, 1e-11, "log-uniform"),)
    study = replace(made_up({"a": [2.0] * 8}, ranges=ranges), outcomes=((weak,),) * 8)
    assert study.odds[0].weak == 8
    text = " ".join(print_soils(study, parse_case(RANGES)).split())
    assert "in 8 of them it draws less than a field gauge shows" in text


def test_sensitivities_are_those_of_a_function_known_exactly():
    """Ishigami and Homma 1990: sin x + 7 sin^2 y + 0.1 z^4 sin x, each from -pi to pi.

    Variance by integration: V = a^2/8 + b pi^4/5 + b^2 pi^8/18 + 1/2, of which x has
    (1 + b pi^4/5)^2 / 2 alone, y has a^2/8, and x with z has b^2 pi^8 (1/18 - 1/50).
    """
    a, b = 7.0, 0.1
    ranges = [known(name, -math.pi, math.pi) for name in "xyz"]
    x, y, z = draw_soils(ranges, 1024, seed=2, sensitivity=True).T
    effects = input_effects(
        np.sin(x) + a * np.sin(y) ** 2 + b * z**4 * np.sin(x), ranges, 1024, seed=2
    )
    alone = np.array([(1 + b * math.pi**4 / 5) ** 2 / 2, a**2 / 8, 0.0])
    both = b**2 * math.pi**8 * (1 / 18 - 1 / 50)
    variance = alone.sum() + both
    assert_allclose([e.first_order for e in effects], alone / variance, atol=0.03)
    total = (alone + np.array([both, 0.0, both])) / variance
    assert_allclose([e.total_order for e in effects], total, atol=0.03)
    # errors shrink as one over the root of the draws: 1024 give a few per cent
    for effect in effects:
        assert 0.0 < effect.total_order_error < 0.1
        assert effect.first_order_error < 0.1


def test_no_sensitivities_with_a_soil_missing():
    ranges = [known()]
    margins = np.linspace(0.0, 1.0, 12)
    assert len(input_effects(margins, ranges, 4, seed=0)) == 1
    margins[3] = math.nan
    assert input_effects(margins, ranges, 4, seed=0) == ()


# --- who works -----------------------------------------------------------------------------


def test_processes_find_the_same_as_this_one():
    one, two = small(), small(workers=2)
    assert_array_equal(one.values, two.values)
    assert one.outcomes == two.outcomes
    assert {o.failure for each in one.outcomes for o in each} == {""}


def test_an_error_of_a_worker_arrives_and_a_lost_worker_is_said(monkeypatch):
    monkeypatch.setattr("soilflow.studies.workforce._PATIENCE", 0.3)
    with pytest.raises(InputError, match="at least one"), on_this_machine(0):
        pass
    with pytest.raises(MemoryError, match="worker was stopped"), on_this_machine(2):
        raise BrokenProcessPool
    with pytest.raises(InputError, match="no Dask scheduler"), on_cluster("tcp://127.0.0.1:1"):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"soilflow\[cluster\]"), on_cluster("tcp://127.0.0.1:1"):
        pass
    [task] = plan_soils(RANGES, members=1).tasks
    with pytest.raises(InputError, match=r"a worker has soilflow .*, this is 9\.9"):
        solve_task({**task, "versions": {"soilflow": "9.9"}})


def test_the_table_and_the_file_hold_every_soil_to_the_last_digit(tmp_path):
    study, case = small(), parse_case(RANGES)
    head, *rows = csv.reader(io.StringIO(soils_to_csv(study, case)))
    assert head[2:5] == [f"{SOIL} [m2]", f"{JOINT} [m]", "layout [-]"]
    assert len(rows) == 4
    assert_array_equal([[float(c) for c in row[2:4]] for row in rows], study.values)
    assert [float(row[5]) for row in rows] == [each[0].margin for each in study.outcomes]
    write_soils(study, case, RANGES, tmp_path / "soils.h5")
    with h5py.File(tmp_path / "soils.h5") as file:
        assert_array_equal(file["inputs/values"], study.values)
        margins = [[o.margin for o in each] for each in study.outcomes]
        assert_array_equal(file["results/margin"], margins)
        assert file["results/margin"].attrs["units"] == "Pa"
        assert list(file["inputs/paths"].asstr()) == [SOIL, JOINT]
        assert file["case"].asstr()[()] == RANGES


# --- records -------------------------------------------------------------------------------


def count_solved(monkeypatch):
    solved = []

    def solve(task):
        solved.append(task["values"])
        return solve_task(task)

    monkeypatch.setattr("soilflow.files.unknown_soil_run.solve_task", solve)
    return solved


def ask(folder, workers=1, **options):
    plan = plan_soils(RANGES, members=4, seed=5, layouts=[FIRST], folder=folder, **options)
    with on_this_machine(workers) as workforce:
        return plan, run_soils(plan, workforce)


def test_what_is_done_is_not_done_again_and_what_is_damaged_is(tmp_path, monkeypatch):
    alone = small()
    solved = count_solved(monkeypatch)
    _, first = ask(tmp_path)
    assert len(solved) == 4
    records = sorted(tmp_path.iterdir())
    assert len(records) == 4
    plan, second = ask(tmp_path)
    assert (plan.left, len(solved), plan.notes) == (0, 4, ())
    assert second.outcomes == first.outcomes == alone.outcomes
    records[0].write_text(records[0].read_text()[:99], encoding="utf-8")  # cut short
    text = records[1].read_text(encoding="utf-8")
    records[1].write_text(text.replace('"flow": 0.', '"flow": 1.'), encoding="utf-8")
    assert records[1].read_text(encoding="utf-8") != text  # a number that was not found
    records[2].write_bytes(b"\xff\x00")
    records[3].unlink()
    plan, third = ask(tmp_path)
    assert (plan.left, len(plan.notes), len(solved)) == (4, 3, 8)
    assert all("damaged" in note for note in plan.notes)
    assert third.outcomes == first.outcomes


def test_another_question_has_other_records(tmp_path):
    ask(tmp_path)
    again = functools.partial(plan_soils, members=4, seed=5, layouts=[FIRST], folder=tmp_path)
    assert again(RANGES).left == 0
    assert again(RANGES + "# another text\n").left == 4
    assert again(RANGES, seed=6).left == 4
    assert again(RANGES, members=6).left == 2
    assert again(RANGES, layouts=[FIRST, SECOND]).left == 4


def test_a_soil_without_answer_is_kept_counted_and_ends_with_its_code(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(RANGES, encoding="utf-8")

    def stuck(*_, **__):
        raise ConvergenceError("stuck", reached=1.0, wanted=1e-9, iterations=9)

    monkeypatch.setattr("soilflow.studies.compare.run_layout", stuck)
    line = ["ensemble", "house.toml", "--members", "2", "--workers", "1", "--layout", FIRST]
    done = CliRunner().invoke(cli.app, line)
    assert done.exit_code == 4, done.output
    assert "has no answer in any of 2 soils" in done.stdout
    assert "stuck" in (tmp_path / "house_soils" / "soils.csv").read_text(encoding="utf-8")
    again = CliRunner().invoke(cli.app, line)
    assert again.exit_code == 4
    assert "0 of 2 soils left" in again.stderr


def test_values_that_go_together_are_set_together():
    """A layer may move below where the next one was, when the next one moves too."""
    case = parse_case(TEXT)
    top = case.site.ground.layers[0]
    layers = (top, replace(top, top=0.5), replace(top, top=1.0))
    ground = replace(case.site.ground, layers=layers)
    paths = [f"site.ground.layers[{i}].top" for i in (1, 2)]
    ends = {"low": 0.1, "high": 1.7, "law": "uniform", "source": "test"}
    ranges = tuple(Uncertain(path=path, **ends) for path in paths)
    case = replace(case, site=replace(case.site, ground=ground), uncertain=ranges)
    made = member_case(case, [1.2, 1.6]).site.ground.layers
    assert [layer.top for layer in made] == [0.0, 1.2, 1.6]
