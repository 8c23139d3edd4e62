"""The scheme itself: compression, and the order of accuracy on chosen fields."""

from __future__ import annotations

import math
from collections.abc import Iterator

from problems import compressible, manufactured
from problems.orders import extrapolated, observed_order
from problems.soils import MU

from checks.row import Group, Row
from soilflow.air import P_ATM

SOURCE = "derived: p^2 is linear in isothermal flow; worked twice"


def compression_rows() -> Iterator[Row]:
    for vacuum, factor, field_error in (
        (250.0, 0.9987663, 3.088e-4),
        (1000.0, 0.9950654, 1.240e-3),
        (5000.0, 0.9753269, 6.324e-3),
        (20000.0, 0.9013077, 2.737e-2),
    ):
        linear = compressible.K / MU * vacuum / compressible.LENGTH
        yield Row(
            check=f"flow at {vacuum:g} Pa over the linear one",
            source=SOURCE,
            value=factor,
            ours=compressible.flow_at(compressible.column(), vacuum) / linear,
            tolerance=1e-6,
        )
        yield Row(
            check=f"largest error of a linear field at {vacuum:g} Pa",
            source=f"{SOURCE}; cells see all but 0.1 % of it",
            value=field_error,
            ours=float(compressible.off_straight(vacuum)),
            tolerance=2e-3,
        )
    vacuum = 20000.0
    exact = math.pi * 0.1 * compressible.K * (P_ATM**2 - (P_ATM - vacuum) ** 2)
    exact /= MU * P_ATM * math.log(compressible.EDGE / compressible.PIT)
    flows = {n: 4.0 * compressible.flow_at(compressible.ring(n), vacuum) for n in (8, 12, 16)}
    errors = [abs(flow / exact - 1.0) for flow in flows.values()]
    yield Row(
        check="between circles at 20 kPa, flow, extrapolated",
        source=SOURCE,
        value=exact,
        ours=extrapolated(flows[8], flows[16], 2.0),
        tolerance=1e-3,
        order=observed_order([1.0 / n for n in flows], errors),
    )


def order_rows() -> Iterator[Row]:
    def soil(n: int, graded: bool, with_gap: bool, in_gap: bool) -> float:
        answer = manufactured.space(round(math.log2(n)), with_gap, graded)
        return answer.error(answer.in_gap == in_gap)

    for check, levels, error in (
        ("even cells in plan", (20, 40, 80), manufactured.error_in_plane),
        (
            "graded cells in plan",
            (1, 2, 4, 8),
            lambda n: manufactured.graded_in_plane(round(math.log2(n))),
        ),
        ("space under a leaky slab, even", (1, 2, 4), lambda n: soil(n, False, False, False)),
        ("space under a leaky slab, graded", (1, 2, 4), lambda n: soil(n, True, False, False)),
        ("soil under a gap, graded", (1, 2, 4), lambda n: soil(n, True, True, False)),
        ("in the gap, graded", (1, 2, 4), lambda n: soil(n, True, True, True)),
    ):
        order = observed_order([1.0 / n for n in levels], [error(n) for n in levels])
        yield Row(
            check=f"order, {check}",
            source="no publication: a chosen field and the source that makes it so",
            value=2.0,
            ours=order,
            tolerance=0.05,
            order=order,
        )


COMPRESSION = Group(
    name="compression",
    proves="Air that thins under suction flows by p squared, from the pit to the operating point.",
    rows=compression_rows,
)
ORDERS = Group(
    name="order of accuracy",
    proves="Halving the cells quarters the error, in varying soil, under a slab and in a gap.",
    rows=order_rows,
)
