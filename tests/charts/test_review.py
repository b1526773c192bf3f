"""Review pictures: what was measured lies where it is in the photograph, and all of it can be read."""

import io
import pickle
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection, PolyCollection
from matplotlib.text import Text
from PIL import Image

from sagglab.charts import review_picture, reviews_in
from sagglab.charts.alt import alt_text
from sagglab.charts.overlay import shown
from sagglab.charts.review_panels import grid_shape
from sagglab.colour import delta_e_2000, srgb_to_xyz, xyz_to_lab
from sagglab.errors import MissingFileError, Problem, Problems
from sagglab.photo.image import read_photo
from sagglab.photo.measure import measure_photo
from sagglab.photo.palette import Palette


def line(ax, label):
    """Give the places of a line over the photograph."""
    (found,) = [each for each in ax.lines if each.get_label() == label]
    return found.get_xydata()


def words(ax):
    """List all that is written in the whole picture, with its box in pixels."""
    figure = ax.figure
    figure.canvas.draw()
    artists = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    artists = [text for text in artists if text.axes is None or text.axes.axison or text in text.axes.texts]
    return [(text.get_text(), text.get_window_extent()) for text in artists]


def told(ax):
    return "\n".join(word for word, _ in words(ax))


def assert_all_can_be_read(ax):
    ax.figure.set_dpi(160)  # as it is saved
    written = words(ax)
    page = ax.figure.bbox
    for word, box in written:
        assert page.contains(*box.min) and page.contains(*box.max), f"'{word}' is cut off"
    for (one, box), (other, second) in combinations(written, 2):
        assert not box.padded(-0.5).overlaps(second.padded(-0.5)), f"'{one}' lies over '{other}'"
    parts = [(str(n), each.get_window_extent()) for n, each in enumerate(ax.figure.axes)]
    for (one, box), (other, second) in combinations(parts, 2):
        assert not box.padded(-0.5).overlaps(second.padded(-0.5)), f"axes {one} lie over axes {other}"
    for word, box in written:
        assert not any(box.overlaps(part) for _, part in parts[:1]) or word == "row 1", word


def test_lines_lie_where_they_were_measured(measured, scene):
    ax = review_picture(measured)
    rows, columns = np.nonzero(scene.pot)
    truth = [columns.min() - 0.5, columns.max() + 0.5, rows.min() - 0.5, rows.max() + 0.5]
    outline = line(ax, "outline")
    drawn = [np.nanmin(outline[:, 0]), np.nanmax(outline[:, 0]), np.nanmin(outline[:, 1])]
    np.testing.assert_allclose([*drawn, np.nanmax(outline[:, 1])], truth, atol=6)
    np.testing.assert_allclose(line(ax, "target")[:4], measured.corners)
    form = measured.side.surface.form
    axis = line(ax, "axis")
    np.testing.assert_allclose(axis[:2], [form.foot, form.rim])
    # The band's edges lie sin(37°) of the radius from the axis, at the widest place.
    middle = form.foot + form.widest * (form.rim - form.foot)
    band = line(ax, "band")
    at = np.abs(band[:, 1] - middle[1]) < 40
    reach = form.radius.max() * np.sin(np.radians(37))
    np.testing.assert_allclose(np.nanmin(band[at, 0]), middle[0] - reach, atol=3)
    np.testing.assert_allclose(np.nanmax(band[at, 0]), middle[0] + reach, atol=3)


def test_the_photograph_is_drawn_as_read(measured, scene):
    ax = review_picture(measured)
    picture = ax.images[0].get_array()
    # As large as it is saved, and no larger.
    saved = 160 * ax.bbox.width / ax.figure.dpi
    assert 0.8 * saved <= picture.shape[1] <= saved + 1
    here, there = (
        picture[: picture.shape[0] // 8].mean(axis=(0, 1)),
        scene.srgb[: 900 // 8].mean(axis=(0, 1)),
    )
    np.testing.assert_allclose(here, there, atol=2)


def test_glare_is_ringed(measured):
    surface = measured.side.surface
    glare = np.zeros_like(surface.glare)
    glare[40:60, 50:90] = True
    glaring = replace(measured, side=replace(measured.side, surface=replace(surface, glare=glare)))
    ring = line(review_picture(glaring), "glare")
    low, high = surface.corner + surface.pitch * [50, 40], surface.corner + surface.pitch * [89, 59]
    np.testing.assert_allclose([np.nanmin(ring, axis=0), np.nanmax(ring, axis=0)], [low, high], atol=0.1)


def test_rings_grow_with_the_error_and_crosses_hardly_count(measured):
    patches = measured.calibration.patches.assign(**{"ΔE00": 1.0, "doubt": ""})
    patches.loc[2, "ΔE00"] = 8.0
    patches.loc[[7, 9], "doubt"] = ["hidden", "beyond the file's colours"]
    off = replace(measured, calibration=replace(measured.calibration, patches=patches))
    ax = review_picture(off)
    (rings,) = [each for each in ax.collections if isinstance(each, PathCollection)]
    counting = patches.drop(index=7)[["x", "y"]].to_numpy()
    np.testing.assert_allclose(rings.get_offsets(), counting)
    np.testing.assert_allclose(line(ax, "crosses"), patches.loc[[7], ["x", "y"]])
    size = np.sqrt(rings.get_sizes())
    assert size.argmax() == 2 and size[2] > 2 * np.delete(size, 2).max()
    assert [word for word, _ in words(ax)].count("1.0") >= 23 and "8.0" in told(ax)


def test_the_figures_are_told(measured):
    written = told(review_picture(measured))
    row = measured.table.iloc[0]
    reach = (row["L* high"] - row["L* low"]) / 2
    for figure in (
        f"pot.png:  L* {row['L*']:.1f} ± {reach:.1f}   a* {row['a*']:.1f}",
        f"C*ab {row['C*ab']:.1f}, hue {row['hue angle']:.0f}°",
        f"dark {row['dark share']:.0%}, red-orange {row['red-orange share']:.0%}",
        f"glare {row['glare share']:.1%}, clipped {row['clipped share']:.1%}",
        f"{row['usable share']:.0%} of the pot's side",
        f"ΔE00 mean {row['mean ΔE00']:.2f}, largest {row['max ΔE00']:.1f}, left out "
        f"{row['left-out mean ΔE00']:.2f}",
        f"Fall-off: {row['fall-off']}",
        f"ΔL* {row['shading ΔL*']:+.1f}",
        f"of the outline: {row['outline confidence']:.2f}",
        f"Flags: {row['flags']}",
    ):
        assert figure in written


def scaled(measured, cm_per_px):
    surface = measured.side.surface
    form = replace(surface.form, cm_per_px=cm_per_px)
    table = measured.table.assign(
        **{
            "measured height [cm]": form.height_cm,
            "measured diameter [cm]": form.diameter_cm,
            "surface area [cm2]": form.area_cm2,
        }
    )
    at, rows = measured.side.map.height, len(measured.side.map.height)
    unrolled = replace(
        measured.side.map,
        radius_mm=np.interp(at, form.heights, form.radius) * 10 * cm_per_px,
        step_mm=np.interp(at, form.heights, np.hypot(1, form.slope)) * form.length / rows * 10 * cm_per_px,
    )
    side = replace(measured.side, surface=replace(surface, form=form), map=unrolled)
    return replace(measured, side=side, table=table)


def test_the_figures_are_told_to_those_who_do_not_see_them(measured):
    told = alt_text(review_picture(measured))
    row = measured.table.iloc[0]
    assert f"L* {row['L*']:.1f} ± {(row['L* high'] - row['L* low']) / 2:.1f}" in told
    assert f"dark {row['dark share']:.0%}" in told
    assert f"Grade: {measured.calibration.grade}" in told


def test_map_and_profile_stand_on_one_scale_of_height(measured):
    for cm_per_px, unit in ((0.02, "cm"), (np.nan, "%")):
        to_scale = scaled(measured, cm_per_px)
        _, unrolled, profile, *_ = review_picture(to_scale).figure.axes
        height = to_scale.side.surface.form.height_cm if unit == "cm" else 100
        assert unrolled.get_ylim() == profile.get_ylim() == pytest.approx((0, height), rel=0.005)
        assert unrolled.get_ylabel() == f"height [{unit}]"
        lightness, heights = profile.lines[0].get_data()
        at = measured.table.iloc[0]["L* at 82.5 % height"]
        assert lightness[16] == at and heights[16] == pytest.approx(0.825 * height, rel=0.005)
        assert unrolled.bbox.y0 == pytest.approx(profile.bbox.y0)
    assert "No scale" in told(review_picture(scaled(measured, np.nan)))


def test_the_map_shows_the_colours_measured_and_nothing_where_nothing_was(measured):
    surface_map = measured.side.map
    lab = surface_map.lab.copy()
    lab[10:20, 30:40] = np.nan
    blank = replace(measured, side=replace(measured.side, map=replace(surface_map, lab=lab)))
    _, unrolled, *_ = review_picture(blank).figure.axes
    pixels = unrolled.images[0].get_array()
    np.testing.assert_array_equal(pixels[..., 3] > 0, np.isfinite(lab).all(axis=-1))
    seen = pixels[..., 3] > 0
    # Back from the display's colours: nearly all of the pot's are among them.
    apart = delta_e_2000(xyz_to_lab(srgb_to_xyz(pixels[seen][:, :3])), lab[seen])
    assert np.median(apart) < 0.01 and (apart < 1).mean() > 0.9


def test_the_palette_is_as_wide_as_its_shares_and_cut_where_no_display_shows_it(measured):
    colours = Palette(np.array([[50, 10, 10], [50, 120, 0.0]]), np.array([0.75, 0.25]))
    cut = replace(measured, side=replace(measured.side, palette=colours))
    ribbon = review_picture(cut).figure.axes[3]
    (blocks,) = [each for each in ribbon.collections if isinstance(each, PolyCollection)]
    wide = [path.vertices[:-1] for path in blocks.get_paths()][::2]
    np.testing.assert_allclose([np.ptp(block[:, 0]) for block in wide], [0.75, 0.25])
    # One corner of the second is cut: two places in the place of one.
    assert [len(np.unique(block, axis=0)) for block in wide] == [4, 5]
    assert "75%\nL* 50  a* 10  b* 10" in told(review_picture(cut))


def trouble(number):
    cause = f"trouble number {number} with a view that has an uncommonly long story, told here in full " * 2
    return Problem("photos", None, "", cause.strip(), "", stops=False)


@pytest.fixture(scope="module")
def framed(measured, tmp_path_factory):
    """Give a function that has the same photograph with so many rows and columns, more beyond its edges."""
    folder = tmp_path_factory.mktemp("framed")

    def frame(rows, columns, name="framed"):
        picture = np.asarray(Image.fromarray((255 * displayed(measured)).astype(np.uint8)))
        wider = np.pad(picture, ((0, rows - 900), (0, columns - 1200), (0, 0)), mode="edge")
        path = folder / f"{name}-{rows}-{columns}.png"
        Image.fromarray(wider).save(path)
        return replace(measured, path=str(path), size=(rows, columns))

    return frame


def displayed(measured):
    photo = read_photo(measured.path)
    return photo.display(photo.linear)


@pytest.mark.parametrize("size", [(900, 1200), (2600, 1200), (900, 3600)])
@pytest.mark.parametrize("problems", [0, 12])
def test_nothing_is_cut_off_or_written_over(framed, size, problems):
    odd = framed(*size, name="THE-GREAT-BOWL-WITH-A-NAME-THAT-GOES-ON-" * 4)
    odd = replace(odd, problems=Problems([*odd.problems, *map(trouble, range(problems))]))
    ax = review_picture(odd)
    assert_all_can_be_read(ax)
    assert told(ax).count("Problem: ") == problems


def test_a_narrow_pot_and_a_wide_one_can_be_read(measured):
    surface = measured.side.surface
    for wider in (0.15, 4.0):
        form = replace(surface.form, radius=wider * surface.form.radius)
        side = replace(measured.side, surface=replace(surface, form=form))
        assert_all_can_be_read(review_picture(replace(measured, side=side)))


def test_a_borrowed_calibration_is_said_and_no_grid_is_drawn(measured, scene, tmp_path):
    path = tmp_path / "bare.png"
    bare = scene.srgb.copy()
    bare[:, :550] = np.median(bare[:50, :50], axis=(0, 1))
    Image.fromarray(bare).save(path)
    lent = measured.target_shot
    ax = review_picture(measure_photo(path, target_shot=lent))
    written = told(ax)
    assert f"Calibrated from {Path(lent.path).name}" in written
    assert "ΔE00 of each patch of the target that served; row 1 on top" in written
    assert "calibrated from another photograph" in written and "Sure of the target: not found" in written
    assert not ax.texts and not ax.collections
    assert "target" not in [each.get_label() for each in ax.lines]
    assert_all_can_be_read(ax)


def test_review_picture_without_a_pot(scenes, demo, tmp_path):
    path = tmp_path / "target.png"
    Image.fromarray(scenes.render_target(4).srgb).save(path)
    ax = review_picture(measure_photo(path, target=demo / "targets/studio-target.csv"))
    assert "target.png:  no pot" in told(ax)
    assert len(ax.figure.axes) == 2
    assert not len(line(ax, "outline")) and not len(line(ax, "band"))
    assert len(line(ax, "target")) == 5
    assert_all_can_be_read(ax)


def test_a_target_of_many_patches_can_be_read(measured):
    places = np.stack(np.meshgrid(np.linspace(100, 400, 14), np.linspace(500, 700, 10)), axis=-1).reshape(
        -1, 2
    )
    patches = measured.calibration.patches.iloc[np.arange(140) % 24].reset_index(drop=True)
    patches = patches.assign(x=places[:, 0], y=places[:, 1], **{"ΔE00": 12.3})
    many = replace(measured, calibration=replace(measured.calibration, patches=patches))
    assert_all_can_be_read(review_picture(many))


@pytest.mark.parametrize("shape", [(4, 6), (6, 4), (1, 5), (10, 14)])
def test_the_grids_shape_shows_in_its_places_whichever_way_it_lies(measured, shape):
    rows, columns = shape
    column, row = np.meshgrid(np.arange(columns), np.arange(rows))
    for turned in np.radians([0, 35, 90, 170, 260]):
        x = 50 * (column * np.cos(turned) - row * np.sin(turned)).ravel()
        y = 50 * (column * np.sin(turned) + row * np.cos(turned)).ravel()
        calibration = replace(measured.calibration, patches=pd.DataFrame({"x": x, "y": y}))
        assert grid_shape(replace(measured, calibration=calibration)) == shape


def test_patches_beyond_the_frame_leave_the_picture_as_it_is(measured):
    patches = measured.calibration.patches.assign(y=lambda table: table["y"] + 300)
    corners = measured.corners + [0, 300]
    off = replace(measured, corners=corners, calibration=replace(measured.calibration, patches=patches))
    ax = review_picture(off)
    assert (ax.get_xlim(), ax.get_ylim()) == ((-0.5, 1199.5), (899.5, -0.5))
    assert_all_can_be_read(ax)


def test_a_photograph_that_is_gone_is_said(measured):
    with pytest.raises(MissingFileError):
        review_picture(replace(measured, path="gone.jpg"))


def test_reviews_are_drawn_in_any_process_and_leave_no_figure(measured, tmp_path):
    reviews = pickle.loads(pickle.dumps(reviews_in(tmp_path)))
    pictures = reviews.draw(measured)
    assert list(pictures) == [".jpg", "-small.jpg"]
    with Image.open(io.BytesIO(pictures[".jpg"])) as whole:
        assert whole.format == "JPEG" and whole.size[0] == 1600
    with Image.open(io.BytesIO(pictures["-small.jpg"])) as small:
        assert small.format == "JPEG" and 300 <= max(small.size) <= 420
        pixels = np.asarray(small, dtype=float)
    assert plt.get_fignums() == []
    # The outline is drawn where it is, and most of the photograph is left as it was.
    changed = np.abs(pixels - shown(read_photo(measured.path), 420)).max(axis=-1) > 30
    scale = small.size[0] / measured.size[1]
    x, y = np.rint((measured.outline.rings[0] + 0.5) * scale - 0.5).astype(int).T
    assert changed[y, x].mean() > 0.9
    assert changed.mean() < 0.1


def test_the_version_tells_the_code_apart(tmp_path):
    first, second = reviews_in(tmp_path / "a"), reviews_in(tmp_path / "b")
    assert first.version == second.version != ""
