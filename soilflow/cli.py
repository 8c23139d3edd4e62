"""The command ``soilflow``.

Everything heavy is imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from enum import StrEnum
from io import TextIOWrapper
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.layout.layout import Layout
    from soilflow.results.result import Result

__all__ = ["app", "main"]

WRONG_CASE, WRONG_COMMAND, NOT_SOLVED, INTERRUPTED = 1, 2, 3, 130
_SLOW = 5.0  # estimated seconds beyond which a word about it is welcome [s]

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _soilflow() -> None:
    """Soil gas under a slab: where the suction pits go, and how far to trust it.

    \b
    Examples:
      soilflow check house.toml --plan soil.png
      soilflow run house.toml
      soilflow run house.toml --layout "four at the walls" --json

    \b
    Exit codes: 0 done; 1 the case is wrong; 2 wrong command line;
    3 not converged, out of balance or out of memory; 130 interrupted.
    """


class _Grid(StrEnum):
    """How fine the grid is."""

    COARSE = "coarse"
    NORMAL = "normal"
    FINE = "fine"


class _Engine(StrEnum):
    """What solves the flow."""

    SOILFLOW = "soilflow"
    FIPY = "fipy"


_CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="Case file, TOML.")]
_LayoutName = Annotated[
    str | None, typer.Option("--layout", metavar="NAME", help="Layout; the first if not given.")
]
_VariantName = Annotated[
    str | None,
    typer.Option("--variant", metavar="NAME", help="Site variant, such as a frozen yard."),
]
_AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object, nothing else.")]
_Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")]
_Verbose = Annotated[bool, typer.Option("-v", "--verbose", help="Print the details too.")]
_Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")]


@app.command()
def check(
    case: _CaseFile,
    layout: _LayoutName = None,
    variant: _VariantName = None,
    plan: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Draw what the model thinks is there: .png, .pdf, .svg."),
    ] = None,
    json: _AsJson = False,
    quiet: _Quiet = False,
    verbose: _Verbose = False,
    debug: _Debug = False,
) -> None:
    """Read a case, say what it will cost to run, solve nothing.

    \b
    Examples:
      soilflow check house.toml
      soilflow check house.toml --layout "two in the middle" --plan soil.png
      soilflow check house.toml --variant frozen_yard --json
    """
    with _reporting(case, debug=debug):
        if plan is not None and plan.suffix.lower() not in (".png", ".pdf", ".svg"):
            raise _WrongCommand(f'--plan "{plan}": the name must end in .png, .pdf or .svg')
        _check_folder("--plan", plan)

        from soilflow.files.case_toml import read_case
        from soilflow.output.check_printout import check_to_dict, print_check
        from soilflow.run import estimate, map_of

        read = _with_variant(read_case(case), variant)
        shown = [_layout(read, layout)] if layout is not None else list(read.layouts)
        for one in shown:
            map_of(read, one)
        estimates = {one.name: estimate(read, one) for one in shown}
        _show(
            lambda: print_check(read, estimates, verbose=verbose),
            lambda: check_to_dict(read, estimates),
            json=json,
            quiet=quiet,
        )
        if plan is not None:
            from soilflow.files.atomic import replacing
            from soilflow.output.pictures import save_check_figure

            with replacing(plan) as temporary:
                save_check_figure(read, shown[0], temporary)
            _wrote([plan], json=json, quiet=quiet)


@app.command()
def run(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="Case file, or a result file to run it again.")
    ],
    layout: _LayoutName = None,
    variant: _VariantName = None,
    engine: Annotated[
        _Engine | None,
        typer.Option(help="fipy is the independent one, for small grids.", show_default=False),
    ] = None,
    resolution: Annotated[
        _Grid | None, typer.Option(help="How fine the grid is; the case says if not given.")
    ] = None,
    out: Annotated[
        Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
    ] = Path("."),
    figures: Annotated[bool, typer.Option("--figures/--no-figures", help="Draw pictures.")] = True,
    json: _AsJson = False,
    quiet: _Quiet = False,
    verbose: _Verbose = False,
    debug: _Debug = False,
) -> None:
    """Solve one layout, print the answer, write the result file.

    \b
    Examples:
      soilflow run house.toml
      soilflow run house.toml --layout "two in the middle" --variant frozen_yard
      soilflow run house.toml --resolution coarse --no-figures --out results
      soilflow run house.toml --json > house.json
      soilflow run results/house.h5

    The files are named after the case; a layout other than the first, a variant and another
    grid or engine add their names.
    """
    with _reporting(case, debug=debug):
        _check_folder("--out", out / "result")
        from soilflow.files.job import read_job

        job = read_job(case)
        usual_layout, usual_variant, usual_grid, usual_engine = job.usual
        read = _with_grid(job.case, str(resolution or usual_grid))
        read = _with_variant(read, usual_variant if variant is None else variant)
        chosen = _layout(read, usual_layout if layout is None else layout)
        solver = str(engine or usual_engine)
        stem = job.stem_of(chosen.name, read.variant, read.resolution.name, solver)
        if (out / f"{stem}.h5").resolve() == case.resolve():
            raise _WrongCommand(f'"{case}" would be overwritten; give another --out')
        result = _solve(read, chosen, solver, quiet=quiet)

        from soilflow.output.printout import print_result
        from soilflow.output.report import result_to_dict

        try:
            paths = [_save(result, read, job.text, out / f"{stem}.h5", solver)]
            if figures:
                paths += _draw(result, read, out, stem)
        finally:  # a full disk or a closed pipe must not cost the other half of the work
            _show(
                lambda: print_result(result, read, verbose=verbose),
                lambda: result_to_dict(result),
                json=json,
                quiet=quiet,
            )
        _wrote(paths, json=json, quiet=quiet)


class _WrongCommand(Exception):
    """The command line asks for what is not there."""


def _with_variant(case: Case, name: str | None) -> Case:
    from soilflow.errors import InputError

    try:
        return case.with_variant(name or "")
    except InputError as error:
        raise _WrongCommand(f"--variant: {error.message}") from None


def _with_grid(case: Case, name: str) -> Case:
    from soilflow.flow.grid import COARSE, FINE, NORMAL

    grids = {grid.name: grid for grid in (COARSE, NORMAL, FINE)}
    if name not in grids:
        raise _WrongCommand(f'the result was made on a grid "{name}"; give --resolution')
    return case.with_resolution(grids[name])


def _layout(case: Case, name: str | None) -> Layout:
    from soilflow.errors import InputError

    try:
        return case.layout(name)
    except InputError as error:
        raise _WrongCommand(f"--layout: {error.message}") from None


def _check_folder(option: str, path: Path | None) -> None:
    """Find out now, not after the solve, that a file cannot be written."""
    if path is None:
        return
    from soilflow.errors import InputError
    from soilflow.files.atomic import check_folder

    try:
        check_folder(path.parent)
    except InputError as error:
        raise _WrongCommand(f"{option}: {error.message}") from None


def _solve(case: Case, layout: Layout, engine: str, *, quiet: bool) -> Result:
    from soilflow.run import estimate, run_layout

    cost = estimate(case, layout)
    if cost.seconds > _SLOW and not quiet:
        typer.echo(f"solving {cost.cells} cells, about {cost.seconds:.0f} s ...", err=True)
    if engine == _Engine.FIPY:
        from soilflow.engines import solve_soil_fipy

        result = run_layout(case, layout, engine=solve_soil_fipy)
        return replace(result, notes=("solved with FiPy, the engine for checks", *result.notes))
    return run_layout(case, layout)


def _save(result: Result, case: Case, text: str, path: Path, engine: str) -> Path:
    from soilflow.files.result_hdf5 import write_result

    write_result(result, case, text, path, engine=engine)
    return path


def _draw(result: Result, case: Case, folder: Path, stem: str) -> tuple[Path, ...]:
    from soilflow.output.pictures import save_run_figures

    return save_run_figures(case, result, folder, stem)


def _show(
    text: Callable[[], str], data: Callable[[], dict[str, Any]], *, json: bool, quiet: bool
) -> None:
    if json:
        from json import dumps

        typer.echo(dumps(data(), indent=2, allow_nan=False))
    elif not quiet:
        typer.echo(text(), nl=False)


def _wrote(paths: list[Path], *, json: bool, quiet: bool) -> None:
    if not quiet:
        typer.echo("\nwrote " + "\n      ".join(str(path) for path in paths), err=json)


@contextmanager
def _reporting(case: Path, *, debug: bool) -> Iterator[None]:
    """Turn what goes wrong into one line each on stderr and an exit code."""
    from soilflow.errors import SoilflowError, SoilflowWarning

    with warnings.catch_warnings():
        if not debug:
            warnings.simplefilter("ignore")
        warnings.simplefilter("always", SoilflowWarning)
        warnings.showwarning = _warn
        try:
            yield
        except BrokenPipeError:
            raise  # the reader of a pipe has gone; that is its own business
        except (_WrongCommand, SoilflowError, OSError, MemoryError, KeyboardInterrupt) as error:
            if debug:
                raise
            lines, code = _verdict(error, case)
        else:
            return
    for line in lines:
        typer.echo(line, err=True)
    raise typer.Exit(code)


def _verdict(error: BaseException, case: Path) -> tuple[list[str], int]:
    """What to say about an error, and the exit code."""
    from soilflow.errors import BalanceError, CaseError, ConvergenceError

    if isinstance(error, KeyboardInterrupt):
        return ["interrupted"], INTERRUPTED
    if isinstance(error, _WrongCommand):
        return [str(error)], WRONG_COMMAND
    if isinstance(error, MemoryError):
        return [f"{case}: not enough memory; try --resolution coarse"], NOT_SOLVED
    if isinstance(error, CaseError):
        return [str(mistake) for mistake in error.mistakes], WRONG_CASE
    solved = not isinstance(error, ConvergenceError | BalanceError)
    words = " ".join(str(error).split())
    where = "" if str(case) in words else f"{case}: "
    return [where + words], WRONG_CASE if solved else NOT_SOLVED


def _warn(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """One line for each doubt, in place of Python's own form."""
    typer.echo(f"note: {message}", err=True)


def _unexpected(
    kind: type[BaseException], error: BaseException, trace: TracebackType | None
) -> None:
    """A fault of the program: still no traceback unless it is asked for."""
    typer.echo(f"soilflow failed: {kind.__name__}: {error}", err=True)
    typer.echo("This is a fault of the program; --debug shows where it happened.", err=True)


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name the terminal cannot spell
    if "--debug" not in sys.argv:
        sys.excepthook = _unexpected
    typer.main.get_command(app)()


if __name__ == "__main__":
    main()
