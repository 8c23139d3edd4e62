"""Whole houses in three dimensions: slab, yard, footings and pits together."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from problems import exact_houses, manufactured_house, whole_house
from problems.orders import extrapolated, observed_order

from checks.edges import PAVLOVSKY
from checks.row import AT_LEAST, AT_MOST, MEMORY, Group, Row, refined

SOLVER = 1e-8  # what a balanced solve leaves of a flow
INVERSION = "derived: an earthed plane with a round hole, by inversion"


def _round() -> Iterator[Row]:
    yield from refined(
        "bowl under a round floor in an open yard, S",
        INVERSION,
        exact_houses.round_house_exact(),
        lambda n: exact_houses.round_house(n)[0],
        (3, 4, 6),
        order=2.0,
        raw=0.02,
        tolerance=5e-3,
    )
    for distance in (1.0, 1.5):
        yield Row(
            check=f"pressure {distance:g} m from it over the pit's",
            source=INVERSION,
            value=exact_houses.under_round_floor(distance),
            ours=exact_houses.round_house_pressure(6, distance),
            tolerance=5e-3,
        )
    inner, outer = (exact_houses.under_round_floor(1.5, r) for r in (3.0, 3.0 * math.sqrt(2.0)))
    for relation, value, word in ((AT_LEAST, inner, "within"), (AT_MOST, outer, "around")):
        yield Row(
            check=f"1.5 m, under a square of 6 m, against the circle {word} it",
            source="derived: more slab, less of the pit's suction lost",
            value=value,
            ours=exact_houses.square_house(),
            relation=relation,
            tolerance=0.0,
        )


def _footings() -> Iterator[Row]:
    for distance, depth in ((0.6, 0.45), (0.6, 1.0), (2.0, 0.45)):
        value = exact_houses.edge_drain_exact(distance, depth, 0.05)
        found = [exact_houses.edge_drain(distance, depth, 0.05, n) for n in range(3)]
        errors = [abs(f / value - 1.0) for f in found]
        order = observed_order([1.0, 0.5, 0.25], errors)
        check = f"drain {distance:g} m from a footing of {depth:g} m, S / L"
        for word, ours, tolerance in (
            ("", found[0], 0.03),
            (", extrapolated", extrapolated(found[1], found[2], 1.0), 0.01),
        ):
            yield Row(
                check=check + word,
                source="derived: conformal map that folds the footing flat",
                value=value,
                ours=ours,
                tolerance=tolerance,
                order=order,
            )
    coarse, fine = (exact_houses.under_a_footing(0.5, n) for n in (0, 1))
    for word, ours, tolerance in (
        ("", fine, 0.03),
        (", extrapolated", extrapolated(coarse, fine, 1.0), 0.01),
    ):
        yield Row(
            check=f"pit on an open gap, flow under a metre of footing{word}",
            source=PAVLOVSKY,
            value=0.5,
            ours=ours,
            tolerance=tolerance,
        )


def _long_slab() -> Iterator[Row]:
    flow, end = exact_houses.long_slab_exact()
    found = exact_houses.long_slab()
    source = "derived: fin equation, cosh; leaky aquifer in one dimension"
    for check, value, ours in (("flow", flow, found[0]), ("suction at the far end", end, found[1])):
        yield Row(
            check=f"channel at the end of a long gap, {check}",
            source=source,
            value=value,
            ours=ours,
            tolerance=5e-3,
        )


def _chosen_field() -> Iterator[Row]:
    levels = (6, 8, 12)
    errors = [manufactured_house.error_in_house(n) for n in levels]
    order = observed_order([1.0 / n for n in levels], errors)
    yield Row(
        check="order, chosen field in slab, footing, yard and pit",
        source="no publication: a chosen field and the source that makes it so",
        value=2.0,
        ours=order,
        tolerance=0.05,
        order=order,
    )


def exact_rows() -> Iterator[Row]:
    yield from _round()
    yield from _footings()
    yield from _long_slab()
    yield from _chosen_field()


def _other_programs() -> Iterator[Row]:
    ours, fipy = (whole_house.solved(whole_house.TWO_BOXES, e) for e in (None, "fipy"))
    for one, other in (("A", "A"), ("A", "B"), ("A", "outdoors"), ("house", "outdoors")):
        yield Row(
            check=f"conductance {one} to {other}",
            source="FiPy 4, own mesh, averages, matrix and solver",
            value=whole_house.conductance(fipy, one, other),
            ours=whole_house.conductance(ours, one, other),
            tolerance=1e-6,
        )
    yield Row(
        check="largest difference under the floor over the vacuum",
        source="FiPy 4",
        value=0.0,
        ours=whole_house.largest_difference(ours, fipy),
        tolerance=1e-6,
    )
    import peers

    found = {}
    for split, cells in ((False, "18 k"), (True, "147 k")):
        edges = [np.array(e) for e in peers.grid_lines("150k", split=split)]
        pair = found[split] = [
            solve(edges)["flow"] for solve in (peers.solve_soilflow, peers.solve_skfem)
        ]
        yield Row(
            check=f"box pit in loose soil, {cells} cells, flow at 1 Pa",
            source="scikit-fem, trilinear: no less by Dirichlet's principle",
            value=pair[1],
            ours=pair[0],
            relation=AT_MOST,
            tolerance=0.0,
        )
    two = [extrapolated(*pair, 4.0 / 3.0) for pair in zip(found[False], found[True], strict=True)]
    yield Row(
        check="box pit in loose soil, extrapolated from both sides",
        source="scikit-fem, trilinear, extrapolated",
        value=two[1],
        ours=two[0],
        tolerance=0.015,
    )


def _laws() -> Iterator[Row]:
    house = whole_house.solved()
    field, flows = whole_house.by_elimination(house)
    for number, port in enumerate(house.solution.network.ports):
        yield Row(
            check=f"all ports held at once, flow into {port}",
            source="superposition; SciPy's sparse elimination",
            value=float(flows[number]),
            ours=whole_house.flow_of(house, port),
            tolerance=SOLVER,
        )
    winter = house.conditions["winter"]
    yield Row(
        check="largest difference of the field over the vacuum",
        source="SciPy's sparse elimination",
        value=0.0,
        ours=float(np.abs(field - winter.node_u).max()) / max(whole_house.VACUUMS.values()),
        tolerance=SOLVER,
    )
    faces, ports = house.solution.response.face_matrix, house.solution.response.ports
    for one, other in (("A", "outdoors"), ("A", "B"), ("B", "house")):
        i, j = ports.index(one), ports.index(other)
        yield Row(
            check=f"flow from {one} to {other} is that from {other} to {one}",
            source="reciprocity (Green), on sums over faces of two solves",
            value=float(faces[i, j]),
            ours=float(faces[j, i]),
            tolerance=SOLVER,
        )
    yield Row(
        check="flow through a cut around A is what A draws",
        source="conservation",
        value=whole_house.flow_of(house, "A"),
        ours=whole_house.through_a_cut(house, "A"),
        tolerance=SOLVER,
    )
    library, by_hand = whole_house.fan_on_the_house()
    yield Row(
        check="straight fan on A, B capped, flow",
        source="one scalar equation, SciPy's root finder",
        value=by_hand,
        ours=library,
        tolerance=1e-6,
    )


def _symmetries() -> Iterator[Row]:
    house = whole_house.solved()
    own = {port: whole_house.conductance(house, port, port) for port in ("A", "B", "outdoors")}
    half = whole_house.half_house()
    for port, value in own.items():
        yield Row(
            check=f"half the house and its mirror image, conductance of {port}",
            source="method of images",
            value=value,
            ours=half[port],
            tolerance=SOLVER,
        )
    ten, bare = whole_house.scaled(10.0), whole_house.variant(joints=())
    twice, yard = whole_house.larger(2.0), whole_house.with_a_yard()
    for check, value, ours in (
        ("all permeabilities and leaks times ten", 10.0, (ten, house)),
        ("all lengths times two", 2.0, (twice, bare)),
    ):
        one, other = (whole_house.conductance(r, "A", "outdoors") for r in ours)
        yield Row(
            check=f"{check}, flow",
            source="scaling: flow is (k / mu) S dp, S a length",
            value=value,
            ours=one / other,
            tolerance=SOLVER,
        )
        yield Row(
            check=f"{check}, change under the floor",
            source="scaling",
            value=0.0,
            ours=whole_house.largest_difference(*ours),
            tolerance=SOLVER,
        )
    yield Row(
        check="outdoors in two yards at one pressure",
        source="ports that are joined add",
        value=whole_house.conductance(house, "A", "outdoors"),
        ours=sum(whole_house.conductance(yard, "A", name) for name in ("outdoors", "windward")),
        tolerance=SOLVER,
    )


def _limits() -> Iterator[Row]:
    house, gone = whole_house.solved(), whole_house.variant(gaps=())
    yield Row(
        check="a gap of no height is no gap",
        source="limit",
        value=whole_house.conductance(gone, "A", "A"),
        ours=whole_house.conductance(whole_house.with_gap_height(0.0), "A", "A"),
        tolerance=1e-12,
    )
    for check, other in (
        ("footings taken away", whole_house.without_footings()),
        ("gap twice as high", whole_house.with_gap_height(2.0)),
    ):
        for port in ("A", "outdoors"):
            yield Row(
                check=f"{check}, conductance of {port} no lower",
                source="Rayleigh's monotonicity, Thomson's principle" + MEMORY,
                value=whole_house.conductance(house, port, port),
                ours=whole_house.conductance(other, port, port),
                relation=AT_LEAST,
                tolerance=SOLVER,
            )
    cut_off = whole_house.with_footings_down_to(0.002)
    yield Row(
        check="footings down to the last 0.2 %, share left of A to outdoors",
        source="limit: nothing passes a sealed box",
        value=0.0,
        ours=whole_house.conductance(cut_off, "A", "outdoors")
        / whole_house.conductance(house, "A", "outdoors"),
        tolerance=0.02,
    )


def law_rows() -> Iterator[Row]:
    yield from _other_programs()
    yield from _laws()
    yield from _symmetries()
    yield from _limits()


EXACT_HOUSES = Group(
    name="houses known exactly",
    proves="Slab, yard, footing, gap and pit together give the pressures of closed forms.",
    rows=exact_rows,
)
WHOLE_HOUSE = Group(
    name="a whole house",
    proves="Other programs and the laws of linear flow agree on a house with everything in it.",
    rows=law_rows,
)
