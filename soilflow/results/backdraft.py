"""A flag for back-drafting: what the fan adds to the pull on a flue. Never a green light."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.errors import OutOfRangeError
from soilflow.house_leakage import HouseLeakage, depressurisation
from soilflow.site.effects import HOUSE
from soilflow.units import M3S_PER_CFM

__all__ = ["BackdraftFlag", "backdraft_flag"]

_CAUTION = (
    "This clears nothing: whether a flue still draws, no computed number tells. Test every vented "
    "appliance under worst-case conditions with the fan running, and again after sealing."
)
_MEASURE = (
    "How far that pulls the room down cannot be said: measure its leakage with a blower door (flow "
    "at 50 Pa, and the exponent), list the flow of every other exhaust, and write them under "
    "[house_leakage]."
)


@dataclass(frozen=True, kw_only=True)
class BackdraftFlag:
    """What the fan takes out of the room with the vented appliances, and what that does.

    Parameters
    ----------
    room : str
        The house, or a room beside it.
    room_air : float
        Its air drawn through the floor into the suction points. [m3/s]
    depressurisation : float or None
        By how much that lowers its pressure on top of what other exhaust does; None when its
        leakage is not known. [Pa]
    all_exhaust : float or None
        How far it then lies below the outdoors with all exhaust on; None when that is not
        known. [Pa]
    """

    room: str
    room_air: float
    depressurisation: float | None
    all_exhaust: float | None

    @property
    def measure(self) -> str:
        """What to measure for a number; empty when there is one."""
        return _MEASURE if self.depressurisation is None else ""

    @property
    def caution(self) -> str:
        """What stands beside any number."""
        return _CAUTION

    def __str__(self) -> str:
        taken = f"{1e3 * self.room_air:.3g} L/s ({self.room_air / M3S_PER_CFM:.2g} cfm)"
        said = f"The fan takes {taken} of air out of the {self.room} through its floor."
        if self.depressurisation is None:
            return f"{said} {self.measure} {self.caution}"
        if self.all_exhaust is None:
            pulled = (
                f"By itself that pulls it {self.depressurisation:.2g} Pa below the outdoors, and "
                "by more on top of other exhaust, which is not stated."
            )
        else:
            pulled = (
                f"On top of other exhaust that pulls it down by another "
                f"{self.depressurisation:.2g} Pa, to {self.all_exhaust:.2g} Pa below the outdoors."
            )
        return f"{said} {pulled} Stack effect and wind come on top. {self.caution}"


def backdraft_flag(
    room_air: float, leakage: HouseLeakage | None, *, room: str = HOUSE
) -> BackdraftFlag:
    """Flag what a fan does to the pressure of a room with vented appliances.

    added = ((Q0 + Q) / C)^(1/n) - (Q0 / C)^(1/n)

    Parameters
    ----------
    room_air : float
        Its air drawn through the floor, Q. [m3/s]
    leakage : HouseLeakage or None
        How tight it is, and its other exhaust Q0; None when nobody measured.
    room : str
        The house, or a room beside it.

    Returns
    -------
    flag : BackdraftFlag
        Without a number where the leakage is not known.

    Raises
    ------
    OutOfRangeError
        A flow below zero.

    Notes
    -----
    The pressure rises faster than the flow, so that leaving other exhaust out of it makes the
    number too small. Doors inside the house, the stack effect, wind and the flue's own draft are
    left out.

    Examples
    --------
    >>> flag = backdraft_flag(0.01, HouseLeakage(flow=1.0, exponent=1.0, existing_exhaust=0.05))
    >>> round(flag.depressurisation, 3), round(flag.all_exhaust, 3)
    (0.5, 3.0)
    """
    if not room_air >= 0.0:
        raise OutOfRangeError(f"room air {room_air:g} m3/s: must be at least 0")
    if leakage is None:
        return BackdraftFlag(room=room, room_air=room_air, depressurisation=None, all_exhaust=None)
    before = leakage.existing_exhaust
    if before is None:
        alone = depressurisation(leakage, room_air)
        return BackdraftFlag(room=room, room_air=room_air, depressurisation=alone, all_exhaust=None)
    whole = depressurisation(leakage, before + room_air)
    return BackdraftFlag(
        room=room,
        room_air=room_air,
        depressurisation=whole - depressurisation(leakage, before),
        all_exhaust=whole,
    )
