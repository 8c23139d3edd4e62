"""Full disks, folders that take no files, kills and rivals: the old file or the new one, whole."""

import ast
import contextlib
import functools
import os
import signal
import subprocess
import time

import pytest
from faults import files_at_most, fill, may_mount, mounted, start
from read_source import read_modules
from tiny_house import SECOND, TEXT, house, solved
from typer.testing import CliRunner

import soilflow.run
from soilflow import cli
from soilflow.errors import InputError
from soilflow.files import atomic
from soilflow.files.atomic import check_folder, replacing
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.studies import compare as studies
from soilflow.studies.compare import compare_layouts

MOUNTS = may_mount()
# What each command that writes is asked for, and the file it would replace.
WRITES = {
    "run": (["run", "house.toml", "--out", "disk", "--no-figures"], "house.h5"),
    "xdmf": (["run", "house.toml", "--out", "disk", "--no-figures", "--xdmf"], "house.xdmf"),
    "compare": (
        ["compare", "house.toml", "--layout", SECOND, "--out", "disk", "--no-figures"],
        "house_compare.csv",
    ),
    "check": (["check", "house.toml", "--plan", "disk/plan.svg"], "plan.svg"),
    "new": (["new", "disk/a.toml", "--size", "14 ft x 12 ft", "--pits", "1", "--force"], "a.toml"),
    "schema": (["schema", "--out", "disk/schema.json"], "schema.json"),
    "cases": (["cases", "l_shape", "--copy", "disk", "--force"], "l_shape.toml"),
}
# Those whose answer is worth more than the file.
ANSWERS = {
    "run": "DESIGN WINTER: THE PASS LINE",
    "xdmf": "DESIGN WINTER: THE PASS LINE",
    "compare": SECOND,
    "check": "Nothing was solved.",
}


@pytest.fixture
def disk(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "disk").mkdir()
    return tmp_path / "disk"


@pytest.fixture
def quick(monkeypatch):
    """Solves of the small house, made once for all tests."""
    monkeypatch.setattr(soilflow.run, "run_layout", lambda *_, **__: solved())
    monkeypatch.setattr(studies, "compare_layouts", lambda *_, **__: compared())


@functools.cache
def compared():
    return compare_layouts(house(), [SECOND])


def call(arguments):
    return CliRunner().invoke(cli.app, arguments)


@contextlib.contextmanager
def no_room(disk, how):
    """A folder that holds its files but takes no byte more."""
    if how == "limit":
        with files_at_most(0):
            yield
    else:
        fill(disk)
        yield


@contextlib.contextmanager
def holding(disk, how, options, **old):
    """The folder as it is, or a disk of its own where the machine lets us, with files in it."""
    with mounted(disk, options) if how == "disk" else contextlib.nullcontext():
        for name, text in old.items():
            (disk / name).write_text(text)
        yield


HOW = ["limit", *(["disk"] if MOUNTS else [])]


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("name", WRITES)
def test_a_full_disk_costs_neither_the_old_file_nor_the_answer(name, how, disk, quick):
    arguments, target = WRITES[name]
    with holding(disk, how, "size=64k", **{target: "old"}):
        with no_room(disk, how):
            done = call(arguments)
        left = {path.name: path for path in disk.iterdir() if path.name != "filler"}
        assert left.keys() == {target}
        assert left[target].read_text() == "old"
    assert done.exit_code == 1, done.output
    (line,) = [text for text in done.stderr.splitlines() if not text.startswith("layouts: ")]
    why = "No space left on device; make room" if how == "disk" else "File too large; raise"
    assert why in line
    assert line.startswith(f'"disk/{target if name != "xdmf" else "house."}')
    assert ANSWERS.get(name, "") in done.stdout
    assert "Traceback" not in done.output


@pytest.mark.parametrize("size", [1, 4096, 300_000])
def test_a_disk_that_fills_up_half_way_leaves_the_old_result(size, tmp_path):
    """Written straight to such a disk, HDF5 1.14 ended the whole process."""
    path = tmp_path / "house.h5"
    path.write_text("old")
    with files_at_most(size), pytest.raises(OSError, match="File too large") as caught:
        write_result(solved(), house(), TEXT, path)
    assert caught.value.filename == str(path)
    assert [file.name for file in tmp_path.iterdir()] == ["house.h5"]
    assert path.read_text() == "old"
    write_result(solved(), house(), TEXT, path)
    assert path.stat().st_size > 300_000  # so it would not have fitted


def unwritable(tmp_path):
    """A folder that takes no file, whoever asks."""
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    for folder in (locked, "/proc", "/sys"):
        try:
            with open(f"{folder}/probe", "w"):
                os.unlink(f"{folder}/probe")
        except OSError:
            return str(folder)
    raise AssertionError("no folder on this machine refuses a file")


@pytest.mark.parametrize("name", WRITES)
def test_a_folder_that_takes_no_file_is_refused_before_the_work(name, disk, monkeypatch):
    folder = unwritable(disk.parent)
    monkeypatch.setattr(soilflow.run, "respond", None)  # nothing may be solved
    arguments = [text.replace("disk", folder) for text in WRITES[name][0]]
    done = call(arguments)
    assert done.exit_code == 2, done.output
    (line,) = done.stderr.splitlines()
    assert f'"{folder}": this folder may not be written to' in line
    assert line.endswith("name another")


def test_a_disk_mounted_to_be_read_is_refused(disk):
    """Where the machine lets us mount one; elsewhere the folder of the test above stands in."""
    with mounted(disk, "ro") if MOUNTS else contextlib.nullcontext():
        folder = disk if MOUNTS else unwritable(disk.parent)
        with pytest.raises(InputError, match="may not be written to"):
            check_folder(disk.parent / folder)


# Four processes, each of which writes "new" over "old" and is killed without notice at one step.
_KILLED = """
import os, signal, sys
from pathlib import Path
from soilflow.files import atomic

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

def write(where, target):
    really = os.replace
    if where == "sync":
        atomic.os.fsync = die
    elif where == "before":
        atomic.os.replace = die
    elif where == "after":
        atomic.os.replace = lambda *names: (really(*names), die())
    with atomic.replacing(target) as temporary, open(temporary, "w") as file:
        file.write("n")
        file.flush()
        if where == "half":
            die()
        file.write("ew")
        file.close()

for where in ("half", "sync", "before", "after"):
    child = os.fork()
    if not child:
        write(where, Path(where) / "house.h5")
        os._exit(0)
    assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
"""


def test_a_kill_leaves_the_old_file_or_the_new_one(tmp_path):
    found = {"half": "old", "sync": "old", "before": "old", "after": "new"}
    for where in found:
        (tmp_path / where).mkdir()
        (tmp_path / where / "house.h5").write_text("old")
    process = start("-c", _KILLED, cwd=tmp_path)
    assert process.communicate() == ("", "")
    assert process.returncode == 0
    for where, text in found.items():
        path = tmp_path / where / "house.h5"
        assert path.read_text() == text
        left = [file.name for file in path.parent.iterdir() if file != path]
        assert len(left) == (text == "old")
        assert all(name.startswith(".house.unfinished-") for name in left)  # hidden, and says it


def test_a_killed_run_leaves_the_old_result_and_the_next_one_tidies_up(disk):
    code = (
        "import os, signal, sys\n"
        "from soilflow.files import atomic\n"
        "atomic.os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "from soilflow.cli import main\n"
        "sys.argv = ['soilflow', 'run', 'house.toml', '--out', 'disk', '--no-figures', '-q']\n"
        "main()"
    )
    write_result(solved(), house(), TEXT, disk / "house.h5")
    old = (disk / "house.h5").read_bytes()
    process = start("-c", code)
    assert process.communicate() == ("", "")
    assert process.returncode == -signal.SIGKILL
    assert (disk / "house.h5").read_bytes() == old
    (left,) = disk.glob(".house.unfinished-*.h5")
    hour = 3600.0
    now = time.time()
    for age, stays in ((0.9 * hour, True), (1.1 * hour, False)):
        os.utime(left, (now - age, now - age))
        write_result(solved(), house(), TEXT, disk / "house.h5")
        assert left.exists() == stays
    assert read_result(disk / "house.h5").case_text == TEXT


def test_only_leftovers_of_the_same_file_are_taken_away(tmp_path):
    own = ".house.unfinished-0123abcd.h5"
    others = [
        ".house.unfinished-0123abcd.png",
        ".house.unfinished-0123abcd.h5.bak",
        ".house.unfinished-draft.h5",
        ".houses.unfinished-0123abcd.h5",
        "house.unfinished-0123abcd.h5",
        ".house.h5",
    ]
    for name in (own, *others):
        (tmp_path / name).write_text("")
        os.utime(tmp_path / name, (0.0, 0.0))
    with replacing(tmp_path / "house.h5") as temporary:
        temporary.write_text("new")
    assert {path.name for path in tmp_path.iterdir()} == {"house.h5", *others}


def test_the_longest_name_a_system_takes_can_be_written(tmp_path):
    path = tmp_path / f"{'a' * 252}.h5"
    with replacing(path) as temporary:
        temporary.write_text("new")
    assert path.read_text() == "new"


# Writes one letter a million times over to a name that others write to as well, until told to stop.
_RIVAL = """
import sys
from pathlib import Path
from soilflow.files.atomic import replacing
while sys.stdin.read(1):
    with replacing(Path(sys.argv[1])) as temporary:
        temporary.write_text(sys.argv[2] * 1_000_000)
"""


def test_two_runs_that_write_one_name_never_make_a_mixture(tmp_path):
    path = tmp_path / "house.h5"
    path.write_text("A" * 1_000_000)
    rivals = [start("-c", _RIVAL, str(path), letter, stdin=subprocess.PIPE) for letter in "AB"]
    seen = []
    while len(seen) < 100 or set(seen) != {"A", "B"}:
        for rival in rivals:
            assert rival.poll() is None
            rival.stdin.write("+")  # one more, please
            rival.stdin.flush()
        text = path.read_text()
        assert len(text) == 1_000_000
        assert text == text[0] * 1_000_000
        seen.append(text[0])
    for rival in rivals:
        rival.kill()
        rival.communicate()
    left = [file.name for file in tmp_path.iterdir() if file != path]
    assert all(name.startswith(".house.unfinished-") for name in left)


WRITERS = {"write_text", "write_bytes", "savefig", "tofile", "save", "savez"}


def straight_writes(tree):
    """Functions that write a file without moving it into place afterwards, with their line."""
    found = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        calls = [node for node in ast.walk(function) if isinstance(node, ast.Call)]
        names = [ast.unparse(node.func).rpartition(".")[2] for node in calls]
        opened = any(
            name == "open" and any(ast.unparse(a) in ("'w'", "'wb'", "'a'") for a in node.args)
            for name, node in zip(names, calls, strict=True)
        )
        if (WRITERS & set(names) or opened) and "replacing" not in names:
            found.append(f"{function.name}:{function.lineno}")
    return found


def test_nothing_writes_a_file_straight_to_its_name():
    modules = read_modules()
    assert len(modules) > 100
    assert {m.name: straight_writes(m.tree) for m in modules if straight_writes(m.tree)} == {}
    through = [m.name for m in modules if "replacing(" in m.text]
    assert len(through) >= 7  # so the scan had writers to look at


@pytest.mark.parametrize(
    "line",
    ["path.write_text('a')", "figure.savefig(path, dpi=3)", "open(path, 'wb')", "path.open('w')"],
)
def test_a_straight_write_is_found(line):
    assert straight_writes(ast.parse(f"def save(path, figure):\n    {line}\n")) == ["save:1"]
    kept = f"def save(path, figure):\n    with replacing(path) as path:\n        {line}\n"
    assert straight_writes(ast.parse(kept)) == []
    assert atomic.__all__ == ["check_folder", "replacing"]
