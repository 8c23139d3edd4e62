"""``soilflow check``: read a case, say what it costs, draw what the model thinks is there."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, CaseFile, Debug, LayoutName, Quiet, VariantName, Verbose
from soilflow.cli.reporting import (
    WrongCommand,
    aside,
    check_folder_of,
    pick_layout,
    pick_variant,
    reporting,
    show,
    wrote,
)

__all__ = ["check"]


@app.command()
def check(
    case: CaseFile,
    layout: LayoutName = None,
    variant: VariantName = None,
    plan: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw what the model thinks is there: .png, .pdf, .svg."),
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Read a case, say what it will cost to run, solve nothing.

    \b
    Examples:
      soilflow check house.toml
      soilflow check house.toml --layout "two in the middle" --plan soil.png
      soilflow check house.toml --variant frozen_yard --json
    """
    with reporting(case, debug=debug):
        if plan is not None and plan.suffix.lower() not in (".png", ".pdf", ".svg"):
            raise WrongCommand(f'--plan "{plan}": the name must end in .png, .pdf or .svg')
        check_folder_of("--plan", plan)

        from soilflow.errors import TooLargeError
        from soilflow.files.case_toml import read_case
        from soilflow.grids import estimate, fitting_grid_of, map_of
        from soilflow.output.check_printout import check_to_dict, print_check

        read = pick_variant(read_case(case), variant)
        shown = [pick_layout(read, layout)] if layout is not None else list(read.layouts)
        for one in shown:
            try:
                fitting_grid_of(read, [one])
            except TooLargeError as error:
                aside(f'note: "{one.name}" will not run here: {error}')
            map_of(read, one)
        estimates = {one.name: estimate(read, one) for one in shown}
        try:
            if plan is not None:
                from soilflow.output.pictures import save_check_figure

                save_check_figure(read, shown[0], plan)
        finally:  # a full disk or a closed pipe must not cost the other half of the work
            show(
                lambda: print_check(read, estimates, verbose=verbose),
                lambda: check_to_dict(read, estimates),
                json=json,
                quiet=quiet,
            )
        if plan is not None:
            wrote([plan], json=json, quiet=quiet)
