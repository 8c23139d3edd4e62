"""Disks that are full, folders that take no files, and processes that are stopped, for tests."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]


def environment() -> dict[str, str]:
    """That of a process that runs this tree."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}


def start(*arguments: str, **options) -> subprocess.Popen:
    """The command, or code after ``-c``, in a process of its own."""
    return subprocess.Popen(
        [sys.executable, *arguments],
        env=environment(),
        text=True,
        preexec_fn=_hear_ctrl_c,
        **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options},
    )


def _hear_ctrl_c() -> None:
    """A shell starts what it runs in the background deaf to Ctrl-C, and children inherit that."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextlib.contextmanager
def files_at_most(size: int) -> Iterator[None]:
    """A bound on the size of any file this process writes; works for everybody."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextlib.contextmanager
def mounted(folder: Path, options: str) -> Iterator[None]:
    """A small disk of its own in a folder; needs the right to mount."""
    subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "none", str(folder)],
        check=True,
        capture_output=True,
    )
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True, capture_output=True)


def may_mount() -> bool:
    """Whether this machine lets us mount a small disk."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            with mounted(Path(folder), "size=16k"):
                return True
        except (OSError, subprocess.CalledProcessError):
            return False


def fill(folder: Path) -> None:
    """Write until nothing more fits."""
    with contextlib.suppress(OSError), open(folder / "filler", "wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
