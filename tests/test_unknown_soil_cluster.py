"""A real Dask scheduler with two workers, one of them killed midway, and the asker killed once."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from tiny_house import FIRST, RANGES

from soilflow.files.unknown_soil_run import plan_soils, run_soils
from soilflow.studies.workforce import on_this_machine

ROOT = Path(__file__).parents[1]
MEMBERS = 16
PATIENCE = 60.0  # s, on a machine that does ten other things


def until(true):
    """Look every twentieth of a second until something is there."""
    tick, start = threading.Event(), time.monotonic()
    while not (found := true()):
        assert time.monotonic() - start < PATIENCE
        tick.wait(0.05)
    return found


@pytest.fixture
def start(tmp_path):
    """Start a program of Python; whatever is still there at the end is killed."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}

    def begin(*arguments):
        with open(tmp_path / f"log{len(started)}", "w", encoding="utf-8") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", *map(str, arguments)],
                cwd=tmp_path,
                env=environment,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        started.append(process)
        return process

    started = []
    try:
        yield begin
    finally:
        for process in started:
            process.kill()
            process.wait()


def test_a_lost_worker_and_a_lost_asker_cost_nothing(tmp_path, start):
    (tmp_path / "house.toml").write_text(RANGES, encoding="utf-8")
    told = tmp_path / "scheduler.json"
    place = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
    start("distributed.cli.dask_scheduler", *place, "--scheduler-file", told)
    quiet = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1")
    file = ("--scheduler-file", told)
    until(told.exists)
    workers = [start("distributed.cli.dask_worker", *quiet, *file) for _ in range(2)]

    def address():
        found = [w for w in told.read_text(encoding="utf-8").split('"') if w.startswith("tcp://")]
        return found[0] if found else None

    line = ("soilflow.cli", "ensemble", "house.toml", "--members", MEMBERS, "--seed", "3")
    line = (*line, "--layout", FIRST, "--scheduler", until(address))
    records = tmp_path / "house_soils" / "records"

    def done():
        return len(list(records.glob("[0-9a-f]*.json"))) if records.exists() else 0

    asker = start(*line)
    until(lambda: done() >= 2 or asker.poll() is not None)
    workers[0].send_signal(signal.SIGKILL)
    until(lambda: done() >= 5 or asker.poll() is not None)
    asker.send_signal(signal.SIGKILL)
    asker.wait()
    kept = done()
    assert 5 <= kept < MEMBERS

    again = start(*line)
    assert again.wait(PATIENCE) == 0
    said = (tmp_path / "log4").read_text(encoding="utf-8")
    assert f"{MEMBERS - kept} of {MEMBERS} soils left" in said
    assert workers[1].poll() is None
    assert done() == MEMBERS

    options = {"members": MEMBERS, "seed": 3, "layouts": [FIRST]}
    together = plan_soils(RANGES, **options, folder=records)
    assert (together.left, together.notes) == (0, ())
    with on_this_machine(1) as alone:
        serial = run_soils(plan_soils(RANGES, **options), alone)
        assert run_soils(together, alone).outcomes == serial.outcomes
