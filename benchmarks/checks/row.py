"""One check of a number, and groups of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from problems.orders import extrapolated, observed_order

EQUAL, AT_LEAST, AT_MOST = "=", ">=", "<="
MEMORY = ", from memory"


@dataclass(frozen=True, kw_only=True)
class Row:
    """What soilflow says beside what somebody else says.

    ``error`` is relative to the value, or absolute where that is nought. With a relation other
    than ``=`` only the wrong side of the value counts as an error.
    """

    check: str
    source: str
    value: float
    ours: float
    tolerance: float
    order: float | None = None
    relation: str = EQUAL

    @property
    def error(self) -> float:
        off = self.ours - self.value
        if self.relation != EQUAL:
            off = off if self.relation == AT_MOST else -off
            off = 0.0 if off <= 0.0 else off  # what is not a number stays so
        return abs(off / self.value) if self.value else abs(off)

    @property
    def passed(self) -> bool:
        """Not so when the error is not a number."""
        return self.error <= self.tolerance


@dataclass(frozen=True, kw_only=True)
class Group:
    """Rows of one kind of physics, and what they prove together."""

    name: str
    proves: str
    rows: Callable[[], Iterable[Row]]


def as_json(group: Group, row: Row) -> dict[str, Any]:
    """A row in plain words and numbers; JSON has no word for what is not a number."""

    def finite(number: float | None) -> float | None:
        return None if number is None or not math.isfinite(number) else float(number)

    return {
        "check": row.check,
        "source": row.source,
        "value": finite(row.value),
        "ours": finite(row.ours),
        "error": finite(row.error),
        "order": finite(row.order),
        "tolerance": row.tolerance,
        "passed": bool(row.passed),
        "relation": row.relation,
        "group": group.name,
        "proves": group.proves,
    }


def refined(
    check: str,
    source: str,
    value: float,
    solve: Callable[[int], float],
    levels: tuple[int, int, int],
    *,
    order: float,
    raw: float,
    tolerance: float,
    at: int = 0,
    show_order: bool = True,
) -> Iterable[Row]:
    """Two rows: as the grid comes, and extrapolated from two grids with the expected order.

    ``levels`` are cells per length; the second of the last two is twice the first. ``at`` says
    which level is held to the raw tolerance. The observed order stands beside both, unless the
    errors are too small for it to mean something.
    """
    found = {n: solve(n) for n in levels}
    errors = [abs(found[n] / value - 1.0) for n in levels]
    seen = observed_order([1.0 / n for n in levels], errors) if show_order else None
    yield Row(
        check=check,
        source=source,
        value=value,
        ours=found[levels[at]],
        tolerance=raw,
        order=seen,
    )
    fine = levels[-1]
    yield Row(
        check=f"{check}, extrapolated",
        source=source,
        value=value,
        ours=extrapolated(found[fine // 2], found[fine], order),
        tolerance=tolerance,
        order=seen,
    )
