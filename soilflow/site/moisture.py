"""Wet soil: zones that pass less air, by a ratio or by how much water fills the pores."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon

from soilflow.data import lookup_word, soil_classes
from soilflow.errors import InputError
from soilflow.site.effects import Effect, MultipliesPermeability, Prism
from soilflow.site.plan import outline_polygon
from soilflow.soil import (
    effective_saturation_brooks_corey,
    effective_saturation_van_genuchten,
    gas_relative_permeability_brooks_corey,
    gas_relative_permeability_parker,
)
from soilflow.units import Coordinate, Depth, Fraction, Length, Ratio, check_fields

__all__ = ["AIR_ENTRY", "MoistZone", "Pores"]

# Share of the pores under water at which air loses its last connected way: seen between 0.85 and
# 0.9 for most soils (from memory).
AIR_ENTRY = 0.9


@dataclass(frozen=True, kw_only=True)
class Pores:
    """How the pores of a soil hold water.

    Parameters
    ----------
    n : float or None
        van Genuchten's shape of the pore sizes, above 1; give it or ``pore_index``. [-]
    pore_index : float or None
        Brooks and Corey's index of the pore sizes. [-]
    entry_head : float or None
        Suction at which air enters, one over van Genuchten's alpha; needed with a suction. [m]
    residual_saturation : float
        Share of the pores whose water no suction removes. [-]
    air_entry : float
        Share of the pores under water from which on air finds no way at all. [-]
    source : str
        Where the numbers come from.

    Notes
    -----
    Where a formula wants the other shape, n = pore_index + 1 stands for it: both then dry alike
    at high suction (van Genuchten 1980, Soil Science Society of America Journal 44, 892, from
    memory).
    """

    n: Ratio | None = None
    pore_index: Ratio | None = None
    entry_head: Length | None = None
    residual_saturation: Fraction = 0.0
    air_entry: Fraction = AIR_ENTRY
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        if (self.n is None) == (self.pore_index is None):
            raise InputError("give either n or pore_index", field="n")
        if self.n is not None and self.n <= 1.0:
            raise InputError(f"{self.n:g}: must be above 1, such as 1.5", field="n")
        if self.residual_saturation >= self.air_entry:
            raise InputError(
                f"{self.residual_saturation:g}: must be below air_entry, {self.air_entry:g}",
                field="residual_saturation",
            )

    @classmethod
    def of_texture(cls, word: str) -> Pores:
        """Mean pores of a texture class, by van Genuchten.

        Parameters
        ----------
        word : str
            Name of the class, such as ``sandy loam``.

        Returns
        -------
        pores : Pores
            Its pores.

        Raises
        ------
        InputError
            No such class; the message offers the nearest.
        """
        soil = lookup_word(soil_classes(), word)
        return cls(
            n=soil.n,
            entry_head=1.0 / soil.alpha,
            residual_saturation=soil.residual_water / soil.saturated_water,
            source=f"texture class '{soil.word}': {soil.source}",
        )

    def effective(self, saturation: float) -> float:
        """Effective saturation: of the water that suction can move.

        Parameters
        ----------
        saturation : float
            Water over pore volume. [-]

        Returns
        -------
        effective : float
            Between 0 and 1. [-]
        """
        free = (saturation - self.residual_saturation) / (1.0 - self.residual_saturation)
        return max(free, 0.0)

    def saturation_at(self, suction_head: float) -> float:
        """Water in the pores at some suction, by the model whose shape is given.

        Parameters
        ----------
        suction_head : float
            Suction of the soil water as a height of water. [m]

        Returns
        -------
        saturation : float
            Water over pore volume. [-]

        Raises
        ------
        InputError
            The pores have no entry height.
        """
        if self.entry_head is None:
            raise InputError("a suction needs the entry_head of the pores", field="entry_head")
        if self.n is not None:
            free = effective_saturation_van_genuchten(suction_head, 1.0 / self.entry_head, self.n)
        else:
            free = effective_saturation_brooks_corey(suction_head, self.entry_head, self._index)
        return self.residual_saturation + float(free) * (1.0 - self.residual_saturation)

    def air_share(self, saturation: float, curve: Callable[[float, float], float]) -> float:
        """What the water leaves of the permeability to air.

        Parameters
        ----------
        saturation : float
            Water over pore volume. [-]
        curve : callable
            Maps effective saturation and shape to the share.

        Returns
        -------
        share : float
            1 in dry soil; 0, not a small number, from air entry on. [-]
        """
        if saturation >= self.air_entry:
            return 0.0
        by_index = curve is gas_relative_permeability_brooks_corey
        shape = self._index if by_index else self._index + 1.0 if self.n is None else self.n
        return float(curve(self.effective(saturation), shape))

    @property
    def _index(self) -> float:
        if self.pore_index is not None:
            return self.pore_index
        assert self.n is not None
        return self.n - 1.0


@dataclass(frozen=True, kw_only=True)
class MoistZone:
    """Wetter soil, which passes less air.

    How much less is said in one of three ways: by a ratio, by how much of the pores is under
    water, or by the suction of that water.

    Parameters
    ----------
    name : str
        What it is called on the plan.
    corners : tuple of (float, float)
        Outline in plan; the cells whose middle lies in it belong to it. [m]
    bottom : float
        Depth it reaches to, below the slab underside. [m]
    top : float
        Depth it reaches from, below the slab underside. [m]
    multiplier : float or None
        Air permeability relative to the soil it lies in; zero is saturated, no air path. [-]
    saturation : float or None
        Water over pore volume. [-]
    suction_head : float or None
        Suction of the water, as a height. [m]
    pores : Pores or None
        How the soil holds water; needed unless there is a multiplier.
    curve : callable
        Published curve of what water leaves to air: maps effective saturation and shape of the
        pores, n or for Brooks and Corey's curve lambda, to the share.
    source : str
        Where the numbers come from.
    """

    name: str
    corners: tuple[tuple[Coordinate, Coordinate], ...]
    bottom: Length
    top: Coordinate = 0.0
    multiplier: Fraction | None = None
    saturation: Fraction | None = None
    suction_head: Depth | None = None
    pores: Pores | None = None
    curve: Callable[[float, float], float] = gas_relative_permeability_parker
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        _ = self.polygon
        if self.bottom <= self.top:
            raise InputError(
                f"bottom {self.bottom:g} m is not below top {self.top:g} m", field="bottom"
            )
        left = [w for w in ("multiplier", "saturation", "suction_head") if getattr(self, w) is None]
        if len(left) != 2:
            raise InputError(
                "give one of multiplier, saturation and suction_head", field="multiplier"
            )
        if (self.multiplier is None) == (self.pores is None):
            raise InputError(
                "a saturation or a suction needs the pores of the soil, a multiplier does not",
                field="pores",
            )
        if self.suction_head is not None and self.pores and self.pores.entry_head is None:
            raise InputError(
                "a suction needs the height at which air enters, such as entry_head = 6 in",
                field="pores.entry_head",
            )

    @cached_property
    def polygon(self) -> Polygon:
        """Plan of the zone. [m]"""
        return outline_polygon(self.corners)

    @property
    def factor(self) -> float:
        """Air permeability relative to the soil it lies in, however it was said. [-]"""
        if self.pores is None:
            assert self.multiplier is not None
            return self.multiplier
        saturation = self.saturation
        if saturation is None:
            assert self.suction_head is not None
            saturation = self.pores.saturation_at(self.suction_head)
        return self.pores.air_share(saturation, self.curve)

    def effects(self) -> tuple[Effect, ...]:
        """The zone multiplies the permeability of the soil it lies in (mechanism 1).

        Returns
        -------
        effects : tuple of Effect
            One multiplier.
        """
        where = Prism(plan=self.polygon, top=self.top, bottom=self.bottom)
        return (MultipliesPermeability(where=where, factor=self.factor),)
