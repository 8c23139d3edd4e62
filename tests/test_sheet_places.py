"""Offsets as a tape measures them, and names on a plan that keep clear of each other."""

import re

from soilflow.output.sheet_labels import Labels
from soilflow.output.sheet_places import measured, offsets
from soilflow.site.ground import Ground, SoilLayer
from soilflow.site.rooms import Room
from soilflow.site.site import Site
from soilflow.site.slab import Slab
from soilflow.site.walls import FoundationWalls
from soilflow.units import M_PER_FOOT

FT = M_PER_FOOT


def site(*corners, rooms=()):
    feet = tuple((x * FT, y * FT) for x, y in corners)
    return Site(
        slab=Slab(corners=feet, thickness=0.1, permeability=1e-16),
        walls=FoundationWalls(thickness=0.2, footing_depth=0.4),
        ground=Ground(layers=(SoilLayer(permeability=1e-12),)),
        rooms=rooms,
    )


def test_the_nearer_wall_of_each_pair_is_measured_from():
    house = site((0, 0), (36, 0), (36, 24), (0, 24))
    assert measured(house, 35 * FT, 20 * FT) == "1 ft off east, 4 ft off north"
    assert measured(house, 18 * FT, 12 * FT) == "18 ft off west, 12 ft off south"


def test_no_tape_crosses_a_wall():
    """An L whose north-east quarter is missing: at x = 30, north of y = 10 lies the yard."""
    house = site((0, 0), (40, 0), (40, 10), (20, 10), (20, 30), (0, 30))
    along_x, along_y = offsets(house, 30 * FT, 8 * FT)
    assert round(along_y.distance / FT, 6) == 2.0  # to the step, not to the north end 22 ft away
    assert along_y.wall.startswith("north")
    assert round(along_x.distance / FT, 6) == 10.0
    # in the north leg the step's wall is the east one
    beside, _ = offsets(house, 18 * FT, 20 * FT)
    assert (round(beside.distance / FT, 6), beside.wall[:4]) == (2.0, "east")


def test_a_tape_stays_in_its_room():
    corners = tuple((x * FT, y * FT) for x, y in ((28, 0), (44, 0), (44, 24), (28, 24)))
    garage = Room(name="garage", corners=corners, permeability=1e-12)
    house = site((0, 0), (44, 0), (44, 24), (0, 24), rooms=(garage,))
    assert measured(house, 27 * FT, 20 * FT) == "1 ft off garage, 4 ft off north"
    assert measured(house, 30 * FT, 5 * FT) == "2 ft off house, 5 ft off south"
    assert measured(house, 43 * FT, 5 * FT) == "1 ft off east, 5 ft off south"


def boxes(labels):
    """Middle and height of each text, as drawn."""
    read = r"<text x='([-.\d]+)' y='([-.\d]+)' style='--high:([.\d]+)px'.*?>([^<]*)</text>"
    return [
        (float(x), -float(y), float(s), t) for x, y, s, t in re.findall(read, str(labels.drawn))
    ]


def test_two_names_side_by_side_do_not_cover_each_other():
    labels = Labels(0.3)
    for x in (0.0, 0.9):
        labels.keep_clear(x - 0.1, -0.1, x + 0.1, 0.1)
    labels.beside(0.0, 0.0, 0.1, "first name", inward=(1.0, 1.0), bold=False)
    labels.beside(0.9, 0.0, 0.1, "second name", inward=(1.0, 1.0), bold=False)
    (xa, ya, sa, _), (xb, yb, sb, _) = boxes(labels)
    wide = 0.5 * (10 * sa + 11 * sb) / 2.0  # letters are half as wide as they are high, or more
    assert abs(xa - xb) > wide or abs(ya - yb) >= 0.5 * (sa + sb) - 0.001


def test_a_name_in_a_drawing_is_escaped():
    labels = Labels(0.3)
    labels.at(0.0, 0.0, "<script>&")
    assert "&lt;script&gt;&amp;</text>" in labels.drawn[0]
