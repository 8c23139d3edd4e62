"""The port matrix as the points on fans see it: capped points and stated pressures eliminated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.air import u_from_pressure

__all__ = ["SeenSoil", "all_ports", "eliminate"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class SeenSoil:
    """The soil as the points on fans see it: q = -(matrix u + offset).

    Parameters
    ----------
    on, given, capped : list of int
        Ports on fans, at a stated pressure, and capped.
    floating : list of int
        Capped ports that no air path ties to a stated pressure.
    u_given : array, shape (given,)
        u at the ports with a stated pressure. [Pa]
    matrix : array, shape (on, on)
        Symmetric positive semidefinite. [m3/(s Pa)]
    offset : array, shape (on,)
        What the stated pressures do. [m3/s]
    capped_by_point : array, shape (capped, on)
        u_capped = capped_offset - capped_by_point u_points. [-]
    capped_offset : array, shape (capped,)
        u of capped ports with the points at zero. [Pa]
    """

    on: list[int]
    given: list[int]
    capped: list[int]
    floating: list[int]
    u_given: Array
    matrix: Array
    offset: Array
    capped_by_point: Array
    capped_offset: Array

    def flows(self, u: Array) -> Array:
        """Flow from the soil into the points on fans.

        Parameters
        ----------
        u : array, shape (on,)
            u at those points. [Pa]

        Returns
        -------
        flows : array, shape (on,)
            Volume at atmospheric pressure. [m3/s]
        """
        return -(self.matrix @ u + self.offset)


def eliminate(
    port_matrix: Array,
    names: Sequence[str],
    given_pressures: Mapping[str, float],
    points: Sequence[str],
    pressure_atm: float,
) -> SeenSoil:
    """Take all ports but the points on fans out of the port matrix.

    Parameters
    ----------
    port_matrix : array, shape (p, p)
        Symmetric, rows summing to zero. [m3/(s Pa)]
    names : sequence of str
        Names of the ports.
    given_pressures : mapping of str to float
        Pressure of every port that has a stated one. [Pa]
    points : sequence of str
        Ports on fans; what is neither here nor there is capped.
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    soil : SeenSoil
        What is left.
    """
    y = port_matrix
    on = [names.index(name) for name in points]
    given = [names.index(name) for name in given_pressures]
    capped = [i for i in range(len(names)) if i not in on and i not in given]
    u_given = np.array([u_from_pressure(p, pressure_atm) for p in given_pressures.values()])
    inverse, null = _pseudo_inverse(y[np.ix_(capped, capped)])
    by_point = inverse @ y[np.ix_(capped, on)]
    by_given = inverse @ y[np.ix_(capped, given)]
    y_on_capped = y[np.ix_(on, capped)]
    return SeenSoil(
        on=on,
        given=given,
        capped=capped,
        floating=[i for i, loose in zip(capped, null, strict=True) if loose],
        u_given=u_given,
        matrix=y[np.ix_(on, on)] - y_on_capped @ by_point,
        offset=(y[np.ix_(on, given)] - y_on_capped @ by_given) @ u_given,
        capped_by_point=by_point,
        capped_offset=-by_given @ u_given,
    )


def all_ports(port_matrix: Array, soil: SeenSoil, u: Array) -> tuple[Array, Array]:
    """u and flow at every port from u at the points on fans.

    Parameters
    ----------
    port_matrix : array, shape (p, p)
        The matrix that was reduced. [m3/(s Pa)]
    soil : SeenSoil
        What was left of it.
    u : array, shape (on,)
        u at the points on fans. [Pa]

    Returns
    -------
    u : array, shape (p,)
        At every port. [Pa]
    flows : array, shape (p,)
        From soil into each port, exactly zero where it is capped. [m3/s]
    """
    everywhere = np.zeros(len(port_matrix))
    everywhere[soil.given] = soil.u_given
    everywhere[soil.on] = u
    everywhere[soil.capped] = soil.capped_offset - soil.capped_by_point @ u
    flows = -port_matrix @ everywhere
    flows[soil.capped] = 0.0
    return everywhere, flows


def _pseudo_inverse(block: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Inverse of a semidefinite block, and which rows belong to its null space.

    Scaled to a unit diagonal first: clay and gravel pits may differ by 1e6, and that alone
    must not make the clay pit look cut off.
    """
    diagonal = np.diag(block)
    scale = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
    values, vectors = np.linalg.eigh(scale[:, None] * block * scale)
    null = values <= 1e-12
    kept = vectors[:, ~null]
    inverse = scale[:, None] * ((kept / values[~null]) @ kept.T) * scale
    return inverse, np.any(np.abs(vectors[:, null]) > 1e-6, axis=1)
