"""Conductances by hand: layers, gaps, slots, leaks over pits, and soil without an air path."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import Point, box
from small_soils import (
    MU,
    beyond,
    even_edges,
    growing_edges,
    layer,
    slab_body,
    solve_soil,
)

from soilflow.flow.conductances import area_conductance, star_to_triangle
from soilflow.flow.grid import Grid, Resolution, grid_for
from soilflow.layout.bodies import Brick, Cylinder, HeldBody, Outside
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FloorWallJoint,
    FoundationWalls,
    Ground,
    MoistZone,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)
from soilflow.site.effects import (
    BlocksFace,
    CarriesAlongSheet,
    LeaksAlongLine,
    LeaksOverArea,
    MultipliesPermeability,
    Prism,
)

LAYERS = ((0.3, 1e-11), (0.5, 1e-12), (0.2, 5e-12))  # thickness [m], permeability [m2]
EVERYWHERE = box(-99.0, -99.0, 99.0, 99.0)


def stack():
    """The three layers on top of each other, one metre in all."""
    made, top = [], 0.0
    for thickness, permeability in LAYERS:
        made.append(layer(permeability, top, top + thickness))
        top += thickness
    return made


def stack_edges(end):
    """Uneven cells, with faces on the interfaces at 0.3 and 0.8 m."""
    return np.array([0.0, 0.1, 0.3, 0.35, 0.5, 0.8, 0.93, end])


def cover(leakance, reference="house", plan=EVERYWHERE):
    return LeaksOverArea(plan=plan, depth=0.0, leakance=leakance, reference=reference)


def sheet(transmissivity, plan=EVERYWHERE):
    return CarriesAlongSheet(
        plan=plan, transmissivity=lambda x, y: np.full(x.shape, transmissivity)
    )


def test_layers_across():
    """L / sum(d / k) = 1.754386e-12 m2, to rounding on any mesh with faces on the interfaces."""
    z = np.append(stack_edges(1.0), 1.4)
    grid = Grid(x=np.array([0.0, 0.7, 2.0]), y=np.array([0.0, 0.4, 3.0]), z=z)
    effects = [*stack(), layer(1.0, 1.0, 9.0), cover(math.inf, "outdoors")]
    answer = solve_soil(grid, effects, [slab_body("below", 2, 1.0, 99.0)])
    flow = answer.flow("below", {"outdoors": 0.0, "below": -1.0})
    across = 1.0 / sum(d / k for d, k in LAYERS)
    assert_allclose(across, 1.754386e-12, rtol=5e-7)
    assert_allclose(flow, 6.0 * across / MU, rtol=1e-10)


def test_layers_along():
    """sum(d k) / L = 4.5e-12 m2."""
    grid = Grid(
        x=np.array([-1.0, 0.0, 0.4, 1.1, 2.0, 3.0]), y=np.array([0.0, 1.5]), z=stack_edges(1.0)
    )
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 2.0, 9.0)]
    answer = solve_soil(grid, stack(), held)
    flow = answer.flow("east", {"west": 0.0, "east": -1.0})
    along = sum(d * k for d, k in LAYERS)
    assert_allclose(along, 4.5e-12, rtol=1e-12)
    assert_allclose(flow, 1.5 * along / (2.0 * MU), rtol=1e-10)


def test_vertical_permeability_is_used_down_and_horizontal_along():
    down = solve_soil(
        Grid(
            x=even_edges(0.0, 1.0, 2), y=even_edges(0.0, 1.0, 2), z=np.array([0.0, 0.5, 1.0, 2.0])
        ),
        [layer(3e-12, 0.0, 9.0, vertical=2e-12), cover(math.inf, "outdoors")],
        [slab_body("below", 2, 1.0, 99.0)],
    )
    assert_allclose(down.flow("below", {"outdoors": 0.0, "below": -1.0}), 2e-12 / MU, rtol=1e-10)
    along = solve_soil(
        Grid(
            x=np.array([-1.0, 0.0, 0.5, 1.0, 2.0]),
            y=np.array([0.0, 1.0]),
            z=even_edges(0.0, 1.0, 2),
        ),
        [layer(3e-12, 0.0, 9.0, vertical=2e-12)],
        [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 1.0, 9.0)],
    )
    assert_allclose(along.flow("east", {"west": 0.0, "east": -1.0}), 3e-12 / MU, rtol=1e-10)


def test_body_beyond_a_change_of_soil():
    """A pit's face 0.3 m into the next cell, past an interface: 0.5 m / k1 + 0.3 m / k2 in series.

    One cell of 1 m before it, 2 x 1 m of face; the far end sits on the centre's other side.
    """
    grid = Grid(x=np.array([-1.0, 0.0, 1.0, 2.0]), y=np.array([0.0, 2.0]), z=np.array([0.0, 1.0]))
    loose = MultipliesPermeability(
        where=Prism(plan=box(1.0, -9, 9, 9), top=-9, bottom=9), factor=4.0
    )
    pit = HeldBody(port="pit", body=Brick(low=(1.3, -9.0, -9.0), high=(9.0, 9.0, 9.0)))
    answer = solve_soil(
        grid, [layer(1e-12, 0.0, 1.0), loose], [slab_body("west", 0, -9.0, 0.0), pit]
    )
    series = 1.0 / 1e-12 + 0.3 / 4e-12
    assert_allclose(answer.flow("pit", {"west": 0.0, "pit": -1.0}), 2.0 / (MU * series), rtol=1e-10)


def test_area_conductance_by_hand():
    """2 m2 of slab of 1e-15 m over 0.05 m of soil of 1e-12 m2."""
    found = area_conductance(
        np.array([2.0]), np.array([1e-15]), np.array([0.05]), np.array([1e-12]), MU
    )
    assert_allclose(found, 2.0 / (MU * (1e15 + 0.05e12)), rtol=1e-14)
    open_ground = area_conductance(
        np.array([2.0]), np.array([math.inf]), np.array([0.05]), np.array([1e-12]), MU
    )
    assert_allclose(open_ground, 2.0 * 1e-12 / (MU * 0.05), rtol=1e-14)


LEG = st.floats(-12.0, 2.0).map(lambda e: 10.0**e)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(a=LEG, b=LEG, c=LEG)
def test_star_to_triangle_is_the_schur_complement(a, b, c):
    """Ends 0, 1, 2 and a middle: eliminate the middle from the 4 x 4 Laplacian."""
    legs = np.array([a, b, c])
    ab, ac, bc = star_to_triangle(*(np.array([leg]) for leg in legs))
    eliminated = np.diag(legs) - np.outer(legs, legs) / legs.sum()
    assert_allclose([ab[0], ac[0], bc[0]], -eliminated[[0, 0, 1], [1, 2, 2]], rtol=1e-9)


def test_star_with_an_infinite_leg():
    """The middle is then the soil cell: no way round it, and both other legs end there."""
    ab, ac, bc = star_to_triangle(np.array([2.0]), np.array([math.inf]), np.array([3.0]))
    assert (ab[0], ac[0], bc[0]) == (2.0, 0.0, 3.0)


def test_thin_gap_radial_cubic_law():
    """Q = pi b^3 dp / (6 mu ln(r2 / r1)): 3 mm, 0.15 to 5 m, 10 Pa: 2.227424e-3 m3/s.

    Snow 1965; Witherspoon et al. 1980 WRR 16:1016, from memory. The circles lie across square
    cells, so the closed form is met as the other radial flows are, 1 % and 0.1 % extrapolated.
    """
    flows = []
    for times in range(2):
        x = growing_edges(0.0, 0.1875, 0.15 / 8.0, 1.14, 5.0)
        for _ in range(times):
            x = np.sort(np.concatenate([x, 0.5 * (x[1:] + x[:-1])]))
        x = beyond(x, 0.5)
        pit = Cylinder(centre=(0.0, 0.0), radius=0.15, top=0.0, bottom=0.2)
        rim = Outside(inner=Cylinder(centre=(0.0, 0.0), radius=5.0, top=0.0, bottom=0.2))
        held = [HeldBody(port="pit", body=pit), HeldBody(port="edge", body=rim)]
        grid = Grid(x=x, y=x, z=even_edges(0.0, 0.2, 2))
        effects = [layer(2e-17, 0.0, 0.2), sheet(3e-3**3 / 12.0)]
        answer = solve_soil(grid, effects, held)
        flows.append(4.0 * answer.flow("pit", {"pit": -10.0, "edge": 0.0}))
    assert_allclose(flows[0], 2.227424e-3, rtol=0.01)
    assert_allclose(flows[1] + (flows[1] - flows[0]) / 3.0, 2.227424e-3, rtol=1e-3)


def strip_of_gap(aperture, split=1):
    """A gap of one height between two held ends two metres apart, one metre wide."""
    x = np.concatenate([[-1.0], even_edges(0.0, 2.0, 4 * split), [3.0]])
    grid = Grid(x=x, y=np.array([0.0, 0.3, 1.0]), z=np.array([0.0, 0.1, 0.3]))
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 2.0, 9.0)]
    return solve_soil(grid, [layer(1e-12, 0.0, 0.3), sheet(aperture**3 / 12.0)], held)


@pytest.mark.parametrize("split", [1, 3])
def test_thin_gap_along_a_strip(split):
    """Cubic law of a slit, Q = w b^3 dp / (12 mu L), beside the soil's own k A dp / (mu L)."""
    flow = strip_of_gap(1e-3, split).flow("east", {"west": 0.0, "east": -5.0})
    exact = 5.0 / (MU * 2.0) * (1e-9 / 12.0 + 1e-12 * 0.3)
    assert_allclose(flow, exact, rtol=1e-6)


def test_step_in_a_gap_is_in_series():
    """1 m of 1 mm and 1 m of 0.5 mm: transmissivities in series, over soil too tight to help."""
    grid = Grid(
        x=np.concatenate([[-1.0], even_edges(0.0, 2.0, 4), [3.0]]),
        y=np.array([0.0, 1.0]),
        z=np.array([0.0, 0.3]),
    )
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 2.0, 9.0)]
    west, east = 1e-9 / 12.0, 0.125e-9 / 12.0
    effects = [layer(1.1e-17, 0.0, 0.3), sheet(west), sheet(east, box(1.0, -9.0, 9.0, 9.0))]
    flow = solve_soil(grid, effects, held).flow("east", {"west": 0.0, "east": -1.0})
    assert_allclose(flow, 1.0 / (MU * (1.0 / west + 1.0 / east)), rtol=1e-5)


ROUGH = Resolution(
    name="rough",
    cells_per_radius=2.0,
    line_size=0.1,
    growth=2.2,
    largest_inside=1.2,
    largest_outside=3.0,
    largest_down=3.0,
)
FLOOR = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
AROUND = ((-40.0, -40.0), (46.0, -40.0), (46.0, 44.0), (-40.0, 44.0))
TWO_BUCKETS = HemisphericalPit(volume=0.0378541)


def house(**changes):
    parts = {
        "slab": Slab(corners=FLOOR, thickness=0.1, permeability=1e-16),
        "walls": FoundationWalls(thickness=0.2, footing_depth=0.45),
        "ground": Ground(layers=(SoilLayer(permeability=1e-12),), bottom=4.0),
        "joints": (FloorWallJoint(aperture=1e-3),),
    }
    return Site(**{**parts, **changes})


def solve_house(site, *points, grid=None):
    held = Layout(name="a", points=points).held_bodies(site.slab.polygon) if points else ()
    return solve_soil(grid or grid_for(site.effects(), held, ROUGH), site.effects(), held)


def point(x, y, pit=TWO_BUCKETS, name="pit"):
    return SuctionPoint(name=name, x=x, y=y, pit=pit, vacuum=500.0)


def gap(aperture, corners=None):
    return SettledGap(name="gap", aperture=aperture, corners=corners)


def test_gap_to_zero_is_the_soil_alone():
    """A gap of a hundredth of a micrometre, on the same grid: nothing but the same soil."""
    closing = house(gaps=(gap(1e-8),))
    answer = solve_house(closing, point(2.0, 1.0))
    alone = solve_house(house(), point(2.0, 1.0), grid=answer.soil.grid)
    assert (answer.network.sheet_node >= 0).any()
    assert not (alone.network.sheet_node >= 0).any()
    assert answer.response.ports == alone.response.ports
    y = alone.response.port_matrix
    assert_allclose(answer.response.port_matrix, y, rtol=0, atol=1e-9 * np.abs(y).max())


def test_a_gap_of_no_height_is_no_effect():
    none = house(gaps=(gap(0.0),))
    assert len(none.effects()) == len(house().effects())


def test_wider_gap_carries_more():
    """Raising a conductance never lowers a pit's own Y."""
    own = []
    grid = None
    for height in (1e-5, 1e-4, 5e-4, 2e-3):
        answer = solve_house(house(gaps=(gap(height),)), point(2.0, 1.0), grid=grid)
        grid = answer.soil.grid
        own.append(answer.response.port_matrix[-1, -1])
    assert np.all(np.diff(own) > 0.0)


def test_gap_to_infinity_is_one_pressure():
    """Twice the height is eight times the transmissivity: what is left of drops is an eighth."""
    drops = []
    for height in (0.1, 0.2):
        answer = solve_house(house(gaps=(gap(height),)), point(2.0, 1.0))
        nodes = answer.network.sheet_node[answer.network.sheet_node >= 0]
        pit = answer.response.unit_fields[-1][nodes]
        assert pit.min() > 0.1
        drops.append(np.ptp(pit))
    assert_allclose(drops[0] / drops[1], 8.0, rtol=0.02)
    assert drops[1] < 1e-4


def test_footing_breaks_the_gap():
    """A wall without thickness across a gap: air has to go under it, as the soil alone does."""
    x = np.concatenate([[-1.0], even_edges(0.0, 2.0, 8), [3.0]])
    grid = Grid(x=x, y=np.array([0.0, 1.0]), z=np.array([0.0, 0.1, 0.3, 0.6]))
    held = [slab_body("west", 0, -9.0, 0.0), slab_body("east", 0, 2.0, 9.0)]
    wall = BlocksFace(start=(1.0, -9.0), end=(1.0, 9.0), top=0.0, bottom=0.3)
    soil = layer(1e-12, 0.0, 0.6)
    flows = {
        name: solve_soil(grid, effects, held).flow("east", {"west": 0.0, "east": -1.0})
        for name, effects in {
            "gap": [soil, sheet(1e-9)],
            "wall": [soil, wall],
            "both": [soil, sheet(1e-9), wall],
        }.items()
    }
    assert flows["gap"] > 100.0 * flows["both"]
    assert flows["both"] > flows["wall"]
    # at best the gap brings both ends up to the wall: 0.3 m of soil under 0.3 m of wall, and no
    # more resistance than half a metre of it
    assert flows["both"] < 1e-12 * 0.3 / (MU * 0.25)


def test_wall_on_the_rim_of_the_grid_blocks_nothing_else():
    grid = Grid(x=np.array([0.0, 1.0, 2.0, 3.0]), y=np.array([0.0, 1.0]), z=np.array([0.0, 1.0]))
    held = [slab_body("west", 0, -9.0, 1.0), slab_body("east", 0, 2.0, 9.0)]
    flows = []
    for walls in ([], [BlocksFace(start=(0.0, 0.0), end=(0.0, 1.0), top=0.0, bottom=1.0)]):
        answer = solve_soil(grid, [layer(1e-12, 0.0, 1.0), *walls], held)
        flows.append(answer.flow("east", {"west": 0.0, "east": -1.0}))
    assert_allclose(flows, 1e-12 / MU, rtol=1e-10)


def direct_to_pit(answer, *, slots):
    """Conductance straight from house to pit, from slots or from the slab body."""
    leaks = answer.soil.direct_leaks
    which = (leaks.line >= 0) if slots else (leaks.line < 0)
    return float(leaks.geometry[which].sum()) / MU


def test_half_a_metre_of_joint_over_a_pit():
    """Half a metre of 1 mm joint in a 0.1 m slab: w^3 L / (12 mu t) 500 Pa = 11.5 L/s."""
    by_wall = point(3.0, 0.2, BoxPit(length=0.5, width=0.4, depth=0.3))
    answer = solve_house(house(), by_wall)
    flow = 500.0 * direct_to_pit(answer, slots=True)
    assert_allclose(flow, 500.0 * 1e-9 * 0.5 / (12.0 * MU * 0.1), rtol=1e-9)
    assert_allclose(flow, 0.0115, atol=5e-5)
    # and the port matrix holds it, on top of what the soil passes
    house_port, pit_port = (answer.response.ports.index(name) for name in ("house", "pit"))
    assert -answer.response.port_matrix[house_port, pit_port] * 500.0 > flow


@pytest.mark.parametrize("distance", [0.05, 0.2, 0.25, 0.3])
@pytest.mark.parametrize("footing", [0.45, 0.0])
def test_joint_over_a_bowl_is_cut_at_its_rim(distance, footing):
    """The chord 2 sqrt(r^2 - d^2), also without a footing, where soil lies on both sides."""
    walls = FoundationWalls(thickness=0.2 if footing else 0.0, footing_depth=footing)
    answer = solve_house(house(walls=walls), point(3.0, distance))
    radius = answer.soil.held[0].body.radius
    chord = 2.0 * math.sqrt(max(radius**2 - distance**2, 0.0))
    assert_allclose(direct_to_pit(answer, slots=True), 1e-9 * chord / (12.0 * MU * 0.1), atol=1e-15)
    leaks = answer.soil.line_leaks
    rest = float((leaks.length * leaks.share).sum())
    assert_allclose(rest + chord, 20.0, rtol=1e-9)


@pytest.mark.parametrize("at", [(3.0, 2.0), (3.0, 0.1), (0.1, 0.15), (5.7, 3.8)])
@pytest.mark.parametrize("footing", [0.45, 0.0])
def test_slab_body_is_shared_between_pit_and_soil(at, footing):
    """The rim's area to the pit, all the rest to soil under the slab, none in the yard."""
    walls = FoundationWalls(thickness=0.2 if footing else 0.0, footing_depth=footing)
    answer = solve_house(house(walls=walls), point(*at))
    soil = answer.soil
    radius = soil.held[0].body.radius
    rim = Point(at).buffer(radius, quad_segs=4000).intersection(box(0.0, 0.0, 6.0, 4.0)).area
    assert_allclose(direct_to_pit(answer, slots=False), rim * 1e-15 / MU, rtol=1e-6)
    to_house = soil.area_leaks.port == soil.ports.index("house")
    area = soil.area_leaks.area[to_house]
    assert_allclose(area.sum() + rim, 24.0, rtol=1e-6)
    ix, iy, _ = np.unravel_index(soil.area_leaks.cell[to_house], soil.grid.shape)
    x, y = soil.grid.centres(0)[ix], soil.grid.centres(1)[iy]
    assert np.all((x > 0.0) & (x < 6.0) & (y > 0.0) & (y < 4.0))


def wet(name, corners):
    return MoistZone(name=name, corners=corners, multiplier=0.0, bottom=4.0)


def test_saturated_everywhere():
    """No air path at all: nothing flows but what leaks straight into the pit."""
    answer = solve_house(house(moist_zones=(wet("all", AROUND),)), point(2.0, 1.0))
    assert answer.network.nodes == 0
    y = answer.response.port_matrix
    through_slab = direct_to_pit(answer, slots=False)
    assert through_slab > 0.0
    expected = {("house", "house"): 1.0, ("pit", "pit"): 1.0, ("house", "pit"): -1.0}
    for i, a in enumerate(answer.response.ports):
        for j, b in enumerate(answer.response.ports):
            value = expected.get((a, b), expected.get((b, a), 0.0)) * through_slab
            assert_allclose(y[i, j], value, rtol=1e-12, atol=0.0)
    assert answer.response.balance == 0.0
    assert answer.response.partition == 0.0


def test_saturated_everywhere_without_a_pit():
    answer = solve_house(house(moist_zones=(wet("all", AROUND),)))
    assert_allclose(answer.response.port_matrix, 0.0, atol=0.0)


def test_saturated_under_the_floor_only():
    """The yard has air but no way to the house: no flow, and the balance is not rounding noise."""
    answer = solve_house(house(moist_zones=(wet("floor", FLOOR),)), point(2.0, 1.0))
    assert answer.network.nodes > 0
    out, pit = (answer.response.ports.index(name) for name in ("outdoors", "pit"))
    assert abs(answer.response.port_matrix[out, pit]) < 1e-20
    assert answer.response.balance <= 1e-8
    assert_allclose(answer.response.unit_fields[out], 1.0, atol=1e-8)


def test_pit_in_a_saturated_island():
    """Dug into a saturated patch: no soil around it, so only the slab above it leaks."""
    patch = wet("patch", ((1.0, 0.4), (3.0, 0.4), (3.0, 2.0), (1.0, 2.0)))
    answer = solve_house(house(moist_zones=(patch,)), point(2.0, 1.2))
    pit = answer.response.ports.index("pit")
    assert_allclose(
        answer.response.port_matrix[pit, pit], direct_to_pit(answer, slots=False), rtol=1e-12
    )
    assert answer.response.balance <= 1e-8


def test_soil_in_a_saturated_ring_is_dropped():
    """Air shut in between walls of water under a tight slab belongs to no port."""
    x = even_edges(0.0, 7.0, 7)
    grid = Grid(x=x, y=x, z=np.array([0.0, 1.0, 2.0]))
    ring = box(2.0, 2.0, 5.0, 5.0).difference(box(3.0, 3.0, 4.0, 4.0))
    shut = [
        MultipliesPermeability(where=Prism(plan=ring, top=0.0, bottom=9.0), factor=0.0),
        MultipliesPermeability(
            where=Prism(plan=box(2.0, 2.0, 5.0, 5.0), top=1.0, bottom=9.0), factor=0.0
        ),
    ]
    yard = box(-9.0, -9.0, 16.0, 16.0).difference(box(1.0, 1.0, 6.0, 6.0))
    effects = [layer(1e-12, 0.0, 2.0), *shut, cover(math.inf, "outdoors", yard)]
    answer = solve_soil(grid, effects, [])
    assert answer.network.lost_cells == 1
    assert answer.network.cell_node[3, 3, 0] == -1
    assert_allclose(answer.response.unit_fields[0], 1.0, atol=1e-9)


def test_below_the_least_permeability_there_is_no_air_path():
    """1e-17 m2 is the bound, chosen by the project."""
    for permeability, nodes in ((1.01e-17, True), (0.99e-17, False)):
        site = house(ground=Ground(layers=(SoilLayer(permeability=permeability),), bottom=4.0))
        assert (solve_house(site, point(2.0, 1.0)).network.nodes > 0) == nodes


@pytest.mark.parametrize("how", ["too tight", "saturated"])
def test_gap_over_soil_without_an_air_path_still_carries(how):
    """The gap is air, whatever the soil below it holds.

    Joint, gap and pit in series. Soil just above the least permeability passes a millionth of
    the flow, so leaving it out must not change that.
    """

    def flow(permeability, zones=()):
        ground = Ground(layers=(SoilLayer(permeability=permeability),), bottom=4.0)
        site = house(ground=ground, gaps=(gap(1e-3),), moist_zones=zones)
        answer = solve_house(site, point(2.0, 1.0))
        assert answer.response.balance <= 1e-8
        return answer.flow("pit", {"house": 0.0, "outdoors": 0.0, "pit": -500.0})

    without = flow(0.9e-17) if how == "too tight" else flow(1.1e-17, (wet("all", AROUND),))
    assert_allclose(without, flow(1.1e-17), rtol=1e-3)


def test_viscosity_scales_every_flow():
    site = house(gaps=(gap(5e-4),))
    held = Layout(name="a", points=(point(2.0, 1.0),)).held_bodies(site.slab.polygon)
    grid = grid_for(site.effects(), held, ROUGH)
    thin, thick = (solve_soil(grid, site.effects(), held, viscosity=mu) for mu in (MU, 3.0 * MU))
    assert_allclose(
        thin.response.port_matrix,
        3.0 * thick.response.port_matrix,
        rtol=0,
        atol=1e-9 * np.abs(thin.response.port_matrix).max(),
    )


def test_slot_between_two_soils_belongs_to_both():
    """A crack on a grid line: half its conductance on each side, none where it is walled off."""
    grid = Grid(x=even_edges(-1.0, 1.0, 4), y=np.array([0.0, 1.0]), z=np.array([0.0, 0.5, 1.0]))
    slot = LeaksAlongLine(
        name="crack",
        start=(0.0, 0.0),
        end=(0.0, 1.0),
        inward=(1, 0),
        aperture=1e-3,
        path=0.1,
        reference="house",
    )
    wall = BlocksFace(start=(0.0, 0.0), end=(0.0, 1.0), top=0.0, bottom=0.5)
    far = [slab_body("far", 2, 0.5, 9.0)]
    open_floor = solve_soil(grid, [layer(1e-12, 0.0, 1.0), slot], far).soil.line_leaks
    assert_allclose(open_floor.share, [0.5, 0.5])
    walled = solve_soil(grid, [layer(1e-12, 0.0, 1.0), slot, wall], far).soil.line_leaks
    assert_allclose(walled.share, [1.0])
    assert np.unravel_index(int(walled.cell[0]), grid.shape)[0] == 2
    other = solve_soil(
        grid, [layer(1e-12, 0.0, 1.0), dataclasses.replace(slot, inward=(-1, 0)), wall], far
    ).soil.line_leaks
    assert np.unravel_index(int(other.cell[0]), grid.shape)[0] == 1
