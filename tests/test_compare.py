"""Layouts side by side: one grid, a fair order, and a failure that costs only its own row."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from tiny_house import FIRST, SECOND, TEXT, house
from typer.testing import CliRunner

from soilflow import cli
from soilflow.errors import InputError
from soilflow.grids import grid_of
from soilflow.output.compare_figure import plot_comparison
from soilflow.output.compare_printout import (
    NO_DIFFERENCE,
    comparison_to_csv,
    comparison_to_dict,
    print_comparison,
)
from soilflow.output.pressure_figure import SUCTION_STEPS
from soilflow.run import run_layout
from soilflow.studies.compare import compare_layouts


@pytest.fixture(scope="module")
def compared():
    return compare_layouts(house(), variants=("", "tight_joint"))


def test_one_layout_alone_is_that_layout_run_on_the_same_grid():
    found = compare_layouts(house(), [FIRST]).members[0].judged()
    grid = grid_of(house(), [house().layout(FIRST)])
    want = run_layout(house(), FIRST, grid=grid).conditions["design_winter"]
    assert np.array_equal(found.floor.pressure, want.floor.pressure, equal_nan=True)
    assert np.array_equal(
        found.baseline.floor.pressure, want.baseline.floor.pressure, equal_nan=True
    )
    assert found.operating_point.fan_flow == want.operating_point.fan_flow


def test_the_grid_knows_the_pits_of_all_layouts_and_the_edges_of_all_sites(compared):
    assert len(compared.members) == 4
    shapes = {m.judged().floor.pressure.shape for m in compared.members}
    assert len(shapes) == 1
    alone = grid_of(house(), [house().layout(FIRST)])
    assert compared.cells > alone.cells


def test_order_of_asking_changes_the_order_of_members_only(compared):
    turned = compare_layouts(house(), [SECOND, FIRST], variants=("tight_joint", ""))
    assert [m.layout for m in turned.members] == [SECOND, FIRST] * 2
    assert turned.variants == ("tight_joint", "")
    for variant in compared.variants:
        ours, theirs = compared.ranked(variant), turned.ranked(variant)
        assert [m.layout for m in ours] == [m.layout for m in theirs]
        for a, b in zip(ours, theirs, strict=True):
            assert a.judged().worst.margin == pytest.approx(b.judged().worst.margin, rel=1e-7)


def test_the_best_comes_first_and_tighter_joints_let_less_house_air_down(compared):
    for variant in compared.variants:
        margins = [m.judged().worst.margin for m in compared.ranked(variant)]
        assert margins == sorted(margins, reverse=True)
    by_name = {(m.variant, m.layout): m for m in compared.members}
    # not the margin: in winter an open joint also vents soil that the outdoors pushes up
    taken = [by_name[v, SECOND].judged().house_on.into_soil for v in ("", "tight_joint")]
    assert taken[1] < 0.5 * taken[0]


def mirrored():
    """Two layouts that mirror each other on a house that mirrors itself."""
    case = house()
    point = case.layout(FIRST).points[0]
    width = case.site.slab.polygon.bounds[2]
    there = replace(point, x=width - point.x)
    one = replace(case.layout(FIRST), name="left", points=(point,))
    return replace(case, layouts=(one, replace(one, name="right", points=(there,))))


def test_mirrored_layouts_are_called_no_difference():
    found = compare_layouts(mirrored())
    left, right = (m.judged().worst.margin for m in found.members)
    assert left == pytest.approx(right, rel=1e-6)
    assert "no difference" in " ".join(print_comparison(found).split())


def test_a_real_difference_is_not_called_none(compared):
    best, other = (m.judged().worst.margin for m in compared.ranked())
    assert abs(best - other) > NO_DIFFERENCE * max(best + 1.0, other + 1.0)
    text = " ".join(print_comparison(compared).split())
    assert "more at its worst spot than" in text
    assert "no difference" not in text


def failing():
    """One layout whose fan would work past its last point: it moves next to no air."""
    case = house("gravel")
    case = replace(case, variant="")
    strong = case.layout(FIRST)
    weak = replace(
        strong,
        name="tiny fan",
        fan=replace(strong.fan, flows=(0.0, 1e-6), static_pressures=(996.0, 990.0)),
    )
    return replace(case, layouts=(weak, case.layout(SECOND)))


def test_a_layout_that_fails_costs_only_its_own_row():
    found = compare_layouts(failing())
    assert [m.layout for m in found.failed] == ["tiny fan"]
    assert "its curve runs from 0" in found.failed[0].failure
    assert [m.layout for m in found.ranked()] == [SECOND]
    text = print_comparison(found)
    assert '"tiny fan": no answer: the fan' in text
    assert comparison_to_dict(found)["rows"][0]["failure"] == found.failed[0].failure
    rows = list(csv.DictReader(io.StringIO(comparison_to_csv(found))))
    assert rows[0]["layout [-]"] == "tiny fan"
    assert rows[0]["worst_margin [Pa]"] == ""


def test_the_table_holds_the_numbers_of_the_members(compared):
    rows = list(csv.DictReader(io.StringIO(comparison_to_csv(compared))))
    assert len(rows) == 2 * len(compared.members)  # today and design winter
    report = comparison_to_dict(compared)
    json.dumps(report, allow_nan=False)
    assert report["best_first"][""] == [m.layout for m in compared.ranked()]
    for row, plain in zip(rows, report["rows"], strict=True):
        member = next(
            m
            for m in compared.members
            if (m.variant, m.layout) == (row["variant [-]"], row["layout [-]"])
        )
        condition = member.conditions[row["condition [-]"]]
        assert float(row["worst_margin [Pa]"]) == condition.worst.margin == plain["worst_margin"]
        assert set(plain) <= set(report["units"])


def test_riser_vacuums_are_those_of_their_own_condition(compared):
    """A warm riser pulls harder on the cold day, so today's vacuum is another."""
    rows = comparison_to_dict(compared)["rows"]
    members = [m for m in compared.members for _ in m.conditions]
    for row, member in zip(rows, members, strict=True):
        point = member.conditions[row["condition"]].operating_point
        vacuums = [
            point.riser_vacuums.get(p.name, -point.pressures[point.port_names.index(p.name)])
            for p in member.arrangement.points
            if not p.capped
        ]
        assert row["least_riser_vacuum"] == pytest.approx(min(vacuums), rel=1e-12)
    mine = [r["least_riser_vacuum"] for r in rows if r["layout"] == FIRST and not r["variant"]]
    assert mine[0] != mine[1]


def test_one_layout_on_several_sites_is_one_table_of_sites():
    found = compare_layouts(house(), [FIRST], variants=("", "tight_joint", "tight_soil"))
    text = print_comparison(found)
    assert text.count("best first") == 1
    flat = " ".join(text.split())
    assert f'LAYOUT "{FIRST}" ON 3 SITES' in flat
    assert f'READ THIS FIRST: "{FIRST}" (tight soil) draws' in flat
    for site in ("as written", "tight joint", "tight soil"):
        assert f"  {site} " in text
    assert [line for line in text.splitlines() if len(line) > 60] == []


@pytest.mark.parametrize("verbose", [False, True])
def test_it_fits_a_narrow_window(compared, verbose):
    text = print_comparison(compared, verbose=verbose)
    assert [line for line in text.splitlines() if len(line) > 60] == []
    assert "SITE: tight joint" in text
    assert "Cautions" in text
    assert ("Worst margin in every condition" in text) == verbose


def test_all_plans_share_one_colour_scale(compared):
    figure = plot_comparison(compared)
    plans = [ax for ax in figure.axes if ax.get_xlabel()]
    assert len(plans) == len(compared.members)
    for ax in plans:
        filled = [c for c in ax.collections if c.norm.vmin is not None and len(c.levels) > 2]
        assert len(filled) == 1
        assert tuple(filled[0].norm.boundaries) == SUCTION_STEPS


def test_nothing_to_compare_is_said():
    with pytest.raises(InputError, match="nothing to compare"):
        compare_layouts(house(), [])
    with pytest.raises(InputError, match='no layout "six"'):
        compare_layouts(house(), ["six"])


def test_progress_counts_members():
    heard = []
    compare_layouts(house(), progress=lambda *now: heard.append(now))
    assert heard == [(0, 2), (1, 2), (2, 2)]


def test_the_command(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")

    def call(*arguments):
        return CliRunner().invoke(cli.app, ["compare", "house.toml", *arguments])

    done = call("--layout", SECOND, "--layout", FIRST, "--variant", "tight_joint")
    assert done.exit_code == 0, done.stderr
    assert "Design winter, best first" in done.stdout
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["house.toml", "house_compare.csv", "house_compare.png"]
    report = json.loads(call("--all-variants", "--json", "--no-figures").stdout)
    assert list(report["best_first"]) == ["", *house().variants]
    done = call("--variant", "six")
    assert (done.exit_code, done.stdout) == (2, "")
    assert 'no variant "six"' in done.stderr
