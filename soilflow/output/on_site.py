"""What to do on site, as text: must-read, seals, waits, where the air comes from, the verdict."""

from __future__ import annotations

import math

from soilflow.output.page import Page, cfm, pa, percent, place_on_floor, spoken
from soilflow.results.response_time import AIR_POROSITY, SLOW
from soilflow.results.sealing import SealingList, SealingValue
from soilflow.results.verdict import DEPENDABLE, RULES, Verdict
from soilflow.site.effects import HOUSE
from soilflow.site.slab import Slab
from soilflow.studies.balancing import Balance
from soilflow.studies.on_site import OnSite
from soilflow.units import M3S_PER_CFM, M_PER_FOOT, feet_inches

__all__ = [
    "air_lines",
    "balance_lines",
    "duration",
    "needs_dampers",
    "seal_lines",
    "verdict_lines",
    "verdict_word",
    "wait_lines",
    "worth_a_trip",
    "worth_saying",
]

# Margins of territories this close need no damper: chosen by the project. [-]
_BALANCED = 0.1
# A seal below both is not worth a trip: under what a gauge shows. Chosen by the project.
_FELT, _HEARD = 0.1, 0.1 * M3S_PER_CFM  # [Pa], [m3/s]
# Less than this part of what is wanted is next to nothing: chosen by the project. [-]
_LITTLE = 0.1
_SEALS = 6  # of the list: what a day's work holds


# How the verdict's reasons begin.
_AS_GIVEN, _UNDER = "the pass line is lost as given", "lost under"


def duration(seconds: float) -> str:
    """A time as somebody would say it.

    Parameters
    ----------
    seconds : float
        The time. [s]

    Returns
    -------
    words : str
        Such as ``25 min``.
    """
    if math.isnan(seconds):
        return "no air"
    if seconds < 60.0:
        return "under 1 min"
    for unit, size in (("min", 60.0), ("h", 3600.0)):
        if seconds < (90.0 if unit == "min" else 36.0) * size:
            return f"{seconds / size:.2g} {unit}"
    return f"{seconds / 86400.0:.2g} days"


def seal_lines(page: Page, found: OnSite, slab: Slab) -> None:
    """What to seal, the most worth first.

    Parameters
    ----------
    page : Page
        Where it is written.
    found : OnSite
        What was found.
    slab : Slab
        The floor, for places.
    """
    if found.sealing is None:
        page.heading("Seal list, waits, troubles, dampers")
        page.say("Not computed: --on-site does, on the coarse grid, in about half a minute.")
        return
    sealing = found.sealing
    page.heading(f"Seal list, {spoken(sealing.condition)}: most worth first")
    worth = [value for value in sealing.values if value.exact]
    if not worth:
        page.say("There is no joint, crack or opening to seal.")
        return
    if not worth_a_trip(worth):
        best = max(worth, key=lambda value: value.whole.margin_gained)
        page.say(
            f"Nothing worth sealing: the best piece ({_where(best, slab)}) gains "
            f"{best.whole.margin_gained:.1g} Pa at the worst spot, and none saves "
            f"{cfm(_HEARD)} of house air.",
        )
        return
    for value in worth_saying(worth):
        gained, saved = value.whole.margin_gained, value.whole.air_saved
        page.item(f"{_where(value, slab)}: {gained:+.2g} Pa at the worst spot, saves {cfm(saved)}")
    _half_words(page, sealing)


def worth_a_trip(values: list[SealingValue]) -> bool:
    """Whether sealing any of a list brings what a gauge shows.

    Parameters
    ----------
    values : list of SealingValue
        Segments and openings, at least one.

    Returns
    -------
    worth : bool
        In suction at the worst spot, or in house air.
    """
    return any(v.whole.margin_gained >= _FELT or v.whole.air_saved >= _HEARD for v in values)


def worth_saying(values: list[SealingValue]) -> list[SealingValue]:
    """The first of a list, without those that bring next to nothing beside the best.

    Parameters
    ----------
    values : list of SealingValue
        The most worth first, at least one.

    Returns
    -------
    values : list of SealingValue
        At most six: what a day's work holds.
    """
    best = max(v.whole.margin_gained for v in values), max(v.whole.air_saved for v in values)
    said = [
        v
        for v in values
        if v.whole.margin_gained >= _LITTLE * best[0] or v.whole.air_saved >= _LITTLE * best[1]
    ]
    return said[:_SEALS]


def _where(value: SealingValue, slab: Slab) -> str:
    if value.length == 0.0:
        return f"{value.name}, {place_on_floor(slab, *value.start)}"
    last = value.begins + value.length
    low, high = (feet_inches(v, denominator=1) for v in (value.begins, last))
    return f"{value.name}, {low} to {high} along it"


def _half_words(page: Page, sealing: SealingList) -> None:
    """What seals can and cannot do, and how the list was made."""
    margin = sealing.before.worst.margin
    best = max(v.whole.margin_gained for v in sealing.values)
    if margin < 0.0 and best < -_LITTLE * margin:
        page.say(
            f"No single seal makes the floor pass: the best gains {best:.2g} Pa of the "
            f"{-margin:.2g} Pa it is short by.",
            first="  ",
        )
    patchy = [v for v in sealing.values if v.patchy is not None]
    if patchy and all(v.soil_limits for v in patchy):
        share = max(v.patchy_share for v in patchy)
        page.say(
            f"Half sealing buys little: the soil, not the slot, is the resistance. Patches over "
            f"half the length save {percent(share)} of that air or less.",
            first="  ",
        )
    drawn = cfm(sealing.before.room_air)
    page.say(
        f"House air drawn down before: {drawn}. {sealing.resolution.capitalize()} grid, the fan at "
        f"its new operating point, each piece sealed alone; pieces of about "
        f"{1.0 / M_PER_FOOT:.0f} ft.",
        first="  ",
    )


def air_lines(page: Page, found: OnSite) -> None:
    """Where the drawn air comes from, by point.

    Parameters
    ----------
    page : Page
        Where it is written.
    found : OnSite
        What was found.
    """
    for name, air in found.air.items():
        if not air.points or not air.entering:
            continue
        page.heading(f"Where the air comes from, {spoken(name)}")
        rows: list[tuple[str, ...]] = []
        for place in air.places:
            shares = [_share(air.share(place, point)) for point in air.points]
            whole = _share(air.share(place))
            low, high = min(shares, key=_number), max(shares, key=_number)
            spread = "" if len(shares) < 2 or low == high else f"{low} to {high} by point"
            rows.append((_place(place), cfm(air.flow(place)), whole, spread))
        page.rows(rows)
    page.say(str(found.backdraft), first="  ")


def _place(name: str) -> str:
    return "the house" if name == HOUSE else name


def _share(share: float) -> str:
    return "-" if math.isnan(share) else f"{100.0 * share:.0f} %"


def _number(share: str) -> float:
    return float(share.removesuffix(" %")) if share != "-" else -1.0


def needs_dampers(balance: Balance) -> bool:
    """Whether the points of a layout hold their parts of the floor so unevenly that it matters.

    Parameters
    ----------
    balance : Balance
        What was found.

    Returns
    -------
    uneven : bool
        Margins with all dampers open that differ by more than a tenth.
    """
    margins = balance.margins_open.values()
    return max(margins) - min(margins) > _BALANCED * max(map(abs, margins))


def balance_lines(page: Page, found: OnSite) -> None:
    """How dampers would stand if every territory had the same margin, and what that is worth.

    Parameters
    ----------
    page : Page
        Where it is written.
    found : OnSite
        What was found.
    """
    balance = found.balance
    if balance is None:
        return
    low, high = min(balance.margins_open.values()), max(balance.margins_open.values())
    if not needs_dampers(balance):
        page.say(
            f"Dampers: none needed, every point holds its part of the floor with {pa(low)} to "
            f"{pa(high)}.",
            first="  ",
        )
        return
    turned = [
        f"{name} {math.degrees(angle):.0f} degrees"
        + (", nearly shut" if balance.further_losses[name] else "")
        for name, angle in balance.dampers.items()
        if angle > 0.0
    ]
    page.say(
        f"Dampers for one margin everywhere ({spoken(balance.condition)}): turn "
        f"{'; '.join(turned)}; leave the others open. That saves {cfm(balance.room_air_saved)} of "
        f"house air and changes the worst margin by {balance.margin_gained:+.2g} Pa.",
        first="  ",
    )


def wait_lines(page: Page, found: OnSite) -> None:
    """How long to wait before a gauge is read.

    Parameters
    ----------
    page : Page
        Where it is written.
    found : OnSite
        What was found.
    """
    if found.lag is None or found.wait is None:
        return
    longest, _, _ = found.lag.longest()
    page.say(
        f"Wait: nine tenths are there; {duration(found.wait)} at the weakest spot, "
        f"{duration(longest)} everywhere, for {100.0 * AIR_POROSITY:.0f} % of air in the soil, a "
        f"guess. Slow and small: tight soil, and more fan does not help. Fast and small: leak. "
        f"Slow is over {duration(SLOW)}.",
        first="  ",
    )


def verdict_word(verdict: Verdict) -> str:
    """The verdict in capitals; one that has not looked at everything does not say dependable.

    Parameters
    ----------
    verdict : Verdict
        The verdict.

    Returns
    -------
    word : str
        Capitals.
    """
    if verdict.word == DEPENDABLE and verdict.not_asked:
        return "NOTHING AGAINST IT SO FAR"
    return verdict.word.upper()


def verdict_lines(page: Page, verdict: Verdict, found: OnSite) -> None:
    """The verdict, its reasons, what it stood, and the rules it comes from.

    Parameters
    ----------
    page : Page
        Where it is written.
    verdict : Verdict
        The verdict.
    found : OnSite
        What was found.
    """
    page.say(f"{verdict_word(verdict)}, by the rules below.")
    lost = any(reason.startswith(_AS_GIVEN) for reason in verdict.reasons)
    for reason in verdict.reasons:
        if not (lost and reason.startswith(_UNDER)):
            page.item(reason)
    if lost and found.troubles is not None:
        page.item("and so under any trouble")
    if found.troubles is not None:
        for one in found.troubles.tried:
            if not one.befalls:
                page.item(f"{one.trouble}: nothing here it could befall")
    for rule in verdict.not_asked:
        page.item(f"not looked at: {rule} (--on-site does)")
    said = "; ".join(rule.says for rule in RULES.values())
    page.say(f"Rules, chosen by the project: {said}.")
