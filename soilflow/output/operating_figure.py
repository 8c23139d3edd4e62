"""The operating point: where the fan's curve and what soil and pipes ask for meet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from soilflow.air import Air
from soilflow.case import Case
from soilflow.errors import InputError, OutOfRangeError
from soilflow.layout.fan import Fan, static_pressure
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.result import Result
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_operating_point"]

_SPEEDS = (0.25, 0.4, 0.55, 0.7, 0.85, 1.0, 1.15)
_LINES = ("-", "--", "-.", ":")


def plot_operating_point(case: Case, result: Result, *, ax: Axes | None = None) -> Axes:
    """Fan curve, and for each condition what soil and pipes need, as a fan would see it.

    Parameters
    ----------
    case : Case
        The case.
    result : Result
        One of its layouts, solved.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes.

    Raises
    ------
    InputError
        The layout has no fan of its own, or more than one.

    Notes
    -----
    The system curve is what the same fan does at other speeds, each solved with the soil.
    """
    from matplotlib.figure import Figure

    layout = result.arrangement
    if layout.fan is None or layout.more_fans:
        raise InputError("one fan is needed for its operating point", field="layout")
    own = ax is None
    if ax is None:
        ax = Figure(figsize=(7.5, 5.0), layout="constrained").add_subplot()
    duties = {n: c.operating_point for n, c in result.conditions.items()}
    ends = layout.fan.free_air_flow
    flows = np.linspace(0.0, ends, 120)
    density = _pipe_density(case, layout)
    curve = [static_pressure(layout.fan, float(q), density=density) for q in flows]
    ax.plot(flows / M3S_PER_CFM, np.array(curve) / PA_PER_INCH_WC, "k-", linewidth=2.2)
    name = f"fan: {layout.fan.name}"
    ax.plot([], [], "k-", linewidth=2.2, label=name.replace("$", r"\$"))
    for (when, duty), line in zip(duties.items(), _LINES, strict=False):
        seen = np.array(_system(case, result, when)) / [M3S_PER_CFM, PA_PER_INCH_WC]
        if seen.size:
            ax.plot(*seen.T, color="0.45", linestyle=line)
        flow, rise = duty.fan_flow / M3S_PER_CFM, duty.fan_static / PA_PER_INCH_WC
        label = f"{when.replace('_', ' ')}: {flow:.3g} cfm at {rise:.3g} in. w.c."
        ax.plot([flow], [rise], "o", color="white", markeredgecolor="black", markersize=9)
        ax.plot([], [], color="0.45", linestyle=line, marker="o", label=label.replace("$", r"\$"))
    ax.set_xlim(0.0, max(ends / M3S_PER_CFM, 1e-6))
    ax.set_ylim(0.0, 1.15 * layout.fan.shutoff_pressure / PA_PER_INCH_WC)
    ax.set_xlabel("flow at the fan [cfm]")
    ax.set_ylabel("static pressure [in. w.c.]")
    ax.legend(loc="upper right", fontsize=8)
    if own:
        side = ax.secondary_xaxis("top", functions=_both_ways(1e3 * M3S_PER_CFM))
        side.set_xlabel("[L/s]")
        side = ax.secondary_yaxis("right", functions=_both_ways(PA_PER_INCH_WC))
        side.set_ylabel("[Pa]")
    ax.set_title(_sentence(layout.fan, next(reversed(duties.values())).fan_flow), fontsize=9)
    return ax


def _pipe_density(case: Case, layout: Layout) -> float:
    """Of the air the fan moves: that of the pipes, as the operating point takes it. [kg/m3]"""
    warmth = case.conditions[-1].room_temperature
    if layout.pipes is not None:
        warmth = layout.pipes.air_temperature
    return Air(temperature=warmth, pressure_atm=case.air.pressure_atm).density


def _system(case: Case, result: Result, condition: str) -> list[tuple[float, float]]:
    """Flow and static pressure of the fan at other speeds. [m3/s], [Pa]"""
    layout = result.arrangement
    assert layout.fan is not None  # checked by the caller
    when = next(c for c in case.conditions if c.name == condition)
    found = []
    for speed in _SPEEDS:
        other = replace(layout, fan=replace(layout.fan, speed=layout.fan.speed * speed))
        try:
            duty = operate(case, other, when, result.solution, fan_on=True)
        except OutOfRangeError:
            continue  # past the end of a slow fan's curve
        found.append((duty.fan_flow, duty.fan_static))
    return found


def _sentence(fan: Fan, flow: float) -> str:
    share = flow / fan.free_air_flow
    if share < 0.25:
        return (
            "The fan works close to shutoff: little air comes. A fan with more pressure gives\n"
            "more suction; one with more flow gives none."
        )
    if share > 0.6:
        return (
            "The fan works far down its curve: air gets in easily. Seal, then look again, before\n"
            "a bigger fan is bought."
        )
    return "The fan works in the middle of its curve: what is sealed comes back as suction."


def _both_ways(
    factor: float,
) -> tuple[Callable[[ArrayLike], ArrayLike], Callable[[ArrayLike], ArrayLike]]:
    """To another unit and back."""
    return (lambda x: np.asarray(x) * factor, lambda x: np.asarray(x) / factor)
