"""The demo batch book is what its generator makes, and its truth is what its pictures and tables hold."""

import io
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from scipy.ndimage import binary_erosion

from sagglab.colour import srgb_to_linear

BOOK = Path(__file__).resolve().parents[2] / "data" / "demo"


@pytest.fixture(scope="module")
def generator():
    """The generator's modules, which stand beside the book and are in no installed package."""
    sys.path.insert(0, str(BOOK))
    try:
        from generator import book, camera, logs, scene, spectra, study, surface, wax
    finally:
        sys.path.remove(str(BOOK))
    modules = {
        "book": book,
        "camera": camera,
        "logs": logs,
        "scene": scene,
        "spectra": spectra,
        "study": study,
        "wax": wax,
    }
    return type("Generator", (), {**modules, "surface": surface})


@pytest.fixture(scope="module")
def ball(generator):
    """A pot of the form that mirrors the window best."""
    piece = generator.surface.Piece("ball", 10.2, 10.5, (40.0, 10.0, 11.0), copper=True)
    return generator.surface.make_surface(np.random.default_rng(5), piece)


def read(name):
    return pd.read_csv(BOOK / name)


def test_tables_and_logs_are_what_the_generator_writes(generator):
    for name, text in generator.book.tables().items():
        assert (BOOK / name).read_bytes() == text.encode(), name


@pytest.mark.parametrize(
    "photo", ["photos/p16-back.jpg", "photos/p21-front-wax.jpg", "photos/camera-flat.jpg"]
)
def test_photographs_are_what_the_generator_renders(generator, photo):
    """Byte for byte on one machine; another library or processor may round a few pixels the other way."""
    shot = next(shot for shot in generator.book.shots() if shot.photo == photo)
    made = generator.book.jpeg(generator.book.render(shot), shot)
    again = generator.book.jpeg(generator.book.render(shot), shot)
    assert made == again
    shipped, rendered = (
        np.asarray(Image.open(io.BytesIO(content)), dtype=int)
        for content in ((BOOK / photo).read_bytes(), made)
    )
    assert (np.abs(shipped - rendered) > 2).mean() < 0.001


def test_truth_of_the_views_is_what_the_generator_knows(generator):
    shipped = read("truth/views.csv")
    made = generator.book.view_truth("p16")
    pd.testing.assert_frame_equal(shipped[shipped["pot"] == "p16"].reset_index(drop=True), made)


def test_truth_of_waxed_pots_is_what_the_generator_knows(generator):
    shipped = read("truth/waxed.csv")
    assert sorted(set(shipped["pot"])) == sorted(generator.book.WAXED)
    made = generator.book.view_truth("p21", after="wax")
    pd.testing.assert_frame_equal(shipped[shipped["pot"] == "p21"].reset_index(drop=True), made)


def test_wax_darkens_every_kind_and_keeps_its_hue(generator):
    bare = generator.surface.REFLECTANCE
    waxed = generator.wax.under_wax(bare)
    assert ((0 < waxed) & (waxed < bare)).all()
    before, after = (generator.spectra.reflectance_to_lab(kinds) for kinds in (bare, waxed))
    assert (after[:, 0] - before[:, 0] < -2).all() and (after[:, 0] - before[:, 0] > -5).all()
    hues = [np.degrees(np.arctan2(*lab[:, :0:-1].T)) for lab in (before, after)]
    coloured = np.hypot(*before[:, 1:].T) > 5
    assert np.abs(hues[1] - hues[0])[coloured].max() < 3


def test_light_held_in_by_a_film(generator):
    """By reciprocity as by Fresnel's shares from below, with all that comes too flat thrown back."""
    for index in (1.0, 1.33, 1.44, 1.5):
        sine = (np.arange(200_000) + 0.5) / 200_000
        out = index * sine
        inside, outside = np.sqrt(1 - sine**2), np.sqrt(np.clip(1 - out**2, 0, None))
        across = (index * inside - outside) / (index * inside + outside)
        along = (inside - index * outside) / (inside + index * outside)
        back = np.where(out < 1, (across**2 + along**2) / 2, 1.0)
        assert generator.wax.internal_reflectance(index) == pytest.approx((2 * sine * back).mean(), abs=1e-5)


def test_every_path_in_the_tables_exists():
    setups = read("setups.csv")
    named = pd.concat(
        [read("photos.csv")["photo"], read("firings.csv")["readings"], setups["target"], setups["flat"]]
    )
    assert [name for name in named if not (BOOK / name).is_file()] == []


def test_no_photograph_or_log_lies_about_unlisted():
    for folder, listed in (
        ("photos", read("photos.csv")["photo"]),
        ("readings", read("firings.csv")["readings"]),
    ):
        assert {path.relative_to(BOOK).as_posix() for path in (BOOK / folder).iterdir()} == set(listed)


def test_views():
    photos = read("photos.csv")
    views = photos.groupby(["setup", "view"]).size().to_dict()
    assert views == {
        ("phone", "front"): 36 + 5,
        ("phone", "back"): 36,
        ("phone", "90°"): 1,
        ("phone", "270°"): 1,
        ("phone", "target"): 2,
        ("phone", "flat"): 1,
        ("camera", "front"): 6,
        ("camera", "target"): 2,
        ("camera", "flat"): 1,
    }
    assert photos.groupby(["after", "setup", "view"]).size().to_dict() == {("wax", "phone", "front"): 5}
    assert (photos["pot"].isna() == photos["view"].isin(["target", "flat"])).all()


def test_size():
    assert sum(path.stat().st_size for path in BOOK.rglob("*") if path.suffix != ".pyc") < 12e6


def test_photographs_say_when_they_were_taken_and_nothing_of_the_camera():
    for row in read("photos.csv").itertuples():
        with Image.open(BOOK / row.photo) as picture:
            exif = picture.getexif()
            assert picture.size == (1200, 900)
            assert set(exif) == {0x0112, 0x8769}
            taken = exif.get_ifd(0x8769)[0x9003]
        assert taken == row.taken.replace("-", ":") + ":00"


def test_plan_is_balanced_within_and_over_firings():
    pots = read("pots.csv")
    levels = pd.DataFrame(
        {
            "sugar": pots["sugar [g]"].fillna(0),
            "copper": pots["copper sulphate [g]"].fillna(0),
            "seaweed": pots["seaweed [g]"].notna().astype(float),
            "coats": pots["ferric chloride [coats]"],
            "clay": (pots["clay"] == "groggy buff").astype(float),
        }
    )
    assert (pots["sawdust [g]"].isna() == pots["seaweed [g]"].notna()).all()
    spread = levels.groupby(pots["firing"]).agg(["mean", "size"])
    assert np.allclose(spread, spread.iloc[0])
    correlation = levels.corr().to_numpy() - np.eye(5)
    assert np.abs(correlation).max() == pytest.approx(1 / 9)
    assert np.abs(correlation[:2]).max() == pytest.approx(0)


def test_true_means_follow_the_true_model():
    truth, pots = read("truth/pots.csv"), read("pots.csv").fillna({"sugar [g]": 0, "copper sulphate [g]": 0})
    value = read("truth/true-model.csv").set_index(["outcome", "term"])["value"]
    for outcome in ("L*", "a*", "b*"):
        effect = value[outcome]
        expected = (
            effect["intercept"]
            + effect["sugar [g]"] * pots["sugar [g]"]
            + effect["copper sulphate [g]"] * pots["copper sulphate [g]"]
            + effect["packing: seaweed"] * pots["seaweed [g]"].notna()
            + effect["ferric chloride [coats]"] * (pots["ferric chloride [coats]"] - 1)
            + effect["clay: groggy buff"] * (pots["clay"] == "groggy buff")
            + effect["peak [degC]"] * (truth["peak [degC]"] - 750)
            + truth[f"{outcome} firing part"]
            + truth[f"{outcome} pot part"]
        )
        assert np.abs(truth[outcome] - expected).max() < 0.002  # three numbers rounded to 0.0005 each


def test_surfaces_are_solved_to_the_true_means():
    truth, views = read("truth/pots.csv").set_index("pot"), read("truth/views.csv")
    both = views[views["view"] == "both"].set_index("pot")
    labels = ["L*", "a*", "b*"]
    assert len(both) == 36
    assert np.abs(both[labels] - truth[labels]).to_numpy().max() < 0.01


@pytest.mark.parametrize("seed", range(1, 6))
def test_other_studies_stay_in_range_and_recover_the_model(generator, seed):
    pots, firings, truth = generator.study.draw_study(seed)
    assert (len(pots), len(firings)) == (36, 6)
    assert truth["L*"].between(18, 65).all()
    assert truth["peak [degC]"].between(715, 785).all()
    mean = generator.study.true_mean("L*", pots.assign(**{"peak [degC]": truth["peak [degC]"]}))
    np.testing.assert_allclose(truth["L*"] - truth["L* firing part"] - truth["L* pot part"], mean, atol=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_curves_climb_and_cool_as_a_small_kiln_does(generator, seed):
    curve = generator.logs.fire(np.random.default_rng(seed), 752.0)
    at_peak = int(np.argmax(curve.temperature_C))
    assert curve.temperature_C[at_peak] == 752.0
    assert 35 <= at_peak / 60 <= 40
    assert 60 <= (curve.seconds[-1] - at_peak) / 60 <= 100
    assert curve.temperature_C[-1] < 280


def test_logs_reach_the_true_peaks():
    peaks = read("truth/pots.csv").groupby("firing")["peak [degC]"].first()
    for firing, peak in peaks.items():
        lines = (BOOK / f"readings/{firing}.csv").read_text(encoding="utf-8").splitlines()
        header = next(number for number, line in enumerate(lines) if "temperature" in line)
        mark = ";" if ";" in lines[header] else ","
        table = pd.read_csv(
            io.StringIO("\n".join(lines[header:])), sep=mark, decimal="," if mark == ";" else "."
        )
        highest = table.iloc[:, 1].max()
        if "degF" in lines[header]:
            highest = (highest - 32) * 5 / 9
        # The logger's noise is 0.15 °C; by hand a whole degree is read.
        assert highest == pytest.approx(peak, abs=1.0), firing


def test_target_values_are_those_of_the_patches(generator):
    shipped = read("targets/studio-target.csv")
    _, reflectance = generator.spectra.patches()
    lab = generator.spectra.reflectance_to_lab(reflectance)
    np.testing.assert_allclose(shipped[["L*", "a*", "b*"]], lab, atol=0.00051)
    assert set(shipped["illuminant"]) == {"D50"}


def test_mixing_raw_responses_is_mixing_spectra(generator):
    shares = np.random.default_rng(1).dirichlet(np.ones(6), 50)
    kinds = generator.surface.REFLECTANCE
    for setup in generator.camera.SETUPS.values():
        np.testing.assert_allclose(shares @ setup.raw(kinds), setup.raw(shares @ kinds), rtol=1e-12)


def test_target_stands_clear_of_the_pot_and_the_frame(generator, ball):
    for turn in (0.0, 90.0, 180.0):
        scene = generator.scene.render_scene([3, int(turn)], setup="phone", turn=turn, surface=ball)
        pitch = np.hypot(*(scene.corners[1] - scene.corners[0])) / 5
        assert 45 <= pitch <= 60
        assert (scene.corners > pitch).all()
        assert (scene.corners < np.array([1200, 900]) - pitch).all()
        rows, columns = np.nonzero(scene.pot)
        assert columns.min() - scene.corners[:, 0].max() > pitch
        assert 400 <= np.ptp(rows) + 1 <= 520
        # What the corners name is there.
        brown, green, black, white = (scene.srgb[round(y), round(x)].astype(int) for x, y in scene.corners)
        assert white.min() > 215
        assert black.max() < 60
        assert green[1] - green[0] > 60
        assert brown[0] - brown[2] > 25


@pytest.mark.parametrize("setup", ["phone", "camera"])
def test_only_highlights_clip(generator, ball, setup):
    scene = generator.scene.render_scene(11, setup=setup, surface=ball)
    full = (scene.srgb == 255).any(axis=-1)
    assert not full[~scene.pot].any()
    assert 0 < full.sum() < 0.01 * scene.pot.sum()


def test_a_setup_by_name_is_that_setup(generator):
    phone = generator.camera.SETUPS["phone"]
    by_name, given = (generator.scene.render_target(4, setup=setup) for setup in ("phone", phone))
    assert (by_name.srgb == given.srgb).all()


@pytest.fixture(scope="module")
def drawn_setups(generator):
    return [generator.camera.draw_setup(np.random.default_rng(seed)) for seed in range(300)]


def test_drawn_setups_take_every_sensor_light_and_side(generator, drawn_setups):
    assert {setup.sensor for setup in drawn_setups} == set(generator.spectra.SENSORS)
    assert {setup.light for setup in drawn_setups} == set(generator.spectra.LIGHTS)
    assert {setup.target_at for setup in drawn_setups} == {"left", "right"}


def test_drawn_setups_render_white_as_white(generator):
    for sensor in generator.spectra.SENSORS:
        for light in generator.spectra.LIGHTS:
            np.testing.assert_allclose(generator.camera.raw_to_srgb(sensor, light).sum(axis=1), 1)


def test_tone_rises_throughout_at_the_greatest_contrast(generator):
    encoded = np.linspace(0, 1, 2001)
    assert (np.diff(generator.camera.tone(encoded, 0.45)) > 0).all()


def test_drawn_setups_clip_the_white_patch_now_and_then_at_most(generator, drawn_setups):
    clipped = []
    for seed, setup in enumerate(drawn_setups[:16]):
        scene = generator.scene.render_target(seed, setup=setup)
        x, y = np.rint(scene.corners[3]).astype(int)
        white = scene.srgb[y - 8 : y + 9, x - 8 : x + 9]
        assert white.mean() > 205
        clipped.append((white == 255).mean(axis=(0, 1)).max() > 0.5)
    assert sum(clipped) <= 3


def test_light_on_the_pot_divided_out_leaves_an_even_pot_even(generator, ball):
    surface = generator.surface
    shares = np.zeros_like(ball.shares)
    shares[..., surface.KINDS.index("grey")] = 1
    even = surface.Surface(ball.piece, shares, ball.lab, ball.area)
    plain = generator.camera.Setup(
        sensor="Nikon 5100 (NPL)",
        light="D55",
        exposure=0.9,
        contrast=0.0,
        balance=(1.0, 1.0, 1.0),
        fall_off=(0.0, 0.0, 0.0),
        blur_px=0.01,
        shot=0.0,
        read=0.0,
        glare=0.0,
    )
    scene = generator.scene.render_scene(11, setup=plain, surface=even)
    assert (scene.light[~scene.pot] == 1).all()
    green = srgb_to_linear(scene.srgb[..., 1] / 255) / 0.9
    # The tent's window is mirrored to the upper left of the axis; the outline's own pixels are mixed.
    inside = binary_erosion(scene.pot, iterations=3)
    inside[:, : int(np.nonzero(scene.pot)[1].mean()) + 40] = False
    assert np.ptp(scene.light[inside]) > 0.3
    on_target = green[inside] / scene.light[inside]
    assert np.quantile(on_target, 0.99) / np.quantile(on_target, 0.01) < 1.02
