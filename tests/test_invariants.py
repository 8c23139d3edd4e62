"""What must hold for any house: properties of the linear problem, on random small sites."""

import dataclasses
from typing import NamedTuple

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.sparse.linalg import spsolve
from small_soils import MU, Answer, solve_soil

from soilflow.flow.grid import Resolution, grid_for
from soilflow.flow.response import respond
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)

VERY_ROUGH = Resolution(
    name="very rough",
    cells_per_radius=1.5,
    line_size=0.3,
    growth=4.0,
    largest_inside=1.5,
    largest_outside=4.0,
    largest_down=2.0,
)
MOST_CELLS = 8000
RECTANGLE = ((0.0, 0.0), (5.0, 0.0), (5.0, 4.0), (0.0, 4.0))
ELL = ((0.0, 0.0), (5.0, 0.0), (5.0, 2.0), (2.5, 2.0), (2.5, 4.0), (0.0, 4.0))
# one per stretch of floor, so that pits never meet
SPOTS = ((0.7, 0.7), (0.7, 3.3), (4.2, 0.9))


class House(NamedTuple):
    """A site and the pits dug into it."""

    site: Site
    points: tuple

    def turned(self, turn):
        """The same house with every plan coordinate taken through ``turn``."""

        def corners(ring):
            return tuple(turn(x, y) for x, y in ring)

        site = dataclasses.replace(
            self.site,
            slab=dataclasses.replace(self.site.slab, corners=corners(self.site.slab.corners)),
            moist_zones=tuple(
                dataclasses.replace(zone, corners=corners(zone.corners))
                for zone in self.site.moist_zones
            ),
            gaps=tuple(
                dataclasses.replace(one, corners=corners(one.corners)) for one in self.site.gaps
            ),
        )
        points = []
        for point in self.points:
            x, y = turn(point.x, point.y)
            points.append(dataclasses.replace(point, x=x, y=y))
        return House(site, tuple(points))

    def answer(self):
        held = Layout(name="all", points=self.points).held_bodies(self.site.slab.polygon)
        effects = self.site.effects()
        grid = grid_for(effects, held, VERY_ROUGH)
        assert grid.cells <= MOST_CELLS
        return solve_soil(grid, effects, held)


def solved(soil, viscosity=MU):
    network = build_soil_network(soil, viscosity)
    return Answer(soil=soil, network=network, response=respond(network))


def decades(low, high):
    return st.floats(low, high).map(lambda e: 10.0**e)


def rectangle(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


@st.composite
def houses(draw):
    layers = [SoilLayer(permeability=draw(decades(-13, -10)), vertical=draw(decades(-13, -10)))]
    if draw(st.booleans()):
        layers.append(SoilLayer(permeability=draw(decades(-14, -11)), top=0.8))
    walls = FoundationWalls(
        thickness=draw(st.sampled_from([0.0, 0.25])),
        footing_depth=draw(st.sampled_from([0.0, 0.4])),
        grade=draw(st.sampled_from([0.0, 0.0, 1.0])),
    )
    bands = ()
    if draw(st.booleans()):
        bands = (PerimeterBand(width=0.5, depth=0.6, looser_by=draw(st.floats(2.0, 30.0))),)
    zones = ()
    if draw(st.booleans()):
        corners = rectangle(0.0, draw(st.sampled_from([0.0, 1.2])), 2.5, 4.0)
        factor = draw(st.sampled_from([0.0, 0.1, 0.5]))
        zones = (MoistZone(name="wet", corners=corners, multiplier=factor, bottom=0.8),)
    gaps = ()
    if draw(st.booleans()):
        corners = draw(st.sampled_from([RECTANGLE, rectangle(1.2, 0.0, 2.5, 2.0)]))
        gaps = (SettledGap(name="gap", corners=corners, aperture=draw(decades(-5, -3))),)
    joints = ()
    if draw(st.booleans()):
        joints = (FloorWallJoint(aperture=draw(decades(-4, -2.7))),)
    site = Site(
        slab=Slab(
            corners=draw(st.sampled_from([RECTANGLE, ELL])),
            thickness=0.1,
            permeability=draw(decades(-17, -15)),
        ),
        walls=walls,
        ground=Ground(layers=tuple(layers), bottom=3.0),
        bands=bands,
        moist_zones=zones,
        gaps=gaps,
        joints=joints,
    )
    points = []
    for i in range(draw(st.integers(1, 3))):
        pit = draw(
            st.sampled_from(
                [HemisphericalPit(volume=0.04), BoxPit(length=0.6, width=0.6, depth=0.3)]
            )
        )
        x, y = SPOTS[i]
        points.append(SuctionPoint(name=f"p{i}", x=x, y=y, pit=pit, vacuum=500.0))
    return House(site, tuple(points))


SMALL = settings(max_examples=20, deadline=None, derandomize=True)


@SMALL
@given(house=houses(), seed=st.integers(0, 2**31))
def test_one_answer(house, seed):
    """Bounds, partition of unity, reciprocity on face sums, balance and superposition."""
    answer = house.answer()
    network, response = answer.network, answer.response
    fields = response.unit_fields
    assert fields.min() >= -1e-8
    assert fields.max() <= 1.0 + 1e-8
    assert_allclose(fields.sum(axis=0), 1.0, rtol=0, atol=1e-7)

    # face sums, so that symmetry is a result and not the form of the sum
    faces = response.face_matrix
    largest = np.abs(np.diag(faces)).max()
    assert_allclose(faces, faces.T, rtol=0, atol=1e-8 * largest)
    assert_allclose(faces.sum(axis=1), 0.0, rtol=0, atol=1e-8 * largest)
    assert_allclose(response.port_matrix, faces, rtol=0, atol=1e-8 * largest)
    off = ~np.eye(len(faces), dtype=bool)
    assert np.all(response.port_matrix[off] <= 1e-10 * largest)

    # one solve with all ports held at once, by another solver
    values = np.random.default_rng(seed).uniform(-500.0, 5.0, len(response.ports))
    direct = spsolve(network.matrix().tocsc(), values @ network.sources())
    assert_allclose(values @ fields, direct, rtol=0, atol=1e-6 * np.abs(values).max())


@SMALL
@given(house=houses(), factor=decades(-2, 2))
def test_everything_scaled_scales_the_flows_only(house, factor):
    """All permeabilities and leak conductances times a factor, slot widths to the soil kept."""
    here = house.answer()
    soil = here.soil
    area, line, direct = soil.area_leaks, soil.line_leaks, soil.direct_leaks
    scaled = dataclasses.replace(
        soil,
        horizontal=factor * soil.horizontal,
        vertical=factor * soil.vertical,
        sheet=factor * soil.sheet,
        area_leaks=dataclasses.replace(area, leakance=factor * area.leakance),
        line_leaks=dataclasses.replace(line, path=line.path / factor),
        direct_leaks=dataclasses.replace(direct, geometry=factor * direct.geometry),
    )
    there = solved(scaled)
    assert_allclose(there.response.unit_fields, here.response.unit_fields, rtol=0, atol=1e-7)
    y = factor * here.response.port_matrix
    assert_allclose(there.response.port_matrix, y, rtol=0, atol=1e-9 * np.abs(y).max())


@SMALL
@given(house=houses(), seed=st.integers(0, 2**31))
def test_looser_soil_anywhere_never_costs_power(house, seed):
    """Raising conductances somewhere never lowers v' Y v, for any v."""
    here = house.answer()
    soil = here.soil
    rng = np.random.default_rng(seed)
    looser = np.where(rng.random(soil.grid.shape) < 0.3, rng.uniform(1.0, 30.0), 1.0)
    area = soil.area_leaks
    there = solved(
        dataclasses.replace(
            soil,
            horizontal=soil.horizontal * looser,
            vertical=soil.vertical * looser,
            sheet=soil.sheet * rng.uniform(1.0, 5.0),
            area_leaks=dataclasses.replace(area, leakance=area.leakance * 2.0),
        )
    )
    gained = there.response.port_matrix - here.response.port_matrix
    least = np.linalg.eigvalsh(0.5 * (gained + gained.T)).min()
    assert least >= -1e-9 * np.abs(there.response.port_matrix).max()
    own = np.diag(gained)
    assert np.all(own >= -1e-9 * np.abs(there.response.port_matrix).max())


@SMALL
@given(house=houses(), tighter=st.floats(1.5, 100.0))
def test_sealing_never_raises_pressure(house, tighter):
    """At a baseline of zero and equal vacuums: less joint and slab, more suction everywhere."""
    here = house.answer()
    soil = here.soil
    area, line = soil.area_leaks, soil.line_leaks
    house_port = soil.ports.index("house")
    leakance = np.where(area.port == house_port, area.leakance / tighter, area.leakance)
    there = solved(
        dataclasses.replace(
            soil,
            area_leaks=dataclasses.replace(area, leakance=leakance),
            line_leaks=dataclasses.replace(line, path=line.path * tighter),
        )
    )
    held = {name: 0.0 if name in ("house", "outdoors") else -500.0 for name in soil.ports}
    before, after = here.cells(held), there.cells(held)
    assert np.array_equal(np.isnan(before), np.isnan(after))
    assert np.nanmax(after - before) <= 1e-5


@SMALL
@given(house=houses())
def test_mirrored_house_has_a_mirrored_field(house):
    here = house.answer()
    there = house.turned(lambda x, y: (5.0 - x, y)).answer()
    assert_same(here, there, lambda field: field[::-1])


@SMALL
@given(house=houses())
def test_house_seen_from_below_has_its_axes_swapped(house):
    """x and y exchanged: with the mirror above this makes every quarter turn."""
    here = house.answer()
    there = house.turned(lambda x, y: (y, x)).answer()
    assert_same(here, there, lambda field: field.swapaxes(0, 1))


def assert_same(here, there, turn):
    assert here.response.ports == there.response.ports
    y = here.response.port_matrix
    assert_allclose(there.response.port_matrix, y, rtol=0, atol=1e-8 * np.abs(y).max())
    for port in here.response.ports:
        held = {name: float(name == port) for name in here.response.ports}
        assert_allclose(turn(there.cells(held)), here.cells(held), rtol=0, atol=1e-6)
