"""All soils of a study in one HDF5 file: inputs and results, a row for each soil."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from soilflow.case import Case
from soilflow.files.atomic import replacing
from soilflow.files.field_paths import field_dimension
from soilflow.files.provenance import SOILFLOW, hash_of, versions_at_work
from soilflow.studies.soil_odds import UnknownSoil

__all__ = ["write_soils"]

_FORMAT = "soilflow soils"
_RESULTS = (
    ("margin", "Pa", "worst margin in the deciding condition"),
    ("coverage_area", "1", "share of the floor at the pass line or beyond"),
    ("flow", "m3 s-1", "what the fans move"),
)


def write_soils(study: UnknownSoil, case: Case, case_text: str, path: Path) -> None:
    """Write the table of a study; an older file of that name is replaced when it is complete.

    Parameters
    ----------
    study : UnknownSoil
        The study.
    case : Case
        Its case.
    case_text : str
        The text the case was read from.
    path : Path
        File to write.

    Raises
    ------
    InputError
        The folder cannot be written to.
    OSError
        The disk is full, or the like; nothing is left behind.
    """
    import h5py

    # made in memory, as a result file is: HDF5 1.14 ends the process on a full disk
    oldest = {"libver": ("earliest", "v110"), "track_order": False}
    with (
        replacing(path) as unfinished,
        h5py.File("soils.h5", "w", driver="core", backing_store=False, **oldest) as file,
    ):
        file.attrs.update(
            {
                "format": _FORMAT,
                "format_version": 1,
                "title": study.title,
                "resolution": study.resolution,
                "seed": study.seed,
                "members": study.members,
            }
        )
        file.create_group("versions").attrs.update(versions_at_work(SOILFLOW))
        _words(h5py, file, "case", case_text)
        file["case"].attrs["sha256"] = hash_of(case_text)
        _words(h5py, file, "layouts", list(study.layouts))
        paths = [known.path for known in study.ranges]
        _words(h5py, file, "inputs/paths", paths)
        _words(h5py, file, "inputs/units", [field_dimension(case, p).unit for p in paths])
        _words(h5py, file, "inputs/laws", [known.law for known in study.ranges])
        for end in ("low", "high"):
            ends = [getattr(known, end) for known in study.ranges]
            file.create_dataset(f"inputs/{end}", data=ends, track_times=False)
        file.create_dataset("inputs/values", data=study.values, track_times=False)
        for name, unit, long_name in _RESULTS:
            table = np.array([[getattr(o, name) for o in each] for each in study.outcomes])
            made = file.create_dataset(f"results/{name}", data=table, track_times=False)
            made.attrs.update({"units": unit, "long_name": long_name})
        _words(h5py, file, "results/failure", [[o.failure for o in e] for e in study.outcomes])
        file.flush()
        unfinished.write_bytes(file.id.get_file_image())


def _words(h5py: Any, file: Any, path: str, words: Any) -> None:
    file.create_dataset(path, data=words, dtype=h5py.string_dtype("utf-8"), track_times=False)
