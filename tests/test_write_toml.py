"""The way from a case to TOML and back."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from types import MappingProxyType

from hypothesis import given, settings
from hypothesis import strategies as st

from soilflow.air import Air
from soilflow.case import Case, TestHole, Uncertain
from soilflow.conditions import Condition, ReferencePressure
from soilflow.files import parse_case, write_case
from soilflow.flow.grid import COARSE, FINE, NORMAL, Resolution
from soilflow.house_leakage import HouseLeakage
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import Pipe, PipeTree
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    ExteriorBackfill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    Yard,
)

NAMES = st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), min_size=1, max_size=6)
TEXTS = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=8)


def number(low, high):
    # what is neither nothing nor large enough to be measured is refused
    return st.floats(low, high, allow_subnormal=False).map(
        lambda v: v if v > 1e-9 or low > 0 else 0.0
    )


def several(most, noun, **given):
    return st.lists(st.builds(noun, **given), max_size=most).map(tuple)


LEAKAGES = st.none() | st.builds(
    HouseLeakage,
    flow=number(0.01, 3.0),
    at_pressure=number(1, 75),
    exponent=number(0.5, 1.0),
    existing_exhaust=st.none() | number(0, 0.3),
    source=TEXTS,
)
PERMEABILITY = number(1e-15, 1e-9)
SQUARE = ((0, 0), (2, 0), (2, 2), (0, 2))
TOP_LAYER = st.builds(SoilLayer, permeability=PERMEABILITY)
DEEP_LAYERS = several(
    1, SoilLayer, permeability=PERMEABILITY, vertical=PERMEABILITY, top=st.just(1.5)
)
BANDS = several(
    2,
    PerimeterBand,
    width=number(0.1, 1),
    looser_by=number(1, 50),
    depth=st.none() | number(0.1, 2),
    walls=st.sampled_from([(), ("north",), ("south", "east")]),
)
BACKFILL = st.none() | st.builds(ExteriorBackfill, width=number(0.1, 9), looser_by=number(1, 9))
ZONES = several(
    1,
    MoistZone,
    name=st.just("wet"),
    corners=st.just(SQUARE),
    multiplier=number(0, 1),
    bottom=number(0.1, 3),
)
GAPS = several(
    1,
    SettledGap,
    name=NAMES,
    aperture=number(0, 0.01),
    hole=st.none() | st.just(((1, 1), (2, 1), (2, 2), (1, 2))),
    contact_fraction=number(0, 1),
)
JOINTS = several(2, FloorWallJoint, aperture=number(0, 0.003), sealed=st.booleans())
YARDS = several(
    1, Yard, name=st.just("windy"), side=st.sampled_from(["north", "west"]), source=TEXTS
) | several(1, Yard, name=st.just("windy"), corners=st.just(((-9, -9), (0, -9), (0, 9), (-9, 9))))


@st.composite
def sites(draw):
    a, b = draw(number(4, 20)), draw(number(4, 20))
    box, ell = ((a, 0), (a, b)), ((a, 0), (a, 3), (3.5, 3), (3.5, b))
    return Site(
        slab=Slab(
            corners=((0, 0), *draw(st.sampled_from([box, ell])), (0, b)),
            thickness=draw(number(0.05, 0.3)),
            permeability=draw(PERMEABILITY),
            source=draw(TEXTS),
        ),
        walls=FoundationWalls(
            thickness=draw(st.just(0.0) | number(0.05, 0.5)),
            footing_depth=draw(number(0, 2)),
            grade=draw(number(0, 2)),
        ),
        ground=Ground(layers=(draw(TOP_LAYER), *draw(DEEP_LAYERS)), bottom=draw(number(3, 20))),
        bands=draw(BANDS),
        backfill=draw(BACKFILL),
        moist_zones=draw(ZONES),
        gaps=draw(GAPS),
        joints=draw(JOINTS),
        yards=draw(YARDS),
    )


SMEAR = {"smear": number(0, 0.05), "smear_ratio": number(0.01, 1)}
PITS = st.builds(HemisphericalPit, volume=number(0.005, 0.06), **SMEAR) | st.builds(
    BoxPit, length=number(0.2, 0.6), width=number(0.2, 0.6), depth=number(0.2, 0.6), **SMEAR
)
FANS = st.builds(
    Fan,
    name=TEXTS,
    flows=number(0.01, 0.1).map(lambda most: (0.0, most)),
    static_pressures=number(100, 4000).map(lambda most: (most, 0.0)),
    powers=st.sampled_from([None, (60.0, 80.0)]),
    density=number(1.0, 1.3),
    speed=number(0.3, 1),
)


def pipe(name, **given):
    return st.builds(
        Pipe,
        name=st.just(name),
        length=number(0.5, 30),
        bore=number(0.05, 0.2),
        roughness=number(0, 1e-4),
        fittings=st.lists(st.sampled_from(["sharp 90 bend", "tee to branch"]), max_size=3).map(
            tuple
        ),
        damper=number(0, 1.2),
        loss_coefficient=number(0, 5),
        source=TEXTS,
        **{key: st.just(value) for key, value in given.items()},
    )


@st.composite
def trees(draw, names):
    """A branch for each point, into a manifold or straight into the discharge run."""
    manifold = draw(st.booleans())
    into = {"into": "manifold"} if manifold else {}
    branches = [draw(pipe(name, **into)) for name in names]
    return PipeTree(
        pipes=(*branches, *([draw(pipe("manifold"))] if manifold else [])),
        discharge=draw(pipe("discharge")),
        discharge_height=draw(number(0, 9)),
        entry_coefficient=draw(number(0, 2)),
        exit_coefficient=draw(number(0, 2)),
        air_temperature=draw(number(260, 310)),
    )


@st.composite
def layouts(draw, name):
    """Up to three points, each on the fan, held or capped."""
    names = draw(st.lists(NAMES.filter(is_free), min_size=1, max_size=3, unique=True))
    points = [
        SuctionPoint(
            name=point,
            x=1.0 + 1.0 * i,
            y=draw(number(1.0, 1.4)) + 1.0 * (i == 1),
            pit=draw(PITS),
            **draw(st.sampled_from([{}, {}, {"vacuum": 373.6}, {"vacuum": 0.1}, {"capped": True}])),
        )
        for i, point in enumerate(names)
    ]
    on_fan = [point.name for point in points if point.on_fan]
    return Layout(
        name=name,
        points=tuple(points),
        fan=draw(FANS) if on_fan else None,
        pipes=draw(st.none() | trees(on_fan)) if on_fan else None,
    )


def is_free(name):
    """Whether a suction point may be called so beside the other names of these cases."""
    return name.strip() not in ("", "house", "outdoors", "windy", "manifold", "discharge")


@st.composite
def conditions(draw, name, yards):
    pressure = draw(
        st.sampled_from([{"outdoor_pressure": draw(number(-20, 20))}, {"below_neutral_level": 2.5}])
    )
    either = st.sampled_from(["pressure", "above_outdoors"])
    return Condition(
        name=name,
        outdoor_temperature=draw(number(240, 310)),
        room_temperature=draw(number(285, 300)),
        added_pressure=draw(number(-5, 5)),
        references=tuple(
            ReferencePressure(name=yard.name, **{draw(either): draw(number(-20, 20))})
            for yard in yards
            if draw(st.booleans())
        ),
        source=draw(TEXTS),
        **pressure,
    )


@st.composite
def cases(draw):
    site = draw(sites())
    names = draw(st.lists(NAMES, min_size=1, max_size=2, unique=True))
    variants = {v: draw(sites()) for v in draw(st.lists(NAMES, max_size=2, unique=True))}
    variants = {v: replace(s, slab=site.slab) for v, s in variants.items()}
    return Case(
        title=draw(TEXTS),
        question=draw(TEXTS),
        answer="two\nlines\tand a tab",
        site=site,
        layouts=tuple(draw(layouts(name)) for name in names),
        conditions=tuple(
            draw(conditions(name, site.yards))
            for name in draw(st.lists(NAMES, min_size=1, max_size=2, unique=True))
        ),
        test_holes=tuple(
            TestHole(name=name, x=draw(number(0, 3)), y=draw(number(0, 3)))
            for name in draw(st.lists(NAMES, max_size=2, unique=True))
        ),
        air=Air(temperature=draw(number(260, 310))),
        resolution=draw(st.sampled_from([COARSE, NORMAL, FINE, replace(FINE, splits=1)])),
        uncertain=(
            Uncertain(
                path="site.ground.layers[0].permeability",
                low=1e-14,
                high=draw(number(2e-14, 1e-10)),
                law="log-uniform",
                source=draw(TEXTS),
            ),
            *(
                Uncertain(
                    path=f"variants.{v}.walls.footing_depth",
                    low=0.0,
                    high=1.0,
                    law="uniform",
                    source="guess",
                )
                for v in variants
            ),
        ),
        variants=MappingProxyType(variants),
        variant=draw(st.sampled_from(["", "frozen"])),
        house_leakage=draw(LEAKAGES),
    )


@settings(max_examples=60, deadline=None)
@given(cases())
def test_a_case_survives_the_way_to_toml_and_back(case):
    assert parse_case(write_case(case)) == case


def small_case():
    corners = ((0, 0), (6, 0), (6, 5), (0, 5))
    return Case(
        title="small",
        site=Site(
            slab=Slab(corners=corners, thickness=0.1016, permeability=1e-16),
            walls=FoundationWalls(thickness=0.2, footing_depth=0.45),
            ground=Ground(layers=(SoilLayer(permeability=1e-12),)),
        ),
        layouts=(
            Layout(
                name="one",
                points=(
                    SuctionPoint(
                        name="A", x=3.0, y=2.5, pit=HemisphericalPit(volume=0.03), vacuum=500.0
                    ),
                ),
            ),
        ),
        conditions=(Condition(name="today", outdoor_pressure=1.0),),
    )


def test_written_quantities_carry_their_unit():
    tables = tomllib.loads(write_case(small_case()))
    assert tables["slab"]["thickness"] == "0.1016 m"
    assert tables["ground"]["layers"][0]["permeability"] == "1e-12 m2"
    assert tables["conditions"]["today"]["outdoor_pressure"] == "1.0 Pa"


def test_resolutions_are_compared_field_by_field():
    odd = Resolution(name="normal", cells_per_radius=6.0, line_size=0.02, growth=1.2)
    case = replace(small_case(), resolution=odd)
    assert tomllib.loads(write_case(case))["resolution"]["cells_per_radius"] == 6.0
    assert parse_case(write_case(case)).resolution == odd
