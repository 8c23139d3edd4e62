"""``soilflow run``: solve one layout, print the answer, write the result file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.meter import meter
from soilflow.cli.options import (
    AsJson,
    Debug,
    Engine,
    ErrorEstimate,
    LayoutName,
    Quiet,
    ResolutionName,
    VariantName,
    Verbose,
)
from soilflow.cli.reporting import (
    WrongCommand,
    check_folder_of,
    pick_grid,
    pick_layout,
    pick_variant,
    reporting,
    show,
    wrote,
)
from soilflow.cli.solving import solve

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.results.result import Result
    from soilflow.studies.on_site import OnSite

__all__ = ["run"]


@app.command()
def run(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="Case file, or a result file to run it again.")
    ],
    layout: LayoutName = None,
    variant: VariantName = None,
    engine: Annotated[
        Engine | None,
        typer.Option(help="fipy is the independent one, for small grids.", show_default=False),
    ] = None,
    resolution: Annotated[
        ResolutionName | None,
        typer.Option(help="How fine the grid is; the case says if not given."),
    ] = None,
    error_estimate: ErrorEstimate = None,
    thorough: Annotated[
        bool,
        typer.Option(
            "--on-site",
            help="Also what to seal, how long to wait, which troubles it stands: a minute more.",
        ),
    ] = False,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
    ] = Path("."),
    figures: Annotated[bool, typer.Option("--figures/--no-figures", help="Draw pictures.")] = True,
    xdmf: Annotated[
        bool, typer.Option("--xdmf", help="Write a small .xdmf too, for older 3-D viewers.")
    ] = False,
    table: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also one number a row, as .csv or .json."),
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Solve one layout, print the answer, write the result file.

    \b
    Examples:
      soilflow run house.toml
      soilflow run house.toml --layout "two in the middle" --variant frozen_yard
      soilflow run house.toml --resolution coarse --no-figures --out results
      soilflow run house.toml --resolution coarse --error-estimate
      soilflow run house.toml --json > house.json
      soilflow run house.toml --no-figures --xdmf --table house_tidy.csv
      soilflow run house.h5 --out results

    The files are named after the case; a layout other than the first, a variant and another
    grid or engine add their names, error bars "bars".
    """
    with reporting(case, debug=debug):
        check_folder_of("--out", out / "result")
        _check_table(table)
        from soilflow.files.job import BARS, read_job

        job = read_job(case)
        usual_layout, usual_variant, usual_grid, usual_engine, usual_bars = job.usual
        read = pick_grid(job.case, str(resolution or usual_grid))
        read = pick_variant(read, usual_variant if variant is None else variant)
        chosen = pick_layout(read, usual_layout if layout is None else layout)
        solver = str(engine or usual_engine)
        bars = usual_bars if error_estimate is None else BARS if error_estimate else ""
        stem = job.stem_of(chosen.name, read.variant, read.resolution.name, solver, bars)
        if (out / f"{stem}.h5").resolve() == case.resolve():
            raise WrongCommand(f'"{case}" would be overwritten; give another --out')
        result = solve(read, chosen, solver, quiet=quiet, bars=bool(bars))

        from soilflow.output.printout import print_result
        from soilflow.output.report import result_to_dict

        found = None
        try:
            paths = _save(result, read, job.text, out / f"{stem}.h5", solver, xdmf=xdmf)
            if table is not None:
                paths += [_tabulate(result, table)]
            if figures:
                paths += _draw(result, read, out, stem)
            found = _on_site(read, result, quiet=quiet, thorough=thorough)
        finally:  # a full disk, a closed pipe or a trouble must not cost the rest of the work
            show(
                lambda: print_result(result, read, on_site=found, verbose=verbose),
                lambda: result_to_dict(result, found),
                json=json,
                quiet=quiet,
            )
        wrote(paths, json=json, quiet=quiet)


def _check_table(table: Path | None) -> None:
    check_folder_of("--table", table)
    if table is not None and table.suffix.lower() not in (".csv", ".json"):
        raise WrongCommand(f'--table "{table}": a table ends in .csv or .json')


def _tabulate(result: Result, path: Path) -> Path:
    from soilflow.output.tidy_tables import write_table

    return write_table(result, path)


def _on_site(case: Case, result: Result, *, quiet: bool, thorough: bool) -> OnSite:
    from soilflow.studies.on_site import on_site

    with meter("troubles", shown=thorough and not quiet) as progress:
        return on_site(case, result, thorough=thorough, progress=progress)


def _save(
    result: Result, case: Case, text: str, path: Path, engine: str, *, xdmf: bool
) -> list[Path]:
    from soilflow.files.result_hdf5 import write_result

    beside = path.with_suffix(".xdmf") if xdmf else None
    write_result(result, case, text, path, engine=engine, xdmf=beside)
    return [path] if beside is None else [path, beside]


def _draw(result: Result, case: Case, folder: Path, stem: str) -> tuple[Path, ...]:
    from soilflow.output.pictures import save_run_figures

    return save_run_figures(case, result, folder, stem)
