"""The cells a line conductor fills, and what the faces near it pass.

Around a line the pressure runs as the logarithm of the distance, which two-point fluxes between
cell centres miss by an amount that hangs on the grid. So the cells a bore fills or its axis
touches count as the line itself, and each face near it passes what the logarithm says: the angle
the face takes up, seen from the axis, over the logarithm of the two distances. The true radius
enters there, and the grid drops out, whether cells are wider than the bore or far smaller.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from soilflow.flow.grid import Grid
from soilflow.flow.line_conductors import LineConductors
from soilflow.site.effects import CarriesAlongLine

__all__ = ["LinesOnCells", "face_factors"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

# A line joins the cells it fills as that many times their own conductance would: the loss is far
# below the scheme's error, and the matrix keeps its conditioning.
_JOINED = 1e4
# Cells beyond the bore over which faces follow the logarithm; farther out the two agree.
_RINGS = 6
# A centre this near the bore counts as this near, as a share of the radius.
_NEAREST = 1e-3
# Bounds on a face's factor where distances along it say next to nothing.
_FACTORS = (0.2, 5.0)
_SAME = 1e-6  # on the axis, or on the bore [m]


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


class LinesOnCells:
    """Lines laid onto cells, one stretch after the other.

    Parameters
    ----------
    grid : Grid
        The grid, shape (nx, ny, nz).
    air : array of bool, shape (nx, ny, nz)
        Soil cells with an air path.
    free : array of bool, shape (nx, ny)
        Columns under the floor with neither a solid nor a held body below it.
    horizontal, vertical : array, shape (nx, ny, nz)
        Permeability. [m2]
    """

    def __init__(
        self, grid: Grid, air: Mask, free: Mask, horizontal: Array, vertical: Array
    ) -> None:
        self.grid, self.air, self.free = grid, air, free
        self.horizontal, self.vertical = horizontal, vertical
        self.owner = np.full(grid.shape, -1, dtype=np.int64)
        self.opened = np.full(grid.shape[:2], -1, dtype=np.int64)
        self.meetings: set[tuple[int, int]] = set()
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
        """Lay a straight stretch.

        Parameters
        ----------
        number : int
            Number of the line.
        line : CarriesAlongLine
            The line.
        a, b : tuple of float
            Ends of the stretch in plan, axis-aligned. [m]
        cavity : array of int, shape (nx, ny, nz)
            Index of the held body a cell lies in, -1 for none.

        Returns
        -------
        bodies : list of int
            The bodies its axis runs into.
        """
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
        u, v = self._edges(normal, at, line, run, down)
        if line.depth == 0.0:
            inside = (u[:-1] >= -line.radius - _SAME) & (u[1:] <= line.radius + _SAME)
            columns = place[:2]
            filled = inside & self.free[columns]
            before = self.opened[columns]
            self.meetings |= {(int(other), number) for other in np.unique(before[filled])}
            self.opened[columns] = np.where(filled, number, before)
        touched, air = self._touched(normal, at, line, run, down), self.air[place]
        if not (touched & air).any():
            return
        k1, k2 = (float(k[place][touched & air].mean()) for k in (self.horizontal, self.vertical))
        # soil that differs along and across its layers is even soil in stretched coordinates
        skew = (k2 / k1) ** 0.25
        u, v, radius = u * skew, v / skew, 0.5 * line.radius * (skew + 1.0 / skew)
        centres = [0.5 * (e[1:] + e[:-1]) for e in (u, v)]
        away = np.hypot(centres[0][:, None], centres[1][None, :])
        joined = touched | (away < radius)
        before = self.owner[place]
        self.meetings |= {(int(other), number) for other in np.unique(before[joined & air])}
        self.owner[place] = np.where(joined & air, number, before)
        for axis, (factor, distance) in zip(
            (normal, 2), face_factors((u, v), joined, radius), strict=True
        ):
            self._keep(axis, place, 1.0 + share * (factor - 1.0), distance)

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

    def connected(self, lines: int) -> Index:
        """Find the lines that meet, directly or by way of others.

        Parameters
        ----------
        lines : int
            How many there are.

        Returns
        -------
        first : array of int, shape (n,)
            The first line each is connected with, itself when with none.
        """
        pairs = np.array([m for m in self.meetings if m[0] >= 0], dtype=np.int64).reshape(-1, 2)
        graph = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(lines, lines))
        _, label = connected_components(graph, directed=False)
        return np.array([int(np.argmax(label == own)) for own in label], dtype=np.int64)

    def conductors(self, names: tuple[str, ...], port: Index, group: Index) -> LineConductors:
        """Gather all lines laid; those that meet are one.

        Parameters
        ----------
        names : tuple of str
            The lines.
        port : array of int, shape (n,)
            Port of each group, -1 for one that ends blind.
        group : array of int, shape (n,)
            Group of lines each belongs to.

        Returns
        -------
        conductors : LineConductors
            What the network needs of them.
        """
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
            line=group[self.owner.ravel()[cells]],
            cell=cells,
            geometry=_JOINED * mean * np.cbrt(size),
            face_axis=np.array([f[0] for f in faces], dtype=np.int64),
            face_cell=np.array([f[1] for f in faces], dtype=np.int64),
            face_factor=np.array([f[2] for f in faces], dtype=float),
            opened=np.append(group, -1)[self.opened],
        )
