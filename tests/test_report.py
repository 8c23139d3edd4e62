import json
import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from tiny_house import FIRST, SECOND, solved

from soilflow.output.report import result_to_dict
from soilflow.results.leaks import WorstOpening

CONDITION = {
    "outdoor_pressure_Pa": float,
    "passes": bool,
    "worst_margin_Pa": float,
    "worst_at_m": [float],
    "coverage_area": {"1Pa": float, "5Pa": float},
    "coverage_perimeter": {"1Pa": float, "5Pa": float},
    "worst_opening": {"name": str, "pressure_Pa": float, "x_m": float, "y_m": float},
    "soil_gas_entry": {"fan_on_m3s": float, "fan_off_m3s": float, "before_digging_m3s": float},
    "air": {"from_house_m3s": float, "from_outdoors_m3s": float},
    "pits": [
        {
            "name": str,
            "state": str,
            "x_m": float,
            "y_m": float,
            "vacuum_Pa": float,
            "riser_vacuum_Pa": float | None,
            "flow_m3s": float,
        }
    ],
    "fan": {"flow_m3s": float, "static_Pa": float, "power_W": float | None},
    "fans": [
        {"name": str, "flow_m3s": float, "static_Pa": float, "power_W": float | None},
    ],
    "rooms": {},
    "pipes": [{"name": str, "velocity_ms": float, "fall_m": float}],
    "test_holes": [
        {
            "name": str,
            "fan_on_Pa": float,
            "fan_off_Pa": float,
            "before_digging_Pa": float,
        }
    ],
}
REPORT = {
    "title": str,
    "layout": str,
    "variant": str,
    "cells": int,
    "iterations": int,
    "mass_balance": float,
    "notes": [str],
    "conditions": {"today": CONDITION, "design_winter": CONDITION},
}


def misfits(value, form, where=""):
    """Where a report departs from its form; exact types, since bool is an int to Python."""
    if isinstance(form, dict):
        if not isinstance(value, dict) or set(value) != set(form):
            return [f"{where}: {value!r}"]
        return [m for key in form for m in misfits(value[key], form[key], f"{where}.{key}")]
    if isinstance(form, list):
        if type(value) is not list:
            return [f"{where}: {value!r}"]
        return [m for i, v in enumerate(value) for m in misfits(v, form[0], f"{where}[{i}]")]
    allowed = getattr(form, "__args__", (form,))
    return [] if type(value) in allowed else [f"{where}: {value!r}"]


def test_the_report_has_its_form():
    assert misfits(result_to_dict(solved()), REPORT) == []


def test_the_form_notices_what_is_missing_or_of_another_type():
    report = result_to_dict(solved())
    assert misfits(report | {"cells": 12.0}, REPORT) == [".cells: 12.0"]
    assert misfits(report | {"mass_balance": np.float64(1.0)}, REPORT) != []
    assert misfits({k: v for k, v in report.items() if k != "notes"}, REPORT) != []


def test_it_survives_json():
    report = result_to_dict(solved(SECOND))
    assert json.loads(json.dumps(report, allow_nan=False)) == report


def test_the_air_adds_up():
    """What the pits draw comes from house and outdoors, net of what goes back to them."""
    result = solved()
    for name, report in result_to_dict(result)["conditions"].items():
        drawn = sum(pit["flow_m3s"] for pit in report["pits"])
        from_house = report["air"]["from_house_m3s"] - report["soil_gas_entry"]["fan_on_m3s"]
        back_out = result.conditions[name].outdoors_on.from_soil
        from_outdoors = report["air"]["from_outdoors_m3s"] - back_out
        assert_allclose(drawn, from_house + from_outdoors, rtol=1e-5)


def test_pits_say_how_they_are_held():
    pits = result_to_dict(solved(SECOND))["conditions"]["today"]["pits"]
    assert [pit["state"] for pit in pits] == ["given", "capped"]
    # 1 in. w.c. is 249.08891 Pa (conventional inch of water, NIST SP 811, from memory)
    assert_allclose(pits[0]["vacuum_Pa"], 249.08891, rtol=1e-9)
    assert pits[0]["flow_m3s"] > 0.0
    assert pits[1]["flow_m3s"] == 0.0
    (pit,) = result_to_dict(solved(FIRST))["conditions"]["today"]["pits"]
    assert pit["state"] == "fan on"
    assert pit["riser_vacuum_Pa"] >= pit["vacuum_Pa"]  # entry loss and velocity head add to it
    assert_allclose((pit["x_m"], pit["y_m"]), (3 * 0.3048, 3 * 0.3048))


def test_without_a_fan_at_work_there_is_none():
    report = result_to_dict(solved(SECOND))["conditions"]["today"]
    assert report["fan"] is None
    assert report["fans"] == []
    assert result_to_dict(solved(FIRST))["conditions"]["today"]["fan"]["flow_m3s"] > 0.0


@pytest.mark.parametrize("nothing", [math.nan, math.inf])
def test_what_is_no_number_becomes_null(nothing):
    result = solved()
    today = replace(
        result.conditions["today"],
        coverage_area={1.0: nothing, 5.0: 0.5},
        test_holes={"T1": nothing},
        test_holes_off={"T1": 1.5},
        baseline=None,
        opening=None,
    )
    report = result_to_dict(replace(result, conditions={"today": today}))["conditions"]["today"]
    assert report["coverage_area"] == {"1Pa": None, "5Pa": 0.5}
    assert report["test_holes"] == [
        {"name": "T1", "fan_on_Pa": None, "fan_off_Pa": 1.5, "before_digging_Pa": None}
    ]
    assert report["worst_opening"] is None
    json.dumps(report, allow_nan=False)


def test_the_worst_opening_is_told():
    result = solved()
    opening = WorstOpening(name="north joint", pressure=0.25, x=1.0, y=2.0)
    today = replace(result.conditions["today"], opening=opening)
    report = result_to_dict(replace(result, conditions={"today": today}))["conditions"]["today"]
    told = {"name": "north joint", "pressure_Pa": 0.25, "x_m": 1.0, "y_m": 2.0}
    assert report["worst_opening"] == told
