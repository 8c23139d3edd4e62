"""From the path of a field in a case to its value and what it measures."""

from __future__ import annotations

from dataclasses import is_dataclass
from typing import Any

from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.files.draft import parse_path
from soilflow.files.make_nouns import markers
from soilflow.units import Dimension

__all__ = ["field_dimension"]


def field_dimension(case: Case, path: str) -> Dimension:
    """What the quantity at a path of a case measures.

    Parameters
    ----------
    case : Case
        The case.
    path : str
        Such as ``site.ground.layers[0].permeability``; a variant's site goes by
        ``variants.NAME``.

    Returns
    -------
    Dimension
        Dimension, unit and bounds of the field.

    Raises
    ------
    InputError
        The case has no quantity there.
    """
    noun: Any = case
    rest = path
    if path.startswith("variants."):
        names = [v for v in case.variants if path.startswith(f"variants.{v}.")]
        name = max(names, key=len, default=None)
        if name is None:
            raise InputError(f'"{path}": no such variant in this case')
        noun, rest = case.variants[name], path.removeprefix(f"variants.{name}.")
    *parents, last = parse_path(rest) or ("",)
    for part in parents:
        if isinstance(part, int):
            noun = noun[part] if isinstance(noun, tuple) and part < len(noun) else None
        else:
            noun = getattr(noun, part, None) if is_dataclass(noun) else None
    known = markers(noun.__class__) if is_dataclass(noun) else {}
    if str(last) not in known:
        raise InputError(
            f'"{path}": no quantity there in this case; paths look like '
            '"site.ground.layers[0].permeability"'
        )
    return known[str(last)]
