"""Options that several commands share."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

__all__ = [
    "AsJson",
    "CaseFile",
    "Debug",
    "Engine",
    "ErrorEstimate",
    "LayoutName",
    "Quiet",
    "ResolutionName",
    "VariantName",
    "Verbose",
]


class ResolutionName(StrEnum):
    """How fine the grid is."""

    COARSE = "coarse"
    NORMAL = "normal"
    FINE = "fine"


class Engine(StrEnum):
    """What solves the flow."""

    SOILFLOW = "soilflow"
    FIPY = "fipy"


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="Case file, TOML.")]
LayoutName = Annotated[
    str | None, typer.Option("--layout", metavar="NAME", help="Layout; the first if not given.")
]
VariantName = Annotated[
    str | None,
    typer.Option("--variant", metavar="NAME", help="Site variant, or a season: 'frozen yard'."),
]
ErrorEstimate = Annotated[
    bool | None,
    typer.Option(
        "--error-estimate/--no-error-estimate",
        help="Solve on three grids; give each figure its numerical error.",
        show_default=False,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object, nothing else.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")]
Verbose = Annotated[bool, typer.Option("-v", "--verbose", help="Print the details too.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")]
