"""A hair of a gap beats a yard of soil: the cubic law.

    python cases/teaching/gap_cubed.py

Air in a gap between slab and soil flows as between two plates: transmissivity b^3 / 12 (Poiseuille;
for rock joints Witherspoon et al. 1980, from memory). Twice the height carries eight times the air.
The soil below carries its permeability times its depth. Where the two lines cross, the gap takes
over.
"""

import numpy as np
from matplotlib.figure import Figure
from shapely.geometry import box

from soilflow.flow.analytic import flow_darcy, shape_factor_radial_thiem
from soilflow.flow.grid import Grid, graded_edges
from soilflow.flow.response import respond
from soilflow.flow.soil_map import build_soil_map
from soilflow.flow.soil_network import build_soil_network
from soilflow.layout.bodies import Cylinder, HeldBody, Outside
from soilflow.site.effects import CarriesAlongSheet, LeaksOverArea, Prism, SetsPermeability

PIT, FAR, DEPTH = 0.15, 5.0, 1.0  # [m]
SOIL, VISCOSITY, VACUUM = 1e-12, 1.81e-5, 250.0  # [m2], [Pa s], [Pa]
SEE = "Twice the gap carries eight times the air; a millimetre of it is worth 83 m of this soil."


def flow(aperture):
    """Air drawn by a pit through a gap over a layer of soil. [m3/s]"""
    edges = graded_edges([0.0, FAR + 0.4], [(0.0, 1.25 * PIT, PIT / 5)], 1.25, [(0.0, 9.0, 0.4)])
    plan = box(-9.0, -9.0, 9.0, 9.0)
    body = Cylinder(centre=(0.0, 0.0), radius=PIT, top=0.0, bottom=DEPTH)
    rim = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=FAR, top=0.0, bottom=DEPTH))
    where = Prism(plan=plan, top=0.0, bottom=DEPTH)
    sheet = CarriesAlongSheet(
        plan=plan, transmissivity=lambda x, y: np.full(np.shape(x), aperture**3 / 12.0)
    )
    slab = LeaksOverArea(plan=plan, depth=0.0, leakance=0.0, reference="house", floor=True)
    soil = build_soil_map(
        Grid(x=edges, y=edges, z=np.array([0.0, DEPTH])),
        [SetsPermeability(where=where, horizontal=SOIL, vertical=SOIL), slab, sheet],
        [HeldBody(port="pit", body=body), HeldBody(port="far", body=rim)],
    )
    response = respond(build_soil_network(soil, VISCOSITY))
    row = response.ports.index("pit")
    return 4.0 * VACUUM * float(response.port_matrix[row, row])


def by_formula(transmissivity):
    """The same by Thiem's formula, for a layer of some permeability times height. [m3/s]"""
    shape = shape_factor_radial_thiem(1.0, PIT, FAR)
    return flow_darcy(shape, transmissivity, VACUUM, VISCOSITY)


def draw():
    """Flow over the height of the gap, both axes logarithmic."""
    solved = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2]) * 1e-3
    b = np.geomspace(0.05e-3, 4e-3, 100)
    figure = Figure(figsize=(7.5, 4.6), layout="constrained")
    ax = figure.add_subplot()
    ax.loglog(1e3 * b, [by_formula(x**3 / 12.0) for x in b], "k--", label="gap alone, b$^3$/12")
    ax.axhline(by_formula(SOIL * DEPTH), color="k", linestyle=":", label="1 m of soil alone")
    ax.loglog(
        1e3 * solved, [flow(x) for x in solved], "o", color="0.4", label="solver: gap and soil"
    )
    ax.set_xticks([0.05, 0.1, 0.2, 0.5, 1.0, 2.0], labels=["0.05", "0.1", "0.2", "0.5", "1", "2"])
    ax.minorticks_off()
    ax.set_ylim(1e-6, None)
    ax.set_xlabel("height of the gap [mm]")
    ax.set_ylabel("flow [m$^3$/s]")
    ax.legend(loc="upper left")
    figure.suptitle(SEE, fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("gap_cubed.png", dpi=110)
