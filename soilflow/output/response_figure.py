"""How a reading comes in after the fan is switched on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from soilflow.results.response_time import FloorLag

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_response"]

_LINES = ("-", "--", "-.", ":")
_GREYS = ("black", "0.45")
_FIRST = 1.0  # the curves are not resolved before that [s]


def plot_response(
    lag: FloorLag, places: Mapping[str, tuple[float, float]], *, ax: Axes | None = None
) -> Axes:
    """Share of the final reading that has come, over time, at each place.

    Parameters
    ----------
    lag : FloorLag
        How long the floor takes.
    places : mapping of str to (float, float)
        Test holes, or any places on the floor. [m]
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes, time on a logarithmic scale.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(7.5, 4.8), layout="constrained").add_subplot()
    waits = {name: lag.at(*place)[1] for name, place in places.items()}
    known = [t for t in waits.values() if np.isfinite(t) and t > 0.0]
    longest = max(known, default=1.0)
    times = np.geomspace(_FIRST, max(10.0 * longest, 10.0 * _FIRST), 200)
    for i, (name, place) in enumerate(places.items()):
        label = f"{name}: {_spoken(waits[name])}".replace("$", r"\$")
        look = {"linestyle": _LINES[i % 4], "color": _GREYS[i // 4 % 2]}
        ax.semilogx(times, 100.0 * lag.curve(*place, times), label=label, **look)
    ax.axhline(90.0, color="0.6", linewidth=1.0)
    ax.set_xlabel("time since the fan was switched on [s]")
    ax.set_ylabel("share of the final change [%]")
    ax.set_ylim(0.0, 105.0)
    ax.legend(fontsize=8, title="until nine tenths are there", title_fontsize=8)
    ax.set_title(
        f"Wait before a gauge is read: the slowest of these has nine tenths after "
        f"{_spoken(longest)}.\nTimes go with the air in the soil, here "
        f"{100 * lag.air_porosity:.0f} % of its volume, a guess.",
        fontsize=9,
    )
    return ax


def _spoken(seconds: float) -> str:
    """A time in the unit people would use."""
    if not np.isfinite(seconds):
        return "no air gets there"
    for size, name in ((86400.0, "days"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 1.5 * size:
            return f"{seconds / size:.2g} {name}"
    return f"{max(seconds, 1.0):.0f} s"
