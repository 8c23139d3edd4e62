"""One pit, one grid, three programs: soilflow, a plain FiPy script, scikit-fem with PyAMG.

    python benchmarks/peers.py [--json] [--repeat 3] [--size 150k --size 450k]

Each solve runs in a process of its own, so that its peak memory is its own. The clock starts
after the imports, with the grid lines at hand, and stops at the pit's flow at one pascal:

    soilflow    soil map, network, matrix, multigrid hierarchy, one unit field, flow
    FiPy        mesh, coefficients, matrix, preconditioner, one field, flow
    scikit-fem  mesh, matrix, multigrid hierarchy, one field, flow

All three solve until what leaves the pit and what enters through slab and yard agree to 1e-8.
The box pit and every other edge lie on grid lines, so all three see the same house. FiPy has
soilflow's scheme and must give its flow; scikit-fem has its unknowns at the corners of the cells
and comes from the other side: splitting every cell must bring the two together.
Sizes are cells of the grid, solids and pit included.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# An invented house: floor on grade, loose soil along the footings, a box pit in it.
FLOOR = (11.0, 7.3)  # [m]
WALL, FOOTING, BOTTOM = 0.3, 0.45, 8.0  # wall thickness, footing and soil depth [m]
SOIL, LOOSER, BAND_WIDTH, BAND_DEPTH = 1e-12, 15.0, 0.6, 1.0  # [m2], [-], [m], [m]
LEAKANCE = 2e-13 / 0.1  # slab permeability over thickness [m]
PIT_LOW, PIT_HIGH = (5.3, 0.1, 0.0), (5.8, 0.5, 0.3)  # [m]
MU = 1.81e-5  # [Pa s]

BALANCE = 1e-8
# Cells per pit radius, at walls [m], growth, largest inside, outside and down [m]; every cell
# of that grid is then split once, so that the grid before splitting tells the convergence.
SIZES = {
    "8k": (0.4, 1.0, 12.0, 4.0, 11.0, 4.0),
    "150k": (1.5, 0.13, 2.0, 0.9, 3.0, 2.2),
    "450k": (2.0, 0.08, 1.6, 0.6, 2.0, 1.5),
}
# Faces on grid lines and points on faces are found to within this. [m]
NEAR = 1e-6
# Of the residual, relative to the source; for soilflow, of the estimated error of the pressure.
# With 1e-9 all three still meet the balance, with 1e-8 each misses it at one size or the other by
# a little.
TOLERANCE = 1e-10


def effects_and_pit() -> tuple[Any, Any]:
    """The house as soilflow wants it."""
    from shapely.geometry import box

    from soilflow.layout.bodies import Brick, HeldBody
    from soilflow.site.effects import (
        HOUSE,
        OUTDOORS,
        Blocks,
        LeaksOverArea,
        MultipliesPermeability,
        Prism,
        SetsPermeability,
    )

    world, floor = box(-1e4, -1e4, 1e4, 1e4), box(0.0, 0.0, *FLOOR)
    outer, core = floor.buffer(WALL, join_style="mitre"), floor.buffer(-BAND_WIDTH)
    effects = (
        SetsPermeability(
            where=Prism(plan=world, top=0.0, bottom=BOTTOM), horizontal=SOIL, vertical=SOIL
        ),
        MultipliesPermeability(
            where=Prism(plan=floor.difference(core), top=0.0, bottom=BAND_DEPTH), factor=LOOSER
        ),
        Blocks(where=Prism(plan=outer.difference(floor), top=0.0, bottom=FOOTING)),
        LeaksOverArea(plan=floor, depth=0.0, leakance=LEAKANCE, reference=HOUSE),
        LeaksOverArea(plan=world.difference(outer), depth=0.0, leakance=np.inf, reference=OUTDOORS),
    )
    return effects, HeldBody(port="pit", body=Brick(low=PIT_LOW, high=PIT_HIGH))


def grid_lines(size: str, *, split: bool) -> list[list[float]]:
    """Cell edges along x, y and z, the same for all programs. [m]"""
    from soilflow.flow.grid import Resolution, grid_for

    per_radius, line_size, growth, inside, outside, down = SIZES[size]
    resolution = Resolution(
        name=size,
        cells_per_radius=per_radius,
        line_size=line_size,
        growth=growth,
        largest_inside=inside,
        largest_outside=outside,
        largest_down=down,
    )
    effects, pit = effects_and_pit()
    grid = grid_for(effects, (pit,), resolution)
    return [edges.tolist() for edges in (grid.split() if split else grid).edges]


class Cells:
    """Permeability over that of the core, and what stands where, from nothing but the edges."""

    def __init__(self, edges: list[Array]) -> None:
        dx, dy, dz = np.meshgrid(*(np.diff(e) for e in edges), indexing="ij", sparse=True)
        self.sizes, self.areas = (dx, dy, dz), (dy * dz, dx * dz, dx * dy)
        x, y, z = np.meshgrid(*(0.5 * (e[1:] + e[:-1]) for e in edges), indexing="ij", sparse=True)
        length, width = FLOOR
        inwards = np.minimum(np.minimum(x, length - x), np.minimum(y, width - y))
        self.floor, self.yard = inwards[:, :, 0] > 0.0, inwards[:, :, 0] < -WALL
        self.solid = (inwards < 0.0) & (inwards > -WALL) & (z < FOOTING)
        self.pit = np.asarray(True)
        for at, low, high in zip((x, y, z), PIT_LOW, PIT_HIGH, strict=True):
            self.pit = self.pit & (at > low) & (at < high)
        band = (inwards > 0.0) & (inwards < BAND_WIDTH) & (z < BAND_DEPTH)
        self.k = np.where(self.solid | self.pit, 0.0, np.where(band, LOOSER, 1.0))


# Slab straight over the pit leaks into it and needs no solve. [m]
OVER_PIT = LEAKANCE / SOIL * (PIT_HIGH[0] - PIT_LOW[0]) * (PIT_HIGH[1] - PIT_LOW[1])


def solve_soilflow(edges: list[Array]) -> dict[str, Any]:
    """The library's own hops, for the pit's field alone."""
    import pyamg  # noqa: F401  solve.py imports it when called: an import, not a cost of solving
    import scipy.sparse.linalg  # noqa: F401

    from soilflow.flow.grid import Grid
    from soilflow.flow.soil_map import build_soil_map
    from soilflow.flow.soil_network import build_soil_network
    from soilflow.flow.solve import precondition, solve

    effects, pit = effects_and_pit()
    clock = Clock()
    soil = build_soil_map(Grid(x=edges[0], y=edges[1], z=edges[2]), effects, (pit,))
    clock.lap("map")
    network = build_soil_network(soil, MU)
    clock.lap("network")
    matrix = network.matrix()
    clock.lap("matrix")
    system = precondition(matrix)
    clock.lap("setup")
    number = network.ports.index("pit")
    field, report = solve(system, network.sources()[number], tolerance=TOLERANCE)
    clock.lap("solve")
    held = (network.port == number).astype(float)
    flux = network.port_conductance * (held - field[network.port_node])
    flows = np.bincount(network.port, flux, len(network.ports))
    flow = float(flows[number] + network.direct[number].sum())
    clock.lap("flow")
    return {
        "flow": flow,
        "balance": abs(float(flows.sum())) / flow,
        "iterations": report.iterations,
        "stages": clock.laps,
        "MB": peak(),
        "unit": product_seconds(matrix),
    }


def product_seconds(matrix: Any) -> float:
    """One product of the matrix with a vector, the least of ten batches. [s]"""
    vector = np.random.default_rng(1).random(matrix.shape[0])
    best = np.inf
    for _ in range(10):
        start = time.perf_counter()
        for _ in range(10):
            matrix @ vector
        best = min(best, (time.perf_counter() - start) / 10)
    return best


def solve_fipy(edges: list[Array], *, own: bool = False) -> dict[str, Any]:
    """A script in FiPy's own terms; pit, slab and yard act as sources in the cells beside them."""
    os.environ["FIPY_SOLVERS"] = "scipy"
    sys.argv = sys.argv[:1]  # FiPy reads the command line
    import fipy

    clock = Clock()
    cells = Cells(edges)
    mesh = fipy.Grid3D(*(size.ravel() for size in cells.sizes))
    clock.lap("mesh")
    from_pit, elsewhere = links(cells)
    dead = cells.k == 0.0
    volume = cells.areas[0] * cells.sizes[0]

    def variable(values: Array) -> Any:
        return fipy.CellVariable(mesh=mesh, value=values.ravel(order="F"))

    field = variable(np.zeros(cells.k.shape))
    leak = variable((from_pit + elsewhere) / volume + dead)
    conduction = fipy.DiffusionTerm(coeff=variable(cells.k).harmonicFaceValue)
    equation = fipy.ImplicitSourceTerm(coeff=leak) == conduction + variable(from_pit / volume)
    solver = fipy.LinearPCGSolver(
        tolerance=TOLERANCE,
        criterion="RHS",
        iterations=5000,
        precon=OwnPreconditioner() if own else fipy.SmoothedAggregationPreconditioner(),
    )
    clock.lap("equation")
    equation.solve(var=field, solver=solver)
    clock.lap("matrix and solve")
    value = np.asarray(field.value).reshape(cells.k.shape, order="F")
    out, back = float((from_pit * (1.0 - value)).sum()), float((elsewhere * value).sum())
    clock.lap("flow")
    return {
        "flow": SOIL / MU * (out + OVER_PIT),
        "balance": abs(out - back) / out,
        "iterations": int(solver.convergence.iterations),
        "stages": clock.laps,
        "MB": peak(),
    }


class OwnPreconditioner:
    """What FiPy does not ship: classical multigrid, through the hook its preconditioners use."""

    def _applyToMatrix(self, matrix: Any) -> tuple[Any, None]:
        import pyamg

        hierarchy = pyamg.ruge_stuben_solver(
            matrix.tocsr(),
            max_coarse=500,
            presmoother=("gauss_seidel", {"sweep": "forward"}),
            postsmoother=("gauss_seidel", {"sweep": "backward"}),
        )
        return hierarchy.aspreconditioner(), None


def links(cells: Cells) -> tuple[Array, Array]:
    """Conductances of cells to the pit beside them, and to slab and yard above them. [m]"""
    from_pit, elsewhere = np.zeros(cells.k.shape), np.zeros(cells.k.shape)
    for axis, (size, area) in enumerate(zip(cells.sizes, cells.areas, strict=True)):
        half = np.moveaxis(cells.k * area / (0.5 * size), axis, 0)
        pit, into = np.moveaxis(cells.pit, axis, 0), np.moveaxis(from_pit, axis, 0)
        into[:-1] += np.where(pit[1:], half[:-1], 0.0)
        into[1:] += np.where(pit[:-1], half[1:], 0.0)
    top = (cells.k * cells.areas[2] / (0.5 * cells.sizes[2]))[:, :, 0]
    slab = cells.areas[2][:, :, 0] * LEAKANCE / SOIL
    covered = slab * top / (slab + top)
    elsewhere[:, :, 0] = np.where(cells.floor, covered, np.where(cells.yard, top, 0.0))
    return from_pit, elsewhere


def solve_skfem(edges: list[Array]) -> dict[str, Any]:
    """Trilinear elements on the same cells; pit and yard are held at their nodes."""
    import pyamg
    import skfem
    from scipy.sparse.linalg import cg
    from skfem.helpers import dot, grad

    @skfem.BilinearForm
    def conduction(u: Any, v: Any, w: Any) -> Any:
        return w.k * dot(grad(u), grad(v))

    @skfem.BilinearForm
    def leak(u: Any, v: Any, _: Any) -> Any:
        return LEAKANCE / SOIL * u * v

    clock = Clock()
    cells, whole = Cells(edges), skfem.MeshHex.init_tensor(*edges)
    middle = whole.p[:, whole.t].mean(axis=1)
    place = (np.searchsorted(e, m) - 1 for e, m in zip(edges, middle, strict=True))
    k = cells.k[tuple(place)]
    mesh, k = whole.restrict(np.flatnonzero(k)), k[k > 0.0]
    clock.lap("mesh")
    element = skfem.ElementHex1()
    # two points each way are exact for boxes
    stiffness = conduction.assemble(skfem.Basis(mesh, element, intorder=3), k=k[:, None])
    clock.lap("matrix")
    under_slab = mesh.facets_satisfying(on_slab, boundaries_only=True)
    matrix = stiffness + leak.assemble(
        skfem.FacetBasis(mesh, element, facets=under_slab, intorder=3)
    )
    in_pit, in_yard = held_nodes(mesh.p)
    free = np.flatnonzero(~(in_pit | in_yard))
    inner = matrix[free][:, free].tocsr()
    field = in_pit.astype(float)
    source = -(matrix @ field)[free]
    clock.lap("boundaries")
    hierarchy = pyamg.smoothed_aggregation_solver(inner)
    clock.lap("setup")
    passed: list[None] = []
    field[free], _ = cg(
        inner,
        source,
        rtol=TOLERANCE,
        maxiter=500,
        M=hierarchy.aspreconditioner(),
        callback=lambda _: passed.append(None),
    )
    clock.lap("solve")
    reaction = matrix @ field
    flow = float(reaction[in_pit].sum())
    # what is left over at free nodes is what the pit's flow and the others miss a balance by
    balance = abs(float(reaction[free].sum())) / flow
    clock.lap("flow")
    return {
        "flow": SOIL / MU * (flow + OVER_PIT),
        "balance": balance,
        "iterations": len(passed),
        "stages": clock.laps,
        "MB": peak(),
    }


def on_slab(x: Array) -> Any:
    inside = (x[0] > 0.0) & (x[0] < FLOOR[0]) & (x[1] > 0.0) & (x[1] < FLOOR[1])
    return inside & (np.abs(x[2]) < NEAR)


def held_nodes(x: Array) -> tuple[Any, Any]:
    """Nodes on the faces of the pit, and nodes on the open ground of the yard."""
    low, high = np.array(PIT_LOW)[:, None], np.array(PIT_HIGH)[:, None]
    in_pit = ((x > low - NEAR) & (x < high + NEAR)).all(axis=0)
    outside = np.maximum(np.abs(x[:2].T - 0.5 * np.array(FLOOR)) - 0.5 * np.array(FLOOR), 0.0)
    in_yard = (outside.max(axis=1) > WALL - NEAR) & (np.abs(x[2]) < NEAR)
    return in_pit, in_yard


PROGRAMS: dict[str, Callable[[list[Array]], dict[str, Any]]] = {
    "soilflow": solve_soilflow,
    "fipy": solve_fipy,
    "fipy_own": partial(solve_fipy, own=True),
    "skfem": solve_skfem,
}


class Clock:
    """Seconds by stage, from when it is made."""

    def __init__(self) -> None:
        self.laps: dict[str, float] = {}
        self.last = time.perf_counter()

    def lap(self, stage: str) -> None:
        now = time.perf_counter()
        self.laps[stage], self.last = now - self.last, now


def peak() -> float:
    """Most memory this process ever held, imports included. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measure(program: str, edges: list[list[float]], *, repeat: int = 1) -> dict[str, Any]:
    """The fastest of some runs, each in its own process; the most memory of all of them."""
    runs = []
    for _ in range(repeat):
        child = subprocess.run(
            [sys.executable, __file__, "--program", program],
            input=json.dumps(edges),
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "OMP_NUM_THREADS": os.environ.get("OMP_NUM_THREADS", "1")},
            check=True,
        )
        runs.append(json.loads(child.stdout))
        if not runs[-1]["balance"] <= BALANCE:
            raise SystemExit(f"{program}: flows balance to {runs[-1]['balance']:.1e} only")
    best = min(runs, key=lambda run: sum(run["stages"].values()))
    return {**best, "s": sum(best["stages"].values()), "MB": max(run["MB"] for run in runs)}


def compare(size: str, *, repeat: int = 1) -> dict[str, Any]:
    """All programs on one grid; soilflow and scikit-fem also on the grid before splitting."""
    edges, before = (grid_lines(size, split=split) for split in (True, False))
    found = {name: measure(name, edges, repeat=repeat) for name in PROGRAMS}
    row: dict[str, Any] = {"cells": math.prod(len(e) - 1 for e in edges)}
    for name, run in found.items():
        row |= {f"{name}_s": run["s"], f"{name}_MB": run["MB"]}
    ours = found["soilflow"]
    flows = [found[name]["flow"] for name in ("soilflow", "fipy", "skfem")]
    earlier = [measure(name, before)["flow"] for name in ("soilflow", "skfem")]
    stages = ours["stages"]
    return row | {
        "error": max(flows) / min(flows) - 1.0,
        "error_before_split": max(earlier) / min(earlier) - 1.0,
        "fipy_error": max(abs(found[f]["flow"] / flows[0] - 1.0) for f in ("fipy", "fipy_own")),
        "flows": dict(zip(("soilflow", "fipy", "skfem"), flows, strict=True)),
        "flows_before_split": dict(zip(("soilflow", "skfem"), earlier, strict=True)),
        "work_units": {name: stages[name] / ours["unit"] for name in ("setup", "solve")},
        "runs": found,
    }


def show(size: str, row: dict[str, Any]) -> None:
    flows, earlier = row["flows"], row["flows_before_split"]
    print(f"{size}: {row['cells']} cells")
    for name, run in row["runs"].items():
        stages = ", ".join(f"{stage} {s:.2f}" for stage, s in run["stages"].items())
        print(
            f"  {name:<9} {run['s']:>7.2f} s {run['MB']:>6.0f} MB {run['iterations']:>5} iterations"
            f"  balance {run['balance']:.0e}  {1e6 * run['flow']:.6f} cm3/(s Pa)  ({stages})"
        )
    print(
        f"  largest difference of pit flow {100 * row['error']:.2f} %, before splitting "
        f"{100 * row['error_before_split']:.2f} %; FiPy to soilflow {row['fipy_error']:.0e}\n"
        f"  under splitting soilflow went from {1e6 * earlier['soilflow']:.4f} up to "
        f"{1e6 * flows['soilflow']:.4f}, scikit-fem from {1e6 * earlier['skfem']:.4f} down to "
        f"{1e6 * flows['skfem']:.4f} cm3/(s Pa)\n"
        f"  soilflow in products of its matrix with a vector: setup "
        f"{row['work_units']['setup']:.0f}, one field {row['work_units']['solve']:.0f}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--repeat", type=int, default=3, help="runs of each; the fastest counts")
    parser.add_argument("--size", action="append", choices=sorted(SIZES), help="default 150k, 450k")
    parser.add_argument("--program", choices=sorted(PROGRAMS), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.program:
        edges = [np.array(e) for e in json.load(sys.stdin)]
        print(json.dumps(PROGRAMS[options.program](edges)))
        return
    single = {}
    for size in options.size or ["150k", "450k"]:
        single[size] = compare(size, repeat=options.repeat)
        if not options.json:
            show(size, single[size])
    if options.json:
        largest = max(single.values(), key=lambda row: row["cells"])
        print(json.dumps({"single": single, "work_units": largest["work_units"]}, indent=1))


if __name__ == "__main__":
    main()
