"""Orders of accuracy, demanded from both sides."""

import numpy as np
from problems.orders import extrapolated, observed_order

__all__ = ["assert_order", "extrapolated", "observed_order"]


def assert_order(error_of, n_cells, expected, *, tol=0.15):
    """Fail unless ``error_of(n)`` falls as h**expected, within ``tol`` either way."""
    errors = np.array([error_of(n) for n in n_cells], dtype=float)
    assert np.all(errors > 1e-12), f"errors at rounding level, their order is noise: {errors}"
    order = observed_order(1.0 / np.asarray(n_cells, dtype=float), errors)
    assert abs(order - expected) <= tol, f"order {order:.2f}, expected {expected}; {errors}"
