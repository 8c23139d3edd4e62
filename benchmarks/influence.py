"""Are sums of single pits as good as solves with all pits dug? On every shipped case.

    python benchmarks/influence.py [--json] [STEM ...]

Candidates of two buckets stand every 4 ft over the floor and along the walls. From each case come
five layouts: the two that stand closest, two, three and four spread over the floor, and one alone.
Every pit is held at the vacuum at which the sums cover four fifths of the floor, where coverage
hangs on it most, at least 5 Pa and at most 2 kPa. The same layouts are then solved with all pits
dug, on the common grid, which leaves only what pits do to one another's surroundings, and on the
normal grid that a run would take, which adds the size of cells. "Flow" is the pit that is farthest
off, "sum" all together, "area" the worst of coverage at 1 and 5 Pa and along the walls. Takes a
minute on two busy cores and up to a gigabyte for each case.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]

from soilflow.case import Case  # noqa: E402
from soilflow.conditions import Condition  # noqa: E402
from soilflow.files.case_toml import read_case  # noqa: E402
from soilflow.flow.grid import NORMAL, Grid  # noqa: E402
from soilflow.layout.layout import Layout  # noqa: E402
from soilflow.layout.pits import HemisphericalPit  # noqa: E402
from soilflow.results.coverage import STRIP, coverage  # noqa: E402
from soilflow.run import run_layout  # noqa: E402
from soilflow.site.effects import HOUSE  # noqa: E402
from soilflow.site.plan import wall_strip  # noqa: E402
from soilflow.studies.candidates import Candidates, candidates_of  # noqa: E402
from soilflow.studies.influence import (  # noqa: E402
    Influence,
    LayoutFlows,
    common_grid,
    influence_of,
)

PIT = HemisphericalPit(volume=0.0378541)  # two buckets of 5 US gal
LEAST, MOST, WANTED = 5.0, 2000.0, 0.8
SIDE = f"{'flow':>6} {'sum':>6} {'area':>6} {'margin':>7}"
SIDE_UNITS = f"{'%':>6} {'%':>6} {'points':>6} {'Pa':>7}"
HEAD = f"{'case':<20} {'pits':<23} {'apart':>5} {'held':>6} {'cover':>6} {'margin':>8}"
UNITS = f"{'':<20} {'':<23} {'radii':>5} {'Pa':>6} {'%':>6} {'Pa':>8}"


@dataclass(frozen=True)
class Apart:
    """How far the sums are from one full solve: worst pit, all pits, coverage, margin."""

    flow: float
    total: float
    area: float
    margin: float


@dataclass(frozen=True)
class Row:
    """One layout of one case."""

    case: str
    pits: str
    radii: float
    vacuum: float
    covered: float
    margin: float
    common: Apart
    normal: Apart


def layouts(candidates: Candidates) -> list[tuple[int, ...]]:
    """The closest pair that may be dug; two, three and four far apart; one alone."""
    at = np.array([(c.x, c.y) for c in candidates.kept])
    away = np.hypot(*(at[:, None] - at[None, :]).T)
    free = np.where(candidates.clash | np.eye(len(at), dtype=bool), np.inf, away)
    found = [tuple(int(i) for i in np.unravel_index(np.argmin(free), free.shape))]
    usable = np.where(candidates.clash, -1.0, away)
    for start, count in ((0, 2), (len(at) // 2, 3), (len(at) // 3, 4)):
        chosen = [start]
        while len(chosen) < count:
            least = usable[chosen].min(axis=0)
            # not the farthest of all, which would always be the corners
            order = np.argsort(least)
            chosen.append(int(order[int(0.8 * (len(order) - 1))]))
        found.append(tuple(chosen))
    return [*found, (len(at) - 1,)]


def held(
    influence: Influence, at: tuple[int, ...], condition: Condition
) -> tuple[float, LayoutFlows]:
    """The vacuum at which the sums cover what is wanted, and what they say there."""
    pressures = influence.case.reference_pressures(condition)
    low, high = LEAST, MOST
    for _ in range(20):
        vacuum = float(np.sqrt(low * high))
        answer = influence.solve_layout(at, pressures, vacuums=np.full(len(at), vacuum))
        if coverage(influence.floor_pressure(answer, room=HOUSE), 1.0) < WANTED:
            low = vacuum
        else:
            high = vacuum
    return vacuum, answer


def apart(
    influence: Influence,
    answer: LayoutFlows,
    vacuum: float,
    grid: Grid | None,
    condition: Condition,
) -> tuple[Apart, float, float]:
    """The sums against a solve with all pits dug; its coverage and margin."""
    case = influence.case.with_resolution(NORMAL)
    points = tuple(
        replace(influence.candidates.kept[i].point, vacuum=vacuum) for i in answer.indices
    )
    run = run_layout(case, Layout(name="all", points=points), grid=grid, baseline=False)
    full = run.conditions[condition.name]
    point = full.operating_point
    flows = np.array([point.flows[point.port_names.index(p.name)] for p in points])
    strip = wall_strip(case.site.slab.polygon, case.site.slab.walls, STRIP)
    floor = influence.floor_pressure(answer, room=HOUSE)
    shares = [
        coverage(floor, 1.0) - full.coverage_area[1.0],
        coverage(floor, 5.0) - full.coverage_area[5.0],
        coverage(floor, 1.0, strip=strip) - full.coverage_perimeter[1.0],
    ]
    off = answer.flows / flows - 1.0
    margin = influence.worst_margins(answer)[HOUSE].margin
    return (
        Apart(
            flow=100.0 * float(off[np.argmax(np.abs(off))]),
            total=100.0 * float(answer.flows.sum() / flows.sum() - 1.0),
            area=100.0 * max(shares, key=abs),
            margin=margin - full.worst.margin,
        ),
        full.coverage_area[1.0],
        full.worst.margin,
    )


def measure(stem: str, case: Case) -> list[Row]:
    every = candidates_of(case, pit=PIT)
    grid, tried = common_grid(case, every), layouts(every)
    used = sorted({i for at in tried for i in at})
    start = time.perf_counter()
    influence = influence_of(case, every.chosen(used), grid=grid)
    spent = time.perf_counter() - start
    print(
        f"# {stem}: {len(every)} candidates, {grid.cells} cells, {spent / len(used):.2f} s "
        f"for each solved, at most {influence.iterations} iterations, reciprocal to "
        f"{influence.reciprocity:.0e}",
        file=sys.stderr,
    )
    condition = next(c for c in case.conditions if c.name == "design_winter")
    rows = []
    for some in tried:
        at = tuple(used.index(i) for i in some)
        chosen = [influence.candidates.kept[i] for i in at]
        vacuum, answer = held(influence, at, condition)
        common, covered, margin = apart(influence, answer, vacuum, grid, condition)
        normal, _, _ = apart(influence, answer, vacuum, None, condition)
        gaps = [np.hypot(a.x - b.x, a.y - b.y) for i, a in enumerate(chosen) for b in chosen[:i]]
        rows.append(
            Row(
                case=stem,
                pits=" ".join("wall" if "wall" in c.place else "floor" for c in chosen),
                radii=min(gaps, default=np.nan) / PIT.free_radius,
                vacuum=vacuum,
                covered=covered,
                margin=margin,
                common=common,
                normal=normal,
            )
        )
    return rows


def line(row: Row) -> str:
    sides = (
        f"{a.flow:>6.2f} {a.total:>6.2f} {a.area:>6.2f} {a.margin:>7.3f}"
        for a in (row.common, row.normal)
    )
    return (
        f"{row.case:<20} {row.pits:<23} {row.radii:>5.1f} {row.vacuum:>6.0f} "
        f"{100 * row.covered:>6.1f} {row.margin:>8.3f}   {'   '.join(sides)}"
    )


def summary(rows: list[Row]) -> list[str]:
    """How many layouts keep the bounds a search asks for."""
    found = []
    for name in ("common", "normal"):
        sides = [getattr(row, name) for row in rows]
        found.append(
            f"{name} grid: {len(rows)} layouts, "
            f"{sum(abs(a.flow) <= 1.0 for a in sides)} with every flow within 1 %, "
            f"{sum(abs(a.total) <= 1.0 for a in sides)} with their sum, "
            f"{sum(abs(a.area) <= 1.0 for a in sides)} with coverage within a point; median flow "
            f"{np.median([abs(a.flow) for a in sides]):.2f} %"
        )
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("stems", nargs="*", metavar="STEM")
    options = parser.parse_args()
    stems = options.stems or sorted(path.stem for path in (ROOT / "cases").glob("*.toml"))
    rows = []
    if not options.json:
        print(f"{'':<76}{'common grid':<30}normal grid")
        print(f"{HEAD}   {SIDE}   {SIDE}", f"{UNITS}   {SIDE_UNITS}   {SIDE_UNITS}", sep="\n")
    for stem in stems:
        for row in measure(stem, read_case(ROOT / "cases" / f"{stem}.toml")):
            rows.append(row)
            if not options.json:
                print(line(row), flush=True)
    if options.json:
        print(json.dumps([asdict(row) for row in rows], indent=1))
    else:
        print("", *summary(rows), sep="\n")


if __name__ == "__main__":
    main()
