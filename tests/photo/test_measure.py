"""One photograph through the whole of the room, against the scene that it shows."""

import importlib.util
import pickle
from dataclasses import replace
from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from sagglab.colour import delta_e_2000, linear_to_srgb, linear_to_xyz, srgb_to_linear
from sagglab.columns import MEASURES
from sagglab.errors import MissingFileError, OutlineError, OwnMeasureError, PhotoError, TargetError
from sagglab.photo.image import read_photo
from sagglab.photo.measure import measure_photo
from sagglab.photo.measuring import Measuring


@pytest.fixture(scope="module")
def measured(scene_file, demo):
    return measure_photo(
        scene_file, target=demo / "targets/studio-target.csv", flat=demo / "photos/phone-flat.jpg"
    )


@pytest.fixture(scope="module")
def own_target(demo):
    return demo / "targets/studio-target.csv"


@pytest.fixture
def saved(tmp_path):
    def save(srgb, name="photo.png"):
        cv2.imwrite(str(tmp_path / name), np.ascontiguousarray(srgb[..., ::-1]))
        return tmp_path / name

    return save


def test_colour_is_near_the_truth(measured, scene):
    row = measured.table.iloc[0]
    assert row["L*"] == pytest.approx(scene.lab[0], abs=3)
    assert row["a*"] == pytest.approx(scene.lab[1], abs=2)
    assert row["b*"] == pytest.approx(scene.lab[2], abs=2.5)
    assert row["dark share"] == pytest.approx(scene.dark, abs=0.1)


def test_table_has_the_declared_columns(measured):
    assert measured.table.columns.tolist() == [column.heading for column in MEASURES]
    assert len(measured.table) == 1


def test_corners_are_where_the_scene_has_them(measured, scene):
    pitch = np.linalg.norm(scene.corners[1] - scene.corners[0]) / 5
    assert np.linalg.norm(measured.corners - scene.corners, axis=1).max() < pitch / 4


def overlap(measured, pot):
    mask = measured.outline.mask(pot.shape, measured.size)
    return (mask & pot).sum() / (mask | pot).sum()


def test_outline_has_the_pots_form(measured, scene):
    assert measured.size == scene.pot.shape
    assert overlap(measured, scene.pot) >= 0.97
    assert measured.table["outline confidence"].item() > 0.9


def test_a_good_photograph_has_no_problems(measured):
    # The file was saved without a profile.
    assert [problem.flag for problem in measured.problems] == ["no colour profile"]
    assert measured.table["fall-off"].item() == "by the flat field"
    assert measured.table["calibrated from"].item() == ""
    assert repr(measured).startswith("pot.png: L* ")


def test_given_corners_and_outline_win(scene, scene_file, own_target):
    given = scene.corners + 1.5
    box = "700 400; 850 400; 850 550; 700 550"
    found = measure_photo(scene_file, target=own_target, corners=given, outline=box)
    assert (found.corners == given).all()
    np.testing.assert_allclose(found.outline.rings[0], [[700, 400], [850, 400], [850, 550], [700, 550]])
    # As found in a photograph, so that what was given is told again.
    assert found.table["found outline"].item() == box
    assert np.isnan(found.table["outline confidence"].item())


def test_confidence_is_that_of_what_was_searched_for(measured, own, scene_file, scene, own_target):
    assert measured.table["target confidence"].item() > 0.9
    given = measure_photo(scene_file, own_target, corners=scene.corners, outline=scene.pot)
    assert np.isnan(given.table["target confidence"].item())


def test_corners_as_text(scene, scene_file, own_target):
    text = "; ".join(f"{x} {y}" for x, y in scene.corners)
    found = measure_photo(scene_file, target=own_target, corners=text, outline=scene.pot)
    np.testing.assert_allclose(found.corners, scene.corners)


@pytest.mark.parametrize(
    "corners",
    ["5 5; 5 5; 5 5; 5 5", "0 0; 50 50; 50 0; 0 50", "0 0; 50 0; 100 0; 0 50"],
    ids=["one place", "crossed", "in a line"],
)
def test_corners_that_are_no_grid(scene_file, own_target, corners):
    with pytest.raises(TargetError, match=r"pot\.png: .*not those of a grid of patches"):
        measure_photo(scene_file, target=own_target, corners=corners)


@pytest.mark.parametrize(
    "corners", ["1 2; 3 4; 5 6", "a b; c d; e f; g h", [[1, 2]], "", "1 1; 9 1; inf 9; 1 9"]
)
def test_bad_corners(scene_file, own_target, corners):
    with pytest.raises(TargetError, match=r"pot\.png: .*corners are not four places"):
        measure_photo(scene_file, target=own_target, corners=corners)


def test_flat_of_another_size_is_told_and_not_used(scene_file, scene, own_target, saved):
    flat = saved(np.full((90, 120, 3), 128, np.uint8), "flat.png")
    found = measure_photo(scene_file, own_target, flat, outline=scene.pot, corners=scene.corners)
    assert "the flat field is 120 by 90 pixels and the photograph 1200 by 900" in found.problems.told
    assert found.table["fall-off"].item() != "by the flat field"


def test_missing_flat_is_named(scene_file, scene, own_target, tmp_path):
    with pytest.raises(MissingFileError, match=r"none\.jpg"):
        measure_photo(scene_file, own_target, tmp_path / "none.jpg", corners=scene.corners)


def test_photograph_without_a_target(saved):
    path = saved(np.random.default_rng(1).integers(90, 110, (300, 400, 3)).astype(np.uint8))
    with pytest.raises(TargetError) as caught:
        measure_photo(path)
    assert caught.value.where == str(path)
    again = pickle.loads(pickle.dumps(caught.value))
    assert (type(again), str(again)) == (TargetError, str(caught.value))


def test_photograph_without_a_pot(scenes, saved, own_target):
    scene = scenes.render_target(4)
    found = measure_photo(saved(scene.srgb), target=own_target)
    np.testing.assert_allclose(found.corners, scene.corners, atol=10)
    assert found.calibration.mean < 3.5
    assert not found.outline
    assert found.side is None
    assert found.table[["L*", "a*", "b*", "dark share"]].isna().all(axis=None)
    assert "no pot was found" in found.problems.told
    assert "no pot" in repr(found)


def test_bad_outline_is_told_by_the_photograph_or_as_the_outline(scene_file, scene, own_target):
    with pytest.raises(OutlineError):
        measure_photo(scene_file, own_target, outline="one place; another", corners=scene.corners)


def test_the_same_photograph_gives_the_same_numbers(measured, scene_file, demo):
    again = measure_photo(
        scene_file, target=demo / "targets/studio-target.csv", flat=demo / "photos/phone-flat.jpg"
    )
    pd.testing.assert_frame_equal(again.table, measured.table)


def test_a_large_photograph_gives_the_same_colour(measured, scene, saved, own_target, demo):
    large = cv2.resize(scene.srgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    small = measure_photo(saved(scene.srgb), own_target)
    found = measure_photo(saved(large, "large.png"), own_target)
    for name in ("L*", "a*", "b*"):
        assert found.table[name].item() == pytest.approx(small.table[name].item(), abs=0.3)


AXES = ["L*", "a*", "b*"]


@pytest.fixture(scope="module")
def own(scene_file, scene, own_target):
    """The scene by its own target, corners and outline given."""
    return measure_photo(scene_file, own_target, corners=scene.corners, outline=scene.pot)


def lab_of(measured):
    return measured.table[AXES].iloc[0].to_numpy(dtype=float)


def test_doubt_is_told_and_holds_the_truth(measured, scene):
    row = measured.table.iloc[0]
    for axis, true in zip(AXES, scene.lab, strict=True):
        low, high = row[f"{axis} low"], row[f"{axis} high"]
        assert low < true < high
        assert (low + high) / 2 == pytest.approx(row[axis])
        both = np.hypot(row[f"{axis} error of calibration"], row[f"{axis} error of light"])
        assert (high - low) / 2 == pytest.approx(1.959964 * both)
    assert row["shading ΔL*"] > 0
    assert row["L* error of light"] > 0


def test_a_picture_twice_as_large_is_no_surer(own, scene, saved, own_target):
    large = cv2.resize(scene.srgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    pot = cv2.resize(scene.pot.astype(np.uint8), None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST) > 0
    found = measure_photo(saved(large), own_target, corners=scene.corners * 2 + 0.5, outline=pot)
    for axis in AXES:
        wide, usual = (each.table[f"{axis} high"] - each.table[f"{axis} low"] for each in (found, own))
        assert wide.item() == pytest.approx(usual.item(), rel=0.15)
        sampling = (each.table[f"{axis} error of sampling"].item() for each in (found, own))
        assert next(sampling) == pytest.approx(next(sampling), rel=0.15)


@pytest.fixture(scope="module")
def without_target(scene, tmp_path_factory):
    """The scene with its target covered by a plain card."""
    covered = scene.srgb.copy()
    low, high = (np.rint(each).astype(int) for each in (scene.corners.min(axis=0), scene.corners.max(axis=0)))
    covered[low[1] - 60 : high[1] + 60, max(0, low[0] - 60) : high[0] + 60] = 150
    path = tmp_path_factory.mktemp("covered") / "covered.png"
    cv2.imwrite(str(path), covered[..., ::-1])
    return path


def test_a_borrowed_calibration_serves(own, without_target, scene, own_target):
    found = measure_photo(without_target, own_target, outline=scene.pot, target_shot=own.target_shot)
    assert np.isnan(found.corners).all()
    assert found.table["calibrated from"].item() == own.path
    assert "calibrated from another photograph" in found.table["flags"].item()
    np.testing.assert_allclose(lab_of(found), lab_of(own), atol=1e-6)
    assert found.target_shot is None  # what is borrowed is not lent on


def test_the_photographs_own_target_wins(own, scene_file, scene, own_target):
    spoiled = replace(own.target_shot.calibration, mapping=None)
    lent = replace(own.target_shot, calibration=spoiled)
    found = measure_photo(scene_file, own_target, outline=scene.pot, target_shot=lent)
    assert found.table["calibrated from"].item() == ""
    np.testing.assert_allclose(found.corners, scene.corners, atol=5)


def test_given_corners_are_never_passed_over(own, without_target, own_target):
    beyond = "5000 20; 5500 20; 5500 400; 5000 400"
    with pytest.raises(TargetError, match="24 of the target's 24 patches are clipped, hidden"):
        measure_photo(without_target, own_target, corners=beyond, target_shot=own.target_shot)


def test_a_calibration_for_another_profile_is_refused(own, without_target, scene, own_target):
    lent = replace(own.target_shot, profile="Display P3")
    with pytest.raises(TargetError, match=r"covered\.png: .*pot\.png, which could calibrate it, has another"):
        measure_photo(without_target, own_target, outline=scene.pot, target_shot=lent)


def test_a_calibration_for_another_size_lends_no_fall_off(own, without_target, scene, own_target):
    lent = replace(own.target_shot, size=(1200, 900))
    found = measure_photo(without_target, own_target, outline=scene.pot, target_shot=lent)
    assert found.table["fall-off"].item() == "not corrected"
    assert "uneven light" in found.table["flags"].item()


def test_what_a_photograph_lends(own):
    lent = own.target_shot
    assert (lent.path, lent.size) == (own.path, (900, 1200))
    assert lent.calibration is own.calibration
    assert lent.profile == own.table["colour profile"].item()


def middle_of(scene, rows, columns):
    """Pixels in the middle of the pot: some rows, and some columns about its axis."""
    y, x = np.nonzero(scene.pot)
    top, axis = y.min() + (y.max() - y.min()) // 2, int(np.median(x))
    return np.s_[top : top + rows, axis - columns : axis + columns]


@pytest.mark.parametrize(
    ("colour", "column", "flag"),
    [
        ([0, 0, 0], "clipped share", "clipped surface"),
        ([190, 60, 0], "out-of-gamut share", "beyond the file's colours"),
    ],
)
def test_pixels_out_of_range_are_counted_and_flagged(own, scene, saved, own_target, colour, column, flag):
    assert own.table[column].item() < 0.02
    assert flag not in own.table["flags"].item()
    srgb = scene.srgb.copy()
    part = middle_of(scene, 80, 40)
    srgb[part] = colour
    found = measure_photo(saved(srgb), own_target, corners=scene.corners, outline=scene.pot)
    surface = found.side.surface
    x, y = surface.corner[:, None, None] + surface.pitch[:, None, None] * np.indices(surface.band.shape)[::-1]
    patch = np.zeros(scene.pot.shape, dtype=bool)
    patch[part] = True
    patch = patch[np.rint(y).astype(int), np.rint(x).astype(int)]
    share = surface.area[patch & surface.measured].sum() / surface.area[surface.measured].sum()
    assert share > 0.02
    assert found.table[column].item() == pytest.approx(share + own.table[column].item(), abs=0.003)
    assert flag in found.table["flags"].item()


def test_a_surface_clipped_at_white_is_told(own, scene, saved, own_target):
    """A third of the pot is overexposed, which no glare explains."""
    srgb = scene.srgb.copy()
    y, _ = np.nonzero(scene.pot)
    part = middle_of(scene, (y.max() - y.min()) // 3, 400)
    srgb[part] = np.where(scene.pot[part][..., None], 255, srgb[part])
    found = measure_photo(saved(srgb), own_target, corners=scene.corners, outline=scene.pot)
    assert "clipped surface" in found.table["flags"].item()


@pytest.fixture(scope="module")
def within(scene):
    """The scene in linear light, drawn towards grey, so that nothing is out of any profile's range."""
    light = srgb_to_linear(scene.srgb / 255)
    return 0.8 * (0.85 * light + 0.15 * light.mean(axis=-1, keepdims=True)) + 0.01


@pytest.fixture(scope="module")
def in_srgb(within, scene, own_target, tmp_path_factory):
    path = tmp_path_factory.mktemp("within") / "within.png"
    Image.fromarray(np.rint(linear_to_srgb(within) * 255).astype(np.uint8)).save(path)
    return measure_photo(path, own_target, corners=scene.corners, outline=scene.pot)


def test_16_bits_give_the_same_colour(within, in_srgb, scene, own_target, tmp_path):
    codes = np.rint(linear_to_srgb(within) * 65535).astype(np.uint16)
    cv2.imwrite(str(tmp_path / "deep.png"), codes[..., ::-1])
    found = measure_photo(tmp_path / "deep.png", own_target, corners=scene.corners, outline=scene.pot)
    assert delta_e_2000(lab_of(found), lab_of(in_srgb)) < 0.1


def test_another_profile_gives_the_same_colour(within, in_srgb, scene, own_target, tmp_path):
    """Display P3: its primaries, and the transfer function of sRGB."""
    primaries = (0.680, 0.320, 0.265, 0.690, 0.150, 0.060)
    curve = srgb_to_linear(np.linspace(0, 1, 4096)).astype(np.float32)
    icc = imagecodecs.cms_profile(
        "rgb", whitepoint=(0.3127, 0.3290), primaries=primaries, transferfunction=curve
    )
    path = tmp_path / "p3.png"
    Image.fromarray(np.zeros((2, 2, 3), np.uint8)).save(path, icc_profile=icc)
    to_xyz = read_photo(path).to_xyz
    p3 = np.linalg.solve(to_xyz, linear_to_xyz(within).reshape(-1, 3).T).T.reshape(within.shape)
    assert p3.min() > 0.002
    Image.fromarray(np.rint(linear_to_srgb(p3) * 255).astype(np.uint8)).save(path, icc_profile=icc)
    found = measure_photo(path, own_target, corners=scene.corners, outline=scene.pot)
    assert found.table["colour profile"].item() != in_srgb.table["colour profile"].item()
    # The camera's tone worked on the channels of sRGB: channels of other primaries mix it.
    assert delta_e_2000(lab_of(found), lab_of(in_srgb)) < 1


@pytest.fixture(scope="module")
def dng():
    """The writer of raw files of the tests of camera raw."""
    place = Path(__file__).with_name("test_raw.py")
    spec = importlib.util.spec_from_file_location("raw_files", place)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_camera_raw_from_end_to_end(within, in_srgb, scene, own_target, dng, tmp_path):
    """A sensor with its own colours and no white balance, under a mosaic of red, green, green and blue."""
    sensor = np.array([[0.35, 0.13, 0.02], [0.08, 0.75, 0.12], [0.01, 0.16, 0.43]])
    dng.write_dng(tmp_path / "pot.dng", dng.sensor(within @ sensor.T))
    found = measure_photo(tmp_path / "pot.dng", own_target)
    assert found.table["colour profile"].item() == "camera raw"
    pitch = np.linalg.norm(scene.corners[1] - scene.corners[0]) / 5
    assert np.linalg.norm(found.corners - scene.corners, axis=1).max() < pitch / 4
    assert overlap(found, scene.pot) >= 0.97
    assert found.calibration.mean < 2.5
    assert delta_e_2000(lab_of(found), lab_of(in_srgb)) < 2
    assert found.shot.iso == 200


def test_a_flat_with_a_pot_in_it_is_told_and_not_used(scene_file, scene, own_target, demo):
    found = measure_photo(
        scene_file, own_target, demo / "photos/p02-front.jpg", outline=scene.pot, corners=scene.corners
    )
    assert "the flat field p02-front.jpg shows more than a plain sheet" in found.problems.told
    assert found.table["fall-off"].item() != "by the flat field"


def test_a_flat_that_is_no_picture_is_named(scene_file, own_target, tmp_path):
    (tmp_path / "words.jpg").write_text("no picture")
    with pytest.raises(PhotoError, match=r"pot\.png: its flat field words\.jpg cannot be used: it is"):
        measure_photo(scene_file, own_target, tmp_path / "words.jpg")


def test_corners_in_another_order_are_told_as_such(scene_file, scene, own_target):
    with pytest.raises(TargetError, match=r"at the target corners that were stated, .* ΔE00 \d+ off"):
        measure_photo(scene_file, own_target, corners=scene.corners[[2, 3, 0, 1]], outline=scene.pot)


@pytest.mark.parametrize("outline", ["650,5 265,2; 700 300; 1 1", "650 265; oops; 1 1", "1 1; 2 nan; 9 9"])
def test_an_outline_with_a_place_that_is_none(scene_file, scene, own_target, outline):
    with pytest.raises(OutlineError, match="one of its places"):
        measure_photo(scene_file, own_target, corners=scene.corners, outline=outline)


@pytest.fixture(scope="module")
def with_pitch(own_target, tmp_path_factory):
    """The same target, its patches so far apart: 52 px by the scene's 40 px to the centimetre."""
    table = pd.read_csv(own_target).assign(**{"patch pitch [mm]": 13})
    path = tmp_path_factory.mktemp("pitch") / "target.csv"
    table.to_csv(path, index=False)
    return path


def test_without_a_scale_there_are_no_lengths(own):
    row = own.table.iloc[0]
    lengths = ["measured height [cm]", "measured diameter [cm]", "surface area [cm2]", "L* range [mm]"]
    assert row[lengths].isna().all()
    assert 0.15 < row["usable share"] < 0.22  # ±37° of 360° less the ends and the glare


def test_the_pots_height_gives_the_scale(scene_file, scene, own_target):
    piece = scene.surface.piece
    row = measure_photo(scene_file, own_target, corners=scene.corners, height_cm=piece.height_cm).table.iloc[
        0
    ]
    assert row["measured height [cm]"] == pytest.approx(piece.height_cm)
    assert row["measured diameter [cm]"] == pytest.approx(piece.diameter_cm, rel=0.02)
    # The generator's own rows, by Pappus; each is a thin ring, its area in cm for each cm of height.
    rings = 2 * np.pi * scene.surface.area * piece.height_cm / len(scene.surface.area)
    assert row["surface area [cm2]"] == pytest.approx(rings.sum(), rel=0.03)
    assert row["usable area [cm2]"] == pytest.approx(row["usable share"] * row["surface area [cm2]"])


def test_the_targets_pitch_gives_the_scale_before_the_height_does(scene_file, scene, with_pitch):
    piece = scene.surface.piece
    found = measure_photo(scene_file, with_pitch, corners=scene.corners, height_cm=1.02 * piece.height_cm)
    # The scene's target stands up to 4 % nearer or farther than the pot.
    by_corners = 1.3 / (np.linalg.norm(scene.corners[1] - scene.corners[0]) / 5) * 40
    height = found.table["measured height [cm]"].item()
    assert height == pytest.approx(piece.height_cm * by_corners, rel=0.015)
    assert "cm high" not in found.problems.told


def test_a_height_that_the_target_denies_is_told(scene_file, scene, with_pitch):
    found = measure_photo(scene_file, with_pitch, corners=scene.corners, height_cm=25)
    assert "cm high, and by the table 25 cm" in found.problems.told
    assert any(problem.remedy.startswith("check height [cm]") for problem in found.problems)


def test_what_was_found_can_be_given_again(own_target, scene_file, measured, demo):
    row = measured.table.iloc[0]
    again = measure_photo(
        scene_file,
        own_target,
        demo / "photos/phone-flat.jpg",
        outline=row["found outline"],
        corners=row["found corners"],
    )
    assert row["found outline"].count(";") < 80
    for axis in AXES:
        assert again.table[axis].item() == pytest.approx(row[axis], abs=0.3)


def test_another_band_and_own_measures(scene_file, scene, own_target, own):
    narrow = Measuring(band_degrees=20, own=(lambda lab, weights, surface_map: {"pixels": len(lab)},))
    found = measure_photo(scene_file, own_target, corners=scene.corners, outline=scene.pot, measuring=narrow)
    assert found.table.columns[-1] == "pixels"
    assert 0 < found.table["pixels"].item() < own.side.surface.measured.sum()
    assert found.table["usable share"].item() == pytest.approx(
        own.table["usable share"].item() * 20 / 37, rel=0.1
    )


@pytest.mark.parametrize("shape", [(3, 3), (2, 400), (300, 2)], ids=["a speck", "a line", "a post"])
def test_an_outline_of_a_few_pixels_makes_no_fault(scene_file, scene, own_target, shape):
    x, y, high, wide = 800, 500, *shape
    places = [[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]]
    found = measure_photo(scene_file, own_target, corners=scene.corners, outline=places)
    assert found.table["found outline"].item()


def test_a_given_outline_over_the_target_is_taken_and_told(own, scene, scene_file, own_target):
    (left, top), (right, low) = scene.corners.min(axis=0), scene.corners.max(axis=0)
    over = [[left, top], [right, top], [right, low], [left, low]]
    found = measure_photo(scene_file, own_target, corners=scene.corners, outline=over)
    assert "the outline that was given lies over the target" in found.problems.told
    assert "given" not in own.problems.told


def test_a_failing_own_measure_names_the_photograph(scene_file, scene, own_target):
    failing = Measuring(own=(lambda lab, weights, surface_map: 1 / 0,))
    with pytest.raises(OwnMeasureError, match=r"pot\.png: your own measure .* it fails: ZeroDivisionError"):
        measure_photo(scene_file, own_target, corners=scene.corners, outline=scene.pot, measuring=failing)
