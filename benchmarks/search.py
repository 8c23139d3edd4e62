"""All layouts of four pits out of sixty places, ranked through the fan curve: how long, how right.

    python benchmarks/search.py [--places N] [--pits N]

On `cases/perimeter_or_centre.toml`, two buckets at each place. Reported: candidate solves, ranking
of every layout, time for one layout beside one unit field of the same grid, and the winner and the
next four solved in full with all their pits dug, on the normal grid.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from soilflow.case import Case
from soilflow.conditions import DESIGN
from soilflow.files.case_toml import read_case
from soilflow.layout.pits import HemisphericalPit
from soilflow.run import run_layout
from soilflow.studies.candidates import Candidates, candidates_of
from soilflow.studies.influence import common_grid, influence_of
from soilflow.studies.layout_ranking import rank_layouts
from soilflow.studies.searched_pipes import drive_tables, searched_layout, usual_riser

CASE = Path(__file__).parents[1] / "cases" / "perimeter_or_centre.toml"
PIT = HemisphericalPit(volume=0.0378541)  # two buckets of 5 US gal


def places(case: Case, count: int) -> Candidates:
    """So many candidates, spread as evenly as a spacing allows."""
    for spacing in np.arange(2.0, 0.8, -0.02):
        found = candidates_of(case, pit=PIT, spacing=float(spacing), wall_spacing=float(spacing))
        free = [i for i in range(len(found)) if not found.clash[i, :i].any()]
        if len(free) >= count:
            pick = np.linspace(0, len(free) - 1, count).round().astype(int)
            return found.chosen([free[i] for i in pick])
    raise SystemExit(f"no spacing gives {count} places")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--places", type=int, default=60)
    parser.add_argument("--pits", type=int, default=4)
    asked = parser.parse_args()
    case = read_case(CASE)
    candidates = places(case, asked.places)
    cells = common_grid(case, candidates).cells
    begun = time.perf_counter()
    influence = influence_of(case, candidates)
    solving = time.perf_counter() - begun
    day = next(c for c in case.conditions if c.name == DESIGN)
    own, riser = case.layouts[0], usual_riser(case)
    assert own.fan is not None
    begun = time.perf_counter()
    kept = influence.candidates.kept
    tables = drive_tables(case, day, kept, fan=own.fan, pipes=own.pipes, riser=riser)
    u = influence.reference_u(case.reference_pressures(day))
    ranked = rank_layouts(influence, tables, u, asked.pits)
    ranking = time.perf_counter() - begun
    whole = math.comb(len(kept), asked.pits)
    field, one = solving / len(kept) / 2.0, ranking / max(ranked.seen, 1)
    print(f"{len(kept)} places on {cells} cells; {whole} layouts of {asked.pits} pits, {ranked}")
    print(f"candidate solves {solving:.1f} s, ranking {ranking:.1f} s")
    print(
        f"a layout {1e6 * one:.1f} us, half a candidate's solve {field:.2f} s: 1/{field / one:.0f}"
    )
    print(f"{'layout':<44} {'sums':>8} {'in full':>8}  worst margin, Pa")
    alone = replace(case, conditions=(day,), test_holes=())
    for indices, margin in zip(ranked.indices[:5], ranked.margins, strict=False):
        chosen = [kept[i] for i in indices]
        name = ", ".join(c.name for c in chosen)
        layout = searched_layout(name, chosen, fan=own.fan, pipes=own.pipes, riser=riser)
        full = run_layout(alone, layout, baseline=False).conditions[DESIGN]
        print(f"{name:<44} {margin:8.2f} {full.worst.margin:8.2f}")


if __name__ == "__main__":
    main()
