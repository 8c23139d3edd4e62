"""The rules of the verdict, on made-up numbers; no house is tied to a word."""

import math

import pytest

from soilflow.output import printout
from soilflow.results.verdict import (
    DEPENDABLE,
    FRAGILE,
    LEAST_FLOW,
    NOT_DEPENDABLE,
    RULES,
    SLOWEST,
    judge,
)

HOUR = 3600.0
CFM = 0.3048**3 / 60.0  # a cubic foot in a minute, by definition of the foot
PLENTY = 10.0 * CFM
CALM = {"hairline crack": 0.2, "wet zones dried": 0.0}


def test_a_layout_that_stands_everything_is_dependable():
    found = judge(0.5, PLENTY, t90=HOUR, troubles=CALM)
    assert found.word == DEPENDABLE
    assert "0.5 Pa to spare" in found.reasons[0]
    assert "hairline crack, wet zones dried" in found.reasons[1]
    assert found.not_asked == ()


def test_thresholds_are_those_of_the_rules():
    assert pytest.approx(4.0 * HOUR) == SLOWEST
    assert pytest.approx(CFM, rel=1e-9) == LEAST_FLOW
    assert printout.LEAST_FLOW == LEAST_FLOW  # one threshold, wherever it is printed
    assert {rule.source for rule in RULES.values()} == {"chosen by the project"}


@pytest.mark.parametrize(
    ("margin", "flow", "t90", "says"),
    [
        (-0.01, PLENTY, HOUR, "lost as given"),
        (math.nan, PLENTY, HOUR, "lost as given"),
        (0.5, PLENTY, 4.01 * HOUR, "4 h"),
        (0.5, 0.99 * CFM, HOUR, "field gauge"),
    ],
)
def test_each_hard_rule_alone_is_enough(margin, flow, t90, says):
    found = judge(margin, flow, t90=t90, troubles=CALM)
    assert found.word == NOT_DEPENDABLE
    [reason] = found.reasons
    assert says in reason


@pytest.mark.parametrize(("flow", "t90"), [(CFM * (1 + 1e-9), 4.0 * HOUR), (PLENTY, 0.0)])
def test_on_the_line_is_within_it(flow, t90):
    assert judge(0.0, flow, t90=t90, troubles={"dry": 0.0}).word == DEPENDABLE


def test_one_trouble_makes_it_fragile_and_is_named():
    found = judge(0.5, PLENTY, t90=HOUR, troubles={"dry": 0.1, "yard looser": -0.3})
    assert found.word == FRAGILE
    [reason] = found.reasons
    assert '"yard looser"' in reason
    assert "0.3 Pa short" in reason
    assert judge(0.5, PLENTY, troubles={"dry": math.nan}).word == FRAGILE


def test_a_hard_rule_speaks_before_a_trouble_and_both_are_told():
    found = judge(-1.0, PLENTY, t90=HOUR, troubles={"dry": -2.0})
    assert found.word == NOT_DEPENDABLE
    assert len(found.reasons) == 2


def test_what_nobody_looked_at_is_said():
    found = judge(0.5, PLENTY)
    assert found.word == DEPENDABLE
    assert len(found.not_asked) == 2
    assert str(found).count("not looked at") == 2


def test_worse_numbers_never_make_a_better_word():
    """Along each axis by itself the word only falls."""
    rank = {NOT_DEPENDABLE: 0, FRAGILE: 1, DEPENDABLE: 2}
    better = [(0.5, PLENTY, HOUR, 0.1), (0.1, 2 * CFM, 3 * HOUR, 0.0)]
    for margin, flow, t90, trouble in better:
        word = rank[judge(margin, flow, t90=t90, troubles={"t": trouble}).word]
        for worse in (
            (margin - 1.0, flow, t90, trouble),
            (margin, 0.1 * flow / 10.0, t90, trouble),
            (margin, flow, 9.0 * t90, trouble),
            (margin, flow, t90, trouble - 1.0),
        ):
            m, f, t, left = worse
            assert rank[judge(m, f, t90=t, troubles={"t": left}).word] < word
