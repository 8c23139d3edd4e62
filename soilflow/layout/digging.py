"""Which pits may not be dug: those that undermine a footing or touch where nothing may be dug."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.layout.bodies import Body
from soilflow.layout.digging_advice import what_fits
from soilflow.layout.layout import Layout
from soilflow.layout.outlines import outline_of
from soilflow.layout.pits import OnConductor, Pit
from soilflow.layout.undermining import Footing, Footings, lowest_margin, said_length
from soilflow.site.site import Site

__all__ = ["DiggingFault", "digging_bounds", "digging_faults", "water_notes"]

# A pit may touch the line; less than this is rounding. [m]
_ROUNDING = 1e-6


@dataclass(frozen=True, kw_only=True)
class DiggingFault:
    """A pit that must not be dug where it is.

    Parameters
    ----------
    point : int
        Its suction point, counted in the layout.
    message : str
        What it digs away, and what would work.
    """

    point: int
    message: str


def digging_bounds(site: Site) -> Footings:
    """Everything on a site that bounds digging.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    bounds : Footings
        The inner bottom edge of the footings along the walls, footings inside, no-dig areas.
    """
    floor = site.slab.polygon
    around = Footing(
        name="footing along the walls", plan=floor.exterior, depth=site.walls.footing_depth
    )
    inside = [
        Footing(name=f'footing "{noun.name}"', plan=noun.plan(), depth=noun.depth)
        for noun in site.footings
    ]
    return Footings(floor=floor, footings=(around, *inside), no_dig=site.no_dig)


def digging_faults(layout: Layout, bounds: Footings) -> tuple[DiggingFault, ...]:
    """Pits of a layout that would undermine a footing, or touch an area where none may be dug.

    Parameters
    ----------
    layout : Layout
        The layout.
    bounds : Footings
        Where digging is bounded.

    Returns
    -------
    faults : tuple of DiggingFault
        At most one for each point, in their order; each says what would fit.
    """
    held = layout.held_bodies(bounds.floor)
    found = []
    for i, point in enumerate(layout.points):
        if isinstance(point.pit, OnConductor):
            continue
        words = _complaint(point.name, point.pit, held[i].body, bounds)
        if words:
            others = [item.body for j, item in enumerate(held) if j != i]
            advice = what_fits(point, held[i].body, bounds, others)
            found.append(DiggingFault(point=i, message=f"{words}. {advice}"))
    return tuple(found)


def _complaint(name: str, pit: Pit, body: Body, bounds: Footings) -> str:
    outline = outline_of(body).buffer(-_ROUNDING)
    for area in bounds.no_dig:
        if outline.intersects(area.polygon):
            return f'the pit "{name}" reaches into "{area.name}", where nothing may be dug'
    for footing in bounds.footings:
        if outline.intersects(footing.plan):
            return f'the pit "{name}" runs into the {footing.name}'
    margin, footing = lowest_margin(pit, body, bounds.footings)
    if margin >= -_ROUNDING:
        return ""
    depth = "level with the slab" if footing.depth == 0.0 else f"{said_length(footing.depth)} down"
    return (
        f'the pit "{name}" digs up to {said_length(-margin)} too deep: it crosses the line that '
        f"falls outward at 45 degrees from the bottom edge of the {footing.name}, {depth}"
    )


def water_notes(layout: Layout, water_table: float | None) -> tuple[str, ...]:
    """Pits that would stand in water.

    Parameters
    ----------
    layout : Layout
        The layout.
    water_table : float or None
        Depth of the water table below the slab underside; None when nobody knows it. [m]

    Returns
    -------
    notes : tuple of str
        One sentence for each such pit.
    """
    if water_table is None:
        return ()
    return tuple(
        f'the pit "{point.name}" reaches {said_length(point.pit.depth_below_slab)} down and the '
        f"water table lies at {said_length(water_table)}: it would stand in water, which no run "
        "here knows of; look for the highest level of the year and dig shallower"
        for point in layout.points
        if not isinstance(point.pit, OnConductor) and point.pit.depth_below_slab > water_table
    )
