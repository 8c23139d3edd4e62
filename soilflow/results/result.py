"""The result of one layout on one site: every condition, with how the solve went."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from soilflow.air import Air
from soilflow.layout.layout import Layout
from soilflow.results.dataset import labelled
from soilflow.results.notebook import plan_and_numbers
from soilflow.results.solved import Baseline, ConditionResult, SoilSolution, deciding
from soilflow.results.tables import array_groups
from soilflow.site.site import Site

if TYPE_CHECKING:
    from xarray import Dataset

__all__ = ["Baseline", "ConditionResult", "Result", "SoilSolution", "deciding"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """One layout on one site, all conditions, one grid.

    Parameters
    ----------
    title, layout, variant : str
        Names of the case, the layout and the site variant (empty for the case as written).
    site : Site
        What is there.
    arrangement : Layout
        The layout itself.
    air : Air
        Air in the soil.
    hole_places : mapping of str to (float, float)
        Places of the test holes. [m]
    solution : SoilSolution
        The solved soil.
    conditions : mapping of str to ConditionResult
        By name.
    notes : tuple of str
        What the reader should know: doubtful inputs, lost cells, floor without air.
    seconds : mapping of str to float
        Time spent by stage. [s]
    """

    title: str
    layout: str
    variant: str
    site: Site
    arrangement: Layout
    air: Air
    hole_places: Mapping[str, tuple[float, float]]
    solution: SoilSolution
    conditions: Mapping[str, ConditionResult]
    notes: tuple[str, ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)

    @property
    def cells(self) -> int:
        """Soil cells and gap cells solved for."""
        return self.solution.network.nodes

    @property
    def iterations(self) -> int:
        """Most iterations any unit field took."""
        return self.solution.response.iterations

    @property
    def mass_balance(self) -> float:
        """Largest imbalance of a unit field relative to its flow. [-]"""
        return self.solution.response.balance

    def to_xarray(self) -> Dataset:
        """All arrays of the result as one labelled data set.

        Returns
        -------
        dataset : xarray.Dataset
            Fields over z (height above the slab underside, up), y and x, and over condition or
            port where there is one for each; every variable has its unit and a long name.

        Raises
        ------
        SoilflowError
            xarray is not installed.
        """
        facts = {"title": self.title, "layout": self.layout, "variant": self.variant}
        groups = array_groups(self.solution, self.conditions, self.hole_places, self.air)
        return labelled(groups, facts)

    def _repr_html_(self) -> str:
        title = f"{self.title}. Layout: {self.layout}" + (f", {self.variant}" * bool(self.variant))
        return plan_and_numbers(title, self.site, self.arrangement, deciding(self.conditions))

    def __repr__(self) -> str:
        lines = [
            f"Result({self.title!r}, layout {self.layout!r}, variant {self.variant or 'none'!r}",
            f"  {self.solution.response!r}",
        ]
        lines += [f"  {c!r}" for c in self.conditions.values()]
        return "\n".join(lines) + ")"
