"""A search over soils: the nominal soil gives the nominal ranking, other soils their own."""

import functools
import json

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tiny_house import RANGES, TEXT
from typer.testing import CliRunner

from soilflow.cli import app
from soilflow.errors import InputError
from soilflow.files import parse_case
from soilflow.files.field_paths import field_dimension
from soilflow.layout.pits import HemisphericalPit
from soilflow.output.search_printout import print_search, search_to_dict
from soilflow.studies.candidates import candidates_of
from soilflow.studies.search import fans_on_offer, search_layouts
from soilflow.studies.search_soils import SoilSearch, chosen_step, places_needed, search_over_soils
from soilflow.studies.unknown_soil import ranges_of

PIT = HemisphericalPit(volume=0.02)


@functools.cache
def nominal(text=RANGES):
    case = parse_case(text, file="house.toml")
    places = candidates_of(case, pit=PIT, spacing=1.5, wall_spacing=None)
    fans = fans_on_offer(case)[:1]
    return search_layouts(case, places, fans=fans, most_pits=2, confirm=0, with_own=False)


@functools.cache
def over(members, seed):
    return search_over_soils(nominal(), members, seed=seed)


def noun_at(case, path):
    """The value a path of the site leads to."""
    found = case
    for part in path.replace("[", ".[").split("."):
        found = found[int(part[1:-1])] if part.startswith("[") else getattr(found, part)
    return found


def test_the_nominal_soil_gives_the_nominal_ranking(monkeypatch):
    case = nominal().case
    now = [noun_at(case, known.path) for known in ranges_of(case)]
    assert all(field_dimension(case, known.path) for known in ranges_of(case))
    monkeypatch.setattr(
        "soilflow.studies.search_soils.draw_soils", lambda *_, **__: np.array([now, now])
    )
    found = search_over_soils(nominal(), 2)
    ranked = chosen_step(nominal()).ranked
    assert_allclose(found.margins[0], ranked.margins[:200], rtol=2e-3, atol=0.02)
    assert_allclose(found.margins[1], found.margins[0], rtol=1e-9)
    kept = nominal().candidates.kept
    assert found.names[0] == ", ".join(kept[i].name for i in ranked.indices[0])


def test_soils_are_those_of_the_seed_and_differ():
    one, again = over(2, 1), search_over_soils(nominal(), 2, seed=1)
    assert_allclose(one.margins, again.margins, rtol=1e-12)
    assert np.ptp(one.margins[:, 0]) > 0.01
    assert set(places_needed(one.step)) <= set(range(len(nominal().candidates)))
    for known, drawn in zip(ranges_of(nominal().case), one.values.T, strict=True):
        assert np.all((drawn >= known.low) & (drawn <= known.high))


def made_up(margins):
    margins = np.array(margins, dtype=float)
    return SoilSearch(
        step=chosen_step(nominal()),
        names=tuple("abc"[: margins.shape[1]]),
        margins=margins,
        values=np.zeros((len(margins), 1)),
        seed=7,
    )


def test_counts_and_worst_tenth_by_hand():
    """Twenty soils: a holds in all but two by much, b in all by little, c has no air in one."""
    rows = [[9.0, 0.1, 5.0]] * 17 + [[9.0, 0.1, np.nan], [-4.0, 0.1, 5.0], [-6.0, 0.2, 5.0]]
    found = made_up(rows)
    assert found.passed.tolist() == [18, 20, 19]
    assert found.most_often == found.best_in_worst_tenth == 1
    assert found.worst_tenth[0] == -5.0  # two of twenty
    assert found.worst_tenth[1] == pytest.approx(0.1)
    assert found.worst_tenth[2] == -np.inf
    text = " ".join(print_search(nominal(), soils=found).split())
    assert "holds most often: b; holds in 20 of 20" in text
    assert "No range computed" not in text
    told = json.loads(json.dumps(search_to_dict(nominal(), found), allow_nan=False))
    assert told["soils"]["most_often"] == "b"
    assert told["soils"]["layouts"][2]["worst_tenth_Pa"] is None


def test_a_case_without_ranges_is_refused_before_anything_is_solved(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    monkeypatch.setattr("soilflow.studies.search.influence_of", None)
    done = CliRunner().invoke(app, ["search", "house.toml", "--members", "4"])
    assert done.exit_code == 1
    assert "nothing in this case is known as a range" in done.stderr
    with pytest.raises(InputError, match="nothing in this case is known as a range"):
        ranges_of(parse_case(TEXT, file="house.toml"))


def test_the_command_says_what_other_soils_do(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(RANGES, encoding="utf-8")
    line = ["search", "house.toml", "--pits", "1", "--spacing", "15 ft", "--no-figures"]
    done = CliRunner().invoke(app, [*line, "--members", "2"])
    assert done.exit_code == 0, done.output
    assert "In 2 soils drawn from the ranges, 1 pit" in done.stdout
    assert "2 soils with" in done.stderr
    assert "h ..." in done.stderr
