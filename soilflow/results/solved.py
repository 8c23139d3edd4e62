"""What a result is made of: the solved soil, and what happens under each condition."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from soilflow.conditions import DESIGN
from soilflow.flow.response import SoilResponse
from soilflow.flow.soil_map import SoilMap
from soilflow.flow.soil_network import SoilNetwork
from soilflow.operating_point import OperatingPoint
from soilflow.results.coverage import WorstPatch
from soilflow.results.floor import FloorPressure
from soilflow.results.grid_error import Bars
from soilflow.results.leaks import LeakFlows, WorstOpening

__all__ = ["Baseline", "ConditionResult", "RoomResult", "SoilSolution", "deciding"]


@dataclass(frozen=True, kw_only=True, eq=False)
class SoilSolution:
    """The solved soil: map, conductances and unit fields.

    Parameters
    ----------
    soil : SoilMap
        What is there.
    network : SoilNetwork
        Its conductances.
    response : SoilResponse
        Its unit fields and port matrix.
    """

    soil: SoilMap
    network: SoilNetwork
    response: SoilResponse


@dataclass(frozen=True, kw_only=True)
class RoomResult:
    """A room beside the house under one condition, judged against its own air.

    Parameters
    ----------
    pressure : float
        Of its air, against the house's room. [Pa]
    coverage_area, coverage_perimeter : mapping of float to float
        Share of its floor, and of the wall strips in it, by threshold [Pa]; NaN where it has no
        slab, or no air reaches. [-]
    worst : WorstPatch or None
        The worst place; None without a patch of slab with air below it.
    opening : WorstOpening or None
        The worst opening, its pressure against the room's own.
    entry_on, entry_off : LeakFlows
        Air between soil and room, fan on and off.
    """

    pressure: float
    coverage_area: Mapping[float, float]
    coverage_perimeter: Mapping[float, float]
    worst: WorstPatch | None
    opening: WorstOpening | None
    entry_on: LeakFlows
    entry_off: LeakFlows


@dataclass(frozen=True, kw_only=True, eq=False)
class Baseline:
    """The floor as it is found, before digging: no pit, no pipe, no fan.

    Parameters
    ----------
    floor : FloorPressure
        Pressure under the slab.
    house : LeakFlows
        Air between soil and house.
    rooms : mapping of str to LeakFlows
        Air between soil and the other rooms, by name.
    test_holes : mapping of str to float
        Pressure at each test hole. [Pa]
    """

    floor: FloorPressure
    house: LeakFlows
    test_holes: Mapping[str, float]
    rooms: Mapping[str, LeakFlows] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class ConditionResult:
    """What happens under one condition.

    Parameters
    ----------
    name : str
        Name of the condition.
    outdoor_pressure : float
        What the outdoors exceeds the room by. [Pa]
    operating_point : OperatingPoint
        Pressures and flows with the fan on.
    fan_off : OperatingPoint
        The same with the fan off and the discharge open, or the points capped.
    node_u : array, shape (nodes,)
        p + p^2 / (2 p_atm) at the nodes, fan on. [Pa]
    floor, floor_off : FloorPressure
        Pressure under the slab, fan on and fan off.
    coverage_area, coverage_perimeter : mapping of float to float
        Share of floor and of wall strips by threshold [Pa]. [-]
    worst : WorstPatch
        The worst place.
    opening : WorstOpening or None
        The worst opening.
    house_on, house_off, outdoors_on : LeakFlows
        Air between soil and house, fan on and off, and between soil and outdoors, fan on.
    test_holes, test_holes_off : mapping of str to float
        Pressure at each test hole, fan on and fan off. [Pa]
    baseline : Baseline or None
        The same floor before digging; None when it was not asked for.
    rooms : mapping of str to RoomResult
        Rooms beside the house; coverage, worst place and opening above are the house's alone.
    bars : mapping of str to (mapping of str to Bracketed)
        Error bars of the numbers in `soilflow.results.headlines`; empty where none were asked for.
    """

    name: str
    outdoor_pressure: float
    operating_point: OperatingPoint
    fan_off: OperatingPoint
    node_u: NDArray[np.float64]
    floor: FloorPressure
    floor_off: FloorPressure
    coverage_area: Mapping[float, float]
    coverage_perimeter: Mapping[float, float]
    worst: WorstPatch
    opening: WorstOpening | None
    house_on: LeakFlows
    house_off: LeakFlows
    outdoors_on: LeakFlows
    test_holes: Mapping[str, float]
    test_holes_off: Mapping[str, float]
    baseline: Baseline | None = None
    rooms: Mapping[str, RoomResult] = field(default_factory=dict)
    bars: Bars = field(default_factory=dict)

    def air_drawn(self, points: Iterable[str]) -> float:
        """Air from the soil into suction points, fan on.

        Parameters
        ----------
        points : iterable of str
            Their names.

        Returns
        -------
        flow : float
            Volume at atmospheric pressure, in all. [m3/s]
        """
        on = self.operating_point
        return float(sum(on.flows[on.port_names.index(name)] for name in points))

    @property
    def passes(self) -> bool:
        """Whether the whole floor of the house is at or beyond the pass line."""
        return self.worst.margin >= 0.0

    def __repr__(self) -> str:
        area = ", ".join(f"{100 * v:.1f} % at {t:g} Pa" for t, v in self.coverage_area.items())
        return (
            f"ConditionResult({self.name}: worst margin {self.worst.margin:.3g} Pa at "
            f"({self.worst.x:.2f}, {self.worst.y:.2f}) m, covered {area}, "
            f"fan {self.operating_point.fan_flow:.3g} m3/s)"
        )


def deciding(conditions: Mapping[str, ConditionResult], name: str = DESIGN) -> ConditionResult:
    """The condition that decides whether a layout will do.

    Parameters
    ----------
    conditions : mapping of str to ConditionResult
        All there are.
    name : str
        The one that decides when it is among them; else the one with the least margin does.

    Returns
    -------
    result : ConditionResult
        What happens under it.
    """
    hardest = min(conditions.values(), key=lambda found: found.worst.margin)
    return conditions.get(name, hardest)
