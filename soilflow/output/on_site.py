"""What to do on site, as text: must-read, seals, waits, where the air comes from, the verdict."""

from __future__ import annotations

import math

from soilflow.output.page import Page, bare, cfm, pa, percent, place_on_floor, spoken, wc
from soilflow.results.response_time import AIR_POROSITY, SLOW
from soilflow.results.sealing import SealingList, SealingValue
from soilflow.results.verdict import RULES, Verdict
from soilflow.site.effects import HOUSE
from soilflow.site.slab import Slab
from soilflow.studies.on_site import OnSite
from soilflow.units import M_PER_FOOT, feet_inches

__all__ = [
    "air_lines",
    "duration",
    "must_read_lines",
    "seal_lines",
    "verdict_lines",
    "wait_lines",
]

_SEALS = 6  # of the list: what a day's work holds


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


def must_read_lines(page: Page, found: OnSite) -> None:
    """What each test hole must read today.

    Parameters
    ----------
    page : Page
        Where it is written.
    found : OnSite
        What was found.
    """
    if not found.must_read:
        return
    page.heading("Must read today, fan on, to pass there in winter")
    rows: list[tuple[str, ...]] = [("", "Pa", "in. w.c.", "expected")]
    for hole in found.must_read:
        if math.isnan(hole.fan_on):
            rows.append((hole.hole, "no air", "no air", "-"))
        elif math.isnan(hole.must_read):
            rows.append((hole.hole, "-", "-", "no fan speed does"))
        else:
            enough = "enough" if hole.enough else "NOT ENOUGH"
            needed = (bare(pa(hole.must_read)), bare(wc(hole.must_read, 2)))
            rows.append((hole.hole, *needed, enough))
    page.rows(rows)
    page.say("Or lower: minus is suction. Expected: the fan-on reading above.", first="  ")


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
        page.heading("Seal list")
        page.say("Not computed: --on-site does, on the coarse grid.")
        return
    sealing = found.sealing
    page.heading(f"Seal list, {spoken(sealing.condition)}: most worth first")
    worth = [value for value in sealing.values if value.exact]
    if not worth:
        page.say("There is no joint, crack or opening to seal.")
        return
    for value in worth[:_SEALS]:
        gained, saved = value.whole.margin_gained, value.whole.air_saved
        page.item(f"{_where(value, slab)}: {gained:+.2g} Pa at the worst spot, saves {cfm(saved)}")
    _half_words(page, sealing)


def _where(value: SealingValue, slab: Slab) -> str:
    if value.length == 0.0:
        return f"{value.name}, {place_on_floor(slab, *value.start)}"
    last = value.begins + value.length
    low, high = (feet_inches(v, denominator=1) for v in (value.begins, last))
    return f"{value.name}, {low} to {high} along it"


def _half_words(page: Page, sealing: SealingList) -> None:
    """What sealing in patches buys, and how the list was made."""
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
    page.heading("How long to wait before reading")
    page.say(
        f"Nine tenths of the suction are there after {duration(found.wait)} at the weakest spot, "
        f"and after {duration(longest)} everywhere. Air in the soil taken as "
        f"{100.0 * AIR_POROSITY:.0f} % of it, a guess; times go with it."
    )
    page.say(
        f"A small reading that came within {duration(SLOW)}: look for a leak. One that takes "
        "longer: tight soil, and more fan does not help."
    )


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
    page.say(f"{verdict.word.upper()}, by the rules below.")
    for reason in verdict.reasons:
        page.item(reason)
    if found.troubles is not None:
        for one in found.troubles.tried:
            if not one.befalls:
                page.item(f"{one.trouble}: nothing here it could befall")
    for rule in verdict.not_asked:
        page.item(f"not looked at: {rule} (--on-site does)")
    said = "; ".join(rule.says for rule in RULES.values())
    page.say(f"Rules, chosen by the project: {said}.")
