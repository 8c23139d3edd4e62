"""The grid a case is solved on, what the model thinks is there, and what solving it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soilflow.case import Case
from soilflow.flow.grid import Grid, grid_for
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.layout.bodies import HeldBody
from soilflow.layout.layout import Layout
from soilflow.memory import BYTES_PER_CELL, require_memory
from soilflow.results.coverage import STRIP
from soilflow.site.effects import Effect
from soilflow.site.site import Site

__all__ = ["Estimate", "estimate", "fitting_grid_of", "grid_of", "map_of"]

# Fitted to benchmarks/tables/profile.txt and speed.txt: two cores, 180 to 250 thousand cells,
# pictures and file included. Per cell and field, per cell once, and per run. Estimates only. [s]
_SECONDS_PER_CELL_AND_FIELD = 0.8e-6
_SECONDS_PER_CELL = 6e-6
_SECONDS_AT_LEAST = 2.7
_BYTES_AT_REST = 1.8e8


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """What a run will cost.

    Parameters
    ----------
    cells : int
        Cells of the grid.
    ports : int
        Suction points and what the soil leaks to.
    seconds : float
        Time on two ordinary cores. [s]
    megabytes : float
        Peak memory. [MB]
    """

    cells: int
    ports: int
    seconds: float
    megabytes: float


def _strip_lines(site: Site) -> tuple[list[float], list[float]]:
    """Grid lines at the inner edge of the wall strips that perimeter coverage looks at. [m]"""
    lines: tuple[list[float], list[float]] = ([], [])
    for wall in site.slab.walls:
        if wall.slant is not None:  # its strip follows the slant, across the grid
            continue
        axis = 0 if wall.outward[0] else 1
        lines[axis].append(wall.start[axis] - STRIP * wall.outward[axis])
    return lines


def grid_of(case: Case, layouts: Sequence[Layout], *, sites: Sequence[Site] = ()) -> Grid:
    """Grid of a case, refined for the pits of one or several layouts.

    Parameters
    ----------
    case : Case
        The case.
    layouts : sequence of Layout
        Layouts that share the grid.
    sites : sequence of Site
        Sites that share it; none for that of the case alone.

    Returns
    -------
    grid : Grid
        With lines on the interfaces of all sites.
    """
    effects: list[Effect] = []
    held: list[HeldBody] = []
    lines: tuple[list[float], list[float]] = ([], [])
    for site in sites or (case.site,):
        floor = site.slab.polygon
        effects += site.effects()
        for layout in layouts:
            effects += layout.effects(floor)
            held += layout.held_bodies(floor)
        for axis, wanted in enumerate(_strip_lines(site)):
            lines[axis].extend(wanted)
    return grid_for(effects, held, case.resolution, extra_lines=lines)


def fitting_grid_of(case: Case, layouts: Sequence[Layout], *, sites: Sequence[Site] = ()) -> Grid:
    """Grid of a case as ``grid_of`` makes it, once it is known to fit into memory.

    Parameters
    ----------
    case : Case
        The case.
    layouts : sequence of Layout
        Layouts that share the grid.
    sites : sequence of Site
        Sites that share it; none for that of the case alone.

    Returns
    -------
    grid : Grid
        With lines on the interfaces of all sites.

    Raises
    ------
    TooLargeError
        Solving it would take more memory than is free.
    """
    grid = grid_of(case, layouts, sites=sites)
    require_memory(
        grid.cells,
        lambda other: grid_of(case.with_resolution(other), layouts, sites=sites).cells,
        name=case.resolution.name,
    )
    return grid


def map_of(case: Case, layout: Layout, grid: Grid | None = None) -> SoilMap:
    """What the model thinks is there, for one layout.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    grid : Grid or None
        Grid to use; None makes one for this layout.

    Returns
    -------
    soil : SoilMap
        The soil map.
    """
    floor = case.site.slab.polygon
    grid = grid_of(case, [layout]) if grid is None else grid
    effects = (*case.site.effects(), *layout.effects(floor))
    return build_soil_map(grid, effects, layout.held_bodies(floor))


def estimate(
    case: Case, layout: Layout, *, grid: Grid | None = None, files: bool = True
) -> Estimate:
    """What running a layout will cost, without solving anything.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    grid : Grid or None
        Grid to use; None makes one for this layout.
    files : bool
        Whether the time has pictures and the result file in it.

    Returns
    -------
    estimate : Estimate
        Cells, time and memory.
    """
    cells = (grid_of(case, [layout]) if grid is None else grid).cells
    site = case.site
    references = 1 + len(site.outdoor_names) + len(site.room_names)
    ports = len(layout.points) + references
    fields = ports + references  # those before digging too
    return Estimate(
        cells=cells,
        ports=ports,
        seconds=(_SECONDS_AT_LEAST if files else 0.0)
        + cells * (_SECONDS_PER_CELL + fields * _SECONDS_PER_CELL_AND_FIELD),
        megabytes=(_BYTES_AT_REST + cells * BYTES_PER_CELL) / 1e6,
    )
