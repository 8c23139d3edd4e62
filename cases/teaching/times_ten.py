"""Ten times the permeability of everything: the same map, ten times the air, a tenth of the wait.

    python cases/teaching/times_ten.py

Darcy's law is linear: multiply soil and slab by one number and every pressure stays. So a map of
suction cannot tell clay from sand. What can is the flow, and how long a gauge takes to settle. A
floor that looks covered at next to no flow is not to be relied on: the next hairline crack lets in
more air than the fan can draw through the soil.
"""

import numpy as np
from matplotlib.figure import Figure
from small_house import CENTRE, house, solved, winter

from soilflow.output.plan import METRES
from soilflow.output.pressure_figure import draw_scale, plot_pressure_plan

SOILS = (1e-13, 1e-12, 1e-11)  # [m2]
SLAB_OVER_SOIL = 0.2  # [-]
AIR_POROSITY, PRESSURE_ATM, VISCOSITY = 0.2, 101325.0, 1.76e-5  # [-], [Pa], [Pa s]
SEE = "Soil and slab ten times more permeable: the same map to the last digit, ten times the air."


def results():
    """One result for each soil, the slab following the soil."""
    return {k: solved(house(soil=k, slab=SLAB_OVER_SOIL * k), CENTRE) for k in SOILS}


def hours(permeability, distance=3.0):
    """Rough time for a change to cross the floor: distance squared over diffusivity. [h]"""
    diffusivity = permeability * PRESSURE_ATM / (VISCOSITY * AIR_POROSITY)
    return distance**2 / diffusivity / 3600.0


def spread(found):
    """Largest difference between two of the maps. [Pa]"""
    maps = [winter(result).floor.pressure for result in found.values()]
    return max(float(np.nanmax(np.abs(m - maps[0]))) for m in maps[1:])


def draw():
    """Three plans on one colour scale, the flow under each."""
    found = results()
    figure = Figure(figsize=(12.5, 5.0), layout="constrained")
    axes = figure.subplots(1, 3).ravel().tolist()
    for ax, (k, result) in zip(axes, found.items(), strict=True):
        plot_pressure_plan(result, condition="design_winter", unit=METRES, ax=ax, scale=False)
        flow = winter(result).air_drawn(["middle"])
        time = hours(k)
        wait = f"{time:.1f} h" if time > 0.2 else f"{3600 * time:.0f} s"
        ax.set_title(f"{k:.0e} m2: {1e3 * flow:.4f} L/s, wait about {wait}", fontsize=10)
    draw_scale(figure, axes)
    figure.suptitle(f"{SEE} Largest difference {spread(found):.0e} Pa.", fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("times_ten.png", dpi=110)
