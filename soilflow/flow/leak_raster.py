"""Leaks laid onto the cells of a grid, cut by geometry at the rims of held bodies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from soilflow.flow.grid import Grid
from soilflow.layout.bodies import HeldBody
from soilflow.site.effects import Effect, LeaksAlongLine, LeaksOverArea

__all__ = ["AreaLeaks", "DirectLeaks", "LeakRaster", "LineLeaks", "columns_in"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class AreaLeaks:
    """Upper cell faces that leak to a reference, one entry per face.

    Parameters
    ----------
    cell : array of int, shape (n,)
        Flat cell index under the face.
    area : array, shape (n,)
        Leaking area. [m2]
    leakance : array, shape (n,)
        Permeability over thickness of the cover, infinite for open ground. [m]
    port : array of int, shape (n,)
        Index into the ports of the map.
    """

    cell: Index
    area: Array
    leakance: Array
    port: Index


@dataclass(frozen=True, kw_only=True, eq=False)
class LineLeaks:
    """Stretches of slot, one entry per cell and side.

    Parameters
    ----------
    cell : array of int, shape (n,)
        Flat index of the cell the slot opens into.
    length : array, shape (n,)
        Length of slot in that cell. [m]
    aperture, path : array, shape (n,)
        Width of the slot and its length along the flow. [m]
    share : array, shape (n,)
        Part of the slot's conductance this side carries: 1 in a corner, 0.5 in open floor. [-]
    normal : array of int, shape (n,)
        Axis across the slot, 0 or 1.
    port : array of int, shape (n,)
        Index into the ports of the map.
    line : array of int, shape (n,)
        Index into ``SoilMap.line_names``.
    """

    cell: Index
    length: Array
    aperture: Array
    path: Array
    share: Array
    normal: Index
    port: Index
    line: Index


@dataclass(frozen=True, kw_only=True, eq=False)
class DirectLeaks:
    """Leaks that open straight into a held body, without soil between.

    Parameters
    ----------
    body, port : array of int, shape (n,)
        Ports at the two ends, indices into the ports of the map.
    geometry : array, shape (n,)
        Conductance times viscosity. [m3]
    line : array of int, shape (n,)
        Index into ``SoilMap.line_names``; -1 for the slab body.
    """

    body: Index
    port: Index
    geometry: Array
    line: Index


def _ints(values: Sequence[int]) -> Index:
    return np.asarray(values, dtype=np.int64)


def columns_in(grid: Grid, plan: shapely.Geometry) -> Mask:
    """Columns whose centre lies in a plan.

    Parameters
    ----------
    grid : Grid
        The grid.
    plan : shapely geometry
        An area. [m]

    Returns
    -------
    columns : array of bool, shape (nx, ny)
        Which columns lie in it.
    """
    xx, yy = np.meshgrid(grid.centres(0), grid.centres(1), indexing="ij")
    return np.asarray(shapely.contains_xy(plan, xx, yy), dtype=bool)


class LeakRaster:
    """Lays leaks onto cells, cutting them at the rims of the held bodies.

    Parameters
    ----------
    grid : Grid
        The grid, shape (nx, ny, nz).
    air : array of bool, shape (nx, ny, nz)
        Soil cells with an air path.
    cavity : array of int, shape (nx, ny, nz)
        Index of the held body a cell lies in, -1 for none.
    open_x, open_y : array of bool, shape (nx - 1, ny, nz), (nx, ny - 1, nz)
        Inner faces that no thin wall blocks.
    held : sequence of HeldBody
        The bodies that ``cavity`` counts.
    ports : tuple of str
        Names of all ports.
    body_port : sequence of int
        Index into ``ports`` of each body.
    """

    def __init__(
        self,
        grid: Grid,
        air: Mask,
        cavity: NDArray[np.int16],
        open_x: Mask,
        open_y: Mask,
        held: Sequence[HeldBody],
        ports: tuple[str, ...],
        body_port: Sequence[int],
    ) -> None:
        self.grid, self.air, self.cavity = grid, air, cavity
        self.open = (open_x, open_y)
        self.held, self.ports, self.body_port = held, ports, body_port
        self.top = grid.index_of(2, 0.0)

    def area_leaks(
        self, effects: Sequence[Effect]
    ) -> tuple[AreaLeaks, list[tuple[int, int, float, int]]]:
        """Area leaks per cell, and those that open into a body.

        Parameters
        ----------
        effects : sequence of Effect
            All effects; those of other kinds are passed over.

        Returns
        -------
        leaks : AreaLeaks
            Cut at the rims.
        direct : list of (int, int, float, int)
            Ports of body and reference, conductance times viscosity, -1 for no slot. [m3]
        """
        grid = self.grid
        cells, areas, leakances, ports = [], [], [], []
        direct: list[tuple[int, int, float, int]] = []
        for effect in effects:
            if not isinstance(effect, LeaksOverArea) or effect.leakance == 0.0:
                continue
            layer = grid.index_of(2, effect.depth)
            columns = columns_in(grid, effect.plan)
            area = np.where(columns, np.outer(grid.sizes(0), grid.sizes(1)), 0.0)
            port = self.ports.index(effect.reference)
            if layer == self.top and np.isfinite(effect.leakance):
                direct += self._cut_at_rims(area, columns, effect.leakance, port)
            area = np.where(self.air[:, :, layer], area, 0.0)
            ix, iy = np.nonzero(area)
            cells.append(np.ravel_multi_index((ix, iy, np.full(ix.shape, layer)), grid.shape))
            areas.append(area[ix, iy])
            leakances.append(np.full(ix.shape, effect.leakance))
            ports.append(np.full(ix.shape, port))
        return (
            AreaLeaks(
                cell=_ints(np.concatenate([*cells, []]).tolist()),
                area=np.concatenate([*areas, []]),
                leakance=np.concatenate([*leakances, []]),
                port=_ints(np.concatenate([*ports, []]).tolist()),
            ),
            direct,
        )

    def _cut_at_rims(
        self, area: Array, columns: Mask, leakance: float, port: int
    ) -> list[tuple[int, int, float, int]]:
        """Take the rims out of a leaking area, by geometry; returns what opens into bodies."""
        gx, gy, _ = self.grid.edges
        direct = []
        for i, item in enumerate(self.held):
            dug = self.cavity[:, :, self.top] == i
            if not dug.any() or not (dug & columns).any():
                continue
            ix, iy = np.nonzero(dug)
            total = 0.0
            for a in range(max(ix.min() - 1, 0), min(ix.max() + 2, area.shape[0])):
                for b in range(max(iy.min() - 1, 0), min(iy.max() + 2, area.shape[1])):
                    if columns[a, b]:
                        cut = item.body.rim_area(gx[a], gx[a + 1], gy[b], gy[b + 1])
                        area[a, b] = max(area[a, b] - cut, 0.0)
                        total += cut
            direct.append((self.body_port[i], port, total * leakance, -1))
            self._move_leftovers(area, dug, columns)
        return direct

    def _move_leftovers(self, area: Array, dug: Mask, columns: Mask) -> None:
        """Give what a rim leaves of a dug cell's area to its soil neighbours under the cover."""
        for a, b in zip(*np.nonzero(dug & (area > 0)), strict=True):
            around = [(a - 1, b), (a + 1, b), (a, b - 1), (a, b + 1)]
            soil = [n for n in around if self._is_soil(n) and columns[n]]
            for n in soil:
                area[n] += area[a, b] / len(soil)
            area[a, b] = 0.0

    def _is_soil(self, column: tuple[int, int]) -> bool:
        a, b = column
        nx, ny, _ = self.grid.shape
        return 0 <= a < nx and 0 <= b < ny and bool(self.air[a, b, self.top])

    def line_leaks(
        self, effects: Sequence[Effect]
    ) -> tuple[LineLeaks, list[tuple[int, int, float, int]]]:
        """Slots per cell and side, and those that open into a body.

        Parameters
        ----------
        effects : sequence of Effect
            All effects; those of other kinds are passed over.

        Returns
        -------
        leaks : LineLeaks
            Cut at the rims.
        direct : list of (int, int, float, int)
            Ports of body and reference, conductance times viscosity, number of the slot. [m3]
        """
        rows: list[tuple[int, float, float, float, float, int, int, int]] = []
        direct: list[tuple[int, int, float, int]] = []
        number = -1
        for effect in effects:
            if not isinstance(effect, LeaksAlongLine):
                continue
            number += 1
            if effect.aperture == 0.0:
                continue
            normal = 0 if effect.start[0] == effect.end[0] else 1
            port = self.ports.index(effect.reference)
            sides = self._sides(effect, normal)
            over = self._bodies_beside(normal, sides)
            for side, where in sides:
                self._one_side(effect, normal, side, where, over, port, number, rows, direct)
        table = list(zip(*rows, strict=True)) if rows else [()] * 8
        return (
            LineLeaks(
                cell=_ints(table[0]),
                length=np.array(table[1], dtype=float),
                aperture=np.array(table[2], dtype=float),
                path=np.array(table[3], dtype=float),
                share=np.array(table[4], dtype=float),
                normal=_ints(table[5]),
                port=_ints(table[6]),
                line=_ints(table[7]),
            ),
            direct,
        )

    def _sides(self, effect: LeaksAlongLine, normal: int) -> list[tuple[int, Array]]:
        """Rows of cells beside a slot with, per cell along it, the share it carries."""
        line = self.grid.index_of(normal, effect.start[normal])
        usable = self.air[:, :, self.top] | (self.cavity[:, :, self.top] >= 0)
        n = self.grid.shape[normal]
        rows = [line - 1, line]
        have = [
            np.take(usable, r, axis=normal)
            if 0 <= r < n
            else np.zeros(self.grid.shape[1 - normal], bool)
            for r in rows
        ]
        faces = self.open[normal][:, :, self.top]
        joined = np.take(faces, line - 1, axis=normal) if 0 < line < n else np.zeros_like(have[0])
        inner = 1 if effect.inward[normal] > 0 else 0
        shares = []
        for s in range(2):
            both = have[0] & have[1]
            alone = have[s] & ~have[1 - s]
            walled = both & ~joined & (s == inner)
            shares.append(np.where(both & joined, 0.5, 0.0) + np.where(alone | walled, 1.0, 0.0))
        return list(zip(rows, shares, strict=True))

    def _bodies_beside(self, normal: int, sides: Sequence[tuple[int, Array]]) -> list[int]:
        """Bodies on either side of a slot: where it opens over one, all of it does."""
        dug = self.cavity[:, :, self.top]
        rows = [np.take(dug, row, axis=normal) for row, share in sides if share.any()]
        return sorted({int(i) for row in rows for i in np.unique(row)} - {-1})

    def _one_side(
        self,
        effect: LeaksAlongLine,
        normal: int,
        row: int,
        share: Array,
        over: Sequence[int],
        port: int,
        number: int,
        rows: list[tuple[int, float, float, float, float, int, int, int]],
        direct: list[tuple[int, int, float, int]],
    ) -> None:
        """Cut one side of a slot into cells, the parts over a body going straight into it."""
        along = 1 - normal
        edges = self.grid.edges[along]
        lo, hi = sorted((effect.start[along], effect.end[along]))
        length = np.clip(np.minimum(edges[1:], hi) - np.maximum(edges[:-1], lo), 0.0, None)
        length = np.where(share > 0, length, 0.0)
        column = [0, 0]
        column[normal] = row
        cubic = effect.aperture**3 / (12.0 * effect.path)
        for i in over:
            for a, b in self.held[i].body.rim_intervals(along, effect.start[normal]):
                cut = np.clip(
                    np.minimum(np.minimum(edges[1:], hi), b)
                    - np.maximum(np.maximum(edges[:-1], lo), a),
                    0.0,
                    None,
                )
                cut = np.minimum(cut, length)
                length = length - cut
                geometry = cubic * float(np.sum(cut * share))
                if geometry > 0.0:
                    direct.append((self.body_port[i], port, geometry, number))
        soil = np.take(self.air[:, :, self.top], row, axis=normal) if share.any() else share > 0
        for k in np.flatnonzero((length > 0) & (share > 0) & ~soil):
            target = np.flatnonzero(soil & (share > 0))
            if target.size:
                length[target[np.argmin(np.abs(target - k))]] += length[k]
        for k in np.flatnonzero((length > 0) & (share > 0) & soil):
            column[along] = int(k)
            cell = int(np.ravel_multi_index((column[0], column[1], self.top), self.grid.shape))
            rows.append(
                (
                    cell,
                    float(length[k]),
                    effect.aperture,
                    effect.path,
                    float(share[k]),
                    normal,
                    port,
                    number,
                )
            )
