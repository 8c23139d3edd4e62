"""``soilflow new``: a first case file from a few words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, Debug, Quiet, Verbose
from soilflow.cli.reporting import WrongCommand, check_folder_of, reporting, show

if TYPE_CHECKING:
    from soilflow.case import Case

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
        str, typer.Option(metavar="VOLUME", help="Air dug out of a pit; two buckets if they fit.")
    ] = "",
    footing_depth: Annotated[
        str, typer.Option(metavar="DEPTH", help="Slab underside to footing bottom, if measured.")
    ] = "",
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
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Write a commented case from a few words; it runs as it is.

    \b
    Examples:
      soilflow new mine.toml --size "26 ft x 33 ft"
      soilflow new wet.toml --size "8 m x 6 m" --soil "packed silt" --pits 2
      soilflow new deep.toml --size "26 ft x 33 ft" --grade "6 ft"
      soilflow new gap.toml --size "30' x 20'" --gap "sounds hollow"

    Wherever a word is wanted, except for the fan, a number with its unit will do. A file that
    is there already is left alone without --force.
    """
    with reporting(file, debug=debug):
        check_folder_of("FILE", file)
        if file.exists() and not force:
            raise WrongCommand(f'"{file}" is there already; name another file, or give --force')

        from soilflow.errors import InputError
        from soilflow.files.atomic import replacing
        from soilflow.files.case_toml import parse_case
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
        case = parse_case(text, file=str(file))
        show(
            lambda: _said(file, case, verbose=verbose),
            lambda: {
                "file": str(file),
                "layouts": [layout.name for layout in case.layouts],
                "pits": [point.name for point in case.layouts[0].points],
                "test_holes": [hole.name for hole in case.test_holes],
            },
            json=json,
            quiet=quiet,
        )


def _said(file: Path, case: Case, *, verbose: bool) -> str:
    from soilflow.output.page import Page

    page = Page(60)
    page.say(f"wrote {file}")
    page.say(f"next: soilflow check {file} --plan plan.png")
    if verbose:
        for layout in case.layouts:
            page.say(f'layout "{layout.name}"')
        page.heading("Known only as a range, in SI units:")
        for item in case.uncertain:
            page.item(f"{item.path}: {item.low:.3g} to {item.high:.3g}, {item.source}")
    return page.text()
