"""What would fit where a pit digs too deep: a smaller one, another place, a flat pan."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import union_all
from shapely.geometry import Point

from soilflow.bounds import PLACES
from soilflow.errors import InputError
from soilflow.layout.bodies import Ball, Body
from soilflow.layout.layout import SuctionPoint
from soilflow.layout.outlines import outline_of, runs_into
from soilflow.layout.pits import (
    BoxPit,
    CylinderPit,
    HemisphericalPit,
    OnConductor,
    clipped_volume,
    cylinder_of_volume,
)
from soilflow.layout.undermining import Footings, lowest_margin, said_length
from soilflow.units import M_PER_INCH, feet_inches, format_trade

__all__ = ["what_fits"]

Array = NDArray[np.float64]

_STEP = 2.0 * M_PER_INCH  # of the raster on which other places are looked for
_ROUND = 0.5 * M_PER_INCH  # dimensions are rounded down to this
_FLATTEST = 3.0 * M_PER_INCH  # nobody digs a pan flatter than this (chosen by the project)


def what_fits(point: SuctionPoint, body: Body, bounds: Footings, others: Sequence[Body]) -> str:
    """Say what could be dug instead of a pit that may not be.

    Parameters
    ----------
    point : SuctionPoint
        The point.
    body : Body
        Its pit, as the walls leave it.
    bounds : Footings
        Where digging is bounded.
    others : sequence of Body
        The other pits.

    Returns
    -------
    advice : str
        One sentence.
    """
    if isinstance(point.pit, OnConductor):
        return ""
    ways = [
        way
        for way in (
            _smaller_here(point, body, bounds),
            _pan_here(point, bounds, others),
            _elsewhere(point, bounds, others),
        )
        if way
    ]
    if not ways:
        return "No place under this floor takes a pit of this size: make it much smaller"
    return "What fits: " + "; or ".join(ways)


def _rounded(value: float) -> float:
    """Down to half an inch. [m]"""
    return _ROUND * math.floor(value / _ROUND + 1e-9)


def _forbidden(outline: shapely.Geometry, bounds: Footings) -> bool:
    """Whether an outline meets a footing or an area where nothing may be dug."""
    solid = [f.plan for f in bounds.footings if f.plan.area > 0.0]
    return any(outline.intersects(g) for g in (*solid, *(a.polygon for a in bounds.no_dig)))


def _smaller_here(point: SuctionPoint, body: Body, bounds: Footings) -> str:
    """The deepest pit of this shape in this place."""
    if _forbidden(outline_of(body), bounds):
        return ""
    if isinstance(body, Ball):
        radius = math.inf
        for footing in bounds.footings:
            away, down = footing.plan.distance(Point(body.centre[:2])), footing.depth
            own = (down + away) / math.sqrt(2.0) if away >= down else math.hypot(down, away)
            radius = min(radius, own)
        radius = _rounded(radius)
        if radius < _FLATTEST:
            return ""
        volume = clipped_volume((point.x, point.y), radius, bounds.floor)
        return f"here a bowl of {format_trade(volume, 'volume')}, {said_length(radius)} deep"
    outline = outline_of(body)
    depth = _rounded(min(f.depth + f.plan.distance(outline) for f in bounds.footings))
    return "" if depth < _FLATTEST else f"here the same pit {said_length(depth)} deep"


def _pan_here(point: SuctionPoint, bounds: Footings, others: Sequence[Body]) -> str:
    """A flat round pit of the same volume in this place."""
    assert not isinstance(point.pit, OnConductor), "a drain is not dug"
    depth = _rounded(point.pit.depth_below_slab)
    while depth >= _FLATTEST:
        pan = cylinder_of_volume(point.pit.volume, depth=depth)
        try:
            body = pan.body(point.x, point.y, bounds.floor)
        except InputError:
            return ""  # flatter ones are wider still
        free = not _forbidden(outline_of(body), bounds)
        if free and lowest_margin(pan, body, bounds.footings)[0] >= 0.0:
            if any(runs_into(body, other) for other in others):
                return ""
            cut = " and cut by the wall" if body.radius > 0.5 * pan.diameter else ""
            return (
                f"here a flat pan of the same volume, {said_length(depth)} deep, "
                f"{said_length(2.0 * body.radius)} across{cut}"
            )
        # by half inches, in a deep shaft by hundredths of what is left
        depth -= max(_ROUND, _rounded(0.01 * depth))
    return ""


def _elsewhere(point: SuctionPoint, bounds: Footings, others: Sequence[Body]) -> str:
    """The nearest place where this pit may be dug and no wall cuts it."""
    west, south, east, north = bounds.floor.bounds
    # a coarser raster, of the same inches, where the floor has too many places
    step = _STEP * math.ceil(math.sqrt((east - west) * (north - south) / PLACES) / _STEP)
    x, y = (
        step * np.arange(math.ceil(low / step), math.floor(high / step) + 1)
        for low, high in ((west, east), (south, north))
    )
    xx, yy = (axis.ravel() for axis in np.meshgrid(x, y, indexing="ij"))
    away = np.hypot(xx - point.x, yy - point.y)
    fits = _may_be_dug(point.pit, xx, yy, bounds, others)
    if not fits.any():
        return ""
    best = int(np.flatnonzero(fits)[np.argmin(away[fits])])
    return (
        f"this pit {said_length(float(away[best]))} away, at x = {feet_inches(float(xx[best]))}, "
        f"y = {feet_inches(float(yy[best]))}"
    )


def _may_be_dug(
    pit: HemisphericalPit | BoxPit | CylinderPit | OnConductor,
    x: Array,
    y: Array,
    bounds: Footings,
    others: Sequence[Body],
) -> NDArray[np.bool_]:
    """In which of many places a pit may be dug, uncut by walls and clear of other pits."""
    assert not isinstance(pit, OnConductor), "a drain is not dug"
    if isinstance(pit, BoxPit):
        a, b = 0.5 * pit.length, 0.5 * pit.width
        shape, reach = shapely.box(x - a, y - b, x + a, y + b), 0.0
    else:
        shape = shapely.points(x, y)
        reach = pit.free_radius if isinstance(pit, HemisphericalPit) else 0.5 * pit.diameter
    inside = shapely.covers(bounds.floor, shape)
    fits = inside & (shapely.distance(shape, bounds.floor.exterior) >= reach)
    solid = [f.plan for f in bounds.footings if f.plan.area > 0.0]
    taken = union_all([*solid, *(a.polygon for a in bounds.no_dig), *map(outline_of, others)])
    if not taken.is_empty:
        fits &= shapely.distance(shape, taken) >= reach + 0.02
    for footing in bounds.footings:
        space = shapely.distance(shape, footing.plan)
        if isinstance(pit, HemisphericalPit):
            slope = footing.depth + space - math.sqrt(2.0) * reach
            steep = footing.depth - np.sqrt(np.maximum(reach**2 - space**2, 0.0))
            fits &= np.where(space >= reach / math.sqrt(2.0), slope, steep) >= 0.0
        else:
            fits &= footing.depth + space - reach >= pit.depth_below_slab
    return np.asarray(fits, dtype=bool)
