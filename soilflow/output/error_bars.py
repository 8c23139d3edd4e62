"""Error bars of the grid as text and as plain types."""

from __future__ import annotations

import math
from typing import Any

from soilflow.results.headlines import HEADLINES
from soilflow.results.solved import ConditionResult

__all__ = ["about_bars", "bars_to_list", "half_bar", "plus_minus", "too_close"]


def about_bars(found: ConditionResult) -> str:
    """Say what the bars of a printout are.

    Parameters
    ----------
    found : ConditionResult
        The condition that decides, with bars.

    Returns
    -------
    words : str
        Sentences.
    """
    said = (
        "± is what the size of the cells may have a figure off by, from three grids; on soils with "
        "exact answers 19 such bars in 20 held them. Of what lies under this slab it knows "
        "nothing."
    )
    if math.isnan(found.bars["worst_margin"][""].order):
        said += (
            " The worst spot does not settle from grid to grid: its bar is three times the range "
            "of the three."
        )
    return said


def plus_minus(error: float) -> str:
    """Write half an error bar to one figure, or to two that start with a 1, rounded up.

    Parameters
    ----------
    error : float
        Half the bar, in any unit. [SI]

    Returns
    -------
    words : str
        Never less than the bar; "± ?" where the grids tell nothing.

    Examples
    --------
    >>> plus_minus(0.0231), plus_minus(0.0102), plus_minus(12.2), plus_minus(0.0)
    ('± 0.03', '± 0.011', '± 13', '± 0')
    """
    if not math.isfinite(error):
        return "± ?"
    if error < 1e-4:
        return "± 0" if error == 0.0 else "± 0.0001"
    place = math.floor(math.log10(error))
    digits = -place + (1 if error < 2.0 * 10.0**place else 0)
    up = math.ceil(error * 10.0**digits * (1.0 - 1e-9)) / 10.0**digits
    return f"± {up:.{max(digits, 0)}f}"


def half_bar(found: ConditionResult, name: str, of: str = "", *, unit: float = 1.0) -> str:
    """Write half the error bar of a headline number.

    Parameters
    ----------
    found : ConditionResult
        The condition.
    name : str
        The number, as in `soilflow.results.headlines.HEADLINES`.
    of : str
        Its threshold, suction point or test hole.
    unit : float
        One unit of what stands beside it. [SI]

    Returns
    -------
    words : str
        Without a unit; empty where there is no bar.
    """
    bar = found.bars.get(name, {}).get(of)
    return "" if bar is None else plus_minus(bar.error / unit)


def too_close(found: ConditionResult) -> bool:
    """Whether the bar of the worst margin reaches across the pass line.

    Parameters
    ----------
    found : ConditionResult
        The condition.

    Returns
    -------
    close : bool
        False too where there is no bar.
    """
    bar = found.bars.get("worst_margin", {}).get("")
    return bar is not None and abs(bar.value) <= bar.error


def bars_to_list(found: ConditionResult) -> list[dict[str, Any]]:
    """Error bars in plain types, ready for JSON.

    Parameters
    ----------
    found : ConditionResult
        The condition.

    Returns
    -------
    bars : list of dict
        One for each number, with what it belongs to, its unit, and None where there is no number.
    """

    def plain(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    return [
        {
            "name": name,
            "of": of,
            "unit": HEADLINES[name][0],
            "value": plain(bar.value),
            "error": plain(bar.error),
            "order": plain(bar.order),
        }
        for name, by_label in found.bars.items()
        for of, bar in by_label.items()
    ]
