"""How suction fades away from a pit, beside the formula of a leaky layer."""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import k0

from soilflow.errors import InputError
from soilflow.output.plan import FEET, PlanUnit
from soilflow.results.floor import pressure_at
from soilflow.results.result import Result

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["fitted_leakage", "plot_decay"]

Array = NDArray[np.float64]

_WAYS = {"east": (1.0, 0.0), "north": (0.0, 1.0), "west": (-1.0, 0.0), "south": (0.0, -1.0)}
_POINTS = 120


def fitted_leakage(distance: Array, suction: Array) -> tuple[float, float]:
    """Leakage length and scale with which K0 comes closest to a fading suction.

    s = amplitude K0(r / leakage)

    Parameters
    ----------
    distance : array, shape (n,)
        From the middle of the pit. [m]
    suction : array, shape (n,)
        Suction there, above zero. [Pa]

    Returns
    -------
    leakage : float
        Leakage length, of four hundred tried between 0.05 and 50 m. [m]
    amplitude : float
        What K0 is multiplied by. [Pa]

    Raises
    ------
    InputError
        Fewer than three places with suction.

    References
    ----------
    De Glee 1930, from memory: suction around a well in a layer under a leaky cover.

    Examples
    --------
    >>> from scipy.special import k0
    >>> r = np.linspace(0.5, 6.0, 40)
    >>> round(fitted_leakage(r, 100.0 * k0(r / 2.0))[0], 1)
    2.0
    """
    use = (suction > 0.0) & (distance > 0.0)
    r, logs = distance[use], np.log(suction[use])
    if r.size < 3:
        raise InputError(f"{r.size} places with suction; at least 3 are needed", field="suction")
    lengths = np.geomspace(0.05, 50.0, 400)
    shapes = np.log(np.maximum(k0(r[None, :] / lengths[:, None]), 1e-300))
    scales = (logs - shapes).mean(axis=1)
    misses = np.sum((logs - shapes - scales[:, None]) ** 2, axis=1)
    best = int(np.argmin(misses))
    return float(lengths[best]), float(np.exp(scales[best]))


def plot_decay(
    result: Result,
    *,
    condition: str,
    through: str | None = None,
    unit: PlanUnit = FEET,
    ax: Axes | None = None,
) -> Axes:
    """Suction the fan adds, along the four ways from a pit, as far as no other pit is nearer.

    Parameters
    ----------
    result : Result
        A solved layout.
    condition : str
        Name of the condition.
    through : str or None
        The suction point; None takes the first.
    unit : PlanUnit
        Length unit of the axis.
    ax : matplotlib.axes.Axes or None
        Axes to draw on; None makes some.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The axes, suction on a logarithmic scale.

    Raises
    ------
    InputError
        No such suction point.
    """
    from matplotlib.figure import Figure

    if ax is None:
        ax = Figure(figsize=(7.5, 4.8), layout="constrained").add_subplot()
    points = [p for p in result.arrangement.points if through in (None, p.name)]
    if not points:
        raise InputError(f'no suction point "{through}" in this layout', field="through")
    point, m = points[0], unit.metres
    others = [p for p in result.arrangement.points if p is not point]
    found = result.conditions[condition]
    looks = dict(zip(_WAYS, ("-", "--", "-.", ":"), strict=True))
    all_r: list[Array] = []
    all_s: list[Array] = []
    for way, (ex, ey) in _WAYS.items():
        r = np.linspace(0.15, _room(result, point.x, point.y, ex, ey), _POINTS)
        places = [(point.x + d * ex, point.y + d * ey) for d in r]
        mine = [
            all(hypot(x - q.x, y - q.y) >= d for q in others)
            for d, (x, y) in zip(r, places, strict=True)
        ]
        r, places = r[mine], [place for place, keep in zip(places, mine, strict=True) if keep]
        if r.size < 3 or r[-1] < 1.0:
            continue
        on = np.array([pressure_at(found.floor, *p) for p in places])
        off = np.array([pressure_at(found.floor_off, *p) for p in places])
        added = off - on
        ax.semilogy(r / m, np.where(added > 0.0, added, np.nan), "k" + looks[way], label=way)
        beyond = r > 0.5
        all_r.append(r[beyond])
        all_s.append(added[beyond])
    r, s = np.concatenate([[], *all_r]), np.concatenate([[], *all_s])
    keep = np.isfinite(s) & (s > 0.0)
    words = "no formula fits"
    if keep.sum() >= 3:
        leakage, scale = fitted_leakage(r[keep], s[keep])
        line = np.geomspace(0.3, r.max(), 100)
        ax.semilogy(line / m, scale * k0(line / leakage), color="0.6", linewidth=4.0, zorder=0)
        ax.plot([], [], color="0.6", linewidth=4.0, label="leaky layer, K0")
        words = f"leakage length {leakage / m:.2g} {unit.name}, fitted"
        if leakage > 3.0 * r.max():
            words = f"leakage length over {3.0 * r.max() / m:.2g} {unit.name}: gap or band"
    ax.axhline(1.0, color="black", linewidth=2.5)
    ax.text(0.99, 1.06, "1 Pa", transform=ax.get_yaxis_transform(), ha="right", fontsize=8)
    ax.set_xlabel(f"distance from the middle of the pit [{unit.name}]")
    ax.set_ylabel("suction added by the fan [Pa]")
    ax.legend(fontsize=8, title=words, title_fontsize=8)
    ax.set_title(
        f'Away from "{point.name}" suction falls by the same factor with each step, and much\n'
        "faster close to the pit; where a line lies flatter, looser soil or a gap carries it.",
        parse_math=False,
        fontsize=9,
    )
    return ax


def _room(result: Result, x: float, y: float, ex: float, ey: float) -> float:
    """How far it is to the wall. [m]"""
    from shapely.geometry import LineString, Point

    ray = LineString([(x, y), (x + 999.0 * ex, y + 999.0 * ey)])
    crossed = ray.intersection(result.site.slab.polygon.boundary)
    return float(crossed.distance(Point(x, y))) if not crossed.is_empty else 0.0
