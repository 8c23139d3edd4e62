"""Which pits may not be dug: under footings, where nothing may be dug, into another's drain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from shapely.geometry import Point
from shapely.ops import nearest_points

from soilflow.layout.bodies import Body, HeldBody
from soilflow.layout.digging_advice import what_fits
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.outlines import outline_of
from soilflow.layout.pits import OnConductor, Pit
from soilflow.layout.undermining import Footing, Footings, lowest_margin, said_length
from soilflow.site.conductors import LineConductor
from soilflow.site.site import Site

__all__ = [
    "DiggingFault",
    "digging_bounds",
    "digging_complaint",
    "digging_faults",
    "drain_faults",
    "meets_drain",
    "water_notes",
]

# A pit may touch the line; less than this is rounding. [m]
_ROUNDING = 1e-6
# How far beside a drain a riser can reach it through its own hole: an arm under the slab (chosen
# by the project). [m]
_REACH = 0.3


@dataclass(frozen=True, kw_only=True)
class DiggingFault:
    """A suction point that cannot be where it is.

    Parameters
    ----------
    point : int
        The point, counted in the layout.
    message : str
        What is wrong, and what would work.
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


def digging_faults(
    layout: Layout, held: Sequence[HeldBody], bounds: Footings
) -> tuple[DiggingFault, ...]:
    """Pits of a layout that would undermine a footing, or touch an area where none may be dug.

    Parameters
    ----------
    layout : Layout
        The layout.
    held : sequence of HeldBody
        The bodies of its points.
    bounds : Footings
        Where digging is bounded.

    Returns
    -------
    faults : tuple of DiggingFault
        At most one for each point, in their order; each says what would fit.
    """
    found = []
    for i, point in enumerate(layout.points):
        if isinstance(point.pit, OnConductor):
            continue
        words = digging_complaint(point.name, point.pit, held[i].body, bounds)
        if words:
            others = [item.body for j, item in enumerate(held) if j != i]
            advice = what_fits(point, held[i].body, bounds, others)
            found.append(DiggingFault(point=i, message=f"{words}. {advice}"))
    return tuple(found)


def digging_complaint(name: str, pit: Pit, body: Body, bounds: Footings) -> str:
    """Say what forbids a pit where it is.

    Parameters
    ----------
    name : str
        Name of the point.
    pit : Pit
        What is dug.
    body : Body
        Where, and what the walls leave of it.
    bounds : Footings
        Where digging is bounded.

    Returns
    -------
    complaint : str
        Empty when nothing does.
    """
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


def drain_faults(
    layout: Layout, held: Sequence[HeldBody], drains: Sequence[LineConductor]
) -> tuple[DiggingFault, ...]:
    """Points on drains that are not there or not theirs, and pits dug into another point's drain.

    Parameters
    ----------
    layout : Layout
        The layout.
    held : sequence of HeldBody
        The bodies of its points.
    drains : sequence of LineConductor
        Drain tiles, trenches and channels of the site.

    Returns
    -------
    faults : tuple of DiggingFault
        At most one for each point, in their order.
    """
    by_name = {drain.name: drain for drain in drains}
    owners = {p.pit.line: p.name for p in layout.points if isinstance(p.pit, OnConductor)}
    found = []
    for i, point in enumerate(layout.points):
        if isinstance(point.pit, OnConductor):
            message = _drain_complaint(point, point.pit.line, by_name)
        else:
            message = next(
                (
                    f'the pit "{point.name}" runs into the drain "{name}", which has the pressure '
                    f'of "{owner}"; leave soil between them'
                    for name, owner in _tied(by_name, owners)
                    if meets_drain(point.pit, held[i].body, by_name[name])
                ),
                "",
            )
        if message:
            found.append(DiggingFault(point=i, message=message))
    return tuple(found)


def _drain_complaint(point: SuctionPoint, line: str, by_name: Mapping[str, LineConductor]) -> str:
    if line not in by_name:
        have = ", ".join(f'"{name}"' for name in by_name) or "none"
        return f'no drain "{line}" on this site; it has {have}'
    if open_to := by_name[line].open_to:
        return (
            f'the drain "{line}" is open to "{open_to}" and has its pressure; a point can draw on '
            "it once it is closed: leave out open_to"
        )
    course, riser = by_name[line].line, Point(point.x, point.y)
    away = course.distance(riser) - 0.5 * by_name[line].width
    if away > _REACH:
        there = nearest_points(course, riser)[0]
        return (
            f'the riser "{point.name}" stands {said_length(away)} beside the drain "{line}" it '
            f"draws on, more than {said_length(_REACH)}; put it at x = {said_length(there.x)}, "
            f"y = {said_length(there.y)}, or dig a pit of its own"
        )
    return ""


def _tied(
    by_name: Mapping[str, LineConductor], owners: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Drains whose pressure is given, and by what."""
    for name, drain in by_name.items():
        owner = owners.get(name) or drain.open_to
        if owner:
            yield name, owner


def meets_drain(pit: Pit, body: Body, drain: LineConductor) -> bool:
    """Whether a pit is dug into a drain, the bowl taken as deep at its rim as in the middle.

    Parameters
    ----------
    pit : Pit
        What is dug.
    body : Body
        Where, and what the walls leave of it.
    drain : LineConductor
        Drain tile, trench or channel.

    Returns
    -------
    meets : bool
        True also where they just touch.
    """
    assert not isinstance(pit, OnConductor), "a drain is not dug"
    near = outline_of(body).distance(drain.line) < 0.5 * drain.width
    return near and drain.axis_depth < pit.depth_below_slab


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
