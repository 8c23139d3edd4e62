import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from tiny_house import FIRST, ROUGH_TEXT, SECOND, TEXT
from typer.testing import CliRunner

import soilflow.run
from soilflow import cli
from soilflow.errors import BalanceError, ConvergenceError, OutOfRangeError
from soilflow.files.result_hdf5 import read_result

ROOT = Path(__file__).parents[1]
COMMANDS = (
    "new",
    "check",
    "run",
    "compare",
    "search",
    "study",
    "cases",
    "ensemble",
    "figures",
    "schema",
    "sheet",
)
STUDIES = ("pit-size", "wall-or-centre")
HELPS = [
    ["--help"],
    *([name, "--help"] for name in COMMANDS),
    *(["study", name, "--help"] for name in STUDIES),
]
HEAVY = ("fipy", "matplotlib", "h5py", "scipy", "numpy", "shapely")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


def call(*arguments):
    return CliRunner().invoke(cli.app, [str(argument) for argument in arguments])


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def python(code, cwd):
    """Run code in a fresh interpreter; its last line of output as JSON."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=cwd, capture_output=True, text=True, env=environment
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def loaded_after(arguments, cwd):
    """Heavy packages a command line loads."""
    return python(
        "import json, sys\n"
        "from soilflow import cli\n"
        f"sys.argv = ['soilflow', *{list(arguments)!r}]\n"
        "try:\n"
        "    cli.main()\n"
        "except SystemExit as end:\n"
        "    assert not end.code, end.code\n"
        f"print()\nprint(json.dumps([m for m in {HEAVY!r} if m in sys.modules]))",
        cwd,
    )


@pytest.mark.parametrize("arguments", HELPS)
def test_help_loads_nothing_heavy(arguments, tmp_path):
    assert loaded_after(arguments, tmp_path) == []


def test_a_run_without_pictures_loads_no_engine_or_plotter_it_does_not_need(folder):
    loaded = loaded_after(["run", "house.toml", "--no-figures"], folder)
    assert "h5py" in loaded  # so this looks where it should
    assert "fipy" not in loaded
    assert "matplotlib" not in loaded


@pytest.mark.parametrize("arguments", HELPS)
def test_every_help_has_examples(arguments):
    done = call(*arguments)
    assert done.exit_code == 0
    assert "Examples:\n" in done.output
    assert "  soilflow " in done.output


def examples():
    """Every command line that a --help shows, in order."""
    return [
        line.strip()
        for arguments in HELPS
        for line in call(*arguments).output.splitlines()
        if line.strip().startswith("soilflow ")
    ]


def test_every_command_is_known_here():
    listed = re.findall(r"^  (\w+) ", call("--help").output.partition("Commands:")[2], re.MULTILINE)
    assert listed == list(COMMANDS)
    assert len(examples()) >= 2 * len(COMMANDS)


def test_every_study_is_known_here():
    shown = call("study", "--help").output.partition("Commands:")[2]
    assert re.findall(r"^  ([\w-]+) ", shown, re.MULTILINE) == list(STUDIES)


def test_every_example_of_a_help_runs(folder):
    """In order, in one folder, on a small house with the names the examples use."""
    text = ROUGH_TEXT.replace(FIRST, "four at the walls").replace(SECOND, "two in the middle")
    text = text.replace("[variant.tight_joint]", "[variant.frozen_yard]")
    text = text.replace('= "1e-11 m2"', '= "3e-12 to 3e-11 m2"', 1)  # a soil not quite known
    (folder / "house.toml").write_text(text, encoding="utf-8")
    (folder / "results").mkdir()
    (folder / "fresh").mkdir()
    for line in examples():
        program, *arguments = shlex.split(line.partition(" > ")[0])
        assert program == "soilflow"
        if arguments[0] == "new":
            arguments[1] = f"fresh/{arguments[1]}"  # beside the small house, not in its place
        done = call(*arguments)
        assert done.exit_code == 0, (line, done.stderr)


def test_run_prints_the_answer_and_writes_files_side_by_side(folder):
    done = call("run", "house.toml")
    assert done.exit_code == 0
    assert done.stdout.startswith("Small test house\n")
    assert "DESIGN WINTER: THE PASS LINE" in done.stdout
    written = set(names(folder)) - {"house.toml"}
    assert "house.h5" in written
    assert any(name.endswith(".png") for name in written)
    for name in written:
        assert name in done.stdout
    assert read_result(folder / "house.h5").case_text == TEXT


def test_the_files_go_where_they_are_told(folder):
    (folder / "results").mkdir()
    done = call("run", "house.toml", "--out", "results", "--no-figures")
    assert done.exit_code == 0
    assert names(folder / "results") == ["house.h5"]
    assert names(folder) == ["house.toml", "results"]


def test_layout_variant_and_grid_do_not_overwrite_one_another(folder):
    plain = ("run", "house.toml", "--no-figures", "--quiet")
    assert call(*plain).exit_code == 0
    assert call(*plain, "--layout", FIRST).exit_code == 0  # the first anyway
    assert call(*plain, "--layout", SECOND, "--variant", "tight_joint").exit_code == 0
    assert names(folder) == ["house.h5", "house.toml", "house_held_capped_tight_joint.h5"]
    stored = read_result(folder / "house_held_capped_tight_joint.h5")
    assert (stored.layout, stored.variant) == (SECOND, "tight_joint")


def test_an_xdmf_file_stands_beside_the_result_on_request(folder):
    done = call("run", "house.toml", "--no-figures", "--xdmf")
    assert done.exit_code == 0
    assert names(folder) == ["house.h5", "house.toml", "house.xdmf"]
    assert "house.xdmf" in done.stdout
    assert "house.h5:/" in (folder / "house.xdmf").read_text(encoding="utf-8")


def test_json_is_all_there_is_on_stdout(folder):
    done = call("run", "house.toml", "--json", "--no-figures")
    report = json.loads(done.stdout)
    assert report["layout"] == FIRST
    assert report["conditions"]["design_winter"]["coverage_area"]["1Pa"] <= 1.0
    assert "house.h5" in done.stderr
    assert names(folder) == ["house.h5", "house.toml"]


def test_quiet_says_nothing(folder):
    done = call("run", "house.toml", "--quiet", "--no-figures")
    assert (done.exit_code, done.output) == (0, "")


def test_details_on_request(folder):
    done = call("run", "house.toml", "-v", "--no-figures")
    assert "Port matrix" in done.stdout


def test_a_result_file_repeats_its_run(folder):
    call("run", "house.toml", "--layout", SECOND, "--variant", "tight_joint", "--no-figures", "-q")
    first = folder / "house_held_capped_tight_joint.h5"
    done = call("run", first.name, "--no-figures")
    assert done.exit_code == 0
    again = folder / "house_held_capped_tight_joint_again.h5"
    assert again.read_bytes() == first.read_bytes()


def test_a_byte_order_mark_and_other_line_ends_do_no_harm(folder):
    raw = b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()
    (folder / "house.toml").write_bytes(raw)
    assert call("run", "house.toml", "--no-figures", "-q").exit_code == 0
    assert read_result(folder / "house.h5").case_text.encode() == raw
    assert call("run", "house.h5", "--no-figures", "-q").exit_code == 0


def test_fipy_answers_the_same_question(folder):
    """Two engines, one box pit on grid lines: 1e-6 of the pit's vacuum is their agreed gap."""
    ours = json.loads(call("run", "house.toml", "--no-figures", "--json").stdout)
    fipys = json.loads(
        call("run", "house.toml", "--no-figures", "--json", "--engine", "fipy").stdout
    )
    assert names(folder) == ["house.h5", "house.toml", "house_fipy.h5"]
    assert read_result(folder / "house_fipy.h5").engine == "fipy"
    for name in ("today", "design_winter"):
        a, b = ours["conditions"][name], fipys["conditions"][name]
        assert a["fan"]["flow_m3s"] == pytest.approx(b["fan"]["flow_m3s"], rel=1e-5)
        vacuum = a["pits"][0]["vacuum_Pa"]
        assert a["worst_margin_Pa"] == pytest.approx(b["worst_margin_Pa"], abs=1e-5 * vacuum)
        assert a["coverage_area"] == pytest.approx(b["coverage_area"], abs=1e-4)
    assert any("FiPy" in note for note in fipys["notes"])


def test_check_solves_nothing_and_writes_nothing(folder, monkeypatch):
    monkeypatch.setattr(soilflow.run, "respond", None)
    done = call("check", "house.toml")
    assert done.exit_code == 0
    assert "Nothing was solved." in done.stdout
    assert FIRST in done.stdout
    assert SECOND in done.stdout
    assert names(folder) == ["house.toml"]


def test_check_writes_the_plan_it_is_asked_for(folder):
    done = call("check", "house.toml", "--layout", SECOND, "--plan", "soil.png")
    assert done.exit_code == 0
    assert FIRST not in done.stdout
    assert (folder / "soil.png").read_bytes().startswith(b"\x89PNG")
    assert names(folder) == ["house.toml", "soil.png"]


def test_check_as_json(folder):
    report = json.loads(call("check", "house.toml", "--json", "--layout", FIRST).stdout)
    assert report["layouts"][FIRST]["cells"] > 1000
    assert report["layouts"][FIRST]["ports"] == 3  # one pit, the house, the outdoors


REFUSED = [
    (["run", "none.toml"], 1, "none.toml: no such file"),
    (["check", "none.toml"], 1, "none.toml: no such file"),
    (["run", "."], 1, "directory"),
    (["check", "old.h5"], 1, "old.h5: "),
    (["run", "cut.h5"], 1, "cut short or damaged"),
    (["run", "wrong.toml"], 1, "wrong.toml:7: slab.thickness: "),
    (["check", "wrong.toml"], 1, "wrong.toml:7: slab.thickness: "),
    (["run", "house.toml", "--layout", "six"], 2, 'no layout "six" in this case; it has'),
    (["check", "house.toml", "--layout", "six"], 2, 'no layout "six"'),
    (["run", "house.toml", "--variant", "six"], 2, 'no variant "six" in this case; it has'),
    (["run", "house.toml", "--out", "none"], 2, "no such folder"),
    (["run", "house.toml", "--out", "house.toml"], 2, "is a file"),
    (["check", "house.toml", "--plan", "none/a.png"], 2, "no such folder"),
    (["check", "house.toml", "--plan", "plan.txt"], 2, "must end in .png"),
    (["run", "house.toml", "--resolution", "finest"], 2, "finest"),
    (["run", "house.toml", "--engine", "steam"], 2, "steam"),
    (["run"], 2, "CASE"),
    (["runn", "house.toml"], 2, "runn"),
]


@pytest.mark.parametrize(("arguments", "code", "words"), REFUSED)
def test_bad_input_is_refused_with_nothing_written(folder, arguments, code, words):
    (folder / "wrong.toml").write_text(TEXT.replace('"4 in"', '"4"', 1), encoding="utf-8")
    (folder / "old.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    (folder / "cut.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    before = names(folder)
    done = call(*arguments)
    assert done.exit_code == code
    assert words in done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.output
    assert names(folder) == before


def test_every_mistake_gets_its_line(folder):
    wrong = TEXT.replace('"4 in"', '"4"', 1).replace('"0.3 mm"', '"0.3 kg"')
    (folder / "house.toml").write_text(wrong, encoding="utf-8")
    lines = call("run", "house.toml").stderr.splitlines()
    assert len(lines) == 2
    assert all(line.startswith("house.toml:") for line in lines)


def test_a_case_named_like_its_result_is_not_overwritten(folder):
    (folder / "house.h5").write_text(TEXT, encoding="utf-8")
    done = call("run", "house.h5", "--no-figures")
    assert done.exit_code == 2
    assert "would be overwritten" in done.stderr
    assert (folder / "house.h5").read_text(encoding="utf-8") == TEXT


TROUBLE = [
    (ConvergenceError("stuck", reached=1.0, wanted=1e-9, iterations=9), 3, "house.toml: stuck"),
    (BalanceError("leaks", reached=1.0, wanted=1e-9), 3, "house.toml: leaks"),
    (OutOfRangeError("past the fan's points"), 1, "house.toml: past the fan's points"),
    (MemoryError(), 3, "not enough memory"),
    (KeyboardInterrupt(), 130, "interrupted"),
    (OSError("no space left"), 1, "no space left"),
]


@pytest.mark.parametrize(("error", "code", "words"), TROUBLE)
def test_trouble_ends_with_its_code_and_one_line(folder, monkeypatch, error, code, words):
    def fail(*_, **__):
        raise error

    monkeypatch.setattr(soilflow.run, "respond", fail)
    done = call("run", "house.toml")
    assert done.exit_code == code
    assert done.stderr.count("\n") == 1
    assert words in done.stderr
    assert names(folder) == ["house.toml"]


def test_debug_shows_where_it_happened(folder):
    done = call("run", "none.toml", "--debug")
    assert type(done.exception).__name__ == "CaseError"


def test_a_full_disk_does_not_cost_the_answer(folder, monkeypatch):
    def full(*_, **__):
        raise OSError("no space left on device")

    monkeypatch.setattr("soilflow.files.result_hdf5.write_result", full)
    done = call("run", "house.toml")
    assert done.exit_code == 1
    assert "DESIGN WINTER: THE PASS LINE" in done.stdout
    assert "no space left" in done.stderr
    assert names(folder) == ["house.toml"]


def test_a_fault_of_the_program_shows_no_traceback_either(folder):
    code = (
        "import sys\n"
        "from soilflow import cli\n"
        "import soilflow.run\n"
        "soilflow.run.respond = None\n"
        "sys.argv = ['soilflow', 'run', 'house.toml', *sys.argv[1:]]\n"
        "cli.main()"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}

    def stderr(*more):
        done = subprocess.run(
            [sys.executable, "-c", code, *more],
            capture_output=True,
            text=True,
            env=environment,
        )
        assert done.returncode != 0
        return done.stderr

    assert "Traceback" not in stderr()
    assert "fault of the program" in stderr()
    assert "Traceback" in stderr("--debug")


def test_the_command_runs_as_a_program(folder):
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "soilflow.cli", "run", "house.toml", "--json", "--no-figures"],
        capture_output=True,
        text=True,
        env=environment,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["title"] == "Small test house"
