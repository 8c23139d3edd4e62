"""The cases that come with soilflow: in the source tree, or where the installation put them."""

from __future__ import annotations

import difflib
import importlib.metadata
from pathlib import Path

from soilflow.errors import InputError

__all__ = ["shipped_case", "shipped_cases"]


def shipped_cases() -> dict[str, Path]:
    """Find the shipped cases.

    Returns
    -------
    cases : dict of str to Path
        File by name, in alphabetical order; empty when the installation has none.
    """
    tree = Path(__file__).resolve().parents[2]
    if (tree / "pyproject.toml").exists():
        found = list((tree / "cases").glob("*.toml"))
    else:
        try:
            files = importlib.metadata.files("soilflow") or []
        except importlib.metadata.PackageNotFoundError:
            files = []
        found = [
            Path(str(file.locate())).resolve()
            for file in files
            if file.suffix == ".toml" and file.parent.parts[-2:] == ("soilflow", "cases")
        ]
    return {path.stem: path for path in sorted(found)}


def shipped_case(name: str) -> Path:
    """Find a shipped case by name.

    Parameters
    ----------
    name : str
        Its name, with or without the ending.

    Returns
    -------
    path : Path
        The file.

    Raises
    ------
    InputError
        There is none of that name.
    """
    have = shipped_cases()
    stem = name.removesuffix(".toml")
    if stem not in have:
        near = difflib.get_close_matches(stem, have, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        offer = ", ".join(have) or "none"
        raise InputError(f'"{name}": no such case is shipped; {hint}there are {offer}')
    return have[stem]
