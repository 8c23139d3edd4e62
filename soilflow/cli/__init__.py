"""The command ``soilflow``, one file for each of its commands.

Everything heavy is imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import sys
from io import TextIOWrapper
from types import TracebackType

import typer

from soilflow.cli import (
    cases,
    check,
    compare,
    ensemble,
    figures,
    new,
    pit_size,
    run,
    schema,
    search,
    sheet,
    study,
    wall_or_centre,
)
from soilflow.cli.app import app
from soilflow.plain_text import plain

__all__ = [
    "app",
    "cases",
    "check",
    "compare",
    "ensemble",
    "figures",
    "main",
    "new",
    "pit_size",
    "run",
    "schema",
    "search",
    "sheet",
    "study",
    "wall_or_centre",
]


def _unexpected(
    kind: type[BaseException], error: BaseException, trace: TracebackType | None
) -> None:
    """A fault of the program: still no traceback unless it is asked for."""
    if isinstance(error, OSError):  # the system's fault: help that cannot be printed
        typer.echo(plain(f"soilflow: {error.strerror or error}"), err=True)
        return
    typer.echo(plain(f"soilflow failed: {kind.__name__}: {error}"), err=True)
    typer.echo("This is a fault of the program; --debug shows where it happened.", err=True)


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name the terminal cannot spell
    if "--debug" not in sys.argv:
        sys.excepthook = _unexpected
    typer.main.get_command(app)()
