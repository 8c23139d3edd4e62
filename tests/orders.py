"""Orders of accuracy, demanded from both sides."""

import numpy as np


def observed_order(sizes, errors):
    """Slope of log error over log cell size, least squares over all levels."""
    return float(np.polyfit(np.log(sizes), np.log(errors), 1)[0])


def assert_order(error_of, n_cells, expected, *, tol=0.15):
    """Fail unless ``error_of(n)`` falls as h**expected, within ``tol`` either way."""
    errors = np.array([error_of(n) for n in n_cells], dtype=float)
    assert np.all(errors > 1e-12), f"errors at rounding level, their order is noise: {errors}"
    order = observed_order(1.0 / np.asarray(n_cells, dtype=float), errors)
    assert abs(order - expected) <= tol, f"order {order:.2f}, expected {expected}; {errors}"


def extrapolated(coarse, fine, order):
    """Value at cell size zero from two grids, the second with every cell halved."""
    return fine + (fine - coarse) / (2.0**order - 1.0)
