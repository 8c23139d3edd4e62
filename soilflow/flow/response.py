"""The soil's linear response: one unit field per port, and the port matrix."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import BalanceError, ConvergenceError
from soilflow.flow.conductances import summed
from soilflow.flow.edge_flows import added, edge_product, leftover, lone_ports
from soilflow.flow.side_by_side import WORTH_SHARING, Progress, each_of
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.solve import Preconditioned, SolveReport, largest, precondition, solve

__all__ = [
    "BALANCE",
    "ERROR",
    "SoilResponse",
    "UnitField",
    "face_sums",
    "is_careful",
    "quadratic_form",
    "respond",
    "system_of",
    "unit_field",
]

Array = NDArray[np.float64]

# Largest imbalance accepted, relative to the larger of the flows in and out. [-]
BALANCE = 1e-8
# Largest error accepted in a unit field, as a multigrid cycle estimates it, relative to the
# largest value of the field. [-]
ERROR = 1e-8
# Where the first pass and each refinement after it stop: errors relative to what they solve for.
# With large contrasts small flows hang on more digits of the fields. [-]
_FIRST, _FIRST_CAREFUL, _FURTHER, _REFINEMENTS = 2e-9, 1e-10, 1e-2, 6
# From a field that is right to some per mille already, fewer digits are missing.
_FIRST_NEAR = 1e-5
# Unit fields are solved one by one, so their sum tells what each one's own estimate may miss. [-]
_PARTITION = 1e-6
# Largest over least conductance from which on the careful multigrid is worth its time. Measured.
_CAREFUL = 1e10
_TINY = float(np.finfo(float).tiny)


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
        The same from sums of face fluxes while solving, for checks. [m3/(s Pa)]
    reports : tuple of SolveReport
        One per port.
    balance : float
        Largest imbalance of a unit field, relative to its flow through soil. [-]
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


class UnitField(NamedTuple):
    """One port's unit field, and how the solve went.

    Parameters
    ----------
    field : array, shape (nodes,)
        The field. [-]
    unit_flows : array, shape (p,)
        Flow out of each port into the soil. [m3/(s Pa)]
    imbalance : float
        Their sum over the flow out of the port at one, its size alone. [-]
    report : SolveReport
        Iterations and errors.
    """

    field: Array
    unit_flows: Array
    imbalance: float
    report: SolveReport


def is_careful(network: SoilNetwork) -> bool:
    """Whether conductances differ by so much that the careful multigrid is worth its time.

    Parameters
    ----------
    network : SoilNetwork
        The soil.

    Returns
    -------
    careful : bool
        True from ten decades on.
    """
    return _contrast(network) > _CAREFUL


def system_of(network: SoilNetwork, *, near: Preconditioned | None = None) -> Preconditioned:
    """The matrix of a network with a multigrid cycle of its own, or one lent to it.

    Parameters
    ----------
    network : SoilNetwork
        The soil, with at least one node.
    near : Preconditioned or None
        Of a network with the same nodes, whose cycle will do; None sets one up.

    Returns
    -------
    system : Preconditioned
        Ready for any number of unit fields.
    """
    careful = is_careful(network)
    times = edge_product(network) if careful else None
    matrix = network.matrix()
    if near is None:
        return precondition(matrix, times=times, careful=careful)
    scale = 1.0 / np.sqrt(matrix.diagonal())
    return Preconditioned(times=times or matrix.__matmul__, cycle=near.cycle, scale=scale)


def unit_field(network: SoilNetwork, port: int, system: Preconditioned) -> UnitField:
    """Solve the unit field of one port.

    Parameters
    ----------
    network : SoilNetwork
        The soil, with at least one node.
    port : int
        The port at one.
    system : Preconditioned
        Its matrix, with any cycle that suits.

    Returns
    -------
    solved : UnitField
        Balanced to `BALANCE`, and right to about `ERROR` at every node; the flows are those
        through soil alone.

    Raises
    ------
    ConvergenceError
        The solve missed its tolerance.
    BalanceError
        The flows do not balance.
    """
    return _field_of(network, port, system, *lone_ports(network), is_careful(network))


def _field_of(
    network: SoilNetwork,
    port: int,
    system: Preconditioned,
    lone: NDArray[np.int64],
    coupled: NDArray[np.bool_],
    careful: bool,
    *,
    begin: Array | None = None,
) -> UnitField:
    mine = network.port == port
    source = summed(network.port_node[mine], network.port_conductance[mine], network.nodes)
    left, high = np.where(lone < 0, source, 0.0), (lone == port).astype(float)
    norm = float(np.linalg.norm(system.scale * left))
    first = _FIRST_CAREFUL if careful else _FIRST
    if begin is not None:
        high = np.where(lone < 0, begin, high)
        left = np.where(lone < 0, leftover(network, high, np.zeros_like(high), port)[0], 0.0)
        first = _FIRST_CAREFUL if careful else _FIRST_NEAR
    found = _refined_field(network, system, high, left, norm, port, first, careful)
    return found if coupled[port] else found._replace(imbalance=0.0)


def respond(
    network: SoilNetwork,
    *,
    progress: Progress | None = None,
    system: Preconditioned | None = None,
    start: Array | None = None,
) -> SoilResponse:
    """Solve the unit field of every port and sum up the port matrix.

    Parameters
    ----------
    network : SoilNetwork
        The soil.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.
    system : Preconditioned or None
        Its matrix, where it is there already.
    start : array, shape (p, nodes), or None
        Fields to begin from, of any quality; None begins with none. [-]

    Returns
    -------
    response : SoilResponse
        Balanced to `BALANCE`, and right to about `ERROR` at every node.

    Raises
    ------
    ConvergenceError
        A solve missed its tolerance.
    BalanceError
        The flows do not balance.
    """
    if network.nodes == 0:
        still = UnitField(
            np.zeros(0), np.zeros(len(network.ports)), 0.0, SolveReport(iterations=0, residual=0.0)
        )
        return _collect(network, [still] * len(network.ports))
    ready, ways, careful = system or system_of(network), lone_ports(network), is_careful(network)

    def field_of(port: int) -> UnitField:
        begin = None if start is None else start[port]
        return _field_of(network, port, ready, *ways, careful, begin=begin)

    share = network.nodes >= WORTH_SHARING
    solved = each_of(field_of, len(network.ports), share=share, progress=progress)
    response = _collect(network, solved)
    if response.partition > _PARTITION:
        raise ConvergenceError(
            f"the unit fields add up to one within {response.partition:.1e} only, wanted "
            f"{_PARTITION:.0e}",
            reached=response.partition,
            wanted=_PARTITION,
            iterations=response.iterations,
        )
    return response


def _refined_field(
    network: SoilNetwork,
    system: Preconditioned,
    start: Array,
    left: Array,
    norm: float,
    port: int,
    first: float,
    careful: bool,
) -> UnitField:
    """Unit field of one port, refined until it is right everywhere and its flows balance."""
    high, low = start, np.zeros(network.nodes)
    spent, error, imbalance = 0, 0.0, 0.0
    for tolerance in (first, *[_FURTHER] * _REFINEMENTS):
        step, report = solve(system, left, tolerance=tolerance)
        spent += report.iterations
        high, low = added(high, low, step)
        left, flows = leftover(network, high, low, port)
        imbalance = abs(float(flows.sum())) / max(abs(float(flows[port])), _TINY)
        # what the iteration carried along, unless rounding may have taken it off the residual
        wrong = largest(system.cycle(left)) if careful else report.error * largest(step)
        error = wrong / max(largest(high), _TINY)
        if error <= ERROR and imbalance <= BALANCE:
            residual = float(np.linalg.norm(system.scale * left)) / max(norm, _TINY)
            found = SolveReport(iterations=spent, residual=residual, error=error)
            return UnitField(high, flows, imbalance, found)
    name = network.ports[port]
    if imbalance > BALANCE:
        raise BalanceError(
            f'the flows of port "{name}" balance to {imbalance:.1e} only, wanted {BALANCE:.0e}',
            reached=imbalance,
            wanted=BALANCE,
        )
    raise ConvergenceError(
        f'the field of port "{name}" is right to {error:.1e} only, wanted {ERROR:.0e}',
        reached=error,
        wanted=ERROR,
        iterations=spent,
    )


def _contrast(network: SoilNetwork) -> float:
    """Largest conductance over the least. [-]"""
    every = np.concatenate([network.conductance, network.port_conductance])
    return float(every.max() / every.min())


def _collect(network: SoilNetwork, solved: list[UnitField]) -> SoilResponse:
    fields = np.array([s.field for s in solved]).reshape(len(solved), network.nodes)
    faces = np.array([s.unit_flows for s in solved]).reshape(len(solved), len(network.ports))
    return SoilResponse(
        ports=network.ports,
        unit_fields=fields,
        port_matrix=quadratic_form(network, fields),
        face_matrix=faces + _laplacian(network.direct),
        reports=tuple(s.report for s in solved),
        balance=max((s.imbalance for s in solved), default=0.0),
        partition=float(np.abs(fields.sum(axis=0) - 1.0).max(initial=0.0)),
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
    n = len(network.ports)
    matrix = np.zeros((n, n))
    for i in range(n):
        held = (network.port == i).astype(float)
        flux = network.port_conductance * (held - fields[i][network.port_node])
        matrix[i] = summed(network.port, flux, n)
    return matrix + _laplacian(network.direct)


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
