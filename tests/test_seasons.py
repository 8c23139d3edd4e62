"""The same house in another season: each does what its words say, neutral ones do nothing."""

from dataclasses import replace

import numpy as np
import pytest
from cracked_house import DESIGN, ROUGH, case
from cracked_house import site as cracked
from numpy.testing import assert_allclose
from tiny_house import FIRST, TEXT, house, solved
from typer.testing import CliRunner

from soilflow.case import Uncertain
from soilflow.cli import app
from soilflow.data import season_words
from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, write_case
from soilflow.flow.grid import grid_for
from soilflow.flow.soil_map import build_soil_map
from soilflow.grids import grid_of
from soilflow.run import run_layout
from soilflow.site import ExteriorBackfill, FoundationWalls, MoistZone, YardSoil
from soilflow.site.seasons import SEASONS, in_season
from soilflow.studies.troubles import YARD, coverage_if

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


@pytest.mark.parametrize("grade", [0.0, 1.2])
def test_cell_by_cell_frost_multiplies_whatever_soil_lies_there(grade):
    """Ratio of two maps on one grid: the multiplier outside down to its depth, one elsewhere."""
    walls = FoundationWalls(thickness=0.2, footing_depth=0.3, grade=grade)
    backfill = ExteriorBackfill(width=0.5, looser_by=5.0)
    plain = cracked(walls=walls, backfill=backfill, moist_zones=(WET,))
    cold = replace(plain, yard_soil=YardSoil(looser_by=0.05, depth=0.8))
    grid = grid_for([effect for one in (plain, cold) for effect in one.effects()], [], ROUGH)
    was, now = (build_soil_map(grid, one.effects(), []) for one in (plain, cold))
    x, y, z = (grid.centres(axis) for axis in range(3))
    indoors = ((x > -0.2) & (x < 4.2))[:, None, None] & ((y > -0.2) & (y < 3.2))[None, :, None]
    frozen = ~indoors & (z < 0.8 - grade)[None, None, :]
    assert 0 < frozen.sum() < (~indoors).sum() * z.size
    for name in ("horizontal", "vertical"):
        expected = getattr(was, name) * np.where(frozen, 0.05, 1.0)
        assert_allclose(getattr(now, name), expected, rtol=1e-12)
    assert np.array_equal(now.area_leaks.cell, was.area_leaks.cell)  # the surface stays open


def test_the_trouble_of_a_loose_yard_is_the_same_noun():
    """The trouble, and a site whose yard is as loose as that, run from the beginning."""
    made = case()
    found = coverage_if(made, YARD, resolution=None)
    loose = case(yard_soil=YardSoil(looser_by=10.0))
    worst = run_layout(loose, grid=grid_of(made, made.layouts), baseline=False).conditions[DESIGN]
    assert found.after.worst.margin == pytest.approx(worst.worst.margin, rel=1e-6)
    assert found.after.worst.margin < found.before.worst.margin


@pytest.mark.parametrize(
    ("words", "depth"),
    [("frozen yard, 2 ft", 0.6096), ("Dry_yard,0.5 m", 0.5), ("soaked yard, 4 ft 6 in", 1.3716)],
)
def test_a_depth_may_be_said(words, depth):
    soil = in_season(house().site, words).yard_soil
    assert soil.depth == pytest.approx(depth, rel=1e-12)
    assert soil.source.startswith("guess")
    assert soil.source.endswith("the depth as asked for")
    corner = in_season(house().site, "wet south-east corner, 2 ft").moist_zones[0]
    assert corner.bottom == pytest.approx(0.6096, rel=1e-12)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("frozen yard, 3", "3: no unit"),
        ("frozen yard,", "frozen yard"),
        ("dry yard, -3 ft", "is no depth"),
        ("frozen yard, 3 ft, 4 ft", "frozen yard"),
    ],
)
def test_a_depth_that_is_none_is_refused(words, message):
    with pytest.raises(InputError, match=message):
        in_season(house().site, words)


def test_a_wet_corner_stays_under_the_floor():
    """9 ft do not fit on a floor 3 m by 2 m, and not into the notch of an L."""
    small = cracked(cracks=())
    small = replace(small, slab=replace(small.slab, corners=((0, 0), (3, 0), (3, 2), (0, 2))))
    assert in_season(small, "wet north-west corner").moist_zones[0].polygon.bounds == (0, 0, 2, 2)
    ell = ((0, 0), (4, 0), (4, 1), (1, 1), (1, 3), (0, 3))
    ell = replace(small, slab=replace(small.slab, corners=ell))
    with pytest.raises(InputError, match="lies in that corner of the floor; draw the wet part"):
        in_season(ell, "wet north-east corner")


def test_a_variant_of_the_file_comes_first_however_it_is_spelled():
    """Both would write house_frozen_yard.h5."""
    own = replace(house(), variants={"frozen_yard": house().variants["gravel"]})
    for name in ("frozen_yard", "frozen yard", "Frozen-yard"):
        found = own.with_variant(name)
        assert (found.site, found.variant) == (house().variants["gravel"], "frozen_yard")


def test_a_season_is_not_laid_on_twice_and_says_what_it_lies_on():
    soaked = house().with_variant("wet north-east corner")
    assert len(soaked.site.moist_zones) == 1
    again = parse_case(write_case(soaked), file="h")
    assert again.with_variant(again.variant).site == soaked.site
    both = house().with_variant("gravel").with_variant("frozen yard")
    assert both.variant == "gravel and frozen yard"
    assert both.site.ground == house().variants["gravel"].ground


def test_ranges_stay_with_the_zones_that_stay():
    spread = {"low": 0.1, "high": 0.2, "law": "uniform", "source": "guess"}
    damp = replace(WET, name="damp", multiplier=0.5)
    paths = [f"site.moist_zones[{i}].multiplier" for i in (0, 1)] + ["site.slab.permeability"]
    made = replace(
        house(),
        site=replace(house().site, moist_zones=(WET, damp)),
        uncertain=tuple(Uncertain(path=path, **spread) for path in paths),
    )
    assert [u.path for u in made.with_variant("dried low spot").uncertain] == [paths[0], paths[2]]
    assert [u.path for u in made.with_variant("dried out").uncertain] == [paths[2]]
    assert [u.path for u in made.with_variant("wet south-east corner").uncertain] == paths
