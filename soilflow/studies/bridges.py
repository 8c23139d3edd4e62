"""What digging one pit changes for all the others: it joins places that soil kept apart.

A pit that draws nothing still lets air pass, from soil below into a gap, or from one side of a
gap's edge to the other. With g the field of another pit in soil where this one is not dug, the
rows of this pit's matrix leave a residual on g; solved for, it is what digging adds to g. Over all
other pits and references these residuals look much alike, so a few patterns do for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.conductances import summed
from soilflow.flow.response import SoilResponse
from soilflow.flow.solve import solve
from soilflow.layout.layout import SuctionPoint
from soilflow.results.leaks import slot_u
from soilflow.studies.candidates import Candidates
from soilflow.studies.judged_places import JudgedPatches
from soilflow.studies.single_pits import Dug, SinglePit, dig
from soilflow.studies.undug import Undug

__all__ = ["Bridge", "Bridging", "ambient_of", "bridging_of", "solve_bridge"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]

# Patterns kept for each pit: air across it along x, y and down, mostly.
_PATTERNS = 3
# They are corrections of some per cent, and need few digits. [-]
_TOLERANCE = 1e-3


class Bridge(NamedTuple):
    """What one pit that draws nothing adds to the fields of others.

    Parameters
    ----------
    strength : array, shape (patterns, fields)
        How much of each pattern each field calls up. [-]
    field : array, shape (patterns, near)
        The patterns at the nodes where pits may be. [-]
    floor_field : array, shape (patterns, nx, ny)
        The same at the slab underside, zero where no air reaches. [-]
    slot_field : array, shape (patterns, o)
        The same at the lower ends of slots. [-]
    """

    strength: Array
    field: Array
    floor_field: Array
    slot_field: Array


def solve_bridge(
    undug: Undug, point: SuctionPoint, fields: Array, layers: Array, level: Array
) -> Bridge:
    """Work out what digging a pit adds to some fields.

    Parameters
    ----------
    undug : Undug
        The soil without it.
    point : SuctionPoint
        The pit.
    fields : array, shape (fields, beside)
        Unit fields of the other pits, then of the references, around it. [-]
    layers : array, shape (fields, beside)
        Flow from the other pits themselves into the soil there. [m3/(s Pa)]
    level : array, shape (fields,)
        What the pit takes on in each field, drawing nothing. [-]

    Returns
    -------
    bridge : Bridge
        Patterns and how much each field calls up of them.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    """
    dug = dig(undug, point)
    left = _residuals(dug, fields, layers, level)
    weight = 1.0 / np.sqrt(dug.matrix.diagonal()[dug.rim])
    shapes, sizes, strength = np.linalg.svd(left * weight[:, None], full_matrices=False)
    count = min(_PATTERNS, sizes.size)
    base, found = undug.network, []
    for shape in shapes.T[:count]:
        source = np.zeros(dug.network.nodes)
        source[dug.rim] = -shape / weight
        found.append(solve(dug.system, source, tolerance=_TOLERANCE)[0])
    wide = [dug.on_base(pattern, base.nodes, missing=0.0) for pattern in found]
    dry = dug.soil.cavity[:, :, dug.soil.top_layer] >= 0
    ix, iy = np.nonzero(dug.soil.floor)
    over = dry[ix.min() : ix.max() + 1, iy.min() : iy.max() + 1]
    none = np.zeros(len(base.slots))
    return Bridge(
        strength=sizes[:count, None] * strength[:count],
        field=np.array([pattern[undug.near] for pattern in wide]),
        floor_field=np.array(
            [np.where(over, 0.0, np.nan_to_num(dug.under_slab(pattern))) for pattern in found]
        ),
        slot_field=np.array([slot_u(base, pattern, none) for pattern in wide]),
    )


def _residuals(dug: Dug, fields: Array, layers: Array, level: Array) -> Array:
    """What the rim's rows leave over on each field, shape (rim, fields). [m3/(s Pa)]"""
    network, nodes = dug.network, dug.network.nodes
    left = np.array(dug.rows[:, dug.beside] @ fields.T)
    left -= layers[:, np.searchsorted(dug.beside, dug.rim)].T
    for port in range(len(dug.soil.ports)):
        mine = network.port == port
        held = summed(network.port_node[mine], network.port_conductance[mine], nodes)[dug.rim]
        if port == dug.port:
            left -= np.outer(held, level)
        else:
            left[:, len(level) - dug.port + port] -= held
    return left


@dataclass(frozen=True, kw_only=True, eq=False)
class Bridging:
    """What each of n pits, once dug, adds to the fields of all others.

    Parameters
    ----------
    called_by_pits : array, shape (n, patterns, n)
        How much of each pit's patterns a flow into each pit calls up. [s Pa/m3]
    called_by_references : array, shape (n, patterns, m)
        The same by u at each reference. [-]
    felt_by_pits : array, shape (n, patterns, n)
        What each pattern adds to u at each pit. [-]
    felt_by_patches : array of float32, shape (n, patterns, k)
        The same to the mean u over each patch. [-]
    felt_by_spots : array of float32, shape (n, patterns, s)
        The same to u in each column of floor with air below. [-]
    felt_by_openings : array, shape (n, patterns, o)
        The same to u at the lower end of each slot. [-]
    """

    called_by_pits: Array
    called_by_references: Array
    felt_by_pits: Array
    felt_by_patches: NDArray[np.float32]
    felt_by_spots: NDArray[np.float32]
    felt_by_openings: Array

    def among(self, at: Index) -> tuple[Array, Array]:
        """What the pits of a layout, or of many, add to one another's table.

        Parameters
        ----------
        at : array of int, shape (..., k)
            The pits of each layout.

        Returns
        -------
        interaction : array, shape (..., k, k)
            To be added to theirs. [s Pa/m3]
        shares : array, shape (..., k, m)
            To be added to the references' shares in them. [-]
        """
        felt, called = _among(self.felt_by_pits, at), _among(self.called_by_pits, at)
        added = np.einsum("...ipa,...ipb->...ab", felt, called)
        shares = np.einsum("...ipa,...ipr->...ar", felt, self.called_by_references[at])
        return 0.5 * (added + np.swapaxes(added, -1, -2)), shares

    def amplitudes(self, at: Index, flows: Array, reference_u: Array) -> Array:
        """How much of each pattern a layout has, or each of many.

        Parameters
        ----------
        at : array of int, shape (..., k)
            The pits of each layout.
        flows : array, shape (..., k)
            Flow from the soil into each. [m3/s]
        reference_u : array, shape (m,)
            p + p^2 / (2 p_atm) at the references. [Pa]

        Returns
        -------
        amplitudes : array, shape (..., k, patterns)
            By pit. [Pa]
        """
        drawn = np.einsum("...ipj,...j->...ip", _among(self.called_by_pits, at), flows)
        return np.asarray(self.called_by_references[at] @ reference_u - drawn)


def _among(table: Array, at: Index) -> Array:
    """The part of a table of pits, patterns and pits that a layout needs, (..., k, patterns, k)."""
    patterns = np.arange(table.shape[1])[:, None]
    return table[at[..., :, None, None], patterns, at[..., None, None, :]]


def ambient_of(
    undug: Undug, candidates: Candidates, singles: Sequence[SinglePit], response: SoilResponse
) -> list[tuple[SuctionPoint, Array, Array, Array]]:
    """For each pit what `solve_bridge` takes: the fields of all others around it.

    Parameters
    ----------
    undug : Undug
        The soil.
    candidates : Candidates
        The n candidates.
    singles : sequence of SinglePit
        Each on its own.
    response : SoilResponse
        The references on their own.

    Returns
    -------
    ambient : list of tuple
        Point, fields, layers and levels; what cannot be dug beside a pit has none. [SI]
    """
    own = np.array([single.own for single in singles])
    fields = np.array([single.field for single in singles])
    layers = np.array([single.layer for single in singles])
    place = np.full(undug.network.nodes, -1, dtype=np.int64)
    place[undug.near] = np.arange(undug.near.size)
    none = np.zeros((len(undug.references), 1))
    found = []
    for i, single in enumerate(singles):
        at = place[single.beside]
        around = np.concatenate([fields[:, at], response.unit_fields[:, single.beside]])
        sources = np.concatenate([layers[:, at], np.repeat(none, at.size, axis=1)])
        level = np.append(fields @ single.layer, single.to_references) / own[i]
        # what cannot be dug beside this pit, and the pit itself, call up nothing
        idle = np.append(candidates.clash[i] | (np.arange(own.size) == i), none[:, 0] > 0.0)
        around[idle] = sources[idle] = level[idle] = 0.0
        found.append((candidates.kept[i].point, around, sources, level))
    return found


def bridging_of(
    candidates: Candidates,
    singles: Sequence[SinglePit],
    bridges: Sequence[Bridge],
    patches: JudgedPatches,
    spots: Index,
    slots: Index,
) -> Bridging:
    """Lay the patterns of all pits side by side.

    Parameters
    ----------
    candidates : Candidates
        The n candidates.
    singles : sequence of SinglePit
        Each on its own.
    bridges : sequence of Bridge
        What each adds to the others.
    patches : JudgedPatches
        Patches of floor.
    spots : array of int, shape (s,)
        Columns of the floor with air below, by their number.
    slots : array of int, shape (o,)
        Slots wanted, by their number.

    Returns
    -------
    bridging : Bridging
        With empty patterns where a pit has fewer.
    """
    own = np.array([single.own for single in singles])
    weights = np.array([single.layer for single in singles]) / own[:, None]
    n = own.size
    idle = candidates.clash | np.eye(n, dtype=bool)

    def side_by_side(parts: Sequence[Array]) -> Array:
        filled = [np.pad(p, ((0, _PATTERNS - len(p)), (0, 0))) for p in parts]
        return np.array(filled)

    floors = [b.floor_field.reshape(len(b.floor_field), -1) for b in bridges]
    return Bridging(
        called_by_pits=side_by_side([b.strength[:, :n] / own for b in bridges]),
        called_by_references=side_by_side([b.strength[:, n:] for b in bridges]),
        felt_by_pits=np.where(
            idle[:, None, :], 0.0, side_by_side([b.field @ weights.T for b in bridges])
        ),
        felt_by_patches=side_by_side(
            [np.array([patches.means(f) for f in b.floor_field]) for b in bridges]
        ).astype(np.float32),
        felt_by_spots=side_by_side([f[:, spots] for f in floors]).astype(np.float32),
        felt_by_openings=side_by_side([b.slot_field[:, slots] for b in bridges]),
    )
