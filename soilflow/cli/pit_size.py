"""``soilflow study pit-size``: what the next bucket is worth."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.meter import meter
from soilflow.cli.options import AsJson, CaseFile, Debug, Quiet, VariantName, Verbose
from soilflow.cli.reporting import (
    SOME_FAILED,
    check_folder_of,
    pick_variant,
    reporting,
)
from soilflow.cli.study import Figures, Out, VacuumText, hand_over, quantity, study, vacuum_of

__all__ = ["Shape", "State", "Where", "pit_size"]


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
      soilflow study pit-size house.toml --most 1 --shape bowl --place open

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
        from soilflow.studies.pit_series import Digging
        from soilflow.studies.pit_size import pit_size_cost, pit_sizes

        read = pick_variant(read_case(case), variant)
        shapes, states, places = (
            tuple(str(name) for name in dict.fromkeys(chosen or every))
            for chosen, every in ((shape, Shape), (state, State), (place, Where))
        )
        digging = Digging(
            smear=quantity("--smear", smear, "length"),
            smear_ratio=smear_ratio,
            seam_depth=quantity("--seam-depth", seam_depth, "length"),
            seam_looser_by=seam_looser_by,
            aperture=quantity("--gap", gap, "length"),
        )
        held = None if vacuum is None else vacuum_of(vacuum)
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

        hand_over(
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
