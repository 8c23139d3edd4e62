"""Bodies seen from above: their outline, and whether two of them meet."""

from __future__ import annotations

from shapely.geometry import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from soilflow.layout.bodies import Ball, Body, Brick, Cylinder

__all__ = ["outline_of", "runs_into"]

# Two pits need at least this much soil between them (chosen by the project). [m]
_LEAST = 0.01


def outline_of(body: Body) -> BaseGeometry:
    """Outline of a body in plan.

    Parameters
    ----------
    body : Body
        A pit's body.

    Returns
    -------
    outline : shapely geometry
        Empty for a drain, which has none of its own. [m]
    """
    if isinstance(body, Brick):
        return box(*body.low[:2], *body.high[:2])
    if isinstance(body, Ball | Cylinder):
        disk = Point(body.centre[:2]).buffer(body.radius, quad_segs=64)
        return disk if body.clip is None else disk.intersection(body.clip)
    return Polygon()


def runs_into(a: Body, b: Body) -> bool:
    """Whether two pits share soil, or leave less than 1 cm between them.

    Parameters
    ----------
    a, b : Body
        Their bodies.

    Returns
    -------
    meets : bool
        False for a drain.
    """
    one, other = outline_of(a), outline_of(b)
    return not (one.is_empty or other.is_empty) and one.distance(other) < _LEAST
