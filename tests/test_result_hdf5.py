import getpass
import hashlib
import platform
import socket
import sys
import time
from dataclasses import replace

import h5py
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from tiny_house import FIRST, SECOND, TEXT, house, solved

from soilflow.errors import InputError, ResultFileError
from soilflow.files import result_hdf5
from soilflow.files.job import read_job
from soilflow.files.result_hdf5 import read_result, write_result
from soilflow.run import run_layout


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    path = tmp_path_factory.mktemp("results") / "house.h5"
    write_result(solved(), house(), TEXT, path)
    return path


@pytest.fixture(scope="module")
def stored(path):
    return read_result(path)


def test_the_case_comes_back_word_for_word(stored):
    assert stored.case_text == TEXT
    assert stored.case_sha256 == hashlib.sha256(TEXT.encode("utf-8")).hexdigest()
    assert (stored.title, stored.layout, stored.variant) == ("Small test house", FIRST, "")
    assert (stored.resolution, stored.engine, stored.seed) == ("coarse", "soilflow", "none")


def test_versions_are_those_at_work(stored):
    assert stored.versions["numpy"] == np.__version__
    assert stored.versions["h5py"] == h5py.__version__
    assert stored.versions["python"] == ".".join(map(str, sys.version_info[:3]))
    assert stored.versions["hdf5"] == h5py.version.hdf5_version
    assert stored.versions["machine"] == platform.machine()
    assert set(stored.versions) >= {"soilflow", "scipy", "pyamg", "system"}
    assert "fipy" not in stored.versions


def test_fipy_is_named_where_it_did_the_work(tmp_path):
    write_result(solved(), house(), TEXT, tmp_path / "a.h5", engine="fipy")
    assert read_result(tmp_path / "a.h5").versions["fipy"][0].isdigit()


def test_the_file_does_not_say_whose_it_is(path, stored):
    """No user, no host, no folder; what is there is found by the same look."""
    said = set(stored.versions.values()) | {stored.title, stored.engine, stored.seed}
    assert said.isdisjoint({getpass.getuser(), socket.gethostname()})
    assert platform.machine() in said
    assert str(path.parent).encode() not in path.read_bytes()
    assert platform.machine().encode() in path.read_bytes()


def test_notes_and_variant_come_back(tmp_path):
    result = replace(solved(SECOND, "tight_joint"), notes=("one", "zwei: ü"))
    write_result(result, house("tight_joint"), TEXT, tmp_path / "a.h5", engine="fipy")
    stored = read_result(tmp_path / "a.h5")
    assert stored.notes == ("one", "zwei: ü")
    assert (stored.layout, stored.variant, stored.engine) == (SECOND, "tight_joint", "fipy")


def test_arrays_are_those_of_the_result(stored):
    result, arrays = solved(), stored.arrays
    soil = result.solution.soil
    assert arrays["port"].tolist() == list(soil.ports)
    assert_array_equal(arrays["ports/port_matrix"], result.solution.response.port_matrix)
    assert_array_equal(arrays["ports/face_matrix"], result.solution.response.face_matrix)
    assert_array_equal(arrays["soil/permeability_horizontal"], soil.horizontal)
    assert_array_equal(arrays["soil/permeability_vertical"], soil.vertical)
    for axis, name in enumerate("xyz"):
        assert_array_equal(arrays[f"{name}_edges"], soil.grid.edges[axis])
        assert_array_equal(arrays[name], soil.grid.centres(axis))
    floor = result.conditions["today"].floor
    assert_array_equal(arrays["floor/under_slab"], floor.floor)
    assert arrays["floor/under_slab"].dtype == bool
    assert_array_equal(arrays["floor_x_edges"], floor.x)
    for name, condition in result.conditions.items():
        group = f"conditions/{name}"
        assert_array_equal(arrays[f"{group}/floor_pressure"], condition.floor.pressure)
        before = condition.baseline.floor.pressure
        assert_array_equal(arrays[f"{group}/floor_pressure_before_digging"], before)
        assert_array_equal(arrays[f"{group}/port_flow"], condition.operating_point.flows)
        covered = dict(zip(arrays["threshold"], arrays[f"{group}/coverage_area"], strict=True))
        assert covered == condition.coverage_area
        assert arrays[f"{group}/worst_margin"] == condition.worst.margin
        assert arrays[f"{group}/opening"] == condition.opening.name
        assert bool(arrays[f"{group}/passes"]) == condition.passes


def test_unit_fields_recombine_to_the_pressure(stored):
    """u = sum over ports of unit field times port u, and p + p^2/(2 p_atm) = u."""
    arrays = stored.arrays
    port_pressure = arrays["conditions/today/port_pressure"]
    total = 0.0
    for name, pressure in zip(arrays["port"], port_pressure, strict=True):
        field = arrays[f"unit_fields/{name}/unit_field"]
        total = total + field * (pressure + pressure**2 / (2 * 101325.0))
    p = arrays["conditions/today/pressure"]
    assert_allclose(p + p**2 / (2 * 101325.0), total, rtol=1e-9, atol=1e-9)


def test_what_a_condition_lacks_is_no_number(tmp_path):
    today = replace(solved().conditions["today"], opening=None, baseline=None)
    result = replace(solved(), conditions={"today": today})
    write_result(result, house(), TEXT, tmp_path / "a.h5")
    arrays = read_result(tmp_path / "a.h5").arrays
    assert np.isnan(arrays["conditions/today/opening_pressure"])
    assert np.isnan(arrays["conditions/today/entry_before_digging"])
    assert arrays["conditions/today/opening"] == ""
    assert "conditions/today/floor_pressure_before_digging" not in arrays


def test_the_file_alone_tells_how_the_solve_went(stored):
    arrays, response = stored.arrays, solved().solution.response
    assert arrays["solver/mass_balance"] <= 1e-8
    assert arrays["solver/partition_of_unity"] <= 1e-6
    assert arrays["solver/iterations"].tolist() == [r.iterations for r in response.reports]
    assert arrays["solver/residual"].tolist() == [r.residual for r in response.reports]
    assert len(arrays["solver/residual"]) == len(arrays["port"])
    # two sums of the same flows: over faces, and from the quadratic form
    scale = np.abs(arrays["ports/port_matrix"]).max()
    assert_allclose(arrays["ports/face_matrix"], arrays["ports/port_matrix"], atol=1e-6 * scale)


def test_flows_follow_from_matrix_and_pressures(stored):
    """q = -Y u with u = p + p^2/(2 p_atm), and what enters leaves: from the file alone."""
    pressure = stored.arrays["conditions/design_winter/port_pressure"]
    flow = stored.arrays["conditions/design_winter/port_flow"]
    u = pressure + pressure**2 / (2 * 101325.0)
    assert_allclose(-stored.arrays["ports/port_matrix"] @ u, flow, rtol=1e-9, atol=1e-12)
    assert abs(flow.sum()) < 1e-6 * np.abs(flow).max()


def test_pressure_is_there_where_air_is(stored):
    state = stored.arrays["soil/state"]
    pressure = stored.arrays["conditions/today/pressure"]
    soil, pit = 1, 2
    assert_array_equal(np.isfinite(pressure), np.isin(state, (soil, pit)))
    port = stored.arrays["port"].tolist().index("A")
    held = stored.arrays["conditions/today/port_pressure"][port]
    assert (state == pit).any()
    assert_array_equal(pressure[state == pit], held)
    # the maximum principle: nothing lies outside the pressures at the ports
    ports = stored.arrays["conditions/today/port_pressure"]
    assert np.nanmin(pressure) >= ports.min() - 1e-6
    assert np.nanmax(pressure) <= ports.max() + 1e-6


def datasets(file):
    found = {}
    file.visititems(lambda name, item: found.update({name: item}))
    return {name: item for name, item in found.items() if isinstance(item, h5py.Dataset)}


def test_every_array_says_what_it_is_and_has_all_its_axes(path):
    with h5py.File(path) as file:
        found = datasets(file)
        assert len(found) > 60
        for name, item in found.items():
            assert item.attrs["long_name"], name
            assert ("units" in item.attrs) == (item.dtype.kind in "fiub"), name
            axis = item.attrs.get("CLASS") == b"DIMENSION_SCALE"
            assert axis or all(len(dimension) == 1 for dimension in item.dims), name
        assert sum(item.ndim == 3 for item in found.values()) >= 3 + 2 + 3


def test_fields_carry_their_axes(path):
    with h5py.File(path) as file:
        field = file["conditions/today/pressure"]
        for number, (name, dimension) in enumerate(zip("zyx", field.dims, strict=True)):
            (scale,) = dimension.values()
            assert scale.attrs["units"] == "m"
            assert scale.shape == (field.shape[number],)
            assert scale == file[name] == file["conditions/today"][name]  # links, no copies
        plan = file["conditions/today/floor_pressure"]
        assert [d[0] for d in plan.dims] == [file["floor_y"], file["floor_x"]]
        for name in ("x", "y", "z", "floor_x", "floor_y"):
            centres, edges = file[name], file[file[name].attrs["edges"]]
            assert np.all(np.diff(edges[()]) > 0)
            assert_allclose(centres[()], (edges[1:] + edges[:-1]) / 2)
        assert file["z"].attrs["positive"] == "up"
        assert file["z_edges"][-1] == 0.0  # nothing above the slab underside in this house
        assert file["soil/state"].attrs["flag_meanings"].split()[2] == "pit"


def test_a_run_from_the_file_gives_the_same_bytes(path, tmp_path):
    job = read_job(path)
    layout, variant, grid, engine, bars = job.usual
    assert (variant, grid, engine, bars) == ("", job.case.resolution.name, "soilflow", "")
    again = tmp_path / "again.h5"
    write_result(run_layout(job.case, layout), job.case, job.text, again, engine=engine)
    assert again.read_bytes() == path.read_bytes()


def test_the_same_case_gives_the_same_bytes(path, tmp_path):
    """Also when solved anew and more than a clock's second later."""
    start = time.time()
    with h5py.File(tmp_path / "early.h5", "w") as file:
        file.create_dataset("x", data=1.0, track_times=True)
    again = run_layout(house())
    time.sleep(max(0.0, 1.1 - (time.time() - start)))
    write_result(again, house(), TEXT, tmp_path / "again.h5")
    assert (tmp_path / "again.h5").read_bytes() == path.read_bytes()
    # the comparison does see a clock where there is one
    with h5py.File(tmp_path / "late.h5", "w") as file:
        file.create_dataset("x", data=1.0, track_times=True)
    assert (tmp_path / "early.h5").read_bytes() != (tmp_path / "late.h5").read_bytes()


ODD = ("../a/b", ".", "a:b", "soil", "x")


def test_names_of_conditions_may_hold_slashes_and_dots(tmp_path):
    result = solved()
    odd = {name: replace(result.conditions["today"], name=name) for name in ODD}
    write_result(replace(result, conditions=odd), house(), TEXT, tmp_path / "a.h5")
    stored = read_result(tmp_path / "a.h5")
    assert {name for path, name in stored.members.items() if path.startswith("conditions/")} == set(
        ODD
    )
    for name in ("soil", "x"):  # also names of other groups and axes
        assert f"conditions/{name}/pressure" in stored.arrays


def test_trouble_while_writing_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "house.h5"
    path.write_text("old")

    def full(*_):
        raise OSError("no space left on device")

    monkeypatch.setattr(result_hdf5, "link_for_viewers", full)
    with pytest.raises(OSError, match="no space"):
        write_result(solved(), house(), TEXT, path, xdmf=tmp_path / "house.xdmf")
    assert [p.name for p in tmp_path.iterdir()] == ["house.h5"]
    assert path.read_text() == "old"


def test_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such folder"):
        write_result(solved(), house(), TEXT, tmp_path / "no" / "a.h5")


def test_what_is_no_file_is_refused(tmp_path):
    with pytest.raises(ResultFileError, match="no such file"):
        read_result(tmp_path / "a.h5")
    with pytest.raises(ResultFileError, match="is a folder"):
        read_result(tmp_path)


def test_text_is_refused(tmp_path):
    (tmp_path / "a.h5").write_text(TEXT)
    with pytest.raises(ResultFileError, match=r"no result file; run the case again"):
        read_result(tmp_path / "a.h5")


def test_a_foreign_hdf5_file_is_refused(tmp_path):
    with h5py.File(tmp_path / "a.h5", "w") as file:
        file["pressure"] = np.zeros(3)
    with pytest.raises(ResultFileError, match="not of soilflow"):
        read_result(tmp_path / "a.h5")


@pytest.mark.parametrize("kept", [0.02, 0.3, 0.9, 0.999])
def test_a_file_cut_short_is_refused(path, tmp_path, kept):
    whole = path.read_bytes()
    (tmp_path / "a.h5").write_bytes(whole[: int(kept * len(whole))])
    with pytest.raises(ResultFileError, match=r"cut short or damaged.*run the case again"):
        read_result(tmp_path / "a.h5")


def test_a_missing_part_is_noticed(path, tmp_path):
    (tmp_path / "a.h5").write_bytes(path.read_bytes())
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        del file["case"]
    with pytest.raises(ResultFileError, match="damaged"):
        read_result(tmp_path / "a.h5")


def test_a_changed_case_text_is_noticed(path, tmp_path):
    (tmp_path / "a.h5").write_bytes(path.read_bytes())
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        file["case"][()] = TEXT.replace("12 ft", "13 ft")
    with pytest.raises(ResultFileError, match="changed afterwards"):
        read_result(tmp_path / "a.h5")


def test_a_newer_file_is_refused(path, tmp_path):
    (tmp_path / "a.h5").write_bytes(path.read_bytes())
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        file.attrs["format_version"] = 1_000
    with pytest.raises(ResultFileError, match="newer soilflow"):
        read_result(tmp_path / "a.h5")


def test_an_older_file_is_refused(path, tmp_path):
    (tmp_path / "a.h5").write_bytes(path.read_bytes())
    with h5py.File(tmp_path / "a.h5", "r+") as file:
        file.attrs["format_version"] = 1
    with pytest.raises(ResultFileError, match=r"older soilflow.*run the case again"):
        read_result(tmp_path / "a.h5")
