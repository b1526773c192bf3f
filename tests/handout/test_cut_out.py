"""Cut-outs: the pot's own colours as they were measured, one shape for all, nothing of the camera's."""

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PIL import Image, ImageCms

from sagglab.book import open_book
from sagglab.colour import delta_e_2000, srgb_to_xyz, xyz_to_lab
from sagglab.errors import OutlineError, SagglabError
from sagglab.handout.cut_out import ASPECT, LONGEST_PX, MARGIN, _frame, cut_out, cut_outs
from sagglab.measures.views import measure_view
from sagglab.photo.image import read_photo
from sagglab.photo.outline import Outline

P01, P02 = "photos/p01-front.jpg", "photos/p02-front.jpg"


@pytest.fixture(scope="module")
def book(demo):
    return open_book(demo)


@pytest.fixture(scope="module")
def measured(book):
    return measure_view(book, P01)


@pytest.fixture(scope="module")
def held(book):
    """What a cut-out of p01 holds."""
    return cut_out(book, P01)


def picture_of(held):
    return np.asarray(Image.open(io.BytesIO(held)))


def places(measured, picture):
    """Which pixels of the photograph those of the cut-out stand for, x and y."""
    corner, extent = _frame(measured.outline, measured.size)
    down, across = (
        (np.arange(n) + 0.5) * of / n - 0.5 for n, of in zip(picture.shape, extent[::-1], strict=False)
    )
    return across + corner[0], down + corner[1]


def test_its_colours_are_those_of_the_calibrated_photograph(held, measured):
    picture = picture_of(held)
    lab = xyz_to_lab(srgb_to_xyz(picture / 255))
    x, y = (np.rint(at).astype(int) for at in places(measured, picture))
    inside = measured.outline.mask(measured.size, measured.size)
    rows, columns = np.nonzero(inside)
    light = read_photo(measured.path).linear[rows, columns]
    truth = measured.calibration.lab(light, np.stack([columns, rows], axis=-1)).mean(axis=0)
    # Measured 0.03 to 0.05 on four photographs of the demo: JPEG, eight bits, and reducing.
    assert delta_e_2000(lab[inside[np.ix_(y, x)]].mean(axis=0), truth) < 0.15


def test_the_central_band_is_as_the_view_was_measured(held, measured):
    picture = picture_of(held)
    lab = xyz_to_lab(srgb_to_xyz(picture / 255))
    surface = measured.side.surface
    x, y = places(measured, picture)
    across, down = (
        np.clip(
            np.rint((at - surface.corner[k]) / surface.pitch[k]).astype(int), 0, surface.band.shape[1 - k] - 1
        )
        for k, at in enumerate((x, y))
    )
    band = (surface.band & ~surface.glare)[np.ix_(down, across)]
    asked = measured.table[["L*", "a*", "b*"]].to_numpy(dtype=float)[0]
    # Measured 0.2 to 0.7 on four photographs: pixels are not weighted here, and shading is not taken out.
    assert delta_e_2000(lab[band].mean(axis=0), asked) < 1.0
    # As the camera had it, without the calibration, it is off by more than that.
    uncorrected = read_photo(measured.path)
    rows, columns = np.nonzero(measured.outline.mask(measured.size, measured.size))
    assert delta_e_2000(uncorrected.lab_in_file(uncorrected.linear[rows, columns]).mean(axis=0), asked) > 1.5


def test_it_is_a_small_srgb_jpeg_of_one_shape_without_what_the_camera_wrote(held, book):
    other = Image.open(io.BytesIO(cut_out(book, P02)))
    picture = Image.open(io.BytesIO(held))
    assert picture.format == "JPEG"
    assert picture.size == other.size == (round(LONGEST_PX * ASPECT), LONGEST_PX)
    assert not picture.getexif()
    profile = ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
    assert "sRGB" in ImageCms.getProfileDescription(profile)
    assert len(held) < 40_000


def test_the_same_photograph_gives_the_same_bytes(held, book):
    assert cut_out(book, P01) == held


@pytest.mark.parametrize(("wide", "tall"), [(300, 450), (500, 420), (90, 100)], ids=["tall", "wide", "small"])
def test_every_pot_stands_in_its_frame_alike(wide, tall):
    low = np.array([600.0, 500.0])
    ring = low + np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]])
    corner, extent = _frame(Outline((ring,), 1.0, ()), (1800, 1800))
    assert extent[0] / extent[1] == pytest.approx(ASPECT, abs=0.01)
    beside = ring[:, 0].min() - corner[0], corner[0] + extent[0] - ring[:, 0].max()
    assert beside[0] == pytest.approx(beside[1], abs=1.5)
    below = corner[1] + extent[1] - ring[:, 1].max()
    assert below / extent[1] == pytest.approx(MARGIN / (1 + 2 * MARGIN), abs=0.01)
    # Its longer side, for this shape, fills the frame but for the margin.
    fills = max(wide / extent[0], tall / extent[1])
    assert fills == pytest.approx(1 / (1 + 2 * MARGIN), abs=0.01)


def test_a_frame_beyond_the_photograph_is_moved_into_it():
    ring = np.array([[2.0, 2], [302, 2], [302, 452], [2, 452]])
    corner, extent = _frame(Outline((ring,), 1.0, ()), (900, 1200))
    assert (corner == 0).all()
    corner, _ = _frame(Outline((ring + [895, 445],), 1.0, ()), (900, 1200))
    assert (corner + extent == [1200, 900]).all()


def test_photographs_that_cannot_be_cut_out_leave_the_others(book, tmp_path, demo):
    table = book.photos
    bad = tmp_path / "bad.jpg"
    bad.write_bytes((demo / P01).read_bytes()[:3000])
    row = table[table["photo"] == P01].assign(photo=str(bad))
    changed = replace(book, photos=pd.concat([table, row]))
    with pytest.raises(SagglabError):
        cut_out(changed, str(bad))
    # Names that the table has not, damaged files, blank names.
    found = cut_outs(changed, ["photos/none.jpg", str(bad), "", P01])
    assert found[:3] == [None, None, None]
    assert found[3].startswith(b"\xff\xd8")


def test_a_photograph_without_a_pot_is_refused_in_words(book):
    with pytest.raises(OutlineError, match=r"phone-target-1\.jpg: no pot was found in it"):
        cut_out(book, "photos/phone-target-1.jpg")
