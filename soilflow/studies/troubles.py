"""What would be left of a layout's margin if one named thing went wrong."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import union_all
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from soilflow.case import Case
from soilflow.conditions import Condition
from soilflow.errors import InputError
from soilflow.flow.grid import COARSE, Grid, Resolution
from soilflow.flow.side_by_side import Progress
from soilflow.flow.soil_map import build_soil_map
from soilflow.grids import grid_of
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.leak_changes import FloorMeasures
from soilflow.run import solve_soil
from soilflow.site.effects import CarriesAlongSheet, Effect
from soilflow.site.ground import SettledGap
from soilflow.site.yards import YardSoil
from soilflow.soil import cubic_law_transmissivity
from soilflow.studies.hairline import (
    HAIRLINE_APERTURE,
    HAIRLINE_LENGTH,
    Hairline,
    with_hairline,
    worst_hairline,
)
from soilflow.studies.leak_model import LeakModel, leak_model, lines_with_tight
from soilflow.studies.leak_outcome import LeakState, deciding_state, solved_measures

__all__ = ["TROUBLES", "Troubled", "Troubles", "coverage_if", "coverage_if_all"]

Array = NDArray[np.float64]

HAIRLINE = "hairline crack"
GAP_BELOW = "hairline over a gap"
YARD = "yard ten times looser"
DRIED = "wet zones dried"
# What each trouble is; all sizes are chosen by the project.
TROUBLES: Mapping[str, str] = {
    HAIRLINE: f"a crack of {1e3 * HAIRLINE_APERTURE:g} mm over {HAIRLINE_LENGTH:g} m of the joint "
    "or crack where it hurts most",
    GAP_BELOW: "the same crack, the soil settled by 0.5 mm below it and 0.3 m to either side",
    YARD: "all soil outside the house ten times looser",
    DRIED: "every moist zone as dry as the soil around it",
}
# Sizes of the troubles in the table. [m], [m], [-]
_GAP_HEIGHT = 5e-4
_GAP_REACH = 0.3
_LOOSER = 10.0


@dataclass(frozen=True, kw_only=True)
class Troubled:
    """A floor under one trouble.

    Parameters
    ----------
    trouble : str
        Its name.
    condition : str
        Name of the condition.
    before, after : FloorMeasures
        The floor as given and with the trouble, on the same resolution.
    place : str
        Where it is, when it is somewhere.
    befalls : bool
        Whether it can befall this house at all; if not, ``after`` is ``before``.
    """

    trouble: str
    condition: str
    before: FloorMeasures
    after: FloorMeasures
    place: str = ""
    befalls: bool = True

    @property
    def passes(self) -> bool:
        """Whether the pass line still holds."""
        return self.after.worst.margin >= 0.0

    def __str__(self) -> str:
        if not self.befalls:
            return f"{self.trouble}: there is nothing here it could befall"
        was, now = self.before, self.after
        where = f" ({self.place})" if self.place else ""
        return (
            f"{self.trouble}{where}: pass line {'holds' if self.passes else 'is LOST'}, worst "
            f"margin {now.worst.margin:.3g} Pa (was {was.worst.margin:.3g}), covered "
            f"{100 * now.coverage_area:.1f} % (was {100 * was.coverage_area:.1f})"
        )


@dataclass(frozen=True, kw_only=True)
class Troubles:
    """Every trouble that was tried on one layout.

    Parameters
    ----------
    tried : tuple of Troubled
        One for each.
    """

    tried: tuple[Troubled, ...]

    @property
    def margins(self) -> dict[str, float]:
        """Worst margin under each trouble that can befall, as the verdict takes it. [Pa]"""
        return {one.trouble: one.after.worst.margin for one in self.tried if one.befalls}

    def __str__(self) -> str:
        return "\n".join(str(one) for one in self.tried)


def coverage_if(
    case: Case,
    trouble: str,
    layout: str | Layout | None = None,
    *,
    condition: str | None = None,
    resolution: Resolution | None = COARSE,
    progress: Progress | None = None,
) -> Troubled:
    """What is left of the floor's suction under one trouble.

    Parameters
    ----------
    case : Case
        The case.
    trouble : str
        One of `TROUBLES`.
    layout : str, Layout or None
        The layout or its name; None takes the first.
    condition : str or None
        Name of the condition; None takes the design condition, or the one with the least margin.
    resolution : Resolution or None
        How fine the grid is; None takes the case's own.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    troubled : Troubled
        The floor before and after.

    Raises
    ------
    InputError
        No such trouble, layout or condition.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        A fan would work outside its curve.

    Notes
    -----
    The hairline is an update of low rank, searched over all positions; the others change the
    soil and are solved anew.
    """
    [found] = coverage_if_all(
        case,
        layout,
        troubles=(trouble,),
        condition=condition,
        resolution=resolution,
        progress=progress,
    ).tried
    return found


def coverage_if_all(
    case: Case,
    layout: str | Layout | None = None,
    *,
    troubles: Sequence[str] = tuple(TROUBLES),
    condition: str | None = None,
    resolution: Resolution | None = COARSE,
    model: LeakModel | None = None,
    progress: Progress | None = None,
) -> Troubles:
    """The same for several troubles, which share what they can.

    Parameters
    ----------
    case : Case
        The case.
    layout : str, Layout or None
        The layout or its name; None takes the first.
    troubles : sequence of str
        Names among `TROUBLES`.
    condition : str or None
        Name of the condition; None takes the design condition, or the one with the least margin.
    resolution : Resolution or None
        How fine the grid is; None takes the case's own.
    model : LeakModel or None
        The house, solved already for this case and layout with a hairline; None solves it.
    progress : callable or None
        Called with the number of fields done and of all fields, first with none done.

    Returns
    -------
    troubles : Troubles
        In the order asked for.

    Raises
    ------
    InputError
        No such trouble, layout or condition.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    OutOfRangeError
        A fan would work outside its curve.
    """
    for name in troubles:
        if name not in TROUBLES:
            have = ", ".join(f'"{one}"' for one in TROUBLES)
            raise InputError(f'no trouble "{name}"; there are {have}', field="trouble")
    chosen = layout if isinstance(layout, Layout) else case.layout(layout)
    if model is None:
        model = leak_model(case, chosen, resolution=resolution, hairline=HAIRLINE_APERTURE)
    state = deciding_state(model, condition)
    hairline = None
    if {HAIRLINE, GAP_BELOW} & set(troubles):
        hairline = worst_hairline(model, state, progress=progress)
    return Troubles(tried=tuple(_troubled(model, state, name, hairline) for name in troubles))


def _troubled(model: LeakModel, state: LeakState, name: str, hairline: Hairline | None) -> Troubled:
    found = Troubled(
        trouble=name,
        condition=state.condition.name,
        before=state.measures,
        after=state.measures,
        befalls=False,
    )
    case, site = model.case, model.case.site
    if name in (HAIRLINE, GAP_BELOW):
        if hairline is None:
            return found
        place = (
            f"{hairline.window.line}, ({hairline.start[0]:.2f}, {hairline.start[1]:.2f}) to "
            f"({hairline.end[0]:.2f}, {hairline.end[1]:.2f}) m"
        )
        after = hairline.after if name == HAIRLINE else _over_a_gap(model, state, hairline)
        return replace(found, after=after, place=place, befalls=True)
    if name == YARD:
        outer = site.walls.outer_face(site.slab.polygon)
        looser = YardSoil(looser_by=_LOOSER).effects(outer, site.walls.grade, site.ground.bottom)
        effects: tuple[Effect, ...] = (*site.effects(), *looser)
    else:
        if not site.moist_zones:
            return found
        effects = replace(site, moist_zones=()).effects()
    after = _anew(case, model.layout, state.condition, effects, model.solution.soil.grid)
    return replace(found, after=after, befalls=True)


def _anew(
    case: Case, layout: Layout, condition: Condition, effects: Sequence[Effect], grid: Grid
) -> FloorMeasures:
    """Solve a house with other effects, and measure its floor."""
    plan = case.site.slab.polygon
    soil = build_soil_map(grid, (*effects, *layout.effects(plan)), layout.held_bodies(plan))
    solution = solve_soil(soil, case.air.viscosity)
    point = operate(case, layout, condition, solution, fan_on=True)
    return solved_measures(case, solution, point.u)


def _over_a_gap(model: LeakModel, state: LeakState, hairline: Hairline) -> FloorMeasures:
    """The worst hairline with the soil settled below it, where the gap is not wider already."""
    case, site = model.case, model.case.site
    window = hairline.window
    lines = [LineString([p.start, p.end]) for p in model.pieces if window.share(p) > 0.0]
    below = union_all(lines).buffer(_GAP_REACH, cap_style="square", join_style="mitre")
    below = below.intersection(site.slab.polygon)
    settled = SettledGap(
        name="below the hairline" + "+" * len(site.gaps),
        aperture=_GAP_HEIGHT,
        corners=tuple(_corners(below)),
    )
    lined = replace(site, gaps=(*site.gaps, settled))
    grid = grid_of(case, [model.layout], sites=[site, lined])
    effects, pieces, is_open = lines_with_tight(site, HAIRLINE_APERTURE)
    effects = with_hairline(effects, pieces, is_open.tolist(), window)
    sheets = [effect for effect in effects if isinstance(effect, CarriesAlongSheet)]
    gap = CarriesAlongSheet(plan=below, transmissivity=_Widest(sheets))
    return _anew(case, model.layout, state.condition, (*effects, gap), grid)


def _corners(area: BaseGeometry) -> list[tuple[float, float]]:
    """Outline of the largest part of an area, for grid lines along it. [m]"""
    largest = max(getattr(area, "geoms", [area]), key=lambda part: part.area)
    return [(float(x), float(y)) for x, y in list(largest.exterior.coords)[:-1]]


class _Widest:
    """Transmissivity of the gap of the trouble, or of one already there if that is wider. [m3]"""

    def __init__(self, sheets: Sequence[CarriesAlongSheet]) -> None:
        self.sheets = sheets

    def __call__(self, x: Array, y: Array) -> Array:
        there = np.zeros(np.shape(x))
        for sheet in self.sheets:
            inside = np.asarray(shapely.contains_xy(sheet.plan, x, y), dtype=bool)
            there[inside] = sheet.transmissivity(x[inside], y[inside])
        return np.maximum(there, cubic_law_transmissivity(_GAP_HEIGHT, 0.0))
