"""One invented house with all that a house can have at once, and other ways to solve it.

Slab, walls on footings, yard, layers tighter downwards, a loose band, backfill, a tapered gap, a
joint, two pits. East and west are mirror images.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
from scipy.optimize import brentq
from scipy.sparse.linalg import spsolve

from problems.exact_houses import rectangle
from soilflow import (
    BoxPit,
    Case,
    Condition,
    ExteriorBackfill,
    Fan,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    HemisphericalPit,
    Layout,
    PerimeterBand,
    Result,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    SuctionPoint,
    run_layout,
)
from soilflow.air import P_ATM, Air, u_from_pressure
from soilflow.engines import solve_soil_fipy
from soilflow.flow.grid import Grid, Resolution
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.grids import grid_of
from soilflow.site import Yard
from soilflow.site.effects import LeaksAlongLine

WIDTH, DEPTH = 6.0, 4.4
ROUGH = Resolution(name="rough", cells_per_radius=1.5, line_size=0.15, growth=1.8)
WINTER, VACUUMS = 4.0, {"A": 500.0, "B": 300.0}

SITE = Site(
    slab=Slab(corners=rectangle(0.0, 0.0, WIDTH, DEPTH), thickness=0.1, permeability=2e-13),
    walls=FoundationWalls(thickness=0.2, footing_depth=0.45, grade=0.3),
    ground=Ground(
        layers=(
            SoilLayer(permeability=5e-12, vertical=2e-12, top=0.0),
            SoilLayer(permeability=1e-12, top=1.0),
        ),
        bottom=4.0,
    ),
    bands=(PerimeterBand(width=0.6, depth=1.0, looser_by=15.0),),
    backfill=ExteriorBackfill(width=0.5, looser_by=8.0),
    gaps=(
        SettledGap(
            name="settled",
            corners=rectangle(1.5, 1.0, 4.5, 3.4),
            aperture=5e-4,
            aperture_at_edge=1e-4,
            taper=0.4,
        ),
    ),
    joints=(FloorWallJoint(aperture=3e-4),),
)
BOX = BoxPit(length=0.5, width=0.4, depth=0.3)
BOWL = HemisphericalPit(volume=0.0378541)


def layout_of(*pits, fan=None, scale=1.0):
    """Pits A and B on the line of symmetry; on a fan, B is capped."""
    places = zip(("A", "B"), (1.2, 3.1), pits, strict=True)
    points = tuple(
        SuctionPoint(
            name=name,
            x=0.5 * WIDTH * scale,
            y=y * scale,
            pit=pit,
            vacuum=None if fan else VACUUMS[name],
            capped=bool(fan) and name == "B",
        )
        for name, y, pit in places
    )
    return Layout(name="two", points=points, fan=fan)


TWO_BOXES, BOX_AND_BOWL = layout_of(BOX, BOX), layout_of(BOX, BOWL)


def case_of(site=SITE, layout=BOX_AND_BOWL, references=()):
    winter = Condition(name="winter", outdoor_pressure=WINTER, references=references)
    return Case(title="house", site=site, layouts=(layout,), conditions=(winter,), resolution=ROUGH)


@functools.cache
def common_grid() -> Grid:
    """For every variant of the house that has the same lines, and for the footings left out."""
    return grid_of(case_of(), [BOX_AND_BOWL])


@functools.cache
def solved(layout=BOX_AND_BOWL, engine=None) -> Result:
    case = case_of(layout=layout)
    grid = common_grid() if layout == BOX_AND_BOWL else None
    if engine == "fipy":
        return run_layout(case, baseline=False, grid=grid, engine=solve_soil_fipy)
    return run_layout(case, baseline=False, grid=grid)


def variant(**nouns) -> Result:
    """The house with some nouns changed, on the same grid."""
    case = case_of(dataclasses.replace(SITE, **nouns))
    return run_layout(case, baseline=False, grid=common_grid())


def matrix(result: Result) -> np.ndarray:
    return result.solution.response.port_matrix


def conductance(result: Result, one: str, other: str) -> float:
    """From one port to another, positive, and a port's own. [m3/(s Pa)]"""
    ports = result.solution.response.ports
    y = float(matrix(result)[ports.index(one), ports.index(other)])
    return y if one == other else -y


def flow_of(result: Result, port: str) -> float:
    """At the operating point of the winter. [m3/s]"""
    point = result.conditions["winter"].operating_point
    return float(point.flows[point.port_names.index(port)])


def largest_difference(one: Result, other: Result) -> float:
    """Of the pressures under the floor, over the larger vacuum. [-]"""
    a, b = (r.conditions["winter"].floor.pressure for r in (one, other))
    return float(np.nanmax(np.abs(a - b))) / max(VACUUMS.values())


def scaled(factor: float) -> Result:
    """All permeabilities and leaks times a factor: a thinner slab passes more by body and joint."""
    third = factor ** (1.0 / 3.0)
    layers = tuple(
        dataclasses.replace(
            layer, permeability=factor * layer.permeability, vertical=factor * layer.across
        )
        for layer in SITE.ground.layers
    )
    (gap,) = SITE.gaps
    gap = dataclasses.replace(
        gap, aperture=third * gap.aperture, aperture_at_edge=third * gap.aperture_at_edge
    )
    return variant(
        slab=dataclasses.replace(SITE.slab, thickness=SITE.slab.thickness / factor),
        ground=dataclasses.replace(SITE.ground, layers=layers),
        gaps=(gap,),
    )


def larger(factor: float) -> Result:
    """All lengths times a factor, the gap's transmissivity too; without the joint."""
    third = factor ** (1.0 / 3.0)

    def longer(noun, *names, by=factor):
        return dataclasses.replace(noun, **{n: by * getattr(noun, n) for n in names})

    def stretched(ring):
        return tuple((factor * x, factor * y) for x, y in ring)

    (gap,), (band,) = SITE.gaps, SITE.bands
    gap = longer(longer(gap, "aperture", "aperture_at_edge", by=third), "taper")
    slab = longer(SITE.slab, "thickness")
    site = dataclasses.replace(
        SITE,
        slab=dataclasses.replace(slab, corners=stretched(slab.corners)),
        walls=longer(SITE.walls, "thickness", "footing_depth", "grade"),
        ground=dataclasses.replace(
            longer(SITE.ground, "bottom"),
            layers=tuple(longer(layer, "top") for layer in SITE.ground.layers),
        ),
        bands=(longer(band, "width", "depth"),),
        backfill=longer(SITE.backfill, "width"),
        gaps=(dataclasses.replace(gap, corners=stretched(gap.corners)),),
        joints=(),
    )
    bowl = dataclasses.replace(BOWL, volume=factor**3 * BOWL.volume)
    box = longer(BOX, "length", "width", "depth")
    grid = Grid(**{axis: factor * getattr(common_grid(), axis) for axis in "xyz"})
    case = case_of(site, layout_of(box, bowl, scale=factor))
    return run_layout(case, baseline=False, grid=grid)


def half_house():
    """Conductances of the eastern half alone, doubled: the cut is a sealed plane."""
    grid = common_grid()
    x = grid.x[grid.index_of(0, 0.5 * WIDTH) :]
    held = BOX_AND_BOWL.held_bodies(SITE.slab.polygon)
    effects = [
        effect
        for effect in SITE.effects()
        if not (isinstance(effect, LeaksAlongLine) and max(effect.start[0], effect.end[0]) < x[0])
    ]
    soil = build_soil_map(Grid(x=x, y=grid.y, z=grid.z), effects, held)
    response = respond(build_soil_network(soil, case_of().air.viscosity))
    return dict(zip(response.ports, 2.0 * np.diag(response.port_matrix), strict=True))


def held_in_winter(ports) -> np.ndarray:
    """What the ports are held at, as u. [Pa]"""
    given = {"outdoors": WINTER, **{name: -v for name, v in VACUUMS.items()}}
    return np.array([float(u_from_pressure(given.get(port, 0.0))) for port in ports])


def by_elimination(result: Result) -> tuple[np.ndarray, np.ndarray]:
    """All ports held at once, by SciPy's sparse elimination: field, and flow into each port."""
    network = result.solution.network
    u = held_in_winter(network.ports)
    field = spsolve(network.matrix().tocsc(), u @ network.sources())
    flux = network.port_conductance * (field[network.port_node] - u[network.port])
    flow = np.bincount(network.port, flux, len(network.ports))
    return field, flow + network.direct @ u - network.direct.sum(axis=1) * u


def through_a_cut(result: Result, port: str) -> float:
    """Flow over the faces of a block of soil around a pit, leaks into the block taken in. [m3/s]"""
    network, soil = result.solution.network, result.solution.soil
    u = held_in_winter(network.ports)
    field = result.conditions["winter"].node_u
    inside = np.zeros(network.nodes, dtype=bool)
    at = [soil.grid.centres(a) for a in range(3)]
    near = np.abs(at[0] - 0.5 * WIDTH) < 0.9, np.abs(at[1] - 1.2) < 0.7, at[2] < 0.8
    block = near[0][:, None, None] & near[1][None, :, None] & near[2][None, None, :]
    block &= (at[2] > 0.0)[None, None, :] & (network.cell_node >= 0)
    inside[network.cell_node[block]] = True
    above = near[0][:, None] & near[1][None, :] & (network.sheet_node >= 0)
    inside[network.sheet_node[above]] = True
    i, j = network.edges.T
    sign = inside[i].astype(float) - inside[j].astype(float)
    into = -float((network.conductance * (field[i] - field[j]) * sign).sum())
    pit = network.ports.index(port)
    leak = inside[network.port_node] & (network.port != pit)
    flux = network.port_conductance * (u[network.port] - field[network.port_node])
    straight = float(network.direct[pit] @ (u - u[pit]))
    return into + float(flux[leak].sum()) + straight


def fan_on_the_house() -> tuple[float, float]:
    """Flow of a straight fan on A, B capped: by the library, and from Y by one scalar equation.

    Capping takes B out of the matrix; the rest is a soil with one conductance and a pressure at
    rest. The fan sees the volume at its own inlet, of air at 20 C, for which it is rated here.
    """
    fan = Fan(
        name="straight",
        flows=(0.0, 0.05),
        static_pressures=(600.0, 0.0),
        density=Air(temperature=293.15).density,
    )
    result = run_layout(case_of(layout=layout_of(BOX, BOWL, fan=fan)), baseline=False)
    ports = result.solution.response.ports
    order = [ports.index(name) for name in ("A", "B", "house", "outdoors")]
    y = matrix(result)[np.ix_(order, order)]
    capped = y - np.outer(y[:, 1], y[1]) / y[1, 1]
    outdoors = float(u_from_pressure(WINTER))
    slope = fan.static_pressures[0] / fan.flows[-1]

    def mismatch(pressure: float) -> float:
        flow = -(capped[0, 0] * float(u_from_pressure(pressure)) + capped[0, 3] * outdoors)
        at_inlet = flow * P_ATM / (P_ATM + pressure)
        return pressure - WINTER + fan.static_pressures[0] - slope * at_inlet

    pressure = brentq(mismatch, -2.0 * fan.static_pressures[0], 0.0, xtol=1e-12, rtol=1e-14)
    by_hand = -(capped[0, 0] * float(u_from_pressure(pressure)) + capped[0, 3] * outdoors)
    return flow_of(result, "A"), by_hand


def with_a_yard() -> Result:
    """The north side a yard of its own, at the outdoors' pressure."""
    return variant(yards=(Yard(name="windward", side="north"),))


def without_footings() -> Result:
    """Walls that end at the slab; soil takes the footings' place."""
    walls = dataclasses.replace(SITE.walls, footing_depth=0.0)
    backfill = dataclasses.replace(SITE.backfill, depth=SITE.walls.footing_depth)
    return variant(walls=walls, backfill=backfill)


def with_gap_height(factor: float) -> Result:
    """The gap so many times as high, its thin edge too."""
    (gap,) = SITE.gaps
    higher = dataclasses.replace(
        gap, aperture=factor * gap.aperture, aperture_at_edge=factor * gap.aperture_at_edge
    )
    return variant(gaps=(higher,))


def with_footings_down_to(share: float) -> Result:
    """Footings that leave so small a share of the soil open below them."""
    walls = dataclasses.replace(SITE.walls, footing_depth=(1.0 - share) * SITE.ground.bottom)
    case = case_of(dataclasses.replace(SITE, walls=walls))
    return run_layout(case, baseline=False)
