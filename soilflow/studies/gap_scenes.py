"""The same house with a settled gap in other places: nowhere, under the core, along the walls."""

from __future__ import annotations

from dataclasses import dataclass, replace

from shapely import union_all
from shapely.geometry import Polygon

from soilflow.errors import InputError
from soilflow.site.ground import SettledGap
from soilflow.site.site import Site

__all__ = ["SCENES", "GapScene", "gap_scene", "gap_scenes"]

NO_GAP, CORE, WALLS = "no-gap", "core", "walls"
SCENES = {
    NO_GAP: "no gap under the slab",
    CORE: "gap under the core",
    WALLS: "gap along the walls",
}
# A gap that ends on a band's edge does not settle with the grid: it overlaps by this. [m]
_PAST_BAND = 0.15
# Where there is no band: as far from the walls as the trench of a footing goes, a guess. [m]
_TRENCH = 0.6


@dataclass(frozen=True, kw_only=True)
class GapScene:
    """A site with its gap in one of three places.

    Parameters
    ----------
    name : str
        ``no-gap``, ``core`` or ``walls``.
    words : str
        The same on a figure, with the height of the gap.
    site : Site
        The site.
    aperture : float
        Height of the gap; 0 without one. [m]
    own : bool
        Whether the case itself has its gap there.
    """

    name: str
    words: str
    site: Site
    aperture: float
    own: bool


def gap_scene(site: Site) -> str | None:
    """Which of the three places a site's own gap lies in.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    name : str or None
        None for a gap under both core and walls, or under parts of them.
    """
    floor = site.slab.polygon
    plans = [gap.plan(floor) for gap in site.gaps if gap.aperture > 0.0]
    if not plans:
        return NO_GAP
    plan = union_all(plans)
    core = floor.buffer(-_TRENCH)
    edge = floor.difference(floor.buffer(-0.5 * _PAST_BAND))
    over_core = plan.intersection(core).area > 0.5 * core.area
    over_edge = plan.intersection(edge).area > 0.5 * edge.area
    if over_core == over_edge:
        return None
    return CORE if over_core else WALLS


def gap_scenes(site: Site, aperture: float, names: tuple[str, ...] = ()) -> tuple[GapScene, ...]:
    """The site without a gap, with one under the core, and with one along the walls.

    Where the site has a gap in one of the places, it is that gap which is shown there.

    Parameters
    ----------
    site : Site
        The site.
    aperture : float
        Height of the gaps that are not the site's own. [m]
    names : tuple of str
        Which of them, by name; empty for all.

    Returns
    -------
    scenes : tuple of GapScene
        In that order.

    Raises
    ------
    InputError
        No such scene, or a floor too narrow for one.
    """
    for name in names:
        if name not in SCENES:
            raise InputError(f'no panel "{name}"; there are {", ".join(SCENES)}', field="panel")
    own = gap_scene(site)
    scenes = []
    for name in names or tuple(SCENES):
        gaps = site.gaps if name == own else _gaps(site, name, aperture)
        high = max((gap.aperture for gap in gaps), default=0.0)
        words = SCENES[name] + (f", {1e3 * high:.3g} mm" if gaps else "")
        scenes.append(
            GapScene(
                name=name,
                words=words,
                site=replace(site, gaps=gaps),
                aperture=high,
                own=name == own,
            )
        )
    return tuple(scenes)


def _gaps(site: Site, name: str, aperture: float) -> tuple[SettledGap, ...]:
    if name == NO_GAP:
        return ()
    widths = [band.width for band in site.bands] or [_TRENCH]
    if name == CORE:
        ring = _ring(site, max(widths) + _PAST_BAND)
        return (SettledGap(name=SCENES[name], aperture=aperture, corners=ring, source="guess"),)
    least = min(widths)
    ring = _ring(site, least - _PAST_BAND if least >= 2.0 * _PAST_BAND else least + _PAST_BAND)
    return (SettledGap(name=SCENES[name], aperture=aperture, hole=ring, source="guess"),)


def _ring(site: Site, inset: float) -> tuple[tuple[float, float], ...]:
    """Corners of the floor some way in from all its walls. [m]"""
    inner = site.slab.outline.buffer(-inset, join_style="mitre")
    if not isinstance(inner, Polygon) or inner.is_empty:
        raise InputError(
            f"the floor has no one core {inset:.2g} m from all its walls for a gap to end at; ask "
            "for the panel no-gap alone",
            field="panel",
        )
    return tuple((round(x, 6), round(y, 6)) for x, y in list(inner.exterior.coords)[:-1])
