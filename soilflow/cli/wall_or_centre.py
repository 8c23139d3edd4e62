"""``soilflow study wall-or-centre``: which placement of pits does more, as a map."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.meter import meter
from soilflow.cli.options import (
    AsJson,
    CaseFile,
    Debug,
    Quiet,
    ResolutionName,
    VariantName,
    Verbose,
)
from soilflow.cli.reporting import (
    SOME_FAILED,
    WrongCommand,
    check_folder_of,
    pick_layout,
    pick_variant,
    reporting,
)
from soilflow.cli.study import Figures, Out, VacuumText, hand_over, quantity, study, vacuum_of

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.flow.grid import Resolution
    from soilflow.layout.layout import Layout
    from soilflow.studies.wall_or_centre import MapPlan

__all__ = ["Axis", "MapGrid", "Measure", "Panel", "wall_or_centre"]


class Panel(StrEnum):
    """Where the gap is."""

    NO_GAP = "no-gap"
    CORE = "core"
    WALLS = "walls"


class Axis(StrEnum):
    """What a map turns."""

    BAND = "band"
    JOINT = "joint"
    SLAB = "slab"
    YARD = "yard"


class Measure(StrEnum):
    """What decides."""

    MARGIN = "margin"
    FLOW = "flow"
    COVERAGE = "coverage"


MapGrid = Annotated[
    ResolutionName | None, typer.Option(help="How fine the grid is; the map's own is rough.")
]


@study.command("wall-or-centre")
def wall_or_centre(
    case: CaseFile,
    variant: VariantName = None,
    wall: Annotated[
        str | None, typer.Option(metavar="NAME", help="Layout at the walls; else one pit there.")
    ] = None,
    centre: Annotated[
        str | None, typer.Option(metavar="NAME", help="Layout in the middle; else one pit there.")
    ] = None,
    across: Annotated[Axis, typer.Option(help="What changes across.")] = Axis.BAND,
    up: Annotated[Axis, typer.Option(help="What changes upward.")] = Axis.JOINT,
    across_range: Annotated[
        str | None, typer.Option(metavar="'LOW to HIGH'", help="As '1 to 30'.")
    ] = None,
    up_range: Annotated[
        str | None, typer.Option(metavar="'LOW to HIGH'", help="As '0.02 mm to 1 mm'.")
    ] = None,
    points: Annotated[int, typer.Option(min=2, max=40, help="Points along each axis.")] = 7,
    measure: Annotated[Measure, typer.Option(help="What decides.")] = Measure.MARGIN,
    panel: Annotated[
        list[Panel] | None, typer.Option(help="A panel; again for more. All three if none.")
    ] = None,
    gap: Annotated[
        str, typer.Option(metavar="HEIGHT", help="Of gaps that are not the case's own.")
    ] = "1 mm",
    vacuum: VacuumText = None,
    resolution: MapGrid = None,
    out: Out = Path("."),
    figures: Figures = True,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Map which placement of pits does more, and mark this house on it.

    \b
    Examples:
      soilflow study wall-or-centre house.toml --points 2 --panel no-gap
      soilflow study wall-or-centre house.toml --points 2 --panel walls --json

    Three panels: no gap, a gap under the core, a gap along the walls.
    Writes the map (PNG) and a table (CSV), named after the case.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "table")
        from soilflow.files.case_toml import read_case
        from soilflow.output.wall_or_centre_words import map_to_csv, map_to_dict, print_map
        from soilflow.studies.wall_or_centre import map_cost, solve_map

        read = pick_variant(read_case(case), variant)
        layouts = _placements(read, wall, centre, vacuum)
        ranges = _range(across, across_range), _range(up, up_range)
        plan = _map_plan(
            read, layouts, (across, up), ranges, points, measure, panel or [], gap, resolution
        )
        if not quiet:
            solves, seconds = map_cost(plan)
            typer.echo(f"solving {solves} soils, about {seconds:.0f} s ...", err=True)
        with meter("columns of the map", shown=not quiet) as progress:
            found = solve_map(plan, progress=progress)
        parts = [case.stem, read.variant, "wall_or_centre", "" if measure == "margin" else measure]
        stem = out / "_".join(part for part in parts if part)

        def draw(path: Path) -> Path:
            from soilflow.output.wall_or_centre_figure import save_placement_map

            return save_placement_map(found, path)

        hand_over(
            stem,
            map_to_csv(found),
            draw if figures else None,
            lambda: print_map(found, verbose=verbose),
            lambda: map_to_dict(found),
            json=json,
            quiet=quiet,
        )
    if found.failures:
        raise typer.Exit(SOME_FAILED)


def _placements(
    case: Case, wall: str | None, centre: str | None, vacuum: str | None
) -> tuple[Layout, Layout]:
    from soilflow.studies.placements import at_vacuum, centre_place, one_pit, wall_place

    first = (
        one_pit(case, "one at the wall", wall_place(case))
        if wall is None
        else pick_layout(case, wall)
    )
    second = (
        one_pit(case, "one in the middle", centre_place(case))
        if centre is None
        else pick_layout(case, centre)
    )
    if vacuum is None:
        return first, second
    held = vacuum_of(vacuum)
    return at_vacuum(first, held), at_vacuum(second, held)


def _range(axis: Axis, text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    from soilflow.studies.site_axes import site_axis

    low, to, high = text.partition(" to ")
    if not to:
        raise WrongCommand(f'"{text}": two values are needed, as in "1 to 30"')
    dimension = site_axis(axis).dimension
    ends = (quantity("a range", end.strip(), dimension) for end in (low, high))
    first, last = ends
    return first, last


def _map_plan(
    case: Case,
    layouts: tuple[Layout, Layout],
    axes: tuple[Axis, Axis],
    ranges: tuple[tuple[float, float] | None, tuple[float, float] | None],
    points: int,
    measure: Measure,
    panels: list[Panel],
    gap: str,
    resolution: ResolutionName | None,
) -> MapPlan:
    from soilflow.errors import InputError
    from soilflow.studies.gap_scenes import gap_scenes
    from soilflow.studies.site_axes import site_axis
    from soilflow.studies.wall_or_centre import plan_map

    try:
        scenes = gap_scenes(
            case.site, quantity("--gap", gap, "length"), tuple(str(p) for p in panels)
        )
        return plan_map(
            case,
            *layouts,
            scenes,
            x=site_axis(axes[0]),
            y=site_axis(axes[1]),
            x_range=ranges[0],
            y_range=ranges[1],
            points=points,
            measure=str(measure),
            resolution=_grid(resolution),
        )
    except InputError as error:
        if error.field in ("axis", "range", "panel", "measure"):
            raise WrongCommand(error.message) from None
        raise


def _grid(name: ResolutionName | None) -> Resolution:
    from soilflow.flow.grid import COARSE, FINE, NORMAL
    from soilflow.studies.wall_or_centre import MAP

    return MAP if name is None else {g.name: g for g in (COARSE, NORMAL, FINE)}[name]
