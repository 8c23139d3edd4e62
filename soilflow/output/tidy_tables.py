"""Tidy tables as files: CSV for a spreadsheet, JSON for a program."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import fields
from pathlib import Path
from typing import Any

from soilflow.errors import InputError
from soilflow.files.atomic import replacing
from soilflow.results.result import Result
from soilflow.results.tidy import TidyRow, tidy_rows

__all__ = ["FORMS", "spreadsheet_cell", "table_to_csv", "table_to_dict", "write_table"]

FORMS = (".csv", ".json")
_COLUMNS = tuple(field.name for field in fields(TidyRow))


def spreadsheet_cell(value: Any) -> Any:
    """A value as a spreadsheet should take it: a name is never a formula.

    Parameters
    ----------
    value : object
        The value.

    Returns
    -------
    value : object
        The same, or a text that is no formula.
    """
    formula = isinstance(value, str) and value.lstrip()[:1] in ("=", "+", "-", "@")
    return f"'{value}" if formula and value.strip() != "-" else value


def table_to_csv(result: Result) -> str:
    """The tidy table of a result as CSV.

    Parameters
    ----------
    result : Result
        The result.

    Returns
    -------
    text : str
        One number a row, its unit beside it; an empty error was not computed.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for row in tidy_rows(result):
        cells = [getattr(row, name) for name in _COLUMNS]
        writer.writerow(["" if c is None else spreadsheet_cell(c) for c in cells])
    return out.getvalue()


def table_to_dict(result: Result) -> dict[str, Any]:
    """The tidy table of a result in plain types, ready for JSON.

    Parameters
    ----------
    result : Result
        The result.

    Returns
    -------
    table : dict
        Title and rows; what is no number is null.
    """

    def plain(value: Any) -> Any:
        return None if isinstance(value, float) and not math.isfinite(value) else value

    rows = [{n: plain(getattr(row, n)) for n in _COLUMNS} for row in tidy_rows(result)]
    return {"title": result.title, "rows": rows}


def write_table(result: Result, path: Path) -> Path:
    """Save the tidy table of a result.

    Parameters
    ----------
    result : Result
        The result.
    path : Path
        File to write; its ending says the form.

    Returns
    -------
    path : Path
        The file written.

    Raises
    ------
    InputError
        It ends in neither .csv nor .json.
    """
    form = path.suffix.lower()
    if form not in FORMS:
        raise InputError(f'"{path}": a table ends in {" or ".join(FORMS)}', field="table")
    text = (
        table_to_csv(result)
        if form == ".csv"
        else json.dumps(table_to_dict(result), indent=1, allow_nan=False) + "\n"
    )
    with replacing(path) as unfinished:
        unfinished.write_text(text, encoding="utf-8")
    return path
