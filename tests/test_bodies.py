"""Held bodies and the pits that make them: distances, rims, and the volume that was dug."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from shapely.geometry import Point, box

from soilflow.errors import InputError
from soilflow.layout.bodies import Ball, Brick, Cylinder, Outside
from soilflow.layout.pits import BoxPit, HemisphericalPit, clipped_volume
from soilflow.site.plan import footprint_polygon

FLOOR = footprint_polygon(((0.0, 0.0), (8.0, 0.0), (8.0, 6.0), (0.0, 6.0)))
ELL = footprint_polygon(((0.0, 0.0), (8.0, 0.0), (8.0, 3.0), (5.0, 3.0), (5.0, 7.0), (0.0, 7.0)))
TWO_BUCKETS = 0.0378541  # two 5-US-gallon buckets [m3]
AT = np.asarray


def half_ball_beside(radius, to_west, to_south):
    """Volume of the half ball less than two distances west and south of its centre.

    Slices along y are half disks cut at one chord.
    """

    def slice_area(y):
        rho2 = radius**2 - y**2
        if to_west**2 >= rho2:
            return 0.5 * math.pi * rho2
        rho = math.sqrt(rho2)
        beyond = math.acos(to_west / rho) * rho2 - to_west * math.sqrt(rho2 - to_west**2)
        return 0.5 * (math.pi * rho2 - beyond)

    kink = math.sqrt(max(radius**2 - to_west**2, 0.0))
    low = -min(to_south, radius)
    breaks = [y for y in (-kink, kink) if low < y < radius]
    return quad(slice_area, low, radius, points=breaks or None, epsabs=1e-15, epsrel=1e-12)[0]


def test_the_slices_themselves():
    """The check above against a half ball and one cut by one wall: a cap is pi h^2 (3r - h) / 3."""
    assert_allclose(half_ball_beside(0.3, 1.0, 1.0), 2.0 / 3.0 * math.pi * 0.3**3, rtol=1e-12)
    h = 0.3 - 0.1
    cut = 0.5 * (4.0 / 3.0 * math.pi * 0.3**3 - math.pi * h * h * (0.9 - h) / 3.0)
    assert_allclose(half_ball_beside(0.3, 0.1, 1.0), cut, rtol=1e-12)
    assert_allclose(half_ball_beside(0.3, 1.0, 0.1), cut, rtol=1e-12)


@pytest.mark.parametrize(
    ("x", "y"), [(4.0, 3.0), (0.1, 3.0), (4.0, 0.26), (0.1, 0.15), (0.2, 0.05), (0.25, 0.25)]
)
def test_clipped_volume(x, y):
    exact = half_ball_beside(0.2624, x, y)
    assert_allclose(clipped_volume((x, y), 0.2624, FLOOR), exact, rtol=1e-9)


@pytest.mark.parametrize("at", [(4.0, 3.0), (0.1, 3.0), (0.1, 0.15), (7.8, 0.05), (0.01, 0.01)])
def test_a_pit_keeps_its_volume(at):
    """The air volume dug counts: near walls the bowl is wider."""
    pit = HemisphericalPit(volume=TWO_BUCKETS)
    body = pit.body(*at, FLOOR)
    assert body.radius >= pit.free_radius
    kept = half_ball_beside(body.radius, min(at[0], 8.0 - at[0]), min(at[1], 6.0 - at[1]))
    assert_allclose(kept, TWO_BUCKETS, rtol=1e-9)


def test_pit_at_an_inner_corner():
    """Three quarters of a half ball: r = (2 V / pi)^(1/3)."""
    body = HemisphericalPit(volume=TWO_BUCKETS).body(5.0 - 1e-9, 3.0 - 1e-9, ELL)
    assert_allclose(body.radius, (2.0 * TWO_BUCKETS / math.pi) ** (1.0 / 3.0), rtol=1e-6)


def test_two_buckets_by_hand():
    """Two buckets make a bowl of 0.2624 m (2/3 pi r^3)."""
    assert_allclose(HemisphericalPit(volume=0.0379).free_radius, 0.2624, atol=2e-4)


def test_a_pit_too_large_for_the_floor_is_refused():
    small = box(0.0, 0.0, 0.3, 0.3)
    with pytest.raises(InputError, match="does not fit"):
        HemisphericalPit(volume=5.0).body(
            0.15,
            0.15,
            footprint_polygon(
                tuple((float(x), float(y)) for x, y in list(small.exterior.coords)[:-1])
            ),
        )


def test_box_moves_clear_of_the_wall():
    body = BoxPit(length=0.5, width=0.4, depth=0.3).body(0.1, 5.9, FLOOR)
    assert_allclose(body.low, (0.0, 5.6, 0.0), atol=1e-12)
    assert_allclose(body.high, (0.5, 6.0, 0.3), atol=1e-12)


def test_box_that_fits_nowhere_near_is_refused():
    with pytest.raises(InputError, match="does not fit"):
        BoxPit(length=9.0, width=0.4, depth=0.3).body(4.0, 3.0, FLOOR)


def test_ball_distances():
    """3-4-5: from (1, 0.3, 0) toward a ball of 0.5 at the origin the surface is at x = 0.4."""
    ball = Ball(centre=(0.0, 0.0, 0.0), radius=0.5)
    x, y, z = AT([1.0, -1.0]), AT([0.3, 0.3]), AT([0.0, 0.0])
    assert_allclose(ball.entry(0, -1, x, y, z)[0], 0.6, rtol=1e-14)
    assert_allclose(ball.entry(0, 1, x, y, z)[1], 0.6, rtol=1e-14)
    assert np.isnan(ball.entry(0, -1, AT(1.0), AT(0.6), AT(0.0)))
    assert_allclose(ball.exit(2, 1, AT(0.3), AT(0.0), AT(0.1)), 0.3, rtol=1e-14)
    assert_allclose(Outside(inner=ball).entry(2, 1, AT(0.3), AT(0.0), AT(0.1)), 0.3, rtol=1e-14)


def test_inside_and_outside_share_all_points():
    rng = np.random.default_rng(5)
    x, y, z = rng.uniform(-1.0, 1.0, (3, 500))
    for inner in (
        Ball(centre=(0.1, 0.0, 0.0), radius=0.7),
        Cylinder(centre=(0.1, 0.0), radius=0.7, top=-2.0, bottom=2.0),
    ):
        assert np.array_equal(Outside(inner=inner).contains(x, y, z), ~inner.contains(x, y, z))


@pytest.mark.parametrize(
    "body",
    [
        Ball(centre=(0.3, -0.2, 0.0), radius=0.7),
        Cylinder(centre=(0.3, -0.2), radius=0.7, top=0.0, bottom=0.5),
        Brick(low=(-0.4, -0.5, 0.0), high=(0.6, 0.7, 0.5)),
    ],
)
def test_entry_ends_on_the_surface(body):
    """From outside, just short of the distance is outside and just past it is inside."""
    rng = np.random.default_rng(7)
    points = rng.uniform((-1.5, -1.5, 0.01), (1.5, 1.5, 1.5), (2000, 3))
    points = points[~body.contains(*points.T)]
    checked = 0
    for axis in range(3):
        for sign in (1, -1):
            distance = np.asarray(body.entry(axis, sign, *points.T))
            step = np.zeros(3)
            step[axis] = sign
            past = points + (np.nan_to_num(distance) + 1e-9)[:, None] * step
            short = points + (np.nan_to_num(distance) - 1e-9)[:, None] * step
            ahead = np.nan_to_num(distance, nan=-1.0) > 1e-6
            hits = ahead & body.contains(*past.T)
            assert not body.contains(*short[ahead].T).any()
            if isinstance(body, Ball):
                assert np.array_equal(hits, ahead)
            checked += int(hits.sum())
    assert checked > 200


@pytest.mark.parametrize(
    "body",
    [
        Ball(centre=(0.3, 0.2, 0.0), radius=0.7, clip=FLOOR),
        Ball(centre=(2.0, 2.0, 0.3), radius=0.7),
        Cylinder(centre=(0.9, 0.8), radius=0.7, top=0.0, bottom=0.5),
        Brick(low=(0.2, 0.3, 0.0), high=(0.9, 1.7, 0.5)),
    ],
)
def test_rim_area_adds_up_over_cells(body):
    """Summed over a grid of the floor it is the rim, clipped, to the accuracy of a fine polygon."""
    xs, ys = np.linspace(0.0, 8.0, 33), np.linspace(0.0, 6.0, 25)
    total = sum(
        body.rim_area(xs[i], xs[i + 1], ys[j], ys[j + 1]) for i in range(32) for j in range(24)
    )
    if isinstance(body, Brick):
        exact = 0.7 * 1.4
    elif isinstance(body, Cylinder):
        exact = math.pi * 0.7**2
    else:
        rim = math.sqrt(0.7**2 - body.centre[2] ** 2)
        exact = Point(body.centre[:2]).buffer(rim, quad_segs=4000).intersection(FLOOR).area
    assert_allclose(total, exact, rtol=1e-6)


def test_rim_intervals_by_hand():
    ball = Ball(centre=(1.0, 0.3, 0.0), radius=0.5)
    assert_allclose(ball.rim_intervals(0, 0.0), [(0.6, 1.4)], rtol=1e-14)
    assert ball.rim_intervals(0, -0.2) == ()
    buried = Cylinder(centre=(1.0, 0.3), radius=0.5, top=0.1, bottom=1.0)
    assert buried.rim_intervals(0, 0.3) == ()
    brick = Brick(low=(0.0, 0.0, 0.0), high=(0.5, 0.4, 0.3))
    assert brick.rim_intervals(1, 0.5) == ((0.0, 0.4),)
    assert brick.rim_intervals(1, 0.6) == ()
    (low, high) = Outside(inner=ball).rim_intervals(0, 0.0)
    assert_allclose((low[1], high[0]), (0.6, 1.4), rtol=1e-14)
