"""Cases and conditions: what they refuse, and that copies are copies."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from test_house import house, run

from soilflow.case import Case, TestHole, Uncertain
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.grid import COARSE
from soilflow.grids import estimate, grid_of
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.run import run_layout
from soilflow.site import MoistZone

BUCKET = HemisphericalPit(volume=0.0189)


def point(name="A", x=2.0, y=2.0, **more):
    return SuctionPoint(name=name, x=x, y=y, pit=more.pop("pit", BUCKET), **more)


def case(**more):
    given = {
        "title": "t",
        "site": house(),
        "layouts": (
            Layout(name="one", points=(point(vacuum=100.0),)),
            Layout(name="two", points=(point(vacuum=100.0), point("B", 8.0, vacuum=100.0))),
        ),
        "conditions": (Condition(name="today", outdoor_pressure=1.0),),
        "resolution": COARSE,
    }
    return Case(**{**given, **more})


def test_stack_pressure_of_a_cold_day():
    """-10 C outside, 20 C inside, 2.5 m below the neutral level: 3.365486 Pa (F6, ASHRAE
    Fundamentals ch. 16, from memory)."""
    cold = Condition(
        name="cold", below_neutral_level=2.5, outdoor_temperature=263.15, room_temperature=293.15
    )
    assert cold.outdoors == pytest.approx(3.365486, rel=1e-6)
    windy = Condition(name="windy", outdoor_pressure=1.0, added_pressure=2.5)
    assert windy.outdoors == 3.5


@pytest.mark.parametrize("given", [{}, {"outdoor_pressure": 1.0, "below_neutral_level": 2.0}])
def test_outdoor_pressure_is_stated_one_way_only(given):
    with pytest.raises(InputError, match="give either outdoor_pressure"):
        Condition(name="x", **given)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"layouts": ()}, "no layout"),
        ({"conditions": ()}, "no condition"),
        ({"test_holes": (TestHole(name="T", x=30.0, y=1.0),)}, "is not in the slab"),
        ({"test_holes": (TestHole(name="T", x=1.0, y=1.0),) * 2}, "used twice"),
        ({"layouts": (Layout(name="a", points=(point(x=-1.0, vacuum=1.0),)),)}, "not under the"),
    ],
)
def test_cases_that_cannot_be(change, message):
    with pytest.raises(InputError, match=message):
        case(**change)


@pytest.mark.parametrize(
    ("points", "message"),
    [
        ((), "no suction point"),
        ((point(),), "has no vacuum and the layout has no fan"),
        ((point(vacuum=1.0), point(x=5.0, vacuum=1.0)), "used twice"),
    ],
)
def test_layouts_that_cannot_be(points, message):
    with pytest.raises(InputError, match=message):
        Layout(name="a", points=points)


def test_overlapping_pits_are_refused():
    box = BoxPit(length=0.5, width=0.5, depth=0.3)
    for a, b in ((BUCKET, BUCKET), (BUCKET, box), (box, box)):
        pair = (point(pit=a, vacuum=1.0), point("B", 2.35, pit=b, vacuum=1.0))
        with pytest.raises(InputError, match="run into each other"):
            Layout(name="a", points=pair).held_bodies(house().slab.polygon)


@pytest.mark.parametrize("name", ["house", "outdoors", " "])
def test_names_kept_for_the_references(name):
    with pytest.raises(InputError, match="cannot name a suction point"):
        point(name)


def test_layouts_and_variants_by_name():
    one = case(variants=MappingProxyType({"uniform": house(band=False)}))
    assert one.layout().name == "one"
    assert one.layout("two").name == "two"
    with pytest.raises(InputError, match=r'no layout "three".*"one", "two"'):
        one.layout("three")
    assert one.with_variant("uniform").site.bands == ()
    assert one.with_variant("uniform").variant == "uniform"
    assert one.with_variant("") is one
    with pytest.raises(InputError, match=r'no variant "wet".*"uniform"'):
        one.with_variant("wet")
    assert one.with_layout(one.layouts[1]).layouts == (one.layouts[1],)


def test_ranges_follow_the_table_they_were_written_in():
    """A variant that replaces a table drops the table's ranges and brings its own."""
    spread = {"low": 1.0, "high": 2.0, "law": "uniform", "source": "guess"}
    paths = (
        "site.bands[0].looser_by",
        "site.slab.permeability",
        "variants.loose.bands[0].looser_by",
        "variants.wet.moist_zones[0].multiplier",
    )
    band = replace(house().bands[0], looser_by=30.0)
    one = case(
        variants=MappingProxyType({"loose": replace(house(), bands=(band,))}),
        uncertain=tuple(Uncertain(path=path, **spread) for path in paths),
    )
    assert [u.path for u in one.with_variant("loose").uncertain] == [
        "site.slab.permeability",
        "variants.wet.moist_zones[0].multiplier",
        "site.bands[0].looser_by",
    ]


def test_estimate_counts_the_cells_that_will_be_solved():
    one = case()
    layout = one.layouts[1]
    said = estimate(one, layout)
    assert said.cells == grid_of(one, [layout]).cells
    assert said.ports == 4
    assert said.seconds > 0
    assert said.megabytes > 100


def test_a_capped_point_floats_and_a_vented_one_would_not():
    """Capping draws nothing; holding the point at the room's pressure lets air in."""
    base = case(conditions=(Condition(name="today", outdoor_pressure=0.0),))
    open_points = base.layouts[1].points
    capped = Layout(name="c", points=(open_points[0], point("B", 8.0, capped=True)))
    vented = Layout(name="v", points=(open_points[0], point("B", 8.0, vacuum=0.0)))
    flows = {}
    for layout in (capped, vented):
        found = run_layout(base.with_layout(layout)).conditions["today"].operating_point
        flows[layout.name] = dict(zip(found.port_names, found.flows, strict=True))
    assert abs(flows["c"]["B"]) < 1e-9 * flows["c"]["A"]
    assert flows["v"]["B"] < -1e-4 * flows["v"]["A"]


def test_saturated_floor_is_a_result_not_an_error():
    """Half the floor has no air path: it is reported and left out of the coverage."""
    zones = house().moist_zones
    wet = MoistZone(
        name="wet", corners=((7.0, 0.0), (11.0, 0.0), (11.0, 7.3), (7.0, 7.3)), multiplier=0.0,
        bottom=2.0,
    )  # fmt: skip
    _, found, result = run(replace(house(), moist_zones=(*zones, wet)), 0.3)
    assert found.floor.no_air_area == pytest.approx(4.0 * 7.3, rel=1e-6)
    assert any("no air path below it" in note for note in result.notes)
