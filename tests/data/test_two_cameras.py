"""The book of two cameras is what its generator makes, and its truth is what its pictures and tables hold."""

import datetime as dt
import io
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sagglab.book import open_book
from sagglab.colour import AXES, SRGB_TO_XYZ, WHITE_D65, delta_e_2000, srgb_to_linear, xyz_to_lab
from sagglab.photo.image import read_photo

DATA = Path(__file__).resolve().parents[2] / "data"
BOOK = DATA / "two-cameras"


@pytest.fixture(scope="module")
def generator():
    """The generator's modules, which stand beside the first book and are in no installed package."""
    sys.path.insert(0, str(DATA / "demo"))
    try:
        from generator import book, camera, scene, spectra, surface, two_cameras
    finally:
        sys.path.remove(str(DATA / "demo"))
    modules = {"book": book, "camera": camera, "scene": scene, "spectra": spectra, "surface": surface}
    return type("Generator", (), {**modules, "two_cameras": two_cameras})


def read(name):
    return pd.read_csv(BOOK / name)


def shot_of(generator, photo):
    return next(shot for shot in generator.two_cameras.shots() if shot.photo == photo)


def test_tables_are_what_the_generator_writes(generator):
    for name, text in generator.two_cameras.tables().items():
        assert (BOOK / name).read_bytes() == text.encode(), name


@pytest.mark.parametrize("photo", ["photos/phone-q02-2.jpg", "photos/camera-target-09.jpg"])
def test_photographs_are_what_the_generator_renders(generator, photo):
    """Byte for byte on one machine; another library or processor may round a few pixels the other way."""
    shot = shot_of(generator, photo)
    made = generator.two_cameras.jpeg(generator.two_cameras.render(shot), shot)
    shipped, rendered = (
        np.asarray(Image.open(io.BytesIO(content)), dtype=int)
        for content in ((BOOK / photo).read_bytes(), made)
    )
    assert (np.abs(shipped - rendered) > 2).mean() < 0.001


def test_the_book_has_no_faults():
    assert [problem for problem in open_book(BOOK).problems if problem.stops] == []


def test_every_path_in_the_tables_exists_and_no_photograph_lies_about_unlisted():
    photos, setups = read("photos.csv")["photo"], read("setups.csv")
    named = pd.concat([photos, setups["target"], setups["flat"]])
    assert [name for name in named if not (BOOK / name).is_file()] == []
    assert {path.relative_to(BOOK).as_posix() for path in (BOOK / "photos").iterdir()} == set(photos)


def test_views():
    photos = read("photos.csv")
    assert photos.groupby(["setup", "view"]).size().to_dict() == {
        ("phone", "front"): 8 + 3,
        ("phone", "target"): 4,
        ("phone", "flat"): 1,
        ("camera", "front"): 8 + 3 + 3 * 6,
        ("camera", "target"): 14,
        ("camera", "flat"): 1,
    }
    assert (photos["pot"].isna() == photos["view"].isin(["target", "flat"])).all()
    shown = photos.dropna(subset="pot").assign(day=lambda table: table["taken"].str[:10])
    times = shown.groupby(["setup", "day", "pot"]).size()
    assert times.loc["phone"].value_counts().to_dict() == {1: 5, 2: 3}
    assert times.loc["camera"].value_counts().to_dict() == {1: 5 + 18, 2: 3}
    copper = read("pots.csv").set_index("pot")["copper sulphate [g]"].notna()
    assert copper.sum() == 4
    again = times.loc["camera"].groupby("pot").size()
    assert copper[again.index[again == 4]].value_counts().to_dict() == {True: 3, False: 3}


def test_size():
    assert sum(path.stat().st_size for path in BOOK.rglob("*")) < 4e6


def test_white_balance_alone_changes_in_what_the_camera_says_and_on_the_date_of_the_drift():
    date = dt.date.fromisoformat(read("truth/drift.csv")["from"].item())
    said = {}
    for row in read("photos.csv").itertuples():
        shot = read_photo(BOOK / row.photo).shot
        assert shot.taken == dt.datetime.fromisoformat(row.taken)
        assert (shot.make, shot.model, shot.edited) == ("", "", "")
        late = row.setup == "camera" and shot.taken.date() >= date
        seen = shot.lens, shot.exposure_s, shot.aperture, shot.iso, shot.white_balance
        said.setdefault((row.setup, late), set()).add(seen)
    assert said == {
        ("phone", False): {("5 mm", 1 / 60, 1.8, 64, "automatic")},
        ("camera", False): {("50 mm", 1 / 15, 8, 100, "fixed")},
        ("camera", True): {("50 mm", 1 / 15, 8, 100, "automatic")},
    }
    days = read("photos.csv").query("setup == 'camera' and view == 'target'")["taken"].str[:10]
    assert days.tolist().index(date.isoformat()) == 8


def neutral_patches(generator, photo):
    """Mean L*, a*, b* in the file of the target's neutral patches but black, shape (5, 3)."""
    scene = generator.two_cameras.render(shot_of(generator, photo))
    with Image.open(BOOK / photo) as picture:
        shipped = np.asarray(picture)
    (left, top), (right, bottom) = scene.corners[3], scene.corners[2]
    rows, columns = (np.rint(np.linspace(*ends, 6)).astype(int) for ends in ((top, bottom), (left, right)))
    seen = [
        srgb_to_linear(shipped[y - 8 : y + 9, x - 8 : x + 9] / 255).mean(axis=(0, 1))
        for y, x in zip(rows[:5], columns[:5], strict=True)
    ]
    return xyz_to_lab(np.array(seen) @ SRGB_TO_XYZ.T, WHITE_D65)


def test_neutral_patches_are_yellower_and_a_little_darker_in_the_file_from_that_date_on(generator):
    before, after = (
        np.mean(
            [neutral_patches(generator, f"photos/camera-target-{number:02d}.jpg") for number in numbers], 0
        )
        for numbers in ((7, 8), (9, 10))
    )
    lightness, _, yellow = (after - before).mean(axis=0)
    assert 2 <= yellow <= 3
    assert -1.5 <= lightness <= -0.3


def test_gloss_makes_the_phones_pots_lighter_and_greyer_and_nothing_else(generator):
    two = generator.two_cameras
    surface = two.surface("q02", two.FIRST_DAY)
    plain = generator.camera.SETUPS["phone"]
    assert two.SETUPS["phone"].veil == two.VEIL
    with_veil, without = (
        generator.scene.render_scene(3, setup=setup, surface=surface)
        for setup in (two.SETUPS["phone"], plain)
    )
    more = with_veil.srgb.astype(int) - without.srgb
    assert np.abs(more[~with_veil.pot]).mean() < 0.05  # what the lens scatters of it over the frame
    assert more[with_veil.pot].mean() > 2


def test_bias_is_that_of_the_veil_over_the_eight_pots(generator):
    two, fired = generator.two_cameras, generator.surface
    views = read("truth/views.csv")
    first = views.drop_duplicates(["pot", "setup"]).set_index(["setup", "pot"])[list(AXES)]
    phone, camera = first.loc["phone"], first.loc["camera"]
    bias = read("truth/bias.csv").set_index("coordinate")["camera less phone"]
    assert len(phone) == len(camera) == 8
    np.testing.assert_allclose((camera - phone).mean(), bias, atol=0.0016)  # three figures of three decimals
    assert 1 <= delta_e_2000(phone.mean(), camera.mean()) <= 2.5
    # By every texel's own spectrum.
    pot = two.surface("q04", two.PHONE_DAYS[-1])
    spectra = pot.shares[:, np.abs(fired.angles()) <= fired.BAND_DEGREES].astype(float) @ fired.REFLECTANCE
    seen = generator.spectra.reflectance_to_lab(spectra + 0.011).mean(axis=1)
    np.testing.assert_allclose(np.average(seen, axis=0, weights=pot.area), phone.loc["q04"], atol=0.002)


def test_pots_change_as_planted_from_the_cameras_first_day_on(generator):
    two = generator.two_cameras
    changes = read("truth/changes.csv").set_index(["pot", "coordinate"])
    pots, truth = (table.set_index(two.draw_pots()[0]["pot"]) for table in two.draw_pots())
    for pot, copper in (("q02", True), ("q03", False)):
        last = two.surface(pot, two.AGAIN_DAYS[-1])
        months = (two.AGAIN_DAYS[-1] - two.FIRST_DAY).days / 30.4375
        planted = changes.loc[pot]["per month"][list(AXES)].to_numpy()
        np.testing.assert_allclose(
            last.means("both")[0] - truth.loc[pot, list(AXES)].to_numpy(float), planted * months, atol=0.01
        )
        assert pd.notna(pots.loc[pot, "copper sulphate [g]"]) == copper
    copper = changes["copper sulphate [g]"].notna()
    assert (changes[copper].xs("a*", level=1)["per month"] == -1.2).all()
    assert (changes[~copper].xs("a*", level=1)["per month"] == -0.1).all()


def test_changes_of_the_front_are_those_of_the_views():
    views, changes = read("truth/views.csv"), read("truth/changes.csv").set_index(["pot", "coordinate"])
    camera = views[views["setup"] == "camera"]
    for (pot, axis), row in changes.iterrows():
        seen = camera[camera["pot"] == pot]
        days = (pd.to_datetime(seen["date"]) - pd.Timestamp("2026-09-06")).dt.days
        slope = np.polyfit(days / 30.4375, seen[axis], 1)[0]
        assert slope == pytest.approx(row["front per month"], abs=0.001)


def test_light_is_not_quite_the_same_in_any_two_photographs(generator):
    two = generator.two_cameras
    shots = [shot for shot in two.shots() if shot.setup == "camera" and not two.is_automatic(shot)]
    setups = [two.setup_of(shot) for shot in shots]
    exposure = np.array([setup.exposure for setup in setups]) / two.SETUPS["camera"].exposure
    assert 0.5 * two.EXPOSURE_SD < exposure.std() < 2 * two.EXPOSURE_SD
    assert len(set(exposure)) == len(setups)


@pytest.mark.parametrize("seed", range(1, 4))
def test_other_books_stay_in_range(generator, seed):
    pots, truth = generator.two_cameras.draw_pots(seed)
    assert truth["L*"].between(18, 65).all()
    assert pots["copper sulphate [g]"].notna().sum() == 4
    assert pots.groupby("firing").size().tolist() == [4, 4]
