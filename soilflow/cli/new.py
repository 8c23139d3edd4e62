"""``soilflow new``: a first case file from a few words."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, Debug, Quiet
from soilflow.cli.reporting import WrongCommand, check_folder_of, reporting, show

__all__ = ["new"]


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Case file to write.")],
    size: Annotated[
        str, typer.Option(metavar="SIZE", help="Floor, east-west by north-south: '26 ft x 33 ft'.")
    ],
    soil: Annotated[
        str, typer.Option(metavar="WORDS", help="Soil under the floor, as it feels.")
    ] = "packed silty clay, damp",
    joint: Annotated[
        str, typer.Option(metavar="WORD", help="Joint at the walls: closed, card, nickel.")
    ] = "card",
    gap: Annotated[
        str, typer.Option(metavar="WORDS", help="Settled gap: 'sounds hollow', 'card slides in'.")
    ] = "",
    slab: Annotated[
        str, typer.Option(metavar="WORDS", help="Concrete: sound, or 'old, crazed, patched'.")
    ] = "old, crazed, patched",
    pits: Annotated[int, typer.Option(metavar="N", help="Pits in each layout.")] = 4,
    pit: Annotated[
        str, typer.Option(metavar="VOLUME", help="Size of a pit, as air.")
    ] = "2 buckets",
    footing_depth: Annotated[
        str, typer.Option(metavar="DEPTH", help="Bottom of the footing below the slab underside.")
    ] = "18 in",
    grade: Annotated[
        str, typer.Option(metavar="HEIGHT", help="Ground outside above the slab underside.")
    ] = "0 ft",
    fan: Annotated[
        str, typer.Option(metavar="WORD", help="general, high-suction or very-high-suction.")
    ] = "high-suction",
    title: Annotated[str, typer.Option(metavar="TEXT", help="Title.")] = "A new house",
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Write a commented case from a few words; it runs as it is.

    \b
    Examples:
      soilflow new mine.toml --size "26 ft x 33 ft"
      soilflow new wet.toml --size "8 m x 6 m" --soil "packed silt" --pits 2 --grade "2 m"
      soilflow new gap.toml --size "26 ft x 33 ft" --gap "sounds hollow" --joint nickel
    """
    with reporting(file, debug=debug):
        check_folder_of("FILE", file)
        if file.exists() and not force:
            raise WrongCommand(f'"{file}" is there already; name another file, or give --force')

        from soilflow.errors import InputError
        from soilflow.files.atomic import replacing
        from soilflow.files.new_case import Wishes, new_case_text

        wishes = Wishes(
            size=size,
            soil=soil,
            joint=joint,
            gap=gap,
            slab=slab,
            pits=pits,
            pit=pit,
            footing_depth=footing_depth,
            grade=grade,
            fan=fan,
            title=title,
        )
        try:
            text = new_case_text(wishes)
        except InputError as error:
            if not hasattr(wishes, error.field):
                raise
            option = "--" + error.field.replace("_", "-")
            raise WrongCommand(f"{option}: {error.message}") from None
        with replacing(file) as temporary:
            temporary.write_text(text, encoding="utf-8")
        show(
            lambda: f"wrote {file}\nnext: soilflow check {file}, then soilflow run {file}\n",
            lambda: {"file": str(file), "layouts": ["along the walls", "spread over the floor"]},
            json=json,
            quiet=quiet,
        )
