"""Pits along the walls or one in the middle: the soil decides, not the rule of thumb.

    python cases/teaching/ring_or_centre.py

The same small house twice: one soil from wall to wall, and a strip along the walls fifteen times
looser, as where a footing trench was never packed again. Air drawn by each pit and the worst place
of the floor are under each plan.
"""

from matplotlib.figure import Figure
from small_house import CENTRE, RING, house, solved, winter

from soilflow.output.plan import METRES
from soilflow.output.pressure_figure import draw_scale, plot_pressure_plan

SOILS = {"one soil": 1.0, "strip along the walls 15 times looser": 15.0}
SEE = (
    "With a loose strip each wall pit draws several times the air of the one in the middle, "
    "and the ring holds the corners."
)


def results():
    """Results by soil and layout."""
    return {
        (soil, layout.name): solved(house(looser_by=looser), layout)
        for soil, looser in SOILS.items()
        for layout in (CENTRE, RING)
    }


def flow_per_pit(result):
    """Mean over the pits of a layout. [m3/s]"""
    names = [point.name for point in result.arrangement.points]
    return winter(result).air_drawn(names) / len(names)


def draw():
    """Four plans on one colour scale."""
    figure = Figure(figsize=(9.0, 9.2), layout="constrained")
    axes = figure.subplots(2, 2).ravel().tolist()
    for ax, ((soil, name), result) in zip(axes, results().items(), strict=True):
        plot_pressure_plan(result, condition="design_winter", unit=METRES, ax=ax, scale=False)
        ax.set_title(
            f"{soil}\n{name}: {1e3 * flow_per_pit(result):.3f} L/s a pit, "
            f"worst {winter(result).worst.margin + 1.0:.1f} Pa",
            fontsize=9,
        )
    draw_scale(figure, axes)
    figure.suptitle(SEE, fontsize=10, wrap=True)
    return figure


if __name__ == "__main__":
    draw().savefig("ring_or_centre.png", dpi=110)
