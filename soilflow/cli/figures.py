"""``soilflow figures``: all pictures of a result."""

from __future__ import annotations

from enum import StrEnum
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
    WrongCommand,
    aside,
    check_folder_of,
    pick_grid,
    pick_layout,
    pick_variant,
    reporting,
    show,
)

__all__ = ["figures"]


class _Style(StrEnum):
    """How pictures look."""

    SCREEN = "screen"
    PRINT = "print"
    SLIDE = "slide"


class _Unit(StrEnum):
    """Length unit of plans."""

    FT = "ft"
    M = "m"


class _Form(StrEnum):
    """Kind of file."""

    PNG = "png"
    SVG = "svg"
    PDF = "pdf"


@app.command()
def figures(
    case: Annotated[Path, typer.Argument(metavar="RESULT", help="Result file, or a case file.")],
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="This figure alone; give it again for more."),
    ] = None,
    layout: LayoutName = None,
    variant: VariantName = None,
    resolution: Annotated[
        ResolutionName | None,
        typer.Option(help="How fine the grid is; the result says if not given."),
    ] = None,
    style: Annotated[
        _Style, typer.Option(help="For a screen, grey paper, or a wall.")
    ] = _Style.SCREEN,
    unit: Annotated[_Unit, typer.Option(help="Length unit of plans.")] = _Unit.FT,
    form: Annotated[_Form, typer.Option("--format", help="Kind of file.")] = _Form.PNG,
    thorough: Annotated[
        bool, typer.Option("--on-site", help="Also seals and response, from further solves.")
    ] = False,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
    ] = Path("."),
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Draw the pictures of a result, which is solved again for it.

    \b
    Examples:
      soilflow figures house.h5 --only pressure --only section
      soilflow figures house.toml --only air --style print --out results

    All of them without --only: soil, pressure, section, pit, operating, air, decay; with
    --on-site also seals and response.
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "figure")
        from soilflow.errors import InputError
        from soilflow.files.job import read_job
        from soilflow.grids import estimate
        from soilflow.output.figure_set import FIGURES, save_figures
        from soilflow.output.plan import FEET, METRES
        from soilflow.output.styles import STYLES
        from soilflow.run import run_layout
        from soilflow.studies.on_site import on_site

        for name in only or ():
            if name not in FIGURES:
                raise WrongCommand(f'--only: no figure "{name}"; there are {", ".join(FIGURES)}')
        job = read_job(case)
        usual = pick_grid(job.case, str(resolution or job.usual[2]))
        read = pick_variant(usual, job.usual[1] if variant is None else variant)
        chosen = pick_layout(read, job.usual[0] if layout is None else layout)
        cost = estimate(read, chosen)
        if not quiet:
            aside(f"solving {cost.cells} cells, about {cost.seconds:.0f} s ...")
        with meter("unit fields", shown=not quiet) as progress:
            result = run_layout(read, chosen, progress=progress)
        with meter("troubles", shown=thorough and not quiet) as progress:
            found = on_site(read, result, thorough=thorough, progress=progress)
        stem = job.stem_of(
            chosen.name, read.variant, read.resolution.name, *job.usual[3:]
        ).removesuffix("_again")
        try:
            paths = save_figures(
                read,
                result,
                found,
                out,
                stem,
                only=only or (),
                unit=FEET if unit is _Unit.FT else METRES,
                style=STYLES[style],
                form=form,
            )
        except InputError as error:
            raise WrongCommand(f"--only: {error.message}") from None
        lines = [f"wrote {path}" for path in paths]
        if verbose:
            lines.append(repr(result))
        show(
            lambda: "\n".join(lines) + "\n",
            lambda: {"figures": [str(path) for path in paths], "layout": chosen.name},
            json=json,
            quiet=quiet,
        )
