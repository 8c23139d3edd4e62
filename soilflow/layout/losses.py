"""Where pipes lose pressure: wall friction, and dampers."""

from __future__ import annotations

import math
from bisect import bisect_right

__all__ = ["MOST_TURNED", "damper_coefficient", "friction_factor"]

LAMINAR_BELOW, TURBULENT_ABOVE = 2300.0, 4000.0  # Reynolds numbers; textbooks, from memory

# Blade in a round pipe, turned from open [deg]: loss in velocity heads. Weisbach's measurements,
# 19th century. Seen in a public table of minor losses: 5, 10, 20, 40 and 60 deg; the others from
# memory.
_BLADE = (
    (5.0, 0.24),
    (10.0, 0.52),
    (15.0, 0.90),
    (20.0, 1.54),
    (25.0, 2.51),
    (30.0, 3.91),
    (35.0, 6.22),
    (40.0, 10.8),
    (45.0, 18.7),
    (50.0, 32.6),
    (55.0, 58.8),
    (60.0, 118.0),
    (65.0, 256.0),
    (70.0, 751.0),
)
MOST_TURNED = math.radians(_BLADE[-1][0])


def damper_coefficient(damper: float) -> float:
    """Loss of a damper's blade in velocity heads of its pipe.

    Straight lines between measurements, of the logarithm of the loss from 5 degrees on.

    Parameters
    ----------
    damper : float
        How far the blade is turned from open, up to `MOST_TURNED`, 70 degrees. [rad]

    Returns
    -------
    float
        Loss coefficient, 0 when open. [-]

    Notes
    -----
    A thin blade that closes tightly; one with a gap around it loses less when nearly shut.

    References
    ----------
    Weisbach, as handbooks of hydraulics reprint him; see the table for what was seen.

    Examples
    --------
    >>> round(damper_coefficient(math.radians(40.0)), 2)
    10.8
    """
    angle = math.degrees(damper)
    first, loss = _BLADE[0]
    if angle <= first:
        return loss * angle / first
    at = min(bisect_right(_BLADE, (angle, math.inf)), len(_BLADE) - 1)
    (low, below), (high, above) = _BLADE[at - 1], _BLADE[at]
    return below * (above / below) ** ((angle - low) / (high - low))


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor, continuous from laminar to turbulent flow.

    f = 64/Re below Re 2300, Colebrook's above 4000, and in between a blend of the two
    weighted by 3 t^2 - 2 t^3, t = (Re - 2300)/1700, so that the loss always rises with flow.

    Parameters
    ----------
    reynolds : float
        Reynolds number on the bore, above 0. [-]
    relative_roughness : float
        Roughness over bore, up to 0.05. [-]

    Returns
    -------
    float
        Darcy's (not Fanning's) friction factor. [-]

    Notes
    -----
    Colebrook 1939 in the explicit form of Clamond 2009, from the fluids package. The blend is
    ours: real flow in transition is unsteady and has no single factor.

    Examples
    --------
    >>> friction_factor(1000.0, 0.0)
    0.064
    """
    laminar = 64.0 / reynolds
    if reynolds <= LAMINAR_BELOW:
        return laminar
    # Loaded here: fluids takes about 0.1 s to import.
    from fluids.friction import Clamond

    turbulent = float(Clamond(reynolds, relative_roughness))
    if reynolds >= TURBULENT_ABOVE:
        return turbulent
    t = (reynolds - LAMINAR_BELOW) / (TURBULENT_ABOVE - LAMINAR_BELOW)
    weight = t * t * (3.0 - 2.0 * t)
    return (1.0 - weight) * laminar + weight * turbulent
