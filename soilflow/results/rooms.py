"""Rooms beside the house: a garage or a crawlspace, each judged against its own air."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely.geometry.base import BaseGeometry

from soilflow.errors import InputError
from soilflow.operating_point import OperatingPoint
from soilflow.results.coverage import THRESHOLDS, WorstPatch, coverage, worst_margin
from soilflow.results.floor import FloorPressure, FloorResponse
from soilflow.results.leaks import leak_flows, worst_opening
from soilflow.results.solved import RoomResult, SoilSolution

__all__ = ["room_results"]


def room_results(
    rooms: Sequence[str],
    solution: SoilSolution,
    floor: FloorResponse,
    on: OperatingPoint,
    off: OperatingPoint,
    strip: BaseGeometry,
    pressure_atm: float,
) -> dict[str, RoomResult]:
    """Judge every room beside the house.

    Parameters
    ----------
    rooms : sequence of str
        Names of the rooms; one that the soil has no way to is passed over.
    solution : SoilSolution
        The solved soil.
    floor : FloorResponse
        Its unit fields under the slab.
    on, off : OperatingPoint
        Pressures at the ports, fan on and fan off.
    strip : shapely geometry
        Floor along the walls. [m]
    pressure_atm : float
        Atmospheric pressure. [Pa]

    Returns
    -------
    results : dict of str to RoomResult
        By room.
    """
    soil, network, fields = solution.soil, solution.network, solution.response.unit_fields
    node_u, off_u = on.u @ fields, off.u @ fields
    found = {}
    for name in rooms:
        if name not in soil.ports:
            continue
        port = soil.ports.index(name)
        own = floor.pressure(on.u, pressure_atm, room=port)
        found[name] = RoomResult(
            pressure=float(on.pressures[port]),
            coverage_area={t: coverage(own, t) for t in THRESHOLDS},
            coverage_perimeter={t: coverage(own, t, strip=strip) for t in THRESHOLDS},
            worst=_worst(own),
            opening=worst_opening(soil, network, node_u, on.u, pressure_atm, room=name),
            entry_on=leak_flows(network, node_u, on.u, name),
            entry_off=leak_flows(network, off_u, off.u, name),
        )
    return found


def _worst(floor: FloorPressure) -> WorstPatch | None:
    if not np.any(floor.floor & ~np.isnan(floor.pressure)):
        return None
    try:
        return worst_margin(floor)
    except InputError:  # a room narrower than a patch
        return None
