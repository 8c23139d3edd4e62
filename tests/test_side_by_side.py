"""Work shared by forked processes: the same answers, in order, and failures that come through."""

import os
import threading

import pytest

from soilflow.errors import ConvergenceError
from soilflow.flow import side_by_side
from soilflow.flow.side_by_side import each_of, processors


@pytest.fixture
def two_processors(monkeypatch):
    monkeypatch.setattr(side_by_side, "processors", lambda: 2)


def test_answers_come_in_order_whoever_works():
    assert each_of(lambda i: i * i, 5, share=True) == each_of(lambda i: i * i, 5, share=False)


def test_forked_processes_do_the_work(two_processors):
    if not side_by_side._may_fork():  # a test runner with threads of its own
        assert threading.active_count() > 1 or side_by_side.sys.platform != "linux"
        return
    pids = each_of(lambda i: os.getpid(), 4)
    assert os.getpid() not in pids
    assert os.getpid() in each_of(lambda i: os.getpid(), 4, share=False)


def test_no_fork_beside_another_thread(two_processors):
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        assert set(each_of(lambda i: os.getpid(), 3)) == {os.getpid()}
    finally:
        stop.set()
        thread.join()


@pytest.mark.parametrize("share", [True, False])
def test_an_error_comes_through_whole(share, two_processors):
    def fails(i):
        raise ConvergenceError(f"call {i}", reached=1.0, wanted=0.5, iterations=3)

    with pytest.raises(ConvergenceError, match="call") as caught:
        each_of(fails, 2, share=share)
    assert (caught.value.reached, caught.value.iterations) == (1.0, 3)


def test_a_killed_process_is_said_not_waited_for(two_processors):
    if not side_by_side._may_fork():
        assert processors() >= 1
        return
    with pytest.raises(MemoryError, match="want of memory"):
        each_of(lambda i: os.kill(os.getpid(), 9), 2)


@pytest.mark.parametrize("share", [True, False])
def test_progress_begins_at_none_and_ends_at_all(share, two_processors):
    heard = []
    each_of(lambda i: i, 3, share=share, progress=lambda *now: heard.append(now))
    assert heard == [(0, 3), (1, 3), (2, 3), (3, 3)]
