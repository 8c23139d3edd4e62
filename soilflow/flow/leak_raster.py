"""Leaks laid onto the cells of a grid, cut by geometry at the rims of held bodies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.flow.leaks_on_grid import AreaLeaks, LineLeaks
from soilflow.layout.bodies import HeldBody
from soilflow.site.effects import Effect, LeaksAlongLine, LeaksOverArea, LeaksOverFace

__all__ = ["LeakRaster", "columns_in"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.int64]


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
        Cells with an air path, in the top layer also by way of a gap above them.
    soil : array of bool, shape (nx, ny, nz)
        Soil cells with an air path of their own.
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
        soil: Mask,
        cavity: NDArray[np.int16],
        open_x: Mask,
        open_y: Mask,
        held: Sequence[HeldBody],
        ports: tuple[str, ...],
        body_port: Sequence[int],
    ) -> None:
        self.grid, self.air, self.soil, self.cavity = grid, air, soil, cavity
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
        rows: list[tuple[Index, Array, float, int, int]] = []
        direct: list[tuple[int, int, float, int]] = []
        for effect in effects:
            if isinstance(effect, LeaksOverArea) and effect.leakance > 0.0:
                rows.append(self._upper_faces(effect, direct))
            elif isinstance(effect, LeaksOverFace) and effect.leakance > 0.0:
                rows.append(self._upright_faces(effect, direct))
        cells = [row[0] for row in rows]
        each = [[np.full(row[0].shape, row[i]) for row in rows] for i in (2, 3, 4)]
        return (
            AreaLeaks(
                cell=_ints(np.concatenate([*cells, []]).tolist()),
                area=np.concatenate([*(row[1] for row in rows), []]),
                leakance=np.concatenate([*each[0], []]),
                port=_ints(np.concatenate([*each[1], []]).tolist()),
                axis=_ints(np.concatenate([*each[2], []]).tolist()),
            ),
            direct,
        )

    def _upper_faces(
        self, effect: LeaksOverArea, direct: list[tuple[int, int, float, int]]
    ) -> tuple[Index, Array, float, int, int]:
        grid = self.grid
        layer = grid.index_of(2, effect.depth)
        columns = columns_in(grid, effect.plan)
        area = np.where(columns, np.outer(grid.sizes(0), grid.sizes(1)), 0.0)
        port = self.ports.index(effect.reference)
        if effect.hole:
            self._refuse_bodies(columns, effect.reference)
        if layer == self.top and np.isfinite(effect.leakance):
            direct += self._cut_at_rims(area, columns, effect.leakance, port)
        area = np.where(self.air[:, :, layer], area, 0.0)
        ix, iy = np.nonzero(area)
        cells = np.ravel_multi_index((ix, iy, np.full(ix.shape, layer)), grid.shape)
        return cells, area[ix, iy], effect.leakance, port, 2

    def _refuse_bodies(self, columns: Mask, reference: str) -> None:
        """A body below a hole in the slab would be held at two pressures."""
        met = np.unique(self.cavity[:, :, self.top][columns])
        if (met >= 0).any():
            name = self.held[int(met.max())].port
            raise InputError(
                f'the pit "{name}" lies under a hole in the slab, open to "{reference}": no '
                "suction builds up there; move the pit, or seal the opening"
            )

    def _upright_faces(
        self, effect: LeaksOverFace, direct: list[tuple[int, int, float, int]]
    ) -> tuple[Index, Array, float, int, int]:
        grid, port = self.grid, self.ports.index(effect.reference)
        normal = 0 if effect.start[0] == effect.end[0] else 1
        line = grid.index_of(normal, effect.start[normal])
        row = line if effect.inward[normal] > 0 else line - 1
        if not 0 <= row < grid.shape[normal]:
            raise InputError(
                f"the face at {effect.start[normal]:g} m looks out of the grid: there is no soil"
            )
        along, down = grid.centres(1 - normal), grid.centres(2)
        low, high = sorted((effect.start[1 - normal], effect.end[1 - normal]))
        where = np.outer(
            (along > low) & (along < high), (down > effect.top) & (down < effect.bottom)
        )
        area = np.outer(grid.sizes(1 - normal), grid.sizes(2))
        dug = np.take(self.cavity, row, axis=normal)
        for i in range(len(self.held)):
            met = float(area[where & (dug == i)].sum())
            if met > 0.0:
                direct.append((self.body_port[i], port, met * effect.leakance, -1))
        a, iz = np.nonzero(where & np.take(self.soil, row, axis=normal))
        place = [a, a, iz]
        place[normal] = np.full(a.shape, row)
        cells = np.ravel_multi_index(tuple(place), grid.shape)
        return cells, area[a, iz], effect.leakance, port, normal

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
        cubic = effect.stretch * effect.aperture**3 / (12.0 * effect.path)
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
                    effect.stretch * float(length[k]),
                    effect.aperture,
                    effect.path,
                    float(share[k]),
                    normal,
                    port,
                    number,
                )
            )
