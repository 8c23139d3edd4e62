import errno
import os
import tempfile

import pytest

from soilflow.errors import InputError
from soilflow.files.atomic import check_folder, replacing


def files(folder):
    return {path.name: path.read_text() for path in folder.iterdir()}


def test_the_new_file_takes_the_place_of_the_old(tmp_path):
    path = tmp_path / "house.h5"
    path.write_text("old")
    with replacing(path) as temporary:
        assert temporary.parent == tmp_path  # a move across disks would not be one step
        assert temporary.suffix == ".h5"
        temporary.write_text("new")
        assert path.read_text() == "old"
    assert files(tmp_path) == {"house.h5": "new"}


@pytest.mark.parametrize("trouble", [OSError("no space left"), KeyboardInterrupt(), KeyError("x")])
def test_trouble_while_writing_leaves_the_old_file(tmp_path, trouble):
    path = tmp_path / "house.h5"
    path.write_text("old")

    def write_half():
        with replacing(path) as temporary:
            temporary.write_text("ha")
            raise trouble

    with pytest.raises(type(trouble)):
        write_half()
    assert files(tmp_path) == {"house.h5": "old"}


def test_trouble_while_moving_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "house.h5"
    path.write_text("old")

    def refuse(*_):
        raise PermissionError("held by another program")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(PermissionError), replacing(path) as temporary:
        temporary.write_text("new")
    assert files(tmp_path) == {"house.h5": "old"}


def test_nothing_written_is_an_error_and_not_an_empty_file(tmp_path):
    with pytest.raises(FileNotFoundError), replacing(tmp_path / "house.h5"):
        pass
    assert files(tmp_path) == {}


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "real.h5").write_text("old")
    link = tmp_path / "link.h5"
    link.symlink_to(tmp_path / "real.h5")
    with replacing(link) as temporary:
        temporary.write_text("new")
    assert link.is_symlink()
    assert (tmp_path / "real.h5").read_text() == "new"


def test_a_missing_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such folder"), replacing(tmp_path / "no" / "a.h5"):
        raise AssertionError("must not get here")


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="is a file"):
        check_folder(tmp_path / "file")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(InputError, match="is a folder"), replacing(tmp_path):
        raise AssertionError("must not get here")


def test_a_folder_that_may_not_be_written_to_is_refused(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    with pytest.raises(InputError, match=r"may not be written to \(Read-only file system\)"):
        check_folder(tmp_path)
    monkeypatch.undo()
    check_folder(tmp_path)
    assert files(tmp_path) == {}  # asking leaves nothing behind
