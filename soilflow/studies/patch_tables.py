"""Patches of floor as tables, so that the worst of many layouts is a product of matrices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.site.effects import HOUSE
from soilflow.studies.influence import Influence

__all__ = ["PatchTables", "patch_tables"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class PatchTables:
    """What makes the mean u over patches of the house's floor, ready for products of matrices.

    Parameters
    ----------
    reference : array, shape (m, k)
        Share of each reference. [-]
    influence : array of float32, shape (n, k)
        Fall per flow into each pit. [s Pa/m3]
    felt : array of float32, shape (n patterns, k)
        What the patterns of each pit add. [-]
    """

    reference: Array
    influence: NDArray[np.float32]
    felt: NDArray[np.float32]


def patch_tables(influence: Influence, *, spacing: float | None = None) -> PatchTables:
    """Tables of the patches among which the worst is looked for.

    Parameters
    ----------
    influence : Influence
        What the candidates do.
    spacing : float or None
        One patch for each square of this side, the one that all pits together reach least;
        None takes every patch. [m]

    Returns
    -------
    tables : PatchTables
        Of the house's own floor.
    """
    mine = np.flatnonzero(influence.patch_room == influence.references.index(HOUSE))
    if spacing is not None:
        reached = influence.patch_influence[:, mine].sum(axis=0)
        mine = mine[np.argsort(reached, kind="stable")]
        cells = np.floor(
            np.column_stack([influence.patch_x[mine], influence.patch_y[mine]]) / spacing
        )
        _, first = np.unique(cells, axis=0, return_index=True)
        mine = mine[first]
    felt = influence.bridging.felt_by_patches[:, :, mine]
    return PatchTables(
        reference=influence.patch_reference[:, mine],
        influence=influence.patch_influence[:, mine].astype(np.float32),
        felt=np.ascontiguousarray(felt.reshape(-1, mine.size)),
    )
