"""The back-draft flag: the power law by hand, and a flag that never clears anything."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from tiny_house import TEXT, house, solved

from soilflow.errors import CaseError, InputError, OutOfRangeError
from soilflow.files import parse_case
from soilflow.house_leakage import HouseLeakage, depressurisation
from soilflow.results.air_source import air_sources
from soilflow.results.backdraft import backdraft_flag
from soilflow.units import M3S_PER_CFM

# Words that would turn a flag into a green light.
GREEN = re.compile(r"\b(safe|ok|passes|passed|no risk|fine|acceptable|within limits)\b", re.I)


def cfm(flow):
    return flow * M3S_PER_CFM


@pytest.mark.parametrize(
    ("exponent", "expected"),
    [
        # 100 of 1500 cfm: straight line, square root, and in between by logarithms:
        # ln 15 = 2.708050; / 0.65 = 4.166231; e^-4.166231 = 0.0155107; x 50 = 0.775535
        (1.0, 50.0 / 15.0),
        (0.5, 50.0 / 225.0),
        (0.65, 0.775535),
    ],
)
def test_a_hundred_cfm_out_of_a_house_of_1500_at_50_pa(exponent, expected):
    found = depressurisation(HouseLeakage(flow=cfm(1500.0), exponent=exponent), cfm(100.0))
    assert_allclose(found, expected, rtol=1e-5)


def test_the_test_pressure_and_the_coefficient_say_the_same():
    """C is the flow at 1 Pa: 1500 / 50^0.65 = 1500 / 12.7153 = 117.968 cfm (50^0.65 by logs:
    3.912023 x 0.65 = 2.542815)."""
    at_50 = HouseLeakage(flow=cfm(1500.0))
    at_1 = HouseLeakage(flow=cfm(1500.0 / math.exp(2.542815)), at_pressure=1.0)
    assert_allclose(
        depressurisation(at_1, cfm(80.0)), depressurisation(at_50, cfm(80.0)), rtol=1e-5
    )
    assert_allclose(depressurisation(at_50, at_50.flow), 50.0, rtol=1e-12)
    assert depressurisation(at_50, 0.0) == 0.0


def test_other_exhaust_makes_the_same_air_pull_harder():
    """Square-root law: (300 / 1500)^2 x 50 = 2 Pa and (200 / 1500)^2 x 50 = 0.889 Pa."""
    leakage = HouseLeakage(flow=cfm(1500.0), exponent=0.5, existing_exhaust=cfm(200.0))
    flag = backdraft_flag(cfm(100.0), leakage)
    assert_allclose(flag.all_exhaust, 2.0, rtol=1e-12)
    assert_allclose(flag.depressurisation, 2.0 - 50.0 * (2.0 / 15.0) ** 2, rtol=1e-12)
    alone = backdraft_flag(cfm(100.0), HouseLeakage(flow=cfm(1500.0), exponent=0.5))
    assert alone.all_exhaust is None
    assert alone.depressurisation < flag.depressurisation
    assert "by more on top of other exhaust" in str(alone)


def test_without_a_leakage_there_is_no_number_but_what_to_measure():
    flag = backdraft_flag(cfm(20.0), None)
    assert flag.depressurisation is None
    assert "blower door" in flag.measure
    assert "[house_leakage]" in str(flag)
    assert " Pa below" not in str(flag)
    assert "(20 cfm)" in str(flag)


LEAKAGES = st.none() | st.builds(
    HouseLeakage,
    flow=st.floats(0.01, 5.0),
    exponent=st.floats(0.5, 1.0),
    existing_exhaust=st.none() | st.floats(0.0, 0.5),
)


@given(air=st.floats(0.0, 0.3), leakage=LEAKAGES)
def test_no_flag_is_ever_a_green_light(air, leakage):
    flag = backdraft_flag(air, leakage)
    said = str(flag)
    assert flag.caution in said
    assert "test every vented appliance" in said.lower()
    assert not GREEN.search(said)
    if leakage is not None:
        assert flag.depressurisation >= 0.0
        assert flag.depressurisation >= depressurisation(leakage, air) * (1.0 - 1e-6) - 1e-9


def test_the_search_for_green_lights_finds_one():
    assert GREEN.search("The flue is safe.")


def test_a_result_feeds_the_flag_with_its_own_room_air():
    result = solved()
    condition = result.conditions["design_winter"]
    sources = air_sources(result.site, result.solution, condition.operating_point.u)
    leakage = HouseLeakage(flow=0.5, exponent=1.0)
    flag = backdraft_flag(sources.room_air, leakage)
    assert_allclose(flag.depressurisation, 100.0 * sources.room_air, rtol=1e-9)
    assert flag.depressurisation > 0.0


TABLE = """
[house_leakage]
flow = "1500 cfm"
existing_exhaust = "200 cfm"
source = "blower door, last spring"
"""


def test_a_case_may_say_how_tight_the_house_is():
    assert house().house_leakage is None
    case = parse_case(TEXT + TABLE)
    assert_allclose(case.house_leakage.flow, cfm(1500.0), rtol=1e-12)
    assert case.house_leakage.at_pressure == 50.0
    assert case.house_leakage.exponent == 0.65
    assert case.house_leakage.source == "blower door, last spring"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('flow = "0 cfm"', "must be above 0"),
        ("flow = 1500", "no unit; write"),
        ('flow = "1500 cfm"\nexponent = 0.3', "between 0.5 and 1"),
        ('flow = "1500 cfm"\nat_pressure = "0 Pa"', "must be above 0"),
        ('flow = "1500 cfm"\nexaust = "10 cfm"', "exaust"),
        ('source = "nobody measured"', "flow"),
    ],
)
def test_a_wrong_leakage_is_refused(line, said):
    with pytest.raises(CaseError, match="house_leakage") as caught:
        parse_case(TEXT + f"\n[house_leakage]\n{line}\n")
    assert said in str(caught.value)


def test_what_a_script_gets_wrong_is_refused():
    with pytest.raises(InputError, match=r"between 0\.5 and 1"):
        HouseLeakage(flow=0.5, exponent=1.2)
    with pytest.raises(OutOfRangeError, match="at least 0"):
        depressurisation(HouseLeakage(flow=0.5), -0.1)
    with pytest.raises(OutOfRangeError, match="at least 0"):
        backdraft_flag(float("nan"), None)
