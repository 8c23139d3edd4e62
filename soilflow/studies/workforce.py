"""Who does the work of a study: this process, others on this machine, or a Dask cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from soilflow.errors import InputError
from soilflow.flow.side_by_side import end_with_parent

__all__ = ["Workforce", "as_finished", "on_cluster", "on_this_machine"]

Task = TypeVar("Task")
Done = TypeVar("Done")

# What numerical libraries read when they are loaded; one thread for each worker.
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
# Tasks a cluster is given ahead of what came back (chosen by the project).
_AHEAD = 256
# How long to wait for a scheduler to answer. [s]
_PATIENCE = 10.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Workforce:
    """Something that works.

    Parameters
    ----------
    executor : concurrent.futures.Executor
        Takes a function of a module and its argument, as text and numbers.
    workers : int
        How many work at once, as far as known at the start.
    ahead : int
        How many tasks it is given before one has come back.
    """

    executor: Executor
    workers: int
    ahead: int


class _InPlace(Executor):
    """Works when asked, in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it now; an error is for whoever asked."""
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@contextmanager
def on_this_machine(workers: int = 1) -> Iterator[Workforce]:
    """Work here; with more than one worker, in processes of one thread each.

    Parameters
    ----------
    workers : int
        How many. With more than one a script needs its ``if __name__ == "__main__":``, since the
        processes are spawned.

    Yields
    ------
    workforce : Workforce
        Until the block ends.

    Raises
    ------
    InputError
        No worker at all.
    MemoryError
        A process was stopped from outside.
    """
    if workers < 1:
        raise InputError(f"{workers}: at least one worker is needed", field="workers")
    if workers == 1:
        yield Workforce(executor=_InPlace(), workers=1, ahead=1)
        return
    before = {name: os.environ.get(name) for name in _THREADS}
    others = set(multiprocessing.active_children())
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    spawn = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(workers, mp_context=spawn, initializer=_settle)
    finished = False
    try:
        yield Workforce(executor=pool, workers=workers, ahead=2 * workers)
        finished = True
    except BrokenProcessPool:
        raise MemoryError("a worker was stopped, most likely for want of memory") from None
    finally:
        if not finished:  # nobody waits for the others any more
            for child in set(multiprocessing.active_children()) - others:
                child.kill()
        pool.shutdown(cancel_futures=True)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _settle() -> None:
    """Ctrl-C reaches every process of a terminal; a worker leaves it to its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    end_with_parent()


@contextmanager
def on_cluster(address: str) -> Iterator[Workforce]:
    """Work on whatever workers a Dask scheduler has, now or later.

    Parameters
    ----------
    address : str
        Of the scheduler, such as ``tcp://127.0.0.1:8786``.

    Yields
    ------
    workforce : Workforce
        Until the block ends.

    Raises
    ------
    InputError
        Dask is not installed, nobody answers, or the scheduler went away.
    MemoryError
        Workers were stopped again and again over one task.

    Notes
    -----
    Dask moves functions and tasks as pickles: whoever reaches the scheduler may run what they
    like on every worker. Keep it inside a network you trust.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise InputError(
            "the package distributed is not installed; pip install 'soilflow[cluster]'",
            field="scheduler",
        ) from None
    try:
        client = Client(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        why = " ".join(str(error).split()) or "no answer"
        raise InputError(
            f'"{address}": no Dask scheduler there ({why}); start one with "dask scheduler" and '
            'give its address, such as "tcp://127.0.0.1:8786"',
            field="scheduler",
        ) from None
    try:
        workers = sum(client.nthreads().values())
        executor = client.get_executor(pure=False)
        yield Workforce(executor=executor, workers=max(workers, 1), ahead=_AHEAD)
    except KilledWorker:
        raise MemoryError("workers were stopped again and again over one soil") from None
    except CancelledError:
        raise InputError(
            f'"{address}": the scheduler went away; what was done is kept, run the same again',
            field="scheduler",
        ) from None
    finally:
        client.close()


def as_finished(
    workforce: Workforce, work: Callable[[Task], Done], tasks: Sequence[Task]
) -> Iterator[tuple[int, Done]]:
    """Have tasks done, and hand over each as it comes back.

    Parameters
    ----------
    workforce : Workforce
        Who does them.
    work : callable
        Takes one task; the same answer in any process.
    tasks : sequence
        The tasks.

    Yields
    ------
    pair : tuple of int and object
        Number of the task and its answer, in the order they come back.
    """
    waiting: dict[Future[Done], int] = {}
    handed = 0
    try:
        while handed < len(tasks) or waiting:
            while handed < len(tasks) and len(waiting) < workforce.ahead:
                waiting[workforce.executor.submit(work, tasks[handed])] = handed
                handed += 1
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in done:
                yield waiting.pop(future), future.result()
    finally:
        for future in waiting:
            future.cancel()
