"""Do error bars hold the true value? Soils with exact answers, pits in a floor, whole houses.

    python benchmarks/error_bars.py [--json] [--houses STEM[:RESOLUTION] ...]

A bar comes from three grids of one family, as `soilflow run --error-estimate` makes it. On soils
with exact answers, and on pits in the floor of a house with the grid that a house would get, it is
held against the exact value. On whole houses it is held against the same house with every cell of
the finest grid halved (eight times the cells), and against that value carried on to cells of no
size with the order of an edge, 4/3. "Length" is the true error over the bar: above 1 it lies
outside. Takes two minutes on two idle cores, and two gigabytes.
"""

from __future__ import annotations

import argparse
import functools
import json
import math
import sys
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "reference")]

from exact_cases import DEEP_SOILS, FLAT, house_pit  # noqa: E402
from test_deep_pits import FLOOR, PITS, half_cylinder  # noqa: E402
from test_manufactured import PLANE, plane  # noqa: E402

from soilflow.files.case_toml import read_case  # noqa: E402
from soilflow.files.shipped import shipped_case  # noqa: E402
from soilflow.flow.grid import COARSE, NORMAL  # noqa: E402
from soilflow.layout.pits import BoxPit, HemisphericalPit  # noqa: E402
from soilflow.results.grid_error import bracket  # noqa: E402
from soilflow.results.headlines import headlines  # noqa: E402
from soilflow.run import run_layout  # noqa: E402
from soilflow.studies.error_estimate import resolutions_for_bars, run_with_bars  # noqa: E402

SIZES = (2.0, 4.0 / 3.0, 1.0)
GRIDS = {"coarse": COARSE, "normal": NORMAL}
HOUSES = (
    "long_passage:normal",
    "leaky_joint:coarse",
    "tight_clay:coarse",
    "settled_middle:coarse",
)
EDGE_ORDER = 4.0 / 3.0


@dataclass(frozen=True)
class Trial:
    """One number, its bar, and what it should be."""

    of: str
    what: str
    value: float
    error: float
    order: float
    true: float

    @property
    def length(self) -> float:
        off = abs(self.value - self.true)
        return off / self.error if self.error > 0.0 else math.inf if off > 0.0 else 0.0

    @property
    def relative(self) -> float:
        return self.error / abs(self.true) if self.true else math.nan


def trial(of: str, what: str, values: list[float], true: float) -> Trial:
    bar = bracket(SIZES, values)
    return Trial(of, what, bar.value, bar.error, bar.order, true)


def exact_soils() -> list[Trial]:
    found = []
    for finer in (1.0, 1.3, 1.7, 2.2):
        for name, (soil, exact) in {**FLAT, **DEEP_SOILS}.items():
            grids = [soil(quarters, finer) for quarters in (2, 3, 4)]
            for what, true in exact().items():
                found.append(
                    trial(f"{name}, cells / {finer:g}", what, [g[what] for g in grids], true)
                )
    return found


def manufactured() -> list[Trial]:
    """Integrals of even powers of a chosen field over the unit square, by Simpson's rule."""
    s = np.linspace(0.0, 1.0, 2001)
    weight = np.where(np.arange(2001) % 2, 4.0, 2.0) / 6000.0
    weight[[0, -1]] = 1.0 / 6000.0
    field = PLANE.pressure(s[:, None], s[None, :], 0.0)
    found = []
    for power in (2, 4, 6):
        true = float(weight @ field**power @ weight)
        for cells in (10, 20):
            values = [
                float(np.sum(a.found**power * a.size))
                for a in (plane(cells * quarters // 2) for quarters in (2, 3, 4))
            ]
            found.append(
                trial(f"chosen field, {2 * cells} cells", f"sum of p^{power}", values, true)
            )
    return found


def pits_in_a_floor() -> list[Trial]:
    found = []
    for grid in (COARSE, NORMAL):
        for at in ((5.0, 5.0), (4.37, 5.21), (4.1, 4.7)):
            pits = {
                name: (p.body(*at, FLOOR), half_cylinder(0.5 * p.diameter, p.depth))
                for name, p in PITS.items()
            }
            bowl = HemisphericalPit(volume=0.0378541)
            pits["bowl"] = (bowl.body(*at, FLOOR), 2.0 * math.pi * bowl.free_radius)
            box = BoxPit(length=0.4, width=0.4, depth=0.2)
            pits["box"] = (box.body(*at, FLOOR), 1.660465)  # see tests/reference/test_pits.py
            for name, (body, true) in pits.items():
                make = functools.partial(house_pit, finer=1.0, body=body, resolution=grid)
                values = [make(quarters)["flow"] for quarters in (2, 3, 4)]
                found.append(trial(f"{name} at {at}, {grid.name}", "flow", values, true))
    return found


def house(stem: str, name: str) -> tuple[list[Trial], list[Trial], int]:
    """Bars of a house against its halved cells, and against those carried on."""
    case = read_case(shipped_case(stem)).with_resolution(GRIDS[name])
    barred = run_with_bars(case)
    halved = replace(resolutions_for_bars(GRIDS[name])[-1], splits=1)
    fine = run_layout(case.with_resolution(halved))
    points = [point.name for point in barred.arrangement.points]
    near, far = [], []
    for condition, there in fine.conditions.items():
        bars = barred.conditions[condition].bars
        for what, by_label in headlines(there, points).items():
            for label, value in by_label.items():
                bar = bars[what][label]
                seen = Trial(
                    f"{stem}, {name}, {condition}",
                    f"{what} {label}".strip(),
                    bar.value,
                    bar.error,
                    bar.order,
                    float(value),
                )
                carried = value + (value - bar.value) / (2.0**EDGE_ORDER - 1.0)
                near.append(seen)
                far.append(replace(seen, true=float(carried)))
    return near, far, barred.solution.soil.grid.cells


def summary(title: str, trials: list[Trial]) -> str:
    lengths = np.sort([t.length for t in trials])
    bars = [t.relative for t in trials if math.isfinite(t.relative)]
    outside = int((lengths > 1.0).sum())
    return (
        f"{title:<46} {len(trials):>5} {outside:>8} {100 * outside / len(trials):>6.1f} "
        f"{np.median(lengths):>8.2f} {lengths[-1]:>8.2f} {100 * np.median(bars):>8.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--houses", nargs="*", default=list(HOUSES), metavar="STEM[:RESOLUTION]")
    options = parser.parse_args()
    groups = {
        "soils with exact answers": exact_soils(),
        "a chosen field": manufactured(),
        "pits in a floor, grid of a house": pits_in_a_floor(),
    }
    near, far = [], []
    for given in options.houses:
        stem, _, name = given.partition(":")
        one, other, cells = house(stem, name or "normal")
        groups[f"{stem}, {name or 'normal'}, {cells} cells, halved"] = one
        near += one
        far += other
    if near:
        groups["all houses, halved"], groups["all houses, carried on to no size"] = near, far
    if options.json:
        print(json.dumps({k: [asdict(t) for t in v] for k, v in groups.items()}, indent=1))
        return
    print(f"{'':<46} {'bars':>5} {'outside':>8} {'%':>6} {'median':>8} {'longest':>8} {'bar':>8}")
    print(f"{'':<46} {'':>5} {'':>8} {'':>6} {'length':>8} {'length':>8} {'%':>8}")
    for title, trials in groups.items():
        print(summary(title, trials))
    print("\noutside:")
    for title, trials in groups.items():
        if title != "all houses, halved":
            for t in trials:
                if t.length > 1.0:
                    print(
                        f"  {t.of}: {t.what} {t.value:.5g} +- {t.error:.2g}, true {t.true:.5g}, "
                        f"order {t.order:.2f}"
                    )


if __name__ == "__main__":
    main()
