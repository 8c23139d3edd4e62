"""One number of a site turned over a range: the axes of a map, and what they mean on any scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.site.leaks import FloorWallJoint
from soilflow.site.site import Site
from soilflow.site.walls import ExteriorBackfill, PerimeterBand

__all__ = ["AXES", "SiteAxis", "log_spaced", "site_axis"]

Array = NDArray[np.float64]

# Where a case has no band or no disturbed yard of its own: the dug trench of an ordinary footing.
# Guesses. [m]
_BAND_WIDTH, _BAND_DEPTH = 0.6, 1.0
_YARD_WIDTH, _YARD_DEPTH = 20.0, 1.0


@dataclass(frozen=True, kw_only=True)
class SiteAxis:
    """A number of a site that a map turns.

    Parameters
    ----------
    name : str
        What the user calls it.
    words : str
        What it is, on an axis.
    rises : str
        What happens along the axis, as part of a sentence.
    dimension : str
        How the number is typed: ``ratio``, ``length`` or ``permeability``.
    low, high : float
        Ends of the range when none is given. [SI]
    change : callable
        Takes a site and a value; gives the site with that value.
    value_of : callable
        Takes a site; gives its value, or None where it has none or several.
    scale : callable
        Takes a site and a value; gives the value without dimension.
    scaled : str
        What the value without dimension is, on an axis.
    """

    name: str
    words: str
    rises: str
    dimension: str
    low: float
    high: float
    change: Callable[[Site, float], Site]
    value_of: Callable[[Site], float | None]
    scale: Callable[[Site, float], float]
    scaled: str


def log_spaced(low: float, high: float, count: int) -> Array:
    """Values at equal ratios.

    Parameters
    ----------
    low, high : float
        First and last. [SI]
    count : int
        How many.

    Returns
    -------
    values : array, shape (count,)
        Rising. [SI]

    Raises
    ------
    InputError
        Fewer than two, or ends that are not positive and rising.
    """
    if count < 2:
        raise InputError(f"{count}: at least 2 points along each axis", field="points")
    if not 0.0 < low < high:
        raise InputError(
            f"from {low:g} to {high:g}: two numbers above 0 are needed, the smaller one first",
            field="range",
        )
    return np.geomspace(low, high, count)


def site_axis(name: str) -> SiteAxis:
    """An axis by name.

    Parameters
    ----------
    name : str
        Its name.

    Returns
    -------
    axis : SiteAxis
        The axis.

    Raises
    ------
    InputError
        No such axis.
    """
    if name not in AXES:
        raise InputError(f'no axis "{name}"; there are {", ".join(AXES)}', field="axis")
    return AXES[name]


def _under_slab(site: Site) -> float:
    """Permeability of what lies right under the slab, band and patches aside. [m2]"""
    if site.fill is not None:
        return site.fill.permeability
    return site.ground.layers[0].permeability


def _only(values: set[float]) -> float | None:
    return values.pop() if len(values) == 1 else None


def _with_band(site: Site, looser_by: float) -> Site:
    bands = site.bands or (
        PerimeterBand(width=_BAND_WIDTH, depth=_BAND_DEPTH, looser_by=1.0, source="guess"),
    )
    return replace(site, bands=tuple(replace(band, looser_by=looser_by) for band in bands))


def _band(site: Site) -> float | None:
    return _only({band.looser_by for band in site.bands}) if site.bands else 1.0


def _with_joint(site: Site, aperture: float) -> Site:
    joints = site.joints or (FloorWallJoint(aperture=aperture, source="guess"),)
    return replace(
        site, joints=tuple(j if j.sealed else replace(j, aperture=aperture) for j in joints)
    )


def _joint(site: Site) -> float | None:
    return _only({joint.aperture for joint in site.joints if not joint.sealed})


def _joint_openness(site: Site, aperture: float) -> float:
    return aperture**3 / (12.0 * site.slab.thickness * _under_slab(site))


def _slab_openness(site: Site, permeability: float) -> float:
    x0, y0, x1, y1 = site.slab.polygon.bounds
    half = 0.5 * min(x1 - x0, y1 - y0)
    return permeability * half / (site.slab.thickness * _under_slab(site))


def _with_yard(site: Site, looser_by: float) -> Site:
    backfill = site.backfill or ExteriorBackfill(
        width=_YARD_WIDTH, depth=_YARD_DEPTH, looser_by=1.0, source="guess"
    )
    return replace(site, backfill=replace(backfill, looser_by=looser_by))


def _as_it_is(_: Site, value: float) -> float:
    return value


AXES = {
    axis.name: axis
    for axis in (
        SiteAxis(
            name="band",
            words="soil along the walls looser by",
            rises="the soil along the walls gets looser",
            dimension="ratio",
            low=1.0,
            high=30.0,
            change=_with_band,
            value_of=_band,
            scale=_as_it_is,
            scaled="band permeability over that of the floor's soil",
        ),
        SiteAxis(
            name="joint",
            words="joint between floor and wall",
            rises="the joint between floor and wall opens",
            dimension="length",
            low=2e-5,
            high=1e-3,
            change=_with_joint,
            value_of=_joint,
            scale=_joint_openness,
            scaled="joint conductance per metre over soil mobility, w\u00b3 / (12 t k)",
        ),
        SiteAxis(
            name="slab",
            words="air permeability of the slab",
            rises="the slab lets more air through",
            dimension="permeability",
            low=1e-16,
            high=1e-12,
            change=lambda site, value: replace(site, slab=replace(site.slab, permeability=value)),
            value_of=lambda site: site.slab.permeability,
            scale=_slab_openness,
            scaled="slab leak over soil under half the width, k_slab B / (t k)",
        ),
        SiteAxis(
            name="yard",
            words="soil of the yard looser by",
            rises="the soil of the yard gets looser",
            dimension="ratio",
            low=1.0,
            high=30.0,
            change=_with_yard,
            value_of=lambda site: site.backfill.looser_by if site.backfill else 1.0,
            scale=_as_it_is,
            scaled="yard permeability over that of the floor's soil",
        ),
    )
}
