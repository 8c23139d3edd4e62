"""Sealed sumps as suction points: the water in them, which lets no air through."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

from soilflow.layout.bodies import Brick
from soilflow.layout.pits import BoxPit, CylinderPit, Pit
from soilflow.site.effects import Effect, MultipliesPermeability, Prism

__all__ = ["standing_water"]

Array = NDArray[np.float64]


def standing_water(pit: Pit, x: float, y: float, footprint: Polygon) -> tuple[Effect, ...]:
    """The water in a sump takes the air's place below its level (mechanism 1).

    Parameters
    ----------
    pit : Pit
        A pit, with water in it or not.
    x, y : float
        Its centre in plan. [m]
    footprint : shapely.Polygon
        Inner wall faces, counter-clockwise. [m]

    Returns
    -------
    effects : tuple of Effect
        One region without an air path, or none.
    """
    if not isinstance(pit, BoxPit | CylinderPit) or pit.water_level is None:
        return ()
    body = pit.body(x, y, footprint)
    if isinstance(body, Brick):
        plan = box(*body.low[:2], *body.high[:2])
        where = Prism(plan=plan, top=pit.water_level, bottom=pit.depth)
        return (MultipliesPermeability(where=where, factor=0.0),)
    (cx, cy), r = body.centre, body.radius
    around = box(cx - r, cy - r, cx + r, cy + r)
    if body.clip is not None:
        around = around.intersection(body.clip)

    def dry(x: Array, y: Array, z: Array) -> Array:
        outside = (x - cx) ** 2 + (y - cy) ** 2 >= r * r
        return np.asarray(outside & np.isfinite(z), dtype=float)

    where = Prism(plan=around, top=pit.water_level, bottom=pit.depth)
    return (MultipliesPermeability(where=where, factor=dry),)
