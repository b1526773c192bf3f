"""Photographs of every odd kind, as their authors published them, decode upright or are refused."""

from pathlib import Path

import numpy as np
import pytest

from sagglab.errors import SagglabError
from sagglab.photo.image import read_photo

PHOTOS = Path(__file__).resolve().parents[2].parent / "shared" / "photos"

#: (height, width) once upright, or that the file is refused.
OUTCOMES = {
    "odd-01.jpg": (3264, 2448),
    "odd-02.heic": (3024, 4032),
    "odd-03.heic": (4032, 3024),
    "odd-04.avif": (3648, 5472),
    "odd-05.jpg": (1200, 1800),
    "odd-06.jpg": (1200, 1800),
    "odd-07.jpg": (1200, 1800),
    "odd-08.webp": (3648, 2736),
    "odd-09.jpg": (2560, 1920),
    "odd-10.png": (800, 1000),
    "odd-11.jpg": (1800, 1200),
    "odd-12.heic": (960, 1440),
    "odd-13.jpg": (512, 384),
    "odd-14.heic": (4032, 3024),
    "odd-15.heic": (1848, 4000),
    "odd-16.avif": (4032, 3024),
    "odd-17.jpg": (2048, 1536),
    "odd-18.tiff": "refused",
    "odd-19.jpg": (267, 400),
    "odd-20.jpg": (2736, 3648),
    "odd-21.jpg": (4032, 3024),
    "odd-22.tif": (128, 128),
    "odd-23.heic": (4032, 3024),
    "odd-24.jpg": (302, 403),
    "odd-25.heic": (2560, 2560),
    "odd-26.tiff": (211, 317),
    "odd-27.jpg": "refused",
    "odd-28.png": (684, 1024),
    "odd-29.jpg": (1072, 2000),
}


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="shared photographs are absent")
def test_every_odd_photograph_is_listed():
    assert sorted(path.name for path in PHOTOS.glob("odd-*")) == sorted(OUTCOMES)


@pytest.mark.parametrize("name", OUTCOMES)
def test_odd_photograph(name):
    path = PHOTOS / name
    if not path.is_file():
        pytest.skip(f"{name}: shared photographs are absent")
    try:
        photo = read_photo(path)
    except SagglabError as error:
        assert error.where == str(path)
        outcome = "refused"
    else:
        outcome = photo.linear.shape[:2]
        assert 0 <= photo.linear.min() < photo.linear.max() <= 1
        assert np.isfinite(photo.linear).all()
    assert outcome == OUTCOMES[name]
