"""Random houses with everything an old house has, on top of the plain ones."""

from __future__ import annotations

import dataclasses

from hypothesis import assume
from hypothesis import strategies as st
from random_sites import (
    BOTTOM,
    House,
    control_house,
    decades,
    dug,
    houses,
    rectangle,
    some_walls,
    spots,
)
from shapely.geometry import LineString

from soilflow.errors import InputError
from soilflow.flow.soil_map import build_soil_map
from soilflow.layout.layout import SuctionPoint
from soilflow.layout.pits import CylinderPit, OnConductor
from soilflow.site import (
    BareSoil,
    Channel,
    Crack,
    DrainTile,
    Fill,
    FootingOpening,
    InteriorFooting,
    MoistZone,
    Opening,
    Patch,
    Pores,
    RandomSoil,
    Room,
    SoilField,
    Trench,
    WallBody,
)

TEXTURES = ("sand", "loam", "silt")


def accepted(site, **nouns):
    """The site with something more, or as it was where that cannot be."""
    try:
        return dataclasses.replace(site, **nouns)
    except InputError:
        return site


def stands(house):
    """Whether no pit lies under a hole in the slab, nor on a drain that is open elsewhere."""
    try:
        build_soil_map(house.grid(), house.effects(), house.held())
    except InputError as err:
        refused = err.message
    else:
        return True
    assert "no suction builds up" in refused or "one pressure" in refused, refused
    return False


@st.composite
def plans(draw, slab, least=0.3):
    """A rectangle that begins under the floor."""
    x, y = draw(spots(slab))
    width, depth = (draw(st.sampled_from([least, 0.6, 1.1])) for _ in "xy")
    return rectangle(x, y, round(x + width, 1), round(y + depth, 1))


@st.composite
def courses(draw, slab):
    """An L of two stretches, or one stretch, between two places under the floor."""
    (x0, y0), (x1, y1) = draw(spots(slab)), draw(spots(slab))
    places = [(x0, y0), (x1, y0), (x1, y1)]
    course = [p for i, p in enumerate(places) if i == 0 or p != places[i - 1]]
    return tuple(course) if len(course) > 1 else ((x0, y0), (x0, round(y0 + 0.5, 1)))


@st.composite
def footings(draw, slab):
    points = draw(courses(slab))
    door = FootingOpening(start=0.1, length=0.3)
    long = LineString(points).length > 0.5
    doors = draw(st.sampled_from([(), (door,)])) if long else ()
    return InteriorFooting(
        name="bearing",
        points=points,
        depth=draw(st.sampled_from([0.2, 0.4, 0.7])),
        thickness=draw(st.sampled_from([0.0, 0.2])),
        openings=doors,
    )


def patches(slab):
    return st.builds(
        Patch,
        name=st.just("seam"),
        corners=plans(slab),
        permeability=decades(-14, -9),
        vertical=st.none() | decades(-14, -9),
        top=st.sampled_from([0.0, 0.2]),
        bottom=st.sampled_from([0.3, 0.8]),
    )


def damp_zones(slab):
    return st.builds(
        MoistZone,
        name=st.just("damp"),
        corners=plans(slab),
        bottom=st.sampled_from([0.4, BOTTOM]),
        saturation=st.floats(0.05, 1.0),
        pores=st.sampled_from(TEXTURES).map(Pores.of_texture),
    )


def soil_fields(slab):
    multiplier = decades(-1.5, 1.5)
    column = st.tuples(multiplier, multiplier)
    return st.builds(
        SoilField,
        name=st.just("raster"),
        x=st.just((0.0, 1.7)),
        y=st.just((-0.4, 1.1)),
        z=st.just((0.0, 0.6)),
        multipliers=st.tuples(st.tuples(column, column), st.tuples(column, column)),
    )


def cracks(slab):
    # one that turns back sharply has two slots in a cell, and which comes first is worth 2e-4
    course = st.lists(spots(slab), min_size=2, max_size=3, unique=True).map(sorted).map(tuple)
    return st.builds(Crack, name=st.just("crack"), points=course, aperture=decades(-4.3, -2.5))


def openings(slab):
    def opening(place, diameter, flow):
        leak = {} if flow is None else {"flow": flow, "at_pressure": 10.0}
        return Opening(name="hole", x=place[0], y=place[1], diameter=diameter, **leak)

    return st.builds(
        opening, spots(slab), st.sampled_from([0.04, 0.1]), st.none() | decades(-6, -3)
    )


def rooms(slab):
    return st.builds(
        Room,
        name=st.just("garage"),
        corners=plans(slab, 1.0),
        floor=st.sampled_from(["slab", "bare"]),
    )


ENDS = ("", "", "outdoors", "house")


def drains(slab):
    tiles = st.builds(
        DrainTile,
        name=st.just("tile"),
        points=courses(slab),
        depth=st.sampled_from([0.15, 0.3]),
        diameter=st.sampled_from([0.1, 0.2]),
        open_to=st.sampled_from(ENDS),
    )
    trenches = st.builds(
        Trench,
        name=st.just("tile"),
        points=courses(slab),
        width=st.just(0.3),
        height=st.just(0.2),
        top=st.sampled_from([0.0, 0.15]),
        open_to=st.sampled_from(ENDS),
    )
    channels = st.builds(
        Channel,
        name=st.just("tile"),
        points=courses(slab),
        width=st.just(0.05),
        height=st.just(0.03),
        open_to=st.sampled_from(ENDS),
    )
    return tiles | trenches | channels


GROUP = {DrainTile: "drain_tiles", Trench: "trenches", Channel: "channels"}


@st.composite
def whole_houses(draw, *, at_random=True, packed=True, most=2):
    """A plain house with two to five more things in it, and a drain to draw on now and then."""
    plain = draw(houses(most=most, packed=packed))
    site = plain.site
    slab = site.slab
    body = st.builds(
        WallBody, to_room=decades(-13, -9), to_yard=decades(-13, -9), walls=some_walls(slab)
    )
    kinds = {
        "fill": st.builds(Fill, thickness=st.just(0.3), permeability=decades(-12, -9)),
        "patches": patches(slab),
        "moist_zones": damp_zones(slab),
        "soil_fields": soil_fields(slab),
        "footings": footings(slab),
        "cracks": cracks(slab),
        "openings": openings(slab),
        "bare_soil": st.builds(BareSoil, name=st.just("bare"), corners=plans(slab)),
        "rooms": rooms(slab),
        "wall_bodies": body,
        "drains": drains(slab),
    }
    if at_random:
        kinds["random_soil"] = st.builds(
            RandomSoil,
            sigma=st.floats(0.1, 1.5),
            lengths=st.just((1.0, 0.7, 0.4)),
            seed=st.integers(0, 99),
        )
    chosen = draw(st.lists(st.sampled_from(sorted(kinds)), min_size=2, max_size=5, unique=True))
    for kind in chosen:
        noun = draw(kinds[kind])
        group = GROUP.get(type(noun), kind)
        single = group in ("fill", "random_soil")
        site = accepted(site, **{group: noun if single else (*getattr(site, group), noun)})
    points = plain.points
    if any(not line.open_to for line in site.conductors) and draw(st.booleans()):
        place = points[-1]
        points = (*points[:-1], dataclasses.replace(place, pit=OnConductor(line="tile")))
    house = House(site, dug(slab, points))
    assume(stands(house))
    return house


@st.composite
def wet_houses(draw):
    """A whole house with a sump that stands in water among its pits."""
    house = draw(whole_houses())
    x, y = draw(spots(house.site.slab))
    sump = CylinderPit(diameter=0.45, depth=0.5, water_level=draw(st.sampled_from([0.1, 0.3])))
    point = SuctionPoint(name="sump", x=x, y=y, pit=sump, vacuum=500.0)
    house = house._replace(points=dug(house.site.slab, (*house.points, point)))
    assume(stands(house))
    return house


def full_house() -> House:
    """One house with every kind of thing in it, for what must go wrong when it is broken."""
    return control_house().changed(
        fill=Fill(thickness=0.3, permeability=4e-12),
        patches=(
            Patch(
                name="seam",
                corners=rectangle(0.2, 1.6, 1.4, 2.6),
                permeability=5e-11,
                top=0.2,
                bottom=0.5,
            ),
        ),
        soil_fields=(
            SoilField(
                name="raster",
                x=(0.0, 3.0),
                y=(0.0, 2.0),
                multipliers=(((1.0,), (3.0,)), ((0.5,), (2.0,))),
            ),
        ),
        footings=(
            InteriorFooting(
                name="bearing", points=((2.2, 0.0), (2.2, 2.0)), depth=0.4, thickness=0.2
            ),
        ),
        cracks=(Crack(name="crack", points=((2.6, 0.3), (3.6, 0.9)), aperture=5e-4),),
        openings=(Opening(name="hole", x=1.6, y=2.6, diameter=0.08),),
        bare_soil=(BareSoil(name="bare", corners=rectangle(3.4, 0.2, 3.8, 0.6)),),
        rooms=(Room(name="garage", corners=rectangle(0.0, 2.2, 1.2, 3.0)),),
        wall_bodies=(WallBody(to_room=1e-11, to_yard=1e-11, walls=("west",)),),
        drain_tiles=(
            DrainTile(name="tile", points=((0.4, 0.3), (1.7, 0.3)), depth=0.3, diameter=0.1),
        ),
        trenches=(
            Trench(
                name="trench",
                points=((2.7, 0.2), (3.1, 0.2)),
                width=0.2,
                height=0.2,
                top=0.1,
                open_to="outdoors",
            ),
        ),
    )
