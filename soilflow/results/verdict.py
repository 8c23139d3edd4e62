"""How far to trust a layout: three words, by printed rules with their thresholds in one table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from soilflow.results.coverage import PASS_LINE
from soilflow.units import M3S_PER_CFM

__all__ = [
    "DEPENDABLE",
    "FRAGILE",
    "LEAST_FLOW",
    "NOT_DEPENDABLE",
    "RULES",
    "SLOWEST",
    "Rule",
    "Verdict",
    "judge",
]

DEPENDABLE = "dependable"
FRAGILE = "fragile"
NOT_DEPENDABLE = "not dependable"
_CHOSEN = "chosen by the project"


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule of the verdict.

    Parameters
    ----------
    word : str
        The verdict when it is broken.
    says : str
        What it asks, with its threshold.
    threshold : float
        The bound, in its SI unit. [SI]
    source : str
        Where the bound comes from.
    """

    word: str
    says: str
    threshold: float
    source: str = _CHOSEN


# The one table. In order: a rule further up speaks first.
RULES: Mapping[str, Rule] = MappingProxyType(
    {
        "pass line": Rule(
            word=NOT_DEPENDABLE,
            says=f"the worst spot has {PASS_LINE:g} Pa of suction or more, as given",
            threshold=0.0,
        ),
        "response": Rule(
            word=NOT_DEPENDABLE,
            says="90 % of the suction at the worst spot is there after 4 h",
            threshold=4.0 * 3600.0,
        ),
        "flow": Rule(
            word=NOT_DEPENDABLE,
            says="the points draw 1 cfm or more in all, what a field gauge shows",
            threshold=1.0 * M3S_PER_CFM,
        ),
        "trouble": Rule(
            word=FRAGILE,
            says="the pass line holds under any one trouble that was tried",
            threshold=0.0,
        ),
    }
)
# Less than this in all and no field gauge shows it. [m3/s]
LEAST_FLOW = RULES["flow"].threshold
# Suction that takes longer to build up is no answer to a day's work. [s]
SLOWEST = RULES["response"].threshold


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """How far a layout can be depended on.

    Parameters
    ----------
    word : str
        ``dependable``, ``fragile`` or ``not dependable``.
    reasons : tuple of str
        What broke a rule; for a dependable layout what it stood.
    not_asked : tuple of str
        Rules that nobody gave a number for.
    """

    word: str
    reasons: tuple[str, ...]
    not_asked: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = [self.word, *(f"- {reason}" for reason in self.reasons)]
        lines += [f"- not looked at: {rule}" for rule in self.not_asked]
        return "\n".join(lines)


def judge(
    margin: float,
    flow: float,
    *,
    t90: float | None = None,
    troubles: Mapping[str, float] | None = None,
) -> Verdict:
    """Judge a layout by the rules of the table.

    Parameters
    ----------
    margin : float
        Worst margin in the design condition as given. [Pa]
    flow : float
        What its points draw from the soil in all. [m3/s]
    t90 : float or None
        Time until 90 % of the suction is there at the worst spot; None when not known. [s]
    troubles : mapping of str to float, or None
        Worst margin under each trouble that was tried, by its name. [Pa]

    Returns
    -------
    verdict : Verdict
        *Not dependable* if a rule of that kind is broken, *fragile* if one trouble breaks the
        pass line, else *dependable*.

    Examples
    --------
    >>> print(judge(0.4, 0.01, t90=600.0, troubles={"hairline crack": -0.2}))
    fragile
    - lost under "hairline crack": 0.2 Pa short of the pass line
    """
    tried = troubles or {}
    lost = []
    if not margin >= RULES["pass line"].threshold:
        lost.append(f"the pass line is lost as given: {_two(-margin)} Pa short")
    if t90 is not None and not t90 <= SLOWEST:
        lost.append(
            f"the worst spot takes {t90 / 3600.0:.2g} h to 90 % of its suction, more than "
            f"{SLOWEST / 3600.0:g} h"
        )
    if not flow >= LEAST_FLOW:
        lost.append(
            f"the points draw {flow / M3S_PER_CFM:.2g} cfm in all, less than a field gauge shows "
            f"({LEAST_FLOW / M3S_PER_CFM:g} cfm)"
        )
    shaken = [
        f'lost under "{name}": {_two(-left)} Pa short of the pass line'
        for name, left in tried.items()
        if not left >= RULES["trouble"].threshold
    ]
    unknown = {"how long suction takes to build up": t90 is None, "any trouble": not tried}
    not_asked = tuple(rule for rule, missing in unknown.items() if missing)
    if lost:
        return Verdict(word=NOT_DEPENDABLE, reasons=(*lost, *shaken), not_asked=not_asked)
    if shaken:
        return Verdict(word=FRAGILE, reasons=tuple(shaken), not_asked=not_asked)
    held = [f"holds as given with {_two(margin)} Pa to spare"]
    if tried:
        held.append(f"and under {', '.join(tried)}, at worst with {_two(min(tried.values()))} Pa")
    return Verdict(word=DEPENDABLE, reasons=tuple(held), not_asked=not_asked)


def _two(value: float) -> str:
    """Two figures, and no powers of ten for numbers that people say."""
    return f"{float(f'{value:.2g}'):.6g}"
