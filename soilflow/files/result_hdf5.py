"""Result files: one HDF5 file per run, with the case it came from word for word.

All numbers are SI. Every array carries ``units`` and ``long_name`` and its axes as dimension
scales, linked into each group that uses them, so that netCDF readers open any group as it is.
Fields run over z (height above the slab underside), y and x. Nothing in the file depends on the
clock, so the same case, machine and versions give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.case import Case
from soilflow.errors import ResultFileError
from soilflow.files.atomic import replacing
from soilflow.files.hdf5_bounds import AGAIN, checked_contents, text_attribute, texts_of
from soilflow.files.provenance import SOILFLOW, hash_of, versions_at_work
from soilflow.files.result_views import VIEW, link_for_viewers, xdmf_text
from soilflow.plain_text import printable
from soilflow.results.result import Result
from soilflow.results.tables import LabelledArray, array_groups, height_of

__all__ = ["SIGNATURE", "SOILFLOW", "StoredResult", "read_result", "write_result"]

# The first bytes of every HDF5 file (HDF5 file format specification, section II.A, from memory).
SIGNATURE = b"\x89HDF\r\n\x1a\n"
_FORMAT = "soilflow result"
_FORMAT_VERSION = 2
_WHAT = ("title", "layout", "variant", "resolution", "engine", "seed")
# What reading a file may end in whose parts are not what they should be.
_DAMAGE = (AttributeError, KeyError, OSError, RuntimeError, TypeError, ValueError)
_NO_SEED = "none"  # nothing in a run is drawn at random
_TURNED = {("z", "y", "x"), ("y", "x"), ("floor_y", "floor_x")}  # axes of fields, in the file


@dataclass(frozen=True, kw_only=True, eq=False)
class StoredResult:
    """What a result file holds: enough to run the case again, and all that was found.

    Parameters
    ----------
    case_text : str
        The case file, word for word.
    case_sha256 : str
        Its hash.
    title, layout, variant, resolution, engine, seed : str
        What was run; the seed is "none" where nothing was drawn at random.
    notes : tuple of str
        What the reader of the result should know.
    versions : mapping of str to str
        Versions of soilflow, of Python and of the packages that did the arithmetic.
    members : mapping of str to str
        Names of conditions and ports by their group of the file, such as ``conditions/today``.
    arrays : mapping of str to array
        Numbers and texts by their path in the file, such as ``conditions/today/pressure``; fields
        run over x, y and z, with z down, as everywhere in soilflow. [SI]
    units : mapping of str to str
        Unit of each array of numbers.
    """

    case_text: str
    case_sha256: str
    title: str
    layout: str
    variant: str
    resolution: str
    engine: str
    seed: str
    notes: tuple[str, ...]
    versions: Mapping[str, str]
    members: Mapping[str, str]
    arrays: Mapping[str, NDArray[Any]]
    units: Mapping[str, str]

    def __repr__(self) -> str:
        variant = f", variant {self.variant!r}" if self.variant else ""
        return (
            f"StoredResult({self.title!r}, layout {self.layout!r}{variant}, "
            f"{self.resolution} grid, engine {self.engine}, {len(self.arrays)} arrays, "
            f"case {self.case_sha256[:12]})"
        )


def write_result(
    result: Result,
    case: Case,
    case_text: str,
    path: Path,
    *,
    engine: str = SOILFLOW,
    xdmf: Path | None = None,
) -> None:
    """Write a result file; an older one of that name is replaced once the new one is complete.

    Parameters
    ----------
    result : Result
        The result.
    case : Case
        The case that was run, on the grid it was run on.
    case_text : str
        The text the case was read from.
    path : Path
        File to write.
    engine : str
        What solved it.
    xdmf : Path or None
        Where to write the file by which older viewers open the result; the two take their places
        together. None leaves it out.

    Raises
    ------
    InputError
        The folder cannot be written to.
    OSError
        The disk is full, or the like; nothing is left behind.
    """
    import h5py

    with ExitStack() as stack:
        temporary = stack.enter_context(replacing(path))
        with _blank(h5py) as file:
            out = _Writer(h5py, file)
            what = (result.title, result.layout, result.variant, case.resolution.name, engine)
            file.attrs.update({"format": _FORMAT, "format_version": _FORMAT_VERSION})
            file.attrs.update(zip(_WHAT, (*what, _NO_SEED), strict=True))
            out.text("case", case_text, "the case file, word for word")
            file["case"].attrs["sha256"] = hash_of(case_text)
            out.text("notes", result.notes, "what the reader should know")
            versions = {**versions_at_work(engine), "hdf5": h5py.version.hdf5_version}
            file.create_group("versions").attrs.update(versions)
            _write_arrays(out, result)
            if xdmf is not None:
                beside = stack.enter_context(replacing(xdmf))
                beside.write_text(xdmf_text(file, path, xdmf), encoding="utf-8")
            file.flush()
            temporary.write_bytes(file.id.get_file_image())


def _blank(h5py: Any) -> Any:
    """An open file in memory: on a full disk HDF5 1.14 takes the whole process down."""
    # The oldest format stores no time of writing with a group.
    oldest = {"libver": ("earliest", "v110"), "track_order": False}
    return h5py.File("result.h5", "w", driver="core", backing_store=False, **oldest)


def _write_arrays(out: _Writer, result: Result) -> None:
    fields = []
    groups = array_groups(result.solution, result.conditions, result.hole_places, result.air)
    for names, arrays in groups:
        group = "/".join(_key(name) for name in names)
        for array in arrays:
            path = f"{group}/{array.name}".lstrip("/")
            out.array(group, path, array)
            if array.axes == ("z", "y", "x"):
                fields.append(path)
        if len(names) > 1:
            out.file[group].attrs["name"] = names[-1]
    link_for_viewers(out.file, fields)


# What stands for the signs that HDF5 and XDMF take for steps, places and drives in a path.
_LOOKALIKES = str.maketrans(
    {"/": "\N{DIVISION SLASH}", ".": "\N{ONE DOT LEADER}", ":": "\N{RATIO}"}
)


def _key(name: str) -> str:
    """A name as one step of a path."""
    return name.translate(_LOOKALIKES)


class _Writer:
    """Puts datasets into an open file, each with unit, long name and axes."""

    def __init__(self, h5py: Any, file: Any) -> None:
        self.h5py, self.file = h5py, file

    def array(self, group: str, path: str, array: LabelledArray) -> None:
        """An array, with the axes it runs over linked into its group."""
        values = array.values
        if array.unit:
            # one chunk each: a fifth smaller than in the pieces h5py would choose
            packed = {"compression": "gzip", "shuffle": True, "chunks": values.shape}
            flag = {"dtype": "bool"} if values.dtype == bool else {}  # as xarray writes them
            made = self.file.create_dataset(
                path,
                data=values.astype(np.int8) if flag else values,
                track_times=False,
                **(packed if values.size > 1000 else {}),
            )
            made.attrs.update({"units": array.unit, **flag})
        else:
            kind = self.h5py.string_dtype("utf-8")
            made = self.file.create_dataset(path, data=values, dtype=kind, track_times=False)
        made.attrs.update({"long_name": array.long_name, **array.remarks})
        if array.axes == (path,):
            made.make_scale(path)
            return
        for dimension, axis in zip(made.dims, array.axes, strict=True):
            for name in (axis, f"{axis}_edges"):
                if name in self.file and name not in self.file[group]:
                    self.file[group][name] = self.file[name]
            dimension.attach_scale(self.file[axis])

    def text(self, path: str, words: str | Sequence[str], long_name: str) -> None:
        """A text, or a list of texts that is its own axis."""
        axes = () if isinstance(words, str) else (path,)
        values = np.array(words if isinstance(words, str) else list(words), dtype=object)
        self.array(
            "/",
            path,
            LabelledArray(name=path, values=values, unit="", long_name=long_name, axes=axes),
        )


def read_result(path: Path) -> StoredResult:
    """Read a result file back.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    stored : StoredResult
        All it holds, loaded into memory.

    Raises
    ------
    ResultFileError
        It is missing, cut short, damaged, of another version, or was not written by soilflow.
    """
    import h5py

    try:
        _check_first_bytes(path)
        with h5py.File(path, "r") as file:
            _check_format(h5py, file)
            checked_contents(h5py, file, packed=path.stat().st_size)
            stored = _stored(h5py, file)
        if hash_of(stored.case_text) != stored.case_sha256:
            raise ResultFileError(f": the case text in it was changed afterwards; {AGAIN}")
    except ResultFileError as error:
        raise ResultFileError(printable(f'"{path}"{error}')) from error.__cause__
    # what h5py and numpy say of bytes that make no sense
    except _DAMAGE as error:
        why = " ".join(str(error).split())
        raise ResultFileError(
            printable(f'"{path}" is cut short or damaged ({why}); {AGAIN}')
        ) from error
    return stored


def _check_first_bytes(path: Path) -> None:
    """Refuse what is no HDF5 file at all, before HDF5 sees it."""
    try:
        with open(path, "rb") as plain:
            begins = plain.read(len(SIGNATURE))
    except FileNotFoundError:
        raise ResultFileError(": there is no such file") from None
    except IsADirectoryError:
        raise ResultFileError(" is a folder; name the result file in it") from None
    except OSError as error:
        raise ResultFileError(f" cannot be read: {error.strerror}") from error
    if begins != SIGNATURE:
        raise ResultFileError(f" is no result file; {AGAIN} to make one")


def _check_format(h5py: Any, file: Any) -> None:
    """Refuse a file of something else, or one laid out differently, and say what to do with it."""
    if "format" not in file.attrs or text_attribute(h5py, file, "format") != _FORMAT:
        raise ResultFileError(f" is an HDF5 file, but not of soilflow; {AGAIN}")
    version = int(file.attrs["format_version"])
    which = f"format {version}, this one reads {_FORMAT_VERSION}"
    if version > _FORMAT_VERSION:
        raise ResultFileError(f" is of a newer soilflow ({which}): update soilflow, or {AGAIN}")
    if version < _FORMAT_VERSION:
        raise ResultFileError(
            f" is of an older soilflow ({which}): {AGAIN}; "
            'its text is in the file, as the array "case"'
        )


def _stored(h5py: Any, file: Any) -> StoredResult:
    arrays: dict[str, NDArray[Any]] = {}
    units: dict[str, str] = {}
    members: dict[str, str] = {}
    for path, item in _walk(h5py, file):
        if isinstance(item, h5py.Group):
            if "name" in item.attrs:
                members[path] = text_attribute(h5py, item, "name")
        elif "units" in item.attrs:
            arrays[path] = _as_elsewhere(h5py, path, item)
            units[path] = text_attribute(h5py, item, "units")
        else:
            words = texts_of(item)
            arrays[path] = np.asarray(words if item.shape else words[0], dtype=object)
    return StoredResult(
        case_text=str(arrays.pop("case")),
        case_sha256=text_attribute(h5py, file["case"], "sha256"),
        **{name: text_attribute(h5py, file, name) for name in _WHAT},
        notes=tuple(arrays.pop("notes").tolist()),
        versions={n: text_attribute(h5py, file["versions"], n) for n in file["versions"].attrs},
        members=members,
        arrays=arrays,
        units=units,
    )


def _walk(h5py: Any, group: Any, above: str = "") -> Iterator[tuple[str, Any]]:
    """Groups and arrays by path, each once: without the view and the links to axes."""
    for name, item in group.items():
        link = isinstance(item, h5py.Dataset) and name in group.file and item == group.file[name]
        if (above and link) or (not above and name == VIEW):
            continue
        yield above + name, item
        if isinstance(item, h5py.Group):
            yield from _walk(h5py, item, f"{above}{name}/")


def _as_elsewhere(h5py: Any, path: str, item: Any) -> NDArray[Any]:
    """An array as it is in memory: over x, y and z, with z down."""
    values = np.asarray(item[()])
    if "dtype" in item.attrs and text_attribute(h5py, item, "dtype") == "bool":
        values = values.astype(bool)
    axes = tuple(d[0].name.rpartition("/")[2] for d in item.dims if len(d))
    if len(axes) != item.ndim and not item.is_scale:
        raise ValueError(f"{path} has lost its axes")
    if path in ("z", "z_edges"):
        return height_of(values)
    if axes in _TURNED:
        return values[::-1].T if axes[0] == "z" else values.T
    return values
