"""A small house with a crack, an opening and a wet corner, as short a solve as can be."""

from __future__ import annotations

import functools
from dataclasses import replace

from soilflow.case import Case, TestHole
from soilflow.conditions import Condition
from soilflow.flow.grid import Resolution
from soilflow.flow.soil_map import build_soil_map
from soilflow.layout.fan import Fan
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit
from soilflow.results.floor import floor_response
from soilflow.results.leak_changes import FloorMeasures
from soilflow.run import evaluate, solve_soil
from soilflow.site.ground import Ground, SettledGap, SoilLayer
from soilflow.site.leaks import Crack, FloorWallJoint
from soilflow.site.moisture import MoistZone
from soilflow.site.openings import Opening
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import FoundationWalls

DESIGN = "design_winter"
ROUGH = Resolution(
    name="rough",
    cells_per_radius=0.5,
    line_size=0.25,
    growth=2.5,
    largest_outside=3.0,
    pit_reach=0.1,
)
CRACK = Crack(name="crack", points=((2.0, 1.5), (3.0, 1.5)), aperture=1e-3)
GAP = SettledGap(name="gap", aperture=3e-4)
FAN = Fan(name="strong", flows=(0.0, 0.02, 0.06), static_pressures=(800.0, 500.0, 0.0))


def site(**changed) -> Site:
    """A 4 m by 3 m slab; its pit lies under the west wall's joint."""
    there = Site(
        slab=Slab(corners=((0, 0), (4, 0), (4, 3), (0, 3)), thickness=0.1, permeability=1e-15),
        walls=FoundationWalls(thickness=0.0, footing_depth=0.0),
        ground=Ground(layers=(SoilLayer(permeability=1e-11),), bottom=1.5),
        joints=(FloorWallJoint(aperture=4e-4),),
        cracks=(CRACK,),
    )
    return replace(there, **changed)


def pit(name="A", x=0.6, y=1.5, **state) -> SuctionPoint:
    return SuctionPoint(name=name, x=x, y=y, pit=BoxPit(length=0.4, width=0.4, depth=0.3), **state)


def case(layout: Layout | None = None, **changed) -> Case:
    chosen = layout or Layout(name="fan", points=(pit(), pit("B", 3.4, 2.4, capped=True)), fan=FAN)
    return Case(
        title="Cracked",
        site=site(**changed),
        layouts=(chosen,),
        conditions=(
            Condition(name="today", outdoor_pressure=1.0),
            Condition(name=DESIGN, outdoor_pressure=6.0),
        ),
        test_holes=(TestHole(name="T1", x=3.5, y=0.5), TestHole(name="T2", x=1.6, y=2.2)),
        resolution=ROUGH,
    )


OPENING = Opening(name="drain", x=3.0, y=2.4, area=0.01)
WET = MoistZone(
    name="wet",
    corners=((2.5, 0.0), (4.0, 0.0), (4.0, 1.0), (2.5, 1.0)),
    bottom=0.8,
    multiplier=0.05,
)
gapped = functools.partial(case, gaps=(GAP,))


def solved(made, effects, *, grid):
    """Floor of a house with other effects, by the whole way from map to result."""
    layout = made.layouts[0]
    bodies = layout.held_bodies(made.site.slab.polygon)
    solution = solve_soil(build_soil_map(grid, effects, bodies), made.air.viscosity)
    floor = floor_response(solution.soil, solution.network, solution.response)
    [condition] = [c for c in made.conditions if c.name == DESIGN]
    return evaluate(made, layout, condition, solution, floor)


def measured(found) -> FloorMeasures:
    return FloorMeasures(
        worst=found.worst,
        coverage_area=found.coverage_area[1.0],
        room_air=found.house_on.into_soil,
    )
