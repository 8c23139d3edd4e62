"""Soil air through time on FiPy: how the pressure under the slab follows a step at the ports.

The check of `soilflow.flow.lag`, by another road: steps through time instead of moments and
projections, on FiPy's own matrix.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from soilflow.errors import InputError
from soilflow.flow.fipy_cells import Cells, cell_numbers, cells_with_gap, flat
from soilflow.flow.fipy_engine import FipyProblem, check_for_fipy, load_fipy
from soilflow.flow.lag import gap_height
from soilflow.flow.soil_map import SoilMap

__all__ = ["FipyCourse", "step_fipy"]

Array = NDArray[np.float64]

# Of each step's residual, far below what the steps themselves leave. [-]
_TOLERANCE = 1e-11


@dataclass(frozen=True, kw_only=True, eq=False)
class FipyCourse:
    """Pressure under the slab through time.

    Parameters
    ----------
    times : array, shape (t,)
        Since the step, the start first. [s]
    u : array, shape (n, t)
        p + p^2 / (2 p_atm) in the columns asked for; NaN where no air reaches. [Pa]
    steady_u : array, shape (n,)
        The same in the end, from a steady solve. [Pa]
    """

    times: Array
    u: Array
    steady_u: Array

    @property
    def left(self) -> Array:
        """Part of the change still to come, shape (n, t). [-]"""
        first, last = self.u[:, :1], self.steady_u[:, None]
        return np.asarray((last - self.u) / (last - first))


def step_fipy(
    soil: SoilMap,
    viscosity: float,
    *,
    air_porosity: float | Array,
    pressure_atm: float,
    start: Array,
    end: Array,
    columns: Sequence[tuple[int, int]],
    times: tuple[float, float],
    growth: float = 1.25,
) -> FipyCourse:
    """Let every port step from one pressure to another, and follow the soil air with FiPy.

    S du/dt = div(k/mu grad u), S = a / p_atm

    Parameters
    ----------
    soil : SoilMap
        What is there.
    viscosity : float
        Viscosity of the soil air. [Pa s]
    air_porosity : float or array, shape of the grid
        Air volume over total volume. [-]
    pressure_atm : float
        Atmospheric pressure. [Pa]
    start, end : array, shape (p,)
        u at the ports before the step, at rest, and after it. [Pa]
    columns : sequence of (int, int)
        Columns of the grid to watch: the gap under the slab, or else the top cell.
    times : tuple of float
        Length of the first step, and the time to reach. [s]
    growth : float
        Each step over the one before it. [-]

    Returns
    -------
    course : FipyCourse
        Pressure in the columns through time.

    Raises
    ------
    InputError
        Times or growth that lead nowhere, or what `respond_fipy` refuses.
    ConvergenceError
        A solve missed its tolerance.

    Notes
    -----
    Each step is taken once whole and once in two halves, and twice the second less the first is
    kept: of second order, and as quiet as implicit steps are when the first ones are too long.
    """
    first, last = times
    if not (0.0 < first < last and growth > 1.0):
        raise InputError("a first step shorter than the whole and a growth above 1 are needed")
    check_for_fipy(soil)
    cells = cells_with_gap(soil, viscosity)
    problem = FipyProblem(load_fipy(), soil, cells, viscosity)
    storage = problem.volume / pressure_atm * _air(soil, cells, air_porosity)
    index = [(ix, iy, soil.top_layer) for ix, iy in columns]
    number = np.ravel_multi_index(np.array(index).reshape(-1, 3).T, soil.grid.shape)
    own, above, over_gap = cell_numbers(soil, cells, number)
    watched = np.where(over_gap, above, own)

    def steady(port_u: Array) -> Array:
        field = problem.fipy.CellVariable(mesh=problem.mesh, value=0.0)
        problem.solve(field, _sent(problem, port_u), _TOLERANCE, "the steady state")
        return np.array(field.value)

    def after(value: Array, step: float) -> Array:
        field = problem.fipy.CellVariable(mesh=problem.mesh, value=value)
        what = f"a step of {step:.3g} s"
        problem.solve(field, sent, _TOLERANCE, what, storage=storage, step=step)
        return np.array(field.value)

    sent = _sent(problem, np.asarray(end))
    value, time, step = steady(np.asarray(start)), 0.0, first
    course, clock = [value[watched]], [time]
    while time < last * (1.0 - 1e-9):
        step = min(step, last - time)
        halved = after(after(value, 0.5 * step), 0.5 * step)
        value = 2.0 * halved - after(value, step)
        time += step
        step *= growth
        course.append(value[watched])
        clock.append(time)
    reached = problem.alive[watched]
    return FipyCourse(
        times=np.array(clock),
        u=np.where(reached[:, None], np.array(course).T, np.nan),
        steady_u=np.where(reached, steady(np.asarray(end))[watched], np.nan),
    )


def _sent(problem: FipyProblem, port_u: Array) -> Array:
    """What the ports send into each cell at their pressures. [m3/s]"""
    weight = problem.scale * problem.conductance * port_u[problem.port]
    return np.bincount(problem.cell, weight, problem.volume.size).astype(float)


def _air(soil: SoilMap, cells: Cells, air_porosity: float | Array) -> Array:
    """Air in each cell over its volume, in FiPy's order of cells. [-]"""
    held = np.array(np.broadcast_to(air_porosity, soil.grid.shape), dtype=float)
    if cells.gap is not None:
        share = gap_height(soil.sheet) / cells.sizes[2][cells.gap]
        held = np.insert(held, cells.gap, share, axis=2)
    return flat(held)
