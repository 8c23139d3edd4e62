"""The soil's linear response: one unit field per port, and the port matrix."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import BalanceError
from soilflow.flow.conductances import summed
from soilflow.flow.side_by_side import Progress, each_of
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.solve import Preconditioned, SolveReport, precondition, solve

__all__ = ["BALANCE", "SoilResponse", "face_sums", "quadratic_form", "respond"]

Array = NDArray[np.float64]

# Largest imbalance accepted, relative to the larger of the flows in and out. [-]
BALANCE = 1e-8
_TOLERANCES = (1e-10, 1e-12, 1e-13)
# Nodes from which a second process saves more time than it takes to start. Measured.
_WORTH_SHARING = 30_000


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilResponse:
    """Fields and flows for each port held at one pascal, the others at zero.

    Parameters
    ----------
    ports : tuple of str
        Names of the ports.
    unit_fields : array, shape (p, nodes)
        Unit field of each port at the nodes. [-]
    port_matrix : array, shape (p, p)
        Y, with flow from the soil into the ports q = -Y u; symmetric, rows summing to zero,
        from the quadratic form. [m3/(s Pa)]
    face_matrix : array, shape (p, p)
        The same from sums of face fluxes, for checks. [m3/(s Pa)]
    reports : tuple of SolveReport
        One per port.
    balance : float
        Largest imbalance of a unit field beyond rounding, relative to its flow through soil. [-]
    partition : float
        Largest departure of the sum of the unit fields from one. [-]
    """

    ports: tuple[str, ...]
    unit_fields: Array
    port_matrix: Array
    face_matrix: Array
    reports: tuple[SolveReport, ...]
    balance: float
    partition: float

    @property
    def iterations(self) -> int:
        """Most iterations any port took."""
        return max((r.iterations for r in self.reports), default=0)

    def __repr__(self) -> str:
        worst = max((r.residual for r in self.reports), default=0.0)
        return (
            f"SoilResponse({len(self.ports)} ports, {self.unit_fields.shape[1]} nodes, "
            f"at most {self.iterations} iterations, residual {worst:.1e}, balance "
            f"{self.balance:.1e}, partition of unity {self.partition:.1e})"
        )


def respond(network: SoilNetwork, *, progress: Progress | None = None) -> SoilResponse:
    """Solve the unit field of every port and sum up the port matrix.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    response : SoilResponse
        Balanced to `BALANCE`, or to the rounding bound of the sums where that is larger.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    BalanceError
        The flows do not balance.
    """
    sources = network.sources()
    if network.nodes == 0:
        fields = np.zeros((len(network.ports), 0))
        return _collect(network, fields, ())
    system = precondition(network.matrix())

    def field_of(port: int) -> tuple[Array, SolveReport]:
        return _balanced_field(network, system, sources, port)

    large = network.nodes >= _WORTH_SHARING
    solved = each_of(field_of, len(sources), share=large, progress=progress)
    return _collect(network, np.array([f for f, _ in solved]), tuple(r for _, r in solved))


def _balanced_field(
    network: SoilNetwork, system: Preconditioned, sources: Array, port: int
) -> tuple[Array, SolveReport]:
    """Unit field of one port, iterated until its face fluxes balance."""
    field: Array | None = None
    spent = 0
    for tolerance in _TOLERANCES:
        field, report = solve(system, sources[port], tolerance=tolerance, start=field)
        spent += report.iterations
        report = SolveReport(iterations=spent, residual=report.residual)
        imbalance, bound = _imbalance(network, field, port)
        if imbalance <= max(BALANCE, bound):
            return field, report
    raise BalanceError(
        f'the flows of port "{network.ports[port]}" balance to {imbalance:.1e} only, wanted '
        f"{max(BALANCE, bound):.1e}; look for permeabilities that differ by more decades than "
        "intended",
        reached=imbalance,
        wanted=max(BALANCE, bound),
    )


def _imbalance(network: SoilNetwork, field: Array, port: int) -> tuple[float, float]:
    """Imbalance of one unit field relative to its flow, and the rounding bound of the sums."""
    value = np.zeros(len(network.ports))
    value[port] = 1.0
    flux = network.port_conductance * (field[network.port_node] - value[network.port])
    total = summed(network.port, flux, len(network.ports))
    flow = 0.5 * float(np.abs(flux).sum())
    if flow == 0.0:
        return 0.0, 0.0
    moved = max(abs(float(total[port])), flow * 1e-300)
    return abs(float(total.sum())) / moved, _rounding(network) / moved


def _rounding(network: SoilNetwork) -> float:
    """Flow that rounding alone may lose in fields of size one. [m3/(s Pa)]

    Sums over ports take differences of values near one at the largest conductances; and every
    node balances to rounding of its own conductances only, which a wide gap makes large.
    """
    ends = 10.0 * network.port_conductance.sum() + network.conductance.sum()
    return float(np.finfo(float).eps * ends)


def _collect(network: SoilNetwork, fields: Array, reports: tuple[SolveReport, ...]) -> SoilResponse:
    # direct leaks balance by construction and would hide what the soil does, also as rounding
    soil = _soil_sums(network, fields)
    rounding = _rounding(network)
    through = np.maximum(np.abs(np.diag(soil)), max(rounding, 1e-300))
    unbalanced = np.maximum(np.abs(soil.sum(axis=1)) - rounding, 0.0)
    balance = float(np.max(unbalanced / through, initial=0.0))
    partition = float(np.abs(fields.sum(axis=0) - 1.0).max(initial=0.0))
    return SoilResponse(
        ports=network.ports,
        unit_fields=fields,
        port_matrix=quadratic_form(network, fields),
        face_matrix=soil + _laplacian(network.direct),
        reports=reports,
        balance=balance,
        partition=partition,
    )


def _laplacian(direct: Array) -> Array:
    return np.asarray(np.diag(direct.sum(axis=1)) - direct)


def face_sums(network: SoilNetwork, fields: Array) -> Array:
    """Port matrix from sums of face fluxes, first order in the solver error.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    fields : array, shape (p, nodes)
        Unit fields. [-]

    Returns
    -------
    matrix : array, shape (p, p)
        Row i holds the flows out of the ports while port i is at one pascal. [m3/(s Pa)]
    """
    return _soil_sums(network, fields) + _laplacian(network.direct)


def _soil_sums(network: SoilNetwork, fields: Array) -> Array:
    """Port matrix without the leaks from port to port, from sums of face fluxes."""
    n = len(network.ports)
    matrix = np.zeros((n, n))
    for i in range(n):
        held = (network.port == i).astype(float)
        flux = network.port_conductance * (held - fields[i][network.port_node])
        matrix[i] = summed(network.port, flux, n)
    return matrix


def quadratic_form(network: SoilNetwork, fields: Array) -> Array:
    """Port matrix as the dissipation of pairs of unit fields, second order in the solver error.

    .. math:: Y_{ij} = \\sum_{edges} T\\, \\delta\\phi_i\\, \\delta\\phi_j

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    fields : array, shape (p, nodes)
        Unit fields. [-]

    Returns
    -------
    matrix : array, shape (p, p)
        Symmetric. [m3/(s Pa)]
    """
    n = len(network.ports)
    i, j = network.edges[:, 0], network.edges[:, 1]
    jumps = np.empty((n, i.size + network.port.size))
    for p in range(n):
        jumps[p, : i.size] = fields[p][i] - fields[p][j]
        held = (network.port == p).astype(float)
        jumps[p, i.size :] = held - fields[p][network.port_node]
    weight = np.concatenate([network.conductance, network.port_conductance])
    jumps *= np.sqrt(weight)
    return np.asarray(jumps @ jumps.T + _laplacian(network.direct))
