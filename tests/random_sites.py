"""Random small houses in the trade's own nouns, and how to turn, dig and solve them."""

from __future__ import annotations

import dataclasses
import functools
import os
from typing import NamedTuple

import numpy as np
import shapely
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import spsolve
from small_soils import MU, Answer

from soilflow.errors import InputError
from soilflow.flow.grid import Grid, Resolution, grid_for
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import HeldBody
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    ExteriorBackfill,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    Opening,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilField,
    SoilLayer,
    Yard,
)
from soilflow.site.plan import footprint_polygon
from soilflow.site.walls import select_walls
from soilflow.site.yards import SIDES

VERY_ROUGH = Resolution(
    name="very rough",
    cells_per_radius=1.2,
    line_size=0.5,
    growth=6.0,
    largest_inside=1.5,
    largest_outside=4.0,
    largest_down=2.0,
)
MOST_CELLS = 12_000
BOTTOM = 2.5
# one in a run of the suite; a larger number looks as many times harder, at other houses
HARDER = int(os.environ.get("SOILFLOW_LOOK_HARDER", "1"))


def examples(count: int) -> settings:
    """So many houses, the same ones in every run unless asked to look harder."""
    return settings(
        max_examples=count * HARDER,
        deadline=None,
        derandomize=HARDER == 1,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


class Turn(NamedTuple):
    """One of the eight ways a square falls onto itself: swap x and y or not, then signs."""

    swap: bool
    east: int
    north: int

    def place(self, x, y):
        a, b = (y, x) if self.swap else (x, y)
        return self.east * a, self.north * b

    def corners(self, ring):
        return None if ring is None else tuple(self.place(x, y) for x, y in ring)

    def field(self, values):
        """An array over x and y (and more) as the turned house has it."""
        if self.swap:
            values = np.swapaxes(values, 0, 1)
        return values[:: self.east, :: self.north]

    def walls(self, names, slab, turned):
        """What walls of the slab are called in the turned house; a whole side by its parts."""
        found = []
        for wall in select_walls(slab.walls, names) if names else ():
            ends = {self.place(*wall.start), self.place(*wall.end)}
            [there] = [w for w in turned.walls if {w.start, w.end} == ends]
            found.append(there.name)
        return tuple(found)

    def side(self, name):
        north, east, south, west = (0, 1), (1, 0), (0, -1), (-1, 0)
        facing = dict(zip(SIDES, (north, east, south, west), strict=True))
        [there] = [s for s in SIDES if facing[s] == self.place(*facing[name])]
        return there

    def noun(self, noun, slab, turned):
        """A thing of a site, with its places, walls and side turned."""
        fields = {
            name: how(getattr(noun, name))
            for name, how in (
                ("corners", self.corners),
                ("hole", self.corners),
                ("points", self.corners),
                ("walls", lambda names: self.walls(names, slab, turned)),
                ("side", lambda side: self.side(side) if side else ""),
            )
            if hasattr(noun, name) and name in {f.name for f in dataclasses.fields(noun)}
        }
        if isinstance(noun, SoilField):
            fields = self.raster(noun)
        elif isinstance(noun, Opening):
            fields["x"], fields["y"] = self.place(noun.x, noun.y)
        return dataclasses.replace(noun, **fields)

    def raster(self, field):
        """Nodes and values of a soil field."""
        x, y = (field.y, field.x) if self.swap else (field.x, field.y)
        values = self.field(np.asarray(field.multipliers))
        return {
            "x": tuple(self.east * v for v in x)[:: self.east],
            "y": tuple(self.north * v for v in y)[:: self.north],
            "multipliers": tuple(tuple(tuple(column) for column in row) for row in values.tolist()),
        }

    def pit(self, pit):
        if self.swap and isinstance(pit, BoxPit):
            return dataclasses.replace(pit, length=pit.width, width=pit.length)
        return pit


SAME = Turn(swap=False, east=1, north=1)
TURNS = [Turn(swap, e, n) for swap in (False, True) for e in (1, -1) for n in (1, -1)][1:]


@functools.lru_cache(maxsize=64)
def held_bodies(slab: Slab, points: tuple[SuctionPoint, ...]) -> tuple[HeldBody, ...]:
    """Kept, because a bowl that walls cut off takes longer to measure than a house to solve."""
    return Layout(name="all", points=points).held_bodies(slab.polygon)


class House(NamedTuple):
    """A site and the suction points dug into it."""

    site: Site
    points: tuple[SuctionPoint, ...]

    def held(self) -> tuple[HeldBody, ...]:
        return held_bodies(self.site.slab, self.points)

    def effects(self):
        water = Layout(name="all", points=self.points).effects(self.site.slab.polygon)
        return (*self.site.effects(), *water)

    def changed(self, **nouns) -> House:
        return self._replace(site=dataclasses.replace(self.site, **nouns))

    def turned(self, turn: Turn) -> House:
        """The same house with every noun built anew, its coordinates and sides turned."""
        site = self.site
        slab = dataclasses.replace(site.slab, corners=turn.corners(site.slab.corners))

        def anew(noun):
            return turn.noun(noun, site.slab, slab)

        groups = {
            f.name: tuple(anew(noun) for noun in value) if isinstance(value, tuple) else anew(value)
            for f in dataclasses.fields(site)
            if (value := getattr(site, f.name)) is not None
        }
        turned = dataclasses.replace(site, **(groups | {"slab": slab}))
        points = []
        for point in self.points:
            x, y = turn.place(point.x, point.y)
            points.append(dataclasses.replace(point, x=x, y=y, pit=turn.pit(point.pit)))
        return House(turned, tuple(points))

    def grid(self) -> Grid:
        return common_grid(self)

    def answer(self, grid: Grid | None = None) -> Answer:
        grid = self.grid() if grid is None else grid
        return solved(build_soil_map(grid, self.effects(), self.held()))


def common_grid(*houses: House) -> Grid:
    """A grid with the lines and the refinement of several houses."""
    effects = [effect for house in houses for effect in house.effects()]
    held = [body for house in houses for body in house.held()]
    grid = grid_for(effects, held, VERY_ROUGH)
    assert grid.cells <= MOST_CELLS * (1 + crowd(houses)), grid
    return grid


def crowd(houses):
    """How many things, beyond those of a plain house, draw lines on the grid."""
    plain = {"slab", "walls", "ground", "bands", "backfill", "moist_zones", "gaps", "joints"}
    extra = [f.name for f in dataclasses.fields(Site) if f.name not in plain | {"yards"}]
    found = (getattr(house.site, name) for house in houses for name in extra)
    return sum(len(v) if isinstance(v, tuple) else v is not None for v in found)


def solved(soil, viscosity=MU) -> Answer:
    network = build_soil_network(soil, viscosity)
    return Answer(soil=soil, network=network, response=respond(network))


def whole_laplacian(network):
    """Matrix over nodes, then ports, from the bare lists of conductances. [m3/(s Pa)]"""
    n, p = network.nodes, len(network.ports)
    one, other = np.nonzero(np.triu(network.direct))
    i = np.concatenate([network.edges[:, 0], network.port_node, n + one])
    j = np.concatenate([network.edges[:, 1], n + network.port, n + other])
    t = np.concatenate([network.conductance, network.port_conductance, network.direct[one, other]])
    rows, columns = np.concatenate([i, j, i, j]), np.concatenate([i, j, j, i])
    values = np.concatenate([t, t, -t, -t])
    return coo_matrix((values, (rows, columns)), shape=(n + p, n + p)).tocsr()


def by_elimination(network, held, tied=None):
    """Pressure at nodes, then ports, and the flow out of each, by another solver than ours.

    Ports without a pressure in ``held`` float; nodes and ports with one number in ``tied``
    have one pressure.
    """
    laplacian = whole_laplacian(network)
    size = laplacian.shape[0]
    label = np.arange(size) if tied is None else np.unique(tied, return_inverse=True)[1]
    groups = coo_matrix((np.ones(size), (np.arange(size), label))).tocsr()
    grouped = (groups.T @ laplacian @ groups).tocsc()
    known = {int(label[network.nodes + network.ports.index(n)]): p for n, p in held.items()}
    fixed = np.array(sorted(known))
    free = np.setdiff1d(np.arange(grouped.shape[0]), fixed)
    pressure = np.zeros(grouped.shape[0])
    pressure[fixed] = [known[i] for i in fixed]
    pressure[free] = spsolve(grouped[free][:, free], -(grouped[free] @ pressure))
    return (groups @ pressure), laplacian @ (groups @ pressure)


def everywhere(answer: Answer, held: dict[str, float]):
    """Pressures of soil, pits and gaps on the grid, not a number where there is no air. [Pa]"""
    soil, network = answer.soil, answer.network
    values = np.array([held[name] for name in answer.response.ports])
    nodes = np.append(values @ answer.response.unit_fields, np.nan)
    cells = nodes[network.cell_node]
    for i, body in enumerate(soil.held):
        cells[soil.cavity == i] = held[body.port]
    gap = nodes[network.sheet_node]
    dug_out = soil.cavity[:, :, soil.top_layer] >= 0
    gap[dug_out] = cells[:, :, soil.top_layer][dug_out]
    return np.concatenate([cells, gap[:, :, None]], axis=2)


def suction(answer: Answer, vacuum: float = 1.0) -> dict[str, float]:
    """Every reference at zero and every pit at one and the same vacuum. [Pa]"""
    pits = {body.port for body in answer.soil.held}
    return {name: -vacuum if name in pits else 0.0 for name in answer.response.ports}


def decades(low, high):
    return st.floats(low, high).map(lambda e: 10.0**e)


def tenths(low, high):
    """Lengths between two others, in whole decimetres. [m]"""
    return st.integers(round(10 * low), round(10 * high)).map(lambda n: n / 10)


def rectangle(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


@st.composite
def rectangles(draw, width, depth):
    """Somewhere over a floor, or half beside it."""
    x0, y0 = draw(tenths(-1.0, width - 0.6)), draw(tenths(-1.0, depth - 0.6))
    x1, y1 = x0 + draw(tenths(0.5, width)), y0 + draw(tenths(0.5, depth))
    return rectangle(x0, y0, round(x1, 1), round(y1, 1))


@st.composite
def slabs(draw):
    w, d = draw(tenths(3.0, 5.0)), draw(tenths(2.5, 4.0))
    corners = rectangle(0.0, 0.0, w, d)
    if draw(st.booleans()):
        x, y = draw(tenths(1.2, w - 1.2)), draw(tenths(1.0, d - 1.0))
        corners = ((0.0, 0.0), (w, 0.0), (w, y), (x, y), (x, d), (0.0, d))
    turn = draw(st.sampled_from([SAME, *TURNS]))
    return Slab(
        corners=turn.corners(corners),
        thickness=draw(st.sampled_from([0.08, 0.1, 0.15])),
        permeability=draw(decades(-17, -13)),
    )


def some_walls(slab):
    """Names of some walls or sides; none for all of them."""
    names = [*dict.fromkeys([*(w.name for w in slab.walls), *SIDES])]
    return st.lists(st.sampled_from(names), max_size=3, unique=True).map(tuple)


def maybe(strategy, most=1):
    return st.lists(strategy, max_size=most).map(tuple)


@st.composite
def grounds(draw):
    tops = [0.0, *draw(st.sampled_from([(), (), (0.3,), (0.9,), (0.5, 1.1)]))]
    layers = [
        SoilLayer(
            permeability=draw(decades(-13, -9.5)),
            vertical=draw(st.none() | decades(-13, -9.5)),
            top=top,
        )
        for top in tops
    ]
    return Ground(layers=tuple(layers), bottom=BOTTOM)


@st.composite
def gaps(draw, width, depth, floor):
    corners = draw(st.none() | rectangles(width, depth))
    hole = draw(st.sampled_from([None, None, rectangle(1.0, 0.8, 2.0, 1.6)]))
    taper = draw(st.sampled_from([0.0, 0.0, 0.4, 1.0]))
    gap = SettledGap(
        name="gap",
        corners=corners,
        hole=hole,
        aperture=draw(decades(-5, -2.3)),
        aperture_at_edge=draw(st.sampled_from([0.0, 1e-4])) if taper else None,
        taper=taper,
        contact_fraction=draw(st.sampled_from([0.0, 0.0, 0.3])),
    )
    if corners is None:
        return gap
    # what is drawn past the walls is cut off, as a user would
    within = dataclasses.replace(gap, hole=None).plan(floor)
    if within.geom_type != "Polygon" or gap.plan(floor).is_empty:
        return dataclasses.replace(gap, corners=None, hole=None)
    return dataclasses.replace(gap, corners=tuple(within.exterior.coords[:-1]))


def zones(width, depth, wetness):
    return st.builds(
        MoistZone,
        name=st.just("wet"),
        corners=rectangles(width, depth),
        multiplier=st.sampled_from(wetness),
        top=st.sampled_from([0.0, 0.0, 0.3]),
        bottom=st.sampled_from([0.4, 0.8, BOTTOM]),
    )


# of a moist zone: none and the smallest both mean no air path
WETNESS = (0.0, 1e-12, 0.01, 0.1, 0.5)


@st.composite
def sites(draw, wetness=WETNESS):
    """A site made of any of the trade's nouns."""
    slab = draw(slabs())
    floor = slab.polygon
    x0, y0, x1, y1 = floor.bounds
    turn = Turn(swap=False, east=1 if x0 == 0.0 else -1, north=1 if y0 == 0.0 else -1)
    width, depth = x1 - x0, y1 - y0

    def placed(noun):
        rings = {f: turn.corners(getattr(noun, f)) for f in ("corners", "hole") if hasattr(noun, f)}
        return dataclasses.replace(noun, **rings)

    upright = (
        slab if turn == SAME else dataclasses.replace(slab, corners=turn.corners(slab.corners))
    )
    band = st.builds(
        PerimeterBand,
        width=st.sampled_from([0.3, 0.6, 1.0]),
        looser_by=decades(-0.5, 1.5),
        depth=st.sampled_from([None, 0.3, 0.6, 1.2]),
        walls=some_walls(slab),
    )
    joint = st.builds(
        FloorWallJoint,
        aperture=decades(-4, -2.3),
        walls=some_walls(slab),
        sealed=st.sampled_from([False, False, True]),
    )
    backfill = st.builds(
        ExteriorBackfill,
        width=st.sampled_from([0.4, 0.8]),
        looser_by=decades(-0.5, 1.5),
        depth=st.sampled_from([None, 0.6]),
    )
    yard = st.builds(Yard, name=st.just("windward"), side=st.sampled_from(SIDES)) | st.builds(
        Yard, name=st.just("windward"), corners=rectangles(width, depth)
    )
    gap = gaps(width, depth, upright.polygon)
    return Site(
        slab=slab,
        walls=FoundationWalls(
            thickness=draw(st.sampled_from([0.0, 0.2])),
            footing_depth=draw(st.sampled_from([0.0, 0.4, 0.4])),
            grade=draw(st.sampled_from([0.0, 0.0, 1.0])),
        ),
        ground=draw(grounds()),
        bands=draw(maybe(band, 2)),
        backfill=draw(st.none() | backfill),
        moist_zones=tuple(placed(z) for z in draw(maybe(zones(width, depth, wetness)))),
        gaps=tuple(placed(g) for g in draw(maybe(gap))),
        joints=draw(maybe(joint, 2)),
        yards=tuple(placed(y) if y.corners else y for y in draw(maybe(yard))),
    )


def bowls(packed=True):
    smears = [(0.0, 1.0)] * 2 + [(0.03, 0.2)] * packed
    return st.builds(
        lambda volume, smear: HemisphericalPit(volume=volume, smear=smear[0], smear_ratio=smear[1]),
        st.floats(0.01, 0.12),
        st.sampled_from(smears),
    )


def boxes(packed=True):
    smears = [(0.0, 1.0)] * 2 + [(0.03, 0.2)] * packed
    # sides in odd hundredths: a box at a corner then never has two equally near places to go
    return st.builds(
        lambda length, width, depth, smear: BoxPit(
            length=length, width=width, depth=depth, smear=smear[0], smear_ratio=smear[1]
        ),
        st.sampled_from([0.43, 0.63]),
        st.sampled_from([0.47, 0.67]),
        st.sampled_from([0.2, 0.35]),
        st.sampled_from(smears),
    )


@functools.cache
def places(corners):
    """Everything strictly under a floor, on a decimetre raster. [m]"""
    floor = footprint_polygon(corners)
    x0, y0, x1, y1 = (round(10 * v) for v in floor.bounds)
    every = np.array([(n / 10, m / 10) for n in range(x0, x1) for m in range(y0, y1)])
    return [(float(x), float(y)) for x, y in every[shapely.contains_xy(floor, every)]]


def spots(slab):
    return st.sampled_from(places(slab.corners))


def dug(slab, points):
    """The points that can be dug: one that runs into an earlier one, or fits nowhere, is left."""
    if fits(slab, points):
        return points
    kept: tuple[SuctionPoint, ...] = ()
    for point in points:
        if fits(slab, (*kept, point)):
            kept = (*kept, point)
    return kept


def fits(slab, points):
    try:
        held_bodies(slab, points)
    except InputError:
        return False
    return True


@st.composite
def houses(draw, *, most=3, packed=True, wetness=WETNESS, pits=None):
    """A house with one to three pits anywhere they can be dug."""
    site = draw(sites(wetness=wetness))
    pit = bowls(packed) | boxes(packed) if pits is None else pits
    points = [
        SuctionPoint(name=f"P{i}", x=x, y=y, pit=draw(pit), vacuum=500.0)
        for i, (x, y) in enumerate(
            draw(st.lists(spots(site.slab), min_size=1, max_size=most, unique=True))
        )
    ]
    return House(site, dug(site.slab, tuple(points)))


def control_house() -> House:
    """One house with all five mechanisms that are made, for what must go wrong when broken."""
    corners = ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 2.0), (2.0, 3.0), (0.0, 3.0))
    site = Site(
        slab=Slab(corners=corners, thickness=0.1, permeability=1e-13),
        walls=FoundationWalls(thickness=0.2, footing_depth=0.4),
        ground=Ground(
            layers=(
                SoilLayer(permeability=1e-12, vertical=5e-13),
                SoilLayer(permeability=2e-12, top=0.9),
            ),
            bottom=BOTTOM,
        ),
        bands=(PerimeterBand(width=0.6, depth=0.6, looser_by=10.0, walls=("south", "west")),),
        backfill=ExteriorBackfill(width=0.4, looser_by=5.0),
        moist_zones=(
            MoistZone(
                name="wet", corners=rectangle(2.0, 0.0, 3.0, 1.0), multiplier=0.01, bottom=0.8
            ),
        ),
        gaps=(
            SettledGap(
                name="gap",
                corners=rectangle(0.4, 0.4, 2.0, 3.0),
                aperture=4e-4,
                aperture_at_edge=1e-4,
                taper=0.4,
            ),
        ),
        joints=(FloorWallJoint(aperture=1e-3, walls=("south", "east")),),
    )
    pits = (("A", 0.7, 0.8, HemisphericalPit(volume=0.04)),)
    pits += (("B", 3.2, 1.4, BoxPit(length=0.63, width=0.47, depth=0.2)),)
    points = (SuctionPoint(name=n, x=x, y=y, pit=p, vacuum=500.0) for n, x, y, p in pits)
    return House(site, tuple(points))
