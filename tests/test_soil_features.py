"""Fill, patches, wetness, footings, uneven soil: absent they do nothing, present the right thing.

A feature at its neutral value is compared on the grid that the feature itself asks for.
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from small_soils import solve_soil

from soilflow.data import soil_classes
from soilflow.errors import InputError
from soilflow.flow.grid import Resolution, grid_for
from soilflow.layout.bodies import Ball, HeldBody
from soilflow.results.coverage import covered_area, worst_margin
from soilflow.results.floor import FloorPressure, floor_response, pressure_at
from soilflow.site import (
    Fill,
    FootingOpening,
    FoundationWalls,
    Ground,
    InteriorFooting,
    MoistZone,
    Patch,
    PerimeterBand,
    Pores,
    RandomSoil,
    SettledGap,
    Site,
    Slab,
    SoilField,
    SoilLayer,
)
from soilflow.soil import (
    gas_relative_permeability_brooks_corey,
    gas_relative_permeability_parker,
)

ROUGH = Resolution(
    name="rough",
    cells_per_radius=1.5,
    line_size=0.2,
    growth=3.0,
    largest_inside=0.9,
    largest_outside=3.0,
    largest_down=1.0,
)
FLOOR = ((0.0, 0.0), (6.0, 0.0), (6.0, 5.0), (0.0, 5.0))
EAST_HALF = ((3.0, 0.0), (6.0, 0.0), (6.0, 5.0), (3.0, 5.0))
K = 1e-12
PIT = HeldBody(port="pit", body=Ball(centre=(1.5, 2.5, 0.0), radius=0.25))
HELD = {"pit": -100.0, "house": 0.0, "outdoors": 0.0}


def house(**more):
    given = {
        "slab": Slab(corners=FLOOR, thickness=0.1, permeability=1e-15),
        "walls": FoundationWalls(thickness=0.2, footing_depth=0.4),
        "ground": Ground(layers=(SoilLayer(permeability=K),), bottom=2.5),
    }
    return Site(**{**given, **more})


def solve(site, grid=None):
    effects = site.effects()
    if grid is None:
        grid = grid_for(effects, [PIT], ROUGH)
    return solve_soil(grid, effects, [PIT])


def flow(site, grid=None):
    """From the soil into a pit at 100 Pa of suction. [m3/s]"""
    return solve(site, grid).flow("pit", HELD)


def under_slab(answer):
    """Pressure under the slab. [Pa]"""
    held = np.array([HELD[name] for name in answer.soil.ports])
    return floor_response(answer.soil, answer.network, answer.response).pressure(held, 1e9)


def assert_neutral(site, plain=None):
    """The same answer as without, to the last bit, on the grid that the site asks for."""
    there = solve(site)
    without = solve(house() if plain is None else plain, there.soil.grid)
    assert_array_equal(there.response.port_matrix, without.response.port_matrix)
    assert_array_equal(there.response.unit_fields, without.response.unit_fields)


def column(answer, x, y):
    """Horizontal permeability from the slab down at a place, with the depths of the cells."""
    grid = answer.soil.grid
    i, j = np.searchsorted(grid.x, x) - 1, np.searchsorted(grid.y, y) - 1
    return answer.soil.horizontal[i, j], grid.centres(2)


# fill


def test_fill_of_native_soil_changes_nothing():
    assert_neutral(house(fill=Fill(thickness=0.3, permeability=K)))


def test_loose_fill_feeds_the_pit_and_tight_fill_starves_it():
    loose, native, tight = (
        flow(house(fill=Fill(thickness=0.3, permeability=k))) for k in (10 * K, K, 0.1 * K)
    )
    assert loose > 2.0 * native
    assert tight < 0.5 * native
    across = flow(house(fill=Fill(thickness=0.3, permeability=K, vertical=0.1 * K)))
    assert tight < across < native


def test_fill_lies_between_the_walls_over_the_layers_and_under_the_bands():
    ground = Ground(layers=(SoilLayer(permeability=K), SoilLayer(permeability=3 * K, top=0.1)))
    answer = solve(
        house(
            ground=ground,
            fill=Fill(thickness=0.3, permeability=10 * K),
            bands=(PerimeterBand(width=0.5, looser_by=4.0, depth=0.35),),
        )
    )
    middle, depth = column(answer, 3.0, 2.5)
    assert_array_equal(middle[(depth > 0.0) & (depth < 0.3)], 10 * K)
    assert_array_equal(middle[depth > 0.3], 3 * K)
    beside_wall, _ = column(answer, 0.25, 2.5)
    assert_array_equal(beside_wall[(depth > 0.0) & (depth < 0.3)], 40 * K)
    assert_array_equal(beside_wall[(depth > 0.3) & (depth < 0.35)], 12 * K)
    outside, _ = column(answer, -2.0, 2.5)
    assert_array_equal(outside[(depth > 0.0) & (depth < 0.1)], K)


# patches


def patch(permeability, **more):
    return Patch(name="seam", corners=EAST_HALF, permeability=permeability, bottom=0.5, **more)


def test_patch_of_native_soil_changes_nothing():
    assert_neutral(house(patches=(patch(K),)))


def test_gravel_patch_carries_suction_to_the_far_side_and_clay_shields_it():
    reached = {}
    for factor in (0.01, 1.0, 100.0):
        answer = solve(house(patches=(patch(factor * K),)))
        reached[factor] = answer.flow("pit", HELD)
    assert reached[0.01] < reached[1.0] < reached[100.0]


def test_patch_wins_over_bands_and_is_multiplied_by_wet_zones():
    band = PerimeterBand(width=0.5, looser_by=20.0, depth=1.0)
    wet = MoistZone(name="wet", corners=EAST_HALF, multiplier=0.5, bottom=0.2)
    answer = solve(house(patches=(patch(7 * K, top=0.1),), bands=(band,), moist_zones=(wet,)))
    found, depth = column(answer, 5.75, 2.5)
    assert_allclose(found[(depth > 0.0) & (depth < 0.1)], 10 * K)
    assert_allclose(found[(depth > 0.1) & (depth < 0.2)], 3.5 * K)
    assert_allclose(found[(depth > 0.2) & (depth < 0.5)], 7 * K)
    assert_allclose(found[(depth > 0.5) & (depth < 1.0)], 20 * K)


def test_patch_reaches_up_to_grade_and_no_higher():
    walls = FoundationWalls(thickness=0.2, footing_depth=0.4, grade=1.0)
    yard = ((7.0, 0.0), (9.0, 0.0), (9.0, 5.0), (7.0, 5.0))
    high = Patch(name="bed", corners=yard, permeability=9 * K, top=-3.0, bottom=0.2)
    answer = solve(house(walls=walls, patches=(high,)))
    assert answer.soil.grid.z[0] == -1.0
    found, depth = column(answer, 8.0, 2.5)
    assert_array_equal(found[depth < 0.2], 9 * K)


def test_slanted_patch_takes_the_cells_whose_middle_it_covers():
    corner = ((6.0, 0.0), (6.0, 5.0), (1.0, 0.0))
    answer = solve(house(patches=(replace(patch(9 * K), corners=corner),)))
    grid = answer.soil.grid
    x, y = np.meshgrid(grid.centres(0), grid.centres(1), indexing="ij")
    top = answer.soil.horizontal[:, :, answer.soil.top_layer]
    inside = (x - y > 1.0) & (x < 6.0) & (y > 0.0)
    assert_array_equal(top == 9 * K, inside)


# wetness


def moist(**more):
    return MoistZone(name="wet", corners=EAST_HALF, bottom=1.0, **more)


@pytest.mark.parametrize(
    ("word", "values"),
    [
        ("sand", (0.8092363, 0.4272112, 0.09864275)),
        ("sandy loam", (0.8667837, 0.5531733, 0.1786315)),
        ("clay loam", (0.8939561, 0.6889620, 0.3540731)),
    ],
)
def test_zone_multiplies_by_the_curve_of_parker(word, values):
    """Parker et al. 1987, from memory, at effective saturations of 0.2, 0.5 and 0.8."""
    soil = soil_classes()[word]
    bound = soil.residual_water / soil.saturated_water
    for free, expected in zip((0.2, 0.5, 0.8), values, strict=True):
        zone = moist(saturation=bound + free * (1.0 - bound), pores=Pores.of_texture(word))
        [effect] = zone.effects()
        assert effect.factor == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("pore_index", "values"),
    [(2.0, (0.6144, 0.1875, 0.0144)), (0.5, (0.6397952, 0.2421875, 0.0268928))],
)
def test_zone_multiplies_by_the_curve_of_brooks_and_corey(pore_index, values):
    """Brooks and Corey 1964, from memory, with Burdine's integral."""
    for by in (Pores(pore_index=pore_index), Pores(n=pore_index + 1.0)):
        for free, expected in zip((0.2, 0.5, 0.8), values, strict=True):
            zone = moist(saturation=free, pores=by, curve=gas_relative_permeability_brooks_corey)
            assert zone.factor == pytest.approx(expected, rel=1e-6)


def test_zone_at_one_metre_of_suction():
    """Sandy loam of Carsel and Parrish 1988: Se 0.1647052, water 0.1218233, share 0.8952483."""
    pores = Pores.of_texture("sandy loam")
    water = pores.saturation_at(1.0) * soil_classes()["sandy loam"].saturated_water
    assert water == pytest.approx(0.1218233, rel=1e-6)
    assert pores.effective(pores.saturation_at(1.0)) == pytest.approx(0.1647052, rel=1e-6)
    assert moist(suction_head=1.0, pores=pores).factor == pytest.approx(0.8952483, rel=1e-6)


def test_past_air_entry_there_is_no_air_path():
    pores = Pores(n=2.0, air_entry=0.85)
    just_below = moist(saturation=0.8499, pores=pores)
    assert just_below.factor > 0.05
    for saturation in (0.85, 0.9, 1.0):
        assert moist(saturation=saturation, pores=pores).factor == 0.0
    by_head = Pores(pore_index=2.0, entry_head=0.5)
    assert moist(suction_head=0.5, pores=by_head).factor == 0.0
    assert moist(suction_head=0.7, pores=by_head).factor > 0.0
    answer = solve(house(moist_zones=(moist(saturation=0.86, pores=pores),)))
    found, depth = column(answer, 4.5, 2.5)
    assert_array_equal(found[(depth > 0.0) & (depth < 1.0)], 0.0)
    grid = answer.soil.grid
    i, j = np.searchsorted(grid.x, 4.5) - 1, np.searchsorted(grid.y, 2.5) - 1
    assert not answer.soil.air[i, j, answer.soil.top_layer]


def test_dry_zone_changes_nothing():
    dry = Pores.of_texture("loam").residual_saturation
    for zone in (
        moist(saturation=dry, pores=Pores.of_texture("loam")),
        moist(saturation=0.0, pores=Pores(pore_index=1.0)),
        moist(multiplier=1.0),
    ):
        assert_neutral(house(moist_zones=(zone,)))


def test_the_wetter_the_zone_the_less_the_pit_draws():
    pores = Pores.of_texture("sandy loam")
    flows = [
        flow(house(moist_zones=(replace(moist(saturation=s, pores=pores), corners=FLOOR),)))
        for s in (0.3, 0.6, 0.8, 0.89)
    ]
    assert np.all(np.diff(flows) < 0.0)
    assert flows[-1] < 0.5 * flows[0]


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({}, "multiplier"),
        ({"multiplier": 0.1, "saturation": 0.5}, "multiplier"),
        ({"saturation": 0.5}, "pores"),
        ({"multiplier": 0.1, "pores": Pores(n=2.0)}, "pores"),
        ({"suction_head": 0.5, "pores": Pores(n=2.0)}, "pores.entry_head"),
    ],
)
def test_wetness_is_said_in_one_way(given, field):
    with pytest.raises(InputError) as caught:
        moist(**given)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({}, "n"),
        ({"n": 2.0, "pore_index": 1.0}, "n"),
        ({"n": 1.0}, "n"),
        ({"n": 2.0, "residual_saturation": 0.95}, "residual_saturation"),
    ],
)
def test_pores_that_cannot_be(given, field):
    with pytest.raises(InputError) as caught:
        Pores(**given)
    assert caught.value.field == field


def test_any_other_curve_is_given_n():
    seen = []

    def curve(effective_saturation, shape):
        seen.append((effective_saturation, shape))
        return 0.25

    assert moist(saturation=0.5, pores=Pores(pore_index=1.5), curve=curve).factor == 0.25
    assert seen == [(0.5, 2.5)]
    assert moist(saturation=0.5, pores=Pores(n=2.0)).curve is gas_relative_permeability_parker


# footings inside the house

DEPTHS = (0.2, 0.5, 1.5)
ACROSS = ((3.0, 0.0), (3.0, 5.0))


def footing(depth, **more):
    return InteriorFooting(name="bearing", points=ACROSS, depth=depth, **more)


def step_across(site, grid=None):
    """Mean pressure under the slab east of the line, less that west of it. [Pa]"""
    floor = under_slab(solve(site, grid))
    edge = int(np.argmin(np.abs(floor.x - 3.0)))
    return float(np.mean(floor.pressure[edge] - floor.pressure[edge - 1]))


def test_footing_that_is_all_opening_changes_nothing():
    gone = footing(0.6, openings=(FootingOpening(start=0.0, length=5.0),))
    grid = solve(house(footings=(footing(0.6),))).soil.grid
    there, without = solve(house(footings=(gone,)), grid), solve(house(), grid)
    assert_array_equal(there.response.port_matrix, without.response.port_matrix)


def test_step_in_pressure_across_a_footing_grows_with_its_depth():
    grid = solve(house(footings=tuple(replace(footing(d), name=str(d)) for d in DEPTHS))).soil.grid
    steps = [step_across(house(footings=(footing(d),)), grid) for d in DEPTHS]
    plain = step_across(house(), grid)
    assert np.all(np.diff([plain, *steps]) > 0.0)
    assert steps[-1] > 3.0 * plain
    flows = [flow(house(footings=(footing(d),)), grid) for d in DEPTHS]
    assert np.all(np.diff([flow(house(), grid), *flows]) < 0.0)


def test_opening_in_a_footing_lets_suction_through():
    shut, ajar = (
        step_across(house(footings=(footing(1.0, openings=openings),)))
        for openings in ((), (FootingOpening(start=2.0, length=1.0),))
    )
    assert 0.0 < ajar < 0.9 * shut


def test_thick_footing_leaves_no_soil_and_no_leak_under_the_slab_above_it():
    answer = solve(house(footings=(footing(0.6, thickness=0.4),)))
    soil, grid = answer.soil, answer.soil.grid
    x, z = grid.centres(0), grid.centres(2)
    across = np.abs(x - 3.0) < 0.2
    between = (grid.centres(1) > 0.0) & (grid.centres(1) < 5.0)
    assert across.any()
    solid = ~soil.air[across][:, between]
    assert solid[:, :, (z > 0.0) & (z < 0.6)].all()
    assert not solid[:, :, z > 0.6].any()
    floor = under_slab(answer)
    assert floor.no_air_area == pytest.approx(0.4 * 5.0)
    ix, _, iz = np.unravel_index(soil.area_leaks.cell, grid.shape)
    under = (iz == soil.top_layer) & np.isfinite(soil.area_leaks.leakance)
    rim = np.pi * 0.25**2
    assert soil.area_leaks.area[under].sum() == pytest.approx(6.0 * 5.0 - 0.4 * 5.0 - rim)
    assert not across[ix[under]].any()


@pytest.mark.parametrize("thickness", [0.0, 0.3])
def test_footing_breaks_the_gap(thickness):
    """A wide gap takes one pressure on each side of it, and the far side is cut off."""
    gap = SettledGap(name="settled", aperture=0.003)
    whole = under_slab(solve(house(gaps=(gap,))))
    parted = under_slab(solve(house(gaps=(gap,), footings=(footing(0.5, thickness=thickness),))))
    assert pressure_at(whole, 5.0, 2.5) == pytest.approx(-100.0, abs=2.0)
    assert pressure_at(parted, 1.0, 1.0) == pytest.approx(-100.0, abs=2.0)
    assert pressure_at(parted, 5.0, 2.5) > -60.0
    assert abs(pressure_at(parted, 3.3, 1.0) - pressure_at(parted, 5.5, 4.0)) < 1.0


def test_nothing_is_interpolated_across_a_footing():
    """Two floors of one pressure each: next to the line each still has its own."""
    edges = np.array([0.0, 0.5, 1.0, 1.7, 2.0])
    pressure = np.where(np.arange(4)[:, None] < 2, -8.0, -2.0) * np.ones((4, 3))
    open_x = np.ones((3, 3), dtype=bool)
    open_x[1] = False
    floor = FloorPressure(
        x=edges,
        y=np.array([0.0, 0.4, 1.0, 1.3]),
        floor=np.ones((4, 3), dtype=bool),
        pressure=pressure,
        open_x=open_x,
        open_y=np.ones((4, 2), dtype=bool),
    )
    for y in (0.1, 0.4, 0.9, 1.25):
        assert pressure_at(floor, 0.999, y) == -8.0
        assert pressure_at(floor, 1.001, y) == -2.0
    assert_allclose(covered_area(floor, 5.0).sum(), 1.0 * 1.3)
    # where the line can be crossed, a slope takes the place of the step
    crossed = replace(floor, open_x=np.ones((3, 3), dtype=bool))
    assert -8.0 < pressure_at(crossed, 0.999, 0.1) < -2.0


def parted_floor(open_line, *, solid=False):
    """Poor suction on both sides of x = 2, good farther off. [Pa]"""
    x = np.array([0.0, 1.0, 1.6, 1.95, 2.05, 2.4, 3.0, 4.0])
    pressure = np.array([-20.0, -20.0, -2.0, -2.0, -2.0, -20.0, -20.0])
    pressure[3] = np.nan if solid else -2.0
    open_x = np.ones((6, 2), dtype=bool)
    open_x[3] = open_line
    return FloorPressure(
        x=x,
        y=np.array([0.0, 1.0, 2.0]),
        floor=np.ones((7, 2), dtype=bool),
        pressure=pressure[:, None] * np.ones((7, 2)),
        open_x=open_x,
        open_y=np.ones((7, 1), dtype=bool),
    )


def test_no_patch_of_floor_is_judged_across_a_footing():
    """A patch of 0.6 m on one side of the line reaches 0.15 or 0.25 m into good floor.

    West of a line at x = 2.05 the worst starts at 1.45: a quarter of it at 20 Pa, so 6.5 Pa and
    5.5 Pa beyond the pass line. With a solid between 1.95 and 2.05 it is alike on both sides: a
    patch from 1.45 has 0.35 m of 0.5 m at 2 Pa, 7.4 Pa in the mean.
    """
    assert worst_margin(parted_floor(True)).margin == pytest.approx(1.0)
    line = worst_margin(parted_floor(False))
    assert line.margin == pytest.approx(0.75 * 2.0 + 0.25 * 20.0 - 1.0)
    assert line.x == pytest.approx(1.75)
    solid = worst_margin(parted_floor(True, solid=True))
    assert solid.margin == pytest.approx((0.35 * 2.0 + 0.15 * 20.0) / 0.5 - 1.0)


def test_footing_around_a_corner_is_whole():
    bent = InteriorFooting(
        name="L", points=((0.0, 2.0), (4.0, 2.0), (4.0, 5.0)), depth=0.5, thickness=0.4
    )
    plan = bent.plan()
    assert plan.area == pytest.approx(0.4 * (4.0 + 3.0))
    assert plan.bounds == (0.0, 1.8, 4.2, 5.0)
    assert bent.length == 7.0
    parted = replace(bent, openings=(FootingOpening(start=3.0, length=2.0),))
    assert parted.stretches() == (((0.0, 2.0), (3.0, 2.0)), ((4.0, 3.0), (4.0, 5.0)))
    assert parted.plan().area == pytest.approx(0.4 * 5.0)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"points": ((1.0, 1.0),)}, "points"),
        ({"points": ((1.0, 1.0), (2.0, 2.0))}, "points"),
        ({"points": ((1.0, 1.0), (1.0, 1.0))}, "points"),
        ({"openings": (FootingOpening(start=4.0, length=2.0),)}, "openings[0]"),
    ],
)
def test_footings_that_cannot_be(given, field):
    with pytest.raises(InputError) as caught:
        replace(footing(0.5), **given)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("given", "field", "words"),
    [
        ({"fill": Fill(thickness=5.0, permeability=K)}, "fill.thickness", "tight bottom"),
        ({"patches": (replace(patch(K), bottom=9.0),)}, "patches[0].bottom", "tight bottom"),
        ({"footings": (footing(2.5),)}, "footings[0].depth", "tight bottom"),
        (
            {"footings": (replace(footing(0.5), points=((3.0, 0.0), (3.0, 6.0))),)},
            "footings[0].points",
            "under the floor",
        ),
        ({"patches": (patch(K), patch(K))}, "patches[1].name", "twice"),
    ],
)
def test_features_that_do_not_fit_the_site(given, field, words):
    with pytest.raises(InputError, match=words) as caught:
        house(**given)
    assert caught.value.field == field


# fields of soil


def even_field(value):
    return SoilField(
        name="raster", x=(0.5, 3.3, 5.0), y=(0.0, 4.9), multipliers=(((value,),) * 2,) * 3
    )


def test_field_of_ones_changes_nothing():
    assert_neutral(house(soil_fields=(even_field(1.0),)))


def test_field_of_twos_is_soil_twice_as_loose():
    loose = house(ground=Ground(layers=(SoilLayer(permeability=2 * K),), bottom=2.5))
    assert_neutral(house(soil_fields=(even_field(2.0),)), loose)


def test_field_is_linear_between_nodes_and_flat_beyond():
    x, y, z = (0.0, 1.0, 4.0), (-1.0, 2.0), (0.0, 0.5, 2.0)

    def plane(a, b, c):
        return 1.0 + 0.2 * a + 0.1 * b + 0.3 * c

    values = tuple(tuple(tuple(plane(a, b, c) for c in z) for b in y) for a in x)
    field = SoilField(name="plane", x=x, y=y, z=z, multipliers=values)
    at = np.random.default_rng(1).uniform((0.0, -1.0, 0.0), (4.0, 2.0, 2.0), (50, 3)).T
    assert_allclose(field.at(*at), plane(*at), rtol=1e-13)
    assert_allclose(field.at(*np.array([[9.0], [-5.0], [7.0]])), plane(4.0, -1.0, 2.0))
    # the shapes of a grid's centres broadcast
    spread = field.at(at[0][:4, None, None], at[1][None, :3, None], at[2][None, None, :2])
    assert spread.shape == (4, 3, 2)
    assert_allclose(spread[3, 2, 1], plane(at[0][3], at[1][2], at[2][1]))


def test_tight_soil_at_the_pit_lowers_its_flow_more_than_far_from_it():
    near, far = (
        SoilField(name="steep", x=(0.0, 6.0), y=(0.0,), multipliers=(((a,),), ((b,),)))
        for a, b in ((0.2, 1.0), (1.0, 0.2))
    )
    plain = flow(house())
    assert flow(house(soil_fields=(near,))) < flow(house(soil_fields=(far,))) < plain


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"x": (1.0, 1.0, 2.0)}, "x"),
        ({"y": ()}, "y"),
        ({"z": (0.0, 1.0)}, "multipliers"),
        ({"multipliers": (((1.0,),),)}, "multipliers"),
        ({"multipliers": (((-1.0,),) * 2,) * 3}, "multipliers[0][0][0]"),
    ],
)
def test_fields_that_cannot_be(given, field):
    with pytest.raises(InputError) as caught:
        replace(even_field(1.0), **given)
    assert caught.value.field == field


LENGTHS = (2.0, 1.0, 0.25)


@functools.cache
def log_field(seed=4, sigma=1.3, shift=(0.0, 0.0, 0.0), count=30):
    """Logarithm over many correlation lengths each way, points about independent."""
    steps = [3.1 * length * np.arange(count) + s for length, s in zip(LENGTHS, shift, strict=True)]
    x, y, z = np.meshgrid(*steps, indexing="ij", sparse=True)
    return np.log(RandomSoil(sigma=sigma, lengths=LENGTHS, seed=seed).at(x, y, z))


def test_random_soil_has_the_stated_median_and_spread():
    """27,000 points three lengths apart: mean 0 and standard deviation sigma, to a few per cent.

    A sum of m waves has the fourth moment 3 - 3 / (2 m): all but normal.
    """
    found = log_field()
    assert abs(found.mean()) < 0.02 * 1.3
    assert found.std() == pytest.approx(1.3, rel=0.03)
    assert np.mean((found / found.std()) ** 4) == pytest.approx(3.0, abs=0.1)


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("lengths_apart", [0.5, 1.0, 2.0])
def test_random_soil_loses_its_correlation_over_the_stated_length(axis, lengths_apart):
    """exp(-(d / length)^2): 1/e at one length along each axis."""
    shift = np.zeros(3)
    shift[axis] = lengths_apart * LENGTHS[axis]
    pairs = [(log_field(seed, 1.0), log_field(seed, 1.0, tuple(shift))) for seed in range(4)]
    products = np.mean([np.mean(a * b) for a, b in pairs])
    assert products == pytest.approx(np.exp(-(lengths_apart**2)), abs=0.04)


def test_random_soil_without_spread_changes_nothing():
    assert_neutral(house(random_soil=RandomSoil(sigma=0.0, lengths=LENGTHS)))


def test_one_seed_is_one_soil_on_every_grid_and_another_seed_another():
    soil = RandomSoil(sigma=1.0, lengths=LENGTHS, seed=7)
    fine = np.linspace(-3.0, 5.0, 33)
    whole = soil.at(fine[:, None, None], fine[None, :, None], fine[None, None, 8:])
    coarse = fine[::4]
    part = soil.at(coarse[:, None, None], coarse[None, :, None], fine[None, None, 8::4])
    assert_allclose(part, whole[::4, ::4, ::4], rtol=1e-12)
    other = replace(soil, seed=8).at(coarse, coarse, coarse)
    assert not np.allclose(other, soil.at(coarse, coarse, coarse))


def test_uneven_soil_passes_no_more_than_its_loosest_and_no_less_than_its_tightest():
    """Raising every cell to the largest multiplier raises a pit's flow by at most that."""
    site = house(random_soil=RandomSoil(sigma=1.5, lengths=(1.5, 1.5, 0.5), seed=2))
    there = solve(site)
    soil = there.soil
    assert flow(site, soil.grid) == there.flow("pit", HELD)  # drawn anew, the same
    values = soil.horizontal[soil.air] / K
    low, high = values.min(), values.max()
    assert low < 0.3 < 3.0 < high
    plain = flow(house(), soil.grid)
    assert low * plain < there.flow("pit", HELD) < high * plain


@pytest.mark.parametrize("seed", [-1, 1.5, True])
def test_seed_is_a_whole_number(seed):
    with pytest.raises(InputError, match="whole number"):
        RandomSoil(sigma=1.0, lengths=LENGTHS, seed=seed)
