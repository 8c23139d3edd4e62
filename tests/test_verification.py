"""The verification table: rows that can fail, a command that says so, and README's short form."""

from __future__ import annotations

import dataclasses
import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest
import verification
from checks import GROUPS
from checks.closed_forms import CLOSED_FORMS
from checks.figure import draw, save
from checks.formulas import AIR, SOIL
from checks.machines import FANS, PIPES, UNITS
from checks.row import AT_LEAST, AT_MOST, EQUAL, Group, Row
from checks.scheme import COMPRESSION
from problems import compressible, manufactured_house, soils

import soilflow.air
import soilflow.flow.analytic
import soilflow.soil

ROOT = Path(__file__).parents[1]
SCRIPT = ROOT / "benchmarks" / "verification.py"
TABLE = (SCRIPT.parent / "tables" / "verification.txt").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")
QUICK = (SOIL, AIR, UNITS, PIPES, FANS, CLOSED_FORMS)
KEYS = {"check", "source", "value", "ours", "error", "order", "tolerance", "passed"}


def summary_of(text):
    """What stands after the last empty line of a table."""
    return text.rstrip("\n").rsplit("\n\n", 1)[1].splitlines()


def row(**changes):
    made = {"check": "two", "source": "counting", "value": 2.0, "ours": 2.0, "tolerance": 1e-6}
    return Row(**{**made, **changes})


@pytest.mark.parametrize(
    ("changes", "error", "passed"),
    [
        ({}, 0.0, True),
        ({"ours": 2.000001}, 5e-7, True),
        ({"ours": 2.00001}, 5e-6, False),
        ({"ours": -2.0}, 2.0, False),
        ({"ours": math.nan}, math.nan, False),
        ({"ours": math.inf}, math.inf, False),
        ({"value": 0.0, "ours": 5e-7}, 5e-7, True),
        ({"value": 0.0, "ours": -5e-6}, 5e-6, False),
        ({"relation": AT_LEAST, "ours": 9.0}, 0.0, True),
        ({"relation": AT_LEAST, "ours": 1.9}, 0.05, False),
        ({"relation": AT_MOST, "ours": -9.0}, 0.0, True),
        ({"relation": AT_MOST, "ours": 2.1}, 0.05, False),
        ({"relation": AT_MOST, "ours": math.nan}, math.nan, False),
    ],
)
def test_a_row_passes_within_its_tolerance_only(changes, error, passed):
    made = row(**changes)
    assert made.error == pytest.approx(error, rel=1e-9, abs=0, nan_ok=True)
    assert made.passed is passed


def test_rows_are_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        row().ours = 3.0


@pytest.mark.parametrize("group", QUICK, ids=lambda g: g.name)
def test_formulas_pass_as_in_the_table(group):
    """Today's rows give the line that the committed table has of their group."""
    found = [(group, list(group.rows()))]
    assert all(r.passed for r in found[0][1]), [r for r in found[0][1] if not r.passed]
    line = verification.summary_lines(found)[1]
    assert line in summary_of(TABLE)


def test_the_table_has_every_group_and_all_of_it_passed():
    summary = summary_of(TABLE)
    assert len(summary) == len(GROUPS) + 2
    assert all(line.endswith("  all") for line in summary[1:])
    for group, line in zip(GROUPS, summary[1:-1], strict=True):
        assert line.startswith(group.name)
        assert f"\n{group.name}: {group.proves}\n" in TABLE
    rows = re.findall(r"  (ok|FAIL) +\S", TABLE)
    assert len(rows) == int(summary[-1].split()[1])
    assert set(rows) == {"ok"}


def test_readme_shows_the_summary_of_the_table():
    (block,) = re.findall(r"^```\n(group .*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    assert block.splitlines() == summary_of(TABLE)
    assert "`python benchmarks/verification.py`" in README


def test_every_row_says_where_its_value_comes_from():
    for group in QUICK:
        rows = list(group.rows())
        assert rows
        for made in rows:
            assert made.source.strip()
            assert made.relation in (EQUAL, AT_LEAST, AT_MOST)
            assert made.tolerance > 0.0 or made.relation != EQUAL
        assert len({(r.check, r.source, r.relation) for r in rows}) == len(rows), "twice"


def test_json_is_a_list_of_rows_and_all_passed_is_zero():
    command = [sys.executable, str(SCRIPT), "--json", "--group", "units"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)
    assert len(rows) == len(list(UNITS.rows()))
    for found in rows:
        assert set(found) >= KEYS
        assert found["passed"] is True
        assert found["order"] is None
        assert found["error"] == pytest.approx(abs(found["ours"] / found["value"] - 1.0), abs=1e-12)


TAMPER = """
import runpy, sys
import soilflow.units as units
units.parse_quantity, right = lambda *a: 1.001 * right(*a), units.parse_quantity
sys.argv = [{script!r}, "--group", "units"]
sys.path.insert(0, {folder!r})
runpy.run_path({script!r}, run_name="__main__")
"""


def test_a_wrong_number_ends_the_command_with_an_error():
    code = TAMPER.format(script=str(SCRIPT), folder=str(SCRIPT.parent))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert "FAIL" in done.stdout
    assert "not passed: 1 in. w.c." in done.stderr


def test_one_wrong_row_fails_table_summary_json_and_command(monkeypatch, capsys):
    wrong = row(check="three", ours=3.0)
    group = Group(name="sums", proves="Counting.", rows=lambda: iter([row(), wrong]))
    monkeypatch.setattr(verification, "GROUPS", (group, AIR))
    assert verification.main(["--group", "sums"]) == 1
    printed = capsys.readouterr()
    assert re.search(r"three .* FAIL", printed.out)
    assert re.search(r"sums +2 +500000\.00 +1$", printed.out, flags=re.MULTILINE)
    assert "not passed: three" in printed.err
    assert verification.main(["--group", "sums", "--json"]) == 1
    rows = json.loads(capsys.readouterr().out)
    assert [r["passed"] for r in rows] == [True, False]
    group = dataclasses.replace(group, rows=lambda: iter([row()]))
    monkeypatch.setattr(verification, "GROUPS", (group, AIR))
    assert verification.main(["--group", "sums"]) == 0


def test_not_a_number_is_null_in_json_and_not_passed(monkeypatch, capsys):
    group = Group(name="sums", proves="Counting.", rows=lambda: iter([row(ours=math.nan)]))
    monkeypatch.setattr(verification, "GROUPS", (group, AIR))
    assert verification.main(["--group", "sums", "--json"]) == 1
    (found,) = json.loads(capsys.readouterr().out)
    assert (found["ours"], found["error"], found["passed"]) == (None, None, False)


FORMULAS = [
    (module, group, name)
    for module, group in ((soilflow.soil, SOIL), (soilflow.flow.analytic, CLOSED_FORMS))
    for name in module.__all__
    if callable(getattr(module, name))
]
FORMULAS += [(soilflow.air, AIR, n) for n in ("pressure_atm_at_altitude", "wind_pressure")]


@pytest.mark.parametrize(("module", "group", "name"), FORMULAS, ids=lambda v: getattr(v, "name", v))
def test_a_tampered_formula_is_caught(module, group, name, monkeypatch):
    """Every formula of soil and closed forms, made a thousandth larger."""
    right = getattr(module, name)
    monkeypatch.setattr(module, name, lambda *a, **k: 1.001 * right(*a, **k))
    failed = [r for r in group.rows() if not r.passed]
    assert failed, name


def test_tampered_soil_on_a_grid_is_caught(monkeypatch):
    """Air a thousandth too thick, between the soil map and the conductances."""
    right = soils.build_soil_network
    monkeypatch.setattr(soils, "build_soil_network", lambda soil, mu: right(soil, 1.001 * mu))
    for cached in (compressible.column, compressible.ring):
        cached.cache_clear()
    try:
        failed = [r.check for r in COMPRESSION.rows() if not r.passed]
    finally:
        for cached in (compressible.column, compressible.ring):
            cached.cache_clear()
    assert "flow at 250 Pa over the linear one" in failed


def test_a_chosen_field_in_a_house_notices_a_footing_left_out(monkeypatch):
    """With footings the error falls as the square of the cells, without it stays."""
    solve, error = manufactured_house.solve_house, manufactured_house.error_in_house
    with_footings = [error(n) for n in (4, 8)]
    assert math.log2(with_footings[0] / with_footings[1]) > 1.8
    site = manufactured_house.SITE
    bare = dataclasses.replace(site.walls, footing_depth=0.0)
    monkeypatch.setattr(manufactured_house, "SITE", dataclasses.replace(site, walls=bare))
    solve.cache_clear()
    try:
        without = [error(n) for n in (4, 8)]
    finally:
        solve.cache_clear()
    assert math.log2(without[0] / without[1]) < 0.5
    assert without[1] > 5.0 * with_footings[1]


def test_the_figure_is_written_and_marks_what_fails(tmp_path):
    wrong = Group(name="sums", proves="Counting.", rows=lambda: iter([row(ours=3.0)]))
    figure = draw([(group, list(group.rows())) for group in (AIR, wrong)])
    air, sums = figure.axes
    assert len(air.get_yticklabels()) == len(list(AIR.rows()))
    colours = {line.get_markeredgecolor() for line in sums.lines if line.get_marker() == "o"}
    assert colours == {"#c00000"}
    save(figure, tmp_path / "figure.png")
    assert (tmp_path / "figure.png").stat().st_size > 10_000
