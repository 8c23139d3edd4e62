"""Result files: one HDF5 file per run, with the case it came from word for word.

All numbers are SI. Every array carries ``units`` and ``long_name`` and its axes; plan arrays
run over x (east) and y (north), soil arrays over x, y and z (depth below the slab underside,
down). Nothing in the file depends on the clock, so the same case gives the same bytes.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from soilflow.air import pressure_from_u
from soilflow.case import Case
from soilflow.errors import ResultFileError
from soilflow.files.atomic import replacing
from soilflow.flow.soil_map import NO_AIR_PATH
from soilflow.results.result import ConditionResult, Result, SoilSolution

__all__ = ["SIGNATURE", "SOILFLOW", "StoredResult", "read_result", "write_result"]

# The first bytes of every HDF5 file (HDF5 file format specification, section II.A, from memory).
SIGNATURE = b"\x89HDF\r\n\x1a\n"
SOILFLOW = "soilflow"  # name of the engine that solves the network of conductances
_FORMAT = "soilflow result"
_FORMAT_VERSION = 1
_WHAT = ("title", "layout", "variant", "resolution", "engine")
_PACKAGES = ("soilflow", "numpy", "scipy", "pyamg", "h5py", "fipy")

_SOLID, _SOIL, _PIT, _TIGHT = range(4)
_STATES = "solid soil pit no_air_path"


@dataclass(frozen=True, kw_only=True, eq=False)
class StoredResult:
    """What a result file holds: enough to run the case again, and all that was found.

    Parameters
    ----------
    case_text : str
        The case file, word for word.
    case_sha256 : str
        Its hash.
    title, layout, variant, resolution, engine : str
        What was run.
    notes : tuple of str
        What the reader of the result should know.
    versions : mapping of str to str
        Versions of soilflow, of Python and of the packages that did the arithmetic.
    attributes : mapping of str to mapping
        Scalars by group of the file, such as ``conditions/today``; units end their names. [SI]
    arrays : mapping of str to array
        Arrays by their path in the file, such as ``conditions/today/pressure``. [SI]
    units : mapping of str to str
        Unit of each array.
    """

    case_text: str
    case_sha256: str
    title: str
    layout: str
    variant: str
    resolution: str
    engine: str
    notes: tuple[str, ...]
    versions: Mapping[str, str]
    attributes: Mapping[str, Mapping[str, Any]]
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
    result: Result, case: Case, case_text: str, path: Path, *, engine: str = SOILFLOW
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

    Raises
    ------
    InputError
        The folder cannot be written to.
    OSError
        The disk is full, or the like; nothing is left behind.
    """
    import h5py

    with (
        replacing(path) as temporary,
        # The oldest format stores no time of writing with a group.
        h5py.File(temporary, "w", libver=("earliest", "v110"), track_order=False) as file,
    ):
        out = _Writer(h5py, file)
        what = (result.title, result.layout, result.variant, case.resolution.name, engine)
        file.attrs.update({"format": _FORMAT, "format_version": _FORMAT_VERSION})
        file.attrs.update(zip(_WHAT, what, strict=True))
        out.text("case", case_text, "the case file, word for word")
        file["case"].attrs["sha256"] = _hash(case_text)
        out.texts("notes", result.notes, "what the reader should know")
        file.create_group("versions").attrs.update(_versions())
        _write_soil(out, result.solution)
        _write_ports(out, result)
        _write_floor_axes(out, result)
        for name, condition in result.conditions.items():
            _write_condition(out, f"conditions/{_key(name)}", condition, result, case)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _versions() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in _PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found


def _key(name: str) -> str:
    """A name as one step of a path: HDF5 takes a slash for a new group, and dots for places."""
    return name.replace("/", "\N{DIVISION SLASH}").replace(".", "\N{ONE DOT LEADER}")


class _Writer:
    """Puts datasets into an open file, each with unit, long name and axes."""

    def __init__(self, h5py: Any, file: Any) -> None:
        self.h5py, self.file = h5py, file

    def axis(self, path: str, values: NDArray[Any], unit: str, long_name: str) -> None:
        """An array that other arrays use as axis."""
        self.array(path, values, unit, long_name)
        self.file[path].make_scale(path.rsplit("/", maxsplit=1)[-1])

    def array(
        self,
        path: str,
        values: NDArray[Any],
        unit: str,
        long_name: str,
        axes: Sequence[str] = (),
    ) -> None:
        """An array and the axes it runs over."""
        packed = {"compression": "gzip", "shuffle": True} if values.size > 1000 else {}
        made = self.file.create_dataset(path, data=values, track_times=False, **packed)
        made.attrs["units"] = unit
        made.attrs["long_name"] = long_name
        for dimension, axis in zip(made.dims, axes, strict=False):
            dimension.attach_scale(self.file[axis])
            dimension.label = axis.rsplit("/", maxsplit=1)[-1]

    def text(self, path: str, words: str, long_name: str) -> None:
        """One text."""
        kind = self.h5py.string_dtype("utf-8")
        made = self.file.create_dataset(path, data=words, dtype=kind, track_times=False)
        made.attrs["long_name"] = long_name

    def texts(self, path: str, words: Sequence[str], long_name: str) -> None:
        """A list of texts."""
        kind = self.h5py.string_dtype("utf-8")
        made = self.file.create_dataset(
            path, data=np.array(words, dtype=object), dtype=kind, track_times=False
        )
        made.attrs["long_name"] = long_name


_SOIL_AXES = ("grid/x", "grid/y", "grid/z")
_FLOOR_AXES = ("floor/x", "floor/y")


def _write_soil(out: _Writer, solution: SoilSolution) -> None:
    soil, response = solution.soil, solution.response
    names = ("east of the origin of the case", "north of the origin", "depth below slab underside")
    for axis, (path, words) in enumerate(zip(_SOIL_AXES, names, strict=True)):
        out.axis(path, soil.grid.centres(axis), "m", f"cell centres, {words}")
        out.axis(f"{path}_edges", soil.grid.edges[axis], "m", f"cell edges, {words}")
    out.array("soil/state", _state(solution), "1", "what fills the cell", _SOIL_AXES)
    out.file["soil/state"].attrs["flag_values"] = np.arange(4, dtype=np.uint8)
    out.file["soil/state"].attrs["flag_meanings"] = _STATES
    for direction in ("horizontal", "vertical"):
        values = getattr(soil, direction)
        path, words = f"soil/permeability_{direction}", f"{direction} air permeability"
        out.array(path, values, "m2", words, _SOIL_AXES)
    words = "transmissivity of the gap under the slab"
    out.array("soil/gap_transmissivity", soil.sheet, "m3", words, _SOIL_AXES[:2])
    residuals = [report.residual for report in response.reports]
    out.file.create_group("solver").attrs.update(
        {
            "cells": solution.network.nodes,
            "lost_cells": solution.network.lost_cells,
            "viscosity_Pa_s": solution.network.viscosity,
            "iterations": [report.iterations for report in response.reports],
            "residuals": residuals,
            "mass_balance": response.balance,
            "partition_of_unity": response.partition,
        }
    )


def _state(solution: SoilSolution) -> NDArray[np.uint8]:
    """What fills each cell; solids inside soil too tight for air count as such soil."""
    soil = solution.soil
    tight = np.minimum(soil.horizontal, soil.vertical) < NO_AIR_PATH
    lost = soil.air & (solution.network.cell_node < 0)
    state = np.full(soil.grid.shape, _SOLID, dtype=np.uint8)
    state[tight | lost] = _TIGHT
    state[soil.air & ~lost] = _SOIL
    state[soil.cavity >= 0] = _PIT
    return state


def _write_ports(out: _Writer, result: Result) -> None:
    response = result.solution.response
    out.texts("ports/name", response.ports, "where air leaves the soil")
    words = "flow out of port i per pascal at port j; flows from soil into ports are -Y u"
    out.array("ports/matrix", response.port_matrix, "m3 s-1 Pa-1", words)
    places = result.hole_places
    out.texts("test_holes/name", tuple(places), "test holes")
    where = np.array(list(places.values()), dtype=float).reshape(-1, 2)
    out.array("test_holes/place", where, "m", "x and y of each test hole")


def _write_floor_axes(out: _Writer, result: Result) -> None:
    floor = next(iter(result.conditions.values())).floor
    for path, edges in zip(_FLOOR_AXES, (floor.x, floor.y), strict=True):
        out.axis(path, 0.5 * (edges[1:] + edges[:-1]), "m", "centres of the columns of the floor")
        out.axis(f"{path}_edges", edges, "m", "edges of the columns of the floor")
    out.array("floor/under_slab", floor.floor, "1", "whether a slab covers it", _FLOOR_AXES)


def _write_condition(
    out: _Writer, group: str, condition: ConditionResult, result: Result, case: Case
) -> None:
    on, off = condition.operating_point, condition.fan_off
    field = _field(result.solution, condition, case.air.pressure_atm)
    words = "pressure relative to the room at slab level"
    out.array(f"{group}/pressure", field, "Pa", f"{words}, fan on", _SOIL_AXES)
    states = [
        ("", "fan on", condition.floor, condition.test_holes),
        ("_fan_off", "fan off", condition.floor_off, condition.test_holes_off),
    ]
    before = condition.baseline
    if before is not None:
        states.append(("_before_digging", "before digging", before.floor, before.test_holes))
    for end, when, floor, holes in states:
        path = f"{group}/floor_pressure{end}"
        out.array(path, floor.pressure, "Pa", f"{words}, {when}", _FLOOR_AXES)
        read = np.array(list(holes.values()), dtype=float)
        out.array(f"{group}/test_hole_pressure{end}", read, "Pa", f"{words}, {when}")
    for end, point in (("", on), ("_fan_off", off)):
        when = "fan off" if end else "fan on"
        out.array(f"{group}/port_pressure{end}", point.pressures, "Pa", f"{words}, {when}")
        flow = "flow from soil into each port, as volume at atmospheric pressure"
        out.array(f"{group}/port_flow{end}", point.flows, "m3 s-1", f"{flow}, {when}")
    out.texts(f"{group}/port_state", on.states, "what holds each port")
    riser = np.array([on.riser_vacuums.get(name, np.nan) for name in on.port_names])
    out.array(f"{group}/riser_vacuum", riser, "Pa", "vacuum in the pipe just past each pit")
    out.file[group].attrs.update(_scalars(condition))


def _scalars(condition: ConditionResult) -> dict[str, Any]:
    on, opening = condition.operating_point, condition.opening
    shares = {"area": condition.coverage_area, "perimeter": condition.coverage_perimeter}
    found: dict[str, Any] = {
        "name": condition.name,
        "outdoor_pressure_Pa": condition.outdoor_pressure,
        "worst_margin_Pa": condition.worst.margin,
        "worst_at_m": [condition.worst.x, condition.worst.y],
        "passes": condition.passes,
        "fan_flow_m3s": on.fan_flow,
        "fan_static_Pa": on.fan_static,
        "fan_power_W": np.nan if on.fan_power is None else on.fan_power,
        "soil_gas_entry_fan_on_m3s": condition.house_on.from_soil,
        "soil_gas_entry_fan_off_m3s": condition.house_off.from_soil,
        "air_from_house_m3s": condition.house_on.into_soil,
        "air_from_outdoors_m3s": condition.outdoors_on.into_soil,
        "operating_point_residual_Pa": on.residual,
    }
    if condition.baseline is not None:
        found["soil_gas_entry_before_digging_m3s"] = condition.baseline.house.from_soil
    for what, by_threshold in shares.items():
        for threshold, share in by_threshold.items():
            found[f"coverage_{what}_{threshold:g}Pa"] = share
    if opening is not None:
        found["worst_opening_name"] = opening.name
        found["worst_opening_pressure_Pa"] = opening.pressure
        found["worst_opening_at_m"] = [opening.x, opening.y]
    return found


def _field(solution: SoilSolution, condition: ConditionResult, atm: float) -> NDArray[np.float64]:
    """Pressure in every cell, shape of the grid; NaN where no air moves. [Pa]"""
    soil, node = solution.soil, solution.network.cell_node
    field = np.full(soil.grid.shape, np.nan)
    field[node >= 0] = pressure_from_u(condition.node_u[node[node >= 0]], atm)
    for body in range(len(soil.held)):
        pressure = condition.operating_point.pressures[soil.body_port(body)]
        field[soil.cavity == body] = pressure
    return field


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
        It is missing, cut short, damaged, or was not written by soilflow.
    """
    import h5py

    again = 'run the case again with "soilflow run CASE"'
    try:
        with open(path, "rb") as plain:
            if plain.read(len(SIGNATURE)) != SIGNATURE:
                raise ResultFileError(f'"{path}" is no result file; {again} to make one')
        with h5py.File(path, "r") as file:
            if file.attrs.get("format") != _FORMAT:
                raise ResultFileError(f'"{path}" is an HDF5 file, but not of soilflow; {again}')
            if file.attrs["format_version"] > _FORMAT_VERSION:
                raise ResultFileError(f'"{path}" is of a newer soilflow; update, or {again}')
            stored = _stored(h5py, file)
    except FileNotFoundError:
        raise ResultFileError(f'"{path}": there is no such file') from None
    except IsADirectoryError:
        raise ResultFileError(f'"{path}" is a folder; name the result file in it') from None
    except (OSError, KeyError, RuntimeError, UnicodeDecodeError) as error:
        raise ResultFileError(f'"{path}" is cut short or damaged ({error}); {again}') from error
    if _hash(stored.case_text) != stored.case_sha256:
        raise ResultFileError(f'"{path}": the case text in it was changed afterwards; {again}')
    return stored


def _stored(h5py: Any, file: Any) -> StoredResult:
    arrays: dict[str, NDArray[Any]] = {}
    units: dict[str, str] = {}
    attributes: dict[str, dict[str, Any]] = {}

    def visit(path: str, item: Any) -> None:
        if isinstance(item, h5py.Group):
            if item.attrs:
                attributes[path] = dict(item.attrs)
        elif "units" in item.attrs:
            arrays[path] = item[()]
            units[path] = str(item.attrs["units"])
        elif item.shape:
            arrays[path] = item.asstr()[()]

    file.visititems(visit)
    return StoredResult(
        case_text=file["case"].asstr()[()],
        case_sha256=file["case"].attrs["sha256"],
        **{name: str(file.attrs[name]) for name in _WHAT},
        notes=tuple(arrays.pop("notes").tolist()),
        versions=attributes.pop("versions"),
        attributes=attributes,
        arrays=arrays,
        units=units,
    )
