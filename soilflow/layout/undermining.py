"""The digging rule: soil under a footing carries load, and a pit must leave it alone.

No pit goes below a line that runs down and out at 45 degrees from the bottom edge of a footing:
at a distance s from a footing whose bottom lies d down, soil may be dug to d + s. A depth nobody
knows counts as level with the slab underside.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from soilflow.layout.bodies import Ball, Body
from soilflow.layout.outlines import outline_of
from soilflow.layout.pits import OnConductor, Pit
from soilflow.units import feet_inches

__all__ = ["Area", "Footing", "Footings", "lowest_margin", "said_length"]


@dataclass(frozen=True, kw_only=True)
class Footing:
    """What stands on soil that must stay.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    plan : shapely geometry
        The lower edge that counts, a line, or the area it stands on. [m]
    depth : float
        Depth of its bottom below the slab underside; 0 when nobody knows it. [m]
    """

    name: str
    plan: BaseGeometry
    depth: float


class Area(Protocol):
    """A named part of the floor."""

    @property
    def name(self) -> str:
        """What it is called on the plan."""

    @property
    def polygon(self) -> Polygon:
        """Its outline. [m]"""


@dataclass(frozen=True, kw_only=True)
class Footings:
    """Where under a floor digging is bounded.

    Parameters
    ----------
    floor : shapely.Polygon
        Inner wall faces. [m]
    footings : tuple of Footing
        Footings along the walls and inside, pads, chimney bases.
    no_dig : tuple of Area
        Areas no pit may touch. [m]
    """

    floor: Polygon
    footings: tuple[Footing, ...]
    no_dig: tuple[Area, ...] = ()


def _margin(pit: Pit, body: Body, footing: Footing) -> float:
    """How far a pit stays above the line from a footing, negative if it crosses it. [m]"""
    if isinstance(body, Ball):
        reach, away = body.radius, footing.plan.distance(Point(body.centre[:2]))
        # a bowl comes nearest to the line where it slopes like it, or at the footing itself
        if away >= reach / math.sqrt(2.0):
            return footing.depth + away - math.sqrt(2.0) * reach
        return footing.depth - math.sqrt(reach**2 - away**2)
    assert not isinstance(pit, OnConductor), "a drain is not dug"
    return footing.depth + footing.plan.distance(outline_of(body)) - pit.depth_below_slab


def lowest_margin(pit: Pit, body: Body, footings: Sequence[Footing]) -> tuple[float, Footing]:
    """How far a pit stays above the line from the footing that allows least.

    Parameters
    ----------
    pit : Pit
        What is dug.
    body : Body
        Where, and what the walls leave of it.
    footings : sequence of Footing
        At least one.

    Returns
    -------
    margin : float
        Negative when the pit crosses the line. [m]
    footing : Footing
        The footing.
    """
    margins = [_margin(pit, body, footing) for footing in footings]
    least = min(range(len(margins)), key=margins.__getitem__)
    return margins[least], footings[least]


def said_length(value: float) -> str:
    """A length in both kinds of unit.

    Parameters
    ----------
    value : float
        The length. [m]

    Returns
    -------
    words : str
        Such as ``1 ft 6 in (0.46 m)``.
    """
    return f"{feet_inches(value)} ({value:.2f} m)"
