import hashlib
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
    assert (stored.resolution, stored.engine) == ("coarse", "soilflow")


def test_versions_are_those_at_work(stored):
    assert stored.versions["numpy"] == np.__version__
    assert stored.versions["h5py"] == h5py.__version__
    assert stored.versions["python"] == ".".join(map(str, sys.version_info[:3]))
    assert set(stored.versions) >= {"soilflow", "scipy", "pyamg"}


def test_notes_and_variant_come_back(tmp_path):
    result = replace(solved(SECOND, "tight_joint"), notes=("one", "zwei: ü"))
    write_result(result, house("tight_joint"), TEXT, tmp_path / "a.h5", engine="fipy")
    stored = read_result(tmp_path / "a.h5")
    assert stored.notes == ("one", "zwei: ü")
    assert (stored.layout, stored.variant, stored.engine) == (SECOND, "tight_joint", "fipy")


def test_arrays_are_those_of_the_result(stored):
    result, arrays = solved(), stored.arrays
    soil = result.solution.soil
    assert arrays["ports/name"].tolist() == list(soil.ports)
    assert_array_equal(arrays["ports/matrix"], result.solution.response.port_matrix)
    assert_array_equal(arrays["soil/permeability_horizontal"], soil.horizontal)
    for axis, name in enumerate("xyz"):
        assert_array_equal(arrays[f"grid/{name}_edges"], soil.grid.edges[axis])
    for name, condition in result.conditions.items():
        group = f"conditions/{name}"
        assert_array_equal(arrays[f"{group}/floor_pressure"], condition.floor.pressure)
        assert_array_equal(arrays[f"{group}/port_flow"], condition.operating_point.flows)
        assert stored.attributes[group]["coverage_area_1Pa"] == condition.coverage_area[1.0]
        assert stored.attributes[group]["worst_margin_Pa"] == condition.worst.margin


def test_the_file_alone_tells_how_the_solve_went(stored):
    solver = stored.attributes["solver"]
    assert solver["mass_balance"] <= 1e-8
    assert solver["partition_of_unity"] <= 1e-6
    assert len(solver["iterations"]) == len(solver["residuals"]) == len(stored.arrays["ports/name"])


def test_flows_follow_from_matrix_and_pressures(stored):
    """q = -Y u with u = p + p^2/(2 p_atm), and what enters leaves: from the file alone."""
    pressure = stored.arrays["conditions/design_winter/port_pressure"]
    flow = stored.arrays["conditions/design_winter/port_flow"]
    u = pressure + pressure**2 / (2 * 101325.0)
    assert_allclose(-stored.arrays["ports/matrix"] @ u, flow, rtol=1e-9, atol=1e-12)
    assert abs(flow.sum()) < 1e-6 * np.abs(flow).max()


def test_pressure_is_there_where_air_is(stored):
    state = stored.arrays["soil/state"]
    pressure = stored.arrays["conditions/today/pressure"]
    soil, pit = 1, 2
    assert_array_equal(np.isfinite(pressure), np.isin(state, (soil, pit)))
    port = stored.arrays["ports/name"].tolist().index("A")
    held = stored.arrays["conditions/today/port_pressure"][port]
    assert (state == pit).any()
    assert_array_equal(pressure[state == pit], held)
    # the maximum principle: nothing lies outside the pressures at the ports
    ports = stored.arrays["conditions/today/port_pressure"]
    assert np.nanmin(pressure) >= ports.min() - 1e-6
    assert np.nanmax(pressure) <= ports.max() + 1e-6


def test_every_number_says_what_it_is(path):
    seen = []

    def look(name, item):
        if isinstance(item, h5py.Dataset):
            assert item.attrs["long_name"], name
            if item.dtype.kind in "fiub":
                assert item.attrs["units"], name
                seen.append(name)

    with h5py.File(path) as file:
        file.visititems(look)
    assert len(seen) > 20


def test_fields_carry_their_axes(path):
    with h5py.File(path) as file:
        field = file["conditions/today/pressure"]
        assert [dimension.label for dimension in field.dims] == ["x", "y", "z"]
        for number, dimension in enumerate(field.dims):
            (scale,) = dimension.values()
            assert scale.attrs["units"] == "m"
            assert scale.shape == (field.shape[number],)
        plan = file["conditions/today/floor_pressure"]
        assert [scale.name for d in plan.dims for scale in d.values()] == ["/floor/x", "/floor/y"]
        x, edges = file["grid/x"][()], file["grid/x_edges"][()]
        assert_allclose(x, (edges[1:] + edges[:-1]) / 2)
        assert file["soil/state"].attrs["flag_meanings"].split()[2] == "pit"


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


def test_names_of_conditions_may_hold_slashes_and_dots(tmp_path):
    result = solved()
    odd = {name: replace(result.conditions["today"], name=name) for name in ("../a/b", ".")}
    write_result(replace(result, conditions=odd), house(), TEXT, tmp_path / "a.h5")
    stored = read_result(tmp_path / "a.h5")
    named = {a["name"] for key, a in stored.attributes.items() if key.startswith("conditions/")}
    assert named == {"../a/b", "."}


def test_trouble_while_writing_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "house.h5"
    path.write_text("old")

    def full(*_):
        raise OSError("no space left on device")

    monkeypatch.setattr(result_hdf5, "_write_ports", full)
    with pytest.raises(OSError, match="no space"):
        write_result(solved(), house(), TEXT, path)
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
