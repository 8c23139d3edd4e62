"""The same house in another season: each does what its words say, neutral ones do nothing."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose
from tiny_house import FIRST, TEXT, house, solved
from typer.testing import CliRunner

from soilflow.cli import app
from soilflow.data import season_words
from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, write_case
from soilflow.run import run_layout
from soilflow.site import MoistZone, YardSoil
from soilflow.site.seasons import SEASONS, in_season

WINTER = "design_winter"
WET = MoistZone(
    name="low spot", corners=((0.0, 0.0), (1.5, 0.0), (1.5, 1.5), (0.0, 1.5)), bottom=1.0,
    multiplier=0.05,
)  # fmt: skip


def winter(site):
    return run_layout(replace(house(), site=site), FIRST, baseline=False).conditions[WINTER]


def test_a_neutral_yard_changes_nothing():
    plain = solved().conditions[WINTER]
    same = winter(replace(house().site, yard_soil=YardSoil(looser_by=1.0)))
    assert_allclose(same.operating_point.flows, plain.operating_point.flows, rtol=1e-9)


@pytest.mark.parametrize(("words", "more"), [("frozen yard", False), ("dry yard", True)])
def test_frost_keeps_outdoor_air_out_and_drought_lets_it_in(words, more):
    plain, other = solved().conditions[WINTER], winter(in_season(house().site, words))
    was, now = (c.outdoors_on.into_soil for c in (plain, other))
    assert (now > was) == more
    share_was, share_now = (c.house_on.into_soil / c.air_drawn(["A"]) for c in (plain, other))
    assert (share_now < share_was) == more  # what the yard does not give, the house does


def test_frost_is_outside_and_ends_at_its_depth():
    """Grade at the slab underside: 3 ft of frost are 3 ft below it, and none under the floor."""
    site = in_season(house().site, "Frozen  yard")
    [effect] = site.yard_soil.effects(site.slab.polygon, site.walls.grade, site.ground.bottom)
    assert_allclose([effect.where.top, effect.where.bottom], [0.0, 3 * 0.3048])
    assert effect.where.plan.intersection(site.slab.polygon).area < 1e-9
    basement = site.yard_soil.effects(site.slab.polygon, 2.0, site.ground.bottom)[0].where
    assert_allclose([basement.top, basement.bottom], [-2.0, 3 * 0.3048 - 2.0])


def test_dried_out_is_the_site_without_its_moist_zones():
    wet = replace(house().site, moist_zones=(WET,))
    assert in_season(wet, "dried out") == house().site
    assert in_season(wet, "dried low spot") == house().site
    with pytest.raises(InputError, match="no moist zone to dry"):
        in_season(house().site, "dried out")


@pytest.mark.parametrize("words", ["wet north-east corner", "wet_south_west corner"])
def test_a_wet_corner_lies_in_its_corner(words):
    site = in_season(house().site, words.replace("_", " ", 1).replace("_", "-"))
    [zone] = site.moist_zones
    x0, y0, x1, y1 = site.slab.polygon.bounds
    corner = (x1, y1) if "north" in words else (x0, y0)
    assert corner in [tuple(c) for c in zone.polygon.exterior.coords]
    assert zone.polygon.area == pytest.approx((9 * 0.3048) ** 2)
    assert zone.source.startswith("guess")


def test_every_word_has_a_source_and_is_offered():
    assert all(word.source for word in season_words().values())
    site = replace(house().site, moist_zones=(WET,))
    assert len({repr(in_season(site, words)) for words in SEASONS}) == len(SEASONS)


def test_in_a_file_it_takes_one_line_and_survives_the_way_back():
    seasons = '[variant]\nfrozen = "frozen yard"\nwet = "wet north-east corner"\n'
    text = TEXT.replace("[variant.tight_joint]", seasons + "[variant.tight_joint]")
    case = parse_case(text, file="h")
    assert case.variants["frozen"] == in_season(case.site, "frozen yard")
    assert parse_case(write_case(case), file="h").variants == case.variants


def test_a_season_nobody_knows_is_one_mistake_with_its_line():
    text = TEXT.replace(
        "[variant.tight_joint]", '[variant]\nodd = "monsoon"\n[variant.tight_joint]'
    )
    with pytest.raises(CaseError) as caught:
        parse_case(text, file="house.toml")
    [mistake] = caught.value.mistakes
    line = text[: text.index("odd =")].count("\n") + 1
    assert str(mistake).startswith(f'house.toml:{line}: variant.odd: "monsoon": no such season')
    assert '"frozen yard"' in str(mistake)


def test_the_command_takes_a_season_the_file_does_not_have(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "house.toml").write_text(TEXT, encoding="utf-8")
    line = ["run", "house.toml", "--no-figures", "--variant"]
    done = CliRunner().invoke(app, [*line, "frozen yard"])
    assert done.exit_code == 0, done.output
    assert 'variant "frozen yard"' in " ".join(done.output.split())
    again = CliRunner().invoke(app, ["run", "house_frozen_yard.h5", "--no-figures"])
    assert again.exit_code == 0, again.output
    assert 'variant "frozen yard"' in " ".join(again.output.split())
    wrong = CliRunner().invoke(app, [*line, "monsoon"])
    assert wrong.exit_code == 2
    assert '"tight_joint"' in wrong.output
    assert '"frozen yard"' in wrong.output
