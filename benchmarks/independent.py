"""Other people's libraries on the same questions: elements, analytic elements, pipes, air.

    python benchmarks/independent.py [--only house|wells|pipes|air] [--json]

    house   a whole house against scikit-fem on a mesh of its own (`house_by_elements.py`),
            three meshes each, taken to cell size zero
    wells   several pits in a thin layer under a leaky slab against TimML (`second_opinions.py`)
    pipes   friction and fittings against other formulas of the fluids package
    air     viscosity and density against CoolProp

Everything printed is computed when it is printed, by the library named beside it. Three minutes
alone on two cores, nearly all of it scikit-fem's, and 5 GB; TimML's line sinks take half a
minute more the first time, when numba compiles them.

On the house without a joint the two programs enclose the truth. For pressures v at the ports let
D(v) = v'Yv, what the flow dissipates. A conforming element's field is one of those among which
the true one dissipates least, so its D is too large. soilflow's face fluxes, carried linearly
through each cell, conserve air and cross no wall; they dissipate (F0^2 + F0 F1 + F1^2) / 3 per
axis where two-point fluxes count (F0^2 + F1^2) / 2, never less; and among such fluxes the true
ones have the least E - 2 v.Q (Thomson), which gives D >= (v.Q)^2 / E >= soilflow's D. So Y of
the elements less Y of soilflow has no negative eigenvalue, whatever the meshes. Boxes and other
edges must lie on grid lines. With a joint soilflow's logarithm is a fit and no bound, and the
order is seen, not proved.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Sequence
from typing import Any

import house_by_elements as houses
import numpy as np
import second_opinions as others
from numpy.typing import NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]

# Orders between that of a flow near the edge of a box, r^(2/3), and that of smooth soil.
LEAST, MOST = 4.0 / 3.0, 2.0
HOUSES = {
    "no joint, no gap": {"gap": False, "joint": False},
    "joint": {"gap": False, "joint": True},
    "joint and settled gap": {"gap": True, "joint": True},
}


def at_zero(sizes: Sequence[float], values: Sequence[float]) -> tuple[float, float, float]:
    """Value at cell size zero, the order it was taken with, and how much the order matters.

    c + a h^p through three meshes, p held between LEAST and MOST.
    """
    h, f = np.asarray(sizes), np.asarray(values)

    def ratio(p: float) -> float:
        return float((h[0] ** p - h[1] ** p) / (h[1] ** p - h[2] ** p))

    def limit(p: float) -> float:
        return float(f[2] - (f[1] - f[2]) / ((h[1] / h[2]) ** p - 1.0))

    wanted = (f[0] - f[1]) / (f[1] - f[2]) if f[1] != f[2] else ratio(MOST)
    if wanted <= ratio(LEAST):
        order = LEAST
    elif wanted >= ratio(MOST):
        order = MOST
    else:
        order = float(brentq(lambda p: ratio(p) - wanted, LEAST, MOST))
    return limit(order), order, abs(limit(LEAST) - limit(MOST))


def compare_house(*, gap: bool, joint: bool) -> dict[str, Any]:
    """Three meshes in each program, both taken to cell size zero."""
    n, splits = (2, 3, 4), (0, 1, 2)
    elements = [houses.solve_skfem(i, gap=gap, joint=joint) for i in n]
    volumes = [houses.solve_soilflow(i, gap=gap, joint=joint) for i in splits]
    rows = []
    for i, name in enumerate(houses.QUANTITIES):
        fem, fem_order, fem_doubt = at_zero([1 / k for k in n], [a.values[i] for a in elements])
        fvm, fvm_order, fvm_doubt = at_zero(
            [2.0**-k for k in splits], [a.values[i] for a in volumes]
        )
        rows.append(
            {
                "quantity": name,
                "skfem": [float(a.values[i]) for a in elements],
                "soilflow": [float(a.values[i]) for a in volumes],
                "skfem_at_zero": fem,
                "soilflow_at_zero": fvm,
                "orders": (fem_order, fvm_order),
                "doubt": fem_doubt + fvm_doubt,
            }
        )
    return {
        "unknowns": {
            "skfem": [a.unknowns for a in elements],
            "soilflow": [a.unknowns for a in volumes],
        },
        "rows": rows,
        "bracket": [bracket(a, b) for a, b in zip(elements, volumes, strict=True)],
    }


def bracket(elements: houses.Answer, volumes: houses.Answer) -> dict[str, float]:
    """Least eigenvalue of the difference of Y over its trace, and what the state dissipates.

    All ports at one pressure dissipate nothing in either: that direction is left out.
    """
    over = elements.port_matrix - volumes.port_matrix
    differences = np.linalg.svd(np.ones((1, len(houses.PORTS))))[2][1:]
    state = np.array(list(houses.STATE.values()))
    least = np.linalg.eigvalsh(differences @ over @ differences.T)[0]
    return {
        "least_eigenvalue": float(least / np.trace(elements.port_matrix)),
        "above_W": float(state @ elements.port_matrix @ state),
        "below_W": float(state @ volumes.port_matrix @ state),
    }


def show_houses(found: dict[str, dict[str, Any]]) -> None:
    """Finest meshes, limits, orders, and by how much the limits differ."""
    for name, one in found.items():
        sizes = {program: " ".join(map(str, n)) for program, n in one["unknowns"].items()}
        print(
            f"house, {name}: scikit-fem {sizes['skfem']} unknowns, soilflow {sizes['soilflow']}\n"
            f"  {'':<18}{'finest meshes':>30}{'at size zero':>32}\n"
            f"  {'':<18}{'scikit-fem':>12}{'soilflow':>10}{'apart':>8}"
            f"{'scikit-fem':>12}{'soilflow':>10}{'apart':>8}{'doubt':>8}  orders"
        )
        for row in one["rows"]:
            show_row(row)
        for level in one["bracket"]:
            above, below = 1e3 * level["above_W"], 1e3 * level["below_W"]
            print(
                f"  dissipated, mW: {below:.3f} by soilflow, {above:.3f} by scikit-fem, their mean "
                f"within {50 * (above - below) / below:.2f} %;\n    least eigenvalue of the "
                f"difference of Y over its trace {level['least_eigenvalue']:+.5f}"
            )
    print(HOUSE_NOTE, flush=True)


def show_row(row: dict[str, Any]) -> None:
    """One flow or pressure; nothing where there is no joint to flow through."""
    flow = row["quantity"].startswith("flow")
    factor = 1e6 if flow else 1.0
    whole = abs(row["skfem_at_zero"]) if flow else max(-p for p in houses.STATE.values())
    if whole == 0.0:
        return
    line = f"  {row['quantity']:<18}"
    for theirs, ours in (
        (row["skfem"][-1], row["soilflow"][-1]),
        (row["skfem_at_zero"], row["soilflow_at_zero"]),
    ):
        apart = 100 * (ours - theirs) / whole
        line += f"{factor * theirs:>12.3f}{factor * ours:>10.3f}{apart:>7.2f}%"
    orders = "{:.2f} {:.2f}".format(*row["orders"])
    print(f"{line}{100 * row['doubt'] / whole:>7.2f}%  {orders}")


HOUSE_NOTE = """\
  Flows in cm3/s out of the soil, apart in per cent of themselves; pressures in Pa, apart in per
  cent of the deepest vacuum. Orders are seen on three meshes and held between 4/3, what the edge
  of a box leaves, and 2; doubt is what both limits would move from one to the other. The finest
  meshes are 1 to 4 % apart in flow because one comes from above and the other from below. Their
  limits are not closer because of the cells along the pits' edges, where the order lies between
  the two, and of those around the slot, where each element is up to three times as wide as its
  neighbour; the next meshes have twice the cells or more. The last point is where the elements
  are widest: three meshes show no order there, and it is the elements that are far off."""


def show_wells(found: dict[str, Any]) -> None:
    """Flows and pressures against both models of TimML."""
    print("four pits in a thin leaky layer, soilflow over TimML's wells and its line sinks")
    for name, word in (("wells", "wells"), ("rings", "rings of line sinks")):
        flows = ", ".join(f"{k} {100 * v:+.2f} %" for k, v in found[name]["flow"].items())
        print(f"  {word:<20} flow {flows}; pressure within {100 * found[name]['pressure']:.3f} %")
    print(WELLS_NOTE, flush=True)


WELLS_NOTE = """\
  Pressures in per cent of the deepest vacuum. To TimML a well is a point: its head is held at one
  place of the rim, and it draws as much from one side as from the other, which a pit among
  others does not; most of that shows at D, whose own flow is small beside its neighbours'. Rings
  of line sinks can differ from side to side; what is left is the polygon and soilflow's cells at
  the rim."""


def show_pipes(friction: dict[str, Any], fittings: dict[str, Any]) -> None:
    """Other formulas over ours; our coefficients among theirs."""
    print("friction factor, other correlation over ours, 4 in bore")
    for name, band in friction.items():
        print(f"  {name:<42} {band['least']:.4f} to {band['most']:.4f}")
    print("fittings, velocity heads at Reynolds number 40 000: ours, and the methods of fluids")
    for name, row in fittings.items():
        low, high = row["least"], row["most"]
        word = "within" if low - 1e-9 <= row["ours"] <= high + 1e-9 else "outside"
        methods = f"{len(row['theirs'])} {'methods' if len(row['theirs']) > 1 else 'method'}"
        print(f"  {name:<30} {row['ours']:.2f} {word:<8} {low:.2f} to {high:.2f}  ({methods})")
    print(PIPES_NOTE, flush=True)


PIPES_NOTE = """\
  Turbulent friction agrees to 2 %: the correlations differ by that much among themselves, and all
  but Churchill's only restate Colebrook's. In transition, which has no single factor, Churchill's
  leaves the laminar law sooner and more steeply than our blend. Fittings are known to a third at
  best, published methods differ by as much; ours for a sharp 45 and a long sweep lie a little
  above all of them. A tee's loss hangs on the share of air from the branch (here 25, 50 and 75 %,
  Crane's), where soilflow has one number; an entry's on how its edge is rounded (here not at all,
  or by D / 50)."""


def show_air(found: dict[str, float]) -> None:
    """Largest differences."""
    print("air, soilflow less CoolProp at most, -20 to 40 C (wet 1 to 24 C), 70 to 103 kPa")
    print("  " + ", ".join(f"{name} {100 * value:.2f} %" for name, value in found.items()))
    print(AIR_NOTE, flush=True)


AIR_NOTE = """\
  Sutherland's law of the 1976 standard atmosphere is a third of a per cent under today's values,
  an ideal gas a tenth over or under; soilflow's air is dry, which saturated air notices most when
  warm and thin."""

PARTS = ("house", "wells", "pipes", "air")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", choices=PARTS, action="append", help="default all")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    compute: dict[str, Callable[[], Any]] = {
        "house": lambda: {name: compare_house(**kind) for name, kind in HOUSES.items()},
        "wells": others.compare_wells,
        "pipes": lambda: (others.compare_friction(), others.compare_fittings()),
        "air": others.compare_air,
    }
    show: dict[str, Callable[[Any], None]] = {
        "house": show_houses,
        "wells": show_wells,
        "pipes": lambda found: show_pipes(*found),
        "air": show_air,
    }
    table = {}
    for part in options.only or PARTS:
        start = time.perf_counter()
        table[part] = compute[part]()
        if not options.json:
            show[part](table[part])
            print(f"  ({time.perf_counter() - start:.0f} s)\n", flush=True)
    if options.json:
        print(json.dumps(table, indent=1))


if __name__ == "__main__":
    main()
