"""How far a number on a grid may be from the number on ever smaller cells.

The grid convergence index: the change from grid to grid is extrapolated with the order that
three grids show, and taken times a factor of safety; numbers that do not settle down get three
times the range they cover.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from soilflow.errors import InputError

__all__ = ["Bars", "Bracketed", "bracket", "observed_order", "tell_apart"]

# Factors of safety: 1.25 where three grids show an order to be believed, 3 elsewhere
# (Roache 1994, J. Fluids Eng. 116:405, from memory).
_BELIEVED, _DOUBTED = 1.25, 3.0
# Orders to be believed: the scheme is of order 2 where nothing is singular, and faster than that
# is chance; slower than 0.5 an extrapolation runs away (both as in Eca & Hoekstra 2014, J. Comput.
# Phys. 262:104, from memory).
_LEAST_ORDER, _MOST_ORDER = 0.5, 2.05
# Edge of a box, end of a joint, corner of a floor: somewhere in a house the field goes as h^(4/3).
# No extrapolation counts on more, so that smooth numbers get a bar 1.7 times as long; with order
# 2 allowed, one exact value in twelve lay outside, now one in fifty (benchmarks/error_bars.py).
_HOUSE_ORDER = 4.0 / 3.0
# Parts of a value that solver and sums may be off by: balances are asked to 1e-8.
_ROUNDING = 1e-7


@dataclass(frozen=True, kw_only=True)
class Bracketed:
    """A number and how far its grid may have it off.

    Parameters
    ----------
    value : float
        On the finest grid. [SI]
    error : float
        Half the bar: the number without a grid lies within value minus and plus this; infinite
        where the grids tell nothing. [SI]
    order : float
        Power of the cell size that the last changes followed; NaN where they followed none to be
        believed, and the bar is three times their range. [-]
    """

    value: float
    error: float
    order: float = math.nan

    def __repr__(self) -> str:
        shown = "no order" if math.isnan(self.order) else f"order {self.order:.2f}"
        return f"Bracketed({self.value:.6g} +- {self.error:.2g}, {shown})"


# Headline numbers of one condition: by the name they have in a result file, then by what they
# belong to there (a threshold, a suction point, a test hole); "" where there is one number alone.
Bars = Mapping[str, Mapping[str, Bracketed]]


def observed_order(sizes: Sequence[float], values: Sequence[float]) -> float:
    """Order p for which three values lie on f = f0 + c h^p.

    (f3 - f2) / (f2 - f1) = (h3^p - h2^p) / (h2^p - h1^p)

    Parameters
    ----------
    sizes : sequence of float
        Cell sizes of three grids, falling; only their ratios count. [-]
    values : sequence of float
        The number on each. [SI]

    Returns
    -------
    order : float
        NaN where the values do not go one way, or change more and more. [-]

    References
    ----------
    Celik et al. 2008, J. Fluids Eng. 130:078001, equation 3, which is this one with the sizes
    written as ratios.

    Examples
    --------
    >>> round(observed_order([4.0, 2.0, 1.0], [9.0, 3.0, 1.5]), 3)
    2.0
    """
    h3, h2, h1 = sizes
    f3, f2, f1 = values
    if not (f3 - f2) * (f2 - f1) > 0.0:
        return math.nan
    wanted = (f3 - f2) / (f2 - f1)

    def ratio(p: float) -> float:
        return (h3**p - h2**p) / (h2**p - h1**p)

    low, high = 1e-3, 20.0
    if wanted <= ratio(low):
        return math.nan
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ratio(middle) < wanted else (low, middle)
    return 0.5 * (low + high)


def bracket(
    sizes: Sequence[float], values: Sequence[float], *, least: float = 0.0, share: bool = False
) -> Bracketed:
    """Put an error bar on a number that was found on two grids or more.

    E = F |f1 - f2| / ((h2 / h1)^p - 1)

    with F = 1.25 and p as the last three grids show it, at most 4/3. Where they show more than 2
    it is no less than 1.25 times the range of the three values; where they show less than 0.5,
    or do not go one way, three times that range. Two grids alone get F = 3 and p = 4/3.

    Parameters
    ----------
    sizes : sequence of float
        Cell sizes of the grids, falling; only their ratios count. [-]
    values : sequence of float
        The number on each grid. [SI]
    least : float
        Smallest bar that makes sense, such as what one cell is worth. [SI]
    share : bool
        Whether the number is a share of a whole, so that no bar need reach past 0 and 1 both.

    Returns
    -------
    bracketed : Bracketed
        The value on the last grid, with its bar.

    Raises
    ------
    InputError
        Fewer than two grids, or sizes that do not fall.

    Notes
    -----
    The bar holds the error of cells and nothing else: no doubt about soil, gap or joint is in it.

    References
    ----------
    Roache 1994, J. Fluids Eng. 116:405; Celik et al. 2008, J. Fluids Eng. 130:078001; ASME
    V&V 20, from memory.

    Examples
    --------
    >>> bracket([4.0, 2.0, 1.0], [9.0, 3.0, 1.5])
    Bracketed(1.5 +- 1.2, order 2.00)
    """
    if len(sizes) != len(values) or len(sizes) < 2:
        raise InputError("an error bar needs the value on two grids or more", field="values")
    if any(fine >= coarse for coarse, fine in itertools.pairwise(sizes)):
        raise InputError("cell sizes must fall from grid to grid", field="sizes")
    h, f = [float(size) for size in sizes[-3:]], [float(value) for value in values[-3:]]
    if not all(map(math.isfinite, f)):
        return Bracketed(value=f[-1], error=math.inf)
    least = max(least, _ROUNDING * max(map(abs, f)))
    step, span = abs(f[-1] - f[-2]), max(f) - min(f)
    order = observed_order(h, f) if len(f) == 3 else math.nan
    if len(f) == 2 or order >= _LEAST_ORDER:
        p = _HOUSE_ORDER if len(f) == 2 else min(order, _HOUSE_ORDER)
        safety = _DOUBTED if len(f) == 2 else _BELIEVED
        error = safety * step / ((h[-2] / h[-1]) ** p - 1.0)
        if order > _MOST_ORDER:
            error = max(error, safety * span)
    else:
        error, order = _DOUBTED * span, math.nan
    error = max(error, least)
    if share:
        error = min(error, max(f[-1], 1.0 - f[-1]))
    return Bracketed(value=f[-1], error=error, order=order)


def tell_apart(one: Bracketed, other: Bracketed) -> bool:
    """Whether two numbers differ by more than their grids may have them off.

    Parameters
    ----------
    one, other : Bracketed
        The numbers.

    Returns
    -------
    apart : bool
        Their difference is beyond the root of the sum of both squared errors.

    Examples
    --------
    >>> tell_apart(Bracketed(value=2.0, error=0.3), Bracketed(value=2.4, error=0.4))
    False
    """
    return abs(one.value - other.value) > math.hypot(one.error, other.error)
