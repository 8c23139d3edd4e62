"""Whatever a case file holds: a located message or a correct run, never a traceback or a hang.

200 files in every run of the suite, the same ones each time; ten thousand with ``-m long``.
"""

from __future__ import annotations

import signal
import tempfile
import warnings
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import tomli_w
from hostile_cases import EVERYTHING, broken_files, coarse, obeyed, sources
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from tiny_house import TEXT
from typer.testing import CliRunner

from soilflow import cli
from soilflow.errors import CaseError, SoilflowError
from soilflow.files.case_toml import read_case
from soilflow.grids import estimate
from soilflow.run import run_layout

LONGEST = 10.0  # seconds for one file; most take a fiftieth of one
PARTS, EACH = 40, 250
MOST_CELLS = 60_000


@contextmanager
def no_hang(seconds=LONGEST):
    """Stop what takes too long, where the system can."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def stop(*_):
        raise AssertionError(f"still busy after {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def check_message(error: CaseError, path: Path, data: bytes):
    """A located message: the file, a line of it, and words a person can read."""
    assert error.mistakes
    for mistake in error.mistakes:
        assert mistake.file == str(path)
        assert 0 <= mistake.line <= data.count(b"\n") + 1
        assert len(mistake.message) > 10, mistake
        assert len(str(mistake)) < 1500, mistake
        assert obeyed(str(mistake)) == set(), mistake
        for inner in ("object at 0x", "Traceback", "soilflow.", "pydantic", "<class"):
            assert inner not in mistake.message, mistake


def check_command(path: Path):
    """The command on the same file: its exit code says what its lines say."""
    done = CliRunner().invoke(cli.app, ["check", str(path)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code in (0, 1), done.output
    assert "Traceback" not in done.output
    assert obeyed(done.output) == set()
    if done.exit_code:
        assert done.stderr.startswith(str(path)), done.stderr
    return done.exit_code


def check_result(result):
    """Balance at its bound, coverage a share, pressures between those of the ports."""
    assert result.mass_balance <= 1e-8
    for condition in result.conditions.values():
        for share in (*condition.coverage_area.values(), *condition.coverage_perimeter.values()):
            assert np.isnan(share) or 0.0 <= share <= 1.0 + 1e-12
        ports = condition.operating_point.pressures
        pressure = condition.floor.pressure[np.isfinite(condition.floor.pressure)]
        slack = 1e-6 * max(1.0, np.ptp(ports))
        assert np.all(np.isfinite(ports))
        assert np.all(pressure >= ports.min() - slack)
        assert np.all(pressure <= ports.max() + slack)


def read_check_solve(data: bytes, *, command=True, solve=True) -> str:
    """What became of a file: refused, read, or solved."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings(), no_hang():
        warnings.simplefilter("ignore")
        path = Path(folder) / "case.toml"
        path.write_bytes(data)
        try:
            case = read_case(path)
        except CaseError as error:
            check_message(error, path, data)
            assert not command or check_command(path) == 1
            return "refused"
        if command and check_command(path) == 1:
            return "refused by check"
        if not solve:
            return "read"
        try:
            if estimate(case, case.layouts[0]).cells > MOST_CELLS:
                return "read"
            result = run_layout(case)
        except SoilflowError as error:
            return f"not solved: {type(error).__name__}" if len(str(error)) > 20 else "no words"
        check_result(result)
        return "solved"


def look(count, **more):
    return settings(
        max_examples=count,
        deadline=timedelta(seconds=LONGEST),
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
        **more,
    )


@look(200, derandomize=True)
@given(data=broken_files(), more=st.integers(0, 7))
def test_broken_files_are_read_or_refused(data, more):
    assert read_check_solve(data, command=more == 5, solve=more == 5) != "no words"


@pytest.mark.long
@pytest.mark.parametrize("part", range(PARTS))
def test_ten_thousand_broken_files(part):
    @seed(part)
    @look(EACH)
    @given(data=broken_files())
    def one_part(data):
        assert read_check_solve(data) != "no words"

    one_part()


@pytest.mark.parametrize("text", [EVERYTHING, TEXT], ids=["everything", "tiny"])
def test_the_good_files_are_solved(text):
    """So that what is broken was whole before."""
    assert read_check_solve(tomli_w.dumps(coarse(text)).encode()) == "solved"


def test_the_shipped_files_are_read():
    assert {
        read_check_solve(text.encode(), command=False, solve=False) for text in set(sources())
    } == {"read"}
