"""Exceptions and warnings of soilflow.

::

    SoilflowError
    |-- InputError (also ValueError)      something the user wrote or passed is wrong
    |   |-- CaseError                     ... in a case file: carries every located mistake
    |   `-- ResultFileError               ... in a result file
    |-- OutOfRangeError (also ValueError) a curve or formula asked outside its range
    |-- ConvergenceError                  an iteration missed its tolerance
    |-- BalanceError                      the air that enters is not the air that leaves
    `-- TooLargeError (also MemoryError)  more cells than there is memory for

    SoilflowWarning (a UserWarning)       doubtful, but it can be computed

Every exception carries the numbers it talks about as attributes, so that a program
need not read the sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = [
    "BalanceError",
    "CaseError",
    "ConvergenceError",
    "InputError",
    "Mistake",
    "OutOfRangeError",
    "ResultFileError",
    "SoilflowError",
    "SoilflowWarning",
    "TooLargeError",
]


class SoilflowError(Exception):
    """Anything soilflow raises on purpose."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Travel whole between processes: an error's own numbers are not arguments of Exception."""
        return _remade, (type(self), self.args), self.__dict__


def _remade(kind: type[SoilflowError], args: tuple[Any, ...]) -> SoilflowError:
    error = kind.__new__(kind, *args)
    error.args = args
    return error


class SoilflowWarning(UserWarning):
    """A doubtful input or result that can still be computed."""


class InputError(SoilflowError, ValueError):
    """A value that cannot be used.

    Parameters
    ----------
    message : str
        What was read, what is wrong, what would work.
    field : str
        Path of the field, such as ``site.slab.thickness``; empty when unknown.
    """

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field

    def __str__(self) -> str:
        return f"{self.field}: {self.message}" if self.field else self.message


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One located mistake in a case file.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it.
    line : int
        Line in the file, from 1; 0 when the mistake has no line.
    field : str
        Path of the field, such as ``layout[0].points[1].x``.
    message : str
        What was read, what is wrong, what would work.
    """

    file: str
    line: int
    field: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        return (
            f"{where}: {self.field}: {self.message}" if self.field else f"{where}: {self.message}"
        )


class CaseError(InputError):
    """A case file with one or more mistakes, all of them found at once.

    Parameters
    ----------
    mistakes : tuple of Mistake
        The located mistakes in the order of the file.
    """

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        self.mistakes = mistakes
        super().__init__("\n".join(str(m) for m in mistakes))


class ResultFileError(InputError):
    """A result file that cannot be read as one."""


class OutOfRangeError(SoilflowError, ValueError):
    """A curve or formula was asked outside the range it is known in."""


class ConvergenceError(SoilflowError):
    """An iteration stopped short of its tolerance.

    Parameters
    ----------
    message : str
        What was solved, what was reached, what to try.
    reached : float
        The residual measure reached. [-]
    wanted : float
        The tolerance that was asked for. [-]
    iterations : int
        Iterations spent.
    """

    def __init__(self, message: str, *, reached: float, wanted: float, iterations: int) -> None:
        super().__init__(message)
        self.reached = reached
        self.wanted = wanted
        self.iterations = iterations


class BalanceError(SoilflowError):
    """Air entering and air leaving differ by more than the stated bound.

    Parameters
    ----------
    message : str
        Which field, by how much, and the bound.
    reached : float
        Imbalance relative to the largest flow. [-]
    wanted : float
        The bound. [-]
    """

    def __init__(self, message: str, *, reached: float, wanted: float) -> None:
        super().__init__(message)
        self.reached = reached
        self.wanted = wanted


class TooLargeError(SoilflowError, MemoryError):
    """A grid would not fit into memory; nothing was allocated.

    Parameters
    ----------
    message : str
        How many cells, what they need, what is free, what would fit.
    needed : float
        Memory the grid needs, estimated. [MB]
    available : float
        Memory that is free. [MB]
    """

    def __init__(self, message: str, *, needed: float, available: float) -> None:
        super().__init__(message)
        self.needed = needed
        self.available = available
