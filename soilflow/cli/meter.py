"""How far long work has come, said on stderr."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

__all__ = ["meter"]

_STEP = 10  # per cent between two lines


@contextmanager
def meter(
    what: str, *, shown: bool = True, stream: TextIO | None = None
) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress while the block runs: a bar on a terminal, else a line per 10 %.

    Parameters
    ----------
    what : str
        What is being done.
    shown : bool
        Whether to show anything.
    stream : text file or None
        Where to; None takes stderr.

    Yields
    ------
    progress : callable or None
        To be called with the parts done and all parts; None when nothing is shown.
    """
    out = sys.stderr if stream is None else stream
    if not shown:
        yield None
    elif out.isatty():
        with _bar(what, out) as progress:
            yield progress
    else:
        yield _lines(what, out)


def _lines(what: str, out: TextIO) -> Callable[[int, int], None]:
    start, said = time.monotonic(), 0

    def progress(done: int, total: int) -> None:
        nonlocal said
        percent = 100 * done // max(total, 1)
        if percent // _STEP <= said:
            return
        said = percent // _STEP
        rate = done / max(time.monotonic() - start, 1e-9)
        with suppress(OSError):  # nobody listens any more; the work goes on
            print(
                f"{what}: {percent} %, {done} of {total}, {rate:.2g} per s, "
                f"{(total - done) / rate:.0f} s left",
                file=out,
                flush=True,
            )

    return progress


@contextmanager
def _bar(what: str, out: TextIO) -> Iterator[Callable[[int, int], None]]:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        Task,
        TextColumn,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class Rate(ProgressColumn):
        """Parts per second."""

        def render(self, task: Task) -> Text:
            """Write it, once there is one."""
            return Text(f"{task.speed:.2g}/s" if task.speed else "")

    # A thread that redraws would keep the solver from sharing its work with forked processes.
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=20),
        MofNCompleteColumn(),
        Rate(),
        TimeRemainingColumn(),
        console=Console(file=out),
        auto_refresh=False,
        transient=True,
    )
    with bar:
        task = bar.add_task(what, total=None)

        def progress(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total, refresh=True)

        yield progress
