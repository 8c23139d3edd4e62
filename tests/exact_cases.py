"""Soils whose flow, pressure or coverage is known exactly, on grids that differ only in size.

Each function takes the number of quarters of its cells (see `soilflow.flow.grid.graded_edges`)
and how much smaller all cells are to be, and gives the numbers found; beside it in `FLAT` and
`DEEP_SOILS` stands a function that gives what they tend to. Sources of those values stand at the
tests in tests/reference that hold the same soils.
"""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
from scipy.special import ellipk
from shapely.geometry import box
from small_soils import MU, beyond, layer, plane_grid, slab_body, solve_soil

from soilflow.flow.analytic import (
    flow_leaky_de_glee,
    pressure_leaky_de_glee,
    pressure_shell,
)
from soilflow.flow.grid import NORMAL, Grid, graded_edges, grid_for
from soilflow.layout.bodies import Ball, Brick, Cylinder, HeldBody, Outside
from soilflow.results.coverage import covered_area
from soilflow.results.floor import floor_response
from soilflow.site.effects import (
    BlocksFace,
    LeaksAlongLine,
    LeaksOverArea,
    MultipliesPermeability,
    Prism,
)

K = 1e-12
DEEP = 1e14  # so much air that u is p to rounding


def edges(lines, sources, rate, quarters, finer, largest=()):
    """Graded edges, every size over ``finer``. [m]"""
    return graded_edges(
        lines,
        [(a, b, h / finer) for a, b, h in sources],
        math.exp(rate / finer),
        [(a, b, h / finer) for a, b, h in largest],
        quarters=quarters,
    )


def capped(lines):
    """One more cell past the end, to hold a boundary."""
    return beyond(lines, 0.5)


def sealed_slab():
    plan = box(-99.0, -99.0, 99.0, 99.0)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=0.0, reference="house", floor=True)


def on_axis(answer, values, distance):
    """Pressure along the first row of cells, interpolated in ln r. [Pa]"""
    row = answer.cells(values)[:, 0, 0]
    r = np.hypot(answer.soil.grid.centres(0), answer.soil.grid.centres(1)[0])
    have = np.isfinite(row)
    return float(np.interp(math.log(distance), np.log(r[have]), row[have]))


def area_covered(answer, values, threshold):
    floor = floor_response(answer.soil, answer.network, answer.response)
    held = np.array([values[port] for port in answer.response.ports])
    return 4.0 * float(covered_area(floor.pressure(held, DEEP), threshold).sum())


def upright(radius, top=0.0, bottom=1.0):
    return Cylinder(centre=(0.0, 0.0), radius=radius, top=top, bottom=bottom)


# --- plan: a round pit in a round disk


def disk(quarters, finer, pit=0.15, far=5.0):
    e = capped(
        edges([0.0, far], [(0.0, 1.25 * pit, pit / 5), (far, far, 0.16)], 0.2, quarters, finer)
    )
    held = [
        HeldBody(port="pit", body=upright(pit)),
        HeldBody(port="far", body=Outside(inner=upright(far))),
    ]
    answer = solve_soil(plane_grid(e, e, 1.0), [layer(K, 0.0, 1.0), sealed_slab()], held)
    values = {"pit": -250.0, "far": 0.0, "house": 0.0}
    found = {"flow": 4.0 * answer.flow("pit", values) * MU / K / 250.0}
    for r in (0.5, 1.0, 2.0, 3.0):
        found[f"p at {r:g} m"] = on_axis(answer, values, r)
    for t in (5.0, 20.0, 50.0, 100.0):
        found[f"share at {t:g} Pa"] = area_covered(answer, values, t) / (math.pi * far**2)
    return found


def disk_exact(pit=0.15, far=5.0):
    log = math.log(far / pit)
    return (
        {"flow": 2.0 * math.pi / log}
        | {f"p at {r:g} m": -250.0 * math.log(far / r) / log for r in (0.5, 1.0, 2.0, 3.0)}
        | {f"share at {t:g} Pa": (pit / far) ** (2.0 * t / 250.0) for t in (5, 20, 50, 100)}
    )


def square(quarters, finer, pit=0.15, half=5.0):
    e = capped(edges([0.0, half], [(0.0, 1.25 * pit, pit / 5)], 0.2, quarters, finer))
    held = [HeldBody(port="pit", body=upright(pit))]
    held += [slab_body("far", axis, half, 99.0) for axis in (0, 1)]
    answer = solve_soil(plane_grid(e, e, 1.0), [layer(K, 0.0, 1.0)], held)
    return {"flow": 4.0 * answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K}


def square_exact(pit=0.15, half=5.0):
    conformal = 8.0 * half * math.sqrt(math.pi) / math.gamma(0.25) ** 2
    return {"flow": 2.0 * math.pi / math.log(conformal / pit)}


def leaky(quarters, finer, pit=0.15, end=20.0):
    """A thin layer under a leaky slab, without end."""
    e = edges([0.0, end], [(0.0, 1.25 * pit, pit / 5)], 0.2, quarters, finer)
    slab = dataclasses.replace(sealed_slab(), leakance=5e-12)
    held = [HeldBody(port="pit", body=upright(pit, bottom=0.01))]
    answer = solve_soil(plane_grid(e, e, 0.01), [layer(2e-9, 0.0, 0.01), slab], held)
    values = {"pit": -200.0, "house": 0.0}
    through_slab = math.pi * pit**2 * 5e-12 / MU * 200.0
    found = {"flow": (4.0 * answer.flow("pit", values) - through_slab) * MU}
    for r in (1.0, 3.0, 6.0):
        found[f"p at {r:g} m"] = on_axis(answer, values, r)
        p = abs(float(pressure_leaky_de_glee(r, pit, 2.0, 200.0)))
        found[f"area within {r:g} m"] = area_covered(answer, values, p)
    return found


def leaky_exact(pit=0.15):
    found = {"flow": flow_leaky_de_glee(pit, 2e-11, 5e-12, 200.0, MU) * MU}
    for r in (1.0, 3.0, 6.0):
        found[f"p at {r:g} m"] = float(pressure_leaky_de_glee(r, pit, 2.0, 200.0))
        found[f"area within {r:g} m"] = math.pi * r**2
    return found


# --- section: walls, pipes, slots, patches


def under_wall(quarters, finer, depth=0.5):
    """Past a thin wall between two open surfaces; its tip is singular."""
    half = edges([0.0, 6.0], [(0.0, 0.1, 0.06)], 0.2, quarters, finer)
    z = edges([0.0, depth, 1.0], [(depth, depth, 0.06)], 0.2, quarters, finer)
    grid = Grid(x=np.concatenate([-half[:0:-1], half]), y=np.array([0.0, 1.0]), z=z)
    wall = BlocksFace(start=(0.0, 0.0), end=(0.0, 1.0), top=0.0, bottom=depth)
    open_ground = [
        LeaksOverArea(
            plan=box(a, -99.0, b, 99.0), depth=0.0, leakance=math.inf, reference=reference
        )
        for reference, a, b in (("left", -99.0, 0.0), ("right", 0.0, 99.0))
    ]
    answer = solve_soil(grid, [layer(K, 0.0, 1.0), wall, *open_ground], [])
    return {"flow": answer.flow("right", {"left": 0.0, "right": -1.0}) * MU / K}


def under_wall_exact(depth=0.5):
    squared = math.sin(0.5 * math.pi * depth) ** 2
    return {"flow": float(ellipk(1.0 - squared) / (2.0 * ellipk(squared)))}


def pipe(quarters, finer, reach=15.0):
    """A long pipe 0.5 m below open ground."""
    x = edges([0.0, reach], [(0.0, 0.06, 0.0125)], 0.2, quarters, finer)
    y = edges([0.0, reach], [(0.44, 0.56, 0.0125)], 0.2, quarters, finer)
    y = np.concatenate([[-1.0], y])
    body = Cylinder(centre=(0.0, 0.5), radius=0.05, top=0.0, bottom=1.0)
    held = [HeldBody(port="pit", body=body), slab_body("open", 1, -9.0, 0.0)]
    answer = solve_soil(plane_grid(x, y, 1.0), [layer(K, 0.0, 1.0)], held)
    return {"flow": 2.0 * answer.flow("pit", {"pit": -1.0, "open": 0.0}) * MU / K}


def pipe_exact():
    # a sealed ring 15 m off: an image would be 30 times farther than the open ground
    return {"flow": 2.0 * math.pi / math.acosh(10.0)}


def slot(quarters, finer, aperture=1e-3, open_floor=False):
    """A slot in a corner or in open floor; the far edge a square of 2 m."""
    e = capped(edges([0.0, 2.0], [(0.0, 0.0, 0.04)], 0.3, quarters, finer))
    x = np.concatenate([-e[:0:-1], e]) if open_floor else e
    held = [slab_body("far", 2, 2.0, 99.0), slab_body("far", 0, 2.0, 99.0)]
    if open_floor:
        held.append(slab_body("far", 0, -99.0, -2.0))
    leak = LeaksAlongLine(
        name="slot",
        start=(0.0, 0.0),
        end=(0.0, 1.0),
        inward=(1, 0),
        aperture=aperture,
        path=0.1,
        reference="house",
    )
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=e)
    answer = solve_soil(grid, [layer(1e-11, 0.0, 99.0), leak], held)
    return {"flow": answer.flow("house", {"house": -1.0, "far": 0.0})}


def slot_exact(aperture=1e-3, open_floor=False):
    radius, angle = (0.25 * aperture, math.pi) if open_floor else (0.5 * aperture, 0.5 * math.pi)
    conformal = 16.0 * math.sqrt(math.pi) / math.gamma(0.25) ** 2
    soil = MU * math.log(conformal / radius) / (1e-11 * angle)
    return {"flow": 1.0 / (soil + 12.0 * MU * 0.1 / aperture**3)}


def checkerboard(quarters, finer):
    e = edges([0.0, 0.5, 1.0], [(0.0, 1.0, 1.0 / 32)], 0.2, quarters, finer)
    x = np.concatenate([[-1.0], e, [2.0]])
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 1.0, 9.0)]
    patches = [
        MultipliesPermeability(where=Prism(plan=plan, top=0.0, bottom=1.0), factor=0.1)
        for plan in (box(0.0, 0.0, 0.5, 0.5), box(0.5, 0.5, 1.0, 1.0))
    ]
    answer = solve_soil(plane_grid(x, e, 1.0), [layer(K, 0.0, 1.0), *patches], held)
    return {"flow": answer.flow("east", {"west": 0.0, "east": -1.0}) * MU / K}


def strip(quarters, finer, length=6.0):
    """A leaky strip from a held line to a sealed end: cosh((L - x) / 2) / cosh(L / 2)."""
    x = edges([0.0, length], [(0.0, 0.0, 0.1)], 0.2, quarters, finer, [(-9.0, 9.0, 0.4)])
    slab = dataclasses.replace(sealed_slab(), leakance=5e-12)
    grid = Grid(x=np.insert(x, 0, -1.0), y=np.array([0.0, 1.0]), z=np.array([0.0, 0.01]))
    leak_free = dataclasses.replace(slab, plan=box(0.0, -9.0, 99.0, 9.0))
    held = [slab_body("pit", 0, -9.0, 0.0)]
    answer = solve_soil(grid, [layer(2e-9, 0.0, 0.01), leak_free], held)
    values = {"pit": -200.0, "house": 0.0}
    row = answer.cells(values)[:, 0, 0]
    have = np.isfinite(row)
    at = answer.soil.grid.centres(0)[have]
    found = {"flow": answer.flow("pit", values) * MU}
    for x_at in (1.0, 3.0, 5.0):
        found[f"p at {x_at:g} m"] = -math.exp(np.interp(x_at, at, np.log(-row[have])))
    return found


def strip_exact(length=6.0):
    found = {"flow": 2e-11 * 200.0 / 2.0 * math.tanh(length / 2.0)}
    for x_at in (1.0, 3.0, 5.0):
        found[f"p at {x_at:g} m"] = (
            -200.0 * math.cosh((length - x_at) / 2.0) / math.cosh(length / 2.0)
        )
    return found


def layers(quarters, finer):
    """Three layers in series: exact on any grid."""
    ends = (0.0, 0.3, 0.8, 1.0)
    z = edges(ends, [(0.3, 0.3, 0.05)], 0.3, quarters, finer)
    z = np.concatenate([[-1.0], z, [2.0]])
    soil = [layer(K, -9.0, 9.0)]
    soil += [layer(k, a, b) for k, a, b in zip((1e-11, K, 5e-12), ends, ends[1:], strict=False)]
    held = [slab_body("from", 2, -9.0, 0.0), slab_body("to", 2, 1.0, 9.0)]
    line = np.array([0.0, 1.0])
    answer = solve_soil(Grid(x=line, y=line, z=z), soil, held)
    return {"flow": answer.flow("to", {"from": 0.0, "to": -1.0}) * MU}


def layers_exact():
    return {"flow": 1.0 / (0.3 / 1e-11 + 0.5 / K + 0.2 / 5e-12)}


# --- in space


def shell(quarters, finer, pit=0.25, far=5.0, cells=4.0):
    """A bowl in a hemisphere of soil."""
    e = edges([0.0, far], [(0.0, 1.2 * pit, pit / cells)], 0.34, quarters, finer)
    e = beyond(e, e[-1] - e[-2])
    ball = functools.partial(Ball, centre=(0.0, 0.0, 0.0))
    held = [
        HeldBody(port="pit", body=ball(radius=pit)),
        HeldBody(port="far", body=Outside(inner=ball(radius=far))),
    ]
    answer = solve_soil(Grid(x=e, y=e, z=e), [layer(K, 0.0, 99.0)], held)
    values = {"pit": -250.0, "far": 0.0}
    row, centres = answer.cells(values)[:, 0, 0], answer.soil.grid.centres(0)
    r = np.sqrt(centres**2 + 2.0 * centres[0] ** 2)
    have = np.isfinite(row)
    found = {"flow": 4.0 * answer.flow("pit", values) * MU / K / 250.0}
    for at in (0.5, 1.0, 2.0):
        found[f"p at {at:g} m"] = float(np.interp(-1.0 / at, -1.0 / r[have], row[have]))
    return found


def shell_exact(pit=0.25, far=5.0):
    found = {"flow": 2.0 * math.pi / (1.0 / pit - 1.0 / far)}
    return found | {
        f"p at {at:g} m": float(pressure_shell(at, pit, far, 250.0)) for at in (0.5, 1.0, 2.0)
    }


def box_pit(quarters, finer, end=4.0):
    """Half a cube of 0.4 m; its edges are singular."""
    sources = [(0.0, 0.3, 0.05), (0.2, 0.2, 0.025)]
    e = edges([0.0, 0.2, end], sources, 0.3, quarters, finer)
    e = beyond(e, e[-1] - e[-2])
    far = Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=end))
    cube = Brick(low=(-0.2, -0.2, -0.2), high=(0.2, 0.2, 0.2))
    held = [HeldBody(port="pit", body=cube), HeldBody(port="far", body=far)]
    answer = solve_soil(Grid(x=e, y=e, z=e), [layer(K, 0.0, 99.0)], held)
    seen = 4.0 * answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K
    return {"flow": 1.0 / (1.0 / seen + 1.0 / (2.0 * math.pi * end))}


def box_pit_exact():
    return {"flow": 1.660465}


def ball_below_ground(quarters, finer):
    x = edges([0.0, 8.0], [(0.0, 0.17, 0.0375)], 0.3, quarters, finer)
    z = edges([0.0, 8.0], [(0.33, 0.67, 0.0375)], 0.3, quarters, finer)
    plan = box(-99.0, -99.0, 99.0, 99.0)
    ground = LeaksOverArea(plan=plan, depth=0.0, leakance=math.inf, reference="open")
    pit = HeldBody(port="pit", body=Ball(centre=(0.0, 0.0, 0.5), radius=0.15))
    answer = solve_soil(Grid(x=x, y=x, z=z), [layer(K, 0.0, 8.0), ground], [pit])
    return {"flow": 4.0 * answer.flow("pit", {"pit": -1.0, "open": 0.0}) * MU / K}


def ball_below_ground_exact():
    return {"flow": 2.218956}


def house_pit(quarters, finer, body=None, radius=0.26, at=(5.0, 5.0), resolution=NORMAL):
    """A pit under a sealed floor on the grid that a house would get, with its far field."""
    floor = LeaksOverArea(
        plan=box(0.0, 0.0, 10.0, 10.0), depth=0.0, leakance=0.0, reference="house"
    )
    effects = [layer(K, 0.0, 8.0), floor]
    body = body or Ball(centre=(*at, 0.0), radius=radius)
    pit = HeldBody(port="pit", body=body)
    resolution = dataclasses.replace(
        resolution,
        quarters=quarters,
        cells_per_radius=resolution.cells_per_radius * finer,
        line_size=resolution.line_size / finer,
        growth=resolution.growth ** (1.0 / finer),
    )
    far = Outside(inner=Ball(centre=(5.0, 5.0, 0.0), radius=4.9))
    held = [pit, HeldBody(port="far", body=far)]
    answer = solve_soil(grid_for(effects, [pit], resolution), effects, held)
    seen = answer.flow("pit", {"pit": -1.0, "far": 0.0, "house": 0.0}) * MU / K
    return {"flow": 1.0 / (1.0 / seen + 1.0 / (2.0 * math.pi * 4.9))}


def near_wall(quarters, finer, distance=0.6, end=6.0):
    """A bowl near a sealed wall."""
    pit = 0.25
    fine = (distance - 0.3, distance + 0.3, pit / 4)
    x = edges([0.0, distance, end], [fine], 0.3, quarters, finer)
    y = edges([0.0, end], [(0.0, 0.3, pit / 4)], 0.3, quarters, finer)
    x, y = (beyond(e, e[-1] - e[-2]) for e in (x, y))
    far = Outside(inner=Ball(centre=(0.0, 0.0, 0.0), radius=end))
    body = Ball(centre=(distance, 0.0, 0.0), radius=pit)
    held = [HeldBody(port="pit", body=body), HeldBody(port="far", body=far)]
    answer = solve_soil(Grid(x=x, y=y, z=y), [layer(K, 0.0, 99.0)], held)
    seen = 2.0 * answer.flow("pit", {"pit": -1.0, "far": 0.0}) * MU / K
    return {"flow": 1.0 / (1.0 / seen + 1.0 / (math.pi * end))}


def near_wall_exact():
    return {"flow": 1.302050}


FLAT = {  # name: the soil, what is known of it
    "disk": (disk, disk_exact),
    "square": (square, square_exact),
    "leaky layer": (leaky, leaky_exact),
    "strip": (strip, strip_exact),
    "layers": (layers, layers_exact),
    "pipe": (pipe, pipe_exact),
    "checkerboard": (checkerboard, lambda: {"flow": math.sqrt(0.1)}),
    **{
        f"wall {depth:g}": (
            functools.partial(under_wall, depth=depth),
            functools.partial(under_wall_exact, depth=depth),
        )
        for depth in (0.25, 0.5, 0.75)
    },
    **{
        f"slot {aperture:g} {'floor' if open_floor else 'corner'}": (
            functools.partial(slot, aperture=aperture, open_floor=open_floor),
            functools.partial(slot_exact, aperture=aperture, open_floor=open_floor),
        )
        for aperture in (1e-4, 3e-4, 1e-3)
        for open_floor in (False, True)
    },
}
DEEP_SOILS = {
    "bowl": (shell, shell_exact),
    "box": (box_pit, box_pit_exact),
    "ball": (ball_below_ground, ball_below_ground_exact),
    "near wall": (near_wall, near_wall_exact),
}
