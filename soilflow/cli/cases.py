"""``soilflow cases``: the cases that come with the program."""

from __future__ import annotations

import shutil
import textwrap
from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, Debug, Quiet
from soilflow.cli.reporting import WrongCommand, check_folder_of, reporting, show

__all__ = ["cases"]


@app.command()
def cases(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Print this one.", show_default=False)
    ] = None,
    copy: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Copy it, or all of them, there.")
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """List the shipped cases; print or copy one.

    \b
    Examples:
      soilflow cases
      soilflow cases perimeter_or_centre
      soilflow cases perimeter_or_centre --copy .
    """
    with reporting(Path("cases"), debug=debug):
        from soilflow.errors import InputError
        from soilflow.files.shipped import question_of, shipped_case, shipped_cases

        try:
            chosen = shipped_cases() if name is None else {name: shipped_case(name)}
        except InputError as error:
            raise WrongCommand(error.message) from None
        if copy is not None:
            _copy(list(chosen.values()), copy, quiet=quiet)
            return
        asked = {path.stem: question_of(path) for path in chosen.values()}
        if name is not None and not json:
            typer.echo(chosen[name].read_text(encoding="utf-8"), nl=False)
            return
        show(
            lambda: (
                "\n".join(
                    f"{stem}\n"
                    + textwrap.fill(
                        question or title, 60, initial_indent="  ", subsequent_indent="  "
                    )
                    for stem, (title, question) in asked.items()
                )
                + "\n"
            ),
            lambda: {stem: {"title": t, "question": q} for stem, (t, q) in asked.items()},
            json=json,
            quiet=quiet,
        )


def _copy(files: list[Path], folder: Path, *, quiet: bool) -> None:
    """Copy cases, never over a file that is there."""
    check_folder_of("--copy", folder / "case.toml")
    for file in files:
        if (folder / file.name).exists():
            raise WrongCommand(f'"{folder / file.name}" is there already; name another folder')
    for file in files:
        shutil.copyfile(file, folder / file.name)
        if not quiet:
            typer.echo(f"wrote {folder / file.name}")
