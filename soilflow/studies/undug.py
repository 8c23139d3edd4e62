"""A site before anything is dug, on a grid that all candidates share, and work on it shared out."""

from __future__ import annotations

import functools
import uuid
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, as_completed
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix

from soilflow.flow.grid import Grid
from soilflow.flow.response import SoilResponse, respond, system_of
from soilflow.flow.side_by_side import WORTH_SHARING, Progress, each_of
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.flow.solve import Preconditioned
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.site.site import Site

__all__ = ["Undug", "alone", "for_each", "undug_soil"]

Index = NDArray[np.int64]
Answer = TypeVar("Answer")

# Layers below the deepest pit and columns beside the floor that a pit's sources reach into.
_ROOM = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Undug:
    """A site without any pit, on the grid that all candidates share.

    Parameters
    ----------
    site : Site
        The site.
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    system : Preconditioned
        Its matrix; its multigrid cycle serves every pit.
    near : array of int, shape (near,)
        Nodes where pits may be, and one further around.
    """

    site: Site
    soil: SoilMap
    network: SoilNetwork
    system: Preconditioned
    near: Index

    @functools.cached_property
    def matrix(self) -> csr_matrix:
        """Matrix of the nodes. [m3/(s Pa)]"""
        return self.network.matrix()

    @property
    def references(self) -> tuple[str, ...]:
        """Everything the soil leaks to."""
        return self.soil.ports

    def response(self) -> SoilResponse:
        """Unit fields of the references.

        Returns
        -------
        response : SoilResponse
            With nothing dug.
        """
        return respond(self.network, system=self.system)


def undug_soil(site: Site, grid: Grid, viscosity: float, *, depth: float) -> Undug:
    """Lay a site on a grid and set up its solver.

    Parameters
    ----------
    site : Site
        The site.
    grid : Grid
        The grid.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    depth : float
        Depth of the deepest pit. [m]

    Returns
    -------
    undug : Undug
        Ready for any number of pits.
    """
    soil = build_soil_map(grid, site.effects(), ())
    network = build_soil_network(soil, viscosity)
    ix, iy = np.nonzero(soil.floor)
    # a pit that meets a drain acts all along it
    lx, ly, lz = np.unravel_index(soil.conductors.cell, grid.shape)
    columns = tuple(
        slice(max(i.min() - _ROOM, 0), i.max() + 1 + _ROOM)
        for i in (np.append(ix, lx), np.append(iy, ly))
    )
    last = max(int(np.searchsorted(grid.z, depth)), *(lz + 1).tolist(), 0) + _ROOM
    nodes = [
        network.cell_node[(*columns, slice(None, last))].ravel(),
        network.sheet_node[columns].ravel(),
        network.line_node,
    ]
    near = np.concatenate(nodes)
    return Undug(
        site=site,
        soil=soil,
        network=network,
        system=system_of(network),
        near=near[near >= 0],
    )


def alone(point: SuctionPoint) -> Layout:
    """A layout of one point, held at a pascal.

    Parameters
    ----------
    point : SuctionPoint
        The point.

    Returns
    -------
    layout : Layout
        For grids and maps; no fan is on it.
    """
    return Layout(name=point.name, points=(replace(point, vacuum=1.0, capped=False, fan=""),))


def for_each(
    work: Callable[..., Answer],
    undug: Undug,
    items: Sequence[tuple[Any, ...]],
    *,
    depth: float,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> list[Answer]:
    """Do the same for each of several pits.

    Parameters
    ----------
    work : callable
        A function of a module: takes the undug soil, then what is in an item.
    undug : Undug
        The soil.
    items : sequence of tuple
        What else the work takes; it can be pickled.
    depth : float
        Depth of the deepest pit. [m]
    executor : concurrent.futures.Executor or None
        Where to do it; each worker lays the site on the grid once, for itself. None shares the
        work with forked processes where that is possible.
    progress : callable or None
        Called with the number of items done and of all items, first with none done.

    Returns
    -------
    answers : list
        In the order of the items, the same whoever found them.
    """
    if executor is None:
        return each_of(
            lambda i: work(undug, *items[i]),
            len(items),
            share=undug.network.nodes >= WORTH_SHARING,
            progress=progress,
        )
    tell = progress or (lambda done, total: None)
    tell(0, len(items))
    ground = _Ground(
        token=uuid.uuid4().hex,
        site=undug.site,
        grid=undug.soil.grid,
        viscosity=undug.network.viscosity,
        depth=depth,
    )
    waiting = [executor.submit(_elsewhere, work, ground, item) for item in items]
    try:
        for done, future in enumerate(as_completed(waiting), start=1):
            future.result()
            tell(done, len(items))
    finally:
        for future in waiting:
            future.cancel()
    return [future.result() for future in waiting]


@dataclass(frozen=True, kw_only=True)
class _Ground:
    """What a worker lays out; every copy that reaches it is known by its token."""

    token: str
    site: Site = field(compare=False)
    grid: Grid = field(compare=False)
    viscosity: float = field(compare=False)
    depth: float = field(compare=False)


def _elsewhere(work: Callable[..., Answer], ground: _Ground, item: tuple[Any, ...]) -> Answer:
    return work(_laid_out(ground), *item)


@functools.lru_cache(maxsize=1)
def _laid_out(ground: _Ground) -> Undug:
    """The undug soil in a worker, once for all its pits."""
    return undug_soil(ground.site, ground.grid, ground.viscosity, depth=ground.depth)
