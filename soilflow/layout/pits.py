"""Suction pits: how much soil is dug out, and what shape the walls leave it.

A sealed sump is a cylinder or a box with water standing in it. Gravel in one changes nothing.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from shapely.geometry import Polygon, box

from soilflow.errors import InputError
from soilflow.layout.bodies import Ball, Brick, Cylinder, OnLine
from soilflow.site.plan import disk_area_in
from soilflow.units import Depth, Length, Ratio, Volume, check_fields

__all__ = [
    "BoxPit",
    "CylinderPit",
    "HemisphericalPit",
    "OnConductor",
    "Pit",
    "clipped_volume",
    "cylinder_of_volume",
]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


def clipped_volume(centre: tuple[float, float], radius: float, footprint: Polygon) -> float:
    """Volume of the half ball below a slab that lies inside a footprint.

    .. math:: V = \\int_0^r A(\\sqrt{r^2 - z^2}) dz

    with A the area of a disk inside the footprint.

    Parameters
    ----------
    centre : tuple of float
        Centre in plan. [m]
    radius : float
        Radius. [m]
    footprint : shapely.Polygon
        Inner wall faces, counter-clockwise. [m]

    Returns
    -------
    volume : float
        Air volume of the pit. [m3]
    """
    corners = np.asarray(footprint.exterior.coords)[:-1]
    offset = corners - np.asarray(centre)
    # the area's slope breaks where the disk first meets a wall or a corner: integrate in between
    met = np.concatenate([np.abs(offset).ravel(), np.hypot(offset[:, 0], offset[:, 1])])
    breaks = np.arccos(np.unique(met[met < radius]) / radius)
    ends = np.unique(np.concatenate([[0.0, 0.5 * math.pi], breaks]))
    total = 0.0
    for low, high in itertools.pairwise(ends):
        angles = low + 0.5 * (high - low) * (_NODES + 1.0)
        areas = [disk_area_in(centre, radius * math.cos(t), corners) for t in angles]
        total += 0.5 * (high - low) * float(np.sum(_WEIGHTS * np.cos(angles) * areas))
    return radius * total


@dataclass(frozen=True, kw_only=True)
class HemisphericalPit:
    """A bowl dug through a core hole.

    Parameters
    ----------
    volume : float
        Air volume dug out; a wall that cuts the bowl off makes it wider, not smaller. [m3]
    smear : float
        Thickness of the soil packed onto the pit's wall and bottom in digging. [m]
    smear_ratio : float
        Permeability of that soil relative to the soil it was, at most 1. [-]

    Examples
    --------
    Two 5-gallon buckets make a bowl of 0.262 m radius.

    >>> round(HemisphericalPit(volume=0.0378541).free_radius, 3)
    0.262
    """

    volume: Volume
    smear: Depth = 0.0
    smear_ratio: Ratio = 1.0

    def __post_init__(self) -> None:
        check_fields(self)
        _check_smear(self)

    @property
    def free_radius(self) -> float:
        """Radius of the bowl away from walls. [m]"""
        return float((1.5 * self.volume / math.pi) ** (1.0 / 3.0))

    @property
    def depth_below_slab(self) -> float:
        """Depth of the bowl away from walls. [m]"""
        return self.free_radius

    def body(self, x: float, y: float, footprint: Polygon) -> Ball:
        """The held body of the pit.

        Parameters
        ----------
        x, y : float
            Centre in plan. [m]
        footprint : shapely.Polygon
            Inner wall faces, counter-clockwise. [m]

        Returns
        -------
        body : Ball
            Cut to the footprint, with the radius that keeps the volume.

        Raises
        ------
        InputError
            The volume does not fit under the floor.
        """
        radius = _widened(
            self.free_radius,
            self.volume,
            lambda wider: clipped_volume((x, y), wider, footprint) / self.volume - 1.0,
        )
        return Ball(centre=(x, y, 0.0), radius=radius, clip=footprint)


@dataclass(frozen=True, kw_only=True)
class BoxPit:
    """A square-cut pit.

    Parameters
    ----------
    length : float
        Size along x, east. [m]
    width : float
        Size along y, north. [m]
    depth : float
        Depth below the slab underside. [m]
    smear : float
        Thickness of the soil packed onto the pit's wall and bottom in digging. [m]
    smear_ratio : float
        Permeability of that soil relative to the soil it was, at most 1. [-]
    water_level : float or None
        Depth of the water that stands in it, as in a sump; only what lies above it draws. [m]
    """

    length: Length
    width: Length
    depth: Length
    smear: Depth = 0.0
    smear_ratio: Ratio = 1.0
    water_level: Length | None = None

    def __post_init__(self) -> None:
        check_fields(self)
        _check_smear(self)
        _check_water(self)

    @property
    def volume(self) -> float:
        """Air volume dug out. [m3]"""
        return self.length * self.width * self.depth

    @property
    def depth_below_slab(self) -> float:
        """Depth of the pit. [m]"""
        return self.depth

    def body(self, x: float, y: float, footprint: Polygon) -> Brick:
        """The held body of the pit; one that would reach into a wall is moved along to clear it.

        Parameters
        ----------
        x, y : float
            Centre in plan. [m]
        footprint : shapely.Polygon
            Inner wall faces. [m]

        Returns
        -------
        body : Brick
            The pit, wholly inside the footprint.

        Raises
        ------
        InputError
            It fits nowhere nearby.
        """
        ring = np.asarray(footprint.exterior.coords)[:-1]
        half = (0.5 * self.length, 0.5 * self.width)
        shifts = [
            sorted(
                {0.0, *(v - c + h for v in ring[:, a]), *(v - c - h for v in ring[:, a])}, key=abs
            )
            for a, (c, h) in enumerate(zip((x, y), half, strict=True))
        ]
        tries = [
            (abs(dx) + abs(dy), dx, dy)
            for dx in shifts[0]
            for dy in shifts[1]
            if abs(dx) <= self.length and abs(dy) <= self.width
        ]
        for _, dx, dy in sorted(tries):
            low = (float(x + dx - half[0]), float(y + dy - half[1]), 0.0)
            high = (float(x + dx + half[0]), float(y + dy + half[1]), _air_depth(self))
            if footprint.buffer(1e-9).covers(box(low[0], low[1], high[0], high[1])):
                return Brick(low=low, high=high)
        raise InputError(
            f"a box pit of {self.length:g} x {self.width:g} m does not fit under the floor here",
            field="pit",
        )


@dataclass(frozen=True, kw_only=True)
class CylinderPit:
    """A round pit with an upright wall and a flat bottom: a sump, or shallow, a wide pan.

    Parameters
    ----------
    diameter : float
        Diameter; a wall that cuts the pit off makes it wider, so that the volume stays. [m]
    depth : float
        Depth below the slab underside. [m]
    smear : float
        Thickness of the soil packed onto the pit's wall and bottom in digging. [m]
    smear_ratio : float
        Permeability of that soil relative to the soil it was, at most 1. [-]
    water_level : float or None
        Depth of the water that stands in it, as in a sump; only what lies above it draws. [m]
    """

    diameter: Length
    depth: Length
    smear: Depth = 0.0
    smear_ratio: Ratio = 1.0
    water_level: Length | None = None

    def __post_init__(self) -> None:
        check_fields(self)
        _check_smear(self)
        _check_water(self)

    @property
    def volume(self) -> float:
        """Air volume dug out. [m3]"""
        return 0.25 * math.pi * self.diameter**2 * self.depth

    @property
    def depth_below_slab(self) -> float:
        """Depth of the pit. [m]"""
        return self.depth

    def body(self, x: float, y: float, footprint: Polygon) -> Cylinder:
        """The held body of the pit.

        Parameters
        ----------
        x, y : float
            Centre in plan. [m]
        footprint : shapely.Polygon
            Inner wall faces, counter-clockwise. [m]

        Returns
        -------
        body : Cylinder
            Cut to the footprint, with the radius that keeps the volume.

        Raises
        ------
        InputError
            The volume does not fit under the floor.
        """
        free = 0.5 * self.diameter
        corners = np.asarray(footprint.exterior.coords)[:-1]
        wanted = math.pi * free**2
        radius = _widened(
            free, self.volume, lambda wider: disk_area_in((x, y), wider, corners) / wanted - 1.0
        )
        return Cylinder(
            centre=(x, y), radius=radius, top=0.0, bottom=_air_depth(self), clip=footprint
        )


def cylinder_of_volume(
    volume: float, *, depth: float | None = None, diameter: float | None = None
) -> CylinderPit:
    """A round pit by the air it holds and one of its dimensions.

    Parameters
    ----------
    volume : float
        Air volume dug out. [m3]
    depth : float or None
        Depth below the slab underside. [m]
    diameter : float or None
        Diameter. [m]

    Returns
    -------
    pit : CylinderPit
        With the dimension that was left open.

    Raises
    ------
    InputError
        Both dimensions are given, or neither.

    Examples
    --------
    Two 5-gallon buckets spread out 4 inches deep:

    >>> round(cylinder_of_volume(0.0378541, depth=0.1016).diameter, 3)
    0.689
    """
    if depth is not None and diameter is None:
        return CylinderPit(diameter=math.sqrt(4.0 * volume / (math.pi * depth)), depth=depth)
    if diameter is not None and depth is None:
        return CylinderPit(diameter=diameter, depth=4.0 * volume / (math.pi * diameter**2))
    raise InputError("a volume needs one of depth and diameter beside it", field="volume")


@dataclass(frozen=True, kw_only=True)
class OnConductor:
    """No pit of its own: the point draws on a drain tile or trench that is there already.

    Parameters
    ----------
    line : str
        Name of the drain.
    """

    line: str

    def __post_init__(self) -> None:
        check_fields(self)

    def body(self, x: float, y: float, footprint: Polygon) -> OnLine:
        """The held body: the drain itself.

        Parameters
        ----------
        x, y : float
            Where the riser stands, which does not matter to the flow. [m]
        footprint : shapely.Polygon
            Inner wall faces. [m]

        Returns
        -------
        body : OnLine
            The drain.
        """
        return OnLine(line=self.line)


Pit = HemisphericalPit | BoxPit | CylinderPit | OnConductor


def _widened(free: float, volume: float, short: Callable[[float], float]) -> float:
    """Radius at which nothing is short of the volume, the free one where no wall cuts it. [m]"""
    if short(free) > -1e-9:
        return free
    high = 1.3 * free
    while short(high) < 0.0:
        high *= 1.3
        if high > 10.0 * free:
            raise InputError(f"a pit of {volume:.3g} m3 does not fit under this floor", field="pit")
    from scipy.optimize import brentq  # 0.25 s, and only a pit that a wall cuts needs it

    return float(brentq(short, free, high, xtol=1e-12))


def _air_depth(pit: BoxPit | CylinderPit) -> float:
    """Depth down to which a pit holds air. [m]"""
    return pit.depth if pit.water_level is None else pit.water_level


def _check_water(pit: BoxPit | CylinderPit) -> None:
    if pit.water_level is not None and pit.water_level >= pit.depth:
        raise InputError(
            f"water at {pit.water_level:g} m below the slab in a pit {pit.depth:g} m deep: a dry "
            "pit needs no water_level, leave it out",
            field="water_level",
        )


def _check_smear(pit: HemisphericalPit | BoxPit | CylinderPit) -> None:
    if pit.smear_ratio > 1.0:
        raise InputError(
            f"{pit.smear_ratio:g}: packed soil passes no more air than before; give 1 or less",
            field="smear_ratio",
        )
