"""Writing files so that a reader finds the old one or the new one, never half of one."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from soilflow.errors import InputError

__all__ = ["check_folder", "replacing"]


def check_folder(folder: Path) -> None:
    """Refuse a folder that no file can be written to; worth asking before a long run.

    Parameters
    ----------
    folder : Path
        The folder.

    Raises
    ------
    InputError
        It is missing, is no folder, or may not be written to.
    """
    name = str(folder)
    if not folder.exists():
        raise InputError(f'"{name}": there is no such folder; make it first, or name another')
    if not folder.is_dir():
        raise InputError(f'"{name}" is a file; name a folder')
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f'"{name}": this folder may not be written to; name another')


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Hand out a temporary name beside a file, and move it into place when all went well.

    Parameters
    ----------
    path : Path
        The file to write; what it held stays until the new one is complete on disk.

    Yields
    ------
    temporary : Path
        Where to write: same folder, same ending.

    Raises
    ------
    InputError
        The folder cannot be written to, or the name is that of a folder.
    OSError
        The disk is full, or the like; nothing is left behind.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     with replacing(Path(folder) / "note.txt") as temporary:
    ...         _ = temporary.write_text("whole")
    ...     [file.name for file in Path(folder).iterdir()]
    ['note.txt']
    """
    target = Path(os.path.realpath(path))  # a link stays a link
    check_folder(target.parent)
    if target.is_dir():
        raise InputError(f'"{path}" is a folder; give the name of a file')
    temporary = target.with_name(f".{target.stem}.{secrets.token_hex(4)}{target.suffix}")
    try:
        yield temporary
        with open(temporary, "rb+") as written:
            os.fsync(written.fileno())
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)
    if os.name == "posix":  # elsewhere a folder cannot be opened
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
