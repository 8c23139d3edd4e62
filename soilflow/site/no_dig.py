"""Parts of the floor where nothing may be dug."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon

from soilflow.site.plan import outline_polygon
from soilflow.units import Coordinate, check_fields

__all__ = ["NoDig"]


@dataclass(frozen=True, kw_only=True)
class NoDig:
    """A part of the floor no pit may touch: pipes below it, a tank, a hearth, post-tension cables.

    It does nothing to the air.

    Parameters
    ----------
    name : str
        What is there.
    corners : tuple of (float, float)
        Its outline in plan. [m]
    source : str
        Who found it, and how.
    """

    name: str
    corners: tuple[tuple[Coordinate, Coordinate], ...]
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _ = self.polygon

    @cached_property
    def polygon(self) -> Polygon:
        """Plan of it. [m]"""
        return outline_polygon(self.corners)
