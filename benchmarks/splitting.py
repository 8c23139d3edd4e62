"""What halving every cell changes: pit flows, coverage and joint flow, variant by variant.

    python benchmarks/splitting.py [--json] [--layout NAME] [--resolution coarse]

Prints a table of the shipped case's variants at the chosen resolution and with every cell split.
Bounds that the normal resolution must meet on variants whose gaps do not end on a permeability
edge: pit flow 2 %, covered area 2 points, wall strip 3 points, joint flow 2 %.
Splitting costs eight times the cells: minutes and gigabytes.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from soilflow.case import Case
from soilflow.files.case_toml import read_case
from soilflow.flow.grid import COARSE, FINE, NORMAL
from soilflow.grids import grid_of
from soilflow.results.result import Result
from soilflow.run import run_layout
from soilflow.site.effects import HOUSE

CASE = Path(__file__).parents[1] / "cases" / "perimeter_or_centre.toml"
RESOLUTIONS = {r.name: r for r in (COARSE, NORMAL, FINE)}


@dataclass(frozen=True)
class Row:
    variant: str
    layout: str
    cells: int
    pit_flow_percent: float
    area_points: float
    perimeter_points: float
    joint_flow_percent: float
    margin_Pa: float


def joint_flow(result: Result) -> float:
    """Air drawn through the slots at one pascal in every pit. [m3/s]"""
    network, response = result.solution.network, result.solution.response
    house = network.ports.index(HOUSE)
    pits = [i for i, name in enumerate(network.ports) if name not in (HOUSE, "outdoors")]
    u = -response.unit_fields[pits].sum(axis=0)
    mine = (network.port == house) & (network.port_slot >= 0)
    return float((network.port_conductance[mine] * -u[network.port_node[mine]]).sum())


def compare(case: Case, layout_name: str, variant: str) -> Row:
    case = case.with_variant(variant)
    layout = case.layout(layout_name)
    grid = grid_of(case, [layout])
    coarse = run_layout(case, layout, grid=grid)
    fine = run_layout(case, layout, grid=grid.split())
    changes, area, strip, margin = [], [], [], []
    for name, found in coarse.conditions.items():
        other = fine.conditions[name]
        for t in found.coverage_area:
            area.append(abs(other.coverage_area[t] - found.coverage_area[t]))
            strip.append(abs(other.coverage_perimeter[t] - found.coverage_perimeter[t]))
        margin.append(other.worst.margin - found.worst.margin)
    y, y2 = coarse.solution.response.port_matrix, fine.solution.response.port_matrix
    for i, name in enumerate(coarse.solution.response.ports):
        if name not in (HOUSE, "outdoors"):
            changes.append(abs(y[i, i] / y2[i, i] - 1.0))
    joint = joint_flow(fine)
    joint_change = abs(joint_flow(coarse) / joint - 1.0) if joint > 0.0 else 0.0
    return Row(
        variant=variant or "as written",
        layout=layout.name,
        cells=grid.cells,
        pit_flow_percent=100 * max(changes),
        area_points=100 * max(area),
        perimeter_points=100 * max(strip),
        joint_flow_percent=100 * joint_change,
        margin_Pa=float(max(margin, key=abs)),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--layout", default=None, help="one layout; default all")
    parser.add_argument("--variant", default=None, help="one variant; default all")
    parser.add_argument("--resolution", default="normal", choices=sorted(RESOLUTIONS))
    options = parser.parse_args()
    case = read_case(CASE)
    case = replace(case, resolution=RESOLUTIONS[options.resolution])
    variants = [options.variant] if options.variant is not None else ["", *case.variants]
    layouts = [options.layout] if options.layout else [layout.name for layout in case.layouts]
    rows = []
    if not options.json:
        print(
            f"{'variant':<20} {'layout':<20} {'cells':>8} {'pit flow':>9} {'floor':>8} "
            f"{'strip':>8} {'joint':>8} {'margin':>9}"
        )
        print(f"{'':<20} {'':<20} {'':>8} {'%':>9} {'points':>8} {'points':>8} {'%':>8} {'Pa':>9}")
    for variant in variants:
        for layout in layouts:
            row = compare(case, layout, variant)
            rows.append(row)
            if not options.json:
                print(
                    f"{row.variant:<20} {row.layout:<20} {row.cells:>8} "
                    f"{row.pit_flow_percent:>9.2f} {row.area_points:>8.2f} "
                    f"{row.perimeter_points:>8.2f} {row.joint_flow_percent:>8.2f} "
                    f"{row.margin_Pa:>9.3g}",
                    flush=True,
                )
    if options.json:
        print(json.dumps([row.__dict__ for row in rows], indent=1, default=np.ndarray.tolist))


if __name__ == "__main__":
    main()
