"""The benchmarks at a few thousand cells: do the programs agree, and is every key there."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest
from tiny_house import FIRST, TEXT

FOLDER = Path(__file__).parents[1] / "benchmarks"


def script(name):
    spec = importlib.util.spec_from_file_location(f"benchmark_{name}", FOLDER / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


peers, speed = script("peers"), script("speed")


@pytest.fixture(scope="module")
def compared():
    """What ``peers.py --json`` prints for the small grid."""
    with pytest.MonkeyPatch.context() as patch:
        printed = []
        patch.setattr(sys, "argv", ["peers.py", "--json", "--size", "8k", "--repeat", "1"])
        patch.setattr("builtins.print", lambda text: printed.append(text))
        peers.main()
    return json.loads("".join(printed))


def test_peers_prints_every_key(compared):
    row = compared["single"]["8k"]
    assert set(compared) == {"single", "work_units"}
    assert set(compared["work_units"]) == {"setup", "solve"}
    assert 5_000 < row["cells"] < 10_000
    for program in ("soilflow", "fipy", "fipy_own", "skfem"):
        assert row[f"{program}_s"] > 0.0
        assert row[f"{program}_MB"] > 30.0
    assert all(units > 1.0 for units in compared["work_units"].values())


def test_fipy_gives_the_flow_of_soilflow_to_the_solvers_tolerance(compared):
    """Same scheme, other mesh, averages, matrix and solver: only the balance of 1e-8 is between."""
    row = compared["single"]["8k"]
    assert row["fipy_error"] <= 1e-8
    assert all(run["balance"] <= 1e-8 for run in row["runs"].values())
    assert all(run["iterations"] > 0 for run in row["runs"].values())


def test_scikit_fem_comes_from_the_other_side(compared):
    """Two-point fluxes pass too little at singular edges; held nodes of a conforming element
    pass too much, since its field is one of those that dissipate more than the true one."""
    row = compared["single"]["8k"]
    before, after = row["flows_before_split"], row["flows"]
    assert before["soilflow"] < after["soilflow"] < after["skfem"] < before["skfem"]
    assert row["error"] == pytest.approx(after["skfem"] / after["soilflow"] - 1.0)
    # between the first order of a flow near an edge of open ground and the second of smooth soil,
    # with some room: the grid is too coarse to be in its asymptotic range
    assert 1.7 < row["error_before_split"] / row["error"] < 4.5


def test_agreement_would_notice_another_grid(compared):
    """One grid line of the yard moved: FiPy then differs from soilflow's flow on the old grid."""
    edges = peers.grid_lines("8k", split=True)
    edges[0][1] += 0.3 * (edges[0][2] - edges[0][1])
    moved = peers.measure("fipy", edges)["flow"]
    assert abs(moved / compared["single"]["8k"]["flows"]["soilflow"] - 1.0) > 1e-7


def test_flows_out_of_balance_stop_the_comparison(monkeypatch):
    monkeypatch.setattr(peers, "BALANCE", 1e-18)
    with pytest.raises(SystemExit, match="balance to"):
        peers.measure("skfem", peers.grid_lines("8k", split=False))


def test_peers_table_has_a_line_for_each_program(compared, capsys):
    peers.show("8k", compared["single"]["8k"])
    printed = capsys.readouterr().out
    for word in ("soilflow ", "fipy ", "fipy_own ", "skfem ", "before splitting", "one field"):
        assert word in printed


def test_profile_of_a_run_names_every_step(tmp_path, monkeypatch, capsys):
    case = tmp_path / "house.toml"
    case.write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr(speed, "CASE", case)
    monkeypatch.setattr(sys, "argv", ["speed.py", "--profile", "--json", "--layout", FIRST])
    speed.main()
    steps = json.loads(capsys.readouterr().out)
    # ports: the house, the outdoors and one pit
    wanted = {"field 1", "field 2", "field 3", "before digging: field 2", "imports"}
    wanted |= {step for _, _, step in speed.STEPS if step != "field"}
    assert wanted <= set(steps)
    assert all(seconds >= 0.0 for seconds in steps.values())
    speed.show_profile(steps)
    last = capsys.readouterr().out.splitlines()[-1]
    assert last.startswith("together, on one processor")
    assert float(last.split()[-2]) == pytest.approx(sum(steps.values()), abs=0.01)


def test_a_run_that_fails_is_no_profile():
    with pytest.raises(SystemExit, match="ended with status"):
        speed.profile(FOLDER / "no such case.toml", FIRST)


@pytest.mark.parametrize(("bound", "word"), [(0.0, "BROKEN"), (1e9, "kept")])
def test_bounds_are_held_against_what_was_measured(bound, word, monkeypatch, capsys):
    monkeypatch.setattr(speed, "COMMANDS", {"help": ["--help"]})
    monkeypatch.setattr(speed, "BOUNDS", {"help": {"seconds": bound, "MB": bound}})
    table = speed.measure_all(1)
    assert table["help"]["kept"] is (word == "kept")
    assert table["help"]["seconds"] > 0.0
    assert table["help"]["MB"] > 1.0
    speed.show_commands(table)
    assert word in capsys.readouterr().out
