"""Ways into a result file for viewers, without a second copy of any array.

A group ``VTKHDF`` of links makes the result file one that VTK 9.7 and newer read (VTKHDF file
format 2.7, rectilinear grid); a small XDMF file beside it points older viewers to the same links.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from soilflow.errors import ResultFileError
from soilflow.files.atomic import replacing
from soilflow.files.hdf5_bounds import checked_contents

__all__ = ["VIEW", "link_for_viewers", "write_xdmf", "xdmf_text"]

VIEW = "VTKHDF"  # the name that readers of the format look for
_FORMAT_VERSION = (2, 7)  # the first with rectilinear grids


def link_for_viewers(file: Any, fields: Iterable[str]) -> None:
    """Make an open result file one that VTK reads.

    Parameters
    ----------
    file : h5py.File
        The file, with its axes.
    fields : iterable of str
        Paths of arrays over z, y and x; names in the view end with the unit.

    Notes
    -----
    The specification gives rectilinear grids the attributes of images, the reader of VTK 9.7
    asks for ``Dimensions``, counted in points: both are there.
    """
    view = file.create_group(VIEW)
    cells = [file[axis].size for axis in "xyz"]
    view.attrs["Version"] = np.array(_FORMAT_VERSION)
    view.attrs["Type"] = np.bytes_(b"RectilinearGrid")
    view.attrs["Dimensions"] = np.array([n + 1 for n in cells])
    view.attrs["WholeExtent"] = np.array([end for n in cells for end in (0, n)])
    for axis in "xyz":
        view[f"{axis.upper()}Coordinates"] = file[f"{axis}_edges"]
    data = view.create_group("CellData")
    for path in fields:
        unit = str(file[path].attrs["units"])
        data[_shown(path) + ("" if unit == "1" else f" [{unit}]")] = file[path]


def _shown(path: str) -> str:
    """What a viewer calls an array: its own name, then the condition or port it belongs to."""
    *groups, name = path.split("/")
    return " ".join([name.replace("_", " "), *groups[1:]])


def write_xdmf(path_h5: Path, path_xdmf: Path) -> None:
    """Write the small file by which older viewers open a result file.

    Parameters
    ----------
    path_h5 : Path
        A result file.
    path_xdmf : Path
        File to write; an older one of that name is replaced once the new one is complete. It
        names the result file as seen from its own folder, so that the two travel together.

    Raises
    ------
    InputError
        The folder cannot be written to.
    ResultFileError
        The result file is missing, damaged, or holds no view.
    OSError
        The disk is full, or the like; nothing is left behind.
    """
    import h5py

    try:
        with h5py.File(path_h5, "r") as file:
            checked_contents(h5py, file, packed=path_h5.stat().st_size)
            text = xdmf_text(file, path_h5, path_xdmf)
    except (OSError, KeyError, ResultFileError) as error:
        raise ResultFileError(f'"{path_h5}" is no whole result file ({error})') from error
    with replacing(path_xdmf) as temporary:
        temporary.write_text(text, encoding="utf-8")


def xdmf_text(file: Any, path_h5: Path, path_xdmf: Path) -> str:
    """Describe the view in a result file in XDMF.

    Parameters
    ----------
    file : h5py.File
        The result file, open under whatever name.
    path_h5, path_xdmf : Path
        Where it will be, and where the text will be.

    Returns
    -------
    text : str
        XDMF 2, which its readers take in versions 2 and 3.
    """
    view, name = file[VIEW], Path(os.path.relpath(path_h5, path_xdmf.parent)).as_posix()
    points = " ".join(str(n) for n in reversed(view.attrs["Dimensions"]))
    lines = [
        '<?xml version="1.0" encoding="utf-8"?>',
        '<Xdmf Version="2.0">',
        "<Domain>",
        '<Grid Name="soil" GridType="Uniform">',
        f'<Topology TopologyType="3DRectMesh" Dimensions="{points}"/>',
        '<Geometry GeometryType="VXVYVZ">',
        *(_item(view[f"{axis}Coordinates"], name, f"{axis}Coordinates") for axis in "XYZ"),
        "</Geometry>",
    ]
    for shown, data in view["CellData"].items():
        lines += [
            f'<Attribute Name={quoteattr(shown)} AttributeType="Scalar" Center="Cell">',
            _item(data, name, f"CellData/{shown}"),
            "</Attribute>",
        ]
    return "\n".join([*lines, "</Grid>", "</Domain>", "</Xdmf>", ""])


def _item(data: Any, name: str, path: str) -> str:
    """Where one array is and what it holds."""
    kind = "Float" if data.dtype.kind == "f" else "UChar"
    size = " ".join(str(n) for n in data.shape)
    return (
        f'<DataItem Format="HDF" NumberType="{kind}" Precision="{data.dtype.itemsize}" '
        f'Dimensions="{size}">{escape(name)}:/{VIEW}/{escape(path)}</DataItem>'
    )
