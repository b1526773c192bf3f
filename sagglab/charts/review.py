"""Review pictures: what was measured in a photograph, in one picture."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.contact_sheet import SMALL_QUALITY, THUMBNAIL, write_contact_sheet
from sagglab.charts.files import draw_to_files
from sagglab.charts.look import INK, QUIET, WARN, look, wrapped
from sagglab.charts.overlay import as_jpeg, draw_over, drawn_small, overlay_of, shown
from sagglab.charts.review_panels import (
    draw_map,
    draw_palette,
    draw_patches,
    draw_profile,
    grid_shape,
    map_shape,
)
from sagglab.charts.review_words import (
    calibration_words,
    key_words,
    patch_words,
    surface_words,
    title_words,
    warning_words,
)
from sagglab.measures.kept import code_version
from sagglab.measures.reviews import Reviews
from sagglab.photo.image import Photo, read_photo
from sagglab.photo.measure import MeasuredPhoto

#: Width of a picture in inches, and dots to an inch when it is saved: 1600 pixels.
WIDTH, DPI = 10.0, 160
#: White around and between the parts, inches.
MARGIN, GAP, BETWEEN = 0.14, 0.25, 0.12
#: The most that the photograph takes, and the least height of the map beside it, inches.
PHOTO_WIDTH, PHOTO_HEIGHT, LEAST_MAP = 5.6, 5.6, 2.2
#: Room for the ticks and words of the map and the profile: left, between, below; and the profile's width.
MAP_LEFT, MAP_GAP, MAP_BELOW, PROFILE = 0.5, 0.14, 0.45, 0.9
#: Height of the palette, of a row of patches, the most of all rows, and the width of them, inches.
RIBBON, PATCH, PATCHES, MOST_WIDE = 0.8, 0.27, 2.2, 3.6
#: Type in points: title, words, the smallest.
TITLE, WORDS, SMALLEST = 11, 8, 6.5
#: From line to line, and a letter's width as reckoned with, plain and bold, in shares of the type's size. In
#: the mean letters of running text are 0.49 wide, of a name in capitals 0.61, and 0.68 in bold.
LEADING, LETTER, BOLD = 1.4, 0.64, 0.72
#: Quality of the picture as JPEG.
QUALITY = 88


def review_picture(measured: MeasuredPhoto) -> Axes:
    """Draw what was measured in a photograph, in one picture.

    Over the photograph as read: the target's grid, the pot's outline and axis, the central band and its
    glare. Beside it the surface unrolled, as it was measured, its height profile, and the ΔE00 of each of the
    target's patches; below, the palette, and what was measured in words and numbers.

    Parameters
    ----------
    measured : MeasuredPhoto
        Its photograph is read again from its file.

    Returns
    -------
    Axes
        That of the photograph; its figure holds all.

    Raises
    ------
    MissingFileError, PhotoError
        The photograph is no longer there, or was changed.

    Examples
    --------
    >>> from sagglab import measure_photo
    >>> from sagglab.charts import alt_text
    >>> target = measure_photo("data/demo/photos/phone-target-1.jpg", "data/demo/targets/studio-target.csv")
    >>> alt_text(review_picture(target)).split(". ")[:3]
    ['Review of a photograph', 'phone-target-1.jpg: no pot', 'Calibrated from its own target']
    >>> plt.close()
    """
    return _review(measured, read_photo(measured.path))


def reviews_in(folder: str | Path) -> Reviews:
    """Have `measure_photos` leave a review picture of each photograph in a folder, and a sheet of all.

    The sheet is ``index.html``, as `write_contact_sheet` makes it.

    Parameters
    ----------
    folder : path
        Made where it is missing.

    Returns
    -------
    Reviews
        For the argument ``reviews`` of `measure_photos`.

    Examples
    --------
    >>> import tempfile
    >>> from dataclasses import replace
    >>> from sagglab import measure_photos, open_book
    >>> book = open_book("data/demo")
    >>> target = book.photos[book.photos["photo"] == "photos/phone-target-1.jpg"]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = measure_photos(replace(book, photos=target), jobs=1, reviews=reviews_in(folder))
    ...     sorted(path.name for path in Path(folder).iterdir())
    ['index.html', 'photos-phone-target-1-small.jpg', 'photos-phone-target-1.jpg']
    """
    return Reviews(Path(folder), _drawn, write_contact_sheet, code_version(("charts", "colour.py")))


def _drawn(measured: MeasuredPhoto) -> dict[str, bytes]:
    """Draw the review picture, and a small one for the sheet."""
    draw_to_files()
    photo = read_photo(measured.path)
    figure = _review(measured, photo).figure
    whole = io.BytesIO()
    figure.savefig(whole, format="jpg", dpi=DPI, pil_kwargs={"quality": QUALITY})
    plt.close(figure)
    small = drawn_small(photo, overlay_of(measured), THUMBNAIL)
    return {".jpg": whole.getvalue(), "-small.jpg": as_jpeg(small, SMALL_QUALITY)}


def _review(measured: MeasuredPhoto, photo: Photo) -> Axes:
    rows, columns = photo.picture.size
    wide = min(PHOTO_WIDTH, PHOTO_HEIGHT * columns / rows)
    high = wide * rows / columns
    inner, right = WIDTH - 2 * MARGIN, MARGIN + wide + GAP
    half, beside = (inner - GAP) / 2, WIDTH - MARGIN - right
    has_pot = measured.side is not None
    title = _set(title_words(measured), inner, TITLE, BOLD)
    key = _set(key_words(measured), inner, SMALLEST)
    # Without a pot, words stand where its surface would.
    of_target = _set(calibration_words(measured), half if has_pot else beside)
    of_surface = _set(surface_words(measured), half)
    warned = _set(warning_words(measured), inner)
    patches = min(PATCHES, PATCH * grid_shape(measured)[0]) + _tall([""])
    above = LEAST_MAP if has_pot else _tall(of_target)
    # The picture is as high as its words need.
    parts = [_tall(title, TITLE), max(high, above + GAP + patches), _tall(key, SMALLEST)]
    if has_pot:
        parts += [RIBBON, max(_tall(of_surface), _tall(of_target))]
    parts += [_tall(warned)] if warned else []
    tops = [MARGIN + sum(parts[:k]) + BETWEEN * k for k in range(len(parts))]
    with look():
        page = _Page(2 * MARGIN + sum(parts) + BETWEEN * (len(parts) - 1))
        page.write(MARGIN, tops[0], title, TITLE, weight="bold")
        ax = page.axes(MARGIN, tops[1], wide, high)
        _photograph(ax, measured, photo, wide)
        page.write(MARGIN, tops[2], key, SMALLEST, color=QUIET)
        if has_pot:
            above = _surface(page, measured, right, tops[1], parts[1] - GAP - patches)
            draw_palette(page.axes(MARGIN, tops[3], inner, RIBBON), measured.side.palette)
            page.write(MARGIN, tops[4], of_surface)
            page.write(MARGIN + half + GAP, tops[4], of_target)
        else:
            page.write(right, tops[1], of_target)
        _patches(page, measured, right, tops[1] + above + GAP, min(beside, MOST_WIDE), patches)
        if warned:
            page.write(MARGIN, tops[-1], warned, color=WARN)
    said = [*title_words(measured), *surface_words(measured), *calibration_words(measured)]
    return describe(ax, f"Review of a photograph. {'. '.join([*said, *warning_words(measured)])}.")


class _Page:
    """A figure on which places are told in inches from its upper left corner."""

    def __init__(self, height: float) -> None:
        self._height = height
        self._figure = plt.figure(figsize=(WIDTH, height))

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        low = self._height - top - height
        whole = self._height
        return self._figure.add_axes((left / WIDTH, low / whole, width / WIDTH, height / whole))

    def write(
        self, left: float, top: float, lines: list[str], size: float = WORDS, color: str = INK, **font: str
    ) -> None:
        for k, line in enumerate(lines):
            # Line by line, since the height of a line of several is the font's, and not ours.
            place = left / WIDTH, 1 - (top + k * size * LEADING / 72) / self._height
            self._figure.text(*place, line, fontsize=size, color=color, va="top", **font)


def _set(lines: list[str], width: float, size: float = WORDS, letter: float = LETTER) -> list[str]:
    """Break lines to a width in inches."""
    letters = int(72 * width / (size * letter))
    return [part for line in lines for part in wrapped(line, letters).split("\n")]


def _tall(lines: list[str], size: float = WORDS) -> float:
    """Height in inches of so many lines."""
    return len(lines) * size * LEADING / 72


def _photograph(ax: Axes, measured: MeasuredPhoto, photo: Photo, width: float) -> None:
    rows, columns = photo.picture.size
    # Reduced in linear light to the size at which it is drawn.
    picture = shown(photo, round(DPI * width * max(rows, columns) / columns))
    frame = (-0.5, columns - 0.5, rows - 0.5, -0.5)
    ax.imshow(picture, extent=frame, aspect="auto")
    ax.autoscale(False)  # patches may lie beyond the frame
    ax.set_axis_off()
    draw_over(ax, overlay_of(measured), 72 * width / columns)


def _surface(page: _Page, measured: MeasuredPhoto, left: float, top: float, height: float) -> float:
    """Draw map and profile as large as there is room for, in the pot's own shape; gives the height taken."""
    room = WIDTH - MARGIN - left - MAP_LEFT - MAP_GAP - PROFILE
    tall = height - MAP_BELOW
    shape = map_shape(measured.side)
    width = max(0.8, min(room, tall * shape))
    tall = min(tall, width / shape)
    draw_map(page.axes(left + MAP_LEFT, top, width, tall), measured.side)
    draw_profile(page.axes(left + MAP_LEFT + width + MAP_GAP, top, PROFILE, tall), measured)
    return tall + MAP_BELOW


def _patches(
    page: _Page, measured: MeasuredPhoto, left: float, top: float, width: float, height: float
) -> None:
    head = _tall([""])
    page.write(left, top, patch_words(measured))
    draw_patches(page.axes(left, top + head, width, height - head), measured)
