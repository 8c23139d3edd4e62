"""A soil map as cells for FiPy, the gap under the slab included, and the leaks of those cells.

Nothing here loads FiPy. Of the soil network only the formulas of single leaks are shared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.conductances import area_conductance, slot_legs, star_to_triangle
from soilflow.flow.soil_map import SoilMap

__all__ = ["Cells", "Links", "area_links", "cell_numbers", "cells_with_gap", "flat", "slot_links"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

# Permeability of an open cavity relative to the loosest cell: what stays of the half cell
# inside the cavity is one part in 1e10 of the half cell beside it.
_OPEN = 1e10


@dataclass(frozen=True, kw_only=True, eq=False)
class Cells:
    """The grid with the gap's layer put in, nz + 1 layers where there is a gap.

    Parameters
    ----------
    sizes : tuple of array
        Cell sizes along x, y and z. [m]
    along, across : array, shape (nx, ny, nz)
        Mobility along and across the layers over the largest one; 0 in solids. [-]
    body : array of int, shape (nx, ny, nz)
        Port of the cavity a cell lies in, -1 for none.
    open_x, open_y : array of bool, shape (nx - 1, ny, nz), (nx, ny - 1, nz)
        Inner faces that no thin wall blocks.
    gap : int or None
        Number of the gap's layer.
    mobility : float
        The largest mobility, permeability over viscosity, of soil or gap. [m2/(Pa s)]
    """

    sizes: tuple[Array, Array, Array]
    along: Array
    across: Array
    body: Index
    open_x: Mask
    open_y: Mask
    gap: int | None
    mobility: float


def cells_with_gap(soil: SoilMap, viscosity: float) -> Cells:
    """Mobility per cell, with a layer for the gap above the top soil layer where there is one.

    Along the layer goes transmissivity over its thickness, across it no resistance. In columns
    without gap it lets through what the soil above and below exchange.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    cells : Cells
        The layer of the gap is as thick as the soil layer below it; any thickness would do.
    """
    top, sizes = soil.top_layer, [soil.grid.sizes(axis) for axis in range(3)]
    along = np.where(soil.air, soil.horizontal, 0.0)
    across = np.where(soil.air, soil.vertical, 0.0)
    ports = np.array([*(soil.body_port(b) for b in range(len(soil.held))), -1], dtype=np.int64)
    body = ports[soil.cavity]
    faces = [soil.open_x, soil.open_y]
    has_gap = soil.sheet > 0.0
    gap = top if has_gap.any() else None
    sheet = soil.sheet / sizes[2][top]
    largest = max(float(along.max()), float(across.max()), float(sheet.max()), 1e-300)
    if gap is not None:
        usable = soil.air | (soil.cavity >= 0)
        above = usable[:, :, top - 1] if top > 0 else np.zeros_like(has_gap)
        passes = has_gap | (usable[:, :, top] & above)
        along = np.insert(along, top, sheet, axis=2)
        across = np.insert(across, top, np.where(passes, _OPEN * largest, 0.0), axis=2)
        dug = body[:, :, top]
        if top > 0:
            dug = np.where((dug < 0) & ~has_gap, body[:, :, top - 1], dug)
        body = np.insert(body, top, dug, axis=2)
        faces = [np.insert(is_open, top, is_open[:, :, top], axis=2) for is_open in faces]
        sizes[2] = np.insert(sizes[2], top, sizes[2][top])
    return Cells(
        sizes=(sizes[0], sizes[1], sizes[2]),
        along=np.where(body >= 0, _OPEN, along / largest),
        across=np.where(body >= 0, _OPEN, across / largest),
        body=body,
        open_x=faces[0],
        open_y=faces[1],
        gap=gap,
        mobility=largest / viscosity,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Links:
    """Cells that exchange air with a port.

    Parameters
    ----------
    cell : array of int, shape (n,)
        Number of the cell, x running fastest.
    port : array of int, shape (n,)
        Index into the ports of the map.
    conductance : array, shape (n,)
        Conductance over the largest mobility. [m]
    """

    cell: Index
    port: Index
    conductance: Array


def flat(values: NDArray[Any]) -> NDArray[Any]:
    """Cell values in FiPy's order.

    Parameters
    ----------
    values : array, shape (nx, ny, nz)
        Anything per cell.

    Returns
    -------
    values : array, shape (nx ny nz,)
        The same, x running fastest.
    """
    return values.ravel(order="F")


def cell_numbers(soil: SoilMap, cells: Cells, cell: Index) -> tuple[Index, Index, Mask]:
    """FiPy's numbers of cells of the grid and of the gap cells above them, and where a gap is.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    cells : Cells
        Made from it.
    cell : array of int, shape (n,)
        Flat cell indices of the grid.

    Returns
    -------
    own, above : array of int, shape (n,)
        Number of the cell and of the one above it.
    over_gap : array of bool, shape (n,)
        Whether the one above it is a gap.
    """
    ix, iy, iz = np.unravel_index(cell, soil.grid.shape)
    over_gap = (soil.sheet[ix, iy] > 0.0) & (iz == soil.top_layer)
    down = iz if cells.gap is None else iz + (iz >= cells.gap)
    own, above = (
        np.ravel_multi_index((ix, iy, np.maximum(z, 0)), cells.body.shape, order="F")
        for z in (down, down - 1)
    )
    return own, above, over_gap


def area_links(soil: SoilMap, cells: Cells, viscosity: float) -> Links:
    """What slab body and open ground leak to their references.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    cells : Cells
        Made from it.
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    links : Links
        From the gap where there is one, else from the top soil cell.
    """
    leaks = soil.area_leaks
    own, above, over_gap = cell_numbers(soil, cells, leaks.cell)
    over_gap = over_gap & (leaks.axis == 2)
    half, permeability = soil.beside(leaks.cell, leaks.axis, leaks.area)
    conductance = area_conductance(
        leaks.area, leaks.leakance, np.where(over_gap, 0.0, half), permeability, viscosity
    )
    return Links(
        cell=np.where(over_gap, above, own),
        port=leaks.port,
        conductance=conductance / cells.mobility,
    )


def slot_links(soil: SoilMap, cells: Cells, viscosity: float) -> tuple[Links, Links, Index, Array]:
    """What slots leak to their references, and how they join the gap to the soil below it.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    cells : Cells
        Made from it.
    viscosity : float
        Viscosity of the soil air. [Pa s]

    Returns
    -------
    to_soil, to_gap : Links
        From the soil cell and from the gap cell of each slot to its reference.
    gap_cell : array of int, shape (m,)
        Gap cells joined to the soil cell below them, once per slot.
    between : array, shape (m,)
        Conductance of that joining over the largest mobility. [m]
    """
    leaks = soil.line_leaks
    own, above, over_gap = cell_numbers(soil, cells, leaks.cell)
    ix, iy, iz = np.unravel_index(leaks.cell, soil.grid.shape)
    legs = slot_legs(
        length=leaks.length,
        aperture=leaks.aperture,
        path=leaks.path,
        share=leaks.share,
        across=np.where(leaks.normal == 0, soil.grid.sizes(0)[ix], soil.grid.sizes(1)[iy]),
        down=soil.grid.sizes(2)[iz],
        horizontal=soil.horizontal[ix, iy, iz],
        vertical=soil.vertical[ix, iy, iz],
        sheet=soil.sheet[ix, iy],
        viscosity=viscosity,
    )
    to_soil, to_gap, between = (side / cells.mobility for side in star_to_triangle(*legs))
    return (
        Links(cell=own, port=leaks.port, conductance=to_soil),
        Links(cell=above[over_gap], port=leaks.port[over_gap], conductance=to_gap[over_gap]),
        above[over_gap],
        between[over_gap],
    )
