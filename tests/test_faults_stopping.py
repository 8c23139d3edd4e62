"""Ctrl-C at any moment, readers that go away, and houses larger than the memory."""

import io
import json
import os
import signal
import sys
import time
from pathlib import Path

import pytest
from faults import files_at_most, start
from tiny_house import FIRST, SECOND, TEXT, house
from typer.testing import CliRunner

import soilflow
from soilflow import cli, memory
from soilflow.cli.meter import meter
from soilflow.errors import TooLargeError
from soilflow.files.result_hdf5 import read_result
from soilflow.flow.grid import COARSE, FINE, NORMAL
from soilflow.grids import fitting_grid_of, grid_of
from soilflow.memory import BYTES_PER_CELL, free_memory, require_memory
from soilflow.run import run_layout
from soilflow.studies.compare import compare_layouts

PACKAGE = str(Path(soilflow.__file__).parent)
COMMANDS = {
    "new": ["new", "a.toml", "--size", "14 ft x 12 ft", "--pits", "1", "--force"],
    "check": ["check", "house.toml"],
    "run": ["run", "house.toml", "--no-figures"],
    "compare": ["compare", "house.toml", "--layout", FIRST, "--no-figures"],
    "cases": ["cases", "l_shape", "--copy", ".", "--force"],
    "schema": ["schema", "--out", "schema.json"],
}
# Where the interrupt comes: at a share of all calls inside the library, or at a call of the system.
SHARES = (0.02, 0.6)
STEPS = {os.fsync: "c_call", os.replace: "c_return"}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


def call(arguments, hook=None):
    """A command, with something that listens to every call of a function."""
    before = sys.getprofile()
    sys.setprofile(hook)
    try:
        return CliRunner().invoke(cli.app, arguments)
    finally:
        sys.setprofile(before)


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


class Interrupt:
    """Ctrl-C once, at the n-th call inside the library or at a step of the system's."""

    def __init__(self, count=None, step=None):
        self.count, self.step, self.calls, self.pressed = count, step, 0, False

    def __call__(self, frame, event, argument):
        if event == "call" and frame.f_code.co_filename.startswith(PACKAGE):
            self.calls += 1
        there = event == STEPS[self.step] and argument is self.step if self.step else False
        if not self.pressed and (there or self.calls == self.count):
            self.pressed = True
            raise KeyboardInterrupt


@pytest.mark.parametrize("name", COMMANDS)
def test_ctrl_c_at_any_moment_leaves_whole_files_and_no_traceback(name, folder):
    arguments, counter = COMMANDS[name], Interrupt()
    assert call(arguments, counter).exit_code == 0
    assert counter.calls > 10  # so there were moments to choose from
    finished = contents(folder)
    moments = [Interrupt(count=1 + int(share * counter.calls)) for share in SHARES]
    if len(finished) > 1:  # this command writes a file
        moments += [Interrupt(step=step) for step in STEPS]
    for moment in moments:
        for path in folder.iterdir():
            if path.name != "house.toml":
                path.write_text("old")
        done = call(arguments, moment)
        assert moment.pressed
        assert done.exit_code == 130, (vars(moment), done.output)
        assert "Traceback" not in done.output
        found = contents(folder)
        assert found.keys() == finished.keys()  # nothing lost, nothing left
        assert all(found[file] in (b"old", finished[file]) for file in found)
    assert done.stderr.endswith("interrupted\n")


def test_ctrl_c_while_the_program_loads(tmp_path):
    code = (
        "import signal, sys\n"
        "class Press:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'typer':\n"
        "            signal.raise_signal(signal.SIGINT)\n"
        "sys.meta_path.insert(0, Press())\n"
        "from soilflow.__main__ import main\n"
        "main()"
    )
    process = start("-c", code, cwd=tmp_path)
    assert process.communicate() == ("", "interrupted\n")
    assert process.returncode == 130


# Two processes forked for four endless calls; they say who they are.
_ENDLESS = """
import os
from soilflow.flow import side_by_side
side_by_side.processors = lambda: 2

def work(i):
    os.write(1, b"%d\\n" % os.getpid())
    while True:
        pass

try:
    side_by_side.each_of(work, 4)
except KeyboardInterrupt:
    os.write(1, b"stopped\\n")
"""


def alive(pid):
    """Whether a process is there and not merely unburied."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_no_process_outlives_the_one_that_forked_it(how):
    parent = start("-c", _ENDLESS)
    if sys.platform != "linux":  # nothing is forked there: one process, which says its name
        children = [int(parent.stdout.readline())]
    else:
        children = [int(parent.stdout.readline()) for _ in range(2)]
        assert parent.pid not in children
        assert all(map(alive, children))
    parent.send_signal(how)
    out, err = parent.communicate(timeout=20)
    assert (out, err) == ("stopped\n" if how == signal.SIGINT else "", "")
    deadline = time.monotonic() + 10
    while any(map(alive, children)) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not any(map(alive, children))


def test_a_reader_who_has_seen_enough_costs_nothing(folder):
    """As in ``soilflow run house.toml | head -1``."""
    process = start("-m", "soilflow", *COMMANDS["run"])
    process.stdout.close()
    assert process.stderr.read() == ""
    process.wait()
    assert process.returncode == 1
    assert read_result(folder / "house.h5").case_text == TEXT
    assert contents(folder).keys() == {"house.toml", "house.h5"}


def test_nobody_listening_at_all_costs_nothing(folder):
    """As in ``soilflow compare house.toml 2>&1 | head -1``, which also ends the progress lines."""
    process = start("-m", "soilflow", *COMMANDS["compare"])
    process.stdout.close()
    process.stderr.close()
    process.wait()
    rows = (folder / "house_compare.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) >= 2
    assert FIRST in rows[-1]


@pytest.mark.parametrize("arguments", [["--help"], ["schema"]])
def test_an_answer_that_cannot_be_printed_is_said_in_one_line(arguments, folder):
    with open(folder / "answer", "w") as answer, files_at_most(0):
        process = start("-m", "soilflow", *arguments, stdout=answer)
        _, err = process.communicate()
    assert process.returncode == 1
    (line,) = err.splitlines()
    assert "File too large" in line


# What is free is set to lie between what two grids of the small house need. [MB]
def needs(resolution):
    case = house().with_resolution(resolution)
    return grid_of(case, case.layouts[:1]).cells * BYTES_PER_CELL / 1e6


@pytest.mark.parametrize("between", [(COARSE, NORMAL), (NORMAL, FINE)])
def test_too_many_cells_are_refused_with_the_finest_grid_that_fits(between, monkeypatch):
    fits, too_large = between
    free = 0.5 * (needs(fits) + needs(too_large))
    monkeypatch.setattr(memory, "free_memory", lambda: free)
    case = house().with_resolution(too_large)
    with pytest.raises(TooLargeError, match=f'resolution "{fits.name}" would fit') as caught:
        run_layout(case, FIRST, engine=None)  # nothing is solved
    assert caught.value.needed == pytest.approx(needs(too_large))
    assert caught.value.available == free
    case = case.with_resolution(fits)
    assert fitting_grid_of(case, case.layouts[:1]).cells * BYTES_PER_CELL / 1e6 <= free


def test_where_no_grid_fits_none_is_named(monkeypatch):
    monkeypatch.setattr(memory, "free_memory", lambda: 0.5 * needs(COARSE))
    with pytest.raises(TooLargeError, match="close other programs") as caught:
        compare_layouts(house(), [FIRST, SECOND], engine=None)
    assert "would fit" not in str(caught.value)


def test_nothing_is_refused_where_the_system_tells_nothing(monkeypatch):
    monkeypatch.setattr(memory, "_read", lambda path: "")
    monkeypatch.delattr(os, "sysconf")
    monkeypatch.setattr(memory.sys, "platform", "unknown")
    assert free_memory() is None
    require_memory(10**12, lambda _: 1, name="normal")


def test_the_tightest_bound_counts(monkeypatch):
    """Numbers as the Linux kernel writes them (proc(5), cgroups(7), from memory)."""
    files = {
        "/proc/meminfo": "MemTotal: 9000000 kB\nMemAvailable:    3000000 kB\n",
        "/proc/self/cgroup": "4:memory:/box\n0::/box\n",
        "/proc/self/statm": "0 0 0 0 0 0 0\n",
        "/sys/fs/cgroup/memory/box/memory.limit_in_bytes": "9223372036854771712\n",
        "/sys/fs/cgroup/box/memory.max": "max\n",
    }
    monkeypatch.setattr(memory, "_read", lambda path: files.get(path, ""))
    assert free_memory() == pytest.approx(3_072.0)  # 3,000,000 times 1024 B
    files["/sys/fs/cgroup/memory/box/memory.limit_in_bytes"] = "2000000000\n"
    assert free_memory() == pytest.approx(2_000.0)
    files["/sys/fs/cgroup/memory.max"] = "1000000000\n"
    assert free_memory() == pytest.approx(1_000.0)
    files["/proc/self/statm"] = "90000 50000 0 0 0 0 0\n"
    assert free_memory() == pytest.approx(1_000.0 - 0.05 * os.sysconf("SC_PAGE_SIZE"))


# The command under a bound on the address space, set once everything is loaded. [B]
_BOUNDED = """
import resource, sys
import soilflow.cli, soilflow.files.job, soilflow.output.printout, soilflow.run, h5py, pyamg
from soilflow.__main__ import main
from soilflow.memory import _used
room, asked = float(sys.argv[1]), sys.argv[2] == "asked"
if not asked:
    soilflow.run.require_memory = lambda *_, **__: None
limit = int(_used()[0] + room)
resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
sys.argv = ["soilflow", "run", "house.toml", "--no-figures", "--resolution", "normal"]
main()
"""


@pytest.mark.parametrize(
    ("asked", "words"),
    [("asked", "MB are free; "), ("not", "not enough memory")],
)
def test_a_real_bound_on_memory_ends_in_one_line(asked, words, folder):
    """Refused before it starts; and if the estimate should be wrong, still no traceback."""
    room = 0.5e6 * (needs(COARSE) + needs(NORMAL)) if asked == "asked" else 2e6
    process = start("-c", _BOUNDED, str(room), asked)
    out, err = process.communicate()
    assert process.returncode == 3, err
    assert out == ""
    assert words in err.splitlines()[-1]
    assert len(err.splitlines()) == 1
    assert contents(folder).keys() == {"house.toml"}


def test_check_says_that_a_house_will_not_run_here(folder, monkeypatch):
    monkeypatch.setattr(memory, "free_memory", lambda: 0.5 * needs(COARSE))
    done = CliRunner().invoke(cli.app, ["check", "house.toml", "--layout", FIRST, "--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["layouts"][FIRST]["memory_MB"] > 0.0
    (line,) = done.stderr.splitlines()
    assert line.startswith(f'note: "{FIRST}" will not run here: the coarse grid has ')


class Gone:
    """A stream whose reader has gone away, as a pipe or as a terminal."""

    def __init__(self, terminal):
        self.terminal, self.tried = terminal, 0

    def isatty(self):
        return self.terminal

    def write(self, text):
        self.tried += 1
        raise BrokenPipeError(32, "Broken pipe")

    def flush(self):
        pass


def test_progress_nobody_hears_does_not_stop_the_work():
    stream = Gone(terminal=False)
    with meter("fields", stream=stream) as progress:
        for done in range(4):
            progress(done, 3)
    assert stream.tried == 3


def test_ctrl_c_ends_a_bar_that_leaves_nothing_behind():
    screen = io.StringIO()
    screen.isatty = lambda: True

    def work(progress):
        progress(1, 4)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), meter("fields", stream=screen) as progress:
        work(progress)
    assert "1/4" in screen.getvalue()
    assert screen.getvalue().endswith("\x1b[2K")  # the line is wiped
