"""What stands beside a result for the one on site, in plain types."""

from __future__ import annotations

import math
from typing import Any

from soilflow.results.sealing import SealingValue
from soilflow.site.effects import HOUSE, OUTDOORS
from soilflow.studies.balancing import Balance
from soilflow.studies.on_site import OnSite

__all__ = ["on_site_to_dict"]


def on_site_to_dict(found: OnSite) -> dict[str, Any]:
    """The same in plain types, for JSON.

    Parameters
    ----------
    found : OnSite
        What was found.

    Returns
    -------
    report : dict
        Keys end in their unit; None where there is no number or it was not asked for.
    """
    lag = found.lag
    return {
        "verdict": {
            "word": found.verdict.word,
            "reasons": list(found.verdict.reasons),
            "not_looked_at": list(found.verdict.not_asked),
        },
        "test_holes": [
            {
                "name": hole.hole,
                "fan_off_Pa": _plain(hole.fan_off),
                "fan_on_Pa": _plain(hole.fan_on),
                "must_read_today_Pa": _plain(hole.must_read),
                "response_time_s": _plain(found.waits.get(hole.hole)),
                "enough": bool(hole.enough),
            }
            for hole in found.must_read
        ],
        "air_source": {
            name: {
                "room_air_share": _plain(air.share(HOUSE)),
                "outdoor_air_share": _plain(air.share(OUTDOORS)),
                "shares": {place: _plain(air.share(place)) for place in air.places},
                "by_point": {
                    point: {place: _plain(air.share(place, point)) for place in air.places}
                    for point in air.points
                },
            }
            for name, air in found.air.items()
        },
        "backdraft": {
            "room_air_m3s": _plain(found.backdraft.room_air),
            "depressurisation_Pa": _plain(found.backdraft.depressurisation),
            "all_exhaust_Pa": _plain(found.backdraft.all_exhaust),
            "caution": found.backdraft.caution,
        },
        "response_time": None
        if lag is None
        else {"worst_spot_s": _plain(found.wait), "longest_s": _plain(lag.longest()[0])},
        "balancing": None if found.balance is None else _balance(found.balance),
        "troubles": None
        if found.troubles is None
        else [
            {
                "name": one.trouble,
                "befalls": bool(one.befalls),
                "worst_margin_Pa": _plain(one.after.worst.margin),
            }
            for one in found.troubles.tried
        ],
        "seal_list": None
        if found.sealing is None
        else [_seal(value) for value in found.sealing.values],
    }


def _balance(found: Balance) -> dict[str, Any]:
    return {
        "condition": found.condition,
        "points": [
            {
                "name": name,
                "damper_deg": _plain(math.degrees(angle)),
                "further_loss": _plain(found.further_losses[name]),
                "worst_margin_open_Pa": _plain(found.margins_open[name]),
                "worst_margin_Pa": _plain(found.margins[name]),
            }
            for name, angle in found.dampers.items()
        ],
        "room_air_saved_m3s": _plain(found.room_air_saved),
        "worst_margin_gained_Pa": _plain(found.margin_gained),
    }


def _seal(value: SealingValue) -> dict[str, Any]:
    half = value.half
    return {
        "name": value.name,
        "begins_m": _plain(value.begins),
        "length_m": _plain(value.length),
        "start_m": list(value.start),
        "end_m": list(value.end),
        "margin_gained_Pa": _plain(value.whole.margin_gained),
        "room_air_saved_m3s": _plain(value.whole.air_saved),
        "half_margin_gained_Pa": None if half is None else _plain(half.margin_gained),
        "half_room_air_saved_m3s": None if half is None else _plain(half.air_saved),
        "exact": bool(value.exact),
    }


def _plain(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)
