"""One held cell of a grid, deep inside or beside sealed planes."""

import math

import numpy as np
from scipy.special import gamma

from problems.soils import MU, layer, plane_grid, solve_soil
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import Ball, Brick, Cylinder, HeldBody, Outside

K = 1e-12
# e^-gamma / (2 sqrt 2): Peaceman 1978, SPE J. 18:183, from memory
PLANE = 0.1985059
# Watson's integral in Gamma functions (Glasser & Zucker 1977, from memory): 0.2527310
G0 = (
    math.sqrt(6.0)
    / (192.0 * math.pi**3)
    * float(gamma(1 / 24) * gamma(5 / 24) * gamma(7 / 24) * gamma(11 / 24))
)
POINT = 0.25e-9


def centred(size, reach):
    """Edges of equal cells, one of them centred on zero."""
    n = math.ceil(reach / size) + 2
    return size * (np.arange(-n, n + 2) - 0.5)


def from_wall(size, reach):
    return size * np.arange(math.ceil(reach / size) + 3)


def plane_radius(kind, reach, hx=1.0, hy=1.0, block=False):
    """Equivalent radius of one cell in plan: deep inside, at a sealed edge, or in a corner."""
    x = from_wall(hx, reach) if kind == "corner" else centred(hx, reach)
    y = centred(hy, reach) if kind == "deep" else from_wall(hy, reach)
    cx = 0.5 * hx if kind == "corner" else 0.0
    cy = 0.0 if kind == "deep" else 0.5 * hy
    angle = {"deep": 2.0, "edge": 1.0, "corner": 0.5}[kind] * math.pi
    if block:
        low = (cx - 0.5 * hx, cy - 0.5 * hy, 0.0)
        body = Brick(low=low, high=(cx + 0.5 * hx, cy + 0.5 * hy, 1.0))
    else:
        body = Cylinder(centre=(cx, cy), radius=POINT, top=0.0, bottom=1.0)
    circle = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=reach, top=0.0, bottom=1.0))
    held = [HeldBody(port="cell", body=body), HeldBody(port="far", body=circle)]
    answer = solve_soil(plane_grid(x, y, 1.0), [layer(K, 0.0, 1.0)], held)
    flow = answer.flow("cell", {"cell": -1.0, "far": 0.0}) * MU / K
    return reach * math.exp(-angle / flow)


def corner_weights(hx, hy):
    """Potential kernel of the lattice one step along x, along y and along the diagonal.

    Known exactly: with conductances hy/hx and hx/hy it is the resistance between neighbours,
    atan(c) / (pi c'), and 1 / pi on the diagonal (McCrea & Whipple 1940, from memory).
    """
    return (
        hx / hy * math.atan(hy / hx) / math.pi,
        hy / hx * math.atan(hx / hy) / math.pi,
        1.0 / math.pi,
    )


def lattice_radius(kind, hx, hy):
    """Radius of a cell at an edge or in a corner: its images are one step away.

    ln(r / r_deep) = W / 2 times the sum of the kernel over the images, W the angle of soil.
    """
    deep = math.exp(-np.euler_gamma) / 4.0 * math.hypot(hx, hy)
    along_x, along_y, diagonal = corner_weights(hx, hy)
    if kind == "edge":
        return deep * math.exp(math.pi * along_y)
    return deep * math.exp(0.5 * math.pi * (along_x + along_y + diagonal))


def space_radius(under_slab, block, reach=12.0):
    """Equivalent radius of one cubic cell of size one, deep inside or touching a sealed slab."""
    x = centred(1.0, reach)
    n = math.ceil(reach) + 2
    z = np.arange(0.0, n + 1 if under_slab else 2 * n + 2)
    cz = 0.5 if under_slab else n + 0.5
    if block:
        body = Brick(low=(-0.5, -0.5, cz - 0.5), high=(0.5, 0.5, cz + 0.5))
    else:
        body = Ball(centre=(0.0, 0.0, cz), radius=POINT)
    middle = (0.0, 0.0, 0.0 if under_slab else cz)
    held = [
        HeldBody(port="cell", body=body),
        HeldBody(port="far", body=Outside(inner=Ball(centre=middle, radius=reach))),
    ]
    answer = solve_soil(Grid(x=x, y=x, z=z), [layer(K, 0.0, 99.0)], held)
    flow = answer.flow("cell", {"cell": -1.0, "far": 0.0}) * MU / K
    angle = 2.0 * math.pi if under_slab else 4.0 * math.pi
    return 1.0 / (angle / flow + 1.0 / reach)
