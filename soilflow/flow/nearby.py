"""Fields of a soil from those of soils much like it: the best mixture there is of known fields.

Among all mixtures V c of known fields the one of least dissipation solves

    (V' A V) c = V' b,

with A the matrix of the new network and b the sources of a port. Where one number of a site is
changed step by step, three or four fields before it leave an error of some 1e-4, and a solve that
begins there needs a few iterations.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from soilflow.flow.soil_network import SoilNetwork

__all__ = ["mixed_fields"]

Array = NDArray[np.float64]

# Parts of the known fields that hardly differ from one another are not worth their rounding. [-]
_ALIKE = 1e-11


def mixed_fields(network: SoilNetwork, known: Sequence[Array]) -> Array | None:
    """Unit fields of a network, as near as mixtures of known fields come.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    known : sequence of array, shape (p, nodes)
        Unit fields of networks with the same ports and nodes. [-]

    Returns
    -------
    fields : array, shape (p, nodes), or None
        One for each port; None where nothing is known. [-]
    """
    if not known:
        return None
    basis = np.concatenate(known)
    times = (network.matrix() @ basis.T).T
    energy = basis @ times.T
    scale = 1.0 / np.sqrt(np.maximum(np.diag(energy), np.finfo(float).tiny))
    wanted = basis @ network.sources().T
    share = np.linalg.lstsq(scale[:, None] * energy * scale, scale[:, None] * wanted, rcond=_ALIKE)[
        0
    ]
    return np.asarray((scale[:, None] * share).T @ basis)
