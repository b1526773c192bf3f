"""Writing a file whole."""

import os
import stat

import pytest

from sagglab.writing import write_whole


def test_text_is_written_as_it_is(tmp_path):
    write_whole(tmp_path / "a.csv", "ä;°C\r\n1\n")
    assert (tmp_path / "a.csv").read_bytes() == "ä;°C\r\n1\n".encode()


def test_bytes_are_written_as_they_are(tmp_path):
    write_whole(tmp_path / "a.pdf", b"%PDF\x00\r\n\xff")
    assert (tmp_path / "a.pdf").read_bytes() == b"%PDF\x00\r\n\xff"


def test_an_old_file_is_replaced_and_nothing_else_is_left(tmp_path):
    write_whole(tmp_path / "a.csv", "old")
    write_whole(tmp_path / "a.csv", "new")
    assert (tmp_path / "a.csv").read_text() == "new"
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_what_goes_wrong_leaves_the_old_file(tmp_path, monkeypatch, step):
    write_whole(tmp_path / "a.csv", "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, full)
    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(tmp_path / "a.csv", "new")
    assert (tmp_path / "a.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]


@pytest.mark.skipif(os.name == "nt", reason="permissions are others there")
def test_permissions_stay(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("old")
    path.chmod(0o640)
    write_whole(path, "new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_a_link_is_followed(tmp_path):
    (tmp_path / "there").mkdir()
    (tmp_path / "there/a.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to(tmp_path / "there/a.csv")
    write_whole(tmp_path / "link.csv", "new")
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "there/a.csv").read_text() == "new"
