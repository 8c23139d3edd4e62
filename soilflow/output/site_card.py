"""Suction points and test holes as they are read on site: today's figures, a line each."""

from __future__ import annotations

import math

from soilflow.conditions import DESIGN
from soilflow.layout.layout import Layout, SuctionPoint
from soilflow.layout.pits import BoxPit, CylinderPit, HemisphericalPit, OnConductor
from soilflow.operating_point import CAPPED
from soilflow.output.error_bars import half_bar
from soilflow.output.on_site import balance_lines, duration, wait_lines
from soilflow.output.page import Page, bare, cfm, pa, spoken, wc
from soilflow.results.result import ConditionResult, Result
from soilflow.site.effects import HOUSE
from soilflow.studies.must_read import MustRead
from soilflow.studies.on_site import OnSite
from soilflow.units import M3S_PER_CFM, PA_PER_INCH_WC, feet_inches

__all__ = ["holes_lines", "pit_words", "points_lines"]

_BUCKET = 5.0 * 231.0 * 0.0254**3  # 5 US gal of hole [m3]
_ALIKE = 0.05  # a riser's vacuum that differs by less reads the same [-]


def pit_words(point: SuctionPoint) -> str:
    """A pit by what is dug, as somebody would say it.

    Parameters
    ----------
    point : SuctionPoint
        The suction point.

    Returns
    -------
    words : str
        Such as ``2 buckets``.
    """
    pit = point.pit
    if isinstance(pit, OnConductor):
        return f'drain "{pit.line}"'
    if not isinstance(pit, HemisphericalPit) and pit.water_level is not None:
        return "sump"
    buckets = pit.volume / _BUCKET
    shape = {BoxPit: ", box", CylinderPit: ", round"}.get(type(pit), "")
    return f"{buckets:.2g} bucket{'' if 0.95 < buckets < 1.05 else 's'}{shape}"


def points_lines(
    page: Page,
    result: Result,
    today: ConditionResult,
    judged: ConditionResult,
    found: OnSite | None,
) -> None:
    """What each gauge on a riser should read, and what each point draws.

    Parameters
    ----------
    page : Page
        Where it is written.
    result : Result
        The result.
    today : ConditionResult
        The condition under which gauges are read.
    judged : ConditionResult
        The condition that decides.
    found : OnSite or None
        What stands beside the result; None leaves out where the air comes from.
    """
    page.heading(f"Suction points, {spoken(today.name)}")
    air = None if found is None else found.air.get(today.name)
    columns = 5 if air is not None else 4
    rows: list[tuple[str, ...]] = [("", "", "at the riser", "air drawn", "house")[:columns]]
    for point in result.arrangement.points:
        on = today.operating_point
        port = on.port_names.index(point.name)
        flow = "capped" if on.states[port] == CAPPED else cfm(float(on.flows[port]))
        share = math.nan if air is None else air.share(HOUSE, point.name)
        house = "-" if math.isnan(share) else f"{100.0 * share:.0f} %"
        row = (point.name, pit_words(point), wc(_vacuum(today, point.name)), flow, house)
        rows.append(row[:columns])
        if today.bars:
            kind = "riser_vacuum" if point.name in on.riser_vacuums else "port_pressure"
            error = half_bar(today, kind, point.name, unit=PA_PER_INCH_WC)
            flows = half_bar(today, "port_flow", point.name, unit=M3S_PER_CFM)
            bars = ("", "", _under(error, " in. w.c."), _under(flows, " cfm"), "")
            rows.append(bars[:columns])
    page.rows(rows, texts=2)
    _held_and_moved(page, result.arrangement, today, judged)
    drawn = today.air_drawn(point.name for point in result.arrangement.points)
    taken = "" if air is None else f", of it {cfm(air.room_air)} of house air"
    page.say(f"In all {cfm(drawn)}{taken}.", first="  ")
    for name, duty in today.operating_point.fans.items():
        if duty.runs:
            which = "Fan" if len(today.operating_point.fans) == 1 else f'Fan "{name}"'
            fan = next(fan for label, fan, _ in result.arrangement.fan_sets if label == name)
            watts = "" if duty.power is None else f", {duty.power:.0f} W"
            page.say(
                f"{which} ({fan.name}): {cfm(duty.flow)} at {wc(duty.static_pressure)}{watts}",
                first="  ",
            )
    if found is not None:
        balance_lines(page, found)


def _vacuum(condition: ConditionResult, name: str) -> float:
    """What a gauge on the riser reads, or the vacuum of a point without a pipe. [Pa]"""
    on = condition.operating_point
    return on.riser_vacuums.get(name, -float(on.pressures[on.port_names.index(name)]))


def _held_and_moved(
    page: Page, layout: Layout, today: ConditionResult, judged: ConditionResult
) -> None:
    """Points that hang on no fan, those on drains and in sumps, and what winter changes."""
    held = [point.name for point in layout.points if point.vacuum is not None]
    if held:
        page.say(f"Held at a stated vacuum, no fan: {', '.join(held)}.", first="  ")
    for point in layout.points:
        if isinstance(point.pit, OnConductor):
            page.say(f'{point.name} draws on the drain "{point.pit.line}".', first="  ")
        elif isinstance(point.pit, BoxPit | CylinderPit) and point.pit.water_level is not None:
            level = feet_inches(point.pit.water_level)
            page.say(f"{point.name} is a sump; it draws above its water, {level} down.", first="  ")
    moved = []
    for point in layout.points:
        now, then = (_vacuum(c, point.name) for c in (today, judged))
        if abs(now - then) > _ALIKE * max(abs(now), abs(then)):
            moved.append(f"{point.name} {wc(then)}")
    if moved:
        page.say(f"In {spoken(judged.name)}: {', '.join(moved)}", first="  ")


def holes_lines(
    page: Page, today: ConditionResult, judged: ConditionResult, found: OnSite | None
) -> None:
    """What each test hole should read today, and what it must.

    Parameters
    ----------
    page : Page
        Where it is written.
    today : ConditionResult
        The condition under which gauges are read.
    judged : ConditionResult
        The condition that decides.
    found : OnSite or None
        What stands beside the result; None leaves out what must be read.
    """
    if not today.test_holes:
        return
    needed = {} if found is None else {hole.hole: hole for hole in found.must_read}
    waits = {} if found is None else found.waits
    page.heading(f"Test holes, {spoken(today.name)}: minus is suction")
    head = ["", "off Pa", "on Pa", "in. w.c."]
    head += ["must Pa", "in. w.c."] if needed else []
    head += ["wait"] if waits else []
    rows: list[tuple[str, ...]] = [tuple(head)]
    for name, on in today.test_holes.items():
        row = [name, bare(pa(today.test_holes_off[name])), bare(pa(on)), bare(wc(on, 2))]
        if needed:
            row += _needed(needed[name])
        if waits:
            row.append(duration(waits[name]).replace("under 1", "< 1"))
        rows.append(tuple(row))
        if today.bars:
            errors = [half_bar(today, f"test_hole_pressure{end}", name) for end in ("_fan_off", "")]
            inches = half_bar(today, "test_hole_pressure", name, unit=PA_PER_INCH_WC)
            rows.append(("", *errors, inches, *[""] * (len(row) - 4)))
    page.rows(rows)
    _readings_in_words(page, judged, needed)
    if found is not None:
        wait_lines(page, found)


def _needed(hole: MustRead) -> list[str]:
    if math.isnan(hole.must_read):
        return ["-", "-"]
    return [bare(pa(hole.must_read)), bare(wc(hole.must_read, 2))]


def _readings_in_words(page: Page, judged: ConditionResult, needed: dict[str, MustRead]) -> None:
    """What the columns mean, and which holes do not get there."""
    page.say("Off: pits dug, fan off, pipes open. On: fan on.", first="  ")
    if not needed:
        return
    page.say(
        f"Must: read this or lower today, fan on, for {spoken(DESIGN)} to pass there.", first="  "
    )
    short = [n for n, h in needed.items() if not math.isnan(h.must_read) and not h.enough]
    never = [n for n, h in needed.items() if math.isnan(h.must_read) and not math.isnan(h.fan_on)]
    dry = [n for n, h in needed.items() if math.isnan(h.fan_on)]
    if short:
        page.say(f"NOT ENOUGH expected at {', '.join(short)}.", first="  ")
    if never:
        page.say(f"No speed of this fan is enough at {', '.join(never)}.", first="  ")
    if dry:
        page.say(f"No air gets to {', '.join(dry)}: nothing to read there.", first="  ")


def _under(error: str, unit: str) -> str:
    """Half an error bar, set so that its figures stand under those of the number above it."""
    return error + " " * len(unit) if error else ""
