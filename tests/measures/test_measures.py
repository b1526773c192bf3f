"""From a small book to measures and results."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PIL import ExifTags, Image

from sagglab.book import open_book
from sagglab.colour import linear_to_srgb, srgb_to_linear
from sagglab.columns import CALIBRATION_MEASURES, FIRING_MEASURES, MEASURES, RESULTS, empty
from sagglab.errors import BookError, TargetError, UnknownNameError
from sagglab.measures import all_readings, gather_results, measure_firings, measure_photos, measure_view
from sagglab.photo.flags import FLAGS


@pytest.fixture(scope="module")
def book(small_book):
    return open_book(small_book)


@pytest.fixture(scope="module")
def measures(book):
    return measure_photos(book, jobs=1)


@pytest.fixture(scope="module")
def results(book, measures):
    return gather_results(book, measures)


@pytest.fixture
def copy(small_book, tmp_path):
    """A copy of the small book, with p01 alone on its photographs."""
    folder = tmp_path / "copy"
    shutil.copytree(small_book, folder)
    photos = pd.read_csv(folder / "photos.csv", dtype=str)
    photos[photos["pot"].eq("p01") | photos["view"].eq("flat")].to_csv(folder / "photos.csv", index=False)
    return folder


def add_photo(folder, name, content, pot="p02"):
    if content is not None:
        (folder / name).write_bytes(content)
    photos = pd.read_csv(folder / "photos.csv", dtype=str)
    photos.loc[len(photos), ["photo", "pot", "view", "setup"]] = [name, pot, "front", "phone"]
    photos.to_csv(folder / "photos.csv", index=False)


def test_one_row_per_view_flats_excepted(book, measures):
    assert measures["photo"].tolist() == [name for name in book.photos["photo"] if "flat" not in name]


def test_columns_and_types_are_those_declared(measures):
    assert measures.dtypes.to_dict() == empty(MEASURES).dtypes.to_dict()


def test_all_views_of_pots_are_measured_without_problems(measures):
    pots = measures[measures["pot"] != ""]
    assert pots["L*"].between(15, 70).all()
    assert (pots["problems"] == "").all()
    assert (pots["fall-off"] == "by the flat field").all()
    assert (pots["calibrated from"] == "").all()
    assert (pots["L* low"] < pots["L*"]).all() and (pots["L*"] < pots["L* high"]).all()


def test_target_alone_is_calibrated_and_no_pot_is_missed(measures):
    row = measures[measures["pot"] == ""].iloc[0]
    assert row["mean ΔE00"] < 3.5
    assert np.isnan(row["L*"])
    assert row["problems"] == ""


def test_flags_stand_by_their_names_and_are_no_problems(measures):
    # The demo's photographs state no profile.
    assert measures["flags"].str.split("; ").str[0].eq("no colour profile").all()


def test_views_are_near_the_truth(measures, demo):
    truth = pd.read_csv(demo / "truth/views.csv").set_index(["pot", "view"])["L*"]
    for row in measures[measures["pot"] != ""].itertuples():
        lightness = measures.loc[row.Index, "L*"]
        assert lightness == pytest.approx(truth[row.pot, row.view], abs=3), row.photo


def test_two_processes_give_what_one_gives(copy, measures):
    shared = measure_photos(open_book(copy), jobs=2)
    alone = measures[measures["pot"] == "p01"].reset_index(drop=True)
    pd.testing.assert_frame_equal(shared, alone)


def test_bad_photographs_keep_their_rows_with_the_reason(copy, demo):
    whole = (demo / "photos/p02-front.jpg").read_bytes()
    add_photo(copy, "photos/truncated.jpg", whole[: len(whole) // 3])
    add_photo(copy, "photos/targetless.jpg", (demo / "photos/camera-flat.jpg").read_bytes())
    book = open_book(copy)
    add_photo(copy, "photos/gone.jpg", whole)
    book_with_all = open_book(copy)
    (copy / "photos/gone.jpg").unlink()
    table = measure_photos(book_with_all, jobs=1).set_index("photo")
    assert len(book.photos) + 1 == len(book_with_all.photos)
    assert table["L*"].notna().sum() == 2
    assert "damaged or cut short" in table.loc["photos/truncated.jpg", "problems"]
    assert "there is no such photograph" in table.loc["photos/gone.jpg", "problems"]
    assert "target" in table.loc["photos/targetless.jpg", "problems"]
    assert table.loc["photos/gone.jpg", "pot"] == "p02"


def test_given_corners_and_outline_of_the_table_are_used(copy):
    photos = pd.read_csv(copy / "photos.csv", dtype=str)
    photos["pot outline"] = photos["pot outline"].astype(object)
    photos.loc[0, "pot outline"] = "700 400; 850 400; 850 550; 700 550"
    photos.to_csv(copy / "photos.csv", index=False)
    found = measure_view(open_book(copy), photos.loc[0, "photo"])
    np.testing.assert_allclose(found.outline.rings[0], [[700, 400], [850, 400], [850, 550], [700, 550]])


def photographed(source, path, cover=None, gains=(1, 1, 1), **exif):
    """Save a photograph again: the target covered by backdrop, channels gained, with other camera data."""
    with Image.open(source) as opened:
        linear, data = srgb_to_linear(np.asarray(opened) / 255), opened.getexif()
    if cover is not None:
        left, top, right, bottom = cover
        linear[top:bottom, left:right] = np.median(linear[:40, :40], axis=(0, 1))
    data.get_ifd(ExifTags.IFD.Exif).update({ExifTags.Base[name].value: value for name, value in exif.items()})
    codes = np.rint(255 * linear_to_srgb(np.clip(linear * gains, 0, 1))).astype(np.uint8)
    Image.fromarray(codes).save(path, exif=data)


#: Around the target in the phone's pictures of the demo.
TARGET = (40, 420, 500, 780)


@pytest.fixture(scope="module")
def lending(small_book, demo, tmp_path_factory):
    """Pots without a target in the frame, among photographs of the target alone on two days."""
    folder = tmp_path_factory.mktemp("lending") / "book"
    shutil.copytree(small_book, folder)
    for name in ("early", "late", "undated"):
        photographed(demo / "photos/p02-front.jpg", folder / f"photos/{name}.png", cover=TARGET)
    shutil.copy(demo / "photos/phone-target-2.jpg", folder / "photos")
    (folder / "photos/empty.png").write_bytes((demo / "photos/phone-flat.jpg").read_bytes())
    rows = [
        ("late.png", "p02", "2026-06-19", ""),
        ("phone-target-1.jpg", "", "2026-04-25 09:58", ""),
        ("early.png", "p02", "2026-04-26", ""),
        ("undated.png", "p02", "", ""),  # by its camera on 2026-04-25, at 10:16
        ("phone-target-2.jpg", "", "", ""),  # by its camera on 2026-06-20
        ("empty.png", "", "2026-06-19", ""),
    ]
    columns = ["photo", "pot", "taken", "target corners"]
    photos = pd.DataFrame(rows, columns=columns).assign(view="front", setup="phone")
    photos.assign(photo="photos/" + photos["photo"]).to_csv(folder / "photos.csv", index=False)
    return open_book(folder)


@pytest.fixture(scope="module")
def lent(lending):
    return measure_photos(lending, jobs=1).set_index("photo")


def test_without_a_target_the_nearest_in_time_serves(lent):
    assert lent["calibrated from"].to_dict() == {
        "photos/late.png": "photos/phone-target-2.jpg",
        "photos/phone-target-1.jpg": "",
        "photos/early.png": "photos/phone-target-1.jpg",
        "photos/undated.png": "photos/phone-target-1.jpg",
        "photos/phone-target-2.jpg": "",
        "photos/empty.png": "",
    }


def test_what_was_borrowed_is_flagged_and_measures_the_pot(lent, measures):
    own = measures.set_index("photo").loc["photos/p02-front.jpg"]
    for name in ("early", "late"):
        row = lent.loc[f"photos/{name}.png"]
        assert "calibrated from another photograph" in row["flags"].split("; ")
        assert row["problems"] == ""
        assert row["L*"] == pytest.approx(own["L*"], abs=1.0)


def test_a_photograph_without_a_pot_borrows_nothing(lent):
    assert "target" in lent.loc["photos/empty.png", "problems"]
    assert np.isnan(lent.loc["photos/empty.png", "mean ΔE00"])


def test_one_view_borrows_as_all_do(lending, lent):
    measured = measure_view(lending, "photos/late.png")
    assert measured.table["calibrated from"].item() == "photos/phone-target-2.jpg"
    assert measured.table["L*"].item() == pytest.approx(lent.loc["photos/late.png", "L*"])


def test_given_corners_are_never_passed_over(lending):
    photos = lending.photos.copy()
    outside = "-900 -900; -400 -900; -400 -600; -900 -600"
    photos.loc[photos["photo"] == "photos/late.png", "target corners"] = outside
    given = replace(lending, photos=photos)
    with pytest.raises(TargetError):
        measure_view(given, "photos/late.png")
    row = measure_photos(given, jobs=1).iloc[0]
    assert np.isnan(row["L*"]) and row["calibrated from"] == ""
    assert row["problems"]


@pytest.fixture(scope="module")
def balanced(small_book, demo, tmp_path_factory):
    """One pot in two balances: the camera set them by itself, but for one photograph."""
    folder = tmp_path_factory.mktemp("balanced") / "book"
    shutil.copytree(small_book, folder)
    source, warm = demo / "photos/p02-front.jpg", (1.06, 1, 0.94)
    for name, gains, mode in (("a", 1, 0), ("b", 1, 0), ("warm", warm, 0), ("fixed", warm, 1)):
        photographed(source, folder / f"photos/{name}.png", gains=np.array(gains) * 0.9, WhiteBalance=mode)
    photographed(source, folder / "photos/bare.png", cover=TARGET, WhiteBalance=0)
    names = [f"photos/{name}.png" for name in ("a", "warm", "b", "fixed", "bare")]
    photos = pd.DataFrame({"photo": names, "pot": "p02", "view": "front", "setup": "phone"})
    photos.loc[len(photos)] = ["photos/phone-target-1.jpg", "", "target", "phone"]
    photos.to_csv(folder / "photos.csv", index=False)
    return open_book(folder)


def test_white_balance_that_the_camera_changed_is_flagged(balanced):
    table = measure_photos(balanced, jobs=1).set_index("photo")
    flagged = table.index[table["flags"].str.contains("white balance")]
    # Without a target of its own, nobody can tell what the balance was.
    assert flagged.tolist() == ["photos/warm.png", "photos/bare.png"]


def test_flags_of_a_pot_are_those_of_the_views_that_were_taken(book, measures):
    views = measures.copy()
    views["flags"] = ""
    views.loc[views["photo"] == "photos/p01-front.jpg", "flags"] = "edited; high ISO"
    views.loc[views["photo"] == "photos/p01-back.jpg", "flags"] = "high ISO; small target"
    views.loc[views["photo"] == "photos/p03-front-camera.jpg", "flags"] = "flash fired"
    flags = gather_results(book, views).set_index("pot")["flags"]
    assert flags.to_dict() == {"p01": "edited; high ISO; small target", "p02": "", "p03": "", "p04": ""}


def test_unknown_photograph(book):
    with pytest.raises(UnknownNameError, match=r"photos/none\.jpg"):
        measure_view(book, "photos/none.jpg")


def test_one_row_per_pot(book, results):
    assert results["pot"].tolist() == book.pots["pot"].tolist()
    assert set(column.heading for column in RESULTS) <= set(results.columns)


def test_colour_of_a_pot_is_the_mean_of_its_views_by_area(measures, results):
    views = measures[measures["pot"] == "p01"]
    row = results[results["pot"] == "p01"].iloc[0]
    assert row["views"] == 2
    assert row["L*"] == pytest.approx(np.average(views["L*"], weights=views["usable share"]))
    assert row["usable share"] == pytest.approx(views["usable share"].sum())
    assert row["L* between views"] == pytest.approx(abs(np.diff(views["L*"])[0]) / np.sqrt(2))


def test_hues_on_both_sides_of_zero_do_not_average_to_their_opposite(book, measures):
    turned = measures.copy()
    turned.loc[turned["pot"] == "p01", "hue angle"] = [6.0, 354.0]
    hue = gather_results(book, turned).set_index("pot").loc["p01", "hue angle"]
    assert min(hue, 360 - hue) == pytest.approx(0, abs=0.5)


def test_setups_are_not_mixed(measures, results):
    phone = measures[(measures["pot"] == "p03") & (measures["setup"] == "phone")]
    row = results[results["pot"] == "p03"].iloc[0]
    assert (measures["pot"] == "p03").sum() == 2
    assert (row["setup"], row["views"]) == ("phone", 1)
    assert row["L*"] == pytest.approx(phone["L*"].item())


def test_pot_without_photographs_is_blank(results):
    row = results[results["pot"] == "p04"].iloc[0]
    assert row["state"] == "lost"
    assert np.isnan(row["L*"])
    assert (row["setup"], row["views"]) == ("", 0)


def test_firing_joins_its_pots(book, results):
    peak = measure_firings(book)["peak_C"].item()
    assert (results["peak_C"] == peak).all()


def test_firing_columns(book):
    table = measure_firings(book)
    assert table.dtypes.to_dict() == empty(FIRING_MEASURES).dtypes.to_dict()


def test_a_bad_record_keeps_its_row(copy):
    firings = pd.read_csv(copy / "firings.csv", dtype=str)
    firings = pd.concat([firings, firings.assign(firing="f2", readings="readings/f2.csv")])
    firings = pd.concat([firings, firings.iloc[:1].assign(firing="f3", readings="")])
    firings.to_csv(copy / "firings.csv", index=False)
    (copy / "readings/f2.csv").write_text("no record\nat all\n")
    table = measure_firings(open_book(copy)).set_index("firing")
    assert table["peak_C"].notna().tolist() == [True, False, False]
    assert table.loc["f2", "problems"]
    assert table.loc["f3", "problems"].startswith(
        "firing 'f3': no readings are named, and there is no readings/f3.csv; write the file into"
    )
    assert table.loc["f1", "problems"] == ""


def test_faulty_pots_stop_the_results(copy, measures):
    pots = pd.read_csv(copy / "pots.csv", dtype=str)
    pots.loc[1, "pot"] = "p01"
    pots.to_csv(copy / "pots.csv", index=False)
    with pytest.raises(BookError, match="p01"):
        gather_results(open_book(copy), measures)


def test_a_missing_table_stops_what_needs_it(copy):
    (copy / "setups.csv").unlink()
    book = open_book(copy)
    with pytest.raises(BookError, match="setups"):
        measure_photos(book, jobs=1)
    assert measure_firings(book)["peak_C"].notna().all()


def test_a_column_that_pots_and_firings_share_is_kept_from_both(small_book):
    book = open_book(small_book)
    firings = book.firings.assign(clay="from the river")
    results = gather_results(replace(book, firings=firings), empty(MEASURES))
    assert results["clay"].iloc[0] == book.pots["clay"].iloc[0]
    assert results["clay of firing"].iloc[0] == "from the river"


def test_all_readings_skip_what_cannot_be_read(small_book):
    book = open_book(small_book)
    assert list(all_readings(book)) == ["f1"]
    lost = book.firings.assign(readings="readings/none.csv")
    assert all_readings(replace(book, firings=lost)) == {}


def test_a_book_of_firings_alone_is_measured(small_book, tmp_path):
    copy = shutil.copytree(small_book, tmp_path / "book")
    for name, heads in (("pots", "pot,firing"), ("photos", "photo,pot,setup"), ("setups", "setup,target")):
        (copy / f"{name}.csv").write_text(f"{heads}\n")
    book = open_book(copy)
    results = gather_results(book, measure_photos(book, jobs=1))
    assert results.empty and results["problems"].tolist() == []
    assert measure_firings(book)["peak_C"].notna().all()


def test_the_readme_explains_every_flag_and_measure(demo):
    readme = (demo.parents[1] / "README.md").read_text(encoding="utf-8")
    told = readme.split("## What a photograph tells")[1].split("\n## ")[0]
    assert [name for name in FLAGS if f"`{name}`" not in told] == []
    patterns = [pattern.replace(" …", "") for pattern in re.findall(r"`([^`]+)`", told)]
    measures = [column.heading for column in CALIBRATION_MEASURES if "ΔE00" not in column.heading]
    assert [name for name in measures if name not in patterns] == []
