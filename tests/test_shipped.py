"""The shipped cases as a command lists, prints and copies them, and as an installation has them."""

import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from soilflow import cli
from soilflow.errors import InputError
from soilflow.files import read_case
from soilflow.files.shipped import shipped_case, shipped_cases

ROOT = Path(__file__).parents[1]
ONE = "perimeter_or_centre"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def call(*arguments):
    return CliRunner().invoke(cli.app, ["cases", *arguments])


def test_they_are_listed_with_their_question(folder):
    done = call()
    assert done.exit_code == 0
    assert set(shipped_cases()) == {path.stem for path in (ROOT / "cases").glob("*.toml")}
    assert ONE in shipped_cases()
    flat = " ".join(done.stdout.split())
    for name, path in shipped_cases().items():
        question = tomllib.loads(path.read_text(encoding="utf-8"))["question"]
        assert f"{name} {question}" in flat
    assert max(map(len, done.stdout.splitlines())) <= 60
    assert call("-q").output == ""


def test_at_length_and_as_json_they_say_what_can_be_run(folder):
    long = " ".join(call("-v").stdout.split())
    told = json.loads(call("--json").stdout)
    assert set(told) == set(shipped_cases())
    case = read_case(shipped_case(ONE))
    for layout in case.layouts:
        assert f'"{layout.name}"' in long
        assert layout.name in told[ONE]["layouts"]
    for variant in case.variants:
        assert variant in long
        assert variant in told[ONE]["variants"]
    assert " ".join(case.answer.split()) in long


def test_one_is_printed_word_for_word(folder):
    path = shipped_case(f"{ONE}.toml")
    assert call(ONE).stdout == path.read_text(encoding="utf-8")
    assert call(ONE, "-q").output == ""


def test_a_copy_reads_and_is_laid_over_another_file_only_when_told(folder):
    done = call(ONE, "--copy", ".", "--json")
    assert json.loads(done.stdout) == {"files": [f"{ONE}.toml"]}
    copy = folder / f"{ONE}.toml"
    assert read_case(copy) == read_case(shipped_case(ONE))
    copy.write_text("mine", encoding="utf-8")
    done = call("--copy", ".")
    assert (done.exit_code, copy.read_text(encoding="utf-8")) == (2, "mine")
    assert "is there already" in done.stderr
    assert call("--copy", ".", "--force", "-q").exit_code == 0
    assert read_case(copy) == read_case(shipped_case(ONE))
    assert {path.stem for path in folder.iterdir()} == set(shipped_cases())


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "no such case"),
        (["perimeter"], f'did you mean "{ONE}"?'),
        (["--copy", "none"], "no such folder"),
    ],
)
def test_what_is_not_there_is_said(folder, arguments, words):
    done = call(*arguments)
    assert done.exit_code == 2
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    with pytest.raises(InputError, match="there are"):
        shipped_case("nowhere")


def test_an_installation_has_them_too(tmp_path):
    """Laid out as an installer does it: data files under the prefix, all of them in RECORD."""
    prefix = tmp_path / "prefix"
    site = prefix / "lib" / "python3" / "site-packages"
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    placed = []
    for path in (ROOT / "soilflow").rglob("*"):
        if path.suffix in (".py", ".toml"):
            placed.append(_copy(path, site / path.relative_to(ROOT)))
    for folder, patterns in settings["tool"]["setuptools"]["data-files"].items():
        for path in [path for pattern in patterns for path in ROOT.glob(pattern)]:
            placed.append(_copy(path, prefix / folder / path.name))
    about = site / "soilflow-0.1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: soilflow\nVersion: 0.1.0\n")
    record = [f"{os.path.relpath(path, site)},," for path in placed]
    (about / "RECORD").write_text("\n".join(record), encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": str(site), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-P", "-m", "soilflow.cli", "cases", ONE],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env=environment,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == (ROOT / "cases" / f"{ONE}.toml").read_text(encoding="utf-8")
    [copied] = [path for path in placed if path.stem == ONE]
    copied.write_text('title = "only here"', encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-P", "-m", "soilflow.cli", "cases", "--copy", "."],
        cwd=tmp_path,
        env=environment,
    )
    assert (tmp_path / copied.name).read_text(encoding="utf-8") == 'title = "only here"'


def _copy(path, target):
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(path.read_bytes())
    return target
