"""What every command does around its work: errors in one line, exit codes, answers, files."""

from __future__ import annotations

import errno
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer

from soilflow.plain_text import plain

if TYPE_CHECKING:
    from soilflow.case import Case
    from soilflow.layout.layout import Layout

__all__ = [
    "WrongCommand",
    "aside",
    "check_folder_of",
    "pick_grid",
    "pick_layout",
    "pick_variant",
    "reporting",
    "show",
    "wrote",
]

WRONG_CASE, WRONG_COMMAND, NOT_SOLVED, SOME_FAILED, INTERRUPTED = 1, 2, 3, 4, 130


# What would help where the system refuses to write.
_HELP = {
    errno.ENOSPC: "make room or name another folder",
    errno.EDQUOT: "make room or name another folder",
    errno.EFBIG: "raise the limit on the size of files",
    errno.EROFS: "name another folder",
    errno.EACCES: "ask for the right to, or name another folder",
    errno.ENAMETOOLONG: "give the case file a shorter name",
}


class WrongCommand(Exception):
    """The command line asks for what is not there."""


def pick_grid(case: Case, name: str) -> Case:
    """A case on a grid by its name; one that nobody knows is a wrong command line.

    Parameters
    ----------
    case : Case
        The case.
    name : str
        Name of the grid, which may be the case's own.

    Returns
    -------
    case : Case
        On that grid.

    Raises
    ------
    WrongCommand
        The grid of a result has a name that nobody knows here.
    """
    from soilflow.flow.grid import COARSE, FINE, NORMAL

    if name == case.resolution.name:
        return case  # which may have a grid of its own
    grids = {grid.name: grid for grid in (COARSE, NORMAL, FINE)}
    if name not in grids:
        raise WrongCommand(f'the result was made on a grid "{name}"; give --resolution')
    return case.with_resolution(grids[name])


def pick_variant(case: Case, name: str | None) -> Case:
    """A variant of a case; one it does not have is a wrong command line.

    Parameters
    ----------
    case : Case
        The case.
    name : str or None
        Name of the variant; None or empty for the case as written.

    Returns
    -------
    case : Case
        The variant.

    Raises
    ------
    WrongCommand
        The case has no such variant.
    """
    from soilflow.errors import InputError

    try:
        return case.with_variant(name or "")
    except InputError as error:
        raise WrongCommand(f"--variant: {error.message}") from None


def pick_layout(case: Case, name: str | None) -> Layout:
    """A layout of a case; one it does not have is a wrong command line.

    Parameters
    ----------
    case : Case
        The case.
    name : str or None
        Name of the layout; None takes the first.

    Returns
    -------
    layout : Layout
        The layout.

    Raises
    ------
    WrongCommand
        The case has no such layout.
    """
    from soilflow.errors import InputError

    try:
        return case.layout(name)
    except InputError as error:
        raise WrongCommand(f"--layout: {error.message}") from None


def check_folder_of(option: str, path: Path | None) -> None:
    """Find out now, not after the solve, that a file cannot be written.

    Parameters
    ----------
    option : str
        The option that names it.
    path : Path or None
        The file; None for none.

    Raises
    ------
    WrongCommand
        Its folder is not there or may not be written to.
    """
    if path is None:
        return
    from soilflow.errors import InputError
    from soilflow.files.atomic import check_folder

    try:
        check_folder(path.parent)
    except InputError as error:
        raise WrongCommand(f"{option}: {error.message}") from None


def show(
    text: Callable[[], str], data: Callable[[], dict[str, Any]], *, json: bool, quiet: bool
) -> None:
    """Print an answer as text, as one JSON object, or not at all.

    Parameters
    ----------
    text : callable
        Makes the text.
    data : callable
        Makes the object.
    json : bool
        Print the object instead of the text.
    quiet : bool
        Print no text.
    """
    if json:
        from json import dumps

        typer.echo(dumps(data(), indent=2, allow_nan=False))
    elif not quiet:
        typer.echo(plain(text()), nl=False)


def aside(line: str) -> None:
    """Say something on stderr; if nobody can hear it, that must not cost the answer.

    Parameters
    ----------
    line : str
        What to say.
    """
    with suppress(OSError):
        typer.echo(line, err=True)


def wrote(paths: list[Path], *, json: bool, quiet: bool) -> None:
    """Name the files that were written; beside a JSON object, on stderr.

    Parameters
    ----------
    paths : list of Path
        The files.
    json : bool
        Whether a JSON object is all that may stand on stdout.
    quiet : bool
        Say nothing.
    """
    if not quiet:
        typer.echo(
            "\nwrote " + "\n      ".join(plain(str(path), also="") for path in paths), err=json
        )


@contextmanager
def reporting(case: Path, *, debug: bool) -> Iterator[None]:
    """Turn what goes wrong into one line each on stderr and an exit code.

    Parameters
    ----------
    case : Path
        The file the command is about.
    debug : bool
        Let errors through as they are.

    Yields
    ------
    nothing : None
        The block runs.
    """
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
        except (WrongCommand, SoilflowError, OSError, MemoryError, KeyboardInterrupt) as error:
            if debug:
                raise
            lines, code = _verdict(error, case)
        else:
            return
    for line in lines:
        aside(plain(line, also=""))
    raise typer.Exit(code)


def _verdict(error: BaseException, case: Path) -> tuple[list[str], int]:
    """What to say about an error, and the exit code."""
    from soilflow.errors import BalanceError, CaseError, ConvergenceError, SoilflowError

    if isinstance(error, KeyboardInterrupt):
        return ["interrupted"], INTERRUPTED
    if isinstance(error, WrongCommand):
        return [str(error)], WRONG_COMMAND
    if isinstance(error, MemoryError):
        words = str(error) if isinstance(error, SoilflowError) else "not enough memory"
        more = "" if isinstance(error, SoilflowError) else "; try --resolution coarse"
        return [f"{case}: {words}{more}"], NOT_SOLVED
    if isinstance(error, CaseError):
        return [str(mistake) for mistake in error.mistakes], WRONG_CASE
    if isinstance(error, OSError) and error.strerror:
        return [_refused(error)], WRONG_CASE
    solved = not isinstance(error, ConvergenceError | BalanceError)
    words = " ".join(str(error).split())
    where = "" if str(case) in words else f"{case}: "
    return [where + words], WRONG_CASE if solved else NOT_SOLVED


def _refused(error: OSError) -> str:
    """What the system would not do, to which file, and what would help."""
    what = f'"{error.filename}"' if error.filename else "the answer cannot be printed"
    advice = _HELP.get(error.errno or 0, "")
    return f"{what}: {error.strerror}" + (f"; {advice}" if advice else "")


def _warn(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """One line for each doubt, in place of Python's own form."""
    aside(plain(f"note: {message}", also=""))
