"""``soilflow study``: questions that take many runs, each with a picture and a table."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from soilflow.cli.app import app
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
    show,
    wrote,
)

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.flow.grid import Resolution
    from soilflow.layout.layout import Layout
    from soilflow.studies.wall_or_centre import MapPlan

__all__ = ["pit_size", "study", "wall_or_centre"]

study = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(study, name="study")


@study.callback()
def _study() -> None:
    """Answer a question that takes many runs: a picture, a table, a few words.

    \b
    Examples:
      soilflow study wall-or-centre house.toml --points 2 --panel walls
      soilflow study pit-size house.toml --most 1 --shape pan --state seam
    """


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


Out = Annotated[
    Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
]
Figures = Annotated[bool, typer.Option("--figures/--no-figures", help="Draw it.")]
VacuumText = Annotated[
    str | None,
    typer.Option("--vacuum", metavar="VACUUM", help="Hold the pits at it, without the fan."),
]
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
      soilflow study wall-or-centre house.toml --points 2 --panel core --json

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

        _hand_over(
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


class Shape(StrEnum):
    """What is dug."""

    BOWL = "bowl"
    PAN = "pan"
    SHAFT = "shaft"


class State(StrEnum):
    """How the soil is."""

    SCRAPED = "scraped"
    SMEARED = "smeared"
    SEAM = "seam"
    GAP = "gap"


class Where(StrEnum):
    """Where the pit is."""

    OPEN = "open"
    WALL = "wall"


@study.command("pit-size")
def pit_size(
    case: CaseFile,
    variant: VariantName = None,
    most: Annotated[int, typer.Option(min=1, max=12, help="Buckets of the largest pit.")] = 6,
    shape: Annotated[
        list[Shape] | None, typer.Option(help="A shape; again for more. All if none.")
    ] = None,
    state: Annotated[
        list[State] | None, typer.Option(help="How the soil is; again for more. All if none.")
    ] = None,
    place: Annotated[
        list[Where] | None, typer.Option(help="Where; again for both. Both if none.")
    ] = None,
    smear: Annotated[
        str, typer.Option(metavar="THICKNESS", help="Of the soil packed onto the wall.")
    ] = "20 mm",
    smear_ratio: Annotated[
        float, typer.Option(min=1e-3, max=1.0, help="Its permeability over that of the soil.")
    ] = 0.1,
    seam_depth: Annotated[
        str, typer.Option(metavar="DEPTH", help="Top of the loose seam below the slab.")
    ] = "12 in",
    seam_looser_by: Annotated[
        float, typer.Option(min=1.0, max=1e4, help="Its permeability over that of the soil.")
    ] = 30.0,
    gap: Annotated[
        str, typer.Option(metavar="HEIGHT", help="Of a gap that is not the case's own.")
    ] = "1 mm",
    vacuum: VacuumText = None,
    out: Out = Path("."),
    figures: Figures = True,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Tell what the next bucket is worth, and when to stop digging.

    \b
    Examples:
      soilflow study pit-size house.toml --most 1 --shape bowl --state gap
      soilflow study pit-size house.toml --most 1 --state scraped --place open

    One pit on the fan of the first layout, from a bare core hole on.
    Writes a figure (PNG) and a table (CSV), named after the case.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "table")
        from soilflow.files.case_toml import read_case
        from soilflow.output.pit_size_words import (
            pit_sizes_to_csv,
            pit_sizes_to_dict,
            print_pit_sizes,
        )
        from soilflow.studies.pit_size import Digging, pit_size_cost, pit_sizes

        read = pick_variant(read_case(case), variant)
        shapes, states, places = (
            tuple(str(name) for name in dict.fromkeys(chosen or every))
            for chosen, every in ((shape, Shape), (state, State), (place, Where))
        )
        digging = Digging(
            smear=_quantity("--smear", smear, "length"),
            smear_ratio=smear_ratio,
            seam_depth=_quantity("--seam-depth", seam_depth, "length"),
            seam_looser_by=seam_looser_by,
            aperture=_quantity("--gap", gap, "length"),
        )
        held = None if vacuum is None else _quantity("--vacuum", vacuum, "vacuum")
        if not quiet:
            solves, seconds = pit_size_cost(read, shapes, states, places, most)
            typer.echo(f"solving {solves} pits, about {seconds:.0f} s ...", err=True)
        with meter("pits", shown=not quiet) as progress:
            found = pit_sizes(
                read,
                shapes=shapes,
                states=states,
                places=places,
                most=most,
                digging=digging,
                vacuum=held,
                progress=progress,
            )

        def draw(path: Path) -> Path:
            from soilflow.output.pit_size_figure import save_pit_sizes

            return save_pit_sizes(found, path)

        _hand_over(
            out / "_".join(part for part in (case.stem, read.variant, "pit_size") if part),
            pit_sizes_to_csv(found),
            draw if figures else None,
            lambda: print_pit_sizes(found, verbose=verbose),
            lambda: pit_sizes_to_dict(found),
            json=json,
            quiet=quiet,
        )
    if found.failures:
        raise typer.Exit(SOME_FAILED)


def _hand_over(
    stem: Path,
    table: str,
    draw: Callable[[Path], Path] | None,
    text: Callable[[], str],
    data: Callable[[], dict[str, Any]],
    *,
    json: bool,
    quiet: bool,
) -> None:
    """Write table and picture, print the answer, name the files."""
    from soilflow.files.atomic import replacing

    paths = [stem.with_name(f"{stem.name}.csv")]
    try:
        with replacing(paths[0]) as temporary:
            temporary.write_text(table, encoding="utf-8")
        if draw is not None:
            paths.append(draw(stem.with_name(f"{stem.name}.png")))
    finally:  # a full disk or a closed pipe must not cost the other half of the work
        show(text, data, json=json, quiet=quiet)
    wrote(paths, json=json, quiet=quiet)


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
    held = _quantity("--vacuum", vacuum, "vacuum")
    return at_vacuum(first, held), at_vacuum(second, held)


def _quantity(option: str, text: str, dimension: str) -> float:
    from soilflow.errors import InputError
    from soilflow.units import parse_quantity

    try:
        return parse_quantity(text, dimension)
    except InputError as error:
        raise WrongCommand(f"{option}: {error.message}") from None


def _range(axis: Axis, text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    from soilflow.studies.site_axes import site_axis

    low, to, high = text.partition(" to ")
    if not to:
        raise WrongCommand(f'"{text}": two values are needed, as in "1 to 30"')
    dimension = site_axis(axis).dimension
    ends = (_quantity("range", end.strip(), dimension) for end in (low, high))
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
            case.site, _quantity("--gap", gap, "length"), tuple(str(p) for p in panels)
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
