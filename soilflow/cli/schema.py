"""``soilflow schema``: what an editor needs to complete case files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soilflow.cli.app import app
from soilflow.cli.options import AsJson, Debug, Quiet, Verbose
from soilflow.cli.reporting import check_folder_of, reporting, show

__all__ = ["schema"]


@app.command()
def schema(
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it there; else it is printed.")
    ] = None,
    json: AsJson = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    debug: Debug = False,
) -> None:
    """Print the JSON schema of a case file, for editors that complete TOML.

    \b
    Examples:
      soilflow schema
      soilflow schema --out soilflow.schema.json

    Put "#:schema soilflow.schema.json" on the first line of a case beside it. A file that is
    there already is replaced.
    """
    with reporting(Path("schema"), debug=debug):
        check_folder_of("--out", out)
        from json import dumps

        from soilflow.files.atomic import replacing
        from soilflow.files.schema import case_schema

        made = case_schema()
        text = dumps(made, indent=1, ensure_ascii=False) + "\n"
        if out is None:
            show(lambda: text, lambda: made, json=json, quiet=quiet)
            return
        with replacing(out) as temporary:
            temporary.write_text(text, encoding="utf-8")
        tables = sorted(made["properties"])
        lines = [f"wrote {out}"]
        if verbose:
            lines += [f"draft: {made['$schema']}", *(f"- {table}" for table in tables)]
        show(
            lambda: "\n".join(lines) + "\n",
            lambda: {"file": str(out), "draft": made["$schema"], "keys": tables},
            json=json,
            quiet=quiet,
        )
