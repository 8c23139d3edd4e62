"""Time and memory of whole commands: import, figures and files included.

    python benchmarks/speed.py [--json] [--repeat 3]

Each command runs in its own process; the least wall time and the peak memory are shown.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

CASE = Path(__file__).parents[1] / "cases" / "perimeter_or_centre.toml"
COMMANDS = {
    "help": ["--help"],
    "check": ["check", str(CASE)],
    "run.four": ["run", str(CASE), "--layout", "four at the walls", "--quiet"],
    "run.one": ["run", str(CASE), "--layout", "one in the middle", "--quiet"],
}


def measure(arguments: list[str]) -> tuple[float, float]:
    """Wall time [s] and peak memory [MB] of one command."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        child = subprocess.Popen(
            [sys.executable, "-m", "soilflow.cli", *arguments],
            cwd=folder,
            stdout=subprocess.DEVNULL,
            env={**os.environ, "OMP_NUM_THREADS": os.environ.get("OMP_NUM_THREADS", "1")},
        )
        _, status, usage = os.wait4(child.pid, 0)
        if status != 0:
            raise SystemExit(f"soilflow {' '.join(arguments)} ended with status {status}")
        return time.perf_counter() - start, usage.ru_maxrss / 1024.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    table = {}
    for name, arguments in COMMANDS.items():
        runs = [measure(arguments) for _ in range(options.repeat)]
        table[name] = {
            "seconds": round(min(r[0] for r in runs), 2),
            "MB": round(max(r[1] for r in runs)),
        }
        if not options.json:
            print(f"{name:<10} {table[name]['seconds']:>7.2f} s {table[name]['MB']:>6.0f} MB")
    if options.json:
        print(json.dumps(table, indent=1))


if __name__ == "__main__":
    main()
