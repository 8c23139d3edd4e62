"""What the model thinks is there: permeability per cell, cavities, sheets and leaks on a grid.

Built from effects and held bodies alone; no trade noun is known here. Everything that solves
or draws reads this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.bounds import LARGEST
from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.flow.leak_raster import LeakRaster, columns_in
from soilflow.flow.leaks_on_grid import AreaLeaks, DirectLeaks, LineLeaks
from soilflow.flow.line_conductors import LineConductors
from soilflow.flow.line_raster import lay_lines, leaks_into_lines
from soilflow.layout.bodies import HeldBody
from soilflow.site.effects import (
    Blocks,
    BlocksFace,
    CarriesAlongLine,
    CarriesAlongSheet,
    Effect,
    LeaksAlongLine,
    LeaksOverArea,
    LeaksOverFace,
    MultipliesPermeability,
    Prism,
    SetsPermeability,
)

__all__ = ["NO_AIR_PATH", "SoilMap", "build_soil_map"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LEAKS = LeaksOverArea | LeaksOverFace | LeaksAlongLine

# Soil tighter than this counts as having no air path at all (chosen by the project). [m2]
NO_AIR_PATH = 1e-17


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilMap:
    """Soil on a grid, ready for any engine.

    Parameters
    ----------
    grid : Grid
        The grid, shape (nx, ny, nz).
    horizontal, vertical : array, shape (nx, ny, nz)
        Air permeability, zero without an air path; inside cavities that of the soil dug out. [m2]
    air : array of bool, shape (nx, ny, nz)
        Soil cells with an air path, neither solid nor cavity.
    cavity : array of int, shape (nx, ny, nz)
        Index of the held body a cell lies in, -1 for none.
    open_x, open_y : array of bool, shape (nx - 1, ny, nz), (nx, ny - 1, nz)
        Inner faces that no thin wall blocks.
    sheet : array, shape (nx, ny)
        Transmissivity of the gap at the slab underside, 0 for none. [m3]
    floor_port : array of int, shape (nx, ny)
        Port that the slab over a column leaks to, -1 where there is no slab.
    hole_port : array of int, shape (nx, ny)
        Port that a hole in the slab over a column opens to, -1 where there is none.
    ports : tuple of str
        References first, then held bodies.
    held : tuple of HeldBody
        The bodies; ``cavity`` and the ports count them.
    area_leaks, line_leaks, direct_leaks : AreaLeaks, LineLeaks, DirectLeaks
        The leaks.
    line_names : tuple of str
        Names of the slots.
    conductors : LineConductors
        Lines of one pressure.
    """

    grid: Grid
    horizontal: Array
    vertical: Array
    air: Mask
    cavity: NDArray[np.int16]
    open_x: Mask
    open_y: Mask
    sheet: Array
    floor_port: NDArray[np.int64]
    hole_port: NDArray[np.int64]
    ports: tuple[str, ...]
    held: tuple[HeldBody, ...]
    area_leaks: AreaLeaks
    line_leaks: LineLeaks
    direct_leaks: DirectLeaks
    line_names: tuple[str, ...]
    conductors: LineConductors

    @property
    def top_layer(self) -> int:
        """Index of the first cell layer below the slab underside."""
        return self.grid.index_of(2, 0.0)

    @property
    def floor(self) -> Mask:
        """Columns under a slab, shape (nx, ny)."""
        return self.floor_port >= 0

    def beside(
        self, cell: NDArray[np.int64], axis: NDArray[np.int64], area: Array
    ) -> tuple[Array, Array]:
        """What lies between the centres of cells and an area that leaks on one of their faces.

        Parameters
        ----------
        cell : array of int, shape (n,)
            Flat cell indices.
        axis : array of int, shape (n,)
            Axis across the face.
        area : array, shape (n,)
            Leaking area, at a rim less or more than the face. [m2]

        Returns
        -------
        half : array, shape (n,)
            Way through soil of the leaking area's width that resists as half the cell does;
            nothing where a line conductor fills it up to the slab. [m]
        permeability : array, shape (n,)
            Permeability across the face. [m2]
        """
        place = np.unravel_index(cell, self.grid.shape)
        sizes = np.array([self.grid.sizes(a)[place[a]] for a in range(3)])
        across = sizes[axis, np.arange(cell.size)]
        half = 0.5 * across**2 * area / np.prod(sizes, axis=0)
        filled = (axis == 2) & (place[2] == self.top_layer)
        filled &= self.conductors.opened[place[0], place[1]] >= 0
        half = np.where(filled, 0.0, half)
        return half, np.where(axis == 2, self.vertical[place], self.horizontal[place])

    def body_port(self, body: int) -> int:
        """Port of a held body.

        Parameters
        ----------
        body : int
            Index into ``held``.

        Returns
        -------
        port : int
            Index into ``ports``.
        """
        return self.ports.index(self.held[body].port)

    def __repr__(self) -> str:
        soil, dug = int(self.air.sum()), int((self.cavity >= 0).sum())
        return (
            f"SoilMap({self.grid!r}, {soil} soil cells, {dug} dug out, "
            f"{int((self.sheet > 0).sum())} gap cells, {len(self.line_names)} slots, "
            f"ports {', '.join(self.ports)})"
        )


def build_soil_map(grid: Grid, effects: Sequence[Effect], held: Sequence[HeldBody]) -> SoilMap:
    """Lay effects and held bodies onto a grid.

    Parameters
    ----------
    grid : Grid
        With lines on the edges of the effects.
    effects : sequence of Effect
        In order of precedence, the later one wins.
    held : sequence of HeldBody
        Bodies held at the pressure of their port.

    Returns
    -------
    soil_map : SoilMap
        One permeability, state, sheet and set of leaks per cell.

    Raises
    ------
    InputError
        A reference and a body of one name, or a feature off the grid lines.
    """
    horizontal, vertical, solid = _permeability(grid, effects)
    most = max(float(np.max(horizontal)), float(np.max(vertical)))
    if not most <= LARGEST["permeability"]:
        raise InputError(
            f"the soil's permeability comes to {most:.3g} m2 with all that multiplies it, "
            f"more than {LARGEST['permeability']:g} m2; smaller multipliers or spread would work",
            field="ground.layers",
        )
    x, y, z = _centre_arrays(grid)
    cavity = np.full(grid.shape, -1, dtype=np.int16)
    for i, item in enumerate(held):
        cavity[item.body.contains(x, y, z) & ~solid] = i
    enough = (horizontal >= NO_AIR_PATH) & (vertical >= NO_AIR_PATH)
    horizontal, vertical = horizontal * enough, vertical * enough
    air = enough & ~solid & (cavity < 0)
    open_x, open_y = _open_faces(grid, effects)
    ports = _port_names(effects, held)
    top = grid.index_of(2, 0.0)
    floors, holes = _floor_ports(grid, effects, ports), _hole_ports(grid, effects, ports)
    free = ~solid[:, :, top] & (cavity[:, :, top] < 0)
    conductors = lay_lines(
        grid,
        effects,
        held,
        ports,
        air=air,
        free=free & ((floors >= 0) | (holes >= 0)),
        holes=holes,
        cavity=cavity,
        horizontal=horizontal,
        vertical=vertical,
    )
    # a gap ends where there is a hole in the slab, or a line conductor that fills the column
    opened = conductors.opened >= 0
    sheet = _sheet(grid, effects, free & (holes < 0) & ~opened)
    opens = air.copy()
    opens[:, :, top] |= (sheet > 0.0) | opened
    body_port = [ports.index(item.port) for item in held]
    raster = LeakRaster(grid, opens, air, cavity, open_x, open_y, held, ports, body_port)
    names = tuple(e.name for e in effects if isinstance(e, LeaksAlongLine))
    area, area_direct = raster.area_leaks(effects)
    line, line_direct = raster.line_leaks(effects)
    area, line, into_lines = leaks_into_lines(grid, area, line, conductors)
    direct = [*area_direct, *line_direct, *into_lines]
    return SoilMap(
        grid=grid,
        horizontal=horizontal,
        vertical=vertical,
        air=air,
        cavity=cavity,
        open_x=open_x,
        open_y=open_y,
        sheet=sheet,
        floor_port=floors,
        hole_port=holes,
        ports=ports,
        held=tuple(held),
        area_leaks=area,
        line_leaks=line,
        direct_leaks=DirectLeaks(
            body=np.array([d[0] for d in direct], dtype=np.int64),
            port=np.array([d[1] for d in direct], dtype=np.int64),
            geometry=np.array([d[2] for d in direct], dtype=float),
            line=np.array([d[3] for d in direct], dtype=np.int64),
        ),
        line_names=names,
        conductors=conductors,
    )


def _centre_arrays(grid: Grid) -> tuple[Array, Array, Array]:
    """Cell centres that broadcast to the grid's shape. [m]"""
    x, y, z = (grid.centres(axis) for axis in range(3))
    return x[:, None, None], y[None, :, None], z[None, None, :]


def _cells_in(grid: Grid, where: Prism) -> tuple[Mask, slice]:
    """Columns in a prism and the range of layers it spans."""
    z = grid.centres(2)
    inside = np.flatnonzero((z > where.top) & (z < where.bottom))
    layers = slice(inside[0], inside[-1] + 1) if inside.size else slice(0, 0)
    return columns_in(grid, where.plan), layers


def _permeability(grid: Grid, effects: Sequence[Effect]) -> tuple[Array, Array, Mask]:
    """Permeability along and across, and the solid cells, each of the grid's shape. [m2]"""
    horizontal, vertical = np.zeros(grid.shape), np.zeros(grid.shape)
    solid = np.zeros(grid.shape, dtype=bool)
    for effect in effects:
        if not isinstance(effect, SetsPermeability | MultipliesPermeability | Blocks):
            continue
        columns, layers = _cells_in(grid, effect.where)
        if isinstance(effect, Blocks):
            solid[columns, layers] = True
        elif isinstance(effect, SetsPermeability):
            horizontal[columns, layers] = effect.horizontal
            vertical[columns, layers] = effect.vertical
        else:
            factor = _factor(grid, effect, columns, layers)
            horizontal[columns, layers] *= factor
            vertical[columns, layers] *= factor
    return horizontal, vertical, solid


def _factor(
    grid: Grid, effect: MultipliesPermeability, columns: Mask, layers: slice
) -> float | Array:
    """The multiplier in a region, one number or of shape (columns, layers). [-]"""
    if not callable(effect.factor):
        return effect.factor
    x, y, z = _centre_arrays(grid)
    shape = grid.shape
    field = np.broadcast_to(effect.factor(x, y, z[..., layers]), (*shape[:2], z[..., layers].size))
    return np.asarray(field[columns])


def _open_faces(grid: Grid, effects: Sequence[Effect]) -> tuple[Mask, Mask]:
    """Inner faces along x and along y that no thin wall blocks."""
    nx, ny, nz = grid.shape
    faces = np.ones((nx - 1, ny, nz), dtype=bool), np.ones((nx, ny - 1, nz), dtype=bool)
    z = grid.centres(2)
    for effect in effects:
        if not isinstance(effect, BlocksFace):
            continue
        normal = 0 if effect.start[0] == effect.end[0] else 1
        line = grid.index_of(normal, effect.start[normal])
        if not 0 < line < grid.shape[normal]:
            continue  # on the rim of the grid, which is tight as it is
        along = grid.centres(1 - normal)
        ends = sorted((effect.start[1 - normal], effect.end[1 - normal]))
        where = (along > ends[0]) & (along < ends[1])
        blocked = where[:, None] & ((z > effect.top) & (z < effect.bottom))[None, :]
        if normal == 0:
            faces[0][line - 1][blocked] = False
        else:
            faces[1][:, line - 1][blocked] = False
    return faces


def _port_names(effects: Sequence[Effect], held: Sequence[HeldBody]) -> tuple[str, ...]:
    references = [e.reference for e in effects if isinstance(e, _LEAKS)]
    references += [e.reference for e in effects if isinstance(e, CarriesAlongLine) and e.reference]
    bodies = [item.port for item in held]
    both = set(references) & set(bodies)
    if both:
        raise InputError(f'"{min(both)}" names both a reference and a suction point')
    return tuple(dict.fromkeys([*references, *bodies]))


def _sheet(grid: Grid, effects: Sequence[Effect], free: Mask) -> Array:
    """Transmissivity of the gap, shape (nx, ny); only solids and pits take its place. [m3]"""
    sheet = np.zeros(grid.shape[:2])
    xx, yy = np.meshgrid(grid.centres(0), grid.centres(1), indexing="ij")
    for effect in effects:
        if isinstance(effect, CarriesAlongSheet):
            columns = columns_in(grid, effect.plan)
            sheet[columns] = effect.transmissivity(xx[columns], yy[columns])
    # a gap is air whatever the soil below it holds
    return np.where(free, sheet, 0.0)


def _floor_ports(
    grid: Grid, effects: Sequence[Effect], ports: tuple[str, ...]
) -> NDArray[np.int64]:
    """Port of the slab over each column, -1 for none, shape (nx, ny)."""
    slabs = [e for e in effects if isinstance(e, LeaksOverArea) and e.floor]
    return _ports_over(grid, slabs, ports)


def _hole_ports(grid: Grid, effects: Sequence[Effect], ports: tuple[str, ...]) -> NDArray[np.int64]:
    """Port of the hole in the slab over each column, -1 for none, shape (nx, ny)."""
    holes = [e for e in effects if isinstance(e, LeaksOverArea) and e.hole]
    return _ports_over(grid, holes, ports)


def _ports_over(
    grid: Grid, leaks: Sequence[LeaksOverArea], ports: tuple[str, ...]
) -> NDArray[np.int64]:
    found = np.full(grid.shape[:2], -1, dtype=np.int64)
    for leak in leaks:
        found[columns_in(grid, leak.plan)] = ports.index(leak.reference)
    return found
