"""What decides between layouts on one of many sites, without all that a result holds."""

from __future__ import annotations

from dataclasses import replace

from soilflow.case import Case
from soilflow.conditions import DESIGN, Condition
from soilflow.layout.layout import Layout
from soilflow.operate import operate
from soilflow.results.coverage import PASS_LINE, coverage, worst_margin
from soilflow.results.floor import floor_response
from soilflow.results.solved import SoilSolution
from soilflow.site.effects import HOUSE
from soilflow.site.site import Site

__all__ = ["judged_by", "measured", "on_site_of"]


def on_site_of(case: Case, site: Site) -> Case:
    """A case on a site that a study made of its own.

    Parameters
    ----------
    case : Case
        The case.
    site : Site
        The site.

    Returns
    -------
    case : Case
        The copy; its variants are of no use there.
    """
    return replace(case, site=site, variants={}, variant=case.variant or "changed by a study")


def judged_by(case: Case) -> tuple[Condition, ...]:
    """The conditions that decide.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    conditions : tuple of Condition
        The design condition; all of them where none is called so, and then the worst counts.
    """
    design = tuple(c for c in case.conditions if c.name == DESIGN)
    return design or case.conditions


def measured(case: Case, layout: Layout, solution: SoilSolution) -> tuple[float, float, float]:
    """Margin, flow and coverage in the condition that decides.

    Parameters
    ----------
    case : Case
        The case.
    layout : Layout
        The layout that was solved.
    solution : SoilSolution
        The solved soil.

    Returns
    -------
    margin : float
        Suction at the worst spot beyond the pass line. [Pa]
    flow : float
        From soil into the pits. [m3/s]
    coverage_area : float
        Share of the floor with the suction of the pass line. [-]
    """
    soil, network, response = solution.soil, solution.network, solution.response
    floor = floor_response(soil, network, response)
    found = []
    for condition in judged_by(case):
        point = operate(case, layout, condition, solution, fan_on=True)
        pressure = floor.pressure(point.u, case.air.pressure_atm, room=soil.ports.index(HOUSE))
        drawn = [point.flows[soil.ports.index(p.name)] for p in layout.points if not p.capped]
        covered = coverage(pressure, PASS_LINE)
        found.append((worst_margin(pressure).margin, float(sum(drawn)), covered))
    return min(found)
