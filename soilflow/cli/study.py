"""``soilflow study``: questions that take many runs, each with a picture and a table."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from soilflow.cli.app import app
from soilflow.cli.reporting import WrongCommand, show, wrote

__all__ = ["Figures", "Out", "VacuumText", "hand_over", "quantity", "study", "vacuum_of"]

study = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(study, name="study")

Out = Annotated[
    Path, typer.Option(metavar="FOLDER", help="Where the files go; the folder must be there.")
]
Figures = Annotated[bool, typer.Option("--figures/--no-figures", help="Draw it.")]
VacuumText = Annotated[
    str | None,
    typer.Option("--vacuum", metavar="VACUUM", help="Hold the pits at it, without the fan."),
]


@study.callback()
def _study() -> None:
    """Answer a question that takes many runs: a picture, a table, a few words.

    \b
    Examples:
      soilflow study wall-or-centre --help
      soilflow study pit-size --help
    """


def hand_over(
    stem: Path,
    table: str,
    draw: Callable[[Path], Path] | None,
    text: Callable[[], str],
    data: Callable[[], dict[str, Any]],
    *,
    json: bool,
    quiet: bool,
) -> None:
    """Write table and picture, print the answer, name the files.

    Parameters
    ----------
    stem : Path
        The files without their endings.
    table : str
        The table, CSV.
    draw : callable or None
        Saves the picture at a path and gives it back; None draws none.
    text : callable
        Makes the printout.
    data : callable
        Makes the object for JSON.
    json : bool
        Print the object instead of the text.
    quiet : bool
        Print no text.
    """
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


def quantity(option: str, text: str, dimension: str) -> float:
    """A quantity from the command line; one that is none is a wrong command line.

    Parameters
    ----------
    option : str
        The option it was given with.
    text : str
        Number and unit.
    dimension : str
        What it must be.

    Returns
    -------
    value : float
        In its SI unit. [SI]

    Raises
    ------
    WrongCommand
        It is no such quantity.
    """
    from soilflow.errors import InputError
    from soilflow.units import parse_quantity

    try:
        return parse_quantity(text, dimension)
    except InputError as error:
        raise WrongCommand(f"{option}: {error.message}") from None


def vacuum_of(text: str) -> float:
    """The vacuum that pits are to be held at.

    Parameters
    ----------
    text : str
        Number and unit.

    Returns
    -------
    vacuum : float
        Positive. [Pa]

    Raises
    ------
    WrongCommand
        It is no vacuum.
    """
    held = quantity("--vacuum", text, "pressure")
    if not 0.0 < held < 2e4:
        raise WrongCommand(f'--vacuum: "{text}": above 0 and below 80 in. w.c. is needed')
    return held
