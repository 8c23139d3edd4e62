"""``--error-estimate``: bars in print, in the file, in JSON and CSV, and in what compare says."""

import csv
import dataclasses
import functools
import io
import json
import math

import numpy as np
import pytest
from tiny_house import FIRST, SECOND, TEXT, house, solved
from typer.testing import CliRunner

from soilflow import cli
from soilflow.files.job import read_job
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.flow.grid import Resolution
from soilflow.grids import estimate
from soilflow.output.compare_printout import comparison_to_csv, print_comparison
from soilflow.output.error_bars import plus_minus, too_close
from soilflow.output.printout import print_result
from soilflow.output.report import result_to_dict
from soilflow.results.grid_error import Bracketed
from soilflow.results.headlines import HEADLINES, headlines
from soilflow.run import run_layout
from soilflow.studies.error_estimate import (
    compare_with_bars,
    estimate_comparison_with_bars,
    estimate_with_bars,
    resolutions_for_bars,
    run_with_bars,
)

WINTER = "design_winter"
ROUGH = Resolution(name="rough", cells_per_radius=3.0, line_size=0.1, growth=1.8)


def flat(text):
    return " ".join(text.split())


def rough(variant=""):
    """The small house on few cells."""
    return house(variant).with_resolution(ROUGH)


@functools.cache
def barred():
    return run_with_bars(rough(), FIRST)


def held(name, *, vacuum=None, east=0.0):
    """The layout without a fan under another name, its pits moved. [Pa], [m]"""
    layout = house().layout(SECOND)
    points = tuple(
        dataclasses.replace(p, x=p.x + east, vacuum=p.vacuum and (vacuum or p.vacuum))
        for p in layout.points
    )
    return dataclasses.replace(layout, name=name, points=points)


@functools.cache
def compared():
    """A strong layout, the same a hair away, and one at a tenth of its vacuum."""
    layouts = (
        held("strong", vacuum=2500.0),
        held("a hair east", vacuum=2500.0, east=5e-4),
        held("weak", vacuum=250.0),
    )
    return compare_with_bars(dataclasses.replace(rough(), layouts=layouts))


def test_the_values_are_those_of_the_finest_grid():
    finest = rough().with_resolution(resolutions_for_bars(ROUGH)[-1])
    want = run_layout(finest, FIRST).conditions[WINTER]
    found = barred().conditions[WINTER]
    assert np.array_equal(found.floor.pressure, want.floor.pressure, equal_nan=True)
    points = [point.name for point in barred().arrangement.points]
    numbers = headlines(found, points)
    assert set(numbers) == set(found.bars) == set(HEADLINES)
    for name, by_label in found.bars.items():
        for label, bar in by_label.items():
            assert bar.value == numbers[name][label]
            assert 0.0 <= bar.error < math.inf
    assert want.bars == {}


def test_a_coverage_is_known_no_better_than_to_a_column():
    found = barred().conditions["today"]
    assert found.coverage_area[1.0] == 1.0
    columns = int((found.floor.floor & ~np.isnan(found.floor.pressure)).sum())
    assert found.bars["coverage_area"]["1"].error == pytest.approx(1.0 / columns)
    assert found.bars["coverage_perimeter"]["1"].error > found.bars["coverage_area"]["1"].error


def test_a_held_vacuum_has_no_error_and_its_flow_has():
    bars = run_with_bars(rough(), SECOND).conditions[WINTER].bars
    assert bars["port_pressure"]["B"].error < 1e-3
    assert bars["port_flow"]["B"].error > 1e-3 * bars["port_flow"]["B"].value
    assert len(bars["port_flow"]) == 1  # the capped point draws nothing
    assert "fan_flow" not in bars


def test_bars_stand_under_every_figure_of_a_printout():
    text = print_result(barred(), house(), verbose=True)
    assert max(map(len, text.splitlines())) <= 60
    bar = barred().conditions[WINTER].bars["worst_margin"][""]
    assert f"{plus_minus(bar.error)} Pa at the worst spot" in text
    # points, fan, coverage and soil gas: a line of bars for each line of figures
    for heading, lines in (
        ("Suction points", 1),
        ("Every condition", 2),
        ("Fan", 2),
        ("Under", 4),
        ("Soil gas", 2),
    ):
        block = text.partition(f"\n{heading}")[2].partition("\n\n")[0].splitlines()
        assert sum(line.strip().startswith("±") for line in block) == lines, block
    for heading, bars in (("Test holes", 3), ("Every state of the test holes", 2 * 4)):
        assert text.partition(heading)[2].partition("\n\n")[0].count("±") == bars
    assert "from three grids" in flat(text)
    finest = barred().solution.soil.grid.cells
    assert f"and {finest} cells" in flat(text)


def test_nothing_changes_without_the_flag():
    text = print_result(solved(), house())
    assert "±" not in text
    assert "three grids" not in text


def test_a_margin_inside_its_bar_is_called_too_close():
    conditions = dict(barred().conditions)
    winter = conditions[WINTER]
    for error, close in ((winter.worst.margin * 1.01, True), (winter.worst.margin * 0.99, False)):
        bar = Bracketed(value=winter.worst.margin, error=error, order=1.0)
        found = dataclasses.replace(winter, bars={**winter.bars, "worst_margin": {"": bar}})
        assert too_close(found) is close
        result = dataclasses.replace(barred(), conditions={**conditions, WINTER: found})
        text = print_result(result, house())
        assert ("TOO CLOSE TO TELL" in text) is close
        assert "does not settle" not in flat(text)
    assert not too_close(solved().conditions[WINTER])


def test_a_result_file_keeps_the_bars(tmp_path):
    path = tmp_path / "house.h5"
    write_result(barred(), rough(), TEXT, path)
    stored = read_result(path)
    for name, found in barred().conditions.items():
        for what, by_label in found.bars.items():
            unit, axis = HEADLINES[what]
            key = f"conditions/{name}/{what}_error"
            assert stored.units[key] == unit
            errors, orders = stored.arrays[key], stored.arrays[key.replace("_error", "_order")]
            kept = errors[~np.isnan(errors)].tolist() if axis else [float(errors)]
            assert kept == [bar.error for bar in by_label.values()]
            assert errors.shape == orders.shape
    port = stored.arrays["port"].tolist().index("A")
    flow = barred().conditions[WINTER].bars["port_flow"]["A"]
    assert stored.arrays[f"conditions/{WINTER}/port_flow_error"][port] == flow.error
    assert stored.arrays[f"conditions/{WINTER}/port_flow"][port] == flow.value
    assert read_job(path).usual[-1] == "bars"


def test_a_data_set_has_them_too():
    found = barred().to_xarray()
    errors = found.coverage_area_error.sel(condition=WINTER)
    bars = barred().conditions[WINTER].bars["coverage_area"]
    assert errors.values.tolist() == [bar.error for bar in bars.values()]
    assert "coverage_area_error" not in solved().to_xarray()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


def call(*arguments):
    return CliRunner().invoke(cli.app, [str(argument) for argument in arguments])


def test_the_command_prints_bars_and_writes_them_beside_a_plain_run(folder):
    """A result file made with bars is repeated with them, to the byte."""
    done = call("run", "house.toml", "--error-estimate", "--no-figures")
    assert done.exit_code == 0
    assert max(map(len, done.stdout.partition("\nwrote")[0].splitlines())) <= 60
    stored = read_result(folder / "house_bars.h5")
    error = float(stored.arrays[f"conditions/{WINTER}/worst_margin_error"])
    assert f"{plus_minus(error)} Pa at the worst spot" in done.stdout
    again = call("run", "house_bars.h5", "--no-figures", "--json")
    assert again.exit_code == 0
    report = json.loads(again.stdout)["conditions"][WINTER]
    [bar] = [bar for bar in report["error_bars"] if bar["name"] == "worst_margin"]
    assert (bar["value"], bar["error"], bar["unit"]) == (report["worst_margin_Pa"], error, "Pa")
    assert (folder / "house_bars_again.h5").read_bytes() == (folder / "house_bars.h5").read_bytes()


def test_a_plain_run_says_nothing_of_bars_in_its_report():
    plain, told = result_to_dict(solved()), result_to_dict(barred())
    assert set(told) == set(plain)
    assert set(told["conditions"][WINTER]) - set(plain["conditions"][WINTER]) == {"error_bars"}


def test_a_hair_is_no_difference_and_a_weak_layout_is_one():
    text = flat(print_comparison(compared(), width=200))
    best, second, third = (member.layout for member in compared().ranked())
    assert {best, second} == {"strong", "a hair east"}
    assert third == "weak"
    assert f'"{best}" and "{second}": no difference at the worst spot' in text
    assert 'more at its worst spot than "weak"' in text
    assert 'at its worst spot than "a hair east"' not in text


def test_short_bars_tell_a_small_difference_and_long_ones_do_not():
    """The bars decide, not the two per cent that stand in for them elsewhere."""

    def with_error(member, error):
        found = member.judged()
        bar = Bracketed(value=found.worst.margin, error=error, order=1.0)
        found = dataclasses.replace(found, bars={**found.bars, "worst_margin": {"": bar}})
        return dataclasses.replace(member, conditions={WINTER: found})

    best, other = compared().ranked()[0], compared().ranked()[2]
    gap = best.judged().worst.margin - other.judged().worst.margin
    for error, same in ((0.6 * gap, False), (0.8 * gap, True)):
        members = (with_error(best, error), with_error(other, error))
        found = dataclasses.replace(compared(), members=members)
        assert ("no difference" in flat(print_comparison(found, width=200))) is same


def test_a_table_has_columns_of_errors_only_where_there_are_bars(folder):
    rows = list(csv.DictReader(io.StringIO(comparison_to_csv(compared()))))
    assert len(rows) == 6
    for row in rows:
        assert float(row["worst_margin_error [Pa]"]) > 0.0
        assert float(row["air_drawn_error [m3/s]"]) > 0.0
    done = call("compare", "house.toml", "--no-figures", "--error-estimate", "--layout", SECOND)
    assert done.exit_code == 0
    assert "on three grids, about" in done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 60
    assert "error" in (folder / "house_compare_bars.csv").read_text(encoding="utf-8").split("\n")[0]


def test_a_layout_that_fails_on_one_grid_says_why():
    """A fan curve too short for the gravel: no bars, and the other layout keeps its own."""
    found = compare_with_bars(rough(), variants=("gravel",))
    for member in found.members:
        assert bool(member.failure) is not bool(member.conditions)
        for condition in member.conditions.values():
            assert condition.bars


def test_the_cost_is_that_of_three_grids():
    case, layout = house(), house().layout(FIRST)
    grids = resolutions_for_bars(case.resolution)
    cells = [estimate(case.with_resolution(grid), layout).cells for grid in grids]
    cost = estimate_with_bars(case, layout)
    assert cost.cells == sum(cells)
    assert cells[0] * 8 == cells[2]
    assert cost.seconds > estimate(case, layout).seconds
    both = estimate_comparison_with_bars(case)
    assert both.cells > 2 * cost.cells  # one grid for both layouts has more lines than its own


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (0.0, "± 0"),
        (3.2e-6, "± 0.0001"),
        (0.0999, "± 0.10"),
        (0.15, "± 0.15"),
        (0.21, "± 0.3"),
        (2.0, "± 2"),
        (19.2, "± 20"),
        (123.0, "± 130"),
        (math.inf, "± ?"),
    ],
)
def test_errors_are_rounded_up(error, words):
    assert plus_minus(error) == words
