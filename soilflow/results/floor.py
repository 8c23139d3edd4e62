"""The floor seen from below: pressure under the slab, column by column."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import pressure_from_u
from soilflow.errors import InputError
from soilflow.flow.conductances import area_conductance
from soilflow.flow.response import SoilResponse
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork

__all__ = ["FloorPressure", "FloorResponse", "floor_fields", "floor_response", "pressure_at"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorPressure:
    """Pressure under the slab.

    Parameters
    ----------
    x, y : array, shape (nx + 1,), (ny + 1,)
        Column edges over the floor. [m]
    floor : array of bool, shape (nx, ny)
        Columns under the slab.
    pressure : array, shape (nx, ny)
        Pressure relative to the house's room; NaN off the floor and where no air reaches. [Pa]
    open_x, open_y : array of bool, shape (nx - 1, ny), (nx, ny - 1)
        Column borders that neither a footing nor a border between rooms crosses.
    """

    x: Array
    y: Array
    floor: Mask
    pressure: Array
    open_x: Mask
    open_y: Mask

    @property
    def areas(self) -> Array:
        """Area of each column, shape (nx, ny). [m2]"""
        return np.outer(np.diff(self.x), np.diff(self.y))

    @property
    def no_air_area(self) -> float:
        """Floor with no air path below it. [m2]"""
        return float(self.areas[self.floor & np.isnan(self.pressure)].sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorResponse:
    """Unit fields under the slab, from which every pressure there recombines.

    Parameters
    ----------
    x, y : array, shape (nx + 1,), (ny + 1,)
        Column edges over the floor. [m]
    floor_port : array of int, shape (nx, ny)
        Port of the room over each column, -1 off the slab.
    unit_fields : array, shape (p, nx, ny)
        Unit field of each port at the slab underside; NaN where no air reaches. [-]
    open_x, open_y : array of bool, shape (nx - 1, ny), (nx, ny - 1)
        Column borders that neither a footing nor a border between rooms crosses.
    """

    x: Array
    y: Array
    floor_port: NDArray[np.int64]
    unit_fields: Array
    open_x: Mask
    open_y: Mask

    @property
    def floor(self) -> Mask:
        """Columns under the slab, shape (nx, ny)."""
        return self.floor_port >= 0

    def pressure(self, u: Array, pressure_atm: float, *, room: int | None = None) -> FloorPressure:
        """Recombine the unit fields.

        Parameters
        ----------
        u : array, shape (p,)
            p + p^2 / (2 p_atm) at each port. [Pa]
        pressure_atm : float
            Atmospheric pressure. [Pa]
        room : int or None
            Port of the room whose floor alone is wanted, its own pressure taken off; None takes
            all floor, against the house.

        Returns
        -------
        floor_pressure : FloorPressure
            Pressure under the slab.
        """
        field = np.tensordot(np.asarray(u, dtype=float), self.unit_fields, axes=1)
        there = ~np.isnan(field)
        pressure = np.full(field.shape, np.nan)
        pressure[there] = pressure_from_u(field[there], pressure_atm)
        floor = self.floor
        if room is not None:
            floor = self.floor_port == room
            pressure = np.where(
                floor, pressure - pressure_from_u(float(u[room]), pressure_atm), np.nan
            )
        return FloorPressure(
            x=self.x,
            y=self.y,
            floor=floor,
            pressure=pressure,
            open_x=self.open_x,
            open_y=self.open_y,
        )


def floor_response(soil: SoilMap, network: SoilNetwork, response: SoilResponse) -> FloorResponse:
    """Carry the unit fields to the slab underside.

    The gap's own pressure counts where there is a gap; else the top soil cell is carried up
    through its half cell against the leak of the slab body. Pits and holes through the slab
    count at their own pressure.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    response : SoilResponse
        Its unit fields.

    Returns
    -------
    floor : FloorResponse
        Cut to the columns of the floor.

    Raises
    ------
    InputError
        There is no slab in the map.
    """
    return floor_fields(soil, network, response.unit_fields)


def floor_fields(soil: SoilMap, network: SoilNetwork, unit_fields: Array) -> FloorResponse:
    """Carry some unit fields to the slab underside, as `floor_response` does with all.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    unit_fields : array, shape (p, nodes)
        Unit field of each port; what stands for a port depends on its own row alone. [-]

    Returns
    -------
    floor : FloorResponse
        Cut to the columns of the floor.

    Raises
    ------
    InputError
        There is no slab in the map.
    """
    if not soil.floor.any():
        raise InputError("the soil map has no slab, so there is no floor to look at")
    top = soil.top_layer
    fields = np.full((len(soil.ports), *soil.floor.shape), np.nan)
    cell = network.cell_node[:, :, top]
    have = (cell >= 0) & soil.floor
    fields[:, have] = unit_fields[:, cell[have]]
    _carry_up(soil, network.viscosity, have, fields)
    gap = (network.sheet_node >= 0) & soil.floor
    fields[:, gap] = unit_fields[:, network.sheet_node[gap]]
    dug = soil.cavity[:, :, top]
    for b in range(len(soil.held)):
        mine = (dug == b) & soil.floor
        fields[:, mine] = 0.0
        fields[soil.body_port(b), mine] = 1.0
    at_port = np.maximum(soil.hole_port, soil.conductors.over(soil.conductors.port))
    held = (at_port >= 0) & soil.floor
    fields[:, held] = 0.0
    fields[at_port[held], held] = 1.0
    line = soil.conductors.over(network.line_node)
    fields[:, line >= 0] = unit_fields[:, line[line >= 0]]
    ix, iy = np.nonzero(soil.floor)
    cut = slice(ix.min(), ix.max() + 1), slice(iy.min(), iy.max() + 1)
    above = soil.floor_port[cut]
    return FloorResponse(
        x=soil.grid.x[cut[0].start : cut[0].stop + 1],
        y=soil.grid.y[cut[1].start : cut[1].stop + 1],
        floor_port=above,
        unit_fields=fields[:, cut[0], cut[1]],
        open_x=soil.open_x[cut[0].start : cut[0].stop - 1, cut[1], top]
        & _one_room(above[:-1], above[1:]),
        open_y=soil.open_y[cut[0], cut[1].start : cut[1].stop - 1, top]
        & _one_room(above[:, :-1], above[:, 1:]),
    )


def _one_room(one: NDArray[np.int64], other: NDArray[np.int64]) -> Mask:
    """Whether neighbouring columns are not under the slabs of two different rooms."""
    return (one == other) | (one < 0) | (other < 0)


def _carry_up(soil: SoilMap, viscosity: float, have: Mask, fields: Array) -> None:
    """Value at the slab underside: soil below and the slab's leak above, in balance."""
    leaks = soil.area_leaks
    ix, iy, iz = np.unravel_index(leaks.cell, soil.grid.shape)
    under = (iz == soil.top_layer) & np.isfinite(leaks.leakance) & (leaks.axis == 2)
    under &= have[ix, iy] & (soil.conductors.opened[ix, iy] < 0)
    ix, iy, port = ix[under], iy[under], leaks.port[under]
    area, leakance = leaks.area[under], leaks.leakance[under]
    half, permeability = soil.beside(leaks.cell[under], leaks.axis[under], area)
    below = area_conductance(area, np.full(area.shape, np.inf), half, permeability, viscosity)
    above = area * leakance / viscosity
    weight = below / (below + above)
    fields[:, ix, iy] *= weight
    fields[port, ix, iy] += 1.0 - weight


def pressure_at(floor: FloorPressure, x: float, y: float) -> float:
    """Pressure under the slab at a point, bilinear between columns that no footing parts.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    x, y : float
        Place in plan. [m]

    Returns
    -------
    pressure : float
        NaN where no air reaches. [Pa]
    """
    cx, cy = 0.5 * (floor.x[1:] + floor.x[:-1]), 0.5 * (floor.y[1:] + floor.y[:-1])
    i = int(np.clip(np.searchsorted(floor.x, x) - 1, 0, cx.size - 1))
    j = int(np.clip(np.searchsorted(floor.y, y) - 1, 0, cy.size - 1))
    if np.isnan(floor.pressure[i, j]):
        return float("nan")
    a = i + (1 if x > cx[i] else -1)
    b = j + (1 if y > cy[j] else -1)
    in_x = 0 <= a < cx.size and bool(floor.open_x[min(i, a), j])
    in_y = 0 <= b < cy.size and bool(floor.open_y[i, min(j, b)])
    wx = abs((x - cx[i]) / (cx[a] - cx[i])) if in_x else 0.0
    wy = abs((y - cy[j]) / (cy[b] - cy[j])) if in_y else 0.0
    total = weight = 0.0
    for column, w in (
        ((i, j), (1 - wx) * (1 - wy)),
        ((a, j), wx * (1 - wy)),
        ((i, b), (1 - wx) * wy),
        ((a, b), wx * wy),
    ):
        if w > 0.0 and not np.isnan(floor.pressure[column]):
            total += w * float(floor.pressure[column])
            weight += w
    return total / weight
