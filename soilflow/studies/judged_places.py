"""The places a layout is judged by, as linear measures of a field: patches, spots, openings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import P_ATM
from soilflow.errors import InputError
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.results.coverage import PATCH
from soilflow.results.floor import FloorResponse
from soilflow.results.leaks import slot_u
from soilflow.results.patches import Patches, patches_of

__all__ = ["JudgedOpenings", "JudgedPatches", "judged_openings", "judged_patches"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedPatches:
    """The patches among which the worst of a floor is looked for, room by room.

    Parameters
    ----------
    parts : tuple of (int, Patches, array of bool)
        For each reference with a floor: its number, all patches there, and those that count.
    x, y : array, shape (k,)
        Middles of those that count. [m]
    room : array of int, shape (k,)
        Number of the reference over each.
    """

    parts: tuple[tuple[int, Patches, Mask], ...]
    x: Array
    y: Array
    room: Index

    def means(self, field: Array) -> Array:
        """Mean of a field over each patch.

        Parameters
        ----------
        field : array, shape (nx, ny)
            By column of the floor; not a number where it is unknown, which counts as zero. [SI]

        Returns
        -------
        means : array, shape (k,)
            By patch. [SI]
        """
        known = np.nan_to_num(field, nan=0.0)
        return np.concatenate([np.zeros(0), *(p.means(known)[m] for _, p, m in self.parts)])


def judged_patches(floor: FloorResponse, references: Sequence[int]) -> JudgedPatches:
    """Patches as `worst_margin` looks at them, for the floor under each of some references.

    Parameters
    ----------
    floor : FloorResponse
        The floor without any pit.
    references : sequence of int
        Numbers of house and rooms.

    Returns
    -------
    patches : JudgedPatches
        Those whose air is in one piece; a room with none takes all of its own.
    """
    parts = []
    for r in references:
        try:
            patches = patches_of(
                floor.pressure(np.zeros(len(floor.unit_fields)), P_ATM, room=r), PATCH
            )
        except InputError:  # a room narrower than a patch, or without air below
            continue
        whole = _whole(patches)
        parts.append((r, patches, whole if whole.any() else patches.usable))
    x = [(p.x[:, None] + 0.0 * p.y + 0.5 * p.side)[m] for _, p, m in parts]
    y = [(0.0 * p.x[:, None] + p.y + 0.5 * p.side)[m] for _, p, m in parts]
    room = [np.full(int(m.sum()), r, dtype=np.int64) for r, _, m in parts]
    none = np.zeros(0)
    return JudgedPatches(
        parts=tuple(parts),
        x=np.concatenate([none, *x]),
        y=np.concatenate([none, *y]),
        room=np.concatenate([none.astype(np.int64), *room]),
    )


def _whole(patches: Patches) -> Mask:
    """Usable patches whose air is in one piece; only those by a border need a look."""
    floor = patches.floor
    doubtful = np.isnan(floor.pressure) | ~floor.floor
    for axis, closed in ((0, ~floor.open_x), (1, ~floor.open_y)):
        beside = np.moveaxis(doubtful, axis, 0)
        beside[:-1] |= np.moveaxis(closed, axis, 0)
        beside[1:] |= np.moveaxis(closed, axis, 0)
    everywhere = FloorResponse(
        x=floor.x,
        y=floor.y,
        floor_port=np.zeros(doubtful.shape, dtype=np.int64),
        unit_fields=np.zeros((1, *doubtful.shape)),
        open_x=floor.open_x,
        open_y=floor.open_y,
    ).pressure(np.zeros(1), P_ATM)
    near = patches_of(everywhere, patches.side).means(doubtful.astype(float)) > 0.0
    whole = patches.usable.copy()
    for i, j in np.argwhere(patches.usable & near).tolist():
        whole[i, j] = patches.in_one_piece(i, j)
    return whole


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedOpenings:
    """Slots through the floor that open into soil, above which somebody lives.

    Parameters
    ----------
    slots : array of int, shape (o,)
        Their numbers in the network.
    names : tuple of str
        Joint or crack each belongs to.
    x, y : array, shape (o,)
        Their places. [m]
    room : array of int, shape (o,)
        Number of the reference above each.
    reference : array, shape (m, o)
        Share of each reference in u at their lower ends. [-]
    """

    slots: Index
    names: tuple[str, ...]
    x: Array
    y: Array
    room: Index
    reference: Array


def judged_openings(
    soil: SoilMap, network: SoilNetwork, unit_fields: Array, references: Sequence[int]
) -> JudgedOpenings:
    """Slots as `worst_opening` looks at them, in soil without any pit.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    unit_fields : array, shape (m, nodes)
        Unit field of each reference. [-]
    references : sequence of int
        Numbers of house and rooms.

    Returns
    -------
    openings : JudgedOpenings
        In the order of the network.
    """
    leaks = soil.line_leaks
    at = np.flatnonzero((network.slot_nodes[:, 0] >= 0) & np.isin(leaks.port, list(references)))
    ix, iy, _ = np.unravel_index(leaks.cell[at], soil.grid.shape)
    rows = [
        slot_u(network, field, (leaks.port == r).astype(float))[at]
        for r, field in enumerate(unit_fields)
    ]
    return JudgedOpenings(
        slots=at,
        names=tuple(soil.line_names[line] for line in leaks.line[at]),
        x=soil.grid.centres(0)[ix],
        y=soil.grid.centres(1)[iy],
        room=leaks.port[at].astype(np.int64),
        reference=np.array(rows).reshape(len(unit_fields), at.size),
    )
