"""Line conductors in small soils: by hand where that can be, and what must hold anywhere."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from shapely.geometry import box
from small_soils import MU, even_edges, layer, slab_body, solve_soil

from soilflow.errors import InputError
from soilflow.flow.grid import Grid
from soilflow.flow.line_cells import face_factors
from soilflow.layout.bodies import Brick, HeldBody, OnLine
from soilflow.site.effects import (
    BlocksFace,
    CarriesAlongLine,
    CarriesAlongSheet,
    LeaksAlongLine,
    LeaksOverArea,
    MultipliesPermeability,
    Prism,
)

K = 1e-12


def line(*points, depth=0.5, radius=0.05, name="tile", reference=""):
    return CarriesAlongLine(
        name=name, points=points, depth=depth, radius=radius, reference=reference
    )


def on_line(name="tile", port="pipe"):
    return HeldBody(port=port, body=OnLine(line=name))


def block(*, x=None, y=None, z=None):
    """A block of soil, its grid uneven on purpose."""
    x = np.array([0.0, 0.3, 0.5, 0.62, 1.0, 1.3, 1.8, 2.0]) if x is None else x
    y = np.array([0.0, 0.2, 0.5, 0.9, 1.0, 1.5]) if y is None else y
    z = np.array([0.0, 0.1, 0.25, 0.45, 0.6, 1.0]) if z is None else z
    return Grid(x=x, y=y, z=z)


def roof(reference="open", plan=None, leakance=math.inf):
    """Open ground, or a slab."""
    plan = box(-99.0, -99.0, 99.0, 99.0) if plan is None else plan
    floor = math.isfinite(leakance)
    return LeaksOverArea(plan=plan, depth=0.0, leakance=leakance, reference=reference, floor=floor)


def shut(effects=(), held=(), grid=None, k=K):
    return solve_soil(block() if grid is None else grid, [layer(k, 0.0, 9.0), *effects], held)


ENDS = [slab_body("west", 0, -9.0, 0.3), slab_body("east", 0, 1.8, 9.0)]


def test_factors_restore_what_the_logarithm_says():
    """Fluxes of the exact field through the faces around any cell outside sum to zero.

    Between the centres the exact field falls by ln(r2 / r1), and with the factor a face passes
    the angle it takes up: so the field ln r, put on the centres, leaves no cell out of balance.
    """
    u = np.array([-1.1, -0.7, -0.4, -0.15, 0.1, 0.22, 0.5, 0.9])
    v = np.array([-0.8, -0.5, -0.2, 0.05, 0.3, 0.45, 0.8])
    radius = 0.08
    cu, cv = 0.5 * (u[1:] + u[:-1]), 0.5 * (v[1:] + v[:-1])
    away = np.hypot(cu[:, None], cv[None, :])
    joined = np.zeros(away.shape, dtype=bool)
    joined[3, 2] = True  # holds the axis
    (fu, _), (fv, _) = face_factors((u, v), joined, radius)
    field = np.log(np.where(joined, radius, away) / radius)
    tu = fu * np.diff(v)[None, :] / np.diff(cu)[:, None]
    tv = fv * np.diff(u)[:, None] / np.diff(cv)[None, :]
    net = np.zeros(away.shape)
    flux_u, flux_v = tu * np.diff(field, axis=0), tv * np.diff(field, axis=1)
    net[:-1] += flux_u
    net[1:] -= flux_u
    net[:, :-1] += flux_v
    net[:, 1:] -= flux_v
    inside = net[1:-1, 1:-1]
    assert_allclose(net[3, 2], 2.0 * math.pi, rtol=1e-12)
    assert_allclose(inside[~joined[1:-1, 1:-1]], 0.0, atol=1e-12)


def test_mirrored_factors_are_mirrored():
    u = np.array([-0.9, -0.4, -0.1, 0.05, 0.3, 1.0])
    v = np.array([0.0, 0.1, 0.3, 0.7])
    joined = np.zeros((5, 3), dtype=bool)
    joined[2, 0] = True
    (fu, du), (fv, dv) = face_factors((u, v), joined, 0.04)
    (mu_, mdu), (mv, mdv) = face_factors((-u[::-1], v), joined[::-1], 0.04)
    assert_allclose(mu_, fu[::-1], rtol=1e-12)
    assert_allclose(mdu, du[::-1], rtol=1e-12)
    assert_allclose(mv, fv[::-1], rtol=1e-12)
    assert_allclose(mdv, dv[::-1], rtol=1e-12)


def test_a_blind_line_joins_two_places_by_hand():
    """A bore that fills the whole section over 1 m of a 2 m strip: 0.625 m of soil at each end.

    Cells are 0.25 m long, so the first centre in the bore lies that far from the held end.
    """
    x = np.concatenate([[-1.0], even_edges(0.0, 2.0, 8), [3.0]])
    grid = Grid(x=x, y=np.array([0.0, 0.2]), z=np.array([0.0, 0.2]))
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 2.0, 9.0)]
    tile = line((0.5, 0.1), (1.5, 0.1), depth=0.1, radius=5.0)
    flows = {}
    for name, effects in {"soil": [], "line": [tile]}.items():
        answer = solve_soil(grid, [layer(K, 0.0, 9.0), *effects], held)
        flows[name] = answer.flow("east", {"west": 0.0, "east": -1.0})
    assert_allclose(flows["soil"], K * 0.04 / (MU * 2.0), rtol=1e-10)
    assert_allclose(flows["line"], K * 0.04 / (MU * 1.25), rtol=1e-3)


def test_a_blind_line_floats_between_its_ends():
    """From one end wall almost to the other: its pressure is half way, and flow rises."""
    tile = line((0.5, 0.7), (1.6, 0.7))
    with_it, without = shut([tile], ENDS), shut([], ENDS)
    values = {"west": 0.0, "east": -1.0}
    assert with_it.flow("east", values) > 1.3 * without.flow("east", values)
    node = int(with_it.network.line_node[0])
    assert node >= 0
    floating = np.array([values[p] for p in with_it.response.ports]) @ with_it.response.unit_fields
    assert -0.9 < floating[node] < -0.1


def test_a_blind_line_takes_no_net_air():
    tile = line((0.5, 0.7), (1.6, 0.7), (1.6, 1.2))
    answer = shut([tile, roof()], ENDS)
    node = int(answer.network.line_node[0])
    u = np.array([0.0, 1.0, 0.3])[
        [answer.response.ports.index(p) for p in ("open", "west", "east")]
    ]
    u = u @ answer.response.unit_fields
    i, j = answer.network.edges.T
    t = answer.network.conductance
    net = (t * (u[j] - u[i]))[i == node].sum() - (t * (u[j] - u[i]))[j == node].sum()
    passing = np.abs(t * (u[j] - u[i]))[(i == node) | (j == node)].sum()
    assert passing > 0.0
    assert abs(net) < 1e-6 * passing


def test_a_line_open_to_a_reference_is_that_reference():
    """Named as open to the house, or taken as a suction point held at the house's pressure."""
    course = ((0.5, 0.7), (1.6, 0.7))
    open_end = shut([line(*course, reference="house"), roof()], ENDS)
    taken = shut([line(*course), roof()], [*ENDS, on_line(port="house")])
    order = [taken.response.ports.index(p) for p in open_end.response.ports]
    y = taken.response.port_matrix[np.ix_(order, order)]
    assert_allclose(open_end.response.port_matrix, y, rtol=1e-9, atol=1e-9 * np.abs(y).max())
    assert open_end.network.line_node.tolist() == [-1]


def test_a_line_that_runs_into_a_pit_is_part_of_it():
    pit = HeldBody(port="pit", body=Brick(low=(0.3, 0.5, 0.0), high=(0.62, 1.0, 0.6)))
    alone = shut([roof()], [pit])
    reached = shut([line((0.4, 0.7), (1.6, 0.7)), roof()], [pit])
    short = shut([line((1.0, 0.7), (1.6, 0.7)), roof()], [pit])
    assert reached.soil.conductors.port.tolist() == [reached.soil.ports.index("pit")]
    assert short.soil.conductors.port.tolist() == [-1]
    values = {"open": 0.0, "pit": -1.0}
    flows = [a.flow("pit", values) for a in (alone, short, reached)]
    assert flows[0] < flows[1] < flows[2]
    assert flows[2] > 1.2 * flows[0]


def test_conservation_and_reciprocity():
    crack = LeaksAlongLine(
        name="crack",
        start=(1.0, 0.0),
        end=(1.0, 1.5),
        inward=(1, 0),
        aperture=5e-4,
        path=0.1,
        reference="house",
    )
    gap = CarriesAlongSheet(
        plan=box(0.0, 0.0, 1.3, 1.5), transmissivity=lambda x, y: np.full(x.shape, 1e-11)
    )
    effects = [
        gap,
        roof("house", leakance=1e-12),
        crack,
        line((0.5, 0.7), (1.6, 0.7), depth=0.0, name="channel"),
        line((0.62, 1.2), (1.6, 1.2), depth=0.4),
        MultipliesPermeability(where=Prism(plan=box(1.0, 0, 9, 9), top=0, bottom=9), factor=9.0),
    ]
    answer = shut(effects, [*ENDS, on_line("channel")])
    faces = answer.response.face_matrix
    size = np.abs(faces).max()
    assert_allclose(faces, faces.T, atol=1e-9 * size)
    assert_allclose(faces.sum(axis=1), 0.0, atol=1e-9 * size)
    assert_allclose(answer.response.port_matrix, faces, atol=1e-9 * size)
    assert answer.response.partition < 1e-8
    assert answer.response.unit_fields.min() > -1e-9  # maximum principle
    assert np.linalg.eigvalsh(answer.response.port_matrix).min() > -1e-9 * size


def turned(grid, how):
    if how == "mirrored":
        return Grid(x=-grid.x[::-1], y=grid.y, z=grid.z)
    return Grid(x=grid.y, y=grid.x, z=grid.z)


@pytest.mark.parametrize("how", ["mirrored", "turned"])
@pytest.mark.parametrize(("depth", "radius"), [(0.5, 0.05), (0.0, 0.05), (0.0, 0.12), (0.45, 0.2)])
def test_mirrored_and_turned(how, depth, radius):
    """The same soil seen in a mirror, and with east and north exchanged."""
    move = (lambda p: (-p[0], p[1])) if how == "mirrored" else (lambda p: (p[1], p[0]))
    axis = 0 if how == "mirrored" else 1
    course = ((0.5, 0.7), (1.5, 0.7), (1.5, 1.2))
    found = []
    for grid, points, low, high in (
        (block(), course, (0, -9.0, 0.3), (0, 1.8, 9.0)),
        (
            turned(block(), how),
            tuple(move(p) for p in course),
            (axis, -9.0, 0.3) if how == "turned" else (0, -0.3, 9.0),
            (axis, 1.8, 9.0) if how == "turned" else (0, -9.0, -1.8),
        ),
    ):
        held = [slab_body("west", *low), slab_body("east", *high), on_line()]
        tile = line(*points, depth=depth, radius=radius)
        found.append(shut([tile, roof("house", leakance=1e-12)], held, grid=grid))
    a, b = found
    assert a.response.ports == b.response.ports
    y = a.response.port_matrix
    assert_allclose(b.response.port_matrix, y, rtol=1e-6, atol=1e-8 * np.abs(y).max())
    cells = [f.cells({"house": 0.2, "west": 0.0, "east": -1.0, "pipe": -0.4}) for f in found]
    same = cells[1][::-1] if how == "mirrored" else cells[1].transpose(1, 0, 2)
    assert_allclose(same, cells[0], atol=1e-6)


def test_lines_that_meet_are_one():
    """A tile and a trench that crosses it: what holds one holds the other."""
    cross = line((1.0, 0.2), (1.0, 1.2), name="trench")
    tile = line((0.5, 0.7), (1.6, 0.7))
    both = shut([tile, cross, roof()], [on_line()])
    assert both.soil.conductors.port.tolist() == [1, 1]
    deep = line((1.0, 0.2), (1.0, 1.2), name="trench", depth=0.9)
    parted = shut([tile, deep, roof()], [on_line()])
    assert parted.soil.conductors.port.tolist() == [1, -1]
    values = {"open": 0.0, "pipe": -1.0}
    assert both.flow("pipe", values) > 1.1 * parted.flow("pipe", values)
    floats = shut([tile, cross, roof()], ENDS)
    assert set(floats.soil.conductors.line.tolist()) == {0}
    with pytest.raises(InputError, match='tied to "house" and "outdoors"'):
        shut(
            [
                line((0.5, 0.7), (1.6, 0.7), reference="house"),
                line((1.0, 0.2), (1.0, 1.2), name="b", reference="outdoors"),
            ]
        )


def test_one_pressure_for_each_line():
    pit = HeldBody(port="pit", body=Brick(low=(0.3, 0.5, 0.0), high=(0.62, 1.0, 0.6)))
    with pytest.raises(InputError, match='tied to "house" and "pit"'):
        shut([line((0.4, 0.7), (1.6, 0.7), reference="house"), roof()], [pit])
    with pytest.raises(InputError, match='no line conductor "drain"'):
        shut([line((0.4, 0.7), (1.6, 0.7)), roof()], [on_line("drain")])


def test_a_line_in_soil_without_air_does_nothing():
    wet = MultipliesPermeability(
        where=Prism(plan=box(-9, -9, 9, 9), top=0.25, bottom=9), factor=0.0
    )
    with_it = shut([wet, line((0.5, 0.7), (1.6, 0.7))], ENDS)
    without = shut([wet], ENDS)
    assert_allclose(with_it.response.port_matrix, without.response.port_matrix, rtol=1e-12)
    assert with_it.network.line_node.tolist() == [-1]


def test_a_line_ends_at_a_wall_it_does_not_cross():
    """A wall without thickness across the soil: a line on one side does nothing for the other."""
    wall = BlocksFace(start=(1.0, -9.0), end=(1.0, 9.0), top=0.0, bottom=9.0)
    answer = shut(
        [wall, roof("house", plan=box(1.0, -9, 9, 9)), line((0.3, 0.7), (1.0, 0.7))], ENDS
    )
    assert answer.flow("west", {"west": -1.0, "east": 0.0, "house": 0.0}) == pytest.approx(
        0.0, abs=1e-20
    )


TIGHT = roof("house", leakance=1e-20)


def joint(x, aperture=1e-3):
    return LeaksAlongLine(
        name="joint",
        start=(x, 0.0),
        end=(x, 1.5),
        inward=(1, 0),
        aperture=aperture,
        path=0.1,
        reference="house",
    )


def test_a_joint_over_a_channel_opens_straight_into_it():
    """Cube law of the joint, whatever the soil: w^3 L / (12 mu t).

    A channel along the wall, as wide as from the wall to twice its axis, under a joint.
    """
    channel = line((0.25, 0.0), (0.25, 1.5), depth=0.0, radius=0.25)
    grid = block(x=np.array([0.0, 0.1, 0.3, 0.5, 1.0, 2.0]))
    for k in (1e-11, 1e-14):
        answer = shut([channel, TIGHT, joint(0.0)], [on_line()], grid=grid, k=k)
        cube = 1e-9 * 1.5 / (12.0 * MU * 0.1)
        assert_allclose(answer.flow("pipe", {"house": 0.0, "pipe": -1.0}), cube, rtol=0.02)
        beside = shut([channel, TIGHT, joint(1.0)], [on_line()], grid=grid, k=k)
        assert beside.flow("pipe", {"house": 0.0, "pipe": -1.0}) < 0.2 * cube


def test_a_gap_drains_into_a_channel_below_it():
    """Slit flow from the far end of the gap to the channel's rim: T w / (mu d)."""
    x = np.concatenate([[-1.0], even_edges(0.0, 2.0, 20), [2.1]])
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=np.array([0.0, 0.2, 0.5]))
    sheet = CarriesAlongSheet(
        plan=box(-9, -9, 9, 9), transmissivity=lambda x, y: np.full(x.shape, 1e-10)
    )
    channel = line((1.9, 0.0), (1.9, 1.0), depth=0.0, radius=0.1)
    held = [slab_body("far", 0, -9.0, 0.0), on_line()]
    answer = solve_soil(grid, [layer(1.1e-17, 0.0, 0.5), TIGHT, sheet, channel], held)
    flow = answer.flow("pipe", {"far": 0.0, "house": 0.0, "pipe": -1.0})
    assert_allclose(flow, 1e-10 / (MU * 1.8), rtol=1e-4)


def test_slab_over_a_channel_leaks_into_it():
    """All of the slab over the channel, with no soil in between."""
    slab = roof("house", plan=box(0.0, 0.0, 0.5, 1.5), leakance=1e-9)
    channel = line((0.25, 0.0), (0.25, 1.5), depth=0.0, radius=0.25)
    grid = block(x=np.array([0.0, 0.1, 0.3, 0.5, 1.0, 2.0]))
    answer = shut([channel, slab], [on_line()], grid=grid, k=1e-15)
    flow = answer.flow("pipe", {"house": 0.0, "pipe": -1.0})
    assert_allclose(flow, 1e-9 * 0.75 / MU, rtol=0.05)


def test_a_blind_channel_joins_a_joint_and_a_gap():
    """Joint and slit in series, the channel between them: 12 mu t / w^3 L and mu d / T w."""
    x = np.concatenate([[-1.0], even_edges(0.0, 2.0, 20)])
    grid = Grid(x=x, y=np.array([0.0, 1.5]), z=np.array([0.0, 0.2, 0.5]))
    sheet = CarriesAlongSheet(
        plan=box(-9, -9, 9, 9), transmissivity=lambda x, y: np.full(x.shape, 1e-10)
    )
    channel = line((1.9, 0.0), (1.9, 1.5), depth=0.0, radius=0.1)
    soil = layer(1.1e-17, 0.0, 0.5)
    held = [slab_body("far", 0, -9.0, 0.0)]
    answer = solve_soil(grid, [soil, TIGHT, sheet, channel, joint(2.0, 2e-4)], held)
    series = 12.0 * MU * 0.1 / (2e-4**3 * 1.5) + MU * 1.8 / (1e-10 * 1.5)
    assert_allclose(answer.flow("far", {"house": 0.0, "far": -1.0}), 1.0 / series, rtol=1e-4)
    node = answer.network.line_node[0]
    drop = 12.0 * MU * 0.1 / (2e-4**3 * 1.5) / series
    house = answer.response.ports.index("house")
    assert_allclose(answer.response.unit_fields[house][node], 1.0 - drop, rtol=1e-3)


def test_a_hole_over_a_channel_opens_it_to_the_room():
    hole = LeaksOverArea(
        plan=box(0.3, 0.5, 0.5, 0.9),
        depth=0.0,
        leakance=math.inf,
        reference="house",
        floor=True,
        hole=True,
    )
    channel = line((0.4, 0.0), (0.4, 1.5), depth=0.0, radius=0.1)
    slab = roof("house", plan=box(-9, -9, 9, 9).difference(hole.plan), leakance=1e-15)
    answer = shut([channel, slab, hole], ENDS[1:])
    assert answer.soil.conductors.port.tolist() == [answer.soil.ports.index("house")]
    shut_in = shut([channel, slab], ENDS[1:])
    assert shut_in.soil.conductors.port.tolist() == [-1]
    with pytest.raises(InputError, match="tied to"):
        shut([channel, slab, hole], [*ENDS[1:], on_line()])
