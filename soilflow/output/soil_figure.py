"""The soil map: what the model thinks is there, in plan and in section."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.soil_map import SoilMap
from soilflow.layout.bodies import Body
from soilflow.layout.layout import Layout
from soilflow.output.plan import CONCRETE, FEET, PlanUnit, draw_house, draw_points, frame_plan
from soilflow.output.styles import SCREEN, Style
from soilflow.site.site import Site

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import LogNorm

__all__ = ["draw_gap", "plot_soil_plan", "plot_soil_section"]

_NO_AIR = "black"  # soil that lets no air through, and nothing else


def _decades(soil: SoilMap) -> LogNorm:
    """Whole decades of permeability that hold every soil cell."""
    from matplotlib.colors import LogNorm

    values = soil.horizontal[soil.air]
    low, high = np.floor(np.log10(values.min())), np.ceil(np.log10(values.max()))
    return LogNorm(10.0**low, 10.0 ** max(high, low + 1.0))


def _shown(soil: SoilMap) -> NDArray[np.float64]:
    """Permeability where there is soil with air, dug-out cells as before digging. [m2]"""
    return np.where(soil.air | (soil.cavity >= 0), soil.horizontal, np.nan)


def _paint(
    ax: Axes,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    values: NDArray[np.float64],
    norm: LogNorm,
    style: Style,
) -> None:
    colours = style.colour_map()
    mesh = ax.pcolormesh(x, y, values.T, norm=norm, cmap=colours, shading="flat", rasterized=True)
    bar = ax.figure.colorbar(mesh, ax=ax, shrink=0.8, pad=0.04)
    bar.set_label("air permeability [m2]")


def plot_soil_plan(
    soil: SoilMap,
    site: Site,
    layout: Layout,
    *,
    holes: Mapping[str, tuple[float, float]] | None = None,
    unit: PlanUnit = FEET,
    style: Style = SCREEN,
    ax: Axes | None = None,
) -> Axes:
    """Soil just below the slab, in plan.

    Parameters
    ----------
    soil : SoilMap
        What the model thinks is there.
    site : Site
        What was said to be there.
    layout : Layout
        The pits.
    holes : mapping of str to (float, float) or None
        Places of the test holes. [m]
    unit : PlanUnit
        Length unit of the axes.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes.
    """
    ax = _axes(ax)
    top = soil.top_layer
    values = _shown(soil)[:, :, top]
    m = unit.metres
    _paint(ax, soil.grid.x / m, soil.grid.y / m, values, _decades(soil), style)
    ax.set_facecolor(_NO_AIR)
    draw_house(ax, site, unit)
    frame_plan(ax, site, unit)
    draw_points(ax, layout, site, holes or {}, unit)
    ax.set_title("Soil just below the slab: lighter soil lets more air through", fontsize=10)
    return ax


def plot_soil_section(
    soil: SoilMap,
    site: Site,
    *,
    at_y: float,
    unit: PlanUnit = FEET,
    style: Style = SCREEN,
    ax: Axes | None = None,
) -> Axes:
    """Soil in a vertical section from west to east.

    Parameters
    ----------
    soil : SoilMap
        What the model thinks is there.
    site : Site
        What was said to be there.
    at_y : float
        Where the section is cut. [m]
    unit : PlanUnit
        Length unit of the axes.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes.
    """
    from matplotlib.patches import Rectangle

    ax = _axes(ax)
    row = int(np.clip(np.searchsorted(soil.grid.y, at_y) - 1, 0, soil.grid.shape[1] - 1))
    values = _shown(soil)[:, row]
    m = unit.metres
    _paint(ax, soil.grid.x / m, soil.grid.z / m, values, _decades(soil), style)
    ax.set_facecolor(_NO_AIR)
    solid = ~soil.air & (soil.cavity < 0) & (soil.horizontal > 0.0)
    _fill_cells(ax, soil.grid.x / m, soil.grid.z / m, solid[:, row], CONCRETE["facecolor"])
    for item in soil.held:
        _dig_out(ax, item.body, at_y, m)
    _clear_sky(ax, site, m)
    draw_gap(ax, soil.grid.x, soil.sheet[:, row] > 0.0, unit)
    x0, _, x1, _ = site.slab.polygon.bounds
    slab = Rectangle(
        (x0 / m, -site.slab.thickness / m),
        (x1 - x0) / m,
        site.slab.thickness / m,
        **CONCRETE,
        zorder=5,
    )
    ax.add_patch(slab)
    outer = site.walls.outer_face(site.slab.polygon).bounds
    pad = 0.15 * (outer[2] - outer[0])
    deepest = max(1.6, 2.5 * site.walls.footing_depth)
    ax.set_xlim((outer[0] - pad) / m, (outer[2] + pad) / m)
    ax.set_ylim(deepest / m, -(max(site.walls.grade, site.slab.thickness) + 0.1) / m)
    ax.set_xlabel(f"east [{unit.name}]")
    ax.set_ylabel(f"depth below slab [{unit.name}]")
    gap = "; the white line is a gap" if (soil.sheet[:, row] > 0.0).any() else ""
    ax.set_title(
        f"Section looking north, {at_y / m:.1f} {unit.name} from the south wall, depth stretched:\n"
        f"pale is concrete, white is air, black lets none through{gap}",
        fontsize=10,
    )
    return ax


def _clear_sky(ax: Axes, site: Site, m: float) -> None:
    """House air between the walls, down to the slab, and the air above grade."""
    from matplotlib.patches import Rectangle

    x0, _, x1, _ = site.slab.polygon.bounds
    high = site.walls.grade + 1.0
    for low_x, wide, low_z in ((x0, x1 - x0, 0.0), (x0 - 1e3, 2e3, -site.walls.grade)):
        sky = Rectangle((low_x / m, low_z / m), wide / m, -high / m, facecolor="white", zorder=3)
        ax.add_patch(sky)


def _fill_cells(
    ax: Axes,
    x: NDArray[np.float64],
    z: NDArray[np.float64],
    cells: NDArray[np.bool_],
    colour: str,
) -> None:
    """Cells of the map in one colour: what is solved, not what was meant."""
    from matplotlib.colors import ListedColormap

    shown = np.where(cells, 0.0, np.nan)
    ax.pcolormesh(x, z, shown.T, cmap=ListedColormap([colour]), shading="flat", rasterized=True)


def _dig_out(ax: Axes, body: Body, at_y: float, m: float) -> None:
    """What the section shows of a body: its own shape, as walls and slab leave it."""
    spans = body.refinement()
    if not spans or not spans[1][0] < at_y < spans[1][1]:
        return
    x, z = (np.linspace(spans[axis][0] - 0.05, spans[axis][1] + 0.05, 400) for axis in (0, 2))
    inside = body.contains(x[:, None], np.full((1, 1), at_y), z[None, :])
    shown = (x / m, z / m, inside.astype(float).T)
    ax.contourf(*shown, levels=[0.5, 1.5], colors=["white"], zorder=2)
    ax.contour(*shown, levels=[0.5], colors=["black"], linewidths=1.2, zorder=2)


def draw_gap(ax: Axes, edges: NDArray[np.float64], gap: NDArray[np.bool_], unit: PlanUnit) -> None:
    """A line under the slab wherever there is a gap; true to length, not to height.

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes of a section.
    edges : array, shape (n + 1,)
        Edges of the columns. [m]
    gap : array of bool, shape (n,)
        Columns with a gap.
    unit : PlanUnit
        Length unit of the axes.
    """
    (where,) = np.nonzero(gap)
    x = edges / unit.metres
    for colour, width in (("black", 4.0), ("white", 2.5)):
        ax.hlines(np.zeros(where.size), x[where], x[where + 1], colour, linewidth=width, zorder=6)


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    return Figure(figsize=(8, 6), layout="constrained").add_subplot()
