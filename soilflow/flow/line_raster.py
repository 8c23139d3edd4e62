"""Line conductors laid onto the cells of a grid: which cells they fill, and what air does near.

Around a line the pressure runs as the logarithm of the distance, which two-point fluxes between
cell centres miss by an amount that hangs on the grid. So the cells a bore fills or its axis
touches count as the line itself, and each face near it passes what the logarithm says: the angle
the face takes up, seen from the axis, over the logarithm of the two distances. The true radius
enters there, and the grid drops out, whether cells are wider than the bore or far smaller.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import HeldBody, OnLine
from soilflow.site.effects import CarriesAlongLine, Effect

__all__ = ["JOINED", "LineConductors", "face_factors", "lay_lines"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

# A line joins the cells it fills as that many times their own conductance would: the loss is far
# below the scheme's error, and the matrix keeps its conditioning.
JOINED = 1e4
# Cells beyond the bore over which faces follow the logarithm; farther out the two agree.
_RINGS = 6
# A centre this near the bore counts as this near, as a share of the radius.
_NEAREST = 1e-3
# Bounds on a face's factor where distances along it say next to nothing.
_FACTORS = (0.2, 5.0)
_SAME = 1e-6  # on the axis, or on the bore [m]


@dataclass(frozen=True, kw_only=True, eq=False)
class LineConductors:
    """Lines of one pressure each, the soil cells they fill, and the faces near them.

    Parameters
    ----------
    names : tuple of str
        The lines.
    port : array of int, shape (n,)
        Port of each line, -1 for one that ends blind.
    line, cell : array of int, shape (m,)
        Line and flat cell index of each cell filled.
    geometry : array, shape (m,)
        Conductance from line to cell times viscosity. [m3]
    face_axis, face_cell : array of int, shape (f,)
        Axis across a face near a line, and flat index of the cell on its low side.
    face_factor : array, shape (f,)
        What the face passes over what it would without the line. [-]
    opened : array of bool, shape (nx, ny)
        Columns in which slab, slots and gap open straight into a line.
    """

    names: tuple[str, ...]
    port: Index
    line: Index
    cell: Index
    geometry: Array
    face_axis: Index
    face_cell: Index
    face_factor: Array
    opened: Mask

    def factor_along(self, axis: int, shape: tuple[int, int, int]) -> Array:
        """Factors of all faces across an axis.

        Parameters
        ----------
        axis : int
            0, 1, 2 for x, y, z.
        shape : tuple of int
            Shape of the grid.

        Returns
        -------
        factor : array, shape of the grid less its last layer along the axis, or (1, 1, 1)
            What each inner face passes over what it would without the lines. [-]
        """
        mine = self.face_axis == axis
        if not mine.any():
            return np.ones((1, 1, 1))
        factor = np.ones(shape)
        factor.ravel()[self.face_cell[mine]] = self.face_factor[mine]
        return np.take(factor, np.arange(shape[axis] - 1), axis=axis)


def face_factors(
    edges: tuple[Array, Array], joined: Mask, radius: float
) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
    """What faces around a bore pass, over what they pass between cell centres in even soil.

    Parameters
    ----------
    edges : pair of array, shape (n + 1,), (m + 1,)
        Cell edges in the plane across the line, its axis at 0, 0. [m]
    joined : array of bool, shape (n, m)
        Cells that count as the line itself.
    radius : float
        Radius of the bore. [m]

    Returns
    -------
    first, second : pair of (factor, distance)
        For the faces across each of the two directions, arrays of shape (n - 1, m) and
        (n, m - 1): the factor, and how far from the axis the nearer of its cells is. [-] and [m]
    """
    u, v = edges
    across = _factors_across(u, v, joined, radius)
    factor, distance = _factors_across(v, u, joined.T, radius)
    return across, (factor.T, distance.T)


def _factors_across(u: Array, v: Array, joined: Mask, radius: float) -> tuple[Array, Array]:
    """Factors of the faces at the inner edges u, and distances of their nearer cells."""
    cu, cv = 0.5 * (u[1:] + u[:-1]), 0.5 * (v[1:] + v[:-1])
    away = np.hypot(cu[:, None], cv[None, :])
    low, high = away[:-1], away[1:]
    one, other = joined[:-1], joined[1:]
    at = u[1:-1, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = np.arctan(v[None, 1:] / at) - np.arctan(v[None, :-1] / at)
        inner = np.where(one, radius, low)
        outer = np.where(other, radius, high)
        drop = np.log(outer / inner)
        # a centre next to the bore: its true distance, but not less than the scheme can bear
        least = np.log1p(_NEAREST)
        drop = np.where(one & ~other, np.maximum(drop, least), drop)
        drop = np.where(other & ~one, np.minimum(drop, -least), drop)
        factor = turn / drop * np.diff(cu)[:, None] / np.diff(v)[None, :]
    plain = ~np.isfinite(factor) | (factor <= 0.0) | (one & other)
    apart = ~(one | other)
    factor = np.where(apart, np.clip(factor, *_FACTORS), factor)
    return np.where(plain, 1.0, factor), np.minimum(low, high)


def lay_lines(
    grid: Grid,
    effects: Sequence[Effect],
    held: Sequence[HeldBody],
    ports: tuple[str, ...],
    *,
    air: Mask,
    cavity: NDArray[np.int16],
    horizontal: Array,
    vertical: Array,
) -> LineConductors:
    """Find the cells each line conductor fills, the faces near it, and its port.

    Parameters
    ----------
    grid : Grid
        The grid, shape (nx, ny, nz).
    effects : sequence of Effect
        All effects; those of other kinds are passed over.
    held : sequence of HeldBody
        Held bodies; one on a line gives the line its port, and so does a cavity it runs into.
    ports : tuple of str
        Names of all ports.
    air : array of bool, shape (nx, ny, nz)
        Soil cells with an air path.
    cavity : array of int, shape (nx, ny, nz)
        Index of the held body a cell lies in, -1 for none.
    horizontal, vertical : array, shape (nx, ny, nz)
        Permeability. [m2]

    Returns
    -------
    lines : LineConductors
        Empty arrays when there is none.

    Raises
    ------
    InputError
        A suction point on a line that is not there, or two on one line.
    """
    lines = [e for e in effects if isinstance(e, CarriesAlongLine)]
    names = tuple(line.name for line in lines)
    on_line = [(item.port, item.body.line) for item in held if isinstance(item.body, OnLine)]
    for _, name in on_line:
        if name not in names:
            have = ", ".join(f'"{n}"' for n in names) or "none"
            raise InputError(f'no line conductor "{name}" on this site; it has {have}')
    laid = _Laid(grid, air, horizontal, vertical)
    port = np.full(len(lines), -1, dtype=np.int64)
    for i, line in enumerate(lines):
        owners = [p for p, name in on_line if name == line.name]
        owners += [line.reference] if line.reference else []
        for stretch in itertools.pairwise(line.points):
            met = laid.lay(i, line, *stretch, cavity)
            owners += [held[int(b)].port for b in met]
        owners = list(dict.fromkeys(owners))
        if len(owners) > 1:
            both = " and ".join(f'"{name}"' for name in owners)
            raise InputError(f'the line "{line.name}" is tied to {both}; it can have one pressure')
        if owners:
            port[i] = ports.index(owners[0])
    return laid.conductors(names, port)


class _Laid:
    """Lines laid so far."""

    def __init__(self, grid: Grid, air: Mask, horizontal: Array, vertical: Array) -> None:
        self.grid, self.air = grid, air
        self.horizontal, self.vertical = horizontal, vertical
        self.owner = np.full(grid.shape, -1, dtype=np.int64)
        self.opened = np.zeros(grid.shape[:2], dtype=bool)
        # by axis and flat cell: distance from the line that has the say, and its factor
        self.faces: list[dict[int, tuple[float, float]]] = [{}, {}, {}]

    def lay(
        self,
        number: int,
        line: CarriesAlongLine,
        a: tuple[float, float],
        b: tuple[float, float],
        cavity: NDArray[np.int16],
    ) -> list[int]:
        """Lay a straight stretch; the bodies its axis runs into."""
        normal = 0 if a[0] == b[0] else 1
        run = self._window(self.grid.edges[normal], a[normal], line.radius)
        down = self._window(self.grid.z, line.depth, line.radius)
        met: set[int] = set()
        for along, share in self._cells_along(1 - normal, a[1 - normal], b[1 - normal]):
            at = self._plane(normal, along, run, down)
            met |= set(np.unique(cavity[at][self._touched(normal, a[normal], line, run, down)]))
            self._across(number, line, normal, a[normal], along, share, run, down)
        return sorted(int(i) for i in met - {-1})

    @staticmethod
    def _window(edges: Array, at: float, radius: float) -> slice:
        """Cells within the bore and some rings around it."""
        low = int(np.searchsorted(edges, at - radius - _SAME, side="right")) - 1 - _RINGS
        high = int(np.searchsorted(edges, at + radius + _SAME, side="left")) + _RINGS
        return slice(max(low, 0), min(high, edges.size - 1))

    def _cells_along(self, axis: int, a: float, b: float) -> Iterator[tuple[int, float]]:
        """Cells along a stretch, each with the share of it that the stretch takes up."""
        edges = self.grid.edges[axis]
        low, high = sorted((a, b))
        length = np.minimum(edges[1:], high) - np.maximum(edges[:-1], low)
        for k in np.flatnonzero(length > _SAME):
            yield int(k), float(length[k] / (edges[k + 1] - edges[k]))

    @staticmethod
    def _plane(
        normal: int, along: int, run: slice, down: slice
    ) -> tuple[slice | int, slice | int, slice]:
        return (run, along, down) if normal == 0 else (along, run, down)

    def _edges(
        self, normal: int, at: float, line: CarriesAlongLine, run: slice, down: slice
    ) -> tuple[Array, Array]:
        """Edges of the window's cells as seen from the axis. [m]"""
        u = self.grid.edges[normal][run.start : run.stop + 1] - at
        return u, self.grid.z[down.start : down.stop + 1] - line.depth

    def _touched(
        self, normal: int, at: float, line: CarriesAlongLine, run: slice, down: slice
    ) -> Mask:
        """Cells that the axis runs in or along."""
        u, v = self._edges(normal, at, line, run, down)
        inside = [(e[:-1] <= _SAME) & (e[1:] >= -_SAME) for e in (u, v)]
        return np.asarray(inside[0][:, None] & inside[1][None, :])

    def _across(
        self,
        number: int,
        line: CarriesAlongLine,
        normal: int,
        at: float,
        along: int,
        share: float,
        run: slice,
        down: slice,
    ) -> None:
        """Lay one slice of a stretch, in the plane across it."""
        place = self._plane(normal, along, run, down)
        touched, air = self._touched(normal, at, line, run, down), self.air[place]
        if not (touched & air).any():
            return
        k1, k2 = (float(k[place][touched & air].mean()) for k in (self.horizontal, self.vertical))
        # soil that differs along and across its layers is even soil in stretched coordinates
        skew = (k2 / k1) ** 0.25
        u, v = self._edges(normal, at, line, run, down)
        u, v, radius = u * skew, v / skew, 0.5 * line.radius * (skew + 1.0 / skew)
        centres = [0.5 * (e[1:] + e[:-1]) for e in (u, v)]
        away = np.hypot(centres[0][:, None], centres[1][None, :])
        joined = touched | (away < radius)
        self.owner[place] = np.where(joined & air, number, self.owner[place])
        for axis, (factor, distance) in zip(
            (normal, 2), face_factors((u, v), joined, radius), strict=True
        ):
            self._keep(axis, place, 1.0 + share * (factor - 1.0), distance)
        if line.depth <= line.radius + _SAME:
            inside = (u[:-1] >= -radius - _SAME) & (u[1:] <= radius + _SAME)
            top = self.grid.index_of(2, 0.0)
            self.opened[place[:2]] |= inside & self.air[(*place[:2], top)]

    def _keep(
        self,
        axis: int,
        place: tuple[slice | int, slice | int, slice],
        factor: Array,
        distance: Array,
    ) -> None:
        """Note factors of faces; where lines cross, the nearer one has the say."""
        numbers = np.arange(self.air.size).reshape(self.air.shape)[place]
        low = numbers[: factor.shape[0], : factor.shape[1]]
        mine = self.faces[axis]
        for cell, f, d in zip(low.ravel(), factor.ravel(), distance.ravel(), strict=True):
            if int(cell) not in mine or d < mine[int(cell)][0]:
                mine[int(cell)] = (float(d), float(f))

    def conductors(self, names: tuple[str, ...], port: Index) -> LineConductors:
        """All lines laid."""
        cells = np.flatnonzero(self.owner.ravel() >= 0)
        size = np.prod(
            [self.grid.sizes(a)[i] for a, i in enumerate(np.unravel_index(cells, self.air.shape))],
            axis=0,
        )
        mean = np.sqrt(self.horizontal.ravel()[cells] * self.vertical.ravel()[cells])
        faces = [(axis, cell, f) for axis in range(3) for cell, (_, f) in self.faces[axis].items()]
        return LineConductors(
            names=names,
            port=port,
            line=self.owner.ravel()[cells],
            cell=cells,
            geometry=JOINED * mean * np.cbrt(size),
            face_axis=np.array([f[0] for f in faces], dtype=np.int64),
            face_cell=np.array([f[1] for f in faces], dtype=np.int64),
            face_factor=np.array([f[2] for f in faces], dtype=float),
            opened=self.opened,
        )
