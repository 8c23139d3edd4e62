"""Flow in plan on the grid: round pits, leaky layers, gaps, layers and patches of soil."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from problems import layered_soil, leaky_layer, radial, sections, slits
from problems.orders import observed_order
from problems.soils import MU

from checks.row import AT_LEAST, AT_MOST, MEMORY, Group, Row, refined
from soilflow.flow.analytic import flow_leaky_de_glee, pressure_radial_thiem
from soilflow.results.coverage import covered_area

LEVELS = (8, 12, 16)
THIEM = "Thiem 1906" + MEMORY + "; 1-D FEM"


def _between_circles() -> Iterator[Row]:
    exact = 2.0 * math.pi * 1e-11 * 250.0 / (MU * math.log(radial.EDGE / radial.PIT))
    for check, value, full, solve in (
        ("flow", 2.474915e-4, exact, radial.flow_between_circles),
        (
            "pressure at 1 m",
            -114.7449,
            pressure_radial_thiem(1.0, 0.15, 5.0, 250.0),
            lambda n: radial.on_axis(radial.between_circles(n), radial.HELD, 1.0),
        ),
        ("coverage at 5 Pa", 0.8691302, None, lambda n: radial.covered_share(n, 5.0)),
    ):
        rows = refined(
            f"between circles, {check}",
            THIEM if full else "derived; 1-D FEM",
            value,
            solve,
            LEVELS,
            order=2.0,
            raw=0.01,
            tolerance=1e-3,
        )
        yield from _with_order(rows, full, solve)


def _with_order(
    rows: Iterator[Row], exact: float | None, solve: Callable[[int], float]
) -> Iterator[Row]:
    """The order against all digits of the closed form; of coverage it is chance at one level."""
    order = None
    if exact is not None:
        errors = [abs(solve(n) / exact - 1.0) for n in LEVELS]
        order = observed_order([1.0 / n for n in LEVELS], errors)
    for row in rows:
        yield Row(**{**row.__dict__, "order": order})


def _square_and_rings() -> Iterator[Row]:
    yield from refined(
        "round pit in a square of 10 m, S / b",
        "Incropera & DeWitt Table 4.1" + MEMORY + "; eigenfunction series",
        1.753943,
        radial.flow_in_square,
        LEVELS,
        order=2.0,
        raw=0.01,
        tolerance=1e-3,
    )
    flow, at_4_m = radial.two_rings_unrolled(0)
    for check, value, ours in (
        ("flow", 1.317081e-5, flow),
        ("pressure at 4 m", -0.8466334, at_4_m),
    ):
        yield Row(
            check=f"two rings of soil, {check}",
            source="Thiem in series" + MEMORY + "; worked twice",
            value=value,
            ours=ours,
            tolerance=5e-3,
        )


def _leaky() -> Iterator[Row]:
    held = leaky_layer.HELD
    endless = leaky_layer.thin_layer(20.0, False)
    opened, with_edge = leaky_layer.thin_layer(5.0, True), {**held, "edge": 0.0}
    sealed, floating = leaky_layer.sealed_disk()
    at, rim = leaky_layer.on_axis, leaky_layer.rim_flow
    floor = leaky_layer.floor_of(sealed, floating)
    disk = 0.25 * math.pi * 25.0
    gap = leaky_layer.gap_over_tight_soil((12.0 * leaky_layer.TRANSMISSIVITY) ** (1.0 / 3.0))
    endless_source = "de Glee 1930, Jacob 1946" + MEMORY + "; an analytic-element library"
    disk_source = "Jacob 1946" + MEMORY + "; 1-D FEM"
    for check, source, value, ours in (
        ("leaky layer without end, flow", endless_source, 5.074909e-4, rim(endless, held)),
        ("leaky layer without end, at 3 m", endless_source, -15.77079, at(endless, held, 3.0)),
        ("leaky disk, open edge, flow", disk_source, 5.110956e-4, rim(opened, with_edge)),
        ("leaky disk, open edge, at 2.5 m", disk_source, -20.09286, at(opened, with_edge, 2.5)),
        ("leaky disk, sealed edge, flow", disk_source, 5.020051e-4, rim(sealed, floating)),
        ("leaky disk, sealed edge, at 2.5 m", disk_source, -24.78108, at(sealed, floating, 2.5)),
        ("leaky disk, sealed edge, at 5 m", disk_source, -11.59782, floating["beyond"]),
        (
            "leaky disk, sealed edge, coverage at 50 Pa",
            disk_source,
            0.08023304,
            float(covered_area(floor, 50.0).sum()) / disk,
        ),
        ("settled gap without end, flow", endless_source, 5.074909e-4, rim(gap, held)),
        (
            "settled gap without end, at 3 m",
            endless_source,
            -15.77079,
            leaky_layer.in_gap_at(gap, 3.0),
        ),
    ):
        yield Row(check=check, source=source, value=value, ours=float(ours), tolerance=5e-3)
    thin = 0.05 * leaky_layer.TRANSMISSIVITY
    for factor in (8.0, 27.0):
        answer = leaky_layer.gap_over_tight_soil((12.0 * thin * factor) ** (1.0 / 3.0))
        yield Row(
            check=f"gap {factor ** (1 / 3):.0f} times as high",
            source="cube law in de Glee's form" + MEMORY,
            value=flow_leaky_de_glee(0.15, thin * factor, leaky_layer.LEAKANCE, 200.0, MU),
            ours=rim(answer, held),
            tolerance=5e-3,
        )


def _slits() -> Iterator[Row]:
    source = "Snow 1965; Witherspoon et al. 1980, WRR 16:1016" + MEMORY
    yield Row(
        check="slit of 1 mm by 1 m, 0.1 m, 5 Pa",
        source=source,
        value=2.302026e-4,
        ours=slits.slit(0, 3).flow("to", {"from": 0.0, "to": -5.0}),
        tolerance=1e-6,
    )
    yield from refined(
        "radial gap of 3 mm, 10 Pa",
        source,
        2.227424e-3,
        slits.flow_in_radial_gap,
        LEVELS,
        order=2.0,
        raw=0.01,
        tolerance=1e-3,
    )


def _layers_and_patches() -> Iterator[Row]:
    mesh, other = [0.0, 0.1, 0.3, 0.5, 0.8, 0.9, 1.0], [0.0, 0.4, 1.0]
    across = layered_soil.flow_through(layered_soil.upright(0), [mesh, other, other], 0)
    along = layered_soil.flow_through(layered_soil.flat(), [other, other, mesh], 0)
    source = "series and parallel, any text"
    for check, value, ours in (
        ("three layers, across", 1e-12 / 0.57, across * MU),
        ("three layers, along", 4.5e-12, along * MU),
    ):
        yield Row(check=check, source=source, value=value, ours=ours, tolerance=1e-10)
    yield Row(
        check="slope inside a round patch of a tenth",
        source="Maxwell 1873, Carslaw & Jaeger 16.4" + MEMORY + "; FEM",
        value=1.818182,
        ours=float(np.mean(sections.slopes_inside_a_round_patch())),
        tolerance=0.01,
    )
    found = sections.checkerboard(64)
    yield Row(
        check="checkerboard of 1 and 0.1, 64 cells",
        source="Keller 1964; Dykhne 1970" + MEMORY + "; FEM 0.316307",
        value=0.3162278,
        ours=found,
        tolerance=0.03,
    )
    for relation, value in ((AT_LEAST, 2.0 / 11.0), (AT_MOST, 0.55)):
        yield Row(
            check=f"checkerboard, {'harmonic' if relation == AT_LEAST else 'arithmetic'} mean",
            source="Wiener 1912" + MEMORY,
            value=value,
            ours=found,
            relation=relation,
            tolerance=0.0,
        )


def rows() -> Iterator[Row]:
    yield from _between_circles()
    yield from _square_and_rings()
    yield from _leaky()
    yield from _slits()
    yield from _layers_and_patches()


PLANE = Group(
    name="flow in plan",
    proves="Round pits, leaky slabs, gaps, layers and patches carry air as exact flow does.",
    rows=rows,
)
