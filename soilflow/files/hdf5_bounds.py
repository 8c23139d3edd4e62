"""What a result file may hold: its own arrays, in a size that was asked for, and no way out of it.

A file from anybody may claim arrays of any size in a few bytes, and may lead into other files of
the machine it is read on. All of this is seen from its table of contents, before an array is read.
"""

from __future__ import annotations

import math
from typing import Any

from soilflow.bounds import CASE_BYTES, ITEMS, RESULT_BYTES, RESULT_DEPTH, RESULT_ITEMS
from soilflow.errors import ResultFileError

__all__ = ["AGAIN", "checked_contents", "text_attribute", "texts_of"]

# What to do about a file that cannot be read.
AGAIN = 'run the case again with "soilflow run CASE"'
_TIGHTEST = 1032  # bytes that one byte can stand for (zlib's technical notes, from memory)
_FILTERS = {1, 2}  # deflate and shuffle (HDF5 reference, H5Zpublic.h, from memory)


def checked_contents(h5py: Any, file: Any, *, packed: int) -> None:
    """Go through the contents of an open file without reading an array.

    Parameters
    ----------
    h5py : module
        The library.
    file : h5py.File
        The file.
    packed : int
        Bytes of the file.

    Raises
    ------
    ResultFileError
        It leads out of itself or in a circle, or holds what no result does, or too much of it.
    """
    seen: set[int] = set()
    waiting = [(file, "", 0)]
    count = size = 0
    while waiting:
        group, above, depth = waiting.pop()
        for name in group:
            path = f"{above}{name}"
            count += 1
            if count > RESULT_ITEMS:
                raise _refusal(f"more than {RESULT_ITEMS} groups and arrays")
            if not isinstance(group.get(name, getlink=True), h5py.HardLink):
                raise _refusal(f'a link that leads elsewhere, "{path}"')
            item = group[name]
            address = h5py.h5o.get_info(item.id).addr
            if isinstance(item, h5py.Group):
                if address in seen or depth >= RESULT_DEPTH:
                    raise _refusal(f'groups in a circle or too deep in each other, "{path}"')
                waiting.append((item, f"{path}/", depth + 1))
            elif not isinstance(item, h5py.Dataset):
                raise _refusal(f'something that is neither a group nor an array, "{path}"')
            elif address not in seen:
                size += _size(h5py, item, path)
                if size > min(RESULT_BYTES, 1_000_000 + _TIGHTEST * packed):
                    raise _refusal("arrays much larger than itself")
            seen.add(address)


def _size(h5py: Any, item: Any, path: str) -> int:
    """Bytes of an array once it is unpacked, from what the file says about it."""
    if item.is_virtual or item.external:
        raise _refusal(f'an array kept in another file, "{path}"')
    made = item.id.get_create_plist()
    if not {made.get_filter(i)[0] for i in range(made.get_nfilters())} <= _FILTERS:
        raise _refusal(f'an array packed in a way no result is, "{path}"')
    words = h5py.check_string_dtype(item.dtype) is not None
    if item.shape is None or not (words or item.dtype.kind in "fiub"):
        raise _refusal(f'an array that holds neither numbers nor words, "{path}"')
    cells = math.prod(item.shape)
    if words and (len(item.shape) > 1 or cells > ITEMS):
        raise _refusal(f'more than {ITEMS} words, "{path}"')
    return max(cells, math.prod(item.chunks or ())) * int(item.id.get_type().get_size())


def texts_of(item: Any) -> list[str]:
    """Texts of an array of words, one by one: many may share one long text in the file.

    Parameters
    ----------
    item : h5py.Dataset
        The array, of which `checked_contents` knows.

    Returns
    -------
    texts : list of str
        One for an array without axes.

    Raises
    ------
    ResultFileError
        They are longer than any case.
    """
    words, found, length = item.asstr(), [], 0
    for place in [()] if item.shape == () else range(item.shape[0]):
        text = str(words[place])
        length += len(text)
        if length > CASE_BYTES:
            raise _refusal(f"words longer than {CASE_BYTES / 1e6:g} MB")
        found.append(text)
    return found


def text_attribute(h5py: Any, item: Any, name: str) -> str:
    """One attribute that must be one text.

    Parameters
    ----------
    h5py : module
        The library.
    item : h5py.Group or h5py.Dataset
        What it belongs to.
    name : str
        Its name.

    Returns
    -------
    text : str
        The text.

    Raises
    ------
    ResultFileError
        It is something else.
    KeyError
        It is not there.
    """
    kept = item.attrs.get_id(name)
    # asked before it is read: HDF5 itself falls over texts of a type that is none
    if kept.shape != () or not isinstance(kept.get_type(), h5py.h5t.TypeStringID):
        raise _refusal(f'"{name}", which is no text')
    text = item.attrs[name]
    return text if isinstance(text, str) else str(text, "utf-8")


def _refusal(what: str) -> ResultFileError:
    return ResultFileError(f" holds {what}; no result of soilflow does; {AGAIN}")
