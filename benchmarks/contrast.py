"""Houses whose conductances lie many decades apart: does each one converge, and is it right.

    python benchmarks/contrast.py [--set rough|coarse|normal] [--first 0] [--count 48] [--json]

Latin-hypercube houses: slabs of 1.2 to 60 m, one to twenty pits, four zones of soil and a slab
each of its own permeability, soil from 1.01e-17 to 1e-6 m2 (half of the zones at either end), gaps
of 0.01 to 10 mm, joints of 0.01 to 3 mm, and in every second house a random field over four
decades on top. Each must converge in fewer than 100 iterations with its flows balanced to 1e-8.

Up to 45,000 unknowns the same network is solved directly too: a sparse factor, refined in
extended precision on sums over edges until it stands still. ``field`` is the largest difference of
a unit field from that, ``Y`` the largest relative one on the port matrix's diagonal, ``flow`` the
largest one of a face sum relative to the root of the two diagonal entries.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import diags
from scipy.sparse.linalg import splu
from scipy.stats import qmc

from soilflow.errors import BalanceError, ConvergenceError
from soilflow.flow.grid import COARSE, NORMAL, Resolution, grid_for
from soilflow.flow.response import BALANCE, respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.site import (
    FloorWallJoint,
    FoundationWalls,
    Ground,
    Patch,
    RandomSoil,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)

MU = 1.78e-5  # air at 10 C [Pa s]
MOST_ITERATIONS = 100
LARGEST_DIRECT = 45_000
ROUGH = Resolution(
    name="rough",
    cells_per_radius=1.5,
    line_size=0.15,
    growth=2.5,
    largest_inside=2.0,
    largest_outside=6.0,
    largest_down=2.0,
)
# resolution, widest slab [m], most pits: what a few minutes allow
SETS = {
    "rough": (ROUGH, 60.0, 20),
    "coarse": (COARSE, 30.0, 10),
    "normal": (NORMAL, 15.0, 5),
}
SEED = 2025
LOWEST, HIGHEST = math.log10(1.01e-17), -6.0  # soil, decades of m2


def between(share: float, low: float, high: float) -> float:
    """Even in the logarithm."""
    return float(low * (high / low) ** share)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def zone(share: float) -> float:
    """Every second zone lies at one end of the range, the others anywhere between. [m2]"""
    inner = min(max(2.0 * share - 0.5, 0.0), 1.0)
    return 10.0 ** (LOWEST + (HIGHEST - LOWEST) * inner)


def house(share: NDArray[np.float64], widest: float, most: int) -> tuple[Site, Layout]:
    """One house from thirteen numbers between 0 and 1."""
    s = [float(v) for v in share]
    width = between(s[0], 1.2, widest)
    depth = width * (0.5 + 0.5 * s[1])
    soil = [zone(v) for v in s[2:6]]
    gaps = ()
    if s[6] > 0.25:
        corners = None
        if s[7] > 0.5:
            corners = rectangle(0.2 * width, 0.2 * depth, 0.9 * width, 0.7 * depth)
        aperture = between((s[6] - 0.25) / 0.75, 1e-5, 1e-2)
        gaps = (SettledGap(name="gap", aperture=aperture, corners=corners),)
    random_soil = None
    if s[10] > 0.5:
        length = max(0.3, width / 6.0)
        random_soil = RandomSoil(
            sigma=math.log(1e4) / 4.0, lengths=(length, length, 0.5), seed=int(1e6 * s[10])
        )
    left = rectangle(-0.1 * width, -0.1 * depth, 0.45 * width, 0.6 * depth)
    right = rectangle(0.55 * width, 0.3 * depth, 1.2 * width, 0.8 * depth)
    site = Site(
        slab=Slab(
            corners=rectangle(0.0, 0.0, width, depth),
            thickness=0.1,
            permeability=between(s[12], 1e-20, 1e-12),
        ),
        walls=FoundationWalls(thickness=0.2, footing_depth=0.45, grade=1.5 if s[1] < 0.5 else 0.0),
        ground=Ground(
            layers=(SoilLayer(permeability=soil[0]), SoilLayer(permeability=soil[1], top=1.0)),
            bottom=4.0,
        ),
        patches=(
            Patch(name="left", corners=left, permeability=soil[2], bottom=0.6),
            Patch(name="right", corners=right, permeability=soil[3], top=0.2, bottom=1.5),
        ),
        gaps=gaps,
        joints=(
            FloorWallJoint(
                aperture=between(s[8], 1e-5, 3e-3), walls=() if s[9] > 0.3 else ("south",)
            ),
        ),
        random_soil=random_soil,
    )
    return site, pits(width, depth, round(between(s[11], 1.0, most)))


def pits(width: float, depth: float, count: int) -> Layout:
    """So many bowls on a lattice, as large as their part of the floor lets them be."""
    along = max(1, math.ceil(math.sqrt(count * width / depth)))
    across = math.ceil(count / along)
    radius = min(0.2, 0.25 * min(width / along, depth / across))
    pit = HemisphericalPit(volume=2.0 / 3.0 * math.pi * radius**3)
    points = tuple(
        SuctionPoint(
            name=f"P{i}",
            x=round((i % along + 0.5) * width / along, 3),
            y=round((i // along + 0.5) * depth / across, 3),
            pit=pit,
            vacuum=500.0,
        )
        for i in range(count)
    )
    return Layout(name="all", points=points)


def network_of(site: Site, layout: Layout, resolution: Resolution) -> SoilNetwork:
    held = layout.held_bodies(site.slab.polygon)
    effects = site.effects()
    grid = grid_for(effects, held, resolution)
    return build_soil_network(build_soil_map(grid, effects, held), MU)


def extended_sum(index: NDArray[Any], values: NDArray[Any], size: int) -> NDArray[Any]:
    out = np.zeros(size, dtype=np.longdouble)
    np.add.at(out, index, values)
    return out


def direct(network: SoilNetwork) -> tuple[NDArray[Any], NDArray[Any]]:
    """Unit fields and face sums from a sparse factor, refined in extended precision."""
    matrix = network.matrix()
    scale = 1.0 / np.sqrt(matrix.diagonal())
    factor = splu(
        (diags(scale) @ matrix @ diags(scale)).tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    n, ports = network.nodes, len(network.ports)
    i, j = network.edges.T
    t, g = (v.astype(np.longdouble) for v in (network.conductance, network.port_conductance))
    fields, faces = [], []
    for port in range(ports):
        x = np.zeros(n, dtype=np.longdouble)
        held = (network.port == port).astype(np.longdouble)
        for _ in range(20):
            flux, inward = t * (x[j] - x[i]), g * (held - x[network.port_node])
            left = extended_sum(i, flux, n) - extended_sum(j, flux, n)
            left += extended_sum(network.port_node, inward, n)
            step = scale * factor.solve(np.asarray(scale * left, dtype=float))
            x += step
            if np.abs(step).max() < 1e-17:
                break
        else:
            raise SystemExit(f"the direct solve of {network!r} does not stand still")
        fields.append(x)
        inward = g * (held - x[network.port_node])
        faces.append(extended_sum(network.port, inward, ports))
    own = np.diag(network.direct.sum(axis=1)) - network.direct
    return np.array(fields), np.array(faces) + own


def measure(site: Site, layout: Layout, resolution: Resolution) -> dict[str, Any]:
    network = network_of(site, layout, resolution)
    every = np.concatenate([network.conductance, network.port_conductance])
    row: dict[str, Any] = {
        "width": site.slab.corners[1][0],
        "pits": len(layout.points),
        "cells": network.nodes,
        "contrast": float(every.max() / every.min()),
    }
    began = time.perf_counter()
    try:
        found = respond(network)
    except (ConvergenceError, BalanceError) as err:
        return {**row, "refused": str(err)}
    row["seconds"] = time.perf_counter() - began
    row |= {
        "iterations": found.iterations,
        "balance": found.balance,
        "estimate": max(r.error for r in found.reports),
        "partition": found.partition,
    }
    if network.nodes <= LARGEST_DIRECT:
        fields, exact = direct(network)
        size = np.diag(exact)
        root = np.sqrt(np.outer(size, size))
        row |= {
            "field": float(np.abs(found.unit_fields - fields).max()),
            "Y": float((np.abs(np.diag(found.port_matrix) - size) / size).max()),
            "flow": float((np.abs(found.face_matrix - exact) / root).max()),
        }
    return row


def kept(row: dict[str, Any]) -> bool:
    """Whether a house met the bounds."""
    solved = "refused" not in row
    return solved and row["iterations"] < MOST_ITERATIONS and row["balance"] <= BALANCE


def line(number: int, row: dict[str, Any]) -> str:
    if "refused" in row:
        return (
            f"{number:>5} {row['width']:>6.1f} {row['pits']:>5} {row['cells']:>7} {row['refused']}"
        )
    shown = [f"{number:>5} {row['width']:>6.1f} {row['pits']:>5} {row['cells']:>7}"]
    shown.append(f"{row['contrast']:>9.0e} {row['iterations']:>10} {row['balance']:>8.0e}")
    shown.append(f"{BALANCE:>7.0e} {row['estimate']:>9.0e} {row['seconds']:>8.2f}")
    shown += [
        f"{row[name]:>7.0e}" if name in row else f"{'-':>7}" for name in ("field", "Y", "flow")
    ]
    return " ".join([*shown, "kept" if kept(row) else "BROKEN"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--set", default="rough", choices=sorted(SETS))
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=48)
    options = parser.parse_args()
    resolution, widest, most = SETS[options.set]
    shares = qmc.LatinHypercube(13, seed=SEED).random(48)
    if not options.json:
        print(
            f"{options.set:>6} {'m':>6} {'pits':>5} {'cells':>7} {'contrast':>9} "
            f"{'iterations':>10} {'balance':>8} {'bound':>7} {'estimate':>9} {'seconds':>8} "
            f"{'field':>7} {'Y':>7} {'flow':>7}"
        )
    rows = []
    for number in range(options.first, min(options.first + options.count, len(shares))):
        row = measure(*house(shares[number], widest, most), resolution)
        rows.append(row)
        if not options.json:
            print(line(number, row), flush=True)
    if options.json:
        print(json.dumps(rows, indent=1))
    if not all(kept(row) for row in rows):
        raise SystemExit("a house did not keep to the bounds")


if __name__ == "__main__":
    main()
