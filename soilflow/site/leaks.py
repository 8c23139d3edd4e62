"""Where the floor lets air through: the joint between floor and wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from soilflow.site.effects import HOUSE, Effect, LeaksAlongLine
from soilflow.site.plan import WallLine
from soilflow.site.walls import select_walls
from soilflow.units import Depth, check_fields

__all__ = ["FloorWallJoint"]


@dataclass(frozen=True, kw_only=True)
class FloorWallJoint:
    """The joint between floor slab and foundation wall.

    Parameters
    ----------
    aperture : float
        Width of the open joint; zero when it is tight. [m]
    walls : tuple of str
        Walls it runs along, by name; empty for all.
    sealed : bool
        Whether it has been sealed: a sealed joint passes nothing.
    source : str
        Where the width comes from: a card, a feeler gauge, a guess.
    """

    aperture: Depth
    walls: tuple[str, ...] = ()
    sealed: bool = False
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)

    def effects(self, walls: Sequence[WallLine], slab_thickness: float) -> tuple[Effect, ...]:
        """The joint leaks to the house along each wall (mechanism 4).

        Parameters
        ----------
        walls : sequence of WallLine
            The walls this joint still belongs to.
        slab_thickness : float
            Length of the joint along the flow. [m]

        Returns
        -------
        effects : tuple of Effect
            One slot per wall; none when it is tight or sealed.
        """
        if self.sealed or self.aperture == 0.0:
            return ()
        return tuple(
            LeaksAlongLine(
                name=f"{wall.name} joint",
                start=wall.start,
                end=wall.end,
                inward=(-wall.outward[0], -wall.outward[1]),
                aperture=self.aperture,
                path=slab_thickness,
                reference=HOUSE,
            )
            for wall in select_walls(walls, self.walls)
        )
