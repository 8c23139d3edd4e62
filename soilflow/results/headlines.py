"""The numbers of a condition that a reader acts on, by the names they have in a result file."""

from __future__ import annotations

from collections.abc import Iterable

from soilflow.operating_point import CAPPED, FAN_ON
from soilflow.results.coverage import STRIP, column_share
from soilflow.results.solved import ConditionResult
from soilflow.site.plan import wall_strip
from soilflow.site.slab import Slab

__all__ = ["HEADLINES", "headlines", "least_bars"]

# Name: unit as in result files, and the axis it runs along; "" for a number that stands alone.
HEADLINES = {
    "worst_margin": ("Pa", ""),
    "coverage_area": ("1", "threshold"),
    "coverage_perimeter": ("1", "threshold"),
    "riser_vacuum": ("Pa", "port"),
    "port_pressure": ("Pa", "port"),
    "port_flow": ("m3 s-1", "port"),
    "air_drawn": ("m3 s-1", ""),
    "fan_flow": ("m3 s-1", ""),
    "fan_static": ("Pa", ""),
    "test_hole_pressure": ("Pa", "test_hole"),
    "test_hole_pressure_fan_off": ("Pa", "test_hole"),
    "test_hole_pressure_before_digging": ("Pa", "test_hole"),
    "air_from_house": ("m3 s-1", ""),
    "entry": ("m3 s-1", ""),
    "entry_fan_off": ("m3 s-1", ""),
    "entry_before_digging": ("m3 s-1", ""),
}


def headlines(found: ConditionResult, points: Iterable[str]) -> dict[str, dict[str, float]]:
    """The numbers of `HEADLINES` that a condition has.

    Parameters
    ----------
    found : ConditionResult
        The condition.
    points : iterable of str
        Names of the suction points.

    Returns
    -------
    numbers : dict of str to (dict of str to float)
        By name, then by threshold, suction point or test hole; "" for a number that stands
        alone. [SI]
    """
    on, before, names = found.operating_point, found.baseline, list(points)
    port = {name: on.port_names.index(name) for name in names}
    used = [name for name in names if on.states[port[name]] != CAPPED]
    numbers = {
        "worst_margin": {"": found.worst.margin},
        "coverage_area": {f"{t:g}": share for t, share in found.coverage_area.items()},
        "coverage_perimeter": {f"{t:g}": share for t, share in found.coverage_perimeter.items()},
        "riser_vacuum": {n: on.riser_vacuums[n] for n in names if n in on.riser_vacuums},
        "port_pressure": {name: float(on.pressures[port[name]]) for name in names},
        "port_flow": {name: float(on.flows[port[name]]) for name in used},
        "air_drawn": {"": found.air_drawn(names)},
        "test_hole_pressure": dict(found.test_holes),
        "test_hole_pressure_fan_off": dict(found.test_holes_off),
        "air_from_house": {"": found.house_on.into_soil},
        "entry": {"": found.house_on.from_soil},
        "entry_fan_off": {"": found.house_off.from_soil},
    }
    if FAN_ON in on.states:
        numbers |= {"fan_flow": {"": on.fan_flow}, "fan_static": {"": on.fan_static}}
    if before is not None:
        numbers["test_hole_pressure_before_digging"] = dict(before.test_holes)
        numbers["entry_before_digging"] = {"": before.house.from_soil}
    return numbers


def least_bars(found: ConditionResult, slab: Slab) -> dict[str, float]:
    """Smallest error bars that make sense: nothing is known better than to a column of cells.

    For a share of the floor that is the share of a column, for what the soil and the house
    exchange through joints the same part of their flow: a trace that one grid finds at a single
    joint cell and another does not.

    Parameters
    ----------
    found : ConditionResult
        The condition, on the finest grid.
    slab : Slab
        The floor.

    Returns
    -------
    least : dict of str to float
        By name of the number; others may have any. [SI]
    """
    strip = wall_strip(slab.polygon, slab.walls, STRIP)
    along_walls = column_share(found.floor, strip=strip)
    flows = {"entry": found.house_on, "entry_fan_off": found.house_off}
    if found.baseline is not None:
        flows["entry_before_digging"] = found.baseline.house
    least = {name: along_walls * (f.from_soil + f.into_soil) for name, f in flows.items()}
    return {
        "coverage_area": column_share(found.floor),
        "coverage_perimeter": along_walls,
        "air_from_house": least["entry"],
        **least,
    }
