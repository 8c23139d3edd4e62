"""What the next bucket is worth: pits against closed forms, the rule, the picture."""

import csv
import dataclasses
import functools
import io
import json
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from soilflow.air import Air
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.analytic import flow_ratio_smear, shape_factor_hemisphere
from soilflow.flow.grid import Resolution
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import HemisphericalPit
from soilflow.output.pit_size_figure import plot_pit_sizes
from soilflow.output.pit_size_words import (
    RULE,
    pit_sizes_to_csv,
    pit_sizes_to_dict,
    print_pit_sizes,
    stop_words,
)
from soilflow.site.ground import Ground, SoilLayer
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import FoundationWalls
from soilflow.studies.pit_series import Digging, PitSeries, PitSizes, worth_digging
from soilflow.studies.pit_size import (
    SHAPES,
    bare_hole,
    pit_of,
    pit_size_cost,
    pit_sizes,
)

SIDE, SOIL = 26.0, 1e-12
BUCKET = 0.0189270589  # 5 US gal of 231 cubic inches, exact
# Fine at the pit, and as rough as can be away from it.
ROUGH = Resolution(
    name="rough",
    cells_per_radius=3.5,
    line_size=0.5,
    growth=1.7,
    largest_inside=2.0,
    largest_outside=6.0,
    largest_down=4.0,
)


@functools.cache
def wide_floor() -> Case:
    """A pit in the middle of a tight floor so wide and deep that it is alone in half a space."""
    site = Site(
        slab=Slab(
            corners=((0, 0), (SIDE, 0), (SIDE, SIDE), (0, SIDE)), thickness=0.1, permeability=1e-20
        ),
        walls=FoundationWalls(thickness=0.0, footing_depth=0.0),
        ground=Ground(layers=(SoilLayer(permeability=SOIL),), bottom=20.0),
    )
    pit = HemisphericalPit(volume=2.0 * BUCKET)
    point = SuctionPoint(name="pit", x=13.0, y=13.0, pit=pit, vacuum=500.0)
    return Case(
        title="wide floor",
        site=site,
        layouts=(Layout(name="one", points=(point,)),),
        conditions=(Condition(name="design_winter", outdoor_pressure=3.0),),
        air=Air(temperature=283.15),
    )


@functools.cache
def dug() -> PitSizes:
    return pit_sizes(
        wide_floor(),
        shapes=("bowl",),
        states=("scraped", "smeared", "gap"),
        places=("open",),
        most=3,
        resolution=ROUGH,
    )


def series(state):
    return next(s for s in dug().series if s.state == state)


def test_a_bowl_alone_is_a_half_sphere():
    """2 pi k r / mu in half a space; the ground ends some 20 m away, which adds r / R of it."""
    found = series("scraped").conductance[1:]
    radii = (1.5 * BUCKET * np.arange(1, 4) / math.pi) ** (1.0 / 3.0)
    alone = [shape_factor_hemisphere(r) * SOIL / wide_floor().air.viscosity for r in radii]
    assert_allclose(found, alone, rtol=0.04)


def test_smear_leaves_what_two_shells_in_series_leave():
    """The packed shell adds its own resistance, and the space around stays as it is."""
    ratio = series("smeared").conductance[1:] / series("scraped").conductance[1:]
    radii = (1.5 * BUCKET * np.arange(1, 4) / math.pi) ** (1.0 / 3.0)
    exact = np.array([flow_ratio_smear(r, 0.020, 0.1) for r in radii])
    assert_allclose(ratio, exact, atol=0.015)
    assert abs(ratio[1] - 0.61) < 0.02


def test_alone_the_third_bucket_adds_what_the_cube_root_of_its_volume_says():
    assert_allclose(series("scraped").gains[2], 1.5 ** (1.0 / 3.0) - 1.0, atol=0.012)


def test_two_buckets_multiply_a_bare_hole_and_with_a_gap_hardly_do():
    """A disk as wide as the core passes 4 k a / mu; a half sphere of two buckets 8 times that."""
    bare = series("scraped").conductance[2] / series("scraped").conductance[0]
    assert 4.0 < bare < 8.2
    gap = series("gap").conductance[2] / series("gap").conductance[0]
    assert 1.0 < gap < 2.0
    assert series("gap").conductance[0] > series("scraped").conductance[2]
    assert series("gap").gains[2] < series("scraped").gains[2]


def test_the_bare_hole_is_neither_scraped_nor_smeared():
    assert series("smeared").conductance[0] == series("scraped").conductance[0]
    alone = pit_sizes(
        wide_floor(),
        shapes=("bowl",),
        states=("smeared",),
        places=("open",),
        most=1,
        digging=Digging(smear_ratio=1.0),
        resolution=ROUGH,
    )
    assert_allclose(alone.series[0].conductance, series("scraped").conductance[:2], rtol=1e-7)


@pytest.mark.parametrize("shape", SHAPES)
def test_a_bucket_is_a_bucket_in_every_shape(shape):
    for buckets in (1, 2, 6):
        assert_allclose(pit_of(shape, buckets).volume, buckets * BUCKET, rtol=1e-9)
    assert pit_of(shape, 0) == bare_hole()
    assert pit_of("pan", 6).depth < pit_of("bowl", 6).free_radius < pit_of("shaft", 6).depth


def test_the_rule_looks_past_a_dull_bucket_to_the_one_that_reaches_a_seam():
    nan = math.nan
    assert worth_digging(np.array([1.9, 0.26, 0.14, 0.09, 0.08])) == 3
    assert worth_digging(np.array([1.9, 0.08, 0.30, 0.05])) == 3
    assert worth_digging(np.array([0.05, 0.02])) == 0
    assert worth_digging(np.array([1.9, 0.3, nan, nan])) == 2


def made(gains, margins, refused=""):
    conductance = 1e-9 * np.cumprod(np.concatenate([[1.0], 1.0 + np.array(gains)]))
    return PitSeries(
        shape="bowl",
        place="open",
        state="scraped",
        conductance=conductance,
        margins=np.array(margins),
        flows=conductance * 500.0,
        refused=refused,
    )


def test_when_to_stop_is_said_with_what_the_next_bucket_brings():
    words = stop_words(made([2.0, 0.3, 0.04], [-2.0, -1.0, 0.5, 0.6]))
    assert words == "stop after 2 buckets, the next adds 4 %; the floor holds from 2 buckets"
    words = stop_words(made([2.0, 0.3], [-2.0, -1.0, -0.5]))
    assert words == "2 buckets or more: the last added 30 %; no size holds the floor"
    words = stop_words(made([2.0, math.nan], [1.0, 2.0, math.nan], "too deep"))
    assert words == "no more than 1 bucket may be dug here; a bare core hole holds the floor"


def test_what_the_footing_forbids_is_a_gap_in_the_table_and_no_failure():
    found = pit_sizes(
        wide_floor(),
        shapes=("shaft",),
        states=("scraped",),
        places=("wall",),
        most=2,
        resolution=dataclasses.replace(ROUGH, cells_per_radius=1.5, growth=2.5),
    )
    (wall,) = found.series
    assert found.failures == ()
    assert math.isnan(wall.conductance[2])
    assert "45 degrees" in wall.refused
    assert "no more than" in stop_words(wall)


def test_the_study_in_text_table_and_json():
    said = print_pit_sizes(dug(), verbose=True)
    assert " ".join(RULE.split()) in " ".join(said.split())
    assert max(map(len, said.splitlines())) <= 60
    rows = list(csv.DictReader(io.StringIO(pit_sizes_to_csv(dug()))))
    assert len(rows) == 3 * 4
    assert [row["stop_here"] for row in rows].count("True") == 3
    data = json.loads(json.dumps(pit_sizes_to_dict(dug()), allow_nan=False))
    assert [stop["state"] for stop in data["stops"]] == ["scraped", "smeared", "gap"]


def rings(picture):
    return [line for ax in picture.axes for line in ax.lines if line.get_markersize() > 12]


def test_a_ring_stands_only_where_the_next_bucket_is_known_to_bring_too_little():
    one = dataclasses.replace(dug(), series=(made([2.0, 0.3, 0.04], [-2.0, -1.0, 0.5, 0.6]),))
    (ring,) = rings(plot_pit_sizes(one))
    assert ring.get_xdata() == [2]
    for endless in (made([2.0, 0.3], [0.0] * 3), made([2.0, math.nan], [0.0] * 3)):
        assert rings(plot_pit_sizes(dataclasses.replace(one, series=(endless,)))) == []


def test_names_that_are_none_are_refused():
    with pytest.raises(InputError, match="no shape"):
        pit_of("cone", 1)
    for names in (("bowl", "mud", "open"), ("bowl", "gap", "roof")):
        with pytest.raises(InputError, match="no "):
            pit_size_cost(wide_floor(), *((name,) for name in names), 1)
    with pytest.raises(InputError, match="one bucket"):
        pit_size_cost(wide_floor(), ("bowl",), ("gap",), ("open",), 0)
    assert pit_size_cost(wide_floor(), SHAPES, ("gap",), ("open",), 2)[0] == 7
