"""Houses whose pressures are known in closed form: slab, yard, footing and pit together."""

from __future__ import annotations

import functools
import math

import numpy as np
from shapely.geometry import Point, box

from problems import drain
from problems.soils import MU, growing_edges, layer, solve_soil, split_times
from soilflow import (
    Case,
    Condition,
    FoundationWalls,
    Ground,
    HemisphericalPit,
    Layout,
    OnConductor,
    Result,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    SuctionPoint,
    TestHole,
    run_layout,
)
from soilflow.flow.grid import Grid, Resolution, graded_edges
from soilflow.flow.grid_lines import effect_lines
from soilflow.layout.bodies import Ball, HeldBody
from soilflow.layout.pits import BoxPit
from soilflow.results.floor import floor_response, pressure_at
from soilflow.site import Channel
from soilflow.site.effects import BlocksFace, LeaksOverArea

K = 1e-12
BOWL = 0.2624  # two buckets [m]
ROUND = 3.0  # radius of the round floor [m]
ATM = 1e14  # so much air that u is p to rounding [Pa]


def rectangle(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def round_house_exact(radius=ROUND, pit=BOWL):
    """Shape factor of a bowl in the middle of a round sealed floor on deep soil. [m]

    Mirrored in the slab, it is a point source in the middle of a round hole in an earthed plane.
    Inversion in the rim takes the plane to an earthed disk and the source to infinity, where it
    becomes a constant: the disk's potential, (2 / pi) arcsin, is known. Back again, the source
    sees 1 / r - 2 / (pi R) near itself, and the next term is smaller by (pit / R)^6.
    """
    return 2.0 * math.pi / (1.0 / pit - 2.0 / (math.pi * radius))


def under_round_floor(distance, radius=ROUND, pit=BOWL):
    """Pressure under that floor over the pit's: (a / r)(2 / pi) arccos(r / R) over the same."""
    at = pit / distance * 2.0 / math.pi * math.acos(distance / radius)
    return at / (1.0 - 2.0 * pit / (math.pi * radius))


@functools.cache
def round_house(cells):
    """A quarter of it, the bowl's radius in so many cells. Shape factor and floor at one pascal."""
    size, reach = BOWL / cells, 40.0
    near = [(0.0, 1.2 * BOWL, size), (0.0, 1.1 * ROUND, 0.45 / cells)]
    growth = math.exp(1.4 / cells)
    x = graded_edges([0.0, ROUND, reach], near, growth, [])
    z = graded_edges([0.0, reach], [*near[:1], (0.0, 0.0, 0.25 / cells)], growth, [])
    disk = Point(0.0, 0.0).buffer(ROUND, 256)
    effects = [
        layer(K, 0.0, reach),
        LeaksOverArea(plan=disk, depth=0.0, leakance=0.0, reference="house", floor=True),
        LeaksOverArea(
            plan=box(-99.0, -99.0, 99.0, 99.0).difference(disk),
            depth=0.0,
            leakance=math.inf,
            reference="outdoors",
        ),
    ]
    pit = HeldBody(port="pit", body=Ball(centre=(0.0, 0.0, 0.0), radius=BOWL))
    answer = solve_soil(Grid(x=x, y=x, z=z), effects, [pit])
    values = {"pit": -1.0, "house": 0.0, "outdoors": 0.0}
    floor = floor_response(answer.soil, answer.network, answer.response)
    held = np.array([values[port] for port in answer.response.ports])
    return 4.0 * answer.flow("pit", values) * MU / K, floor.pressure(held, ATM)


def round_house_pressure(cells, distance):
    """Pressure under the floor over the pit's, along the diagonal. [-]"""
    at = distance / math.sqrt(2.0)
    return -pressure_at(round_house(cells)[1], at, at)


def edge_drain_exact(distance, depth, radius):
    """Shape factor a metre of a drain half buried under a wide slab, beside its footing. [-]

    In a section the slab lies over x < 0, open ground over x > 0, and the footing reaches from 0
    to s. With zeta = x + i z, w = (zeta^2 + s^2)^1/2 folds the footing flat, and (w - s)^1/2
    makes a quarter plane of it, earthed on one side. There the drain, at h on the sealed side,
    has one image: ln(2 h / rho), rho its radius times what the map stretches it by.
    """
    m = math.hypot(distance, depth)
    return math.pi / math.log(4.0 * (m + depth) * m / (radius * distance))


@functools.cache
def edge_drain(distance, depth, radius, splits):
    """The same by footing, open ground and line conductor; the far soil ends at 1500 m."""
    tile = drain.line(0.0, radius)
    wanted, _, down = effect_lines(tile)[1]
    h, far, turn = 0.08, 1500.0, 8.0
    lines = sorted({-turn, *wanted, distance, turn})
    x = graded_edges(lines, [(distance, distance, h)], 1.35, [(-turn, turn, 0.6)])
    z = graded_edges(
        sorted({0.0, *down, depth, turn}),
        [(0.0, 0.0, h), (depth, depth, h)],
        1.35,
        [(0.0, turn, 0.6)],
    )
    out = growing_edges(0.0, 0.6, 0.6, 1.35, far)[1:]
    x = np.concatenate([-turn - out[::-1], x, turn + out])
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=np.concatenate([z, turn + out]))
    grid = split_times(grid, splits)
    grid = Grid(x=grid.x, y=np.array([0.0, 1.0]), z=grid.z)
    ground = box(distance, -99.0, 9e3, 99.0)
    effects = [
        layer(K, 0.0, far + 99.0),
        BlocksFace(start=(distance, 0.0), end=(distance, 1.0), top=0.0, bottom=depth),
        LeaksOverArea(plan=ground, depth=0.0, leakance=math.inf, reference="outdoors"),
        tile,
    ]
    return drain.drawn(grid, effects, [drain.on_line()])


def run(site, layout, resolution, *, times=0, outdoors=0.0, holes=()):
    """A house from the front door, with all cells halved so many times."""
    from soilflow.grids import grid_of

    case = Case(
        title="house",
        site=site,
        layouts=(layout,),
        conditions=(Condition(name="today", outdoor_pressure=outdoors),),
        resolution=resolution,
        test_holes=tuple(TestHole(name=f"{x:g}, {y:g}", x=x, y=y) for x, y in holes),
    )
    grid = split_times(grid_of(case, [layout]), times)
    return case, run_layout(case, layout, grid=grid, baseline=False)


def conductance(result: Result, one: str, other: str) -> float:
    """From port to port, as a shape factor. [m]"""
    response, network = result.solution.response, result.solution.network
    i, j = response.ports.index(one), response.ports.index(other)
    return -float(response.port_matrix[i, j]) * network.viscosity / K


@functools.cache
def gap_house(length, share, times):
    """A wide gap at the pit's pressure under all of a floor of 8 m by so much, soil 1 m deep.

    So the soil sees two open surfaces and a footing between them, ``share`` of the way down:
    a wall in a layer over rock, for each metre of it away from the corners.
    """
    site = Site(
        slab=Slab(corners=rectangle(0.0, 0.0, 8.0, length), thickness=0.1, permeability=1e-18),
        walls=FoundationWalls(thickness=0.0, footing_depth=share),
        ground=Ground(layers=(SoilLayer(permeability=K),), bottom=1.0),
        gaps=(SettledGap(name="open", aperture=0.05),),
    )
    pit = BoxPit(length=1.0, width=1.0, depth=0.25)
    point = SuctionPoint(name="pit", x=4.0, y=0.5 * length, pit=pit, vacuum=10.0)
    rough = Resolution(
        name="rough",
        cells_per_radius=1.0,
        line_size=0.05,
        growth=1.5,
        largest_inside=1.5,
        largest_outside=2.0,
        largest_down=0.2,
    )
    layout = Layout(name="one", points=(point,))
    return conductance(run(site, layout, rough, times=times)[1], "pit", "outdoors")


def under_a_footing(share, times):
    """Flow per metre of footing over (k / mu) dp, from floors of 8 by 8 and 8 by 10 m. [-]"""
    return (gap_house(10.0, share, times) - gap_house(8.0, share, times)) / 4.0


LONG, NARROW, LEAKAGE = 10.0, 1.2, 2.0
CHANNEL = 0.1


def long_slab_exact():
    """Flow [m3/s] at one pascal and pressure at the far end [Pa] of a gap fed through its slab.

    A channel across one end is all the air goes to: T p'' = G p, so that p falls as
    cosh((L - x) / lambda) / cosh(L / lambda) and the flow is (T / lambda) tanh(L / lambda) a
    metre of width. Over the channel itself the slab passes G.
    """
    leakance = 5e-13 / 0.10
    t = leakance * LEAKAGE**2
    rest = LONG - 1.0 - 0.5 * CHANNEL, 1.0 - 0.5 * CHANNEL
    flow = sum(t / LEAKAGE * math.tanh(r / LEAKAGE) for r in rest) + leakance * CHANNEL
    return flow * NARROW / MU, 1.0 / math.cosh(rest[0] / LEAKAGE)


@functools.cache
def long_slab():
    """The same from the front door: flow at one pascal over k / mu of its air, and the far end."""
    leakance = 5e-13 / 0.10
    aperture = (12.0 * leakance * LEAKAGE**2) ** (1.0 / 3.0)
    course = ((1.0, 0.0), (1.0, NARROW))
    site = Site(
        slab=Slab(corners=rectangle(0.0, 0.0, LONG, NARROW), thickness=0.10, permeability=5e-13),
        walls=FoundationWalls(thickness=0.2, footing_depth=0.45),
        ground=Ground(layers=(SoilLayer(permeability=1.1e-17),), bottom=2.0),
        gaps=(SettledGap(name="under all of it", aperture=aperture),),
        channels=(Channel(name="across", points=course, width=CHANNEL, height=0.05),),
    )
    point = SuctionPoint(name="pit", x=1.0, y=0.6, pit=OnConductor(line="across"), vacuum=1.0)
    even = Resolution(
        name="even", cells_per_radius=2.0, line_size=0.05, growth=1.4, largest_inside=0.05
    )
    layout = Layout(name="one", points=(point,))
    case, result = run(site, layout, even, holes=((LONG - 1e-6, 0.6),))
    y = result.solution.response.port_matrix
    pit = result.solution.response.ports.index("pit")
    end = next(iter(result.conditions["today"].test_holes.values()))
    return float(y[pit, pit]) * case.air.viscosity / MU, -end


@functools.cache
def square_house():
    """Pressure over the pit's, 1.5 m from the middle of a square floor of 6 m on deep soil. [-]"""
    site = Site(
        slab=Slab(corners=rectangle(0.0, 0.0, 6.0, 6.0), thickness=0.1, permeability=1e-18),
        walls=FoundationWalls(thickness=0.0, footing_depth=0.0),
        ground=Ground(layers=(SoilLayer(permeability=K),), bottom=25.0),
    )
    bowl = HemisphericalPit(volume=2.0 / 3.0 * math.pi * BOWL**3)
    layout = Layout(
        name="one", points=(SuctionPoint(name="pit", x=3.0, y=3.0, pit=bowl, vacuum=1.0),)
    )
    rough = Resolution(name="rough", cells_per_radius=3.0, line_size=0.1, growth=1.6)
    _, result = run(site, layout, rough, holes=((4.5, 3.0),))
    return -next(iter(result.conditions["today"].test_holes.values()))
