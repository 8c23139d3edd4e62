"""``soilflow compare``: layouts side by side, or one layout on several sites."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.meter import meter
from soilflow.cli.options import (
    AsJson,
    CaseFile,
    Debug,
    ErrorEstimate,
    Quiet,
    ResolutionName,
    Verbose,
)
from soilflow.cli.reporting import (
    SOME_FAILED,
    check_folder_of,
    pick_grid,
    pick_layout,
    pick_variant,
    reporting,
    show,
    wrote,
)

if TYPE_CHECKING:
    pass

__all__ = ["compare"]


@app.command()
def compare(
    case: CaseFile,
    layout: Annotated[
        list[str] | None,
        typer.Option("--layout", metavar="NAME", help="A layout; again for more. All if none."),
    ] = None,
    variant: Annotated[
        list[str] | None,
        typer.Option("--variant", metavar="NAME", help="A site variant; again for more."),
    ] = None,
    all_variants: Annotated[
        bool, typer.Option("--all-variants", help="The case as written and every variant.")
    ] = False,
    resolution: Annotated[
        ResolutionName | None, typer.Option(help="How fine the grid is, in place of the case's.")
    ] = None,
    error_estimate: ErrorEstimate = None,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
    ] = Path("."),
    figures: Annotated[bool, typer.Option("--figures/--no-figures", help="Draw plans.")] = True,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Solve layouts on one grid and put them side by side.

    \b
    Examples:
      soilflow compare house.toml
      soilflow compare house.toml --layout "four at the walls" --all-variants
      soilflow compare house.toml --variant frozen_yard --resolution coarse
      soilflow compare house.toml --json > compared.json
      soilflow compare house.toml --resolution coarse --error-estimate

    Writes a table (CSV) and the plans (PNG), named after the case.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "table")
        from soilflow.files.case_toml import read_case
        from soilflow.studies.compare import compare_layouts
        from soilflow.studies.error_estimate import (
            compare_with_bars,
            estimate_comparison_with_bars,
        )

        read = read_case(case)
        if resolution is not None:
            read = pick_grid(read, resolution)
        names = [pick_layout(read, name).name for name in layout or []] or None
        sites = list(variant or [])
        if all_variants:
            sites = ["", *read.variants]
        for name in sites:
            pick_variant(read, name)
        if error_estimate and not quiet:
            cost = estimate_comparison_with_bars(read, names, variants=sites or [""])
            words = f"solving {cost.cells} cells on three grids, about {cost.seconds:.0f} s ..."
            typer.echo(words, err=True)
        with meter("layouts", shown=not quiet) as progress:
            solve = compare_with_bars if error_estimate else compare_layouts
            found = solve(read, names, variants=sites or [""], progress=progress)

        from soilflow.files.atomic import replacing
        from soilflow.output.compare_printout import (
            comparison_to_csv,
            comparison_to_dict,
            print_comparison,
        )

        grid = "" if resolution is None else f"_{resolution}"
        stem = f"{case.stem}_compare{grid}{'_bars' if error_estimate else ''}"
        paths = [out / f"{stem}.csv"]
        try:
            with replacing(paths[0]) as temporary:
                temporary.write_text(comparison_to_csv(found), encoding="utf-8")
            if figures and len(found.failed) < len(found.members):
                from soilflow.output.compare_figure import save_comparison_figure

                paths.append(save_comparison_figure(found, out / f"{stem}.png"))
        finally:  # a full disk or a closed pipe must not cost the other half of the work
            show(
                lambda: print_comparison(found, verbose=verbose),
                lambda: comparison_to_dict(found),
                json=json,
                quiet=quiet,
            )
        wrote(paths, json=json, quiet=quiet)
    if found.failed:
        raise typer.Exit(SOME_FAILED)
