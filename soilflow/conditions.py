"""Conditions: the pressures and temperatures at the references a soil leaks to."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.air import P_ATM, stack_pressure
from soilflow.errors import InputError
from soilflow.units import Depth, Pressure, Temperature, check_fields

__all__ = ["DESIGN", "TODAY", "Condition", "ReferencePressure"]

TODAY = "today"
DESIGN = "design_winter"


@dataclass(frozen=True, kw_only=True)
class ReferencePressure:
    """What a yard, or a room other than the house, is at under a condition.

    Parameters
    ----------
    name : str
        Name of the yard or room.
    pressure : float or None
        Pressure against the house's room, at slab level. [Pa]
    above_outdoors : float or None
        Pressure on top of the condition's outdoors, such as wind on one side; one of the two is
        given. [Pa]
    """

    name: str
    pressure: Pressure | None = None
    above_outdoors: Pressure | None = None

    def __post_init__(self) -> None:
        check_fields(self)
        if (self.pressure is None) == (self.above_outdoors is None):
            raise InputError("give either pressure or above_outdoors", field="pressure")


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What the house and the weather do to the pressures around the slab.

    Pressures are relative to the room at slab level, so a cold day makes the outdoors positive.

    Parameters
    ----------
    name : str
        ``today``, ``design_winter`` or any other.
    outdoor_pressure : float or None
        Pressure of the outdoors at slab level; None computes the stack pressure instead. [Pa]
    outdoor_temperature : float
        Temperature outdoors. [K]
    room_temperature : float
        Temperature in the house. [K]
    below_neutral_level : float
        Height of the neutral level above the slab, used when no pressure is stated. [m]
    added_pressure : float
        Wind and exhaust allowance on top of the stack pressure. [Pa]
    references : tuple of ReferencePressure
        Pressures of yards and other rooms; a yard that is not named is at the outdoors'.
    source : str
        Where the numbers come from.

    Examples
    --------
    >>> Condition(name="today", outdoor_pressure=1.0).outdoors
    1.0
    """

    name: str
    outdoor_pressure: Pressure | None = None
    outdoor_temperature: Temperature = 283.15
    room_temperature: Temperature = 293.15
    below_neutral_level: Depth | None = None
    added_pressure: Pressure = 0.0
    references: tuple[ReferencePressure, ...] = ()
    source: str = "not stated"

    def __post_init__(self) -> None:
        """Check the fields, and that the outdoor pressure is stated one way only."""
        check_fields(self)
        if (self.outdoor_pressure is None) == (self.below_neutral_level is None):
            raise InputError(
                "give either outdoor_pressure, or below_neutral_level with the two temperatures",
                field="outdoor_pressure",
            )
        names = [reference.name for reference in self.references]
        for i, name in enumerate(names):
            if name in names[:i]:
                raise InputError(f'"{name}" is given twice; drop one', field=f"references[{i}]")

    @property
    def outdoors(self) -> float:
        """What the outdoors exceeds the room by at slab level. [Pa]"""
        if self.outdoor_pressure is not None:
            return self.outdoor_pressure + self.added_pressure
        stack = stack_pressure(
            self.below_neutral_level or 0.0,
            self.outdoor_temperature,
            self.room_temperature,
            pressure_atm=P_ATM,
        )
        return float(stack) + self.added_pressure

    def pressure_of(self, name: str) -> float | None:
        """Pressure of a yard or room that this condition names.

        Parameters
        ----------
        name : str
            Its name.

        Returns
        -------
        pressure : float or None
            Against the house's room, at slab level; None when the condition does not name it. [Pa]
        """
        for reference in self.references:
            if reference.name == name:
                if reference.pressure is not None:
                    return reference.pressure
                return self.outdoors + (reference.above_outdoors or 0.0)
        return None
