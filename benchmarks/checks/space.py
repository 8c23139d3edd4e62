"""Pits in three dimensions."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator

import numpy as np
from problems import deep_pits, pits, sections, smear
from problems.orders import extrapolated, observed_order
from problems.soils import MU

from checks.row import MEMORY, Group, Row, refined
from soilflow.flow.analytic import shape_factor_hemisphere
from soilflow.flow.grid import COARSE, NORMAL
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit

SPHERE = "Incropera & DeWitt Table 4.1, sphere limit" + MEMORY


def _halved(check: str, source: str, value: float, solve: Callable[[int], float]) -> Iterator[Row]:
    """Two rows of second order: as the grid comes, and extrapolated with all cells halved."""
    coarse, fine = solve(0), solve(1)
    for word, ours, tolerance in (
        ("", coarse, 0.02),
        (", extrapolated", extrapolated(coarse, fine, 2.0), 5e-3),
    ):
        yield Row(check=check + word, source=source, value=value, ours=ours, tolerance=tolerance)


def _hemispheres() -> Iterator[Row]:
    source, held = f"{SPHERE}; FEM", {"pit": -250.0, "far": 0.0}
    for what, value, solve in (
        ("flow", 2.225239e-5, lambda n: 4.0 * pits.shell(n, 10.0).flow("pit", held)),
        ("pressure at 1 m", -57.69231, lambda n: float(pits.pressure_in_a_shell(n))),
    ):
        yield from _halved(f"hemisphere in a shell of 10 m, {what}", source, value, solve)
    exact = 2.0 * math.pi / (1.0 / pits.RADIUS - 1.0 / 1.25)
    errors = [
        abs(4.0 * pits.shape_factor(pits.shell(n, 1.25, 1.3)) / exact - 1.0) for n in range(3)
    ]
    order = observed_order(0.5 ** np.arange(3), errors)
    yield Row(
        check="order, hemisphere in a shell of 1.25 m, flow",
        source="derived: true distances in the faces; a staircase has order 1",
        value=2.0,
        ours=order,
        tolerance=0.05,
        order=order,
    )
    source = "half of a sphere near a sealed plane, Smythe" + MEMORY + "; image series"
    collocation = "multipole collocation to 2e-6"
    for walls, word, value, said in (
        (1, "beside a sealed wall", 1.302050, source),
        (2, "in a corner", 1.008741, collocation),
    ):
        yield from _halved(
            f"hemisphere {word}, S", said, value, lambda n, w=walls: pits.near_walls(n, w)
        )


def _boxes_and_balls() -> Iterator[Row]:
    coarse, fine = pits.box_pit(0), pits.box_pit(1)
    yield Row(
        check="box pit of 0.4 x 0.4 x 0.2 m, S, extrapolated",
        source="Hwang & Mascagni 2004" + MEMORY + "; panel BEM",
        value=1.660465,
        ours=extrapolated(coarse, fine, 4.0 / 3.0),
        tolerance=5e-3,
    )
    yield from refined(
        "ball of 0.30 m, 0.5 m under open ground, S",
        "Smythe" + MEMORY + "; image series",
        2.218956,
        sections.ball_below_ground,
        (4, 6, 8),
        order=2.0,
        raw=0.02,
        tolerance=5e-3,
    )
    yield from refined(
        "drilled hole of 0.05 m by 1 m, S",
        "boundary elements 1.90776, finite elements 1.90818",
        1.9078,
        sections.deep_hole,
        (3, 4, 6),
        order=2.0,
        raw=0.03,
        tolerance=0.01,
    )
    yield from refined(
        "drilled hole half a metre into a layer of 2 m, S",
        "finite elements; Muskat 1937 1.4 % higher" + MEMORY,
        1.111294,
        deep_pits.hole_in_a_layer,
        (3, 4, 6),
        order=2.0,
        raw=0.03,
        tolerance=0.01,
    )
    yield from refined(
        "half spheroid of 0.05 m by 1 m, S, by anisotropy",
        "prolate spheroid, any text; ellipsoid integral",
        1.701436,
        deep_pits.half_spheroid,
        (4, 6, 8),
        order=1.0,
        raw=0.03,
        tolerance=0.01,
    )


def _patch() -> Iterator[Row]:
    yield Row(
        check="slope inside a ball of a tenth",
        source="Maxwell 1873, Carslaw & Jaeger 16.4" + MEMORY,
        value=3.0 / 2.1,
        ours=float(np.mean(sections.slopes_inside_a_ball())),
        tolerance=0.01,
    )


def _plates() -> Iterator[Row]:
    for name, source, value in (
        ("disk", "Weber 1873; Incropera & DeWitt Table 4.1" + MEMORY + "; ring BEM", 4.0),
        ("square", "Read 1997, J. Comput. Phys. 133:1" + MEMORY + "; panel BEM", 2.304605),
    ):
        yield from refined(
            f"flat {name} of 1 m on the underside, S",
            source,
            value,
            lambda n, name=name: pits.flat_plate(name, n),
            (12, 16, 24),
            order=1.0,
            raw=0.02,
            tolerance=5e-3,
        )


def _on_house_grids() -> Iterator[Row]:
    bowl = HemisphericalPit(volume=0.0378541)
    exact = shape_factor_hemisphere(bowl.free_radius)
    for resolution, tolerance in ((COARSE, 0.03), (NORMAL, 0.02)):
        error = pits.house_grid_error(bowl.body(4.37, 5.21, pits.FLOOR), exact, resolution)
        yield Row(
            check=f"two buckets on the {resolution.name} grid of a house, S",
            source=SPHERE,
            value=exact,
            ours=exact * (1.0 + error),
            tolerance=tolerance,
        )
    body = BoxPit(length=0.4, width=0.4, depth=0.2).body(5.0, 5.0, pits.FLOOR)
    split = dataclasses.replace(NORMAL, splits=1)
    coarse, fine = (1.0 + pits.house_grid_error(body, 1.660465, r) for r in (NORMAL, split))
    source = "Hwang & Mascagni 2004" + MEMORY + "; panel BEM"
    yield Row(
        check="box pit on the normal grid of a house, S",
        source=f"{source}; 2 % wanted, 2.5 % allowed at sharp edges",
        value=1.660465,
        ours=1.660465 * coarse,
        tolerance=0.025,
    )
    yield Row(
        check="box pit on the normal grid of a house, S, extrapolated",
        source=source,
        value=1.660465,
        ours=1.660465 * extrapolated(coarse, fine, 4.0 / 3.0),
        tolerance=5e-3,
    )
    sump = CylinderPit(diameter=0.46, depth=0.76)
    exact = deep_pits.half_cylinder(0.5 * sump.diameter, sump.depth)
    error = pits.house_grid_error(sump.body(4.37, 5.21, pits.FLOOR), exact)
    yield Row(
        check="sump of 0.46 m by 0.76 m on the normal grid, S",
        source="boundary elements, solved beside it",
        value=exact,
        ours=exact * (1.0 + error),
        tolerance=0.02,
    )


def _packed() -> Iterator[Row]:
    for word, radius, value in (("two buckets", 0.2624, 0.6107), ("one bucket", 0.2083, 0.5592)):
        whole = 2.0 * math.pi * smear.K / MU

        def to_half_space(flow: float, whole: float = whole) -> float:
            return 1.0 / (1.0 / flow + 1.0 / (whole * smear.FAR))

        bare, packed = (
            smear.pit_flow(radius=radius),
            smear.pit_flow(radius=radius, smear=0.02, ratio=0.1),
        )
        yield Row(
            check=f"flow with 20 mm packed to a tenth, {word}",
            source="derived: two resistances in series",
            value=value,
            ours=to_half_space(packed) / to_half_space(bare),
            tolerance=0.02,
        )


def rows() -> Iterator[Row]:
    yield from _hemispheres()
    yield from _boxes_and_balls()
    yield from _patch()
    yield from _plates()
    yield from _on_house_grids()
    yield from _packed()


SPACE = Group(
    name="pits in space",
    proves="Pits of every shape draw what exact solutions and boundary elements say.",
    rows=rows,
)
