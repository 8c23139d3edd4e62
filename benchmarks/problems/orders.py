"""Observed orders of accuracy, and what they promise at cell size zero."""

import numpy as np


def observed_order(sizes, errors):
    """Slope of log error over log cell size, least squares over all levels."""
    return float(np.polyfit(np.log(sizes), np.log(errors), 1)[0])


def extrapolated(coarse, fine, order):
    """Value at cell size zero from two grids, the second with every cell halved."""
    return fine + (fine - coarse) / (2.0**order - 1.0)
