"""The order check itself: it must refuse what is worse, and also what is better, than said."""

import numpy as np
import pytest
from orders import assert_order, extrapolated, observed_order


def left_rule_error(n):
    """Left sums of exp on [0, 1], first order: e - 1 is the integral."""
    return abs(float(np.mean(np.exp(np.arange(n) / n))) - (np.e - 1.0))


def midpoint_rule_error(n):
    """Midpoint sums of exp on [0, 1], second order."""
    return abs(float(np.mean(np.exp((np.arange(n) + 0.5) / n))) - (np.e - 1.0))


LEVELS = (10, 20, 40)


def test_second_order_rule_passes():
    assert_order(midpoint_rule_error, LEVELS, 2.0)


def test_first_order_rule_passes_as_first_order():
    assert_order(left_rule_error, LEVELS, 1.0)


def test_first_order_rule_fails_as_second_order():
    with pytest.raises(AssertionError, match=r"order (0\.9|1\.0)"):
        assert_order(left_rule_error, LEVELS, 2.0)


def test_second_order_rule_fails_as_first_order():
    with pytest.raises(AssertionError, match=r"order 2\.0"):
        assert_order(midpoint_rule_error, LEVELS, 1.0)


def test_errors_at_rounding_level_are_refused():
    with pytest.raises(AssertionError, match="rounding"):
        assert_order(lambda n: 1e-15, LEVELS, 2.0)


def test_errors_that_grow_are_refused():
    with pytest.raises(AssertionError, match="expected 2"):
        assert_order(lambda n: float(n), LEVELS, 2.0)


def test_observed_order_of_a_power():
    sizes = np.array([0.4, 0.2, 0.1])
    assert abs(observed_order(sizes, 3.0 * sizes**1.7) - 1.7) < 1e-12


def test_extrapolation_is_exact_for_a_pure_power():
    assert abs(extrapolated(5.0 + 0.4**2, 5.0 + 0.2**2, 2.0) - 5.0) < 1e-12
