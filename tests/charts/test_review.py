"""Review pictures: what was measured lies where it is in the photograph."""

from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon
from PIL import Image

from sagglab.charts import review_picture, save_review
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
    assert "pot.png" in title
    assert f"L* {measured.table['L*'].item():.1f}" in title


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
