"""Where the air comes from: which openings, rooms and yards feed each suction point."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point
from shapely.geometry.base import BaseGeometry

from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.flow.tracer import AirTrace, Crossings, air_paths, trace_air
from soilflow.results.solved import SoilSolution
from soilflow.site.effects import HOUSE
from soilflow.site.site import Site
from soilflow.units import M3S_PER_CFM

__all__ = ["AirSources", "AirStream", "air_sources"]

Array = NDArray[np.float64]

GROUND, PIPE, SLAB, WALLS = "ground", "pipe", "slab", "walls"


@dataclass(frozen=True, kw_only=True)
class AirStream:
    """Air that crosses between the soil and one place, through one kind of way.

    Parameters
    ----------
    place : str
        The house, another room, the outdoors, a yard; or a suction point whose pipe blows.
    through : str
        Name of the joint, crack, opening, bare soil or drain; "slab", "walls" or "ground" for
        what has no name, "pipe" for what comes out of a pipe.
    flow : float
        Volume at atmospheric pressure, positive. [m3/s]
    goes_to : mapping of str to float
        Where it ends: flow by room, outdoors and suction point; empty for air on its way out of
        the soil. [m3/s]
    """

    place: str
    through: str
    flow: float
    goes_to: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class AirSources:
    """All air that enters the soil, and where each part of it ends up.

    Parameters
    ----------
    points : tuple of str
        The suction points.
    entering : tuple of AirStream
        What enters the soil, the largest first.
    leaving : tuple of AirStream
        What leaves it again into rooms and outdoors, the largest first.
    lost : float
        Largest difference between what arrives and what flows in, relative to all there is. [-]
    """

    points: tuple[str, ...]
    entering: tuple[AirStream, ...]
    leaving: tuple[AirStream, ...]
    lost: float

    def flow(self, place: str, *destinations: str) -> float:
        """Air from one place to others through the soil.

        Parameters
        ----------
        place : str
            Where it enters the soil.
        *destinations : str
            Where it ends; none for all suction points together.

        Returns
        -------
        flow : float
            Volume at atmospheric pressure. [m3/s]
        """
        wanted = destinations or self.points
        mine = [stream.goes_to for stream in self.entering if stream.place == place]
        return sum(to.get(name, 0.0) for to in mine for name in wanted)

    def share(self, place: str, *destinations: str) -> float:
        """Part of the air at some destinations that came from one place.

        Parameters
        ----------
        place : str
            Where it entered the soil.
        *destinations : str
            Where it ended; none for all suction points together.

        Returns
        -------
        share : float
            Not a number when no air gets there. [-]
        """
        whole = sum(self.flow(name, *destinations) for name in self.places)
        return self.flow(place, *destinations) / whole if whole > 0.0 else float("nan")

    @property
    def places(self) -> tuple[str, ...]:
        """Where air enters the soil, the largest first."""
        total: dict[str, float] = {}
        for stream in self.entering:
            total[stream.place] = total.get(stream.place, 0.0) + stream.flow
        return tuple(sorted(total, key=lambda name: -total[name]))

    @property
    def room_air(self) -> float:
        """Air of the house that the suction points draw through the floor. [m3/s]"""
        return self.flow(HOUSE)

    def soil_gas(self, place: str = HOUSE) -> float:
        """Air that leaves the soil into a place: where suction does not hold.

        Parameters
        ----------
        place : str
            A room, the outdoors or a yard.

        Returns
        -------
        flow : float
            Volume at atmospheric pressure, never negative. [m3/s]
        """
        return sum(stream.flow for stream in self.leaving if stream.place == place)

    def __str__(self) -> str:
        lines = [f"{'from':<34}{'flow':>24}" + "".join(f"{name[:12]:>13}" for name in self.points)]
        for place in self.places:
            share = "".join(f"{100.0 * self.share(place, p):11.1f} %" for p in self.points)
            lines.append(f"{place:<34}{_said(self.flow(place)):>24}{share}")
            for stream in (s for s in self.entering if s.place == place):
                drawn = sum(stream.goes_to.get(p, 0.0) for p in self.points)
                lines.append(f"  through {stream.through:<24}{_said(drawn):>24}")
        for stream in self.leaving:
            way = f"out of the soil into {stream.place}, through {stream.through}"
            lines.append(f"{way}: {_said(stream.flow)}")
        return "\n".join(lines)


def _said(flow: float) -> str:
    return f"{1e3 * flow:.3g} L/s ({flow / M3S_PER_CFM:.2g} cfm)"


def air_sources(site: Site, solution: SoilSolution, port_u: Array) -> AirSources:
    """Follow the air from where it enters the soil to where it leaves.

    Parameters
    ----------
    site : Site
        What is there, for the names of its openings.
    solution : SoilSolution
        The solved soil.
    port_u : array, shape (p,)
        p + p^2 / (2 p_atm) at the ports. [Pa]

    Returns
    -------
    sources : AirSources
        Flows by place and opening.

    Raises
    ------
    BalanceError
        What arrives is not what enters.

    Notes
    -----
    Air is taken to mix in each cell it passes and to move with the mean flow: diffusion in the
    pores is left out. A suction point mixes what reaches it, also when it is capped.
    """
    soil, network = solution.soil, solution.network
    bodies = [soil.body_port(b) for b in range(len(soil.held))]
    node_u = np.asarray(port_u) @ solution.response.unit_fields
    paths = air_paths(network, node_u, np.asarray(port_u), bodies, soil.direct_leaks)
    trace = trace_air(paths)
    points = [soil.ports[b] for b in dict.fromkeys(bodies)]
    entries, exits = trace.entries, trace.exits
    entering = _streams(soil.ports, entries, _ways(site, soil, network, entries), trace)
    leaving = _streams(soil.ports, exits, _ways(site, soil, network, exits))
    return AirSources(
        points=tuple(points),
        entering=entering,
        leaving=tuple(stream for stream in leaving if stream.place not in points),
        lost=trace.lost,
    )


def _streams(
    ports: Sequence[str],
    crossings: Crossings,
    ways: Sequence[str],
    trace: AirTrace | None = None,
) -> tuple[AirStream, ...]:
    """One stream for each place and way, the largest first."""
    keys = list(zip((ports[p] for p in crossings.port), ways, strict=True))
    rows: dict[tuple[str, str], list[int]] = {}
    for i, key in enumerate(keys):
        rows.setdefault(key, []).append(i)
    found = []
    for (place, through), mine in rows.items():
        flow = crossings.flow[mine]
        ends = np.zeros(len(ports)) if trace is None else flow @ trace.destinations[mine]
        goes_to = {name: float(q) for name, q in zip(ports, ends, strict=True) if q > 0.0}
        found.append(
            AirStream(place=place, through=through, flow=float(flow.sum()), goes_to=goes_to)
        )
    return tuple(sorted(found, key=lambda stream: -stream.flow))


def _ways(site: Site, soil: SoilMap, network: SoilNetwork, crossings: Crossings) -> list[str]:
    """What each crossing goes through."""
    names = np.full(crossings.port.shape, PIPE, dtype=object)
    lines = np.array([*soil.line_names, SLAB], dtype=object)  # the last for line -1
    held = [soil.body_port(b) for b in range(len(soil.held))]
    slot, direct, area = (x >= 0 for x in (crossings.slot, crossings.direct, crossings.area))
    names[slot] = lines[soil.line_leaks.line[crossings.slot[slot]]]
    names[direct] = lines[soil.direct_leaks.line[crossings.direct[direct]]]
    names[area] = _area_ways(site, soil, crossings.area[area])
    rim = ~(slot | direct | area) & ~np.isin(crossings.port, held)
    names[rim] = _rim_ways(site, soil, network, crossings.place[rim], crossings.port[rim])
    return [str(name) for name in names]


def _area_ways(site: Site, soil: SoilMap, leak: NDArray[np.int64]) -> NDArray[np.object_]:
    """Names of area leaks: what lies over their column, or beside it."""
    leaks = soil.area_leaks
    ix, iy, _ = np.unravel_index(leaks.cell[leak], soil.grid.shape)
    x, y = soil.grid.centres(0)[ix], soil.grid.centres(1)[iy]
    upright = leaks.axis[leak] != 2
    indoors = np.isin([soil.ports[p] for p in leaks.port[leak]], [HOUSE, *site.room_names])
    names = np.where(upright, WALLS, np.where(indoors, SLAB, GROUND)).astype(object)
    for name, plan in _holes(site):
        names[shapely.contains_xy(plan, x, y) & indoors & ~upright] = name
    return names


def _holes(site: Site) -> list[tuple[str, BaseGeometry]]:
    """Floor that is no slab, openings last since they go through anything. [m]"""
    bare = [(room.name, room.polygon) for room in site.rooms if room.is_bare]
    bare += [(noun.name, noun.polygon) for noun in site.bare_soil]
    return [*bare, *((noun.name, noun.plan) for noun in site.openings if not noun.sealed)]


def _rim_ways(
    site: Site,
    soil: SoilMap,
    network: SoilNetwork,
    place: NDArray[np.int64],
    port: NDArray[np.int64],
) -> list[str]:
    """Names of what gap and soil open into sideways: the nearest hole, or else a drain."""
    gap = network.sheet_node >= 0
    column = dict(zip(network.sheet_node[gap].tolist(), np.argwhere(gap).tolist(), strict=True))
    lines = soil.conductors
    holes, found = _holes(site), []
    for node, to in zip(place.tolist(), port.tolist(), strict=True):
        if node in column and holes:
            ix, iy = column[node]
            at = Point(soil.grid.centres(0)[ix], soil.grid.centres(1)[iy])
            found.append(min(holes, key=lambda hole: float(shapely.distance(hole[1], at)))[0])
        else:
            drains = zip(lines.names, lines.port, strict=True)
            found.append(", ".join(name for name, own in drains if own == to))
    return found
