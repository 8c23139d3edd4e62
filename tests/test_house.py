"""The whole model on one house: which pit wins over which soil, and by how much.

The house and the expected orderings come from a scratch model written before this one (its
figures, 0.292 against 0.0478 L/s, are remembered, so only ratios and orderings are asserted):
11 x 7.3 m on grade, core 1e-12 m2, band 0.6 m wide and 1.0 m deep, 15 times looser, 5e-12 m2
outside the inner wall face down to 1 m, sealed bottom at 8 m, a two-bucket pit at 500 Pa.
"""

from __future__ import annotations

import numpy as np
import pytest

from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.flow.grid import Resolution
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.run import run_layout
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

FLOOR = ((0.0, 0.0), (11.0, 0.0), (11.0, 7.3), (0.0, 7.3))
ROUGH = Resolution(name="rough", cells_per_radius=3.0, line_size=0.06, growth=1.6)
PIT = HemisphericalPit(volume=2 * 0.01892706)
JOINT = (12.0 * 3e-10 * 1.81e-5 * 0.1) ** (1.0 / 3.0)  # 3e-10 m3/(s Pa) per metre


def house(*, band=True, gaps=(), wide_joint=1.0, **more):
    return Site(
        slab=Slab(corners=FLOOR, thickness=0.1, permeability=1e-17),
        walls=FoundationWalls(thickness=0.3, footing_depth=0.45),
        ground=Ground(
            layers=(SoilLayer(permeability=5e-12), SoilLayer(permeability=1e-12, top=1.0)),
            bottom=8.0,
        ),
        moist_zones=(MoistZone(name="core", corners=FLOOR, multiplier=0.2, bottom=1.0),),
        bands=(PerimeterBand(width=0.6, depth=1.0, looser_by=15.0),) if band else (),
        gaps=gaps,
        joints=(FloorWallJoint(aperture=wide_joint * JOINT),),
        **more,
    )


def run(site, y):
    point = SuctionPoint(name="P", x=5.5, y=y, pit=PIT, vacuum=500.0)
    case = Case(
        title="house",
        site=site,
        layouts=(Layout(name="one", points=(point,)),),
        conditions=(Condition(name="design_winter", outdoor_pressure=3.0),),
        resolution=ROUGH,
    )
    result = run_layout(case)
    found = result.conditions["design_winter"]
    flow = found.operating_point.flows[found.operating_point.port_names.index("P")]
    return float(flow), found, result


@pytest.fixture(scope="module")
def banded():
    return run(house(), 0.3), run(house(), 3.65)


def test_loose_band_the_wall_side_pit_draws_several_times_the_air(banded):
    (at_wall, wall, _), (at_centre, centre, _) = banded
    assert 4.0 < at_wall / at_centre < 8.0
    assert wall.coverage_area[1.0] > centre.coverage_area[1.0] + 0.05


def test_uniform_soil_flips_the_order():
    at_wall, wall, _ = run(house(band=False), 0.3)
    at_centre, centre, _ = run(house(band=False), 3.65)
    assert at_centre > at_wall
    assert centre.coverage_area[1.0] > wall.coverage_area[1.0] + 0.1


def test_settled_gap_in_mid_slab_makes_the_centre_pit_win():
    """The slab is tight on the soil within 0.76 m (30 in) of the walls."""
    ring = ((0.76, 0.76), (10.24, 0.76), (10.24, 6.54), (0.76, 6.54))
    gap = (SettledGap(name="settled", corners=ring, aperture=0.001),)
    at_wall, wall, _ = run(house(band=False, gaps=gap), 0.3)
    at_centre, centre, _ = run(house(band=False, gaps=gap), 3.65)
    assert at_centre > 2.0 * at_wall
    assert centre.coverage_area[5.0] > wall.coverage_area[5.0] + 0.1


def test_air_is_conserved_and_flows_add_up(banded):
    for flow, found, result in (banded[0], banded[1]):
        drawn = found.house_on.into_soil + found.outdoors_on.into_soil
        lost = found.house_on.from_soil + found.outdoors_on.from_soil
        assert drawn - lost == pytest.approx(flow, rel=1e-7)
        assert result.mass_balance < 1e-8
        assert result.solution.response.partition < 1e-6


def test_gas_enters_with_the_fan_off_and_less_with_it_on(banded):
    _, found, _ = banded[0]
    assert found.house_off.from_soil > 0.0
    assert found.house_on.from_soil < 0.1 * found.house_off.from_soil


def test_sealing_the_joint_never_raises_the_pressure_anywhere():
    """At baseline zero, fixed vacuum and one grid, sealing a leak only helps."""
    point = SuctionPoint(name="P", x=5.5, y=0.3, pit=PIT, vacuum=500.0)
    fields = []
    for wide in (8.0, 1.0):
        case = Case(
            title="house",
            site=house(wide_joint=wide),
            layouts=(Layout(name="one", points=(point,)),),
            conditions=(Condition(name="still", outdoor_pressure=0.0),),
            resolution=ROUGH,
        )
        fields.append(run_layout(case).conditions["still"].floor.pressure)
    assert np.nanmax(fields[1] - fields[0]) <= 1e-6
    assert np.nanmin(fields[1] - fields[0]) < -1.0


def test_all_permeabilities_and_leaks_times_ten_same_map_ten_times_the_air(banded):
    """k, slab body and joint conductance (cube of its width) times ten; the joint's convergence
    term changes a little with its radius, so the map agrees to a few thousandths of the vacuum."""
    flow, found, _ = banded[0]
    site = house()
    ten = Site(
        slab=Slab(corners=FLOOR, thickness=0.1, permeability=1e-16),
        walls=site.walls,
        ground=Ground(
            layers=(SoilLayer(permeability=5e-11), SoilLayer(permeability=1e-11, top=1.0)),
            bottom=8.0,
        ),
        moist_zones=site.moist_zones,
        bands=site.bands,
        joints=(FloorWallJoint(aperture=10.0 ** (1.0 / 3.0) * JOINT),),
    )
    flow_ten, found_ten, _ = run(ten, 0.3)
    assert flow_ten / flow == pytest.approx(10.0, rel=2e-3)
    assert np.nanmax(np.abs(found_ten.floor.pressure - found.floor.pressure)) < 0.005 * 500.0
