"""The two labelled views of a result: from memory, and from its file by any netCDF reader."""

import builtins
import functools
import subprocess
import sys
import warnings
from dataclasses import replace

import numpy as np
import pytest
import xarray
from numpy.testing import assert_array_equal
from tiny_house import TEXT, house, solved

from soilflow.air import pressure_from_u
from soilflow.errors import SoilflowError
from soilflow.files.case_toml import parse_case
from soilflow.files.result_hdf5 import write_result
from soilflow.run import run_layout

GAP = """
[[gaps]]
name = "settled"
aperture = "2 mm"
size = "5 ft x 5 ft"
at = ["6 ft", "4 ft"]

"""


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("results") / "house.h5"
    write_result(solved(), house(), TEXT, path)
    return path


@functools.cache
def data():
    return solved().to_xarray()


def group(path, name=None):
    """One group as a data set; a warning, such as one about an axis, is a failure."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with xarray.open_dataset(path, engine="h5netcdf", group=name) as found:
            return found.load()


def test_fields_are_those_of_the_result_with_z_up():
    """Cell by cell through the node numbers, at the same place on axes that run the other way."""
    result, fields = solved(), data()
    soil, node = result.solution.soil, result.solution.network.cell_node
    assert fields.pressure.dims == ("condition", "z", "y", "x")
    assert fields.pressure.attrs["units"] == "Pa"
    assert_array_equal(fields.z, -soil.grid.centres(2)[::-1])
    rng = np.random.default_rng(5)
    cells = rng.permutation(np.argwhere(node >= 0))[:50]
    u = result.conditions["design_winter"].node_u
    for i, j, k in cells:
        here = {
            "x": soil.grid.centres(0)[i],
            "y": soil.grid.centres(1)[j],
            "z": -soil.grid.centres(2)[k],
        }
        found = fields.pressure.sel(condition="design_winter", **here)
        assert found == pressure_from_u(u[node[i, j, k]], result.air.pressure_atm)
        assert fields.permeability_vertical.sel(here) == soil.vertical[i, j, k]
        for port, name in enumerate(soil.ports):
            unit_field = result.solution.response.unit_fields[port, node[i, j, k]]
            assert fields.unit_field.sel(port=name, **here) == unit_field


def test_everything_there_has_unit_and_long_name():
    fields = data()
    assert len(fields.data_vars) > 40
    for name, array in fields.variables.items():
        if name == "condition":
            continue  # its values are the names themselves
        assert array.attrs["long_name"], name
        assert ("units" in array.attrs) == (array.dtype.kind in "fiub"), name
    assert fields.attrs["layout"] == solved().layout
    assert (fields.x.attrs["edges"], fields.x_edges.size) == ("x_edges", fields.x.size + 1)


def test_floor_and_states_by_condition():
    fields, today = data(), solved().conditions["today"]
    for name, floor in (
        ("floor_pressure", today.floor),
        ("floor_pressure_fan_off", today.floor_off),
        ("floor_pressure_before_digging", today.baseline.floor),
    ):
        found = fields[name].sel(condition="today")
        assert found.dims == ("floor_y", "floor_x")
        assert_array_equal(found.T, floor.pressure)
    assert fields.fan_flow.sel(condition="today") == today.operating_point.fan_flow
    assert (
        fields.test_hole_pressure.sel(condition="today", test_hole="T1") == (today.test_holes["T1"])
    )


def test_the_gap_has_fields_of_its_own():
    text = TEXT.replace("[pipe]", GAP + "[pipe]")
    result = run_layout(parse_case(text, file="house.toml"))
    fields, node = result.to_xarray(), result.solution.network.sheet_node
    assert (node >= 0).any()
    assert_array_equal(np.isfinite(fields.gap_pressure.sel(condition="today").T), node >= 0)
    assert_array_equal((fields.gap_transmissivity > 0).T, result.solution.soil.sheet > 0)
    total = fields.gap_unit_field.sum("port").values.T[node >= 0]
    np.testing.assert_allclose(total, 1.0, rtol=0, atol=1e-6)  # partition of unity


def test_where_one_condition_lacks_a_state_there_is_no_number():
    conditions = dict(solved().conditions)
    conditions["today"] = replace(conditions["today"], baseline=None)
    fields = replace(solved(), conditions=conditions).to_xarray()
    before = fields.floor_pressure_before_digging
    assert np.isnan(before.sel(condition="today")).all()
    assert np.isfinite(before.sel(condition="design_winter")).any()


def test_writing_into_the_data_set_leaves_the_result_alone():
    fields = solved().to_xarray()
    kept = solved().solution.soil.horizontal.copy()
    fields.permeability_horizontal[:] = -1.0
    fields.port_matrix[:] = 0.0
    assert_array_equal(solved().solution.soil.horizontal, kept)
    assert np.abs(solved().solution.response.port_matrix).max() > 0


def test_the_file_opens_group_by_group_with_named_axes_and_places(path):
    winter = group(path, "conditions/design_winter")
    assert winter.pressure.dims == ("z", "y", "x")
    assert set(winter.pressure.attrs) == {"units", "long_name"}
    assert winter.pressure.attrs["units"] == "Pa"
    assert {"x", "y", "z", "floor_x", "floor_y", "port", "test_hole"} <= set(winter.coords)
    root = group(path)
    assert root.attrs["title"] == "Small test house"
    assert str(root["case"].values) == TEXT
    assert_array_equal(root.z_edges, data().z_edges)


def test_the_file_holds_what_memory_holds(path):
    """Every variable of the data set, found again in the group it is stored in."""
    stored = {}
    for name in (None, "soil", "floor", "ports", "solver", "test_holes"):
        stored |= {n: (v.dims, v) for n, v in group(path, name).variables.items()}
    for axis, above in (("condition", "conditions"), ("port", "unit_fields")):
        names = data()[axis].values
        members = [group(path, f"{above}/{name}") for name in names]
        for n in members[0].data_vars:
            values = np.stack([member[n].values for member in members])
            stored[n] = ((axis, *members[0][n].dims), values)
    assert set(data().variables) - {"condition"} <= set(stored)
    for name, array in data().variables.items():
        if name == "condition":
            continue
        dims, values = stored[name]
        assert dims == array.dims, name
        assert_array_equal(values, array, err_msg=name)


def test_the_file_opens_as_a_tree(path):
    with xarray.open_datatree(path, engine="h5netcdf") as tree:
        today = tree["conditions/today/pressure"]
        assert_array_equal(today, data().pressure.sel(condition="today"))


def test_the_data_set_can_be_saved_and_read_again(tmp_path):
    data().to_netcdf(tmp_path / "house.nc", engine="h5netcdf")
    with xarray.open_dataset(tmp_path / "house.nc", engine="h5netcdf") as again:
        xarray.testing.assert_equal(again, data())
        assert again.gap_pressure.attrs == data().gap_pressure.attrs


def test_without_xarray_the_message_names_what_to_install(monkeypatch):
    real = builtins.__import__

    def missing(name, *rest, **more):
        if name.split(".")[0] == "xarray":
            raise ModuleNotFoundError("No module named 'xarray'")
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", missing)
    with pytest.raises(SoilflowError, match=r'pip install "soilflow\[xarray\]"'):
        solved().to_xarray()


def test_a_result_loads_xarray_only_when_asked():
    code = "import sys, soilflow; soilflow.Result; print('xarray' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
