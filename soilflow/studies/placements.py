"""Two placements for a pit: by the longest wall, and in the middle of the floor."""

from __future__ import annotations

import math
from dataclasses import replace

import shapely
from shapely.geometry import Point

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.layout.digging import digging_bounds, digging_faults
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pipes import PipeTree
from soilflow.layout.pits import HemisphericalPit, Pit

__all__ = ["TWO_BUCKETS", "at_vacuum", "centre_place", "one_pit", "wall_place"]

# Two buckets of 5 US gallons: what most people dig. [m3]
TWO_BUCKETS = HemisphericalPit(volume=0.0378541)
# A pit's centre from the wall, and how far along it may be moved in to keep clear of a footing:
# a core drill's reach (common practice, no source) and a step of two inches. [m]
_ARM, _STEP, _FARTHEST = 0.3048, 0.0508, 1.5


def one_pit(case: Case, name: str, place: tuple[float, float], pit: Pit = TWO_BUCKETS) -> Layout:
    """One pit on the fan and the pipes of the case's first layout.

    Parameters
    ----------
    case : Case
        The case.
    name : str
        Name of the layout.
    place : tuple of float
        Where the pit is. [m]
    pit : HemisphericalPit, BoxPit or CylinderPit
        What is dug.

    Returns
    -------
    layout : Layout
        With the branch of that layout's first point, or at that point's stated vacuum where no
        fan draws on it.
    """
    model = case.layouts[0]
    first = model.points[0]
    if model.fan is None:
        vacuum = next((p.vacuum for p in model.points if p.vacuum is not None), None)
        if vacuum is None:
            raise InputError(
                f'the layout "{model.name}" has neither a fan of its own nor a stated vacuum; '
                "state one, as in --vacuum '2 in. w.c.'",
                field="vacuum",
            )
        point = SuctionPoint(name="pit", x=place[0], y=place[1], pit=pit, vacuum=vacuum)
        return Layout(name=name, points=(point,))
    point = SuctionPoint(name="pit", x=place[0], y=place[1], pit=pit)
    names = [p.name for p in model.points if p.on_fan and not p.fan]
    pipes = None if model.pipes is None else _one_branch(model.pipes, (names or [first.name])[0])
    return Layout(name=name, points=(point,), fan=model.fan, pipes=pipes)


def _one_branch(pipes: PipeTree, name: str) -> PipeTree:
    """The way out from one point, its first pipe named after the pit."""
    way = pipes.way_out(name)[:-1]
    if not way:  # the point stood on the discharge run itself
        return replace(pipes, pipes=())
    return replace(pipes, pipes=(replace(way[0], name="pit"), *way[1:]))


def at_vacuum(layout: Layout, vacuum: float) -> Layout:
    """A layout with every point that is in use at a stated vacuum.

    Parameters
    ----------
    layout : Layout
        The layout.
    vacuum : float
        The vacuum, positive. [Pa]

    Returns
    -------
    layout : Layout
        Without fan and pipes.
    """
    points = tuple(
        point if point.capped else replace(point, vacuum=vacuum, fan="") for point in layout.points
    )
    return replace(layout, points=points, fan=None, pipes=None, more_fans=())


def centre_place(case: Case) -> tuple[float, float]:
    """The middle of a floor, or the place in it farthest from all walls.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    place : tuple of float
        In plan. [m]
    """
    floor = case.site.slab.polygon
    x0, y0, x1, y1 = floor.bounds
    middle = Point(0.5 * (x0 + x1), 0.5 * (y0 + y1))
    if not floor.buffer(-_FARTHEST).contains(middle):
        middle = shapely.maximum_inscribed_circle(floor, tolerance=0.01).coords[0]
        middle = Point(middle)
    return round(middle.x, 6), round(middle.y, 6)


def wall_place(case: Case, pit: Pit = TWO_BUCKETS) -> tuple[float, float]:
    """As near to the middle of the longest wall as a pit may be dug.

    Parameters
    ----------
    case : Case
        The case.
    pit : HemisphericalPit, BoxPit or CylinderPit
        What is dug.

    Returns
    -------
    place : tuple of float
        In plan. [m]

    Raises
    ------
    InputError
        The pit fits nowhere near that wall.
    """
    slab = case.site.slab
    wall = max(slab.walls, key=lambda w: round(math.dist(w.start, w.end), 6))
    x, y = (0.5 * (a + b) for a, b in zip(wall.start, wall.end, strict=True))
    bounds = digging_bounds(case.site)
    for step in range(round((_FARTHEST - _ARM) / _STEP)):
        away = _ARM + step * _STEP
        place = (round(x - away * wall.outward[0], 6), round(y - away * wall.outward[1], 6))
        layout = one_pit(case, "at the wall", place, pit)
        try:
            held = layout.held_bodies(slab.polygon)
        except InputError:
            continue
        if not digging_faults(layout, held, bounds):
            return place
    raise InputError(
        f"such a pit fits nowhere within {_FARTHEST:g} m of the middle of the {wall.name} wall; "
        "take a smaller one, or name two layouts of the case",
        field="pit",
    )
