"""A result as a tidy table: one number a row, with what it is, of what, and its unit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from soilflow.results.headlines import HEADLINES, headlines
from soilflow.results.result import Result

__all__ = ["TidyRow", "tidy_rows"]

# Units of result files, which netCDF readers know, as everything else here spells them.
_UNITS = {"1": "-", "m3 s-1": "m3/s"}


@dataclass(frozen=True, kw_only=True)
class TidyRow:
    """One number of a result.

    Parameters
    ----------
    layout, variant, condition : str
        Where it belongs; an empty variant is the case as written.
    quantity : str
        Its name, as in result files.
    of : str
        Suction point, test hole or threshold it is for; empty for a number that stands alone.
    value : float
        The number. [SI]
    unit : str
        Its unit.
    error : float or None
        Half its error bar; None where none was computed. [SI]
    """

    layout: str
    variant: str
    condition: str
    quantity: str
    of: str
    value: float
    unit: str
    error: float | None


def tidy_rows(result: Result) -> Iterator[TidyRow]:
    """Every number of a result that a reader acts on, one a row.

    Parameters
    ----------
    result : Result
        The result.

    Yields
    ------
    row : TidyRow
        By condition, then in the order of `soilflow.results.headlines.HEADLINES`.

    Examples
    --------
    With pandas, for one: ``DataFrame(vars(row) for row in tidy_rows(result))``.
    """
    points = [point.name for point in result.arrangement.points]
    for name, found in result.conditions.items():
        for quantity, numbers in headlines(found, points).items():
            unit = HEADLINES[quantity][0]
            bars = found.bars.get(quantity, {})
            for of, value in numbers.items():
                yield TidyRow(
                    layout=result.layout,
                    variant=result.variant,
                    condition=name,
                    quantity=quantity,
                    of=of,
                    value=value,
                    unit=_UNITS.get(unit, unit),
                    error=bars[of].error if of in bars else None,
                )
