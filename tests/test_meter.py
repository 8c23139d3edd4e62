"""Progress on stderr: lines for a log, a bar for a terminal, nothing when quiet."""

import io

import pytest
from tiny_house import house

from soilflow.cli.meter import meter
from soilflow.run import run_layout


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_log_gets_a_line_per_ten_per_cent():
    out = io.StringIO()
    with meter("fields", stream=out) as progress:
        for done in range(0, 251):
            progress(done, 250)
    lines = out.getvalue().splitlines()
    assert len(lines) == 10
    assert lines[0].startswith("fields: 10 %, 25 of 250, ")
    assert lines[-1].startswith("fields: 100 %, 250 of 250, ")
    assert lines[-1].endswith(" 0 s left")


def test_few_parts_get_a_line_each():
    out = io.StringIO()
    with meter("fields", stream=out) as progress:
        for done in range(4):
            progress(done, 3)
    assert [line.split(",")[1] for line in out.getvalue().splitlines()] == [
        " 1 of 3",
        " 2 of 3",
        " 3 of 3",
    ]


def test_a_terminal_gets_a_bar_that_leaves_nothing_behind():
    out = Terminal()
    with meter("fields", stream=out) as progress:
        progress(0, 4)
        progress(2, 4)
        assert "2/4" in out.getvalue()
    assert "fields" in out.getvalue()


@pytest.mark.parametrize("out", [io.StringIO(), Terminal()])
def test_quiet_is_quiet(out):
    with meter("fields", shown=False, stream=out) as progress:
        assert progress is None
    assert out.getvalue() == ""


def test_a_bar_starts_no_thread_that_would_keep_the_solver_from_forking():
    import threading

    before = threading.active_count()
    with meter("fields", stream=Terminal()) as progress:
        progress(0, 4)
        assert threading.active_count() == before


def test_a_run_counts_every_field_once():
    heard = []
    run_layout(house(), progress=lambda *now: heard.append(now))
    # outdoors, house and one pit; then outdoors and house before digging
    assert heard == [(0, 5), (1, 5), (2, 5), (3, 5), (3, 5), (4, 5), (5, 5)]
    heard.clear()
    run_layout(house(), baseline=False, progress=lambda *now: heard.append(now))
    assert heard[-1] == (3, 3)
