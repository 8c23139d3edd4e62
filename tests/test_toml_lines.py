"""Lines of keys in a TOML text: every way to write a key, and texts that only look like one."""

from __future__ import annotations

import re
import tomllib

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from soilflow.bounds import DEPTH, ITEMS, TABLES
from soilflow.files.toml_lines import OverLimit, line_index, line_of


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        pytest.param(
            "a = 1\n\n[t]\nb = 2\n[t.u]\nc = 3\n",
            {("a",): 1, ("t",): 3, ("t", "b"): 4, ("t", "u"): 5, ("t", "u", "c"): 6},
            id="tables",
        ),
        pytest.param(
            "[t.u]\nc = 3\n[t]\nb = 2\n",
            {("t",): 3, ("t", "u"): 1, ("t", "u", "c"): 2, ("t", "b"): 4},
            id="table after its child",
        ),
        pytest.param(
            "[[p]]\nx = 1\n[[p.q]]\ny = 1\n[[p.q]]\ny = 2\n[[p]]\n[[p.q]]\ny = 3\n[p.r]\nz = 1\n",
            {
                ("p",): 1,
                ("p", 0): 1,
                ("p", 0, "x"): 2,
                ("p", 0, "q"): 3,
                ("p", 0, "q", 0): 3,
                ("p", 0, "q", 0, "y"): 4,
                ("p", 0, "q", 1): 5,
                ("p", 0, "q", 1, "y"): 6,
                ("p", 1): 7,
                ("p", 1, "q"): 8,
                ("p", 1, "q", 0): 8,
                ("p", 1, "q", 0, "y"): 9,
                ("p", 1, "r"): 10,
                ("p", 1, "r", "z"): 11,
            },
            id="arrays of tables",
        ),
        pytest.param(
            "p = {shape = 'box', size.x = 1, deep = [1, {k = 2}]}\nq = {}\n",
            {
                ("p",): 1,
                ("p", "shape"): 1,
                ("p", "size"): 1,
                ("p", "size", "x"): 1,
                ("p", "deep"): 1,
                ("p", "deep", 0): 1,
                ("p", "deep", 1): 1,
                ("p", "deep", 1, "k"): 1,
                ("q",): 2,
            },
            id="inline tables",
        ),
        pytest.param(
            "a.b . c = 1\na.d = 2\n[t]\ne.f = 3\n",
            {
                ("a",): 1,
                ("a", "b"): 1,
                ("a", "b", "c"): 1,
                ("a", "d"): 2,
                ("t",): 3,
                ("t", "e"): 4,
                ("t", "e", "f"): 4,
            },
            id="dotted keys",
        ),
        pytest.param(
            'c = [ # ] not yet\n  ["0 ft", "1 ft"],\n  ["2 ft",\n   "3 ft"], # [t]\n]\nd = []\n',
            {
                ("c",): 1,
                ("c", 0): 2,
                ("c", 0, 0): 2,
                ("c", 0, 1): 2,
                ("c", 1): 3,
                ("c", 1, 0): 3,
                ("c", 1, 1): 4,
                ("d",): 6,
            },
            id="lists over several lines",
        ),
        pytest.param(
            '"a.b" = 1\n\'c "d\' = 2\n[x."y.z"]\n"\\u00e9" = 3\n',
            {
                ("a.b",): 1,
                ('c "d',): 2,
                ("x",): 3,
                ("x", "y.z"): 3,
                ("x", "y.z", "é"): 4,
            },
            id="quoted keys",
        ),
        pytest.param(
            '# [not]\na = \'[t] # = {\' # b = 1\nc = "\\" [[t]]"\n'
            'd = """\n[t]\ne = 1 ""x"" \\""" """"\n'
            "f = '''\n[u]'''''\ng = 1\n",
            {("a",): 2, ("c",): 3, ("d",): 4, ("f",): 7, ("g",): 9},
            id="comments and texts that look like tables",
        ),
    ],
)
def test_lines_of_keys(text, lines):
    assert line_index(text) == lines
    assert paths_of(tomllib.loads(text)) == set(lines)


def paths_of(value, at=()):
    """Every path in what the standard reader makes of a text."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    found = set()
    for key, item in items:
        found.add((*at, key))
        if isinstance(item, dict | list):
            found |= paths_of(item, (*at, key))
    return found


KEYS = st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=4)
LEAVES = st.integers(-9, 9) | st.booleans() | st.text("ab[]{}#='\"\\\n", max_size=6)
TREES = st.dictionaries(
    KEYS,
    st.recursive(
        LEAVES,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
        max_leaves=8,
    ),
    max_size=4,
)


@given(TREES, st.booleans())
def test_lines_are_found_for_all_keys_the_standard_reader_finds(tree, multiline):
    text = tomli_w.dumps(tree, multiline_strings=multiline)
    index, lines = line_index(text), text.split("\n")
    assert set(index) == paths_of(tomllib.loads(text))
    for path, line in index.items():
        if isinstance(path[-1], str):
            bare = path[-1] if re.fullmatch(r"[A-Za-z0-9_-]+", path[-1]) else None
            assert (bare or '"') in lines[line - 1]


@given(st.text("ab.[]{}=,\"'#\\ \n1", max_size=30))
def test_lines_never_trip_over_a_text_that_is_not_toml(text):
    assert all(1 <= line <= text.count("\n") + 1 for line in line_index(text).values())


def test_a_key_that_is_not_there_has_the_line_of_what_is_around_it():
    index = line_index("[slab]\n\n[[p]]\nx = 1\n")
    assert line_of(index, ("slab", "corners", 0)) == 1
    assert line_of(index, ("p", 0, "y")) == 3
    assert line_of(index, ("walls",)) == 0


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("\na = " + "[" * 100_000, 2),
        ("a = 1\nb = " + "{k = " * 100_000, 2),
        ("[" + "a." * 100_000 + "a]\n", 1),
        ("a." * 100_000 + "a = 1\n", 1),
        ("a = [\n" + "1,\n" * (ITEMS + 1) + "]\n", ITEMS + 2),
        ("[[t]]\n" * (TABLES + 1), TABLES + 1),
    ],
    ids=["lists", "inline tables", "header", "dotted key", "long list", "many tables"],
)
def test_what_no_case_needs_is_stopped_on_its_line(text, line):
    with pytest.raises(OverLimit) as caught:
        line_index(text)
    assert caught.value.line == line


def test_the_bounds_themselves_are_allowed():
    assert len(line_index("[[t]]\n" * TABLES)) == TABLES + 1
    assert len(line_index("a = [" + "1," * ITEMS + "]")) == ITEMS + 1
    assert len(line_index(".".join("a" * DEPTH) + " = 1")) == DEPTH
