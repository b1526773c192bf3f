"""What was measured is kept by content: nothing is measured twice, and nothing changed is passed over."""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from sagglab.book import open_book
from sagglab.columns import MEASURES
from sagglab.measures import kept, measure_photos, task
from sagglab.measures.kept import PLACE, Digests
from sagglab.measures.reviews import Reviews
from sagglab.photo.measure import measure_photo
from sagglab.photo.measuring import Measuring


@pytest.fixture(scope="module")
def measured(demo):
    """One photograph, measured; it stands for all."""
    return measure_photo(demo / "photos/p01-front.jpg", demo / "targets/studio-target.csv")


@pytest.fixture
def asked(measured, monkeypatch, tmp_path):
    """Names of the photographs that were measured since; nothing is kept from before."""
    names = []

    def measure(path, **how):
        names.append(Path(path).name)
        return replace(measured, path=str(path))

    monkeypatch.setattr(task, "measure_photo", measure)
    monkeypatch.setenv(PLACE, str(tmp_path / "kept"))
    return names


@pytest.fixture
def folder(small_book, tmp_path):
    """A copy of the small book, with the photographs of p01, their flat field, and one of the target."""
    folder = tmp_path / "book"
    shutil.copytree(small_book, folder)
    photos = pd.read_csv(folder / "photos.csv", dtype=str)
    photos = photos[photos["pot"].eq("p01") | photos["photo"].str.contains("phone-")]
    photos.to_csv(folder / "photos.csv", index=False)
    # Files that were written a moment ago are not taken to be settled; these are.
    for path in folder.rglob("*"):
        os.utime(path, (1e9, 1e9))
    return folder


EACH = ["phone-target-1.jpg", "p01-front.jpg", "p01-back.jpg"]


def run(folder, **how):
    return measure_photos(open_book(folder), jobs=1, **how)


def test_nothing_is_measured_twice(folder, asked):
    first = run(folder)
    assert sorted(asked) == sorted(EACH)
    asked.clear()
    pd.testing.assert_frame_equal(run(folder), first)
    assert asked == []


def test_what_was_changed_is_measured_again(folder, asked, demo):
    run(folder)
    asked.clear()
    shutil.copy(demo / "photos/p02-front.jpg", folder / "photos/p01-front.jpg")
    run(folder)
    assert asked == ["p01-front.jpg"]


def test_a_change_of_the_same_size_and_time_is_seen(folder, asked):
    run(folder)
    asked.clear()
    path = folder / "photos/p01-back.jpg"
    content = bytearray(path.read_bytes())
    content[-3] ^= 1
    path.write_bytes(content)
    os.utime(path, (1e9, 1e9))
    run(folder)
    assert asked == ["p01-back.jpg"]


def test_a_photograph_under_another_name_is_known(folder, asked):
    before = run(folder)
    asked.clear()
    (folder / "photos/p01-front.jpg").rename(folder / "photos/first.jpg")
    photos = (folder / "photos.csv").read_text().replace("p01-front.jpg", "first.jpg")
    (folder / "photos.csv").write_text(photos)
    table = run(folder)
    assert asked == []
    assert table["L*"].tolist() == before["L*"].tolist()
    assert "photos/first.jpg" in table["photo"].tolist()


@pytest.mark.parametrize(
    ("table", "column", "value", "again"),
    [
        ("photos", "target corners", "1 1; 90 1; 90 60; 1 60", ["p01-front.jpg"]),
        ("photos", "pot outline", "1 1; 90 1; 90 60; 1 60", ["p01-front.jpg"]),
        ("pots", "height [cm]", "25", ["p01-back.jpg", "p01-front.jpg"]),
    ],
)
def test_what_the_book_says_anew_is_measured_anew(folder, asked, table, column, value, again):
    run(folder)
    asked.clear()
    rows = pd.read_csv(folder / f"{table}.csv", dtype=str).astype(object)
    key = "photo" if table == "photos" else "pot"
    rows.loc[rows[key].str.contains("p01") & ~rows[key].str.contains("back"), column] = value
    rows.to_csv(folder / f"{table}.csv", index=False)
    run(folder)
    assert sorted(asked) == again


@pytest.mark.parametrize("name", ["targets/studio-target.csv", "photos/phone-flat.jpg"])
def test_another_target_table_or_flat_field_measures_all_again(folder, asked, name, demo):
    run(folder)
    asked.clear()
    path = folder / name
    if name.endswith("csv"):
        path.write_text(path.read_text().replace("37.819", "37.9"))
    else:
        shutil.copy(demo / "photos/camera-flat.jpg", path)
    run(folder)
    assert sorted(asked) == sorted(EACH)


def test_another_band_or_other_code_measures_all_again(folder, asked, monkeypatch):
    run(folder)
    asked.clear()
    run(folder, measuring=Measuring(band_degrees=30))
    assert sorted(asked) == sorted(EACH)
    asked.clear()
    monkeypatch.setattr(task, "code_version", lambda: "of another day")
    run(folder)
    assert sorted(asked) == sorted(EACH)


def test_asked_to_it_measures_afresh(folder, asked):
    run(folder)
    asked.clear()
    run(folder, afresh=True)
    assert sorted(asked) == sorted(EACH)


def test_a_measure_of_the_users_own_is_always_asked(folder, asked):
    measuring = Measuring(own=(lambda lab, weights, surface_map: {"area": weights.sum()},))
    run(folder, measuring=measuring)
    asked.clear()
    run(folder, measuring=measuring)
    assert sorted(asked) == sorted(EACH)


def test_an_interrupted_run_goes_on_where_it_stopped(folder, asked, monkeypatch):
    measure, count = task.measure_photo, iter(range(9))

    def interrupted(path, **how):
        if next(count) == 2:
            raise KeyboardInterrupt
        return measure(path, **how)

    monkeypatch.setattr(task, "measure_photo", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run(folder)
    done = list(asked)
    assert len(done) == 2
    run(folder)
    assert sorted(asked) == sorted(EACH)


def test_failures_are_kept_too(folder, asked, monkeypatch):
    (folder / "photos/p01-back.jpg").write_bytes(b"no photograph")
    monkeypatch.undo()
    monkeypatch.setenv(PLACE, str(folder.parent / "kept"))
    first = run(folder)
    assert first["problems"].str.contains("JPEG|photograph|picture").any()
    pd.testing.assert_frame_equal(run(folder), first)


def test_pictures_are_kept_with_the_measures(folder, asked, tmp_path):
    drawn = []

    def draw(measured):
        drawn.append(measured.path)
        return {".jpg": Path(measured.path).name.encode()}

    def reviews(name, version="1"):
        return Reviews(tmp_path / name, draw, lambda book, table, reviews: sheets.append(len(table)), version)

    sheets = []
    run(folder, reviews=reviews("first"))
    assert len(drawn) == 3 and len(asked) == 3
    run(folder, reviews=reviews("second"))
    assert len(drawn) == 3 and sheets == [3, 3]
    first, second = (sorted((tmp_path / name).iterdir()) for name in ("first", "second"))
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
    run(folder, reviews=reviews("third", version="2"))
    assert len(drawn) == 6


def test_where_nothing_can_be_kept_all_is_measured_each_time(folder, asked, monkeypatch, tmp_path):
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv(PLACE, str(tmp_path / "file"))
    run(folder)
    asked.clear()
    assert len(run(folder)) == 3
    assert sorted(asked) == sorted(EACH)


def test_a_file_is_read_once_until_it_changes(tmp_path, monkeypatch):
    monkeypatch.setenv(PLACE, str(tmp_path / "kept"))
    path = tmp_path / "file"
    path.write_bytes(b"content")
    os.utime(path, (1e9, 1e9))
    monkeypatch.setattr(kept.time, "time_ns", lambda: path.stat().st_ctime_ns + 60_000_000_000)
    digests = Digests()
    first = digests(path)
    digests.keep()
    monkeypatch.setattr(kept.hashlib, "file_digest", None)  # would fail if it were asked
    assert Digests()(path) == first


def test_a_file_of_this_moment_is_not_taken_to_be_settled(tmp_path, monkeypatch):
    monkeypatch.setenv(PLACE, str(tmp_path / "kept"))
    path = tmp_path / "file"
    path.write_bytes(b"content")
    digests = Digests()
    first = digests(path)
    digests.keep()
    assert not (tmp_path / "kept/digests.json").exists()
    path.write_bytes(b"CONTENT")
    assert Digests()(path) != first


@pytest.mark.parametrize("content", ["", "[1, 2]", "{", "null"])
def test_damaged_notes_are_made_anew(tmp_path, monkeypatch, content):
    monkeypatch.setenv(PLACE, str(tmp_path))
    (tmp_path / "digests.json").write_text(content)
    assert Digests()(Path(__file__))


def test_columns_are_those_declared(folder, asked):
    assert run(folder).columns.tolist() == [column.heading for column in MEASURES]
