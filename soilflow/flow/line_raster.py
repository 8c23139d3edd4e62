"""Line conductors laid onto a grid: what holds each, and which leaks open straight into it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.flow.leaks_on_grid import AreaLeaks, LineLeaks
from soilflow.flow.line_cells import LinesOnCells
from soilflow.flow.line_conductors import LineConductors
from soilflow.layout.bodies import HeldBody, OnLine
from soilflow.site.effects import CarriesAlongLine, Effect

__all__ = ["lay_lines", "leaks_into_lines"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]


def lay_lines(
    grid: Grid,
    effects: Sequence[Effect],
    held: Sequence[HeldBody],
    ports: tuple[str, ...],
    *,
    air: Mask,
    free: Mask,
    holes: Index,
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
    free : array of bool, shape (nx, ny)
        Columns under the floor with neither a solid nor a held body below it.
    holes : array of int, shape (nx, ny)
        Port of the hole in the slab over each column, -1 for none.
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
        A suction point on a line that is not there, or two pressures for lines that meet.
    """
    lines = [e for e in effects if isinstance(e, CarriesAlongLine)]
    names = tuple(line.name for line in lines)
    on_line = [(item.port, item.body.line) for item in held if isinstance(item.body, OnLine)]
    for _, name in on_line:
        if name not in names:
            have = ", ".join(f'"{n}"' for n in names) or "none"
            raise InputError(f'no line conductor "{name}" on this site; it has {have}')
    laid = LinesOnCells(grid, air, free, horizontal, vertical)
    owners: list[list[str]] = []
    for i, line in enumerate(lines):
        mine = [p for p, name in on_line if name == line.name]
        mine += [line.reference] if line.reference else []
        for stretch in itertools.pairwise(line.points):
            mine += [held[b].port for b in laid.lay(i, line, *stretch, cavity)]
        mine += [ports[p] for p in np.unique(holes[laid.opened == i]) if p >= 0]
        owners.append(mine)
    group = laid.connected(len(lines))
    port = np.full(len(lines), -1, dtype=np.int64)
    for i, line in enumerate(lines):
        tied = list(
            dict.fromkeys(p for j, o in enumerate(owners) if group[j] == group[i] for p in o)
        )
        if len(tied) > 1:
            both = " and ".join(f'"{name}"' for name in tied)
            raise InputError(f'the line "{line.name}" is tied to {both}; it can have one pressure')
        if tied:
            port[i] = ports.index(tied[0])
    return laid.conductors(names, port, group)


def leaks_into_lines(
    grid: Grid, area: AreaLeaks, line: LineLeaks, conductors: LineConductors
) -> tuple[AreaLeaks, LineLeaks, list[tuple[int, int, float, int]]]:
    """Part the leaks that open straight into a line which is a port from the rest.

    Parameters
    ----------
    grid : Grid
        The grid.
    area : AreaLeaks
        Leaks of faces.
    line : LineLeaks
        Leaks of slots.
    conductors : LineConductors
        The lines.

    Returns
    -------
    area, line : AreaLeaks, LineLeaks
        What is left of them.
    direct : list of (int, int, float, int)
        Ports of line and reference, conductance times viscosity, number of the slot. [m3]
    """
    top = grid.index_of(2, 0.0)
    ports = conductors.over(conductors.port)

    def met(cell: Index) -> Index:
        ix, iy, iz = np.unravel_index(cell, grid.shape)
        return np.where(iz == top, ports[ix, iy], -1)

    into = np.where(area.axis == 2, met(area.cell), -1)
    slot = met(line.cell)
    geometry = line.share * line.aperture**3 / (12.0 * line.path) * line.length
    direct = [
        (int(p), int(area.port[i]), float(area.area[i] * area.leakance[i]), -1)
        for i, p in enumerate(into)
        if p >= 0
    ]
    direct += [
        (int(p), int(line.port[i]), float(geometry[i]), int(line.line[i]))
        for i, p in enumerate(slot)
        if p >= 0
    ]
    # a hole has made the line a part of the room it opens to: nothing flows between the two
    return _kept(area, into < 0), _kept(line, slot < 0), [d for d in direct if d[0] != d[1]]


Leaks = TypeVar("Leaks", AreaLeaks, LineLeaks)


def _kept(leaks: Leaks, which: Mask) -> Leaks:
    parts = {f.name: getattr(leaks, f.name)[which] for f in fields(leaks)}
    return replace(leaks, **parts)
