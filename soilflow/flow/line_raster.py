"""Line conductors laid onto the cells of a grid: which cells they meet, and how closely."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.layout.bodies import HeldBody, OnLine
from soilflow.site.effects import CarriesAlongLine, Effect

__all__ = ["LineConductors", "lay_lines", "line_geometry"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class LineConductors:
    """Lines of one pressure each, and the soil cells they pass.

    Parameters
    ----------
    names : tuple of str
        The lines.
    port : array of int, shape (n,)
        Port of each line, -1 for one that ends blind.
    line, cell : array of int, shape (m,)
        Line and flat cell index of each meeting.
    geometry : array, shape (m,)
        Conductance from line to cell times viscosity. [m3]
    """

    names: tuple[str, ...]
    port: Index
    line: Index
    cell: Index
    geometry: Array


def line_geometry(
    length: Array,
    radius: float,
    sizes: tuple[Array, Array],
    permeabilities: tuple[Array, Array],
    *,
    mirrored: bool = False,
) -> Array:
    """Conductance from a line to the cell it passes through, times viscosity.

    2 pi sqrt(k1 k2) L / ln(r_cell / r), r_cell the radius at which the field around the line has
    the value of the cell: 0.14 sqrt(h1^2 + h2^2) in soil alike in all directions.

    Parameters
    ----------
    length : array, shape (n,)
        Length of line in the cell. [m]
    radius : float
        Radius of the line. [m]
    sizes : pair of array, shape (n,)
        Cell sizes across the line. [m]
    permeabilities : pair of array, shape (n,)
        Permeability along the same two directions. [m2]
    mirrored : bool
        The line lies in the upper face of its cell, which is sealed: half of twice the cell.

    Returns
    -------
    geometry : array, shape (n,)
        Infinite where the bore is as wide as its cell. [m3]

    Notes
    -----
    Where the bore is as wide as the cell's own radius nothing is missing: the line is then as
    good as the cell, and 1000 times the mean conductance of the cell stands for that.

    References
    ----------
    Peaceman 1983, SPE J. 23:531-543 (anisotropic; 0.14 for equal permeabilities), from memory.
    """
    (h1, h2), (k1, k2) = sizes, permeabilities
    h2 = 2.0 * h2 if mirrored else h2
    a = (k2 / k1) ** 0.25
    r_cell = 0.28 * np.sqrt((a * h1) ** 2 + (h2 / a) ** 2) / (a + 1.0 / a)
    least = 2.0 * math.pi / 1000.0
    missing = np.maximum(np.log(np.maximum(r_cell / radius, 1.0)), least)
    whole = 2.0 * math.pi * np.sqrt(k1 * k2) * length / missing
    return np.asarray(0.5 * whole if mirrored else whole)


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
    """Find the cells each line conductor passes, and its port.

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
    port = np.full(len(lines), -1, dtype=np.int64)
    rows: list[tuple[Index, Index, Array]] = []
    for i, line in enumerate(lines):
        owners = [ports.index(p) for p, name in on_line if name == line.name]
        if line.reference:
            owners.append(ports.index(line.reference))
        for cells, length, normal in _meetings(grid, line):
            place = np.unravel_index(cells, grid.shape)
            met = cavity[place]
            owners += [ports.index(held[int(b)].port) for b in np.unique(met[met >= 0])]
            use = air[place]
            at = tuple(axis[use] for axis in place)
            geometry = line_geometry(
                length[use],
                line.radius,
                (grid.sizes(normal)[at[normal]], grid.sizes(2)[at[2]]),
                (horizontal[at], vertical[at]),
                mirrored=line.depth == 0.0,
            )
            rows.append((np.full(geometry.shape, i), cells[use], geometry))
        if len(set(owners)) > 1:
            both = " and ".join(f'"{ports[p]}"' for p in sorted(set(owners)))
            raise InputError(f'the line "{line.name}" is tied to {both}; it can have one pressure')
        if owners:
            port[i] = owners[0]
    return LineConductors(
        names=names,
        port=port,
        line=np.concatenate([np.zeros(0, np.int64), *(r[0] for r in rows)]),
        cell=np.concatenate([np.zeros(0, np.int64), *(r[1] for r in rows)]),
        geometry=np.concatenate([np.zeros(0), *(r[2] for r in rows)]),
    )


def _meetings(grid: Grid, line: CarriesAlongLine) -> list[tuple[Index, Array, int]]:
    """Flat cells, length in each [m] and the axis across, for every stretch of a line."""
    found = []
    layer = int(np.searchsorted(grid.z, line.depth, side="right")) - 1
    for a, b in itertools.pairwise(line.points):
        normal = 0 if a[0] == b[0] else 1
        along = 1 - normal
        edges = grid.edges[along]
        low, high = sorted((a[along], b[along]))
        length = np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0.0, None)
        row = int(np.searchsorted(grid.edges[normal], a[normal], side="right")) - 1
        (where,) = np.nonzero(length > 1e-9)
        place = [where, where, np.full(where.shape, layer)]
        place[normal] = np.full(where.shape, row)
        cells = np.ravel_multi_index(tuple(place), grid.shape).astype(np.int64)
        found.append((cells, length[where], normal))
    return found
