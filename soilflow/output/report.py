"""A result in plain types: numbers, texts, lists and dictionaries, ready for JSON.

Keys end in their unit; "fan" is all fans together, with the highest static pressure. Shares are
fractions between 0 and 1; None (``null``) stands where there is no number: floor without air, a
fan without power points, no fan at all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from soilflow.layout.fan_sets import pipe_label
from soilflow.layout.pipes import fall_needed
from soilflow.operating_point import FAN_ON
from soilflow.output.error_bars import bars_to_list
from soilflow.output.on_site_json import on_site_to_dict
from soilflow.results.result import ConditionResult, Result
from soilflow.results.solved import RoomResult
from soilflow.studies.on_site import OnSite

__all__ = ["result_to_dict"]


def result_to_dict(result: Result, on_site: OnSite | None = None) -> dict[str, Any]:
    """Everything a program may want to read of a result, without the fields.

    Parameters
    ----------
    result : Result
        The result.
    on_site : OnSite or None
        What stands beside it for the one on site; None leaves that out.

    Returns
    -------
    report : dict
        JSON types only.
    """
    beside = {} if on_site is None else {"on_site": on_site_to_dict(on_site)}
    return {
        "title": result.title,
        "layout": result.layout,
        "variant": result.variant,
        "cells": int(result.cells),
        "iterations": int(result.iterations),
        "mass_balance": _number(result.mass_balance),
        "notes": list(result.notes),
        "conditions": {
            name: _condition(result, condition) for name, condition in result.conditions.items()
        },
        **beside,
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _by_threshold(shares: Mapping[float, float]) -> dict[str, float | None]:
    return {f"{threshold:g}Pa": _number(share) for threshold, share in shares.items()}


def _condition(result: Result, condition: ConditionResult) -> dict[str, Any]:
    on, opening = condition.operating_point, condition.opening
    bars = {"error_bars": bars_to_list(condition)} if condition.bars else {}
    has_fan, before = FAN_ON in on.states, condition.baseline
    return {
        "outdoor_pressure_Pa": _number(condition.outdoor_pressure),
        "passes": bool(condition.passes),
        "worst_margin_Pa": _number(condition.worst.margin),
        "worst_at_m": [_number(condition.worst.x), _number(condition.worst.y)],
        "coverage_area": _by_threshold(condition.coverage_area),
        "coverage_perimeter": _by_threshold(condition.coverage_perimeter),
        "worst_opening": None
        if opening is None
        else {
            "name": opening.name,
            "pressure_Pa": _number(opening.pressure),
            "x_m": _number(opening.x),
            "y_m": _number(opening.y),
        },
        "soil_gas_entry": {
            "fan_on_m3s": _number(condition.house_on.from_soil),
            "fan_off_m3s": _number(condition.house_off.from_soil),
            "before_digging_m3s": None if before is None else _number(before.house.from_soil),
        },
        "air": {
            "from_house_m3s": _number(condition.house_on.into_soil),
            "from_outdoors_m3s": _number(condition.outdoors_on.into_soil),
        },
        "rooms": {name: _room(room) for name, room in condition.rooms.items()},
        "pits": _pits(result, condition),
        "fan": {
            "flow_m3s": _number(on.fan_flow),
            "static_Pa": _number(on.fan_static),
            "power_W": _number(on.fan_power),
        }
        if has_fan
        else None,
        "fans": [
            {
                "name": name,
                "flow_m3s": _number(duty.flow),
                "static_Pa": _number(duty.static_pressure),
                "power_W": _number(duty.power),
            }
            for name, duty in on.fans.items()
            if has_fan
        ],
        "pipes": _pipes(result, condition),
        "test_holes": [
            {
                "name": name,
                "fan_on_Pa": _number(pressure),
                "fan_off_Pa": _number(condition.test_holes_off[name]),
                "before_digging_Pa": None if before is None else _number(before.test_holes[name]),
            }
            for name, pressure in condition.test_holes.items()
        ],
        **bars,
    }


def _room(room: RoomResult) -> dict[str, Any]:
    worst = room.worst
    return {
        "pressure_Pa": _number(room.pressure),
        "passes": None if worst is None else bool(worst.margin >= 0.0),
        "worst_margin_Pa": None if worst is None else _number(worst.margin),
        "worst_at_m": None if worst is None else [_number(worst.x), _number(worst.y)],
        "coverage_area": _by_threshold(room.coverage_area),
        "coverage_perimeter": _by_threshold(room.coverage_perimeter),
        "soil_gas_entry": {
            "fan_on_m3s": _number(room.entry_on.from_soil),
            "fan_off_m3s": _number(room.entry_off.from_soil),
        },
        "air_from_room_m3s": _number(room.entry_on.into_soil),
    }


def _pipes(result: Result, condition: ConditionResult) -> list[dict[str, Any]]:
    fall = {
        pipe_label(fan, pipe): down
        for fan, _, tree in result.arrangement.fan_sets
        if tree is not None
        for pipe, down in fall_needed(tree).items()
    }
    return [
        {"name": name, "velocity_ms": _number(speed), "fall_m": _number(fall[name])}
        for name, speed in condition.operating_point.velocities.items()
    ]


def _pits(result: Result, condition: ConditionResult) -> list[dict[str, Any]]:
    on = condition.operating_point
    found = []
    for point in result.arrangement.points:
        port = on.port_names.index(point.name)
        found.append(
            {
                "name": point.name,
                "state": on.states[port],
                "x_m": _number(point.x),
                "y_m": _number(point.y),
                "vacuum_Pa": _number(-on.pressures[port] + 0.0),
                "riser_vacuum_Pa": _number(on.riser_vacuums.get(point.name)),
                "flow_m3s": _number(on.flows[port]),
            }
        )
    return found
