"""The same work for several ports, on as many processors as the machine lends us."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any, TypeVar

__all__ = ["WORTH_SHARING", "Progress", "each_of", "end_with_parent", "processors"]

# Nodes from which a second process saves more time than it takes to start. Measured.
WORTH_SHARING = 30_000

# Told the number of calls done and of all calls.
Progress = Callable[[int, int], None]
Done = TypeVar("Done")

# What a forked child works on. It is handed down by the fork itself: a multigrid hierarchy is
# large, and parts of it cannot be pickled.
_work: Callable[[int], Any] | None = None


def processors() -> int:
    """How many processors this process may use, at least 1.

    Returns
    -------
    count : int
        Of those the operating system lets it run on.
    """
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def each_of(
    work: Callable[[int], Done],
    count: int,
    *,
    share: bool = True,
    progress: Progress | None = None,
) -> list[Done]:
    """Call a function on 0, 1, ... and gather what it returns, in that order.

    Parameters
    ----------
    work : callable
        Takes a number below ``count``; the same answer in any process.
    count : int
        How many calls.
    share : bool
        Whether forked processes may take part of the calls. They do on Linux, from the main
        thread, when there is more than one processor; an answer does not depend on it.
    progress : callable or None
        Called with the calls done and all calls, first with none done.

    Returns
    -------
    answers : list
        One per call.
    """
    tell = progress or (lambda done, total: None)
    tell(0, count)
    workers = min(processors(), count)
    if not (share and workers > 1 and _may_fork()):
        answers = []
        for i in range(count):
            answers.append(work(i))
            tell(i + 1, count)
        return answers
    return _forked(work, count, workers, tell)


def _may_fork() -> bool:
    """Whether forking is sound here: on Linux, with no other thread, and not in a child of ours."""
    return (
        sys.platform == "linux"
        and threading.active_count() == 1
        and multiprocessing.parent_process() is None
    )


def _forked(work: Callable[[int], Done], count: int, workers: int, tell: Progress) -> list[Done]:
    global _work
    _work = work
    others = set(multiprocessing.active_children())
    fork = multiprocessing.get_context("fork")
    pool = ProcessPoolExecutor(workers, mp_context=fork, initializer=end_with_parent)
    answers: dict[int, Done] = {}
    try:
        with _interrupts_held():
            waiting = {pool.submit(_call, i): i for i in range(count)}
        for future in as_completed(waiting):
            answers[waiting[future]] = future.result()
            tell(len(answers), count)
    except BrokenProcessPool:
        raise MemoryError("a helping process was stopped, most likely for want of memory") from None
    finally:
        if len(answers) < count:  # an error or Ctrl-C: nobody waits for the others any more
            for child in set(multiprocessing.active_children()) - others:
                child.kill()
        pool.shutdown(cancel_futures=True)
        _work = None
    return [answers[i] for i in range(count)]


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C reaches every process of a terminal; those forked in here leave it to the parent."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def end_with_parent() -> None:
    """Let this child process end when its parent is killed; it would wait for work for ever."""
    threading.Thread(target=_watch_parent, daemon=True).start()


def _watch_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def _call(i: int) -> Any:
    assert _work is not None
    return _work(i)
