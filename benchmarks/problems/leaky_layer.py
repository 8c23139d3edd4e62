"""A thin layer or a settled gap around a round pit, leaky through the slab above it."""

import functools
import math

import numpy as np
from shapely.geometry import box

from problems.soils import MU, beyond, even_edges, growing_edges, layer, solve_soil
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.results.floor import floor_response
from soilflow.site.effects import CarriesAlongSheet, LeaksOverArea
from soilflow.soil import cubic_law_transmissivity

PIT, VACUUM, LEAKANCE = 0.15, 200.0, 5e-13 / 0.10
TRANSMISSIVITY = 2e-11
HELD = {"pit": -VACUUM, "house": 0.0}


def slab():
    return LeaksOverArea(
        plan=box(-99.0, -99.0, 99.0, 99.0),
        depth=0.0,
        leakance=LEAKANCE,
        reference="house",
        floor=True,
    )


def round_pit(bottom):
    body = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=bottom)
    return HeldBody(port="pit", body=body)


def plan_edges(end):
    return growing_edges(0.0, 0.1875, PIT / 8.0, 1.14, end)


@functools.cache
def thin_layer(end, circle):
    """A centimetre of k = 2e-9 m2; a quarter of the plan, with a round open edge or none."""
    x = beyond(plan_edges(end), 0.5) if circle else plan_edges(end)
    held = [round_pit(0.01)]
    if circle:
        inner = Cylinder(centre=(0.0, 0.0), radius=end, top=0.0, bottom=0.01)
        held.append(HeldBody(port="edge", body=Outside(inner=inner)))
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.01]))
    return solve_soil(grid, [layer(TRANSMISSIVITY / 0.01, 0.0, 0.01), slab()], held)


def rim_flow(answer, values):
    """Flow through the pit's rim: what the slab passes into the pit itself taken out.

    That part is the slab's leakance times the pit's area, by geometry.
    """
    through_slab = math.pi * PIT**2 * LEAKANCE / MU * VACUUM
    return 4.0 * answer.flow("pit", values) - through_slab


def on_axis(answer, values, distance):
    """Pressure along the first row of cells, interpolated."""
    row = answer.cells(values)[:, 0, 0]
    r = np.hypot(answer.soil.grid.centres(0), answer.soil.grid.centres(1)[0])
    have = np.isfinite(row)
    return np.interp(math.log(distance), np.log(r[have]), row[have])


@functools.cache
def sealed_disk():
    """A rim that floats: on a circle around the pit the pressure is one value.

    So a body at no net flow changes nothing there that a sealed edge would not. The slab above
    that body would vent it and is taken out. Gives the answer and the values of its ports.
    """
    fine = np.linspace(4.0, 5.2, 49)
    x = np.concatenate([plan_edges(4.0), fine[1:]])
    inner = Cylinder(centre=(0.0, 0.0), radius=5.0, top=0.0, bottom=0.01)
    held = [round_pit(0.01), HeldBody(port="beyond", body=Outside(inner=inner))]
    grid = Grid(x=x, y=x, z=np.array([0.0, 0.01]))
    answer = solve_soil(grid, [layer(2e-9, 0.0, 0.01), slab()], held)
    y = answer.response.port_matrix
    p, b, h = (answer.response.ports.index(name) for name in ("pit", "beyond", "house"))
    direct = answer.network.direct[b, h]
    return answer, {**HELD, "beyond": y[b, p] * -VACUUM / -(y[b, b] - direct)}


def floor_of(answer, values):
    """Pressure under the slab, without compression, as these closed forms are."""
    floor = floor_response(answer.soil, answer.network, answer.response)
    return floor.pressure(np.array([values[port] for port in answer.response.ports]), 1e14)


@functools.cache
def gap_over_tight_soil(aperture, end=20.0):
    """A gap of one height over soil that passes a millionth of what the gap does."""

    def transmissivity(x, y):
        return np.full(x.shape, cubic_law_transmissivity(aperture, 0.0))

    sheet = CarriesAlongSheet(plan=box(-99.0, -99.0, 99.0, 99.0), transmissivity=transmissivity)
    grid = Grid(x=plan_edges(end), y=plan_edges(end), z=even_edges(0.0, 0.2, 2))
    return solve_soil(grid, [layer(2e-17, 0.0, 0.2), slab(), sheet], [round_pit(0.2)])


def in_gap_at(answer, distance):
    """Pressure in the gap's first row of cells, interpolated."""
    nodes = np.array([HELD[p] for p in answer.response.ports]) @ answer.response.unit_fields
    row = answer.network.sheet_node[:, 0]
    x = answer.soil.grid.centres(0)
    have = row >= 0
    r = np.hypot(x[have], answer.soil.grid.centres(1)[0])
    return np.interp(math.log(distance), np.log(r), nodes[row[have]])
