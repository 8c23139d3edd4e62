"""Cracks, openings, bare soil, walls that leak and drains: what they do, and how they are said."""

from __future__ import annotations

import dataclasses
import math
import tomllib

import jsonschema
import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from orders import extrapolated
from shapely.geometry import Point, box
from small_soils import MU, even_edges, layer, slab_body, solve_soil
from tiny_house import TEXT

from soilflow.air import Air
from soilflow.errors import CaseError, InputError
from soilflow.files import parse_case, write_case
from soilflow.files.schema import case_schema
from soilflow.flow.grid import Grid, Resolution, grid_for
from soilflow.grids import estimate
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit
from soilflow.output.check_printout import check_to_dict, print_check
from soilflow.output.plan import FEET, draw_house
from soilflow.results.floor import floor_response
from soilflow.site import (
    BareSoil,
    Channel,
    Crack,
    DrainTile,
    FloorWallJoint,
    FoundationWalls,
    Ground,
    Opening,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
    Trench,
    WallBody,
    Yard,
)
from soilflow.site.effects import (
    HOUSE,
    OUTDOORS,
    BlocksFace,
    CarriesAlongSheet,
    LeaksAlongLine,
    LeaksOverArea,
    LeaksOverFace,
)

FOOT = 0.3048
FLOOR = ((0.0, 0.0), (6.0, 0.0), (6.0, 4.0), (0.0, 4.0))
K = 1e-12
ROUGH = Resolution(
    name="rough",
    cells_per_radius=2.0,
    line_size=0.1,
    growth=2.2,
    largest_inside=1.2,
    largest_outside=3.0,
    largest_down=3.0,
)


def site(**changes):
    parts = {
        "slab": Slab(corners=FLOOR, thickness=0.1, permeability=1e-16),
        "walls": FoundationWalls(thickness=0.2, footing_depth=0.45),
        "ground": Ground(layers=(SoilLayer(permeability=K),), bottom=3.0),
    }
    return Site(**{**parts, **changes})


PIT = SuctionPoint(
    name="pit", x=3.0, y=2.0, pit=BoxPit(length=0.4, width=0.4, depth=0.3), vacuum=1.0
)


def solve(where, grid=None, point=PIT):
    held = Layout(name="a", points=(point,)).held_bodies(where.slab.polygon)
    grid = grid_for(where.effects(), held, ROUGH) if grid is None else grid
    return solve_soil(grid, where.effects(), held)


def drawn(answer, to="house"):
    """Flow from a reference into the pit at one pascal, all references at zero."""
    values = {p: -1.0 if p == "pit" else 0.0 for p in answer.response.ports}
    return -answer.flow(to, values)


# --- mechanism 4 on upright faces, and a slot's true length


def face(x, inward, *, bottom=0.5, leakance=1e-12, reference="wall"):
    return LeaksOverFace(
        start=(x, 0.0),
        end=(x, 1.0),
        inward=(inward, 0),
        top=0.0,
        bottom=bottom,
        leakance=leakance,
        reference=reference,
    )


@pytest.mark.parametrize("inward", [1, -1])
def test_a_face_leaks_from_its_own_side_by_hand(inward):
    """Cover and 0.8 m of soil in series over 0.5 x 1 m: A / (mu (1 / G + d / k)).

    Soil only in the upper half, so that the flow is along one line.
    """
    x = np.array([-1.0, 0.0, 0.1, 0.3, 0.7, 0.8, 1.0])
    x = x if inward > 0 else -x[::-1]
    grid = Grid(x=x, y=np.array([0.0, 0.4, 1.0]), z=np.array([0.0, 0.2, 0.5]))
    far = slab_body("far", 0, 0.8, 9.0) if inward > 0 else slab_body("far", 0, -9.0, -0.8)
    wall = BlocksFace(start=(0.0, 0.0), end=(0.0, 1.0), top=0.0, bottom=0.5)
    effects = [layer(K, 0.0, 0.5), wall, face(0.0, inward)]
    answer = solve_soil(grid, effects, [far])
    expected = 0.5 / (MU * (1e12 + 0.8 / K))
    assert_allclose(answer.flow("far", {"wall": 0.0, "far": -1.0}), expected, rtol=1e-9)
    other = solve_soil(grid, [*effects[:2], face(0.0, -inward)], [far])
    assert other.flow("far", {"wall": 0.0, "far": -1.0}) == pytest.approx(0.0, abs=1e-25)


def test_a_face_over_a_pit_opens_straight_into_it():
    """Half of the face, 0.25 m2, is the pit's wall."""
    grid = Grid(x=even_edges(0.0, 1.0, 4), y=np.array([0.0, 0.5, 1.0]), z=np.array([0.0, 0.5, 1.0]))
    pit = dataclasses.replace(slab_body("pit", 1, -9.0, 0.5))
    answer = solve_soil(grid, [layer(1.1e-17, 0.0, 1.0), face(0.0, 1)], [pit])
    assert_allclose(answer.flow("pit", {"wall": 0.0, "pit": -1.0}), 1e-12 * 0.25 / MU, rtol=1e-4)


def test_a_face_at_the_rim_looks_into_the_grid():
    grid = Grid(x=even_edges(0.0, 1.0, 4), y=np.array([0.0, 1.0]), z=np.array([0.0, 0.5, 1.0]))
    soil = [layer(K, 0.0, 1.0)]
    assert solve_soil(grid, [*soil, face(1.0, -1)], []).soil.area_leaks.cell.size == 1
    with pytest.raises(InputError, match="looks out of the grid"):
        solve_soil(grid, [*soil, face(0.0, -1)], [])


def test_stretch_is_length():
    """A slot drawn twice as long as it is, and one half as long: the same flows."""
    grid = Grid(x=even_edges(-1.0, 1.0, 8), y=even_edges(0.0, 2.0, 2), z=even_edges(0.0, 1.0, 4))
    far = [slab_body("far", 2, 0.75, 9.0)]
    flows = []
    for length, stretch in ((2.0, 0.5), (1.0, 1.0)):
        slot = LeaksAlongLine(
            name="s",
            start=(0.0, 0.0),
            end=(0.0, length),
            inward=(1, 0),
            aperture=2e-4,
            path=0.1,
            reference="house",
            stretch=stretch,
        )
        answer = solve_soil(grid, [layer(1e-8, 0.0, 9.0), slot], far)
        flows.append(answer.flow("far", {"house": 0.0, "far": -1.0}))
    # soil so open that the slot alone counts
    assert_allclose(flows, 2e-4**3 / (12.0 * MU * 0.1), rtol=0.02)
    assert_allclose(flows[0], flows[1], rtol=0.01)


# --- absent, closed or sealed is no effect; and the direction of each

NOTHING = {
    "tight crack": {"cracks": (Crack(name="a", points=((1, 1), (4, 1)), aperture=0.0),)},
    "sealed crack": {
        "cracks": (Crack(name="a", points=((1, 1), (4, 1)), aperture=1e-3, sealed=True),)
    },
    "sealed opening": {"openings": (Opening(name="a", x=1, y=1, area=0.04, sealed=True),)},
    "lid that leaks nothing": {
        "openings": (Opening(name="a", x=1, y=1, area=0.04, flow=0.0, at_pressure=4.0),)
    },
    "tight wall": {"wall_bodies": (WallBody(),)},
}


@pytest.mark.parametrize("which", NOTHING)
def test_closed_is_no_effect(which):
    assert site(**NOTHING[which]).effects() == site().effects()


def test_a_leaking_wall_on_no_footing_has_no_face_below_the_slab():
    walls = FoundationWalls(thickness=0.2, footing_depth=0.0)
    leaky = site(walls=walls, wall_bodies=(WallBody(to_room=1e-9),))
    assert leaky.effects() == site(walls=walls).effects()


MORE = {
    "crack": {"cracks": (Crack(name="a", points=((1, 1), (4, 1)), aperture=5e-4),)},
    "slanted crack": {"cracks": (Crack(name="a", points=((1, 1), (4, 1.5)), aperture=5e-4),)},
    "opening": {"openings": (Opening(name="a", x=1.5, y=1.0, area=0.04),)},
    "lid": {"openings": (Opening(name="a", x=1.5, y=1, area=0.04, flow=1e-4, at_pressure=4),)},
    "bare soil": {"bare_soil": (BareSoil(name="a", corners=((1, 1), (2, 1), (2, 2), (1, 2))),)},
    "wall to room": {"wall_bodies": (WallBody(to_room=1e-11, walls=("north",)),)},
    "channel to room": {
        "channels": (
            Channel(name="a", points=((1, 1), (5, 1)), width=0.1, height=0.1, open_to="house"),
        )
    },
}


@pytest.mark.parametrize("which", MORE)
def test_each_opens_the_floor_to_the_house(which):
    answer = solve(site(**MORE[which]))
    closed = solve(site(), grid=answer.soil.grid)
    assert drawn(answer) > 1.5 * drawn(closed)
    assert answer.response.balance <= 1e-8


def test_walls_and_drains_that_lead_outdoors():
    closed = solve(site())
    for changes in (
        {"wall_bodies": (WallBody(to_yard=1e-11),)},
        {
            "drain_tiles": (
                DrainTile(
                    name="a", points=((1, 1), (5, 1)), depth=0.3, diameter=0.1, open_to="outdoors"
                ),
            )
        },
        {"trenches": (Trench(name="a", points=((3, 3), (3, 6)), width=0.3, height=0.3, top=0.6),)},
    ):
        answer = solve(site(**changes))
        same = solve(site(), grid=answer.soil.grid)
        assert drawn(answer, OUTDOORS) > 1.02 * drawn(same, OUTDOORS)
        assert drawn(answer) < 1.02 * drawn(closed)


# --- cracks


def test_a_slanted_crack_keeps_its_length_and_belongs_to_both_sides():
    crack = Crack(name="a", points=((1.0, 0.5), (4.0, 1.5), (5.0, 1.5)), aperture=5e-4)
    assert_allclose(crack.length, math.hypot(3.0, 1.0) + 1.0, rtol=1e-12)
    answer = solve(site(cracks=(crack,)))
    leaks = answer.soil.line_leaks
    assert_allclose(leaks.length @ leaks.share, crack.length, rtol=1e-9)
    assert_allclose(leaks.share, 0.5)
    assert set(answer.soil.line_names) == {"a"}


def test_a_crack_against_the_same_crack_turned_backwards():
    course = ((1.0, 0.5), (4.0, 1.5), (5.0, 1.5))
    there = Crack(name="a", points=course, aperture=5e-4)
    back = Crack(name="a", points=course[::-1], aperture=5e-4)
    a, b = solve(site(cracks=(there,))), solve(site(cracks=(back,)))
    assert_allclose(a.response.port_matrix, b.response.port_matrix, rtol=1e-7)


def test_a_crack_follows_the_cube_law_over_a_gap():
    """Fed by a gap, twice the width is eight times the flow; the slab's own leak is taken off."""
    gap = SettledGap(name="g", aperture=3e-3)
    flows, grid = [], None
    for aperture in (1e-4, 2e-4, 1e-9):
        crack = Crack(name="a", points=((1, 1), (2, 1)), aperture=aperture)
        answer = solve(site(cracks=(crack,), gaps=(gap,)), grid=grid)
        grid = answer.soil.grid
        flows.append(drawn(answer))
    assert_allclose((flows[1] - flows[2]) / (flows[0] - flows[2]), 8.0, rtol=0.02)


# --- openings and bare soil


def square_on_a_plane(cells):
    """A square hole of side 0.3 m in a sealed plane over a cube of soil. Shape factor. [m]"""
    side, far, h = 0.3, 6.0, 0.3 / cells
    half = np.concatenate(
        [
            even_edges(0.0, 0.5 * side, max(cells // 2, 1)),
            0.5 * side + h * (1.25 ** np.arange(1, 40) - 1.0) / 0.25,
        ]
    )
    half = np.append(half[half < far], far)
    down = np.concatenate([[0.0], h * (1.25 ** np.arange(1, 40) - 1.0) / 0.25])
    down = np.append(down[down < far], far)
    grid = Grid(x=np.append(half, far + 1), y=np.append(half, far + 1), z=np.append(down, far + 1))
    hole = LeaksOverArea(
        plan=box(-0.15, -0.15, 0.15, 0.15),
        depth=0.0,
        leakance=math.inf,
        reference="house",
        hole=True,
    )
    shell = [slab_body("far", a, far, 99.0) for a in range(3)]
    answer = solve_soil(grid, [layer(K, 0.0, 99.0), hole], shell)
    return 4.0 * answer.flow("far", {"house": 0.0, "far": -1.0}) * MU / K


def test_open_soil_under_a_square_opening():
    """S = 2 pi 0.3667892 a, a = 0.3 m (Read 1997, J. Comput. Phys. 133:1, from memory).

    The flow crowds at its edges, which makes it first order: 8 % low with the eight cells across
    that its edges ask for on the normal grid. The far shell adds a few per cent of a / 6 m.
    """
    exact = 2.0 * math.pi * 0.3667892 * 0.3
    coarse, fine = square_on_a_plane(8), square_on_a_plane(16)
    assert_allclose(coarse, exact, rtol=0.1)
    assert_allclose(extrapolated(coarse, fine, 1.0), exact, rtol=0.025)


def test_a_lid_leaks_what_was_stated():
    """0.1 L/s at 4 Pa over soil so open that nothing else counts."""
    lid = Opening(name="lid", x=1.5, y=1.0, area=0.09, flow=1e-4, at_pressure=4.0)
    (effect,) = lid.effects(HOUSE)
    grid = Grid(x=even_edges(1.0, 2.0, 2), y=even_edges(0.5, 1.5, 2), z=even_edges(0.0, 1.0, 2))
    grid = Grid(x=np.array([1.0, 1.35, 1.65, 2.0]), y=np.array([0.5, 0.85, 1.15, 1.5]), z=grid.z)
    mu = Air(temperature=283.15).viscosity
    far = [slab_body("far", 2, 0.5, 9.0)]
    answer = solve_soil(grid, [layer(1e-4, 0.0, 9.0), effect], far, viscosity=mu)
    assert_allclose(answer.flow("far", {"house": 0.0, "far": -4.0}), 1e-4, rtol=0.01)


def test_a_round_opening_has_its_own_area():
    assert_allclose(Opening(name="a", x=0, y=0, diameter=0.1).plan.area, 0.25 * math.pi * 0.01)


def test_a_gap_opens_at_the_rim_of_a_hole():
    """Slit flow to the rim of a bare strip across the gap: T w / (mu d)."""
    grid = Grid(
        x=np.concatenate([[-1.0], even_edges(0.0, 2.0, 20)]),
        y=np.array([0.0, 1.0]),
        z=np.array([0.0, 0.2, 0.5]),
    )
    sheet = CarriesAlongSheet(
        plan=box(-9, -9, 9, 9), transmissivity=lambda x, y: np.full(x.shape, 1e-10)
    )
    hole = LeaksOverArea(
        plan=box(1.5, -9, 9, 9), depth=0.0, leakance=math.inf, reference="house", hole=True
    )
    answer = solve_soil(
        grid, [layer(1.1e-17, 0.0, 0.5), sheet, hole], [slab_body("far", 0, -9.0, 0.0)]
    )
    flow = answer.flow("far", {"house": 0.0, "far": -1.0})
    assert_allclose(flow, 1e-10 / (MU * 1.5), rtol=1e-5)


def test_floor_areas_add_up():
    """Slab, openings and bare soil share the floor without gaps or overlaps."""
    where = site(
        openings=(
            Opening(name="drain", x=1.0, y=1.0, area=0.04),
            Opening(name="lid", x=5.0, y=3.0, diameter=0.4, flow=1e-4, at_pressure=4.0),
        ),
        bare_soil=(BareSoil(name="cut", corners=((2, 3), (3, 3), (3, 4), (2, 4))),),
    )
    leaks = [e for e in where.effects() if isinstance(e, LeaksOverArea) and e.reference == HOUSE]
    assert_allclose(sum(e.plan.area for e in leaks), 24.0, rtol=1e-12)
    judged = sum(e.plan.area for e in leaks if e.floor)
    assert_allclose(judged, 23.0, rtol=1e-6)  # bare soil is no floor to be held under suction
    answer = solve(where)
    floor = floor_response(answer.soil, answer.network, answer.response)
    assert_allclose(float(np.outer(np.diff(floor.x), np.diff(floor.y))[floor.floor].sum()), 23.0)
    house = answer.soil.ports.index(HOUSE)
    assert np.isclose(floor.unit_fields[house], 1.0).any()  # the open drain is at the room


def test_no_pit_under_an_opening():
    where = site(openings=(Opening(name="drain", x=3.0, y=2.0, area=0.04),))
    with pytest.raises(InputError, match="lies under a hole in the slab"):
        solve(where)


# --- walls and their yards


def test_a_wall_leaks_to_the_ground_beside_it():
    where = site(yards=(Yard(name="lee", side="north"),), wall_bodies=(WallBody(to_yard=1e-11),))
    faces = [e for e in where.effects() if isinstance(e, LeaksOverFace)]
    assert [f.reference for f in faces] == [OUTDOORS, OUTDOORS, "lee", OUTDOORS]
    assert {(f.top, f.bottom) for f in faces} == {(0.0, 0.45)}
    south = faces[0]
    assert (south.start, south.end, south.inward) == ((0.0, 0.0), (6.0, 0.0), (0, 1))


def test_the_last_wall_body_has_the_say():
    bodies = (WallBody(to_room=1e-10), WallBody(walls=("north",)))
    faces = [e for e in site(wall_bodies=bodies).effects() if isinstance(e, LeaksOverFace)]
    assert len(faces) == 3


# --- what cannot be

WRONG = {
    "crack off the floor": (
        {"cracks": (Crack(name="a", points=((1, 1), (9, 1)), aperture=1e-3),)},
        "cracks[0].points",
    ),
    "opening in the wall": (
        {"openings": (Opening(name="a", x=0, y=1, area=0.1),)},
        "openings[0].x",
    ),
    "openings overlap": (
        {
            "openings": (
                Opening(name="a", x=1, y=1, area=0.1),
                Opening(name="b", x=1.1, y=1, area=0.1),
            )
        },
        "openings[1].x",
    ),
    "opening in bare soil": (
        {
            "openings": (Opening(name="a", x=1, y=1, area=0.1),),
            "bare_soil": (BareSoil(name="b", corners=((0, 0), (2, 0), (2, 2), (0, 2))),),
        },
        "openings[0].x",
    ),
    "name twice": (
        {
            "drain_tiles": (DrainTile(name="a", points=((1, 1), (2, 1)), depth=1, diameter=0.1),),
            "trenches": (Trench(name="a", points=((1, 2), (2, 2)), width=0.1, height=0.1),),
        },
        "trenches[0].name",
    ),
    "open to nowhere": (
        {
            "channels": (
                Channel(name="a", points=((1, 2), (2, 2)), width=0.1, height=0.1, open_to="sump"),
            )
        },
        "channels[0].open_to",
    ),
    "below the bottom": (
        {"drain_tiles": (DrainTile(name="a", points=((1, 1), (2, 1)), depth=5, diameter=0.1),)},
        "drain_tiles[0]",
    ),
    "no such wall": ({"wall_bodies": (WallBody(walls=("up",)),)}, "wall_bodies[0].walls"),
}


@pytest.mark.parametrize("which", WRONG)
def test_what_cannot_be_there(which):
    changes, field = WRONG[which]
    with pytest.raises(InputError) as caught:
        site(**changes)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("noun", "given", "field"),
    [
        (Crack, {"name": "a", "points": ((1, 1),), "aperture": 1e-3}, "points"),
        (Crack, {"name": "a", "points": ((1, 1), (1, 1)), "aperture": 1e-3}, "points"),
        (Crack, {"name": "a", "points": ((1, 1), (2, 1)), "aperture": -1e-3}, "aperture"),
        (Opening, {"name": "a", "x": 1, "y": 1}, "area"),
        (Opening, {"name": "a", "x": 1, "y": 1, "area": 1, "diameter": 1}, "area"),
        (Opening, {"name": "a", "x": 1, "y": 1, "area": 1, "flow": 1e-3}, "flow"),
        (Opening, {"name": "a", "x": 1, "y": 1, "area": 1, "flow": 1, "at_pressure": 0}, "flow"),
        (BareSoil, {"name": "a", "corners": ((1, 1), (2, 2))}, "corners"),
        (WallBody, {"to_room": -1.0}, "to_room"),
        (
            DrainTile,
            {"name": "a", "points": ((1, 1), (2, 2)), "depth": 1, "diameter": 0.1},
            "points",
        ),
        (
            DrainTile,
            {"name": "a", "points": ((1, 1), (2, 1)), "depth": 0.04, "diameter": 0.1},
            "depth",
        ),
        (Trench, {"name": "a", "points": ((1, 1),), "width": 1, "height": 1}, "points"),
    ],
)
def test_nouns_that_cannot_be(noun, given, field):
    with pytest.raises(InputError) as caught:
        noun(**given)
    assert caught.value.field == field


# --- in case files

FEATURES = """
[[cracks]]
name = "long crack"
points = [["2 ft", "2 ft"], ["8 ft", "2 ft"], ["10 ft", "4 ft"]]
crack = "card"
[[openings]]
name = "floor drain"
x = "10 ft"
y = "8 ft"
diameter = "4 in"
[[openings]]
name = "sump lid"
x = "6 ft"
y = "8 ft"
area = "1 ft2"
flow = "0.5 cfm"
at_pressure = "4 Pa"
sealed = true
[[bare_soil]]
name = "cut-out"
size = "1 ft x 1 ft"
at = ["0 ft", "8 ft"]
[[wall_bodies]]
body = "hollow block"
walls = ["north"]
[[wall_bodies]]
to_yard = "1e-11 m"
walls = ["south"]
source = "guess"
[[drain_tiles]]
name = "old tile"
points = [["1 ft", "9 ft"], ["4 ft", "9 ft"]]
depth = "12 in"
diameter = "4 in"
open_to = "outdoors"
[[trenches]]
name = "gravel trench"
points = [["1 ft", "5 ft"], ["1 ft", "7 ft"]]
width = "6 in"
height = "8 in"
top = "4 in"
[[channels]]
name = "gutter"
points = [["11 ft", "1 ft"], ["11 ft", "7 ft"]]
width = "2 in"
height = "1 in"
open_to = "house"
"""
TABLES = ("cracks", "openings", "bare_soil", "wall_bodies", "drain_tiles", "trenches", "channels")
CHECK = jsonschema.Draft202012Validator(case_schema())


def read(text=FEATURES):
    return parse_case(TEXT + text, file="leaks.toml")


def test_features_are_read_as_written():
    found = read().site
    assert found.cracks[0].points == (
        (2 * FOOT, 2 * FOOT),
        (8 * FOOT, 2 * FOOT),
        (10 * FOOT, 4 * FOOT),
    )
    assert_allclose(found.cracks[0].aperture, math.sqrt(0.2e-3 * 0.5e-3))
    assert found.cracks[0].source.startswith("word 'card'")
    assert_allclose(found.openings[0].diameter, 4 * 0.0254)
    assert found.openings[1].sealed
    assert_allclose(found.bare_soil[0].polygon.area, FOOT**2)
    assert_allclose(found.wall_bodies[0].to_room, 1e-10)
    assert (found.wall_bodies[1].to_room, found.wall_bodies[1].to_yard) == (0.0, 1e-11)
    assert found.drain_tiles[0].open_to == OUTDOORS
    assert_allclose(found.trenches[0].axis_depth, 8 * 0.0254)
    assert_allclose(found.channels[0].width, 2 * 0.0254)
    spread = {u.path: (u.low, u.high) for u in read().uncertain}
    assert spread["site.cracks[0].aperture"] == (0.0002, 0.0005)
    assert spread["site.wall_bodies[0].to_room"] == (1e-11, 1e-9)


def test_features_come_back_from_what_is_written():
    case = read()
    assert parse_case(write_case(case), file="again.toml") == case


def test_a_variant_can_leave_features_out():
    none = ", ".join(f'"{name}"' for name in TABLES)
    case = read(FEATURES + f"[variant.plain]\nnone = [{none}]\n")
    assert case.variants["plain"] == parse_case(TEXT, file="plain.toml").site


def test_features_are_in_the_schema():
    assert list(CHECK.iter_errors(tomllib.loads(TEXT + FEATURES))) == []
    assert list(CHECK.iter_errors(tomllib.loads(write_case(read())))) == []
    for wrong in (
        FEATURES.replace('crack = "card"', 'crack = "card"\naperture = "1 mm"'),
        FEATURES.replace('diameter = "4 in"\n[[openings]]', 'diameter = "4 cfm"\n[[openings]]'),
        FEATURES.replace('at_pressure = "4 Pa"', ""),
        FEATURES.replace('body = "hollow block"', 'body = "straw"'),
        FEATURES.replace('open_to = "house"', 'opens_to = "house"'),
    ):
        assert wrong != FEATURES
        assert list(CHECK.iter_errors(tomllib.loads(TEXT + wrong))) != []


MISTAKES = {
    "no width": ('crack = "card"\n', "", "cracks[0].aperture: missing"),
    "unknown word": ('"card"', '"gaping"', "cracks[0].crack: gaping: not a known word"),
    "off the floor": ('"8 ft", "2 ft"', '"80 ft", "2 ft"', "does not lie wholly on the floor"),
    "wall twice": ('body = "hollow block"', 'body = "brick"\nto_room = "1e-9 m"', "already says"),
    "open to nothing": ('open_to = "house"', 'open_to = "sump"', "channels[0].open_to"),
    "no place": ('at = ["0 ft", "8 ft"]\n', "", "bare_soil[0].at: missing"),
}


@pytest.mark.parametrize("which", MISTAKES)
def test_one_mistake_gives_one_message(which):
    old, new, words = MISTAKES[which]
    assert FEATURES.count(old) >= 1
    with pytest.raises(CaseError) as caught:
        read(FEATURES.replace(old, new, 1))
    assert len(caught.value.mistakes) == 1
    assert words in str(caught.value)


def test_features_are_drawn_on_the_plan_by_name():
    ax = Figure().add_subplot()
    draw_house(ax, read().site, FEET)
    written = {text.get_text() for text in ax.texts}
    assert {
        "long crack",
        "floor drain",
        "cut-out",
        "old tile",
        "gravel trench",
        "gutter",
    } <= written
    plain = Figure().add_subplot()
    draw_house(plain, parse_case(TEXT, file="plain.toml").site, FEET)
    assert len(ax.patches) > len(plain.patches) + 8
    assert list(plain.texts) == []


def test_check_lists_features_and_where_they_come_from():
    case = read()
    costs = {"one in the corner": estimate(case, case.layouts[0])}
    text = print_check(case, costs, verbose=True, width=200)
    for words in (
        'crack "long crack", 8 ft 10 in long, 0.316 mm wide',
        'opening "floor drain", 3-1/2 in square, open soil below',
        'opening "sump lid", 1 ft square, sealed',
        'bare soil "cut-out"',
        "walls that leak (north): 1e-10 m to the room",
        'drain tile "old tile", 3 ft long, open to outdoors',
        'trench "gravel trench", 2 ft long, no open end',
        'channel "gutter", 6 ft long, open to house',
        "crack \"long crack\": word 'card'",
        "walls that leak: guess",
    ):
        assert words in text
    assert len(check_to_dict(case, costs)["leaks"]) == 9


def test_joints_end_where_the_slab_does():
    """A joint of 1 mm along all walls, but none along the metre of bare soil."""
    cut = BareSoil(name="b", corners=((2, 3), (3, 3), (3, 4), (2, 4)))
    where = site(joints=(FloorWallJoint(aperture=1e-3),), bare_soil=(cut,))
    slots = [e for e in where.effects() if isinstance(e, LeaksAlongLine)]
    assert_allclose(sum(math.dist(s.start, s.end) for s in slots), 19.0)
    assert not any(Point(2.5, 4.0).within(box(*s.start, *s.end).buffer(1e-9)) for s in slots)
