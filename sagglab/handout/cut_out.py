"""Cut-outs: a pot cut out of its photograph with a little of what is around it, in calibrated colours."""

from __future__ import annotations

import io
from contextlib import suppress

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from sagglab.book import Book
from sagglab.colour import lab_to_srgb
from sagglab.errors import OutlineError, SagglabError
from sagglab.measures.views import measure_view
from sagglab.photo.image import read_photo
from sagglab.photo.outline import Outline
from sagglab.photo.picture import Picture, reduced_places
from sagglab.progress import progress

#: Width over height of every cut-out, so that pots stand in a row alike.
ASPECT = 4 / 5
#: What is seen around the pot, in shares of its height, or of its width where that fills the frame.
MARGIN = 0.08
#: Longest side: 34 mm at 300 dots to an inch, and 15 to 25 kB each.
LONGEST_PX = 420
QUALITY = 85
#: Where a colour profile keeps the time at which it was made, by the ICC's layout of its header.
_MADE_AT = slice(24, 36)


def cut_out(book: Book, photo: str, longest_px: int = LONGEST_PX) -> bytes:
    """Cut the pot out of a photograph.

    All cut-outs have one shape; the pot fills the same share of it, and stands at the same height above its
    lower edge. The light's fall-off is taken out; shading over the curve, gloss and what lies around stay.

    Parameters
    ----------
    book : Book
    photo : str
        The photograph as the table ``photos`` names it.
    longest_px : int
        Height of the cut-out; smaller where the photograph shows the pot smaller.

    Returns
    -------
    bytes
        A JPEG in sRGB, its profile embedded, with nothing of what the camera wrote into the photograph.

    Raises
    ------
    SagglabError
        As `measure_view` raises them; or no pot was found.
    """
    measured = measure_view(book, photo)
    if not measured.outline:
        raise OutlineError(photo, "no pot was found in it", "give the pot outline in the table photos")
    picture = read_photo(measured.path).picture
    light, places = _framed(picture, *_frame(measured.outline, measured.size), longest_px)
    colours, _ = lab_to_srgb(measured.calibration.lab(light, places))
    return _as_jpeg(np.rint(255 * colours).astype(np.uint8))


def cut_outs(book: Book, photos: list[str]) -> list[bytes | None]:
    """Cut out several pots; None for a photograph that cannot be read or shows none, and for a blank name."""
    # One after another: eight of the demo took 5.5 s; two processes 4.6 s once they ran, and 12 s with
    # starting them; two threads 4.7 s.
    found: list[bytes | None] = []
    with progress("cutting out", len(photos), "pots") as step:
        for photo in photos:
            found.append(None)
            with suppress(SagglabError):
                found[-1] = cut_out(book, photo) if photo else None
            step()
    return found


def _frame(outline: Outline, size: tuple[int, int]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Place the frame around the pot: its upper left pixel (x, y), and its width and height."""
    ring = np.concatenate(outline.rings)
    low, high = ring.min(axis=0), ring.max(axis=0)
    wide, tall = (high - low) * (1 + 2 * MARGIN)
    height = max(tall, wide / ASPECT)
    extent = np.array([height * ASPECT, height])
    below = height * MARGIN / (1 + 2 * MARGIN)
    corner = np.array([(low[0] + high[0]) / 2 - extent[0] / 2, high[1] + below - height])
    # Moved rather than cut where it reaches beyond the photograph.
    corner = np.clip(corner, 0, np.maximum(np.array(size[::-1]) - extent, 0))
    return np.rint(corner).astype(np.intp), np.maximum(np.rint(extent), 1).astype(np.intp)


def _framed(
    picture: Picture, corner: NDArray[np.intp], extent: NDArray[np.intp], longest_px: int
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Linear light in a frame, reduced, and the places of its pixels in the photograph."""
    across, down = (start + np.arange(length) for start, length in zip(corner, extent, strict=True))
    # Beyond the photograph the pixels of its edge, which are backdrop, go on.
    light = picture.at(across[None, :], down[:, None])
    reduced = np.maximum(np.rint(extent * min(1.0, longest_px / extent[1])), 1).astype(int)
    light = cv2.resize(light, tuple(reduced.tolist()), interpolation=cv2.INTER_AREA)
    return light, reduced_places(light.shape[:2], tuple(extent[::-1].tolist())) + corner


def _as_jpeg(picture: NDArray[np.uint8]) -> bytes:
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    # The time at which it was made would make the same pot a different file each time.
    profile[_MADE_AT] = bytes(12)
    page = io.BytesIO()
    # Every pixel keeps its own colour: at half the places for colour, orange flashes bleed into black.
    Image.fromarray(picture).save(
        page, "JPEG", quality=QUALITY, subsampling=0, optimize=True, icc_profile=bytes(profile)
    )
    return page.getvalue()
