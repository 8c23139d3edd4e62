"""The house of the gallery: small, square, and solved in a second.

Written in Python, without a case file: a slab 6 m square on uniform soil, footings to 0.45 m, a
slab cracked enough to let air in everywhere, suction stated and no fan.
"""

import functools

from soilflow import (
    Case,
    Condition,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    HemisphericalPit,
    Layout,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    SuctionPoint,
    run_layout,
)
from soilflow.flow.grid import Resolution

SIDE = 6.0  # [m]
PIT = HemisphericalPit(volume=0.038)  # two buckets of hole [m3]
GRID = Resolution(name="lesson", cells_per_radius=2.5, line_size=0.06, growth=1.6)
WINTER = Condition(name="design_winter", outdoor_pressure=4.0, source="guess")


def point(name, x, y):
    """A two-bucket pit at 250 Pa, which is one inch of water."""
    return SuctionPoint(name=name, x=x, y=y, pit=PIT, vacuum=250.0)


RING = Layout(
    name="four at the walls",
    points=(
        point("south", 0.5 * SIDE, 0.3),
        point("east", SIDE - 0.3, 0.5 * SIDE),
        point("north", 0.5 * SIDE, SIDE - 0.3),
        point("west", 0.3, 0.5 * SIDE),
    ),
)
CENTRE = Layout(name="one in the middle", points=(point("middle", 0.5 * SIDE, 0.5 * SIDE),))


def house(*, soil=1e-12, slab=2e-13, looser_by=1.0, joint=0.0, sealed=(), gap=0.0):
    """The site; ``sealed`` names walls whose joint is closed, lengths are in metres."""
    corners = ((0.0, 0.0), (SIDE, 0.0), (SIDE, SIDE), (0.0, SIDE))
    open_walls = tuple(w for w in ("south", "east", "north", "west") if w not in sealed)
    joints = (FloorWallJoint(aperture=joint, walls=open_walls),) if joint and open_walls else ()
    band = PerimeterBand(width=0.6, looser_by=looser_by, depth=1.0)
    return Site(
        slab=Slab(corners=corners, thickness=0.1, permeability=slab),
        walls=FoundationWalls(thickness=0.3, footing_depth=0.45),
        ground=Ground(layers=(SoilLayer(permeability=soil),), bottom=8.0),
        bands=(band,) if looser_by != 1.0 else (),
        joints=joints,
        gaps=(SettledGap(name="settled", aperture=gap),) if gap else (),
    )


@functools.cache
def solved(site, layout):
    """One layout on one site, solved once."""
    case = Case(title="lesson", site=site, layouts=(layout,), conditions=(WINTER,), resolution=GRID)
    return run_layout(case, baseline=False)


def winter(result):
    """What happens on the design day."""
    return result.conditions["design_winter"]
