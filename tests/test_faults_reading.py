"""Result files that are cut short, damaged, foreign or of another version: one clear refusal."""

import random
import re

import h5py
import numpy as np
import pytest
from tiny_house import TEXT, house, solved
from typer.testing import CliRunner

from soilflow import cli
from soilflow.errors import ResultFileError
from soilflow.files.result_hdf5 import SIGNATURE, read_result, write_result

AGAIN = 'run the case again with "soilflow run CASE"'


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The bytes of a good result file."""
    path = tmp_path_factory.mktemp("results") / "house.h5"
    write_result(solved(), house(), TEXT, path)
    assert read_result(path).case_text == TEXT
    return path.read_bytes()


def refusal(path):
    """What reading says; it must refuse in one line that names file and remedy."""
    with pytest.raises(ResultFileError) as caught:
        read_result(path)
    words = str(caught.value)
    assert words.startswith(f'"{path}"')
    assert AGAIN in words
    assert "\n" not in words
    return words


def attempt(path):
    """What reading says, if it refuses; what it reads must be the case as it was."""
    try:
        stored = read_result(path)
    except ResultFileError as error:
        return str(error)
    assert stored.case_text == TEXT
    return ""


def test_a_file_cut_anywhere_is_refused(whole, tmp_path):
    """Every length up to past the superblock, then some of each stretch, then the last bytes."""
    size = len(whole)
    lengths = [*range(0, 110), *range(110, size, size // 60), *range(size - 12, size)]
    path = tmp_path / "cut.h5"
    for length in lengths:
        path.write_bytes(whole[:length])
        words = refusal(path)
        short = length < len(SIGNATURE)
        assert ("is no result file" if short else "is cut short or damaged") in words, length
    path.write_bytes(whole)
    assert read_result(path).case_text == TEXT


def test_noise_is_refused(tmp_path):
    dice = random.Random(1)
    path = tmp_path / "noise.h5"
    for size in (1, 8, 100, 5_000):
        path.write_bytes(dice.randbytes(size))
        assert "is no result file" in refusal(path)
        path.write_bytes(SIGNATURE + dice.randbytes(size))
        assert "damaged" in refusal(path)


def test_damage_is_refused_or_does_no_harm(whole, tmp_path):
    """Bytes overwritten here and there: never any other error, and the case text never changes."""
    dice = random.Random(2)
    path = tmp_path / "damaged.h5"
    refused = 0
    for _ in range(24):
        damaged = bytearray(whole)
        size = dice.choice([1, 8, 512])
        start = dice.randrange(len(whole) if size > 1 else 20_000)
        damaged[start : start + size] = dice.randbytes(len(damaged[start : start + size]))
        path.write_bytes(damaged)
        said = attempt(path)
        assert said == "" or AGAIN in said
        refused += said != ""
    assert refused > 8


def edited(path, whole, change):
    """A good file, with something about it changed."""
    path.write_bytes(whole)
    with h5py.File(path, "r+") as file:
        change(file)
    return path


def test_hdf5_of_others_is_refused(whole, tmp_path):
    path = tmp_path / "foreign.h5"
    marks = ["other", b"other", 2, np.arange(3.0), np.array(["soilflow result", "twice"], object)]
    for mark in [None, *marks]:
        with h5py.File(path, "w") as file:
            file["pressure"] = np.zeros((2, 3))
            if isinstance(mark, np.ndarray) and mark.dtype == object:
                file.attrs.create("format", mark, dtype=h5py.string_dtype())
            elif mark is not None:
                file.attrs["format"] = mark
        assert re.search("not of soilflow|no result of soilflow", refusal(path))


def _replace(file, name, value):
    del file[name]
    file[name] = value


STRANGE = {
    "no version": lambda file: file.attrs.__delitem__("format_version"),
    "a version in words": lambda file: file.attrs.update(format_version="second"),
    "several versions": lambda file: file.attrs.update(format_version=[1, 2]),
    "no layout": lambda file: file.attrs.__delitem__("layout"),
    "a number for a case": lambda file: _replace(file, "case", 3.0),
    "no hash": lambda file: file["case"].attrs.__delitem__("sha256"),
    "a group for a case": lambda file: (file.__delitem__("case"), file.create_group("case")),
    "a number for notes": lambda file: _replace(file, "notes", 3.0),
    "an array for versions": lambda file: file.__delitem__("versions"),
    "a link to nowhere": lambda file: _replace(file, "x", h5py.SoftLink("/nowhere")),
    "an array of nothing": lambda file: _replace(file, "x", h5py.Empty("f")),
    "an array of unknown unit": lambda file: file.create_dataset("odd", data=np.zeros(3)),
    "a field without its height": lambda file: (
        file["conditions/today/pressure"].dims[0].detach_scale(file["z"])
    ),
}


@pytest.mark.parametrize("name", STRANGE)
def test_a_file_that_says_it_is_ours_but_is_not_is_refused(name, whole, tmp_path):
    said = refusal(edited(tmp_path / "a.h5", whole, STRANGE[name]))
    assert "cut short or damaged" in said or "no result of soilflow" in said


@pytest.mark.parametrize(
    ("version", "words"),
    [
        (1, r"is of an older soilflow \(format 1, this one reads 2\)"),
        (0, "older soilflow"),
        (3, r"is of a newer soilflow \(format 3, this one reads 2\): update soilflow, or run"),
        (1_000, "newer soilflow"),
    ],
)
def test_another_version_says_what_to_do(version, words, whole, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = edited(tmp_path / "a.h5", whole, lambda file: file.attrs.update(format_version=version))
    assert re.search(words, refusal(path))
    done = CliRunner().invoke(cli.app, ["run", "a.h5"])
    assert (done.exit_code, done.stdout) == (1, "")
    (line,) = done.stderr.splitlines()
    assert re.search(words, line)
    assert AGAIN in line
    assert [file.name for file in tmp_path.iterdir()] == ["a.h5"]


def test_the_case_in_an_older_file_is_where_the_message_says(whole, tmp_path):
    path = edited(
        tmp_path / "a.h5", whole, lambda file: file.attrs.__setitem__("format_version", 1)
    )
    assert 'its text is in the file, as the array "case"' in refusal(path)
    with h5py.File(path) as file:
        assert file["case"].asstr()[()] == TEXT


def test_a_file_that_may_not_be_read_is_not_called_damaged(tmp_path, monkeypatch):
    path = tmp_path / "a.h5"
    path.write_bytes(SIGNATURE)

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(ResultFileError, match="cannot be read: Permission denied"):
        read_result(path)
