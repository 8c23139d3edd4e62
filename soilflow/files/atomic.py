"""Writing files so that a reader finds the old one or the new one, never half of one."""

from __future__ import annotations

import os
import re
import secrets
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from soilflow.errors import InputError

__all__ = ["check_folder", "replacing"]

# A run that was killed leaves its unfinished file behind. Writing takes seconds, so one that
# nobody has touched for so long is nobody's; a younger one may be another run's. [s]
_ABANDONED = 3600.0
_LONGEST = 60  # characters of a name kept in a temporary one, which systems bound at 255 bytes


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
    try:  # permissions say nothing of a disk mounted to be read only, nor to a superuser
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(
            f'"{name}": this folder may not be written to ({why}); name another'
        ) from None


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
        The disk is full, or the like; nothing is left behind. It names the file.

    Notes
    -----
    The temporary name is hidden and says ``unfinished``. A killed process cannot take its file
    away; the next one that writes the same name does, an hour later.

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
    _sweep(target)
    temporary = target.with_name(f"{_unfinished(target)}{secrets.token_hex(4)}{target.suffix}")
    try:
        yield temporary
        with open(temporary, "rb+") as written:
            os.fsync(written.fileno())
        os.replace(temporary, target)
    except OSError as error:  # a full disk names no file, and a user knows the final name only
        if error.strerror and error.filename in (None, str(temporary)):
            raise OSError(error.errno, error.strerror, str(path)) from error
        raise
    finally:
        temporary.unlink(missing_ok=True)
    if os.name == "posix":  # elsewhere a folder cannot be opened
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _unfinished(target: Path) -> str:
    """Beginning of the temporary names of a file."""
    return f".{target.stem[:_LONGEST]}.unfinished-"


def _sweep(target: Path) -> None:
    """Take away what killed runs left of a file."""
    left = re.compile(
        re.escape(_unfinished(target)) + "[0-9a-f]{8}" + re.escape(target.suffix) + r"\Z"
    )
    for name in os.listdir(target.parent):
        if left.match(name):
            with suppress(OSError):  # another run may take it away at the same time
                old = target.with_name(name)
                if time.time() - old.stat().st_mtime > _ABANDONED:
                    old.unlink()
