"""One small file for each soil that was solved, so that a study goes on where it stopped."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from soilflow.files.atomic import replacing
from soilflow.files.provenance import hash_of
from soilflow.studies.unknown_soil import LayoutOutcome

__all__ = ["key_of", "read_member", "write_member"]

_FORMAT = "soilflow soil 1"
_BYTES = 1_000_000  # of one record, far above any (chosen by the project)
_NUMBERS = ("margin", "coverage_area", "flow")

Task = Mapping[str, Any]


def key_of(task: Task) -> str:
    """What a task is known by: a hash of all that its answer depends on.

    Parameters
    ----------
    task : mapping
        Case text, values, layouts, grid and versions, as JSON types.

    Returns
    -------
    key : str
        Hexadecimal; the same in any process.
    """
    return hash_of(json.dumps(task, sort_keys=True, allow_nan=False))


def write_member(folder: Path, task: Task, outcomes: Sequence[LayoutOutcome]) -> None:
    """Keep what came of a task, whole or not at all.

    Parameters
    ----------
    folder : Path
        Where the records are.
    task : mapping
        The task.
    outcomes : sequence of LayoutOutcome
        Its answer.
    """
    body = {
        "format": _FORMAT,
        "key": key_of(task),
        "values": list(task["values"]),
        "outcomes": [
            {f.name: _written(getattr(one, f.name)) for f in fields(one)} for one in outcomes
        ],
    }
    text = json.dumps({**body, "sha256": _seal(body)}, indent=1, allow_nan=False)
    with replacing(folder / f"{body['key']}.json") as unfinished:
        unfinished.write_text(text + "\n", encoding="utf-8")


def read_member(folder: Path, task: Task) -> tuple[tuple[LayoutOutcome, ...] | None, str]:
    """What is known of a task already.

    Parameters
    ----------
    folder : Path
        Where the records are.
    task : mapping
        The task.

    Returns
    -------
    outcomes, damage : tuple of LayoutOutcome or None, and str
        None when it must be done; the damage says what is wrong with a record that is there.
    """
    path = folder / f"{key_of(task)}.json"
    try:
        with open(path, "rb") as file:
            raw = file.read(_BYTES + 1)
        if len(raw) > _BYTES:
            return None, "it is too long"
        body = json.loads(raw.decode("utf-8"))
        seal = body.pop("sha256")
        if seal != _seal(body) or body["format"] != _FORMAT or body["key"] != key_of(task):
            return None, "it does not hold what was written"
        outcomes = tuple(_read(one) for one in body["outcomes"])
    except FileNotFoundError:
        return None, ""
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None, "it cannot be read"
    if [one.layout for one in outcomes] != list(task["layouts"]):
        return None, "it holds other layouts"
    return outcomes, ""


def _seal(body: Mapping[str, Any]) -> str:
    return hash_of(json.dumps(body, sort_keys=True))


def _written(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _read(one: Mapping[str, Any]) -> LayoutOutcome:
    numbers = {n: math.nan if one[n] is None else float(one[n]) for n in _NUMBERS}
    return LayoutOutcome(layout=str(one["layout"]), failure=str(one["failure"]), **numbers)
