"""All shipped cases on one sheet: the soil under each floor, and its suction on the design day.

    python benchmarks/contact_sheet.py [--out FILE] [--resolution coarse]

Draws the first layout of every case on the site as written. Not a measurement: a look at whether
every case still says what its file means.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

from soilflow.conditions import DESIGN
from soilflow.files.case_toml import read_case
from soilflow.flow.grid import COARSE, FINE, NORMAL
from soilflow.output.pressure_figure import plot_pressure_plan
from soilflow.output.soil_figure import plot_soil_plan
from soilflow.run import run_layout

CASES = Path(__file__).parents[1] / "cases"
RESOLUTIONS = {r.name: r for r in (COARSE, NORMAL, FINE)}
_DPI = 95  # legible, and with few colours small enough to lie beside the cases
_COLOURS = 48


def draw_case(path: Path, resolution: str, soil_ax: Axes, pressure_ax: Axes) -> None:
    """Draw one case.

    Parameters
    ----------
    path : Path
        The case file.
    resolution : str
        Name of the grid.
    soil_ax, pressure_ax : matplotlib.axes.Axes
        Where soil and suction go.
    """
    case = read_case(path).with_resolution(RESOLUTIONS[resolution])
    result = run_layout(case, baseline=False)
    plot_soil_plan(result.solution.soil, case.site, result.arrangement, ax=soil_ax)
    plot_pressure_plan(result, condition=DESIGN, ax=pressure_ax)
    soil_ax.set_title(f"{path.stem}: soil", fontsize=10)
    pressure_ax.set_title(f"{result.layout}: winter", fontsize=10)


def sheet(resolution: str) -> Figure:
    """Draw all cases.

    Parameters
    ----------
    resolution : str
        Name of the grid.

    Returns
    -------
    figure : matplotlib.figure.Figure
        Two cases in a row, soil left of suction.
    """
    paths = sorted(CASES.glob("*.toml"))
    figure = Figure(figsize=(23.0, 4.4 * math.ceil(len(paths) / 2)), layout="constrained")
    axes = figure.subplots(math.ceil(len(paths) / 2), 4).ravel().tolist()
    for path in paths:
        draw_case(path, resolution, axes.pop(0), axes.pop(0))
    for ax in axes:
        ax.set_visible(False)
    return figure


def main() -> None:
    """Draw the sheet and say where it is."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--out", type=Path, default=Path("contact_sheet.png"))
    parser.add_argument("--resolution", choices=sorted(RESOLUTIONS), default="coarse")
    told = parser.parse_args()
    sheet(told.resolution).savefig(told.out, dpi=_DPI)
    with Image.open(told.out) as drawn:
        few = drawn.convert("RGB").quantize(_COLOURS)
    few.save(told.out, optimize=True)
    print(f"{told.out}: {told.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
