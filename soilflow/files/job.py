"""What is to be run: from a case file, or from a result file that repeats its run."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from soilflow.bounds import FILE_NAME_BYTES
from soilflow.case import Case
from soilflow.errors import ResultFileError
from soilflow.files.case_toml import parse_case, read_case
from soilflow.files.provenance import FIPY, hash_of
from soilflow.files.result_hdf5 import SIGNATURE, SOILFLOW, read_result
from soilflow.plain_text import printable

__all__ = ["BARS", "Job", "read_job"]

# What the names of files say of a run with error bars.
BARS = "bars"


@dataclass(frozen=True, kw_only=True)
class Job:
    """A case and how it is to be run.

    Parameters
    ----------
    case : Case
        As written.
    text : str
        The text it was read from, word for word.
    stem : str
        Beginning of the names of what the run writes.
    usual : tuple of str
        Layout, variant, grid, engine and `BARS` or nothing that go without saying.
    """

    case: Case
    text: str
    stem: str
    usual: tuple[str, str, str, str, str]

    def stem_of(self, *what: str) -> str:
        """Beginning of the names of a run's files, so that no run hides another.

        Parameters
        ----------
        *what : str
            Layout, variant, grid and engine of the run, and `BARS` if it has error bars.

        Returns
        -------
        stem : str
            With whatever of these is not the usual.
        """
        pairs = zip(what, self.usual, strict=True)
        unusual = [name for name, usual in pairs if name != usual]
        said = [re.sub(r"[^\w-]+", "_", name).strip("_") for name in unusual]
        more = "_".join(filter(None, said))
        room = FILE_NAME_BYTES - len(mark := hash_of("\n".join(unusual))[:8]) - 1
        if len(more.encode()) > FILE_NAME_BYTES:
            # cut, and told apart from others of the same beginning
            more = f"{more.encode()[:room].decode(errors='ignore')}_{mark}"
        return "_".join(filter(None, [self.stem, more]))


def read_job(path: Path) -> Job:
    """Read a case file or a result file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    job : Job
        For a result file: the case in it, with the layout, variant, grid and engine it was made
        with as the usual ones, and error bars if it has them.

    Raises
    ------
    CaseError
        The case cannot be read; every mistake in it.
    ResultFileError
        The result file is damaged.
    """
    if _is_hdf5(path):
        stored = read_result(path)
        if stored.engine not in (SOILFLOW, FIPY):
            raise ResultFileError(
                printable(
                    f'"{path}" was made by an engine "{stored.engine}", which is not known here'
                )
            )
        bars = BARS if any(name.endswith("/worst_margin_error") for name in stored.arrays) else ""
        return Job(
            case=parse_case(stored.case_text.removeprefix("\ufeff"), file=f"{path} (case)"),
            text=stored.case_text,
            stem=f"{path.stem}_again",
            usual=(stored.layout, stored.variant, stored.resolution, stored.engine, bars),
        )
    case = read_case(path)
    return Job(
        case=case,
        text=path.read_bytes().decode("utf-8"),
        stem=path.stem,
        usual=(case.layouts[0].name, "", case.resolution.name, SOILFLOW, ""),
    )


def _is_hdf5(path: Path) -> bool:
    if not path.is_file():
        return False
    with open(path, "rb") as file:
        return file.read(len(SIGNATURE)) == SIGNATURE
