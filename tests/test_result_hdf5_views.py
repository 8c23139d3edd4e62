"""What viewers get from a result file: read back by VTK itself, and without a second copy."""

from dataclasses import replace
from xml.etree import ElementTree

import h5py
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from tiny_house import TEXT, house, solved
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import reference
from vtkmodules.vtkIOHDF import vtkHDFReader
from vtkmodules.vtkIOXdmf2 import vtkXdmfReader

from soilflow.air import pressure_from_u
from soilflow.errors import InputError, ResultFileError
from soilflow.files import result_hdf5
from soilflow.files.result_hdf5 import write_result
from soilflow.files.result_views import write_xdmf

PRESSURE = "pressure today [Pa]"


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("results") / "my house.h5"
    write_result(solved(), house(), TEXT, path, xdmf=path.with_suffix(".xdmf"))
    return path


def read(reader, path):
    reader.SetFileName(str(path))
    reader.Update()
    return reader.GetOutputDataObject(0)


@pytest.fixture(scope="module", params=["vtkhdf", "xdmf"])
def grid(request, path):
    """The grid as a viewer gets it, from either file."""
    if request.param == "vtkhdf":
        return read(vtkHDFReader(), path)
    return read(vtkXdmfReader(), path.with_suffix(".xdmf"))


def arrays(grid):
    data = grid.GetCellData()
    return {
        data.GetArrayName(i): vtk_to_numpy(data.GetArray(i))
        for i in range(data.GetNumberOfArrays())
    }


def test_the_grid_stands_the_right_way_up(grid):
    edges = solved().solution.soil.grid
    assert grid.GetClassName() == "vtkRectilinearGrid"
    assert grid.GetBounds() == (
        edges.x[0],
        edges.x[-1],
        edges.y[0],
        edges.y[-1],
        -edges.z[-1],
        -edges.z[0],
    )
    for axis in "XYZ":
        places = vtk_to_numpy(getattr(grid, f"Get{axis}Coordinates")())
        assert np.all(np.diff(places) > 0)


def test_cells_have_volume_and_fill_the_box(grid):
    volumes = []
    for cell in range(grid.GetNumberOfCells()):
        x0, x1, y0, y1, z0, z1 = grid.GetCell(cell).GetBounds()
        volumes.append((x1 - x0) * (y1 - y0) * (z1 - z0))
    assert min(volumes) > 0
    x0, x1, y0, y1, z0, z1 = grid.GetBounds()
    assert_allclose(sum(volumes), (x1 - x0) * (y1 - y0) * (z1 - z0))


def test_every_field_is_there(grid):
    soil = solved().solution.soil
    assert set(arrays(grid)) == {
        "state",
        "permeability horizontal [m2]",
        "permeability vertical [m2]",
        *(f"pressure {name} [Pa]" for name in solved().conditions),
        *(f"unit field {name}" for name in soil.ports),
    }
    for values in arrays(grid).values():
        assert values.shape == (soil.grid.cells,)


def cell_at(grid, x, y, z):
    return grid.FindCell((x, y, z), None, -1, 0.0, reference(0), [0.0] * 3, [0.0] * 8)


def test_cells_found_by_place_hold_their_values(grid):
    """A viewer's search by place, against node numbers: in, beside, below and far from a pit."""
    result = solved()
    soil, node = result.solution.soil, result.solution.network.cell_node
    today = result.conditions["today"]
    x, y, z = (soil.grid.centres(axis) for axis in range(3))
    i, j, k = np.argwhere(soil.cavity == 0)[-1]  # the pit's far lower corner
    beside, below, far = (i + 1, j, k), (i, j, k + 1), (0, 0, len(z) - 1)
    values, level = arrays(grid), {}
    for where in (beside, below, far):
        a, b, c = where
        cell = cell_at(grid, x[a], y[b], -z[c])
        level[where] = values[PRESSURE][cell]
        u = today.node_u[node[where]]
        assert level[where] == pressure_from_u(u, result.air.pressure_atm)
        assert values["permeability vertical [m2]"][cell] == soil.vertical[where]
        assert values["state"][cell] == 1
    pit = cell_at(grid, x[i], y[j], -z[k])
    held = today.operating_point.pressures[soil.body_port(0)]
    assert values[PRESSURE][pit] == held
    assert values["state"][pit] == 2
    assert values["unit field A"][pit] == 1.0
    # suction fades away from the pit
    assert held < level[beside] < level[far]


def test_the_view_is_links_and_no_copy(path, tmp_path, monkeypatch):
    with h5py.File(path) as file:
        view = file["VTKHDF"]
        pairs = [
            ("CellData/state", "soil/state"),
            ("CellData/permeability horizontal [m2]", "soil/permeability_horizontal"),
            ("CellData/permeability vertical [m2]", "soil/permeability_vertical"),
            ("CellData/pressure today [Pa]", "conditions/today/pressure"),
            ("CellData/unit field A", "unit_fields/A/unit_field"),
            *((f"{axis.upper()}Coordinates", f"{axis}_edges") for axis in "xyz"),
        ]
        for shown, own in pairs:
            link = view.get(shown, getlink=True)
            assert isinstance(link, h5py.HardLink), shown
            address = h5py.h5o.get_info(view[shown].id).addr
            assert address == h5py.h5o.get_info(file[own].id).addr, shown
        assert len(view["CellData"]) == 3 + len(solved().conditions) + 3
    monkeypatch.setattr(result_hdf5, "link_for_viewers", lambda *_: None)
    write_result(solved(), house(), TEXT, tmp_path / "bare.h5")
    grown = path.stat().st_size - (tmp_path / "bare.h5").stat().st_size
    assert 0 < grown < 10_000


def test_the_view_says_what_the_format_asks_for(path):
    """VTKHDF file format: version, type and size; cells are one fewer than points."""
    with h5py.File(path) as file:
        said = file["VTKHDF"].attrs
        assert said["Version"].tolist() == [2, 7]
        assert said["Type"] == b"RectilinearGrid"
        cells = solved().solution.soil.grid.shape
        assert said["Dimensions"].tolist() == [n + 1 for n in cells]
        assert said["WholeExtent"].tolist() == [0, cells[0], 0, cells[1], 0, cells[2]]
        assert file["VTKHDF/CellData/state"].shape == cells[::-1]


def test_xdmf_points_to_what_is_there(path):
    root = ElementTree.parse(path.with_suffix(".xdmf")).getroot()
    items = list(root.iter("DataItem"))
    assert len(items) == 3 + 3 + 2 + 3
    with h5py.File(path) as file:
        for item in items:
            name, _, inside = item.text.partition(":")
            assert name == path.name
            data = file[inside]
            assert item.get("Dimensions") == " ".join(map(str, data.shape))
            kind = {"Float": "f", "UChar": "u"}[item.get("NumberType")]
            assert (data.dtype.kind, str(data.dtype.itemsize)) == (kind, item.get("Precision"))


def test_xdmf_is_written_for_a_file_elsewhere(path, tmp_path):
    (tmp_path / "views").mkdir()
    (tmp_path / "house.h5").write_bytes(path.read_bytes())
    write_xdmf(tmp_path / "house.h5", tmp_path / "views" / "house.xdmf")
    grid = read(vtkXdmfReader(), tmp_path / "views" / "house.xdmf")
    assert_array_equal(arrays(grid)[PRESSURE], arrays(read(vtkHDFReader(), path))[PRESSURE])


def test_xdmf_of_what_is_no_result_is_refused(tmp_path):
    with pytest.raises(ResultFileError, match="no whole result file"):
        write_xdmf(tmp_path / "none.h5", tmp_path / "none.xdmf")
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["x"] = 1.0
    with pytest.raises(ResultFileError, match="no whole result file"):
        write_xdmf(tmp_path / "other.h5", tmp_path / "other.xdmf")
    with pytest.raises(InputError, match="no such folder"):
        write_result(solved(), house(), TEXT, tmp_path / "a.h5", xdmf=tmp_path / "none" / "a.xdmf")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["other.h5"]


def test_odd_names_reach_both_viewers(tmp_path):
    """Signs that mean something in a path, in XML or in a shell."""
    names = ("a:b/c", 'less < & "more"', "Übergang 2")
    today = solved().conditions["today"]
    result = replace(solved(), conditions={n: replace(today, name=n) for n in names})
    path = tmp_path / "a.h5"
    write_result(result, house(), TEXT, path, xdmf=tmp_path / "a.xdmf")
    plain = arrays(read(vtkHDFReader(), path))
    assert sum(name.startswith("pressure ") for name in plain) == len(names)
    old = arrays(read(vtkXdmfReader(), tmp_path / "a.xdmf"))
    assert set(old) == set(plain)
    for name, values in plain.items():
        assert_array_equal(old[name], values, err_msg=name)
