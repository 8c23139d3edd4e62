"""Shapes in plan that must have an area."""

from __future__ import annotations

from shapely import get_parts, union_all
from shapely.geometry.base import BaseGeometry

__all__ = ["only_area"]


def only_area(shape: BaseGeometry) -> BaseGeometry:
    """What has an area of a shape that two others share, without the edges they only touch at.

    Parameters
    ----------
    shape : shapely geometry
        Any. [m]

    Returns
    -------
    area : shapely geometry
        A polygon or several, or an empty shape. [m]
    """
    if "Polygon" in shape.geom_type:
        return shape
    return union_all([part for part in get_parts(shape) if part.geom_type == "Polygon"])
