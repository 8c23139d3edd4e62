"""``soilflow cases``: the cases that come with the program."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, Debug, Quiet, Verbose
from soilflow.cli.reporting import WrongCommand, check_folder_of, reporting, show

if TYPE_CHECKING:
    from soilflow.case import Case

__all__ = ["cases"]


@app.command()
def cases(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Print this one.", show_default=False)
    ] = None,
    copy: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Copy it, or all of them, there.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace files that are there.")] = False,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """List the shipped cases; print or copy one.

    \b
    Examples:
      soilflow cases
      soilflow cases -v
      soilflow cases perimeter_or_centre
      soilflow cases perimeter_or_centre --copy .
    """
    with reporting(Path("cases"), debug=debug):
        from soilflow.errors import InputError
        from soilflow.files.case_toml import read_case
        from soilflow.files.shipped import shipped_case, shipped_cases

        try:
            paths = list(shipped_cases().values()) if name is None else [shipped_case(name)]
        except InputError as error:
            raise WrongCommand(error.message) from None
        if copy is not None:
            written = _copy(paths, copy, force=force)
            show(
                lambda: "".join(f"wrote {path}\n" for path in written),
                lambda: {"files": [str(path) for path in written]},
                json=json,
                quiet=quiet,
            )
            return
        read = {path.stem: read_case(path) for path in paths}
        show(
            lambda: paths[0].read_text(encoding="utf-8") if name else _list(read, verbose=verbose),
            lambda: {stem: _told(case) for stem, case in read.items()},
            json=json,
            quiet=quiet,
        )


def _copy(paths: list[Path], folder: Path, *, force: bool) -> list[Path]:
    """Copy cases, none of them over a file that is there unless that was asked for."""
    from soilflow.files.atomic import replacing

    check_folder_of("--copy", folder / "case.toml")
    targets = [folder / path.name for path in paths]
    for target in targets:
        if target.exists() and not force:
            raise WrongCommand(f'"{target}" is there already; name another folder, or give --force')
    for path, target in zip(paths, targets, strict=True):
        with replacing(target) as temporary:
            temporary.write_bytes(path.read_bytes())
    return targets


def _list(read: Mapping[str, Case], *, verbose: bool) -> str:
    from soilflow.output.page import Page

    page = Page(60)
    for stem, case in read.items():
        page.heading(stem)
        page.say(case.question or case.title, first="  ")
        if verbose:
            page.say(case.answer, first="  ")
            layouts = ", ".join(f'"{layout.name}"' for layout in case.layouts)
            page.say(f"layouts: {layouts}", first="  ")
            page.say(f"variants: {', '.join(case.variants) or 'none'}", first="  ")
    return page.text()


def _told(case: Case) -> dict[str, Any]:
    return {
        "title": case.title,
        "question": case.question,
        "answer": case.answer,
        "layouts": [layout.name for layout in case.layouts],
        "variants": list(case.variants),
    }
