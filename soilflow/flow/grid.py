"""One graded tensor grid, with grid lines on every axis-aligned interface."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from soilflow.bounds import CELLS, LINES
from soilflow.errors import InputError
from soilflow.flow.grid_lines import (
    FAR,
    centre_lines,
    effect_lines,
    house_range,
    reach_of_yard,
)
from soilflow.layout.bodies import FACED, RIMMED, HeldBody
from soilflow.site.effects import Effect, SetsPermeability

__all__ = ["COARSE", "FINE", "NORMAL", "Grid", "Resolution", "graded_edges", "grid_for"]

Array = NDArray[np.float64]

# Two required lines closer than this are one line: below any tolerance of a floor plan. [m]
_SAME = 1e-6


@dataclass(frozen=True, kw_only=True)
class Resolution:
    """How fine the grid is.

    Parameters
    ----------
    name : str
        What the choice is called.
    cells_per_radius : float
        Cells across a pit's radius, along the slab and down. [-]
    line_size : float
        Cell size at walls, joints and gap edges. [m]
    growth : float
        Size ratio of neighbouring cells away from a feature. [-]
    largest_inside, largest_outside, largest_down : float
        Bounds on the cell size under the floor, in the yard and with depth. [m]
    pit_reach : float
        Distance from a pit's centre, in radii, over which its cell size holds. [-]
    splits : int
        How many times every cell is halved afterwards.
    quarters : int
        Cells on each stretch between required lines, per four that the sizes ask for: 4, 3 and 2
        make three grids that differ in nothing but the size of cells. 0 takes what the sizes ask
        for, to the cell.
    """

    name: str
    cells_per_radius: float
    line_size: float
    growth: float
    largest_inside: float = 0.45
    largest_outside: float = 1.5
    largest_down: float = 1.5
    pit_reach: float = 1.0
    splits: int = 0
    quarters: int = 0

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, float | int) and item.name not in ("splits", "quarters"):
                least = 1.0 if item.name == "growth" else 0.0
                if not least < value < math.inf:
                    raise InputError(
                        f"{value:g}: a number above {least:g} is needed, as in "
                        f"{item.name} = {getattr(NORMAL, item.name):g}",
                        field=item.name,
                    )
        if not 0 <= self.splits < 10:
            raise InputError(
                f"{self.splits}: how often cells are halved is needed, 0 or 1", field="splits"
            )


NORMAL = Resolution(name="normal", cells_per_radius=4.0, line_size=0.04, growth=1.4)
FINE = Resolution(name="fine", cells_per_radius=5.0, line_size=0.03, growth=1.3)
COARSE = Resolution(name="coarse", cells_per_radius=3.0, line_size=0.05, growth=1.5)


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Edges of a tensor grid.

    Parameters
    ----------
    x, y : array, shape (nx + 1,), (ny + 1,)
        Cell edges east and north. [m]
    z : array, shape (nz + 1,)
        Cell edges down, from above the slab underside (negative) to the tight bottom. [m]
    """

    x: Array
    y: Array
    z: Array

    def __post_init__(self) -> None:
        for name in ("x", "y", "z"):
            edges = getattr(self, name)
            if edges.ndim != 1 or edges.size < 2 or not np.all(np.diff(edges) > 0):
                raise InputError("cell edges must increase", field=name)

    @property
    def edges(self) -> tuple[Array, Array, Array]:
        """Cell edges along the three axes. [m]"""
        return self.x, self.y, self.z

    @property
    def shape(self) -> tuple[int, int, int]:
        """Cells along x, y and z. [-]"""
        return self.x.size - 1, self.y.size - 1, self.z.size - 1

    @property
    def cells(self) -> int:
        """Cells in all, solids included. [-]"""
        nx, ny, nz = self.shape
        return nx * ny * nz

    def centres(self, axis: int) -> Array:
        """Cell centres along an axis.

        Parameters
        ----------
        axis : int
            0, 1, 2 for x, y, z.

        Returns
        -------
        centres : array, shape (n,)
            Midpoints. [m]
        """
        edges = self.edges[axis]
        return 0.5 * (edges[1:] + edges[:-1])

    def sizes(self, axis: int) -> Array:
        """Cell sizes along an axis.

        Parameters
        ----------
        axis : int
            0, 1, 2 for x, y, z.

        Returns
        -------
        sizes : array, shape (n,)
            Edge to edge. [m]
        """
        return np.diff(self.edges[axis])

    def index_of(self, axis: int, at: float) -> int:
        """Number of the grid line at a coordinate.

        Parameters
        ----------
        axis : int
            0, 1, 2 for x, y, z.
        at : float
            The coordinate. [m]

        Returns
        -------
        index : int
            Index into the edges.

        Raises
        ------
        InputError
            No grid line lies there.
        """
        edges = self.edges[axis]
        index = int(np.argmin(np.abs(edges - at)))
        if abs(edges[index] - at) > 2 * _SAME:
            raise InputError(f"no grid line at {at:g} m along axis {'xyz'[axis]}")
        return index

    def split(self) -> Grid:
        """The same grid with every cell halved along every axis.

        Returns
        -------
        grid : Grid
            Eight times the cells.
        """
        halves = (np.insert(e, np.arange(1, e.size), 0.5 * (e[1:] + e[:-1])) for e in self.edges)
        x, y, z = halves
        return Grid(x=x, y=y, z=z)

    def __repr__(self) -> str:
        nx, ny, nz = self.shape
        least = [float(self.sizes(a).min()) for a in range(3)]
        return (
            f"Grid({nx} x {ny} x {nz} = {self.cells} cells, smallest "
            f"{least[0]:.3g} x {least[1]:.3g} x {least[2]:.3g} m)"
        )


def graded_edges(
    lines: Sequence[float],
    sources: Sequence[tuple[float, float, float]],
    growth: float,
    largest: Sequence[tuple[float, float, float]],
    *,
    quarters: int = 0,
) -> Array:
    """Edges along one axis, on required lines and graded in between.

    The wanted size at a point is the least over the sources of ``size + ln(growth) d``, d the
    distance to the source; cells then share the integral of its inverse evenly.

    Parameters
    ----------
    lines : sequence of float
        Coordinates that must be edges; the first and last bound the grid. [m]
    sources : sequence of (low, high, size)
        Stretches over which a cell size is wanted. [m]
    growth : float
        Size ratio of neighbouring cells. [-]
    largest : sequence of (low, high, size)
        Upper bounds of the size by stretch. [m]
    quarters : int
        Cells between two required lines per four that the sizes ask for, which are then rounded
        to a multiple of four; 0 takes as many as they ask for.

    Returns
    -------
    edges : array, shape (n + 1,)
        Increasing. [m]
    """
    wanted = sorted(set(lines))
    together = np.split(wanted, np.flatnonzero(np.diff(wanted) > _SAME) + 1)
    # midway, so that a mirrored house has mirrored lines
    kept = [0.5 * float(lines[0] + lines[-1]) for lines in together]
    if len(kept) > LINES:
        raise _too_fine(f"{len(kept)} lines it must have along one axis; at most {LINES}")
    pieces = [np.array(kept[:1])]
    rate = np.log(growth)
    for a, b in itertools.pairwise(kept):
        s = np.linspace(a, b, 2001)
        size = np.full(s.shape, np.inf)
        for lo, hi, bound in largest:
            size[(s >= lo) & (s <= hi)] = np.minimum(size[(s >= lo) & (s <= hi)], bound)
        for lo, hi, h in sources:
            away = np.maximum(np.maximum(lo - s, s - hi), 0.0)
            size = np.minimum(size, h + rate * away)
        with np.errstate(over="ignore"):  # cells without size are counted, and refused below
            density = 1.0 / size
        total = np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(s))))
        if not total[-1] < CELLS:
            raise _too_fine(f"more than {CELLS} cells along one axis")
        if quarters:
            n = quarters * max(1, round(float(total[-1]) / 4.0))
        else:
            n = max(1, int(np.ceil(total[-1] - 1e-3)))
        inner = np.interp(np.arange(1, n) * total[-1] / n, total, s)
        pieces.append(np.append(inner, b))
    return np.concatenate(pieces)


def _too_fine(what: str) -> InputError:
    return InputError(
        f"the grid would have {what}; fewer or larger parts, a smaller house or "
        'resolution = "coarse" would work',
        field="resolution",
    )


def grid_for(
    effects: Sequence[Effect],
    held: Sequence[HeldBody],
    resolution: Resolution,
    *,
    extra_lines: tuple[Sequence[float], Sequence[float]] = ((), ()),
) -> Grid:
    """Grid for what is there and what is dug.

    Parameters
    ----------
    effects : sequence of Effect
        From the site.
    held : sequence of HeldBody
        From one layout, or from several that are to share the grid.
    resolution : Resolution
        How fine.
    extra_lines : pair of sequence of float
        Further grid lines wanted along x and y. [m]

    Returns
    -------
    grid : Grid
        Reaches three footprint half-widths beyond the outer wall faces, down to the bottom of
        the soil layers and up to grade.

    Raises
    ------
    InputError
        More lines or cells than there is memory for.
    """
    sharp: list[set[float]] = [set(), set(), set()]
    plain: list[set[float]] = [set(), set(), set()]
    for effect in effects:
        for own, wanted in zip((sharp, plain), effect_lines(effect), strict=True):
            for axis in range(3):
                own[axis] |= {v for v in wanted[axis] if abs(v) < FAR}
    tops = [e.where.top for e in effects if isinstance(e, SetsPermeability)]
    bottoms = [e.where.bottom for e in effects if isinstance(e, SetsPermeability)]
    if not tops:
        raise InputError("no soil layer", field="ground.layers")
    top, bottom = min(tops), max(bottoms)
    for axis, lines in enumerate(extra_lines):
        plain[axis] |= set(lines)
    axes = [
        _axis_edges(axis, sharp[axis], plain[axis], held, resolution, (top, bottom), effects)
        for axis in range(3)
    ]
    grid = Grid(x=axes[0], y=axes[1], z=axes[2])
    if (cells := grid.cells * 8**resolution.splits) > CELLS:
        raise _too_fine(f"{cells} cells; at most {CELLS}")
    for _ in range(resolution.splits):
        grid = grid.split()
    return grid


def _axis_edges(
    axis: int,
    sharp: set[float],
    plain: set[float],
    held: Sequence[HeldBody],
    resolution: Resolution,
    depth_range: tuple[float, float],
    effects: Sequence[Effect],
) -> Array:
    """Edges along one axis of the house grid. [m]"""
    rate = float(np.log(resolution.growth))
    h = resolution.line_size
    sources = [(v, v, h) for v in sharp]
    required = sharp | plain
    optional: set[float] = set()
    for item in held:
        spans = item.body.refinement()
        if not spans:
            continue
        lo, hi, edge = spans[axis]
        if axis == 2:
            lo = max(lo, 0.0)
            size = hi / resolution.cells_per_radius
            sources.append((lo, hi * resolution.pit_reach, size))
        else:
            middle, radius = 0.5 * (lo + hi), 0.5 * (hi - lo)
            size = radius / resolution.cells_per_radius
            reach = radius * resolution.pit_reach
            if edge == RIMMED:
                # no line can follow a round edge: smaller cells all over it, and a little past it
                size, reach = 0.8 * size, 1.2 * reach
            sources.append((middle - reach, middle + reach, size))
            optional.add(middle)
        if edge == FACED:
            required |= {lo, hi}
            # the flow crowds at the sharp edges of a box: whole cells there lose 4 % of it
            sources.extend((v, v, 0.5 * size) for v in (lo, hi) if axis < 2 or v > 0.0)
    if axis == 2:
        required |= {*depth_range, 0.0}
        sources.append((0.0, 0.0, h))
        largest = [(-FAR, FAR, resolution.largest_down)]
    else:
        floor_lo, floor_hi = house_range(axis, sharp, effects)
        margin = reach_of_yard(effects)
        low, high = floor_lo - margin, floor_hi + margin
        required = {v for v in required if low < v < high} | {low, high}
        largest = [
            (-FAR, FAR, resolution.largest_outside),
            (floor_lo, floor_hi, resolution.largest_inside),
        ]
    required |= centre_lines(optional, required, sources, rate)
    return graded_edges(
        sorted(required), sources, resolution.growth, largest, quarters=resolution.quarters
    )
