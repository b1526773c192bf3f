"""Review pictures: what was measured lies where it is in the photograph."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon
from PIL import Image

from sagglab.charts import review_picture, save_review
from sagglab.errors import Problem, Problems
from sagglab.photo.measure import measure_photo


def test_review_picture_holds_photograph_outline_and_grid(measured, scene):
    ax = review_picture(measured)
    assert ax.images[0].get_array().shape == (900, 1200, 3)
    polygons = [patch for patch in ax.patches if isinstance(patch, Polygon)]
    np.testing.assert_allclose(polygons[0].get_xy()[:4], measured.corners)
    rows, columns = np.nonzero(scene.pot)
    outline = next(p.get_xy() for p in polygons if to_rgb(p.get_edgecolor()) == to_rgb("#ffb000"))
    expected = [columns.min(), columns.max(), rows.min(), rows.max()]
    drawn = [*outline[:, 0].min(keepdims=True), outline[:, 0].max(), outline[:, 1].min(), outline[:, 1].max()]
    np.testing.assert_allclose(drawn, expected, atol=6)


def test_review_picture_tells_the_figures(measured):
    title = review_picture(measured).get_title(loc="left")
    row = measured.table.iloc[0]
    first, second, flags = title.splitlines()
    reach = (row["L* high"] - row["L* low"]) / 2
    assert first.startswith(f"pot.png:  L* {row['L*']:.1f} ± {reach:.1f}   a* {row['a*']:.1f}")
    assert f"ΔE00 mean {row['mean ΔE00']:.2f}, left out {row['left-out mean ΔE00']:.2f}" in second
    assert row["fall-off"] in second
    assert flags == f"Flags: {row['flags']}"


def test_a_long_title_is_broken_and_stays_in_the_picture(measured):
    many = replace(measured, problems=Problems([*measured.problems, *map(trouble, range(9))]))
    ax = review_picture(many)
    assert max(map(len, ax.get_title(loc="left").splitlines())) <= 110
    ax.figure.canvas.draw()
    title = ax._left_title.get_window_extent()
    assert ax.figure.bbox.containsx(title.x1) and ax.figure.bbox.containsy(title.y1)
    assert title.y0 >= ax.get_window_extent().y1


def trouble(number):
    cause = f"trouble number {number} with a view that has an uncommonly long story, told here in full " * 2
    return Problem("photos", None, "", cause.strip(), "", stops=False)


def numbers(ax):
    return [text.get_text() for text in ax.texts if text.get_text() != "row 1"]


def test_patches_that_are_far_off_tell_how_far(measured):
    patches = measured.calibration.patches.assign(**{"ΔE00": 1.0})
    patches.loc[[2, 7, 9], "ΔE00"] = [3.14, 2.94, 12.0]
    patches.loc[9, "doubt"] = "hidden"
    off = replace(measured, calibration=replace(measured.calibration, patches=patches))
    ax = review_picture(off)
    assert numbers(ax) == ["3.1"]
    assert ax.texts[-1].xy == pytest.approx(patches.loc[2, ["x", "y"]].tolist())
    rings, crosses = ax.lines
    assert len(crosses.get_xdata()) == (~patches["doubt"].isin(["", "beyond the file's colours"])).sum()
    assert len(rings.get_xdata()) + len(crosses.get_xdata()) == 24


def test_patches_beyond_the_frame_leave_the_picture_as_it_is(measured):
    patches = measured.calibration.patches.assign(y=lambda table: table["y"] + 300)
    off = replace(measured, calibration=replace(measured.calibration, patches=patches))
    ax = review_picture(off)
    assert (ax.get_xlim(), ax.get_ylim()) == ((-0.5, 1199.5), (899.5, -0.5))


def test_a_borrowed_calibration_is_said_and_no_grid_is_drawn(measured, scene, tmp_path):
    path = tmp_path / "bare.png"
    bare = scene.srgb.copy()
    bare[:, :550] = np.median(bare[:50, :50], axis=(0, 1))
    Image.fromarray(bare).save(path)
    lent = measured.target_shot
    ax = review_picture(measure_photo(path, target_shot=lent))
    first, second, *_ = ax.get_title(loc="left").splitlines()
    assert first.startswith("bare.png:  L*")
    assert second.startswith(f"Calibrated from {Path(lent.path).name}: ΔE00")
    assert "calibrated from another photograph" in ax.get_title(loc="left")
    assert not ax.texts and not ax.lines


def test_review_picture_without_a_pot(scenes, demo, tmp_path):
    path = tmp_path / "target.png"
    Image.fromarray(scenes.render_target(4).srgb).save(path)
    ax = review_picture(measure_photo(path, target=demo / "targets/studio-target.csv"))
    assert "no pot" in ax.get_title(loc="left")
    assert len(ax.patches) == 1


def test_saved_review_is_named_after_the_photograph_and_its_folder(measured, tmp_path):
    save_review(tmp_path, measured)
    folder = Path(measured.path).parent.name
    assert [path.name for path in tmp_path.iterdir()] == [f"{folder}-pot.jpg"]
