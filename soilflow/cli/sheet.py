"""``soilflow sheet``: the job sheet of a result."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.meter import meter
from soilflow.cli.options import (
    AsJson,
    Debug,
    LayoutName,
    Quiet,
    ResolutionName,
    VariantName,
    Verbose,
)
from soilflow.cli.reporting import (
    check_folder_of,
    pick_grid,
    pick_layout,
    pick_variant,
    reporting,
    show,
)
from soilflow.cli.solving import solve

__all__ = ["sheet"]


@app.command()
def sheet(
    case: Annotated[Path, typer.Argument(metavar="RESULT", help="Result file, or a case file.")],
    layout: LayoutName = None,
    variant: VariantName = None,
    resolution: Annotated[
        ResolutionName | None,
        typer.Option(help="How fine the grid is; the result says if not given."),
    ] = None,
    thorough: Annotated[
        bool, typer.Option("--on-site", help="Also seals, waits and dampers: half a minute.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The sheet; else named after the result.")
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Write the job sheet of a result: one HTML file, offline, to print.

    \b
    Examples:
      soilflow sheet house.h5
      soilflow sheet house.toml --resolution coarse --out results/sheet.html

    The result is solved again to have everything at hand. With a browser that runs scripts the
    sheet lets its reader move vacuums and the weather; without, it is complete as it stands.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out)
        from soilflow.files.atomic import replacing
        from soilflow.files.job import read_job
        from soilflow.output.sheet import sheet_html
        from soilflow.studies.on_site import on_site

        job = read_job(case)
        usual_layout, usual_variant, usual_grid, engine, bars = job.usual
        usual = pick_grid(job.case, str(resolution or usual_grid))
        read = pick_variant(usual, usual_variant if variant is None else variant)
        chosen = pick_layout(read, usual_layout if layout is None else layout)
        result = solve(read, chosen, engine, quiet=quiet, bars=bool(bars))
        with meter("troubles", shown=thorough and not quiet) as progress:
            found = on_site(read, result, thorough=thorough, progress=progress)
        stem = job.stem_of(chosen.name, read.variant, read.resolution.name, *job.usual[3:])
        path = out or Path(f"{stem.removesuffix('_again')}_sheet.html")
        text = sheet_html(read, result, found)
        with replacing(path) as unfinished:
            unfinished.write_text(text, encoding="utf-8")
        size = len(text.encode("utf-8"))
        lines = [f"wrote {path}", f"{size / 1000:.0f} kB; open and print it in any browser"]
        if verbose:
            lines.append(repr(result))
        show(
            lambda: "\n".join(lines) + "\n",
            lambda: {"sheet": str(path), "bytes": size, "layout": chosen.name},
            json=json,
            quiet=quiet,
        )
