"""Whether a grid fits into the memory of this machine, asked before anything is allocated."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

from soilflow.errors import TooLargeError
from soilflow.flow.grid import COARSE, FINE, NORMAL, Resolution

__all__ = ["BYTES_PER_CELL", "free_memory", "require_memory"]

# Fitted to benchmarks/tables/profile.txt, like the times in grids.py. [B]
BYTES_PER_CELL = 800.0
_MB = 1e6


def require_memory(cells: int, cells_at: Callable[[Resolution], int], *, name: str) -> None:
    """Refuse a grid that would not fit, and name the finest one that would.

    Parameters
    ----------
    cells : int
        Cells of the grid.
    cells_at : callable
        Cells the same house would have at another resolution.
    name : str
        What the resolution of the grid is called.

    Raises
    ------
    TooLargeError
        It would not fit.
    """
    free = free_memory()
    if free is None or cells * BYTES_PER_CELL / _MB <= free:
        return
    needs = cells * BYTES_PER_CELL / _MB
    advice = "close other programs, or make the case smaller"
    for other in (FINE, NORMAL, COARSE):
        there = cells_at(other)
        if there < cells and there * BYTES_PER_CELL / _MB <= free:
            size = f"{there} cells, about {there * BYTES_PER_CELL / _MB:.0f} MB"
            advice = f'resolution "{other.name}" would fit ({size})'
            break
    raise TooLargeError(
        f"the {name} grid has {cells} cells and needs about {needs:.0f} MB, but "
        f"{free:.0f} MB are free; {advice}",
        needed=needs,
        available=free,
    )


def free_memory() -> float | None:
    """Memory this process could still take, by the tightest of the bounds the system tells.

    Returns
    -------
    free : float or None
        None where nothing is told: then a grid too large is found out when it is made. [MB]
    """
    bounds = [*_of_the_machine(), *_of_the_group(), *_of_the_process()]
    return max(min(bounds), 0.0) / _MB if bounds else None


def _of_the_machine() -> list[float]:
    """Memory free or easily freed; on other systems than Linux, all there is. [B]"""
    for line in _read("/proc/meminfo").splitlines():
        if line.startswith("MemAvailable:"):
            return [1024.0 * int(line.split()[1])]
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        return [float(os.sysconf("SC_PHYS_PAGES")) * os.sysconf("SC_PAGE_SIZE")]
    return []


def _of_the_group() -> list[float]:
    """What a container or a queue lets us have, by either version of control groups. [B]"""
    found = []
    for line in _read("/proc/self/cgroup").splitlines():
        _, kinds, path = line.split(":", 2)
        new = kinds == ""
        if not new and "memory" not in kinds.split(","):
            continue
        top, name = ("", "memory.max") if new else ("memory", "memory.limit_in_bytes")
        for place in {path, "/"}:  # inside a container the path may be that outside it
            limit = _read(str(Path("/sys/fs/cgroup", top, place.strip("/"), name))).strip()
            if limit.isdigit():
                found.append(float(limit) - _used()[1])
    return found


def _of_the_process() -> list[float]:
    """What a limit on the address space leaves. [B]"""
    if sys.platform != "linux":
        return []
    import resource

    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    return [] if limit == resource.RLIM_INFINITY else [float(limit) - _used()[0]]


def _used() -> tuple[float, float]:
    """Address space and memory of this process. [B]"""
    pages = _read("/proc/self/statm").split()
    if len(pages) < 2:
        return 0.0, 0.0
    size = os.sysconf("SC_PAGE_SIZE")
    return float(pages[0]) * size, float(pages[1]) * size


def _read(path: str) -> str:
    """A file of the system; empty where there is none."""
    try:
        return Path(path).read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError):
        return ""
