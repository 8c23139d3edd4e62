"""Where a grid must have lines, and how far it reaches: read off effects."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from soilflow.errors import InputError
from soilflow.site.effects import (
    Blocks,
    BlocksFace,
    CarriesAlongLine,
    CarriesAlongSheet,
    Effect,
    LeaksAlongLine,
    LeaksOverArea,
    LeaksOverFace,
)

__all__ = ["FAR", "centre_lines", "effect_lines", "house_range", "reach_of_yard"]

# Narrowest row of cells around a line conductor (chosen by the project). [m]
_LEAST_ROW = 0.1
# Farther out than this an effect has no end. [m]
FAR = 1e3


def effect_lines(effect: Effect) -> tuple[list[set[float]], list[set[float]]]:
    """Coordinates an effect wants as grid lines.

    Parameters
    ----------
    effect : Effect
        The effect.

    Returns
    -------
    sharp, plain : list of set of float
        Per axis, lines with small cells beside them, and lines without. [m]
    """
    sharp: list[set[float]] = [set(), set(), set()]
    plain: list[set[float]] = [set(), set(), set()]
    if isinstance(effect, (LeaksAlongLine, LeaksOverFace, BlocksFace)):
        for axis in range(2):
            sharp[axis].update((effect.start[axis], effect.end[axis]))
        if not isinstance(effect, LeaksAlongLine):
            sharp[2].update((effect.top, effect.bottom))
        return sharp, plain
    if isinstance(effect, CarriesAlongLine):
        return sharp, _line_cells(effect)
    if isinstance(effect, CarriesAlongSheet | LeaksOverArea):
        plan = effect.plan
    else:
        plan = effect.where.plan
        into = sharp if isinstance(effect, Blocks) else plain
        into[2].update((effect.where.top, effect.where.bottom))
    hole = isinstance(effect, LeaksOverArea) and effect.hole
    into = sharp if hole or isinstance(effect, Blocks | CarriesAlongSheet) else plain
    for part in getattr(plan, "geoms", [plan]):
        if part.geom_type != "Polygon":  # a strip so thin that rounding makes a line of it
            continue
        for ring in (part.exterior, *part.interiors):
            for x, y in ring.coords:
                into[0].add(float(x))
                into[1].add(float(y))
    return sharp, plain


def _line_cells(effect: CarriesAlongLine) -> list[set[float]]:
    """Edges of a row of cells around a line, no narrower than its bore. [m]"""
    half = max(effect.radius, 0.5 * _LEAST_ROW)
    found: list[set[float]] = [set(), set(), set()]
    for a, b in itertools.pairwise(effect.points):
        normal = 0 if a[0] == b[0] else 1
        found[normal] |= {a[normal] - half, a[normal] + half}
        if effect.depth == 0.0:  # what lies over the bore opens into it
            found[normal] |= {a[normal] - effect.radius, a[normal] + effect.radius}
        found[1 - normal] |= {a[1 - normal], b[1 - normal]}
    found[2] |= {z for z in (effect.depth - half, effect.depth + half) if z > 0.0}
    return [{round(v, 9) for v in axis if abs(v) < FAR} for axis in found]


def reach_of_yard(effects: Sequence[Effect]) -> float:
    """Reach of the yard: three half-widths of the floor, its shorter side counting.

    Parameters
    ----------
    effects : sequence of Effect
        From the site.

    Returns
    -------
    reach : float
        Beyond the outer wall faces. [m]
    """
    floors = [e.plan.bounds for e in effects if isinstance(e, LeaksOverArea) and e.depth == 0.0]
    inner = [f for f in floors if max(abs(v) for v in f) < FAR]
    if not inner:
        return 10.0
    x0, y0 = (min(f[i] for f in inner) for i in (0, 1))
    x1, y1 = (max(f[i] for f in inner) for i in (2, 3))
    return max(1.5 * min(x1 - x0, y1 - y0), 6.0)


def house_range(axis: int, sharp: set[float], effects: Sequence[Effect]) -> tuple[float, float]:
    """Outer wall faces along an axis, or the floor's edges where there is no wall.

    Parameters
    ----------
    axis : int
        0 or 1 for x or y.
    sharp : set of float
        Lines with small cells beside them. [m]
    effects : sequence of Effect
        From the site.

    Returns
    -------
    low, high : float
        The outermost of them. [m]

    Raises
    ------
    InputError
        Nothing says how far the house reaches.
    """
    bounds = [e.plan.bounds for e in effects if isinstance(e, LeaksOverArea) and e.depth == 0.0]
    ends = [b[i] for b in bounds for i in (axis, axis + 2) if abs(b[i]) < FAR]
    every = [*sharp, *ends]
    if not every:
        raise InputError("nothing says how far the house reaches", field="slab")
    return min(every), max(every)


def centre_lines(
    wanted: set[float],
    required: set[float],
    sources: Sequence[tuple[float, float, float]],
    rate: float,
) -> set[float]:
    """Centre lines of pits that cost no sliver beside a real interface or each other.

    Parameters
    ----------
    wanted : set of float
        Centres. [m]
    required : set of float
        Lines there must be. [m]
    sources : sequence of (low, high, size)
        Stretches over which a cell size is wanted. [m]
    rate : float
        Natural logarithm of the growth from cell to cell. [-]

    Returns
    -------
    lines : set of float
        Those worth having. [m]
    """
    groups: list[list[tuple[float, float]]] = []
    for line in sorted(wanted):
        cell = 0.75 * min(h + rate * max(a - line, line - b, 0.0) for a, b, h in sources)
        if groups and line - groups[-1][-1][0] <= max(cell, groups[-1][-1][1]):
            groups[-1].append((line, cell))
        else:
            groups.append([(line, cell)])
    # neighbours count as their mean: keeping the first would give a mirrored house another grid
    means = [np.mean(group, axis=0) for group in groups]
    return {float(at) for at, cell in means if min(abs(at - r) for r in required) > cell}
