"""The shipped cases as a command lists, prints and copies them."""

import json

import pytest
from typer.testing import CliRunner

from soilflow import cli
from soilflow.errors import InputError
from soilflow.files import read_case
from soilflow.files.shipped import question_of, shipped_case, shipped_cases


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def call(*arguments):
    return CliRunner().invoke(cli.app, ["cases", *arguments])


def test_they_are_listed_with_their_question(folder):
    done = call()
    assert done.exit_code == 0
    assert shipped_cases()
    for name, path in shipped_cases().items():
        assert f"{name}\n" in done.stdout
        assert question_of(path)[1].split()[0] in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 60
    assert set(json.loads(call("--json").stdout)) == set(shipped_cases())
    assert call("-q").stdout == ""


def test_one_is_printed_word_for_word(folder):
    path = shipped_case("perimeter_or_centre.toml")
    assert call("perimeter_or_centre").stdout == path.read_text(encoding="utf-8")


def test_a_copy_reads_and_is_never_laid_over_another_file(folder):
    assert call("perimeter_or_centre", "--copy", ".").exit_code == 0
    copy = folder / "perimeter_or_centre.toml"
    assert read_case(copy) == read_case(shipped_case("perimeter_or_centre"))
    copy.write_text("mine", encoding="utf-8")
    done = call("--copy", ".")
    assert (done.exit_code, copy.read_text(encoding="utf-8")) == (2, "mine")
    assert "is there already" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [(["nowhere"], "no such case"), (["--copy", "none"], "no such folder")],
)
def test_what_is_not_there_is_said(folder, arguments, words):
    done = call(*arguments)
    assert done.exit_code == 2
    assert words in done.stderr
    with pytest.raises(InputError, match="there are"):
        shipped_case("nowhere")
