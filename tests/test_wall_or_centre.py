"""The wall-or-centre map: what wins where, how it is solved, what the picture shows."""

import csv
import dataclasses
import functools
import io
import json
import math

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from numpy.testing import assert_allclose
from tiny_house import house

from soilflow.air import Air
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.grid import Resolution
from soilflow.flow.nearby import mixed_fields
from soilflow.flow.response import respond
from soilflow.flow.soil_network import build_soil_network
from soilflow.grids import map_of
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.output import wall_or_centre_figure as figure
from soilflow.output.wall_or_centre_words import lead_words, map_to_csv, map_to_dict, print_map
from soilflow.run import run_layout
from soilflow.site.ground import Ground, SettledGap, SoilLayer
from soilflow.site.leaks import FloorWallJoint
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import ExteriorBackfill, FoundationWalls, PerimeterBand
from soilflow.studies.deciding import on_site_of
from soilflow.studies.gap_scenes import gap_scene, gap_scenes
from soilflow.studies.placements import at_vacuum, centre_place, one_pit, wall_place
from soilflow.studies.site_axes import AXES, log_spaced, site_axis
from soilflow.studies.wall_or_centre import (
    PlacementMap,
    _grids,
    map_cost,
    plan_map,
    solve_map,
)

ROUGH = Resolution(
    name="rough",
    cells_per_radius=2.0,
    line_size=0.15,
    growth=2.0,
    largest_inside=0.9,
    largest_outside=4.0,
    largest_down=3.0,
)
MU = 1.81e-5
# 3e-10 m3/s/Pa through a metre of joint in a slab of 0.1 m
TIGHT_JOINT = (12.0 * MU * 0.1 * 3e-10) ** (1.0 / 3.0)


@functools.cache
def house_on_clay() -> Case:
    """11 by 7.3 m on packed clay, a loose trench along the footings, one pit at 500 Pa."""
    site = Site(
        slab=Slab(
            corners=((0, 0), (11, 0), (11, 7.3), (0, 7.3)), thickness=0.1, permeability=1e-18
        ),
        walls=FoundationWalls(thickness=0.3, footing_depth=0.45),
        ground=Ground(layers=(SoilLayer(permeability=1e-12),), bottom=8.0),
        bands=(PerimeterBand(width=0.6, depth=1.0, looser_by=15.0),),
        backfill=ExteriorBackfill(width=20.0, depth=1.0, looser_by=5.0),
        joints=(FloorWallJoint(aperture=TIGHT_JOINT),),
    )
    pit = HemisphericalPit(volume=0.0378541)
    layouts = [
        Layout(name=name, points=(SuctionPoint(name="pit", x=5.5, y=y, pit=pit, vacuum=500.0),))
        for name, y in (("wall", 0.3), ("middle", 3.65))
    ]
    return Case(
        title="clay",
        site=site,
        layouts=tuple(layouts),
        conditions=(Condition(name="design_winter", outdoor_pressure=3.0),),
        air=Air(temperature=283.15),
    )


@functools.cache
def solved() -> PlacementMap:
    """Two by two points, without a gap and with one under the core."""
    case = house_on_clay()
    plan = plan_map(
        case,
        *case.layouts,
        gap_scenes(case.site, 1e-3, ("no-gap", "core")),
        x=site_axis("band"),
        y=site_axis("joint"),
        x_range=(1.0, 15.0),
        y_range=(TIGHT_JOINT, 2e-4),
        points=2,
        resolution=ROUGH,
    )
    return solve_map(plan)


def test_in_a_loose_band_the_wall_draws_several_times_more_and_has_more_to_spare():
    flows = solved().flows[0, 1]
    assert (flows[:, 0] > 3.0 * flows[:, 1]).all()
    assert (flows[:, 0] < 10.0 * flows[:, 1]).all()
    assert (solved().lead[0, 1] > 0.2).all()


def test_in_uniform_soil_the_order_flips():
    found = solved()
    assert (found.lead[0, 0] < -1.0).all()
    assert (found.coverage_area[0, 0, :, 0] < found.coverage_area[0, 0, :, 1] - 0.1).all()
    flows = solved().flows[0, 0, 0]
    assert 0.5 < flows[0] / flows[1] < 1.2  # it is not the air that decides there


def test_with_a_gap_in_mid_slab_the_middle_wins_in_every_measure():
    found = solved()
    for measure in ("margin", "flow", "coverage"):
        one = dataclasses.replace(found, plan=dataclasses.replace(found.plan, measure=measure))
        assert (one.lead[1] <= 0.0).all(), measure
    assert (found.margins[1, ..., 1] > found.margins[1, ..., 0] + 5.0).all()
    assert (found.flows[1, ..., 1] > 1.5 * found.flows[1, ..., 0]).all()


def test_opening_the_joint_never_lowers_the_flow():
    """More conductance anywhere never lowers a pit's own conductance."""
    flows = solved().flows
    assert (flows[:, :, 1] >= flows[:, :, 0] * (1.0 - 1e-9)).all()


def test_the_case_itself_is_solved_where_it_stands():
    found = solved()
    assert found.plan.here == ("no-gap", 15.0, TIGHT_JOINT)
    assert_allclose(found.at_case[0], found.margins[0, 1, 0], rtol=1e-6)
    assert_allclose(found.at_case[1], found.flows[0, 1, 0], rtol=1e-7)


def test_a_point_begun_from_others_is_the_one_solved_alone():
    found = solved()
    plan = found.plan
    case = on_site_of(plan.case, plan.site(1, 0, 1))
    for which, layout in enumerate(plan.placements):
        alone = run_layout(case, layout, grid=_grids(plan)[1], baseline=False)
        winter = alone.conditions["design_winter"]
        pit = winter.operating_point.port_names.index("pit")
        assert_allclose(found.margins[1, 0, 1, which], winter.worst.margin, atol=1e-4)
        assert_allclose(found.flows[1, 0, 1, which], winter.operating_point.flows[pit], rtol=1e-7)


def test_a_mixture_takes_more_power_than_the_field_and_less_than_what_it_is_mixed_from():
    """The unit field has the least dissipation of all; a mixture the least of its kind."""
    case = house_on_clay().with_resolution(ROUGH)
    networks = []
    for aperture in (5e-5, 1e-4, 2e-4):
        site = AXES["joint"].change(case.site, aperture)
        soil = map_of(on_site_of(case, site), case.layouts[0])
        networks.append(build_soil_network(soil, MU))
    first, wanted, last = networks
    known = [respond(n).unit_fields for n in (first, last)]

    def power(field):
        b = wanted.sources()[0]
        return float(field @ (wanted.matrix() @ field) - 2.0 * b @ field + b.sum())

    mixed = mixed_fields(wanted, known)
    exact = respond(wanted, start=mixed).unit_fields
    assert power(exact[0]) <= power(mixed[0]) < min(power(k[0]) for k in known)
    assert np.abs(mixed - exact).max() < 0.2 * min(np.abs(k - exact).max() for k in known)
    assert_allclose(exact, respond(wanted).unit_fields, atol=1e-7)
    assert mixed_fields(wanted, []) is None


def test_the_joint_axis_is_conductance_per_metre_over_mobility():
    """w^3 / (12 mu t) over k / mu: viscosity drops out."""
    site = house_on_clay().site
    conductance = 2e-4**3 / (12.0 * MU * 0.1)
    assert_allclose(AXES["joint"].scale(site, 2e-4), conductance / (1e-12 / MU), rtol=1e-12)
    assert_allclose(AXES["slab"].scale(site, 1e-14), (1e-14 / 0.1) * 3.65 / 1e-12, rtol=1e-12)


@pytest.mark.parametrize("name", AXES)
def test_each_axis_sets_what_it_reads(name):
    axis, bare = AXES[name], dataclasses.replace(house_on_clay().site, bands=(), backfill=None)
    for site in (house_on_clay().site, bare):
        for value in (axis.low, axis.high):
            assert axis.value_of(axis.change(site, value)) == value
        assert axis.scale(site, axis.high) > axis.scale(site, axis.low)


def test_a_sealed_joint_stays_sealed():
    site = dataclasses.replace(
        house_on_clay().site, joints=(FloorWallJoint(aperture=1e-4, sealed=True),)
    )
    assert AXES["joint"].change(site, 5e-4).joints == site.joints


def test_where_a_gap_is():
    site = house_on_clay().site
    scenes = gap_scenes(site, 2e-3)
    assert [(s.name, s.own) for s in scenes] == [
        ("no-gap", True),
        ("core", False),
        ("walls", False),
    ]
    assert [gap_scene(s.site) for s in scenes] == [s.name for s in scenes]
    whole = dataclasses.replace(site, gaps=(SettledGap(name="all", aperture=1e-3),))
    assert gap_scene(whole) is None
    own = gap_scenes(scenes[2].site, 9e-3, ("walls",))[0]
    assert own.own
    assert own.aperture == 2e-3  # its own height, not the one asked for
    with pytest.raises(InputError, match="no panel"):
        gap_scenes(site, 1e-3, ("attic",))
    wide = (PerimeterBand(width=5.0, looser_by=2.0),)
    with pytest.raises(InputError, match="no one core"):
        gap_scenes(dataclasses.replace(site, bands=wide), 1e-3)


def test_pits_of_its_own_stand_at_the_longest_wall_and_in_the_middle():
    case = house_on_clay()
    x, y = wall_place(case)
    assert (x, y) == (5.5, 0.3048)
    assert centre_place(case) == (5.5, 3.65)
    shallow = FoundationWalls(thickness=0.3, footing_depth=0.0)
    site = dataclasses.replace(case.site, walls=shallow)
    middle = on_site_of(case.with_layout(case.layouts[1]), site)
    assert wall_place(middle)[1] > y  # clear of the line from the footing
    assert one_pit(case, "x", (5.5, 3.65)).points[0].vacuum == 500.0
    held = at_vacuum(house().layout(None), 250.0)
    assert (held.fan, held.points[0].vacuum) == (None, 250.0)
    piped = one_pit(house(), "x", (1.8, 1.5))
    assert [p.name for p in piped.pipes.pipes] == ["pit"]


def test_what_cannot_be_a_map_is_refused():
    case = house_on_clay()
    scenes = gap_scenes(case.site, 1e-3, ("no-gap",))
    band, joint = site_axis("band"), site_axis("joint")
    with pytest.raises(InputError, match="both axes"):
        plan_map(case, *case.layouts, scenes, x=band, y=band)
    with pytest.raises(InputError, match="no measure"):
        plan_map(case, *case.layouts, scenes, x=band, y=joint, measure="luck")
    for low, high, count in ((2.0, 1.0, 3), (0.0, 1.0, 3), (1.0, 2.0, 1)):
        with pytest.raises(InputError):
            log_spaced(low, high, count)
    with pytest.raises(InputError, match="no axis"):
        site_axis("roof")


def test_the_cost_counts_every_point():
    solves, seconds = map_cost(solved().plan)
    assert solves == 2 * 2 * 2 * 2
    assert seconds > 0.0


def drawn(found):
    picture = figure.plot_placement_map(found)
    return picture, [ax for ax in picture.axes if ax.get_title()]


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_the_case_is_marked_on_its_own_panel_and_nowhere_else():
    _, (plain, gap) = drawn(solved())
    assert "you are here" in texts(plain)
    assert "you are here" not in texts(gap)
    plan = dataclasses.replace(solved().plan, x_values=(1.0, 10.0))
    _, (outside, _) = drawn(dataclasses.replace(solved(), plan=plan))
    assert "you are here" not in texts(outside)


def test_the_tie_is_the_one_bold_line_and_is_there_only_where_the_lead_changes():
    def bold(ax):
        return [c for c in ax.collections if max(c.get_linewidth(), default=0.0) >= 3.0]

    _, (plain, gap) = drawn(solved())
    assert bold(plain)
    assert not bold(gap)


def test_the_three_areas_stay_apart_in_grey():
    """Luma of Rec. 601; and each has a hatching of its own."""
    styles = (figure._WALL, figure._CENTRE, figure._NEITHER)
    grey = sorted(np.dot(to_rgb(s["facecolor"]), (0.299, 0.587, 0.114)) for s in styles)
    assert min(np.diff(grey)) > 0.08
    assert len({s["hatch"] for s in styles}) == 3


def test_each_point_is_in_text_table_and_json():
    found = solved()
    said = print_map(found, verbose=True)
    assert "NO GAP UNDER THE SLAB" in said
    assert max(map(len, said.splitlines())) <= 60
    rows = list(csv.DictReader(io.StringIO(map_to_csv(found))))
    assert len(rows) == 8
    assert rows[2]["leads"] == "wall"
    assert float(rows[2]["band [-]"]) == 15.0
    assert_allclose(float(rows[2]["wall_flow [m3/s]"]), found.flows[0, 1, 0, 0], rtol=1e-5)
    data = json.loads(json.dumps(map_to_dict(found), allow_nan=False))
    assert data["case"]["band"] == 15.0
    assert len(data["points"]) == 8


def test_a_point_without_an_answer_is_a_question_mark_and_never_a_winner():
    margins = solved().margins.copy()
    margins[0, 0, 0, 1] = math.nan
    plan = dataclasses.replace(solved().plan, measure="margin")
    found = dataclasses.replace(solved(), plan=plan, margins=margins, failures=("no fan",))
    assert lead_words(found, (0, 0, 0)) == "?"
    assert "no fan" in print_map(found)
    assert map_to_dict(found)["points"][0]["leads"] == ""
    drawn(found)


def test_where_both_cover_the_floor_nobody_leads():
    plan = dataclasses.replace(solved().plan, measure="coverage")
    found = dataclasses.replace(solved(), plan=plan)
    assert_allclose(found.coverage_area[1, 1, 0], 1.0)  # with the gap both cover all of it
    assert lead_words(found, (1, 1, 0)) == "even"
    point = map_to_dict(found)["points"][6]
    assert (point["panel"], point["leads"], point["holds"]) == ("core", "even", True)
    picture, _ = drawn(found)
    labels = [text.get_text() for text in picture.legends[0].get_texts()]
    assert "both do the same, and hold" in labels
