"""How tight a house is, and what air taken out of it does to its pressure."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.errors import InputError, OutOfRangeError
from soilflow.units import Flow, Ratio, Vacuum, check_fields

__all__ = ["HouseLeakage", "depressurisation"]


@dataclass(frozen=True, kw_only=True)
class HouseLeakage:
    """What a blower door test says of the house, or of the room with the vented appliances.

    Q = flow (dp / at_pressure)^exponent

    Parameters
    ----------
    flow : float
        What leaks through its shell at ``at_pressure``. [m3/s]
    at_pressure : float
        Pressure of that test; at 1 Pa the flow is the leakage coefficient C. [Pa]
    exponent : float
        From 0.5, holes, to 1, long cracks; 0.65 where a test at one pressure gave none (common
        practice, from memory). [-]
    existing_exhaust : float or None
        What every other exhaust takes out at once in the worst case: dryer, kitchen, bath fans;
        None when nobody counted. [m3/s]
    source : str
        Where the numbers come from.

    References
    ----------
    The power law and its names: ASTM E779 and ISO 9972, from memory.
    """

    flow: Flow
    at_pressure: Vacuum = 50.0
    exponent: Ratio = 0.65
    existing_exhaust: Flow | None = None
    source: str = "not stated"

    def __post_init__(self) -> None:
        check_fields(self)
        for field in ("flow", "at_pressure"):
            if getattr(self, field) == 0.0:
                raise InputError("0: must be above 0, such as a test gives", field=field)
        if not 0.5 <= self.exponent <= 1.0:
            raise InputError(
                f"{self.exponent:g}: lies between 0.5 and 1; leave it out if the test gave none",
                field="exponent",
            )


def depressurisation(leakage: HouseLeakage, flow: float) -> float:
    """How far air taken out of a house pulls it below the outdoors, in still mild weather.

    dp = (Q / C)^(1/n)

    Parameters
    ----------
    leakage : HouseLeakage
        How tight it is.
    flow : float
        Volume taken out of it. [m3/s]

    Returns
    -------
    float
        Below the outdoors, positive. [Pa]

    Raises
    ------
    OutOfRangeError
        A flow below zero.

    Examples
    --------
    >>> round(depressurisation(HouseLeakage(flow=0.6, exponent=0.5), 0.06), 6)
    0.5
    """
    if not flow >= 0.0:
        raise OutOfRangeError(f"flow {flow:g} m3/s: must be at least 0")
    return float(leakage.at_pressure * (flow / leakage.flow) ** (1.0 / leakage.exponent))
