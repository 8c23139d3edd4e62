"""A first case from a few words: it reads and runs as it is, whatever the words."""

import dataclasses
import itertools
import json
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from soilflow import cli
from soilflow.data import fan_classes, word_ranges
from soilflow.errors import InputError
from soilflow.files import parse_case
from soilflow.files.new_case import Wishes, new_case_text
from soilflow.flow.grid import COARSE
from soilflow.run import run_layout
from soilflow.units import M_PER_FOOT, M_PER_INCH

SOILS = [word for word, entry in word_ranges("soil_words").items() if entry.high > 0.0]
GAPS = ["", *(w for w, entry in word_ranges("gap_words").items() if math.isfinite(entry.high))]
SIZES = ["8 ft x 10 ft", "26 ft x 33 ft", "60 ft x 80 ft", "9.5 m x 7 m", "26'-6\" by 20'"]


def made(**wishes):
    return parse_case(new_case_text(Wishes(**{"size": "26 ft x 33 ft", **wishes})), file="new")


def test_there_are_words_to_try():
    assert len(SOILS) > 8
    assert len(GAPS) > 2


@settings(max_examples=15, deadline=None, derandomize=True)
@given(
    size=st.sampled_from(SIZES),
    soil=st.sampled_from([*SOILS, "3e-13 m2", "1 darcy"]),
    joint=st.sampled_from([*word_ranges("joint_words"), "1/16 in"]),
    gap=st.sampled_from([*GAPS, "1 in"]),
    slab=st.sampled_from(list(word_ranges("slab_words"))),
    fan=st.sampled_from(list(fan_classes())),
    pits=st.integers(1, 12),
    footing_depth=st.sampled_from(["", "0 in", "18 in", "4'-6\""]),
    grade=st.sampled_from(["0 ft", "6 ft 6 in"]),
)
def test_any_words_make_a_case_that_reads(**wishes):
    text = new_case_text(Wishes(**wishes))
    case = parse_case(text, file="new")
    assert [len(layout.points) for layout in case.layouts] == [wishes["pits"]] * 2
    assert len(case.site.gaps) == bool(wishes["gap"])
    assert {c.name for c in case.conditions} == {"today", "design_winter"}
    assert wishes["soil"] in text  # a word stays a word
    assert ("layers[0]" in " ".join(u.path for u in case.uncertain)) == (wishes["soil"] in SOILS)
    assert case.with_variant("no_loose_band").site.bands == ()
    assert max(len(line) for line in text.splitlines()) <= 100


@pytest.mark.parametrize(
    ("size", "pits"), [(SIZES[0], 1), (SIZES[0], 7), (SIZES[0], 12), (SIZES[1], 4), (SIZES[3], 11)]
)
def test_no_pit_reaches_below_the_line_from_a_footing_nobody_has_measured(size, pits):
    """From the underside of the slab at the wall the line goes down one for one.

    A point of a bowl, an angle t below the horizontal on the side of the wall, is r sin t deep
    and c - r cos t from it; an inch is left for rounding places to inches.
    """
    case = made(size=size, pits=pits)
    x0, y0, x1, y1 = case.site.slab.polygon.bounds
    for point in (point for layout in case.layouts for point in layout.points):
        c = min(point.x - x0, x1 - point.x, point.y - y0, y1 - point.y)
        r = point.pit.free_radius
        for t in (math.pi * i / 180.0 for i in range(91)):
            assert r * math.sin(t) <= c - r * math.cos(t) + M_PER_INCH


def test_switched_off_lines_are_toml():
    for gap in GAPS:
        text = new_case_text(Wishes(size="26 ft x 33 ft", gap=gap))
        on, switched = re.subn(r"^#(?=\S)", "", text, flags=re.MULTILINE)
        assert switched > 8
        case = parse_case(on, file="all on")
        assert case.site.backfill is not None
        assert len(case.site.moist_zones) == len(case.site.gaps) == 1


@pytest.mark.parametrize(
    "wishes", [{"size": "14 ft x 16 ft"}, {"size": "8 ft x 10 ft", "pits": 1, "grade": "6 ft"}]
)
def test_it_runs_as_it_is(wishes):
    case = made(**wishes).with_resolution(COARSE)
    winter = run_layout(case).conditions["design_winter"]
    assert winter.operating_point.fan_flow > 0.0
    assert set(winter.test_holes) == {"SW", "SE", "NE", "NW", "middle"}
    assert winter.test_holes["middle"] < 0.0


def test_the_holes_are_the_corners_and_the_middle_and_keep_away_from_the_pits():
    holes = {hole.name: (hole.x / M_PER_FOOT, hole.y / M_PER_FOOT) for hole in made().test_holes}
    places = {"SW": (2, 2), "SE": (24, 2), "NE": (24, 31), "NW": (2, 31), "middle": (13, 16.5)}
    assert holes == {name: pytest.approx(place) for name, place in places.items()}
    one = made(pits=1)  # it stands where the middle hole would be
    pits = [(p.x, p.y) for layout in one.layouts for p in layout.points]
    middle = next((h.x, h.y) for h in one.test_holes if h.name == "middle")
    assert 0.6 < min(math.dist(middle, pit) for pit in pits) < 1.2


def test_twelve_pits_fit_a_house_and_not_a_cellar():
    points = made(pits=12).layouts[0].points
    places = [(p.x, p.y) for p in points]
    assert min(math.dist(a, b) for a, b in itertools.combinations(places, 2)) > 0.6
    with pytest.raises(InputError, match="do not fit on 8 ft x 10 ft") as caught:
        made(size="8 ft x 10 ft", pits=24)
    assert caught.value.field == "pits"


def test_pits_nobody_asked_for_are_as_large_as_there_is_room():
    bucket = 5.0 * 231.0 * M_PER_INCH**3
    for pits, size, volume in [(4, "26 ft x 33 ft", 2 * bucket), (12, "8 ft x 10 ft", bucket)]:
        volumes = [p.pit.volume for p in made(pits=pits, size=size).layouts[0].points]
        assert volumes == pytest.approx([volume] * pits)
    with pytest.raises(InputError, match="12 pits of 2 buckets do not fit"):
        made(pits=12, size="8 ft x 10 ft", pit="2 buckets")


def test_a_deep_footing_lets_a_pit_come_nearer_to_the_wall():
    [deep], [unknown] = (
        made(pits=1, footing_depth=depth).layouts[0].points for depth in ("3 ft", "")
    )
    assert deep.x == pytest.approx(M_PER_FOOT)
    assert unknown.x > 1.2 * deep.x
    assert made().site.walls.source.startswith("guess")


def test_layouts_and_pits_are_named_in_words():
    assert [layout.name for layout in made(pits=1).layouts] == [
        "one at a wall",
        "one in the middle",
    ]
    assert [layout.name for layout in made().layouts] == [
        "four along the walls",
        "four spread over the floor",
    ]
    many = made(size="60 ft x 80 ft", pits=30).layouts[0]
    assert many.name == "30 along the walls"
    assert [p.name for p in many.points][24:28] == ["Y", "Z", "AA", "AB"]


def test_metres_stay_metres():
    text = new_case_text(Wishes(size="9.5 m x 7 m"))
    assert 'x = "4.750 m"' in text
    assert 'size = "9.5 m x 7 m"' in text


def test_a_title_may_hold_quotes():
    assert made(title='The "old" house \\ barn').title == 'The "old" house \\ barn'


WRONG = [
    ({"size": "26 ft"}, "size", "two lengths"),
    ({"size": "26 x 33"}, "size", "26"),
    ({"soil": "packed silty caly"}, "soil", 'did you mean "packed silty clay, damp"'),
    ({"soil": "saturated"}, "soil", "no range to compute with"),
    ({"soil": "12 ft"}, "soil", "permeability is needed"),
    ({"gap": "fingers fit"}, "gap", '"1 in"'),
    ({"joint": "dime"}, "joint", "dime"),
    ({"joint": ""}, "joint", "not a known word"),
    ({"fan": "hurricane"}, "fan", "hurricane"),
    ({"pits": 0}, "pits", "1 to 40"),
    ({"pit": "2 shovels"}, "pit", "shovels"),
    ({"footing_depth": "18"}, "footing_depth", "18"),
    ({"grade": "-2 ft"}, "grade", "-2 ft"),
]


@pytest.mark.parametrize(("wishes", "field", "words"), WRONG)
def test_what_cannot_be_used_is_said_by_its_name(wishes, field, words):
    with pytest.raises(InputError, match=re.escape(words)) as caught:
        made(**wishes)
    assert caught.value.field == field


@pytest.mark.parametrize("field", ["soil", "joint", "gap", "slab", "fan"])
def test_a_wrong_word_gets_the_list_of_words(field):
    table = fan_classes() if field == "fan" else word_ranges(f"{field}_words")
    with pytest.raises(InputError) as caught:
        made(**{field: "xyzzy"})
    assert all(f'"{word}"' in caught.value.message for word in table)


@pytest.fixture
def call(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: CliRunner().invoke(cli.app, ["new", *arguments])


def test_every_wish_is_an_option_of_the_command(call):
    shown = call("--help").output
    for wish in dataclasses.fields(Wishes):
        assert "--" + wish.name.replace("_", "-") in shown


def test_the_command_writes_once_and_replaces_only_when_told(call, tmp_path):
    done = call("a.toml", "--size", "26 ft x 33 ft", "--pits", "2")
    assert (done.exit_code, done.stdout.splitlines()[0]) == (0, "wrote a.toml")
    first = (tmp_path / "a.toml").read_text(encoding="utf-8")
    done = call("a.toml", "--size", "20 ft x 20 ft")
    assert done.exit_code == 2
    assert "is there already" in done.stderr
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") == first
    done = call("a.toml", "--size", "20 ft x 20 ft", "--force", "-q")
    assert (done.exit_code, done.output) == (0, "")
    second = (tmp_path / "a.toml").read_text(encoding="utf-8")
    assert second != first
    done = call("a.toml", "--size", "20 ft x 20 ft", "--force", "--soil", "packed silty caly")
    assert done.exit_code == 2
    assert done.stderr.startswith("--soil: packed silty caly: not a known word")
    assert done.stderr.count("\n") == 1
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") == second
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]


def test_the_command_says_as_json_and_at_length_what_it_wrote(call):
    told = json.loads(call("a.toml", "--size", "26 ft x 33 ft", "--json").stdout)
    assert told["file"] == "a.toml"
    assert told["layouts"] == ["four along the walls", "four spread over the floor"]
    plain = call("b.toml", "--size", "26 ft x 33 ft").stdout
    long = call("c.toml", "--size", "26 ft x 33 ft", "-v").stdout
    assert "packed silty clay, damp" not in plain
    assert "5e-14 to 1e-12" in long  # the range of the word, in soil_words.toml
    assert max(map(len, long.splitlines())) <= 60
