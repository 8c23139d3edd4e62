"""Solving one layout for a command: the engine and the bars asked for, and a word if it is slow."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from soilflow.cli.meter import meter
from soilflow.cli.options import Engine
from soilflow.cli.reporting import aside

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.layout.layout import Layout
    from soilflow.results.result import Result

__all__ = ["solve"]

_SLOW = 5.0  # estimated seconds beyond which a word about it is welcome [s]


def solve(case: Case, layout: Layout, engine: str, *, quiet: bool, bars: bool) -> Result:
    """Solve one layout and say how long it takes.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout.
    engine : str
        Name of the engine.
    quiet : bool
        Say nothing.
    bars : bool
        Solve on three grids, for error bars.

    Returns
    -------
    result : Result
        What was found.

    Raises
    ------
    SoilflowError
        It cannot be solved.
    """
    from soilflow.grids import estimate
    from soilflow.run import run_layout
    from soilflow.studies.error_estimate import estimate_with_bars, run_with_bars

    cost = (estimate_with_bars if bars else estimate)(case, layout)
    slow = cost.seconds > _SLOW and not quiet
    if slow:
        grids = " on three grids" if bars else ""
        aside(f"solving {cost.cells} cells{grids}, about {cost.seconds:.0f} s ...")
    with meter("unit fields", shown=slow) as progress:
        solve = run_with_bars if bars else run_layout
        if engine != Engine.FIPY:
            return solve(case, layout, progress=progress)
        from soilflow.engines import solve_soil_fipy

        result = solve(case, layout, engine=solve_soil_fipy, progress=progress)
        return replace(result, notes=("solved with FiPy, the engine for checks", *result.notes))
