"""The answer as text, for a narrow window and a reader on their feet: headline first."""

from __future__ import annotations

from soilflow.case import Case
from soilflow.conditions import DESIGN, TODAY
from soilflow.layout.layout import Layout
from soilflow.output.cautions import first_cautions
from soilflow.output.details_printout import detail_lines, solver_lines
from soilflow.output.error_bars import about_bars, half_bar, too_close
from soilflow.output.on_site import air_lines, seal_lines, verdict_lines, verdict_word
from soilflow.output.page import (
    Page,
    both,
    cfm,
    place_on_floor,
    spoken,
    wc,
)
from soilflow.output.site_card import holes_lines, points_lines
from soilflow.results.coverage import PASS_LINE, PATCH
from soilflow.results.result import ConditionResult, Result, deciding
from soilflow.results.verdict import LEAST_FLOW
from soilflow.site.slab import Slab
from soilflow.studies.on_site import OnSite
from soilflow.units import M3S_PER_CFM, feet_inches

__all__ = ["LEAST_FLOW", "draws_too_little", "print_result"]


def print_result(
    result: Result,
    case: Case,
    *,
    on_site: OnSite | None = None,
    verbose: bool = False,
    width: int = 60,
) -> str:
    """Write what a run found, the one answer first.

    Parameters
    ----------
    result : Result
        The result.
    case : Case
        The case it came from.
    on_site : OnSite or None
        What stands beside it for the one on site; None leaves that out.
    verbose : bool
        Add every condition, coverage, soil gas, sources of air, fan, pipes, how the solve went
        and the ranges of the inputs.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    conditions = _in_order(result)
    judged = deciding(result.conditions)
    _tight_soil(page, result, judged)
    _title(page, result, case)
    _headline(page, judged, case.site.slab)
    if on_site is not None:
        page.say(f"{verdict_word(on_site.verdict)}: {on_site.verdict.reasons[0]}.")
    _room_headlines(page, judged, case.site.slab)
    points_lines(page, result, conditions[0], judged, on_site)
    holes_lines(page, conditions[0], judged, on_site)
    if on_site is not None:
        seal_lines(page, on_site, case.site.slab)
    _trust(page, case, judged, verbose, on_site)
    _notes(page, result)
    if verbose:
        detail_lines(page, result, conditions, case.site.slab)
        if on_site is not None:
            air_lines(page, on_site)
        solver_lines(page, result, conditions)
    page.heading("Cautions")
    if on_site is not None and on_site.backdraft.depressurisation is not None:
        page.item(str(on_site.backdraft))
    for caution in first_cautions():
        page.item(caution)
    page.say("")
    if not judged.passes and len(case.layouts) > 1:
        page.say(f"compare puts all {len(case.layouts)} layouts of this case side by side.")
    if not verbose:
        page.say("-v adds every condition, coverage, soil gas, sources of air, fan and pipes.")
    return page.text()


def _in_order(result: Result) -> list[ConditionResult]:
    """Today, then design winter, then the rest as the case has them."""
    first = [name for name in (TODAY, DESIGN) if name in result.conditions]
    rest = [name for name in result.conditions if name not in first]
    return [result.conditions[name] for name in (*first, *rest)]


def draws_too_little(layout: Layout, condition: ConditionResult) -> bool:
    """Whether the points of a layout draw less in all than a field gauge shows.

    Parameters
    ----------
    layout : Layout
        The layout.
    condition : ConditionResult
        What happens with it.

    Returns
    -------
    tight : bool
        False too when every point is capped: then nothing is meant to be drawn.
    """
    names = [point.name for point in layout.points]
    used = not all(point.capped for point in layout.points)
    return used and condition.air_drawn(names) < LEAST_FLOW


def _tight_soil(page: Page, result: Result, condition: ConditionResult) -> None:
    """What has to be read before a coverage that means nothing."""
    if not draws_too_little(result.arrangement, condition):
        return
    drawn = condition.air_drawn(p.name for p in result.arrangement.points)
    page.say(
        f"READ THIS FIRST: the suction points draw {cfm(drawn)} in all, below what a field gauge "
        f"shows ({LEAST_FLOW / M3S_PER_CFM:g} cfm, chosen by the project). In tight soil suction "
        "that a steady model shows may take days to build up: the figures below are not "
        "dependable. Look for a gap, looser soil or fewer leaks before a bigger fan."
    )
    page.say("")


def _title(page: Page, result: Result, case: Case) -> None:
    page.heading(result.title)
    which = f'Layout "{result.layout}"'
    if len(case.layouts) > 1 and result.layout == case.layouts[0].name:
        which += f", the first of {len(case.layouts)}"
    page.say(which + (f', variant "{result.variant}"' if result.variant else ""))


def _headline(page: Page, condition: ConditionResult, slab: Slab) -> None:
    worst, name = condition.worst, spoken(condition.name)
    verdict = "HOLDS" if condition.passes else "DOES NOT HOLD"
    page.heading(f"{name.upper()}: THE PASS LINE {verdict}")
    if condition.name != DESIGN:
        page.say(f'The case has no condition "{DESIGN}": the hardest, "{name}", judges.')
    short = "To spare" if condition.passes else "Short by"
    bar = f"{half_bar(condition, 'worst_margin')} Pa " if condition.bars else ""
    page.say(f"{short}: {both(abs(worst.margin))} {bar}at the worst spot,")
    for distance in place_on_floor(slab, worst.x, worst.y).split(", "):
        page.say(distance, first="  ")
    suction = worst.margin + PASS_LINE
    there = f"suction {both(suction)}" if suction >= 0 else f"pressure up {both(-suction)}"
    page.say(there, first="  ")
    page.say(
        f"Pass line: suction of {PASS_LINE:g} Pa ({wc(PASS_LINE)}), averaged over any "
        f"{feet_inches(PATCH, denominator=1)} square of floor."
    )
    dead = condition.floor.no_air_area / slab.polygon.area
    if dead > 0.005:
        page.say(
            f"All this is about the floor that air can reach. Under {100.0 * dead:.0f} % of it "
            "there is no air path: no suction gets there, whatever the fan."
        )
    opening = condition.opening
    if opening is not None and opening.pressure > 0.0:
        page.say(
            f"Gas is pushed up at the {opening.name}, worst with {both(opening.pressure)} "
            f"{place_on_floor(slab, opening.x, opening.y)}."
        )
    if too_close(condition):
        page.say("TOO CLOSE TO TELL: the grid's own error reaches across the pass line.")


def _room_headlines(page: Page, condition: ConditionResult, slab: Slab) -> None:
    """Rooms beside the house, in a line each: whether their floor holds against their own air."""
    for name, room in condition.rooms.items():
        if room.worst is None:
            continue
        margin, where = room.worst.margin, place_on_floor(slab, room.worst.x, room.worst.y)
        said = f"holds, {both(margin)} to spare"
        if margin < 0.0:
            said = f"DOES NOT HOLD, short by {both(-margin)} {where}"
        page.say(f'Room "{name}", against its own air: {said}.')


def _notes(page: Page, result: Result) -> None:
    if result.notes:
        page.heading("Notes")
    for note in result.notes:
        for name in result.conditions:
            note = note.replace(f"{name}: ", f"{spoken(name)}: ")
        page.item(note)


def _trust(
    page: Page, case: Case, condition: ConditionResult, verbose: bool, on_site: OnSite | None
) -> None:
    page.heading("How far to trust it")
    if on_site is not None:
        verdict_lines(page, on_site.verdict, on_site)
    if condition.bars:
        page.say(about_bars(condition))
    known = len(case.uncertain)
    words = "No range computed: every figure is from one run with one value for each input."
    if known:
        several = "input is" if known == 1 else "inputs are"
        words += f" {known} {several} known only as a range; the run took one value inside it."
    page.say(words)
    if verbose:
        for item in case.uncertain:
            page.item(f"{item.path}: {item.low:.3g} to {item.high:.3g} (SI), {item.source}")
