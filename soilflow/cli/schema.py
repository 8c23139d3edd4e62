"""``soilflow schema``: what an editor needs to complete case files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import Debug, Quiet
from soilflow.cli.reporting import check_folder_of, reporting

__all__ = ["schema"]


@app.command()
def schema(
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it there; else it is printed.")
    ] = None,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Print the JSON schema of a case file, for editors that complete TOML.

    \b
    Examples:
      soilflow schema
      soilflow schema --out soilflow.schema.json

    Put "#:schema soilflow.schema.json" on the first line of a case beside it.
    """
    with reporting(Path("schema"), debug=debug):
        check_folder_of("--out", out)
        from json import dumps

        from soilflow.files.atomic import replacing
        from soilflow.files.schema import case_schema

        text = dumps(case_schema(), indent=1, ensure_ascii=False) + "\n"
        if out is None:
            typer.echo(text, nl=False)
            return
        with replacing(out) as temporary:
            temporary.write_text(text, encoding="utf-8")
        if not quiet:
            typer.echo(f"wrote {out}")
