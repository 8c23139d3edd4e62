"""Case files that went wrong on the way: good ones with values, tables, lines and bytes broken."""

from __future__ import annotations

import copy
import datetime
import math
import re
import tomllib
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

import tiny_house
import tomli_w
from hypothesis import strategies as st

CASES = Path(__file__).parents[1] / "cases"

# A house that has a table of every kind, small enough to be solved many times.
EVERYTHING = """\
title = "everything"
fan = "high-suction"
soil_temperature = "50 F"

[slab]
size = "14 ft x 12 ft"
thickness = "4 in"
permeability = "1e-14 m2"
[walls]
thickness = "8 in"
footing_depth = "18 in"
grade = "1 ft"
[ground]
bottom = "6 ft"
water_table = "5 ft"
[[ground.layers]]
soil = "packed silty clay, damp"
[[ground.layers]]
permeability = "1e-12 m2"
vertical = "5e-13 m2"
top = "3 ft"
[fill]
permeability = "1e-11 m2"
thickness = "2 in"
[[bands]]
width = "18 in"
looser_by = "3 to 30"
walls = ["north", "west"]
[backfill]
width = "2 ft"
looser_by = 3
[[patches]]
name = "sand"
size = "4 ft x 4 ft"
at = ["9 ft", "7 ft"]
permeability = "1e-10 m2"
bottom = "2 ft"
[[moist_zones]]
name = "wet"
size = "5 ft x 5 ft"
at = ["0 ft", "0 ft"]
multiplier = 0.1
bottom = "3 ft"
[[moist_zones]]
name = "drip"
size = "2 ft x 2 ft"
at = ["10 ft", "1 ft"]
saturation = 0.7
texture = "loam"
curve = "Parker"
bottom = "2 ft"
[[soil_fields]]
name = "survey"
x = ["1 ft", "8 ft"]
y = ["1 ft", "9 ft"]
multipliers = [[1.0, 2.0], [0.5, 1.0]]
[random_soil]
sigma = 0.5
lengths = ["6 ft", "6 ft", "2 ft"]
seed = 3
[[gaps]]
name = "middle"
aperture = "0.5 mm"
from_walls = "30 in"
[[joints]]
joint = "card"
[[joints]]
aperture = "0.2 mm"
walls = ["south"]
sealed = true
[[yards]]
name = "windward"
side = "west"
[[no_dig]]
name = "gas line"
size = "1 ft x 1 ft"
at = ["13 ft", "0 ft"]
source = "found"
[[layouts]]
name = "one"
[[layouts.points]]
name = "A"
x = "7 ft"
y = "6 ft"
pit = {shape = "box", length = "16 in", width = "16 in", depth = "10 in"}
[[layouts]]
name = "held"
[[layouts.points]]
name = "B"
x = "6 ft"
y = "6 ft"
pit = "8 gal"
vacuum = "1 in. w.c."
[[layouts.points]]
name = "C"
x = "9 ft"
y = "7 ft"
pit = "5 gal"
capped = true
[pipe]
size = "4 in"
branch = "10 ft"
run = "40 ft"
discharge_height = "20 ft"
[conditions.today]
outdoor_pressure = "1 Pa"
[conditions.design_winter]
outdoor_pressure = "4 Pa"
references = {windward = {above_outdoors = "3 Pa"}}
[[test_holes]]
name = "T1"
x = "3 ft"
y = "3 ft"
[[uncertain]]
path = "site.slab.thickness"
low = "3 in"
high = "5 in"
law = "uniform"
[variant.tight]
none = ["gaps"]
joints = [{joint = "closed"}]
"""

# How fine a grid is when all that matters is that it is solved at all.
ROUGH = {
    "name": "rough",
    "cells_per_radius": 1.2,
    "line_size": 0.5,
    "growth": 6.0,
    "largest_inside": 1.5,
    "largest_outside": 4.0,
    "largest_down": 2.0,
}

_DAY = datetime.date(1979, 5, 27)
ODD: list[Any] = [
    *(0, 1, -1, 2, 7, 1.5, -0.5, 1e300, -1e300, 1e-300, 5e-324, 2**63 - 1, 10**40, True, False),
    *(math.nan, math.inf, -math.inf, _DAY, datetime.time(7, 32), datetime.datetime(2000, 1, 1)),
    *("", " ", "x", "1", "true", "nan", "inf", "1 ft", "1 Pa", "1 cfm", "1e-12 m2", "50 %"),
    *("card", "sounds hollow", "saturated", "north", "one", "A", "12 ft x 10 ft", "3 to 30"),
    *("30 to 3", "0 to 0 m", "1 m to", "to", "..", "1e309 m", "1e-320 m", "-0 m", "1/0 ft"),
    *("../../etc/passwd", "/dev/zero", "C:\\CON", "NUL", "~", "file:///x", "a/b\\c"),
    *("$\\frac{", "$x$", "<b>&amp;", "=cmd()", "{0}", "%s", "[bold]", "\\N{BELL}"),
    *("\x00", "\x1b[2J", "\x07", "\x9b31m", "a\nb", "\u202eab", "\ufeff", "\ud7ff", "\U0010ffff"),
    *("é" * 3, "x" * 201, "9" * 400, "1 " * 90, "²³½", "١ ft", "１２ ft", "1e+00000000000001 m"),
    *([], [[]], [1], ["1 m"], ["1 m", "1 m"], [["1 m", "1 m"]], [{}], {}, {"x": 1}, {"name": "n"}),
    *({"shape": "box"}, {"shape": "drain", "line": "A"}, {"class": "general", "speed": 1e-9}),
    *([["0 m", "0 m"]] * 2, ["1 m"] * 300, [[["1 m"]]], {"a": {"b": {"c": {}}}}, [1, "a", []]),
]
NUMBERS = (
    *("0", "-1", "1e-300", "5e-324", "1e-30", "1e-9", "1e-3", "0.5", "2", "30", "1e3", "1e5"),
    *("1e7", "1e12", "1e30", "1e150", "1e300", "1e308", "1e999", "-1e30", "nan", "inf", ""),
    *("1,000", "1 1/2", "1/0", "0/1", "0x10", "1_000", "1e", "٣", "9" * 40),
)
KEYS = ("x", "name", "source", "corners", "size", "at", "", "a.b", "\x1b[2J", "é", "none", "points")
_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_BYTES = (
    *(b"\x00", b"\xff", b"\xc3", b"\xed\xa0\x80", b"\xf5\x80\x80\x80", b"\xc0\x80", b"\x1b[2J"),
    *(b"\r", b"\r\n", b"\xef\xbb\xbf", b"\x85", b'"', b"'", b'"""', b"\\", b"#", b"=", b"."),
    *(b"[", b"]", b"[[", b"]]", b"{", b"}", b",", b"\n", b"\n[", b"[" * 60, b"{a=" * 60),
    *(b"\nx = 1\nx = 1\n", b"\n[slab]\n", b"\n[[slab]]\n", b"\nslab.x = 1\n", b"a." * 300),
    *(b"\\u0000", b"\\ud800", b"\\U00110000", b"1" * 5000, b"\xe2\x80\xae", b"#\x00\n"),
)

Path_ = tuple[Any, ...]


@cache
def sources() -> tuple[str, ...]:
    """Texts of the good cases, the small ones twice as likely as the shipped."""
    shipped = sorted(CASES.glob("*.toml"))
    assert len(shipped) > 8, CASES
    small = (EVERYTHING, tiny_house.TEXT)
    return (*small * len(shipped), *(path.read_text(encoding="utf-8") for path in shipped))


def coarse(text: str) -> dict[str, Any]:
    """The tables of a text, on the roughest grid."""
    return {**tomllib.loads(text), "resolution": copy.deepcopy(ROUGH)}


def paths_in(value: Any, at: Path_ = ()) -> list[Path_]:
    """Paths of everything below a table or a list."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    found = []
    for key, item in items:
        found.append((*at, key))
        if isinstance(item, dict | list):
            found += paths_in(item, (*at, key))
    return found


def holder(tree: Any, path: Path_) -> Any:
    for step in path[:-1]:
        tree = tree[step]
    return tree


@st.composite
def broken_trees(draw) -> dict[str, Any]:
    """Tables of a good case with one to three things wrong."""
    tree = coarse(draw(st.sampled_from(sources())))
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 3]))):
        paths = paths_in(tree)
        if not paths:
            break
        _break(draw, tree, paths)
    return tree


def _break(draw, tree: dict[str, Any], paths: list[Path_]) -> None:
    path = draw(st.sampled_from(paths))
    inside, key = holder(tree, path), path[-1]
    value = inside[key]
    how = draw(
        st.sampled_from(("number", "number", "number", "odd", "drop", "add", "move", "nest"))
    )
    if how == "number":
        if isinstance(value, str) and (found := list(_NUMBER.finditer(value))):
            match, number = draw(st.sampled_from(found)), draw(st.sampled_from(NUMBERS))
            inside[key] = value[: match.start()] + number + value[match.end() :]
        elif isinstance(value, int | float):
            inside[key] = draw(st.sampled_from([v for v in ODD if isinstance(v, int | float)]))
        else:
            how = "odd"
    if how == "odd":
        inside[key] = copy.deepcopy(draw(st.sampled_from(ODD)))
    elif how == "drop":
        del inside[key]
    elif how == "add":
        place = value if isinstance(value, dict | list) else inside
        item = copy.deepcopy(draw(st.sampled_from(ODD)))
        if isinstance(place, dict):
            place[
                draw(st.sampled_from((*KEYS, *(p[-1] for p in paths if isinstance(p[-1], str)))))
            ] = item
        else:
            many = draw(st.sampled_from((1, 2, 40)))
            again = place[0] if place and draw(st.booleans()) else item
            place.extend(copy.deepcopy(again) for _ in range(many))
    elif how == "move":
        other = draw(st.sampled_from(paths))
        inside[key] = copy.deepcopy(holder(tree, other)[other[-1]])
    elif how == "nest":
        deep = draw(st.sampled_from((1, 2, 10, 30)))
        for _ in range(deep):
            value = [value] if draw(st.booleans()) else {"x": value}
        inside[key] = value


@st.composite
def broken_texts(draw) -> str:
    """Lines of a good case left out, repeated, swapped, cut."""
    lines = tomli_w.dumps(coarse(draw(st.sampled_from(sources())))).split("\n")
    for _ in range(draw(st.integers(1, 3))):
        i, j = (draw(st.integers(0, len(lines) - 1)) for _ in "ij")
        how = draw(st.sampled_from(("drop", "repeat", "swap", "cut", "join", "mark")))
        if how == "drop":
            lines[i] = ""
        elif how == "repeat":
            lines.insert(j, lines[i])
        elif how == "swap":
            lines[i], lines[j] = lines[j], lines[i]
        elif how == "cut":
            lines[i] = lines[i][: draw(st.integers(0, 20))]
        elif how == "join":
            lines[i] += lines[j]
        else:
            mark = draw(st.sampled_from("\"'[]{}=#.,\\"))
            at = draw(st.integers(0, len(lines[i])))
            lines[i] = lines[i][:at] + mark + lines[i][at:]
    return "\n".join(lines)


@st.composite
def broken_bytes(draw) -> bytes:
    """A good case with bytes put in or left out, in whatever coding."""
    text = draw(st.sampled_from(sources()))
    if text != tiny_house.TEXT:  # which has a rough grid of its own, and comments
        text = tomli_w.dumps(coarse(text))
    coding = draw(st.sampled_from(("utf-8",) * 6 + ("utf-16", "utf-16-le", "utf-32", "cp1252")))
    data = text.encode(coding, errors="replace")
    if draw(st.booleans()):
        data = data.replace(b"\n", draw(st.sampled_from((b"\r\n", b"\r", b"\n\n", b"\x85"))))
    if draw(st.booleans()):
        data = b"\xef\xbb\xbf" + data
    for _ in range(draw(st.integers(0, 3))):
        at = draw(st.integers(0, len(data)))
        end = draw(st.sampled_from((at, at, at + 1, at + 7, len(data))))
        data = data[:at] + draw(st.sampled_from(_BYTES)) + data[end:]
    return data


def _dumped(tree: dict[str, Any]) -> bytes:
    return tomli_w.dumps(tree).encode("utf-8", errors="surrogatepass")


def broken_files() -> st.SearchStrategy[bytes]:
    """Case files with something wrong; now and then with nothing wrong after all."""
    return st.one_of(
        broken_trees().map(_dumped),
        broken_trees().map(_dumped),
        broken_texts().map(lambda text: text.encode("utf-8", errors="surrogatepass")),
        broken_bytes(),
    )


def obeyed(text):
    """Characters of a text that a terminal obeys instead of showing them."""
    turning = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
    return {c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cs")} | (
        turning & set(text)
    )
