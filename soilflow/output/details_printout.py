"""The rest of an answer, for those who ask: every condition, fan, coverage, gas, pipes, solver."""

from __future__ import annotations

from soilflow.layout.fan_sets import FIRST
from soilflow.layout.pipes import fall_needed
from soilflow.operating_point import CAPPED, FAN_ON
from soilflow.output.error_bars import half_bar
from soilflow.output.page import (
    Page,
    bare,
    cfm,
    figures,
    pa,
    percent,
    place_on_floor,
    spoken,
    wc,
)
from soilflow.results.coverage import PASS_LINE, STRIP
from soilflow.results.result import ConditionResult, Result
from soilflow.site.slab import Slab
from soilflow.units import M3S_PER_CFM, MS_PER_FPM, PA_PER_INCH_WC, PA_PER_MM_WC, feet_inches

__all__ = ["detail_lines", "solver_lines"]


def detail_lines(page: Page, result: Result, conditions: list[ConditionResult], slab: Slab) -> None:
    """Points, fan, test holes, coverage, soil gas and rooms under every condition.

    Parameters
    ----------
    page : Page
        Where it is written.
    result : Result
        The result.
    conditions : list of ConditionResult
        In the order they are printed.
    slab : Slab
        The floor, for places.
    """
    _suction_points(page, result, conditions)
    _fan(page, result, conditions)
    _test_holes(page, conditions)
    _coverage(page, result, conditions)
    _soil_gas(page, conditions)
    _rooms(page, conditions, slab)


def solver_lines(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    """Pipes, and how the solve went.

    Parameters
    ----------
    page : Page
        Where it is written.
    result : Result
        The result.
    conditions : list of ConditionResult
        In the order they are printed.
    """
    _pipes(page, result, conditions)
    _details(page, result, conditions)


def _suction_points(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
    page.heading("Every condition: vacuum at the riser, air drawn")
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
    page.heading("Every state of the test holes (minus is suction)")
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
        "Undug: before digging, no pit yet. Off: pits dug, fan off, pipes open to the outlet; "
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


def _soil_gas(page: Page, conditions: list[ConditionResult]) -> None:
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


def _under(error: str, unit: str) -> str:
    """Half an error bar, set so that its figures stand under those of the number above it."""
    return error + " " * len(unit) if error else ""


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


def _details(page: Page, result: Result, conditions: list[ConditionResult]) -> None:
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
    for condition in conditions:
        on = condition.operating_point
        page.heading(f"Pipes, {spoken(condition.name)}: velocity")
        speeds = on.velocities.items()
        page.rows([(pipe, f"{speed / MS_PER_FPM:.0f} fpm") for pipe, speed in speeds])
        page.say(f"fan, pipes and soil agree within {on.residual:.1e} Pa", first="  ")
