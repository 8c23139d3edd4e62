"""Thin walls, drains and slots: features that are lines in a section."""

from __future__ import annotations

import math
from collections.abc import Iterator

from problems import drain, line_leak, one_cell, sections
from problems.orders import extrapolated
from problems.soils import MU
from scipy.special import ellipk

from checks.row import MEMORY, Group, Row, refined
from soilflow.site.conductors import rectangle_radius

PAVLOVSKY = "Pavlovsky 1922, Harr 1962 ch. 5" + MEMORY + "; graded quadratic FEM"
BURIED = "Incropera & DeWitt Table 4.1" + MEMORY + "; multipole collocation"


def pavlovsky(depth: float) -> float:
    """Flow under a wall over (k / mu) dp, its depth over that of the layer given."""
    squared = math.sin(0.5 * math.pi * depth) ** 2
    return float(ellipk(1.0 - squared) / (2.0 * ellipk(squared)))


def _walls() -> Iterator[Row]:
    for depth, value in ((0.25, 0.7346090), (0.5, 0.5), (0.75, 0.3403171)):
        yield from refined(
            f"flow under a wall {depth:g} of the way down",
            PAVLOVSKY,
            value,
            lambda n, depth=depth: sections.under_a_wall(depth, n),
            (16, 32, 64),
            order=1.0,
            raw=0.03,
            tolerance=0.01,
            at=1,
        )


def _drains() -> Iterator[Row]:
    yield from refined(
        "pipe of 0.10 m, 0.5 m under open ground, S / L",
        BURIED,
        2.099137,
        sections.line_below_ground,
        (4, 6, 8),
        order=2.0,
        raw=0.02,
        tolerance=5e-3,
    )
    for beside in ((), (0.1,), (0.3,)):
        yield Row(
            check=f"the same as a line, lines of a wall at {beside[0]:g} m"
            if beside
            else "the same as a line conductor",
            source=BURIED,
            value=2.099137,
            ours=drain.under_open_ground(0.5, 0.05, beside),
            tolerance=0.02,
        )
    yield Row(
        check="drain at 5 Pa in 1e-12 m2, flow a metre",
        source=BURIED,
        value=5.798721e-7,
        ours=drain.under_open_ground(0.5, 0.05) * 1e-12 * 5.0 / MU,
        tolerance=0.02,
    )
    yield Row(
        check="drain half buried under the slab, S / L",
        source="derived: conformal radius of a square" + MEMORY,
        value=drain.exact(0.0, 0.05),
        ours=drain.half_buried(0.05),
        tolerance=0.02,
    )
    square = math.gamma(0.25) ** 2 / (4.0 * math.pi**1.5)
    for check, value, sides in (("square", square, (1.0, 1.0)), ("strip", 0.25, (1.0, 1e-9))):
        yield Row(
            check=f"round bore as open as a {check}",
            source="conformal maps, any text" + MEMORY,
            value=value,
            ours=rectangle_radius(*sides),
            tolerance=1e-6,
        )


def _slots() -> Iterator[Row]:
    source = "derived: strip as a cylinder of a quarter of its width"
    for open_floor, where in ((False, "floor-wall joint"), (True, "crack in open floor")):
        for aperture in (1e-4, 1e-3):
            yield Row(
                check=f"{where} of {1e3 * aperture:g} mm in soil",
                source=source,
                value=line_leak.exact_flow(aperture, open_floor=open_floor),
                ours=line_leak.flow_per_metre((0.08, 0.02), aperture, open_floor=open_floor),
                tolerance=0.01,
            )
        flows = [
            line_leak.flow_per_metre((0.04, 0.04), 1e-3, open_floor=open_floor, times=n)
            for n in (1, 2)
        ]
        yield Row(
            check=f"{where} of 1 mm in soil, extrapolated",
            source=source,
            value=line_leak.exact_flow(1e-3, open_floor=open_floor),
            ours=extrapolated(*flows, 2.0),
            tolerance=0.01,
        )


def rows() -> Iterator[Row]:
    yield from _walls()
    yield from _drains()
    yield from _slots()


def cell_rows() -> Iterator[Row]:
    source = "Peaceman 1978, SPE J. 18:183" + MEMORY + "; five-point lattice"
    lattice = one_cell.PLANE * math.exp(math.pi / 4.0)
    watson = "Watson 1939, Glasser & Zucker 1977" + MEMORY + "; Bessel integral"
    mirror = "derived: a mirror image on Watson's lattice; 31^3 lattice"
    for check, said, value, ours, tolerance in (
        ("a cell in plan", source, 0.1985059, one_cell.plane_radius("deep", 40.0), 1e-3),
        (
            "a block in plan",
            "derived: four faces at half the distance",
            lattice,
            one_cell.plane_radius("deep", 40.0, block=True),
            1e-3,
        ),
        ("a cell deep in soil", watson, 0.3148702, one_cell.space_radius(False, False), 1e-3),
        ("a cell under the slab", mirror, 0.4697672, one_cell.space_radius(True, False), 1e-3),
        (
            "a block deep in soil",
            "derived: six faces at half the distance",
            1.0 / (4.0 * math.pi * (one_cell.G0 - 1.0 / 12.0)),
            one_cell.space_radius(False, True),
            1e-3,
        ),
    ):
        yield Row(
            check=f"radius of {check}", source=said, value=value, ours=ours, tolerance=tolerance
        )
    source = "derived: exact lattice; five-point lattice to 0.7 %"
    for kind, hx, hy, value in (
        ("corner", 1.0, 1.0, 0.7178),
        ("edge", 1.0, 1.0, 0.4354),
        ("corner", 0.02, 0.05, 0.02527),
        ("corner", 0.08, 0.02, 0.03654),
        ("edge", 0.02, 0.05, 0.01944),
        ("edge", 0.05, 0.02, 0.01209),
    ):
        where = "at an edge" if kind == "edge" else "in a corner"
        yield Row(
            check=f"radius of a cell of {hx:g} x {hy:g} {where}",
            source=source,
            value=value,
            ours=one_cell.plane_radius(kind, 40.0 * max(hx, hy), hx, hy),
            tolerance=0.01,
        )


EDGES = Group(
    name="walls, drains and slots",
    proves="Footings without thickness, drains and joints pass what the maps of sections say.",
    rows=rows,
)
ONE_CELL = Group(
    name="what one cell means",
    proves="The lattice is the exact one: a held cell has the radius of the published identities.",
    rows=cell_rows,
)
