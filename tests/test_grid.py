"""The graded grid: lines where they must be, sizes as wanted, and no side preferred."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import box

from soilflow.errors import InputError
from soilflow.flow.grid import COARSE, FINE, NORMAL, Grid, Resolution, graded_edges, grid_for
from soilflow.layout.bodies import HeldBody
from soilflow.layout.pits import BoxPit, HemisphericalPit
from soilflow.site import (
    FoundationWalls,
    Ground,
    MoistZone,
    PerimeterBand,
    SettledGap,
    Site,
    Slab,
    SoilLayer,
)

WIDTH, DEPTH = 8.0, 6.0
FLOOR = ((0.0, 0.0), (WIDTH, 0.0), (WIDTH, DEPTH), (0.0, DEPTH))


def house(corners=FLOOR, **changes):
    parts = {
        "slab": Slab(corners=corners, thickness=0.1, permeability=1e-16),
        "walls": FoundationWalls(thickness=0.25, footing_depth=0.45),
        "ground": Ground(
            layers=(SoilLayer(permeability=1e-12), SoilLayer(permeability=1e-13, top=1.3)),
            bottom=5.0,
        ),
    }
    return Site(**{**parts, **changes})


def pits(site, points, pit=None):
    pit = pit or HemisphericalPit(volume=0.0378541)
    return [
        HeldBody(port=f"p{i}", body=pit.body(x, y, site.slab.polygon))
        for i, (x, y) in enumerate(points)
    ]


def has_line(edges, at):
    return bool(np.min(np.abs(edges - at)) < 1e-9)


def test_lines_on_every_interface():
    site = house(
        bands=(PerimeterBand(width=0.6, depth=1.1, looser_by=10.0),),
        moist_zones=(
            MoistZone(
                name="wet",
                corners=((1.0, 1.0), (3.3, 1.0), (3.3, 2.2), (1.0, 2.2)),
                multiplier=0.1,
                bottom=0.77,
            ),
        ),
        gaps=(
            SettledGap(
                name="gap",
                aperture=1e-3,
                corners=((4.1, 2.0), (6.9, 2.0), (6.9, 4.4), (4.1, 4.4)),
            ),
        ),
    )
    grid = grid_for(
        site.effects(), pits(site, [(2.0, 4.0)]), COARSE, extra_lines=((5.55,), (0.15,))
    )
    for x in (-0.25, 0.0, 0.6, 7.4, 8.0, 8.25, 1.0, 3.3, 4.1, 6.9, 5.55):
        assert has_line(grid.x, x), x
    for y in (-0.25, 0.0, 0.6, 5.4, 6.0, 6.25, 1.0, 2.2, 2.0, 4.4, 0.15):
        assert has_line(grid.y, y), y
    for z in (0.0, 0.45, 1.1, 1.3, 0.77, 5.0):
        assert has_line(grid.z, z), z


def test_extent():
    """Three half-widths of the floor, its shorter side, beyond the outer wall faces."""
    grid = grid_for(house().effects(), (), COARSE)
    assert_allclose((grid.x[0], grid.x[-1]), (-0.25 - 9.0, 8.25 + 9.0))
    assert_allclose((grid.y[0], grid.y[-1]), (-0.25 - 9.0, 6.25 + 9.0))
    assert_allclose((grid.z[0], grid.z[-1]), (0.0, 5.0))


def test_grade_starts_the_grid_above_the_slab():
    site = house(walls=FoundationWalls(thickness=0.25, footing_depth=0.2, grade=2.0))
    grid = grid_for(site.effects(), (), COARSE)
    assert grid.z[0] == -2.0
    assert has_line(grid.z, 0.0)


@pytest.mark.parametrize("resolution", [COARSE, NORMAL, FINE])
def test_cells_at_a_pit(resolution):
    """The pit's radius holds the stated number of cells, along the slab and down."""
    site = house()
    held = pits(site, [(4.0, 3.0)])
    grid = grid_for(site.effects(), held, resolution)
    radius = held[0].body.radius
    for axis, middle in ((0, 4.0), (1, 3.0), (2, 0.0)):
        centres, sizes = grid.centres(axis), grid.sizes(axis)
        here = np.abs(centres - middle) < radius
        if axis == 2:
            here &= centres > 0.0
        assert sizes[here].max() < 1.05 * radius / resolution.cells_per_radius


@pytest.mark.parametrize("resolution", [COARSE, NORMAL, FINE])
def test_cells_at_walls_and_far_off(resolution):
    site = house()
    grid = grid_for(site.effects(), (), resolution)
    at = grid.index_of(0, 0.0)
    # the size at the line is the wanted one; a cell beside it is the mean over its own growth
    first = resolution.line_size * (resolution.growth - 1.0) / np.log(resolution.growth)
    assert np.all(grid.sizes(0)[at - 1 : at + 1] < 1.01 * first)
    assert np.all(grid.sizes(0)[at - 1 : at + 1] > 0.75 * resolution.line_size)
    inside = (grid.centres(0) > 0.0) & (grid.centres(0) < WIDTH)
    assert grid.sizes(0)[inside].max() <= 1.001 * resolution.largest_inside
    assert grid.sizes(0).max() <= 1.001 * resolution.largest_outside
    assert grid.sizes(2).max() <= 1.001 * resolution.largest_down


def test_cells_grow_no_faster_than_stated():
    """Away from a wall each cell is at most the growth larger, but for rounding to whole cells."""
    grid = grid_for(house().effects(), (), NORMAL)
    sizes = grid.sizes(0)
    ratio = np.maximum(sizes[1:] / sizes[:-1], sizes[:-1] / sizes[1:])
    assert ratio.max() < 1.15 * NORMAL.growth


def test_box_pit_has_small_cells_at_its_edges():
    site = house()
    held = pits(site, [(4.0, 3.0)], BoxPit(length=0.4, width=0.4, depth=0.2))
    grid = grid_for(site.effects(), held, NORMAL)
    for axis, face in ((0, 3.8), (0, 4.2), (1, 2.8), (1, 3.2), (2, 0.2)):
        at = grid.index_of(axis, face)
        assert grid.sizes(axis)[at - 1 : at + 1].max() < 0.6 * 0.05


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    lines=st.lists(st.floats(0.0, 10.0), min_size=2, max_size=6, unique=True),
    source=st.floats(0.0, 10.0),
    size=st.floats(0.02, 0.5),
    growth=st.floats(1.1, 2.0),
)
def test_graded_edges(lines, source, size, growth):
    """Increasing, on the lines, within the bound, near the source as fine as wanted."""
    lines = sorted({round(v, 3) for v in (*lines, 0.0, 10.0)})
    edges = graded_edges(lines, [(source, source, size)], growth, [(-99.0, 99.0, 1.2)])
    assert np.all(np.diff(edges) > 0.0)
    assert all(has_line(edges, line) for line in lines)
    assert np.diff(edges).max() < 1.2001
    holds = np.searchsorted(edges, source, side="right") - 1
    width = np.diff(edges)[min(holds, edges.size - 2)]
    # the wanted size grows within the cell itself
    assert width < size * (1.0 + np.log(growth)) * 1.02
    between = [
        np.diff(edges[(edges >= a - 1e-9) & (edges <= b + 1e-9)])
        for a, b in itertools.pairwise(lines)
    ]
    for widths in between:
        ratio = widths[1:] / widths[:-1]
        assert np.all(ratio < growth * 1.02)
        assert np.all(ratio > 1.0 / (growth * 1.02))


def test_even_cells_without_sources():
    edges = graded_edges([0.0, 1.0], [], 1.4, [(-9.0, 9.0, 0.25)])
    assert_allclose(edges, [0.0, 0.25, 0.5, 0.75, 1.0], atol=1e-12)


def mirrored(points, width):
    return [(width - x, y) for x, y in points]


PIT_PLACES = st.lists(
    st.tuples(st.integers(5, 795), st.integers(5, 595)).map(lambda p: (p[0] / 100, p[1] / 100)),
    min_size=1,
    max_size=3,
)
ROUGH = Resolution(name="rough", cells_per_radius=2.0, line_size=0.1, growth=2.0)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(points=PIT_PLACES, resolution=st.sampled_from([ROUGH, NORMAL]))
def test_a_mirrored_house_has_a_mirrored_grid(points, resolution):
    there = grid_for(house().effects(), pits(house(), points), resolution)
    back = grid_for(house().effects(), pits(house(), mirrored(points, WIDTH)), resolution)
    assert_allclose(WIDTH - back.x[::-1], there.x, atol=1e-9)
    assert_allclose(back.y, there.y, atol=1e-9)


def test_pits_a_hand_apart_have_a_mirrored_grid():
    """Centre lines less than a cell apart: neither may win because it comes first."""
    points = [(5.47, 3.89), (5.49, 2.34), (1.12, 4.31)]
    there = grid_for(house().effects(), pits(house(), points), NORMAL)
    back = grid_for(house().effects(), pits(house(), mirrored(points, WIDTH)), NORMAL)
    assert_allclose(WIDTH - back.x[::-1], there.x, atol=1e-9)


def test_split_halves_every_cell():
    grid = grid_for(house().effects(), (), ROUGH)
    fine = grid.split()
    assert fine.cells == 8 * grid.cells
    for axis in range(3):
        assert_allclose(fine.edges[axis][::2], grid.edges[axis], rtol=0)
        assert_allclose(fine.sizes(axis)[::2], 0.5 * grid.sizes(axis), rtol=1e-9)


def test_splits_of_a_resolution():
    import dataclasses

    once = grid_for(house().effects(), (), dataclasses.replace(ROUGH, splits=1))
    assert_allclose(once.x, grid_for(house().effects(), (), ROUGH).split().x)


def test_index_of():
    grid = Grid(x=np.array([0.0, 1.0, 3.0]), y=np.array([0.0, 1.0]), z=np.array([0.0, 1.0]))
    assert grid.index_of(0, 3.0) == 2
    assert grid.shape == (2, 1, 1)
    assert_allclose(grid.centres(0), [0.5, 2.0])
    with pytest.raises(InputError, match="no grid line at 2 m along axis x"):
        grid.index_of(0, 2.0)


def test_edges_must_increase():
    with pytest.raises(InputError, match="increase"):
        Grid(x=np.array([0.0, 1.0, 1.0]), y=np.array([0.0, 1.0]), z=np.array([0.0, 1.0]))


def test_no_soil_is_an_error():
    from soilflow.site.effects import LeaksOverArea

    floor = LeaksOverArea(plan=box(0, 0, 1, 1), depth=0.0, leakance=0.0, reference="house")
    with pytest.raises(InputError, match="no soil layer"):
        grid_for([floor], (), COARSE)
