"""A vertical section through a pit: suction in the soil, and which way the air goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from shapely.geometry import LineString

from soilflow.air import pressure_from_u
from soilflow.errors import InputError
from soilflow.layout.bodies import Body
from soilflow.layout.layout import SuctionPoint
from soilflow.output.plan import CONCRETE, FEET, PlanUnit
from soilflow.output.pressure_figure import SUCTION_STEPS, draw_scale, suction_norm
from soilflow.output.soil_figure import draw_gap
from soilflow.output.styles import SCREEN, Style
from soilflow.results.result import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["plot_half_section", "plot_section"]

Array = NDArray[np.float64]

_RASTER = (240, 110)  # points along and down, of what is drawn between cells


@dataclass(frozen=True, kw_only=True, eq=False)
class _Cut:
    """What lies in the plane of a section; arrays have the shape (along, down)."""

    along: Array
    down: Array
    suction: Array
    k_along: Array
    k_down: Array
    solid: NDArray[np.bool_]
    gap: NDArray[np.bool_]
    axis: int
    at: float


def plot_section(
    result: Result,
    *,
    condition: str,
    through: str | None = None,
    looking: str = "north",
    deepest: float = 3.0,
    unit: PlanUnit = FEET,
    style: Style = SCREEN,
    ax: Axes | None = None,
) -> Axes:
    """Suction in the soil in a vertical section through a pit, with streamlines.

    Parameters
    ----------
    result : Result
        A solved layout.
    condition : str
        Name of the condition.
    through : str or None
        The suction point it goes through; None takes the first.
    looking : str
        "north" cuts from west to east, "west" from south to north.
    deepest : float
        How far down it reaches. [m]
    unit : PlanUnit
        Length unit of the axes.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes, depth stretched.

    Raises
    ------
    InputError
        No such suction point, or no such way to look.
    """
    point = _point(result, through)
    if looking not in ("north", "west"):
        raise InputError(f'"{looking}": looking "north" or "west"', field="looking")
    cut = _cut(result, condition, point, axis=0 if looking == "north" else 1)
    outer = result.site.walls.outer_face(result.site.slab.polygon).bounds
    low, high = outer[cut.axis], outer[2 + cut.axis]
    pad = 0.12 * (high - low)
    ax = _draw(result, cut, (low - pad, high + pad, deepest), unit, style, ax)
    where = "west to east" if looking == "north" else "south to north"
    ax.set_xlabel(f"{where} [{unit.name}]")
    ax.set_title(
        f'Section through "{point.name}", looking {looking}, depth stretched: the arrows show '
        "where the air\nin this plane goes; yard and joint feed the pit, and suction fades "
        "with distance.",
        parse_math=False,
        fontsize=9,
    )
    return ax


def plot_half_section(
    result: Result,
    *,
    condition: str,
    through: str | None = None,
    reach: float = 1.5,
    unit: PlanUnit = FEET,
    style: Style = SCREEN,
    ax: Axes | None = None,
) -> Axes:
    """Half of a pit, true to scale: how steeply suction falls beside its wall.

    Parameters
    ----------
    result : Result
        A solved layout.
    condition : str
        Name of the condition.
    through : str or None
        The suction point; None takes the first.
    reach : float
        How far from the middle of the pit it goes, east or, where a wall is nearer, west. [m]
    unit : PlanUnit
        Length unit of the axes.
    style : Style
        How it looks.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes, with the lines of the grid.

    Raises
    ------
    InputError
        No such suction point.
    """
    point = _point(result, through)
    cut = _cut(result, condition, point, axis=0)
    x0, _, x1, _ = result.site.slab.polygon.bounds
    east = x1 - point.x >= point.x - x0
    ends = (point.x, point.x + reach) if east else (point.x - reach, point.x)
    ax = _draw(result, cut, (*ends, 0.75 * reach), unit, style, ax, size=(7.0, 4.6))
    m = unit.metres
    grid = result.solution.soil.grid
    for line in grid.x[(grid.x > ends[0]) & (grid.x < ends[1])] / m:
        ax.axvline(line, color="white", linewidth=0.3, alpha=0.7)
    for line in grid.z[(grid.z > 0.0) & (grid.z < 0.75 * reach)] / m:
        ax.axhline(line, color="white", linewidth=0.3, alpha=0.7)
    ax.set_aspect("equal")
    ax.set_xlabel(f"west to east [{unit.name}]")
    ax.set_title(
        f'Half of "{point.name}", true to scale, with the cells: most of the suction\n'
        "is spent close to the pit; a bigger pit spends less of it.",
        parse_math=False,
        fontsize=9,
    )
    return ax


def _point(result: Result, name: str | None) -> SuctionPoint:
    points = result.arrangement.points
    for point in points:
        if name is None or point.name == name:
            return point
    have = ", ".join(f'"{point.name}"' for point in points)
    raise InputError(f'no suction point "{name}" in this layout; it has {have}', field="through")


def _cut(result: Result, condition: str, point: SuctionPoint, *, axis: int) -> _Cut:
    """Cells of the row that the middle of a pit lies in."""
    soil, network = result.solution.soil, result.solution.network
    found = result.conditions[condition]
    at = point.y if axis == 0 else point.x
    edges = soil.grid.edges[1 - axis]
    row = int(np.clip(np.searchsorted(edges, at, side="right") - 1, 0, edges.size - 2))
    pick = (slice(None), row) if axis == 0 else (row, slice(None))
    values = np.append(pressure_from_u(found.node_u, result.air.pressure_atm), np.nan)
    suction = -values[network.cell_node][pick]
    cavity = soil.cavity[pick]
    references = len(soil.ports) - len(soil.held)
    for number in np.unique(cavity[cavity >= 0]):
        suction[cavity == number] = -found.operating_point.pressures[references + number]
    return _Cut(
        along=soil.grid.edges[axis],
        down=soil.grid.z,
        suction=suction,
        k_along=soil.horizontal[pick],
        k_down=soil.vertical[pick],
        solid=(~soil.air & (soil.cavity < 0) & (soil.horizontal > 0.0))[pick],
        gap=(soil.sheet > 0.0)[pick],
        axis=axis,
        at=at,
    )


def _draw(
    result: Result,
    cut: _Cut,
    window: tuple[float, float, float],
    unit: PlanUnit,
    style: Style,
    ax: Axes | None,
    *,
    size: tuple[float, float] = (9.0, 4.4),
) -> Axes:
    """Field, streamlines, concrete and pits in a window (low, high, deepest)."""
    from matplotlib.figure import Figure

    own = ax is None
    if ax is None:
        ax = Figure(figsize=size, layout="constrained").add_subplot()
    low, high, deepest = window
    m = unit.metres
    s = np.linspace(low, high, _RASTER[0])
    z = np.linspace(-_above(result), deepest, _RASTER[1])
    suction, flow_s, flow_z = _between(cut, s, z)
    ax.contourf(
        s / m,
        z / m,
        suction.T,
        levels=SUCTION_STEPS,
        norm=suction_norm(),
        cmap=style.colour_map(),
        extend="max",
    )
    ax.contour(s / m, z / m, suction.T, levels=[1.0], colors="black", linewidths=2.5)
    if not np.all(np.ma.getmaskarray(flow_s)):
        for colour, wide in (("white", 0.7), ("black", 0.35)):
            lines: dict[str, Any] = {
                "color": colour,
                "linewidth": wide,
                "density": 1.2,
                "arrowsize": 0.8,
            }
            ax.streamplot(s / m, z / m, flow_s.T, flow_z.T, **lines)
    _concrete(ax, result, cut, m)
    draw_gap(ax, cut.along, cut.gap, unit)
    for item in result.solution.soil.held:
        _pit(ax, item.body, cut, m)
    ax.set_xlim(low / m, high / m)
    ax.set_ylim(deepest / m, -_above(result) / m)
    ax.set_ylabel(f"depth below the slab [{unit.name}]")
    if own:
        draw_scale(cast("Figure", ax.figure), [ax], style=style)
    return ax


def _above(result: Result) -> float:
    """How far above the slab the section begins. [m]"""
    return max(result.site.walls.grade, result.site.slab.thickness) + 0.15


def _between(cut: _Cut, s: Array, z: Array) -> tuple[Array, Array, Array]:
    """Suction on an even raster and flow in the plane over 1/viscosity, masked without air."""
    middle = [0.5 * (e[1:] + e[:-1]) for e in (cut.along, cut.down)]
    places = np.stack(np.meshgrid(s, z, indexing="ij"), axis=-1)
    inside = [np.clip(places[..., i], middle[i][0], middle[i][-1]) for i in (0, 1)]
    at = np.stack(inside, axis=-1)

    def seen(values: Array, method: str) -> Array:
        return np.asarray(RegularGridInterpolator(middle, values, method=method)(at))

    smooth = seen(cut.suction, "linear")
    near = seen(cut.suction, "nearest")
    suction = np.where(np.isnan(smooth), near, smooth)
    suction[:, z < cut.down[0]] = np.nan
    ds, dz = np.gradient(suction, s, z)
    k_s, k_z = seen(cut.k_along, "nearest"), seen(cut.k_down, "nearest")
    # towards more suction, with the permeability of the soil it goes through
    flows = (np.ma.masked_invalid(k_s * ds), np.ma.masked_invalid(k_z * dz))
    return np.ma.masked_invalid(suction), *flows


def _concrete(ax: Axes, result: Result, cut: _Cut, m: float) -> None:
    """Solids of the map, and the slab over them."""
    from matplotlib.colors import ListedColormap
    from matplotlib.patches import Rectangle

    site = result.site
    shown = np.where(cut.solid, 0.0, np.nan)
    concrete = ListedColormap([CONCRETE["facecolor"]])
    cells = (cut.along / m, cut.down / m, shown.T)
    ax.pcolormesh(*cells, cmap=concrete, shading="flat", rasterized=True, zorder=3)
    sky = site.walls.grade + 1.0
    above = Rectangle((-999.0 / m, -site.walls.grade / m), 1998.0 / m, -sky / m)
    above.set(facecolor="white", zorder=3.5)
    ax.add_patch(above)
    thick = site.slab.thickness
    for low, high in _floor(result, cut):
        room = Rectangle((low / m, 0.0), (high - low) / m, -sky / m, facecolor="white", zorder=3.5)
        slab = Rectangle((low / m, -thick / m), (high - low) / m, thick / m, **CONCRETE, zorder=4)
        ax.add_patch(room)
        ax.add_patch(slab)


def _floor(result: Result, cut: _Cut) -> list[tuple[float, float]]:
    """Stretches of the section with a slab above. [m]"""
    ends = [(end, cut.at) if cut.axis == 0 else (cut.at, end) for end in (-999.0, 999.0)]
    met = LineString(ends).intersection(result.site.slab.polygon)
    parts = [part.bounds for part in getattr(met, "geoms", [met]) if not part.is_empty]
    return [(b[cut.axis], b[2 + cut.axis]) for b in parts if b[2 + cut.axis] > b[cut.axis]]


def _pit(ax: Axes, body: Body, cut: _Cut, m: float) -> None:
    """The shape of a pit where the plane meets it."""
    spans = body.refinement()
    other = 1 - cut.axis
    if not spans or not spans[other][0] <= cut.at <= spans[other][1]:
        return
    s, z = (np.linspace(spans[i][0] - 0.05, spans[i][1] + 0.05, 300) for i in (cut.axis, 2))
    across = np.full((1, 1), cut.at)
    x, y = (s[:, None], across) if cut.axis == 0 else (across, s[:, None])
    inside = body.contains(x, y, z[None, :])
    inside = np.broadcast_to(inside & (z[None, :] >= 0.0), (s.size, z.size)).astype(float).T
    ax.contourf(s / m, z / m, inside, levels=[0.5, 1.5], colors=["white"], zorder=3.6)
    ax.contour(s / m, z / m, inside, levels=[0.5], colors=["black"], linewidths=1.4, zorder=3.7)
