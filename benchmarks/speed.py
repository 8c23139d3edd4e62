"""Time and memory of whole commands: import, figures and files included.

    python benchmarks/speed.py [--json] [--repeat 3]
    python benchmarks/speed.py --profile [--json] [--layout "four at the walls"]

Each command runs in its own process; the least wall time is shown, and the peak memory of the
largest process where fields are shared among several. Bounds: `run` on four pits within 10 s and
600 MB, `check` within 1 s.

With --profile the command runs once on a single processor, so that no field hides behind another,
and what each step took by itself is shown: the steps add up to the wall time.
"""

from __future__ import annotations

import argparse
import functools
import importlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

CASE = Path(__file__).parents[1] / "cases" / "perimeter_or_centre.toml"
FOUR = "four at the walls"
COMMANDS = {
    "help": ["--help"],
    "check": ["check", str(CASE)],
    "run.four": ["run", str(CASE), "--layout", FOUR, "--quiet"],
    "run.one": ["run", str(CASE), "--layout", "one in the middle", "--quiet"],
}
BOUNDS = {"check": {"seconds": 1.0}, "run.four": {"seconds": 10.0, "MB": 600.0}}

# Where a step is defined, and what it is called here.
STEPS = (
    ("soilflow.files.job", "read_job", "read case"),
    ("soilflow.flow.grid", "grid_for", "grid"),
    ("soilflow.flow.soil_map", "build_soil_map", "soil map"),
    ("soilflow.flow.soil_network", "build_soil_network", "network"),
    ("soilflow.flow.solve", "precondition", "hierarchy"),
    ("soilflow.flow.solve", "solve", "field"),
    ("soilflow.flow.response", "respond", "matrix, port matrix, checks"),
    ("soilflow.baseline", "before_digging", "before digging: the rest"),
    ("soilflow.results.floor", "floor_response", "floor"),
    ("soilflow.run", "evaluate", "conditions"),
    ("soilflow.files.result_hdf5", "write_result", "file"),
    ("soilflow.output.pictures", "save_run_figures", "figures"),
)
# Loaded when first needed; loaded beforehand here, so that no step pays for them.
OTHER_IMPORTS = ("soilflow.cli", "scipy.sparse.linalg", "pyamg", "matplotlib.figure", "h5py")
# Steps taken for the floor before digging are named apart from those with the layout.
UNDUG = "before digging: "


def start(arguments: list[str], folder: str, **more: Any) -> subprocess.Popen[str]:
    """Python with one thread to each process, as the measurements are meant."""
    return subprocess.Popen(
        [sys.executable, *arguments],
        cwd=folder,
        text=True,
        env={**os.environ, "OMP_NUM_THREADS": os.environ.get("OMP_NUM_THREADS", "1")},
        **more,
    )


def measure(arguments: list[str]) -> tuple[float, float]:
    """Wall time [s] and peak memory [MB] of one command."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        child = start(["-m", "soilflow.cli", *arguments], folder, stdout=subprocess.DEVNULL)
        _, status, usage = os.wait4(child.pid, 0)
        if status != 0:
            raise SystemExit(f"soilflow {' '.join(arguments)} ended with status {status}")
        return time.perf_counter() - began, usage.ru_maxrss / 1024.0


def measure_all(repeat: int) -> dict[str, dict[str, Any]]:
    """Every command some times over, with its bounds and whether it kept them."""
    table: dict[str, dict[str, Any]] = {}
    for name, arguments in COMMANDS.items():
        runs = [measure(arguments) for _ in range(repeat)]
        row: dict[str, Any] = {"seconds": min(r[0] for r in runs), "MB": max(r[1] for r in runs)}
        if name in BOUNDS:
            row["bounds"] = BOUNDS[name]
            row["kept"] = all(row[what] <= bound for what, bound in BOUNDS[name].items())
        table[name] = row
    return table


class Stopwatch:
    """What each watched function took by itself, without the watched ones it called."""

    def __init__(self) -> None:
        self.spent: dict[str, float] = {}
        self.open: list[tuple[str, float]] = []
        self.inner: list[float] = []

    def watch(self, module: str, function: str, step: str) -> None:
        """Put a watched one in the place of a function, wherever it was imported to."""
        original = getattr(importlib.import_module(module), function)

        @functools.wraps(original)
        def watched(*arguments: Any, **options: Any) -> Any:
            self.open.append((step, time.perf_counter()))
            self.inner.append(0.0)
            try:
                return original(*arguments, **options)
            finally:
                self._close()

        for name, loaded in list(sys.modules.items()):
            if name.partition(".")[0] == "soilflow":
                for key, value in list(vars(loaded).items()):
                    if value is original:
                        setattr(loaded, key, watched)

    def _close(self) -> None:
        step, began = self.open.pop()
        whole = time.perf_counter() - began
        own = whole - self.inner.pop()
        if self.inner:
            self.inner[-1] += whole
        if any(outer == f"{UNDUG}the rest" for outer, _ in self.open):
            step = UNDUG + step
        if step.endswith("field"):
            step += f" {1 + sum(name.startswith(f'{step} ') for name in self.spent)}"
        self.spent[step] = self.spent.get(step, 0.0) + own


def profile_here(arguments: list[str]) -> dict[str, float]:
    """Run the command in this process on one processor, watched. [s]"""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    began = time.perf_counter()
    for module in (*OTHER_IMPORTS, *(step[0] for step in STEPS)):
        importlib.import_module(module)
    imported = time.perf_counter()
    stopwatch = Stopwatch()
    for step in STEPS:
        stopwatch.watch(*step)
    command: Callable[[], None] = importlib.import_module("soilflow.cli").main
    sys.argv = ["soilflow", *arguments]
    ready = time.perf_counter()
    try:
        command()
    except SystemExit as ended:
        if ended.code not in (None, 0):
            raise
    whole = time.perf_counter() - ready
    rest = whole - sum(stopwatch.spent.values())
    return {"imports": imported - began, **stopwatch.spent, "the rest of the command": rest}


def profile(case: Path, layout: str) -> dict[str, float]:
    """Seconds by step of `run` on one layout, the start of Python included; they add up. [s]"""
    command = ["run", str(case), "--layout", layout, "--quiet"]
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        child = start([__file__, "--inside", *command], folder, stdout=subprocess.PIPE)
        steps = json.loads(child.communicate()[0] or "{}")
        whole = time.perf_counter() - began
    if child.returncode != 0:
        raise SystemExit(f"soilflow {' '.join(command)} ended with status {child.returncode}")
    return {"start of Python": whole - sum(steps.values()), **steps}


def show_commands(table: dict[str, dict[str, Any]]) -> None:
    for name, row in table.items():
        line = f"{name:<10} {row['seconds']:>7.2f} s {row['MB']:>6.0f} MB"
        if "bounds" in row:
            units = {"seconds": "s", "MB": "MB"}
            bounds = ", ".join(f"{bound:g} {units[w]}" for w, bound in row["bounds"].items())
            line += f"   bound {bounds}: {'kept' if row['kept'] else 'BROKEN'}"
        print(line)


def show_profile(steps: dict[str, float]) -> None:
    whole = sum(steps.values())
    for step, seconds in steps.items():
        print(f"{step:<44} {seconds:>7.2f} s {100 * seconds / whole:>5.1f} %")
    print(f"{'together, on one processor':<44} {whole:>7.2f} s")


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        print(json.dumps(profile_here(sys.argv[2:])))
        return
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--profile", action="store_true", help="where the time of a run goes")
    parser.add_argument("--layout", default=FOUR, help="layout to profile")
    options = parser.parse_args()
    if options.profile:
        table: Any = profile(CASE, options.layout)
        show: Callable[[Any], None] = show_profile
    else:
        table, show = measure_all(options.repeat), show_commands
    if options.json:
        print(json.dumps(table, indent=1))
    else:
        show(table)


if __name__ == "__main__":
    main()
