"""What a run says to the one on site: readings, seals, waits, sources of air and a verdict."""

import functools
import json
import math
from pathlib import Path

import pytest
from numpy.testing import assert_allclose
from tiny_house import FIRST, TEXT, house, solved
from typer.testing import CliRunner

from soilflow.cli import app
from soilflow.errors import OutOfRangeError
from soilflow.flow.grid import Resolution
from soilflow.output.on_site import duration
from soilflow.output.on_site_json import on_site_to_dict
from soilflow.output.printout import print_result
from soilflow.output.report import result_to_dict
from soilflow.results.verdict import judge
from soilflow.site.effects import HOUSE
from soilflow.studies.on_site import on_site

ROUGH = Resolution(
    name="rough", cells_per_radius=1.5, line_size=0.2, growth=3.0, largest_inside=0.8
)


@functools.cache
def found(variant="", thorough=False):
    return on_site(house(variant), solved(FIRST, variant), thorough=thorough, resolution=ROUGH)


def said(variant="", thorough=False):
    text = print_result(
        solved(FIRST, variant), house(variant), on_site=found(variant, thorough), width=60
    )
    assert max(map(len, text.splitlines())) <= 60
    return " ".join(text.split())


def test_readings_are_those_of_the_result():
    [hole] = found().must_read
    today = solved(FIRST).conditions["today"]
    assert_allclose(hole.fan_on, today.test_holes["T1"], rtol=1e-9)
    assert_allclose(hole.fan_off, today.test_holes_off["T1"], rtol=1e-9)
    assert hole.enough == (hole.fan_on <= hole.must_read)
    assert ("NOT ENOUGH" in said()) != hole.enough
    assert f"{hole.must_read:.2g} {hole.must_read / 249.08891:.3f}" in said()


def test_air_of_every_point_comes_from_somewhere():
    for name, air in found().air.items():
        for point in air.points:
            assert_allclose(sum(air.share(place, point) for place in air.places), 1.0, rtol=1e-6)
        drawn = solved(FIRST).conditions[name].air_drawn(air.points)
        assert_allclose(sum(air.flow(place) for place in air.places), drawn, rtol=1e-6)
    today = found().air["today"]
    assert f"{100 * today.share(HOUSE, 'A'):.0f} %" in said()
    assert "of house air" in said()


def test_quick_says_what_it_did_not_look_at():
    text = said()
    assert "Not computed: --on-site does" in text
    assert "not looked at: how long suction takes to build up" in text
    assert "not looked at: any trouble" in text
    report = on_site_to_dict(found())
    assert report["seal_list"] is None
    assert report["troubles"] is None
    assert report["response_time"] is None


def test_the_verdict_is_that_of_the_rules_on_the_numbers_shown():
    for thorough in (False, True):
        it = found(thorough=thorough)
        judged = solved(FIRST).conditions["design_winter"]
        margins = it.troubles.margins if thorough else None
        drawn = judged.air_drawn(it.air["today"].points)
        assert it.verdict == judge(judged.worst.margin, drawn, t90=it.wait, troubles=margins)
        word = it.verdict.word.upper()
        if it.verdict.word == "dependable" and not thorough:
            word = "NOTHING AGAINST IT SO FAR"  # troubles and waits were not looked at
        assert f"{word}, by the rules below." in said(thorough=thorough)


def test_tight_soil_is_not_dependable_and_says_why():
    it = found("tight_soil")
    assert it.verdict.word == "not dependable"
    text = said("tight_soil")
    assert "NOT DEPENDABLE, by the rules below." in text
    assert "less than a field gauge shows" in text


def test_thorough_lists_seals_waits_and_troubles():
    it = found(thorough=True)
    text = said(thorough=True)
    assert "Seal list, design winter: most worth first" in text
    assert "Wait: nine tenths are there" in text
    assert "Slow and small: tight soil, and more fan does not help. Fast and small: leak." in text
    best = max(v.whole.margin_gained for v in it.sealing.values)
    assert it.sealing.values[0].whole.margin_gained == best
    assert 0.0 < it.wait <= it.lag.longest()[0]
    assert "wet zones dried: nothing here it could befall" in text
    report = json.loads(json.dumps(result_to_dict(solved(FIRST), it), allow_nan=False))["on_site"]
    assert len(report["seal_list"]) == len(it.sealing.values)
    assert {one["name"] for one in report["troubles"]} == {t.trouble for t in it.troubles.tried}
    assert_allclose(report["response_time"]["worst_spot_s"], it.wait)
    [hole] = report["test_holes"]
    assert set(hole) >= {"must_read_today_Pa", "response_time_s", "fan_off_Pa", "fan_on_Pa"}
    assert_allclose(hole["response_time_s"], it.lag.at(*solved().hole_places["T1"])[1])
    for air in report["air_source"].values():
        assert_allclose(sum(air["shares"].values()), 1.0, rtol=1e-6)
        assert_allclose(air["outdoor_air_share"], air["shares"]["outdoors"], rtol=1e-12)
    assert report["verdict"]["word"] == it.verdict.word
    assert report["balancing"] is None  # one point
    assert_allclose(
        report["air_source"]["today"]["room_air_share"], it.air["today"].share(HOUSE), rtol=1e-12
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (20.0, "under 1 min"),
        (380.0, "6.3 min"),
        (5400.0, "1.5 h"),
        (1.8e5, "2.1 days"),
        (math.nan, "no air"),
    ],
)
def test_a_wait_in_words(seconds, words):
    assert duration(seconds) == words


def test_a_trouble_beyond_the_fan_costs_neither_answer_nor_file(tmp_path, monkeypatch):
    def beyond(*_, **__):
        raise OutOfRangeError('the fan "f" is asked for more')

    monkeypatch.setattr("soilflow.studies.on_site.coverage_if_all", beyond)
    monkeypatch.setattr("soilflow.studies.on_site.sealing_list", lambda *_, **__: None)
    monkeypatch.chdir(tmp_path)
    Path("house.toml").write_text(TEXT, encoding="utf-8")
    done = CliRunner().invoke(app, ["run", "house.toml", "--on-site", "--no-figures"])
    assert done.exit_code == 1
    assert 'house.toml: the fan "f" is asked for more' in done.output
    assert "DESIGN WINTER: THE PASS LINE" in done.output
    assert Path("house.h5").stat().st_size > 0


def test_the_command_says_all_of_it(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    grid = 'resolution = {name = "rough", cells_per_radius = 1.5, line_size = 0.2, growth = 3.0}'
    Path("house.toml").write_text(TEXT.replace('resolution = "coarse"', grid, 1), encoding="utf-8")
    done = CliRunner().invoke(app, ["run", "house.toml", "--on-site", "--no-figures"])
    assert done.exit_code == 0, done.output
    for words in ("must Pa", "Wait: nine", "Seal list, design", "by the rules"):
        assert words in done.output
