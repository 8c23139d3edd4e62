"""A first case from a few words: it runs as it is, whatever the words."""

import dataclasses
import itertools
import math

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

SOILS = [word for word, entry in word_ranges("soil_words").items() if entry.high > 0.0]
GAPS = ["", *(w for w, entry in word_ranges("gap_words").items() if math.isfinite(entry.high))]
SIZES = ["8 ft x 10 ft", "26 ft x 33 ft", "60 ft x 80 ft", "9.5 m x 7 m", "20 ft by 20 ft"]


def made(**wishes):
    return parse_case(new_case_text(Wishes(**{"size": "26 ft x 33 ft", **wishes})), file="new")


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    size=st.sampled_from(SIZES),
    soil=st.sampled_from(SOILS),
    joint=st.sampled_from(list(word_ranges("joint_words"))),
    gap=st.sampled_from(GAPS),
    slab=st.sampled_from(list(word_ranges("slab_words"))),
    fan=st.sampled_from(list(fan_classes())),
    pits=st.integers(1, 6),
    footing_depth=st.sampled_from(["0 in", "18 in", "4 ft"]),
    grade=st.sampled_from(["0 ft", "6 ft 6 in"]),
)
def test_any_words_make_a_case_that_reads(**wishes):
    case = made(**wishes)
    assert [len(layout.points) for layout in case.layouts] == [wishes["pits"]] * 2
    assert len(case.site.gaps) == bool(wishes["gap"])
    assert {c.name for c in case.conditions} == {"today", "design_winter"}
    assert any("soil" in u.source or "layers" in u.path for u in case.uncertain)
    assert case.with_variant("no_loose_band").site.bands == ()


@pytest.mark.parametrize("wishes", [{}, {"size": "8 ft x 10 ft", "pits": 1, "grade": "6 ft"}])
def test_it_runs_as_it_is(wishes):
    case = made(**wishes).with_resolution(COARSE)
    winter = run_layout(case).conditions["design_winter"]
    assert winter.operating_point.fan_flow > 0.0
    assert -winter.test_holes["T1"] > 0.0


def test_the_holes_keep_away_from_the_pits():
    case = made(pits=4)
    pits = [(p.x, p.y) for layout in case.layouts for p in layout.points]
    for hole in case.test_holes:
        assert min(math.dist((hole.x, hole.y), pit) for pit in pits) > 1.5


def test_twelve_pits_fit_a_house_and_not_a_cellar():
    points = made(pits=12).layouts[0].points
    places = [(p.x, p.y) for p in points]
    assert min(math.dist(a, b) for a, b in itertools.combinations(places, 2)) > 0.6
    with pytest.raises(InputError, match="do not fit on 8 ft x 10 ft") as caught:
        made(size="8 ft x 10 ft", pits=24)
    assert caught.value.field == "pits"


def test_metres_stay_metres():
    text = new_case_text(Wishes(size="9.5 m x 7 m"))
    assert 'x = "4.750 m"' in text
    assert 'size = "9.5 m x 7 m"' in text


def test_a_title_may_hold_quotes():
    assert made(title='The "old" house \\ barn').title == 'The "old" house \\ barn'


@pytest.mark.parametrize(
    ("wishes", "field", "words"),
    [
        ({"size": "26 ft"}, "size", "two lengths"),
        ({"size": "26 x 33"}, "size", "26"),
        ({"soil": "packed silty caly"}, "soil", "did you mean"),
        ({"soil": "saturated"}, "soil", "cannot stand for a whole floor"),
        ({"gap": "fingers fit"}, "gap", "cannot stand for a whole floor"),
        ({"joint": "dime"}, "joint", "dime"),
        ({"fan": "hurricane"}, "fan", "hurricane"),
        ({"pits": 0}, "pits", "1 to 40"),
        ({"pit": "2 shovels"}, "pit", "shovels"),
        ({"footing_depth": "18"}, "footing_depth", "18"),
    ],
)
def test_what_cannot_be_used_is_said_by_its_name(wishes, field, words):
    with pytest.raises(InputError, match=words) as caught:
        made(**wishes)
    assert caught.value.field == field


def test_every_wish_is_an_option_of_the_command(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shown = CliRunner().invoke(cli.app, ["new", "--help"]).output
    for wish in dataclasses.fields(Wishes):
        assert "--" + wish.name.replace("_", "-") in shown


def test_the_command_writes_once_and_replaces_only_when_told(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        return CliRunner().invoke(cli.app, ["new", "a.toml", "--size", *arguments])

    done = call("26 ft x 33 ft", "--pits", "2")
    assert (done.exit_code, done.stdout.splitlines()[0]) == (0, "wrote a.toml")
    first = (tmp_path / "a.toml").read_text(encoding="utf-8")
    done = call("20 ft x 20 ft")
    assert done.exit_code == 2
    assert "is there already" in done.stderr
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") == first
    assert call("20 ft x 20 ft", "--force", "-q").exit_code == 0
    assert (tmp_path / "a.toml").read_text(encoding="utf-8") != first
    done = call("20 ft x 20 ft", "--force", "--soil", "packed silty caly")
    assert done.exit_code == 2
    assert done.stderr.startswith("--soil: packed silty caly: not a known word")
    assert [path.name for path in tmp_path.iterdir()] == ["a.toml"]
