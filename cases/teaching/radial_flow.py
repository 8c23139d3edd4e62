"""Air drawn to a pit from all sides: each ring further out costs as much suction as the last.

    python cases/teaching/radial_flow.py

A round pit cut through a layer that is sealed above and below, open at a circle far away. Darcy's
law and the same flow through every ring make suction fall with the logarithm of the distance
(Thiem 1906, from memory). The solver should find that line without being told.
"""

import math

import numpy as np
from matplotlib.figure import Figure
from shapely.geometry import box

from soilflow.flow.analytic import (
    flow_darcy,
    pressure_radial_thiem,
    shape_factor_radial_thiem,
)
from soilflow.flow.grid import Grid, graded_edges
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.site.effects import Prism, SetsPermeability

PIT, FAR, THICKNESS = 0.15, 5.0, 0.30  # [m]
SOIL, VISCOSITY, VACUUM = 1e-11, 1.81e-5, 250.0  # [m2], [Pa s], [Pa]
SEE = "Each tenfold distance costs the same suction: on a log axis the curve is a straight line."


def solve(cells_per_radius=6):
    """Distances and suctions of all cells of a quarter plan, and the pit's flow."""
    size = PIT / cells_per_radius
    edges = graded_edges([0.0, FAR + 0.3], [(0.0, 1.25 * PIT, size)], 1.15, [(0.0, 9.0, 0.3)])
    grid = Grid(x=edges, y=edges, z=np.array([0.0, THICKNESS]))
    layer = Prism(plan=box(-9.0, -9.0, 9.0, 9.0), top=0.0, bottom=THICKNESS)
    pit = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=THICKNESS)
    rim = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=FAR, top=0.0, bottom=THICKNESS))
    soil = build_soil_map(
        grid,
        [SetsPermeability(where=layer, horizontal=SOIL, vertical=SOIL)],
        [HeldBody(port="pit", body=pit), HeldBody(port="far", body=rim)],
    )
    network = build_soil_network(soil, VISCOSITY)
    response = respond(network)
    pit_row = response.ports.index("pit")
    nodes = np.append(VACUUM * response.unit_fields[pit_row], np.nan)
    suction = nodes[network.cell_node][:, :, 0]
    distance = np.hypot(grid.centres(0)[:, None], grid.centres(1)[None, :])
    seen = np.isfinite(suction)
    flow = 4.0 * VACUUM * response.port_matrix[pit_row, pit_row]
    return distance[seen], suction[seen], flow


def draw():
    """Suction against distance, the cells as dots and the formula as a line."""
    distance, suction, flow = solve()
    r = np.geomspace(PIT, FAR, 200)
    exact = flow_darcy(shape_factor_radial_thiem(THICKNESS, PIT, FAR), SOIL, VACUUM, VISCOSITY)
    formula = [-pressure_radial_thiem(x, PIT, FAR, VACUUM) for x in r]
    figure = Figure(figsize=(7.5, 4.6), layout="constrained")
    ax = figure.add_subplot()
    ax.semilogx(distance, suction, "o", color="0.55", markersize=3, label="cells of the solver")
    ax.semilogx(r, formula, "k-", label="Thiem's formula")
    ax.set_xticks([0.15, 0.5, 1.5, 5.0], labels=["0.15", "0.5", "1.5", "5"])
    ax.minorticks_off()
    ax.set_xlabel("distance from the middle of the pit [m]")
    ax.set_ylabel("suction [Pa]")
    ax.text(
        0.03,
        0.06,
        f"flow {1000 * flow:.3f} L/s, by the formula {1000 * exact:.3f} L/s\n"
        f"({100 * math.fabs(flow / exact - 1.0):.2f} % apart)",
        transform=ax.transAxes,
    )
    ax.legend(loc="upper right")
    figure.suptitle(SEE, fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("radial_flow.png", dpi=110)
