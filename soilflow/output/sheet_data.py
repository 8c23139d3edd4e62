"""Numbers a job sheet carries, so that its reader can move a vacuum and see what follows.

The field under the floor is linear in u = p + p^2 / (2 p_atm) at the ports: unit fields by column,
the port matrix, and what is held where. Columns are numbered x first, as in the library.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.air import GRAVITY, P_ATM, R_AIR
from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.operating_point import CAPPED
from soilflow.results.coverage import PASS_LINE, PATCH
from soilflow.results.floor import FloorResponse, floor_response
from soilflow.results.notebook import STEPS, TONES
from soilflow.results.patches import Patches, patches_of
from soilflow.results.result import ConditionResult, Result, deciding
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.units import M3S_PER_CFM, M_PER_FOOT, PA_PER_INCH_WC

__all__ = ["sheet_data"]

_MOST_BYTES = 700_000  # of fields as 32-bit numbers; more are kept in 16 bits


def sheet_data(case: Case, result: Result) -> dict[str, Any]:
    """What the page computes from.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        One of its layouts, solved.

    Returns
    -------
    data : dict
        Plain types, arrays as base64; fields are unit fields of the ports by column, not a
        number where no air reaches.
    """
    solution = result.solution
    floor = floor_response(solution.soil, solution.network, solution.response)
    ports = list(solution.soil.ports)
    found = {name: _condition(case, c, ports) for name, c in result.conditions.items()}
    at_rest = floor.pressure(np.zeros(len(ports)), case.air.pressure_atm, room=ports.index(HOUSE))
    patches = patches_of(at_rest, PATCH)
    return {
        "ports": ports,
        "units": {"wc": PA_PER_INCH_WC, "cfm": M3S_PER_CFM, "foot": M_PER_FOOT},
        "points": [point.name for point in result.arrangement.points],
        "matrix": solution.response.port_matrix.tolist(),
        "pressure_atm": case.air.pressure_atm,
        "pass_line": PASS_LINE,
        "conditions": found,
        "first": deciding(result.conditions).name,
        "x": [round(float(v), 6) for v in floor.x],
        "y": [round(float(v), 6) for v in floor.y],
        "house": _packed_bits(at_rest.floor & ~np.isnan(at_rest.pressure)),
        "room": _packed_rooms(floor),
        "steps": list(STEPS),
        "tones": list(TONES),
        "open_x": _packed_bits(floor.open_x),
        "open_y": _packed_bits(floor.open_y),
        "fields": _packed_fields(floor),
        "patch": {
            "side": patches.side,
            "x": patches.x.tolist(),
            "y": patches.y.tolist(),
            "usable": _packed_bits(_counting(patches)),
        },
        "holes": {name: _weights(floor, x, y) for name, (x, y) in result.hole_places.items()},
    }


def _condition(case: Case, found: ConditionResult, ports: list[str]) -> dict[str, Any]:
    """Pressures at the ports as solved, and how those of the references follow the outdoors."""
    on = found.operating_point
    [stated] = [c for c in case.conditions if c.name == found.name]
    return {
        "outdoors": found.outdoor_pressure,
        "worst": [found.worst.x, found.worst.y],
        "pressures": {n: float(on.pressures[on.port_names.index(n)]) for n in ports},
        "capped": [n for n, state in zip(on.port_names, on.states, strict=True) if state == CAPPED],
        "references": {n: _reference(case, stated, n) for n in _references(case, ports)},
        "stack": None
        if stated.below_neutral_level is None
        else {
            "factor": P_ATM * GRAVITY / R_AIR * stated.below_neutral_level,
            "room": stated.room_temperature,
            "outdoor": stated.outdoor_temperature,
            "added": stated.added_pressure,
        },
    }


def _references(case: Case, ports: list[str]) -> list[str]:
    known = {HOUSE, *case.site.outdoor_names, *case.site.room_names}
    return [name for name in ports if name in known]


def _reference(case: Case, condition: Condition, name: str) -> dict[str, Any]:
    """Whether a reference stands still or moves with the outdoors. [Pa]"""
    now = case.reference_pressures(condition)[name]
    own = [r for r in condition.references if r.name == name]
    moves = name in case.site.outdoor_names and not (own and own[0].pressure is not None)
    return {"moves": moves or name == OUTDOORS, "pressure": now}


def _packed_bits(mask: NDArray[np.bool_]) -> str:
    return base64.b64encode(np.packbits(mask.ravel()).tobytes()).decode("ascii")


def _packed_rooms(floor: FloorResponse) -> str:
    """Port of the room over each column, 255 where there is no floor with air below it."""
    there = floor.floor & ~np.isnan(floor.unit_fields).any(axis=0)
    ports = np.where(there, floor.floor_port, 255).astype(np.uint8)
    return base64.b64encode(ports.tobytes()).decode("ascii")


def _packed_fields(floor: FloorResponse) -> dict[str, Any]:
    """Unit fields by port and column; where no air reaches any number will do."""
    fields = np.nan_to_num(floor.unit_fields.reshape(len(floor.unit_fields), -1))
    if 4 * fields.size <= _MOST_BYTES:
        raw = fields.astype("<f4").tobytes()
        return {"bits": 32, "data": base64.b64encode(raw).decode("ascii")}
    raw = np.round(65535.0 * np.clip(fields, 0.0, 1.0)).astype("<u2").tobytes()
    return {"bits": 16, "data": base64.b64encode(raw).decode("ascii")}


def _counting(patches: Patches) -> NDArray[np.bool_]:
    """Patches among which the worst is looked for: those in one piece, or all if none is."""
    floor = patches.floor
    air = floor.floor & ~np.isnan(floor.pressure)
    parted = (air[1:] & air[:-1] & ~floor.open_x).any() or (
        air[:, 1:] & air[:, :-1] & ~floor.open_y
    ).any()
    if not parted and bool(air.sum() == floor.floor.sum()):
        return patches.usable
    whole = patches.usable.copy()
    for i, j in np.argwhere(patches.usable):
        whole[i, j] = patches.in_one_piece(int(i), int(j))
    return whole if whole.any() else patches.usable


def _weights(floor: FloorResponse, x: float, y: float) -> list[tuple[int, float]]:
    """Columns that a reading at a place is made of, and their weights, as `pressure_at` has it."""
    cx, cy = 0.5 * (floor.x[1:] + floor.x[:-1]), 0.5 * (floor.y[1:] + floor.y[:-1])
    there: NDArray[np.bool_] = ~np.asarray(np.isnan(floor.unit_fields).any(axis=0))
    i = int(np.clip(np.searchsorted(floor.x, x) - 1, 0, cx.size - 1))
    j = int(np.clip(np.searchsorted(floor.y, y) - 1, 0, cy.size - 1))
    if not there[i, j]:
        return []
    a, b = i + (1 if x > cx[i] else -1), j + (1 if y > cy[j] else -1)
    in_x = 0 <= a < cx.size and bool(floor.open_x[min(i, a), j])
    in_y = 0 <= b < cy.size and bool(floor.open_y[i, min(j, b)])
    wx = abs((x - cx[i]) / (cx[a] - cx[i])) if in_x else 0.0
    wy = abs((y - cy[j]) / (cy[b] - cy[j])) if in_y else 0.0
    parts = [
        ((i, j), (1 - wx) * (1 - wy)),
        ((a, j), wx * (1 - wy)),
        ((i, b), (1 - wx) * wy),
        ((a, b), wx * wy),
    ]
    kept = [(at, w) for at, w in parts if w > 0.0 and there[at]]
    whole = sum(w for _, w in kept)
    return [(int(at[0] * cy.size + at[1]), float(w / whole)) for at, w in kept]
