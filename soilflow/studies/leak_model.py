"""A solved house whose joints and cracks can be opened and closed piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.flow.grid import COARSE, Grid, Resolution
from soilflow.flow.leak_update import LeakPaths, leak_paths, with_links
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import SoilMap, build_soil_map
from soilflow.flow.soil_network import SoilNetwork, build_soil_network
from soilflow.flow.solve import Preconditioned, precondition
from soilflow.grids import grid_of
from soilflow.layout.layout import Layout
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.leak_changes import (
    FloorNodes,
    floor_nodes,
    room_nodes,
)
from soilflow.results.solved import SoilSolution
from soilflow.run import solve_soil
from soilflow.site.effects import HOUSE, Effect, LeaksAlongLine
from soilflow.site.leak_pieces import LeakPiece, cut_leaks
from soilflow.site.leaks import Crack, FloorWallJoint
from soilflow.site.site import Site

__all__ = ["EXACT", "PRINTED", "LeakModel", "leak_model", "lines_with_tight"]

# How well the fields that changes need are solved: to compare with a solve in full, or for the two
# figures that are printed, in two thirds of the time. [-]
EXACT, PRINTED = 1e-9, 1e-5

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Line = TypeVar("Line", FloorWallJoint, Crack)


@dataclass(frozen=True, kw_only=True, eq=False)
class LeakModel:
    """A solved house with every slot known by the piece of joint or crack it belongs to.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    solution : SoilSolution
        The soil, its slots cut into pieces.
    floor : FloorResponse
        Unit fields under the slab.
    nodes : FloorNodes
        Where they come from.
    system : Preconditioned
        The matrix.
    pieces : tuple of LeakPiece
        All pieces, also of lines that are tight if they were asked for.
    paths : LeakPaths
        The slots; a tight one conducts nothing.
    piece : array of int, shape (n,)
        Piece each slot belongs to.
    linked : array, shape (n,)
        What links soil and gap where there is a slot; zero but for links. [m3/(s Pa)]
    is_open : array of bool, shape (m,)
        Which pieces are open on the site as it is.
    cubic : array, shape (n,)
        What the conductance of each slot is per cube of its aperture. [1/(Pa s)]
    direct : array, shape (m, p, p)
        Conductance straight from port to port by piece. [m3/(s Pa)]
    direct_cubic : array, shape (m, p, p)
        The same per cube of aperture. [1/(Pa s)]
    kept : array of int, shape (k,)
        Sorted nodes that floor, room air and slots look at.
    tolerance : float
        Bound on the error of the fields that changes need, relative to their largest value. [-]
    """

    case: Case
    layout: Layout
    solution: SoilSolution
    floor: FloorResponse
    nodes: FloorNodes
    system: Preconditioned
    pieces: tuple[LeakPiece, ...]
    paths: LeakPaths
    piece: Index
    linked: Array
    is_open: NDArray[np.bool_]
    cubic: Array
    direct: Array
    direct_cubic: Array
    kept: Index
    tolerance: float

    @property
    def rooms(self) -> tuple[str, ...]:
        """House and rooms: what sealing keeps the air of."""
        return (HOUSE, *self.case.site.room_names)

    def rows(self, pieces: Sequence[int]) -> Index:
        """Slots of some pieces.

        Parameters
        ----------
        pieces : sequence of int
            Their numbers.

        Returns
        -------
        rows : array of int, shape (m,)
            Their slots.
        """
        return np.flatnonzero(np.isin(self.piece, pieces))

    def __repr__(self) -> str:
        return (
            f"LeakModel({self.case.title!r}, layout {self.layout.name!r}, "
            f"{self.solution.network.nodes} cells, {len(self.pieces)} pieces, "
            f"{self.piece.size} slots)"
        )


def leak_model(
    case: Case,
    layout: Layout,
    *,
    resolution: Resolution | None = COARSE,
    grid: Grid | None = None,
    hairline: float | None = None,
    tolerance: float = EXACT,
    progress: Progress | None = None,
) -> LeakModel:
    """Solve a house with its joints and cracks in pieces.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    resolution : Resolution or None
        How fine the grid is; None takes the case's own.
    grid : Grid or None
        Grid to use; None makes one.
    hairline : float or None
        Aperture of a crack that may come along any joint or crack; then walls with a tight
        joint, or none, and sealed cracks are among the pieces too. [m]
    tolerance : float
        Bound on the error of the fields that changes need, relative to their largest value. [-]
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    model : LeakModel
        Ready for changes.

    Raises
    ------
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    if resolution is not None:
        case = case.with_resolution(resolution)
    grid = grid_of(case, [layout]) if grid is None else grid
    plan = case.site.slab.polygon
    extra = layout.effects(plan)
    bodies = layout.held_bodies(plan)
    effects, pieces = cut_leaks((*case.site.effects(), *extra))
    solution = solve_soil(
        build_soil_map(grid, effects, bodies), case.air.viscosity, progress=progress
    )
    network, response = solution.network, solution.response
    there, shadow = solution.soil, network
    is_open = np.array([e.aperture > 0.0 for e in _slots(effects)], dtype=bool)
    if hairline is not None:
        effects, pieces, is_open = lines_with_tight(case.site, hairline, more=extra)
        there = build_soil_map(grid, effects, bodies)
        shadow = build_soil_network(there, case.air.viscosity)
    paths = _paths(network, there, shadow, is_open)
    # a slot over a gap also links soil and gap
    both = (paths.soil_node >= 0) & (paths.gap_node >= 0) & np.isfinite(paths.below)
    over = np.flatnonzero(both)
    link = (paths.soil_share * paths.gap_share * paths.below)[over]
    paths = with_links(paths, over)
    direct, direct_cubic = _direct_leaks(network, there, effects, is_open)
    leaks = there.line_leaks
    nodes = floor_nodes(solution.soil, network, response)
    wanted = (nodes.node, paths.soil_node, paths.gap_node)
    rooms = (HOUSE, *case.site.room_names)
    kept = np.unique(np.concatenate([*(n.ravel() for n in wanted), room_nodes(network, rooms)]))
    return LeakModel(
        case=case,
        layout=layout,
        solution=solution,
        floor=floor_response(solution.soil, network, response),
        nodes=nodes,
        system=precondition(network.matrix()),
        pieces=pieces,
        paths=paths,
        piece=np.concatenate([leaks.line, leaks.line[over]]),
        is_open=is_open,
        linked=np.concatenate([np.zeros(leaks.line.size), link]),
        cubic=np.concatenate(
            [leaks.share * leaks.length / (12.0 * network.viscosity * leaks.path), 0.0 * link]
        ),
        direct=direct,
        direct_cubic=direct_cubic,
        kept=kept[kept >= 0],
        tolerance=tolerance,
    )


def _slots(effects: Sequence[Effect]) -> list[LeaksAlongLine]:
    return [e for e in effects if isinstance(e, LeaksAlongLine)]


def lines_with_tight(
    site: Site, hairline: float, *, more: Sequence[Effect] = ()
) -> tuple[tuple[Effect, ...], tuple[LeakPiece, ...], NDArray[np.bool_]]:
    """What a site does, its lines cut, with tight joints and cracks open by a hairline.

    Parameters
    ----------
    site : Site
        The site.
    hairline : float
        Aperture of lines that are tight, sealed or without a joint. [m]
    more : sequence of Effect
        Effects of a layout, which follow.

    Returns
    -------
    effects : tuple of Effect
        All of them.
    pieces : tuple of LeakPiece
        One for each slot among them.
    is_open : array of bool, shape (m,)
        Which pieces are open on the site as it is.
    """
    opened = replace(
        site,
        joints=(
            FloorWallJoint(aperture=hairline),
            *(_opened(joint, hairline) for joint in site.joints),
        ),
        cracks=tuple(_opened(crack, hairline) for crack in site.cracks),
    )
    effects, pieces = cut_leaks((*opened.effects(), *more))
    real = {(e.name, e.start, e.end) for e in _slots(cut_leaks(site.effects())[0])}
    is_open = [(e.name, e.start, e.end) in real for e in _slots(effects)]
    return effects, pieces, np.array(is_open, dtype=bool)


def _opened(line: Line, hairline: float) -> Line:
    if line.aperture > 0.0 and not line.sealed:
        return line
    return replace(line, aperture=hairline, sealed=False)


def _paths(
    network: SoilNetwork, soil: SoilMap, shadow: SoilNetwork, is_open: NDArray[np.bool_]
) -> LeakPaths:
    """Ways through all slots of a map, in the nodes and ports of the network that is solved."""
    number = np.full(shadow.nodes + 1, -1, dtype=np.int64)
    for theirs, ours in (
        (shadow.cell_node, network.cell_node),
        (shadow.sheet_node, network.sheet_node),
        (shadow.line_node, network.line_node),
    ):
        number[theirs[theirs >= 0]] = ours[theirs >= 0]
    leaks = soil.line_leaks
    ports = np.array([network.ports.index(name) for name in soil.ports], dtype=np.int64)
    slots = shadow.slots.copy()
    slots[~is_open[leaks.line], 0] = 0.0
    return leak_paths(network, ports[leaks.port], slots=slots, nodes=number[shadow.slot_nodes])


def _direct_leaks(
    network: SoilNetwork, soil: SoilMap, effects: Sequence[Effect], is_open: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Straight leaks by piece, as they are and per cube of aperture, shape (m, p, p)."""
    slots = _slots(effects)
    count = len(network.ports)
    now, cubic = np.zeros((len(slots), count, count)), np.zeros((len(slots), count, count))
    leaks = soil.direct_leaks
    for body, port, geometry, line in zip(
        leaks.body, leaks.port, leaks.geometry, leaks.line, strict=True
    ):
        if line < 0:
            continue
        i, j = (network.ports.index(soil.ports[k]) for k in (body, port))
        g = geometry / network.viscosity
        for a, b in ((i, j), (j, i)):
            now[line, a, b] += g if is_open[line] else 0.0
            cubic[line, a, b] += g / slots[line].aperture ** 3
    return now, cubic
