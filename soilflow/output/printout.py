"""The answer as text, for a narrow window and a reader on their feet: headline first."""

from __future__ import annotations

from soilflow.case import Case
from soilflow.conditions import DESIGN, TODAY
from soilflow.layout.fan_sets import FIRST
from soilflow.layout.layout import Layout
from soilflow.layout.pipes import fall_needed
from soilflow.layout.pits import BoxPit, CylinderPit, OnConductor
from soilflow.operating_point import CAPPED, FAN_ON
from soilflow.output.cautions import first_cautions
from soilflow.output.error_bars import about_bars, half_bar, too_close
from soilflow.output.on_site import (
    air_lines,
    must_read_lines,
    seal_lines,
    verdict_lines,
    wait_lines,
)
from soilflow.output.page import (
    Page,
    bare,
    both,
    cfm,
    figures,
    pa,
    percent,
    place_on_floor,
    spoken,
    wc,
)
from soilflow.results.coverage import PASS_LINE, PATCH, STRIP
from soilflow.results.result import ConditionResult, Result, deciding
from soilflow.results.verdict import LEAST_FLOW
from soilflow.site.slab import Slab
from soilflow.studies.on_site import OnSite
from soilflow.units import M3S_PER_CFM, MS_PER_FPM, PA_PER_INCH_WC, PA_PER_MM_WC, feet_inches

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
        Add how the solve went, the port matrix and the ranges of the inputs.
    width : int
        Characters in a line.

    Returns
    -------
    text : str
        Lines of at most the width, unless a single word is longer.
    """
    page = Page(width)
    conditions = _in_order(result)
    verdict = deciding(result.conditions)
    _tight_soil(page, result, verdict)
    _title(page, result, case)
    _headline(page, verdict, case.site.slab)
    _suction_points(page, result, conditions)
    _fan(page, result, conditions)
    _test_holes(page, conditions)
    if on_site is not None:
        must_read_lines(page, on_site)
        wait_lines(page, on_site)
        seal_lines(page, on_site, case.site.slab)
    _coverage(page, result, conditions)
    _soil_gas(page, conditions, case.site.slab)
    _rooms(page, conditions, case.site.slab)
    if on_site is not None:
        air_lines(page, on_site)
    _notes(page, result)
    _trust(page, case, verdict, verbose, on_site)
    if verbose:
        _pipes(page, result, conditions)
        _details(page, result)
    page.heading("Cautions")
    for caution in first_cautions():
        page.item(caution)
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
    page.say(f"{there} over {feet_inches(PATCH, denominator=1)} square", first="  ")
    line = f"{PASS_LINE:g} Pa ({wc(PASS_LINE)})"
    page.say(f"Pass line: suction of {line}, averaged over any such square.")
    dead = condition.floor.no_air_area / slab.polygon.area
    if dead > 0.005:
        page.say(
            f"All this is about the floor that air can reach. Under {100.0 * dead:.0f} % of it "
            "there is no air path: no suction gets there, whatever the fan."
        )
    if too_close(condition):
        page.say("TOO CLOSE TO TELL: the grid's own error reaches across the pass line.")


def _suction_points(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    page.heading("Suction points: vacuum at the riser, air drawn")
    rows = []
    for point in result.arrangement.points:
        name = point.name
        for condition in conditions:
            on = condition.operating_point
            port = on.port_names.index(point.name)
            vacuum = on.riser_vacuums.get(point.name, -float(on.pressures[port]))
            flow = "capped" if on.states[port] == CAPPED else cfm(float(on.flows[port]))
            rows.append((name, spoken(condition.name), wc(vacuum), flow))
            if condition.bars:
                kind = "riser_vacuum" if point.name in on.riser_vacuums else "port_pressure"
                error = half_bar(condition, kind, point.name, unit=PA_PER_INCH_WC)
                air = half_bar(condition, "port_flow", point.name, unit=M3S_PER_CFM)
                rows.append(("", "", _under(error, " in. w.c."), _under(air, " cfm")))
            name = ""
    page.rows(rows, texts=2)
    held = [point.name for point in result.arrangement.points if point.vacuum is not None]
    if held:
        page.say(f"Held at a stated vacuum, no fan: {', '.join(held)}.", first="  ")
    for point in result.arrangement.points:
        if isinstance(point.pit, OnConductor):
            page.say(f'{point.name} draws on the drain "{point.pit.line}".', first="  ")
        elif isinstance(point.pit, BoxPit | CylinderPit) and point.pit.water_level is not None:
            level = feet_inches(point.pit.water_level)
            page.say(f"{point.name} is a sump; it draws above its water, {level} down.", first="  ")


def _fan(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    """Static pressure, flow and watts of each fan."""
    sets = result.arrangement.fan_sets
    if FAN_ON not in conditions[0].operating_point.states:
        return
    for name, fan, _ in sets:
        which = "Fan" if len(sets) == 1 else f'Fan "{name}"'
        page.heading(f"{which} ({fan.name}): static pressure, flow")
        if len(sets) > 1:
            page.say(f"on {', '.join(result.arrangement.points_on(name)) or 'nothing'}", first="  ")
        rows = []
        for condition in conditions:
            duty = condition.operating_point.fans[name]
            power = "" if duty.power is None else f"{figures(duty.power)} W"
            made = (wc(duty.static_pressure), cfm(duty.flow), power)
            rows.append((spoken(condition.name), *made))
            if condition.bars and len(sets) == 1:
                error = half_bar(condition, "fan_static", unit=PA_PER_INCH_WC)
                air = half_bar(condition, "fan_flow", unit=M3S_PER_CFM)
                rows.append(("", _under(error, " in. w.c."), _under(air, " cfm"), ""))
        page.rows(rows)


def _test_holes(page: Page, conditions: list[ConditionResult]) -> None:
    if not conditions[0].test_holes:
        return
    page.heading("Test holes: expected reading (minus is suction)")
    rows: list[tuple[str, ...]] = [("", "", "undug Pa", "off Pa", "on Pa", "on in. w.c.")]
    for hole in conditions[0].test_holes:
        name = hole
        for condition in conditions:
            before, on = condition.baseline, condition.test_holes[hole]
            undug = "-" if before is None else bare(pa(before.test_holes[hole]))
            off = bare(pa(condition.test_holes_off[hole]))
            states = (undug, off, bare(pa(on)), bare(wc(on, 2)))
            rows.append((name, spoken(condition.name), *states))
            if condition.bars:
                ends = ("_before_digging", "_fan_off", "")
                errors = [half_bar(condition, f"test_hole_pressure{end}", hole) for end in ends]
                inches = half_bar(condition, "test_hole_pressure", hole, unit=PA_PER_INCH_WC)
                rows.append(("", "", *errors, inches))
            name = ""
    page.rows(rows, texts=2)
    page.say(
        "Undug: before there is any pit. Off: pits dug, fan off, pipes open to the outlet; "
        "points without a pipe capped.",
        first="  ",
    )


def _coverage(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    strip = feet_inches(STRIP, denominator=1)
    page.heading(f"Under suction: floor, and the {strip} along the walls")
    for condition in conditions:
        flow = cfm(condition.air_drawn(p.name for p in result.arrangement.points))
        if condition.bars:
            flow += f" {half_bar(condition, 'air_drawn', unit=M3S_PER_CFM)}"
        page.say(f"{spoken(condition.name)}, drawing {flow}:", first="  ")
        shares = zip(
            condition.coverage_area.items(), condition.coverage_perimeter.values(), strict=True
        )
        rows: list[tuple[str, ...]] = []
        for (threshold, area), walls in shares:
            shown = (f"floor {percent(area)}", f"walls {percent(walls)}")
            rows.append((f"{threshold:g} Pa or more", *shown))
            if condition.bars:
                names = ("coverage_area", "coverage_perimeter")
                errors = [half_bar(condition, n, f"{threshold:g}", unit=0.01) for n in names]
                rows.append(("", *(_under(error, " %") for error in errors)))
        page.rows(rows, indent="    ")


def _soil_gas(page: Page, conditions: list[ConditionResult], slab: Slab) -> None:
    page.heading("Soil gas into the house, and house air drawn down, cfm")
    rows: list[tuple[str, ...]] = [("", "gas undug", "off", "on", "house air")]
    for condition in conditions:
        before = condition.baseline
        undug = "-" if before is None else bare(cfm(before.house.from_soil))
        flows = (condition.house_off.from_soil, condition.house_on.from_soil)
        taken = condition.house_on.into_soil
        shown = (bare(cfm(flow)) for flow in (*flows, taken))
        rows.append((spoken(condition.name), undug, *shown))
        if condition.bars:
            names = ("entry_before_digging", "entry_fan_off", "entry", "air_from_house")
            rows.append(("", *(half_bar(condition, name, unit=M3S_PER_CFM) for name in names)))
    page.rows(rows)
    for condition in conditions:
        opening = condition.opening
        if opening is not None and opening.pressure > 0.0:
            page.say(
                f"{spoken(condition.name)}: gas is pushed up at the {opening.name}, worst with "
                f"{both(opening.pressure)} {place_on_floor(slab, opening.x, opening.y)}.",
                first="  ",
            )


def _rooms(page: Page, conditions: list[ConditionResult], slab: Slab) -> None:
    """Rooms beside the house, each against its own air."""
    for name in conditions[0].rooms:
        page.heading(f'Room "{name}", judged against its own air; the house is judged without it')
        rows: list[tuple[str, ...]] = [("", "air", "floor", "margin", "gas off", "on")]
        for condition in conditions:
            room = condition.rooms[name]
            margin = "-" if room.worst is None else bare(pa(room.worst.margin))
            floor = "-" if room.worst is None else percent(room.coverage_area[PASS_LINE])
            flows = (bare(cfm(f.from_soil)) for f in (room.entry_off, room.entry_on))
            rows.append((spoken(condition.name), bare(pa(room.pressure)), floor, margin, *flows))
        page.rows(rows)
        page.say(
            f"Air: above the house, Pa. Floor: share at {PASS_LINE:g} Pa of suction or more. "
            "Margin: beyond the pass line at its worst spot, Pa, minus fails. Gas: cfm.",
            first="  ",
        )
        for condition in conditions:
            worst = condition.rooms[name].worst
            if worst is not None and worst.margin < 0.0:
                where = place_on_floor(slab, worst.x, worst.y)
                page.say(f"{spoken(condition.name)}: worst {where}.", first="  ")


def _notes(page: Page, result: Result) -> None:
    if result.notes:
        page.heading("Notes")
    for note in result.notes:
        for name in result.conditions:
            note = note.replace(f"{name}: ", f"{spoken(name)}: ")
        page.item(note)


def _under(error: str, unit: str) -> str:
    """Half an error bar, set so that its figures stand under those of the number above it."""
    return error + " " * len(unit) if error else ""


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


def _pipes(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    """Fall for condensate, and what a sag full of water would take to clear."""
    for name, _, tree in result.arrangement.fan_sets:
        if tree is None or not any(c.operating_point.velocities for c in conditions):
            continue
        of = "" if name == FIRST else f' of fan "{name}"'
        page.heading(f"Pipes{of}: fall towards the pits, from end to end, if they lie flat")
        page.rows([(pipe, feet_inches(fall)) for pipe, fall in fall_needed(tree).items()])
        page.say("An eighth of an inch per foot: common practice, no source.", first="  ")
        made = max(c.operating_point.fans[name].static_pressure for c in conditions)
        water = PA_PER_MM_WC * 1e3 * max(pipe.bore for pipe in (*tree.pipes, tree.discharge))
        page.say(
            f"A sag that fills with water takes {wc(water)} to clear; the fan makes {wc(made)}.",
            first="  ",
        )


def _details(page: Page, result: Result) -> None:
    response = result.solution.response
    page.heading("How the solve went")
    page.say(repr(result.solution.soil.grid))
    page.say(
        f"{result.cells} cells solved, at most {result.iterations} iterations, balance "
        f"{result.mass_balance:.1e}, unit fields add up to one within {response.partition:.1e}"
    )
    page.say(", ".join(f"{stage} {seconds:.2f} s" for stage, seconds in result.seconds.items()))
    page.heading("Port matrix, m3/s per Pa")
    for number, port in enumerate(response.ports, start=1):
        page.say(f"{number} is {port}", first="  ", rest="    ")
    count = len(response.ports)
    page.rows(
        [
            (f"{i + 1} to {j + 1}", f"{response.port_matrix[i, j]:.5e}")
            for i in range(count)
            for j in range(i, count)
        ]
    )
    for condition in _in_order(result):
        on = condition.operating_point
        page.heading(f"Pipes, {spoken(condition.name)}: velocity")
        speeds = on.velocities.items()
        page.rows([(pipe, f"{speed / MS_PER_FPM:.0f} fpm") for pipe, speed in speeds])
        page.say(f"fan, pipes and soil agree within {on.residual:.1e} Pa", first="  ")
