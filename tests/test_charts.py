"""Charts: what was drawn is what the tables say."""

from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon
from PIL import Image

from sagglab.book import open_book
from sagglab.charts import (
    effect_chart,
    firing_curves,
    pot_swatches,
    review_picture,
    save_chart,
    save_review,
)
from sagglab.colour import lab_to_srgb
from sagglab.errors import UnknownNameError
from sagglab.firing.readings import read_readings
from sagglab.model.effects import fit_effects
from sagglab.photo.measure import measure_photo


@pytest.fixture(autouse=True)
def _no_window_and_no_leak(monkeypatch):
    mpl.use("Agg")

    def refuse(*_, **__):
        raise AssertionError("a chart is never shown by what draws it")

    monkeypatch.setattr(plt, "show", refuse)
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def pots(demo):
    """The demo's recipes with their true colours."""
    truth = pd.read_csv(demo / "truth/pots.csv").rename(columns={"peak [degC]": "peak_C"})
    return open_book(demo).pots.merge(truth[["pot", "peak_C", "L*", "a*", "b*"]], on="pot")


@pytest.fixture(scope="module")
def effects(pots):
    return fit_effects(pots, outcome="L*", factors=["sugar [g]", "clay", "peak_C"])


@pytest.fixture(scope="module")
def records(demo):
    return {tag: read_readings(demo / f"readings/{tag}.csv") for tag in ("f1", "f5")}


@pytest.fixture(scope="module")
def measured(scene_file, demo):
    return measure_photo(scene_file, target=demo / "targets/studio-target.csv")


def points(ax):
    return [line for line in ax.lines if line.get_marker() == "o"]


def test_effects_are_drawn_at_their_estimates(effects):
    ax = effect_chart(effects)
    table = effects.table.set_index("term")
    drawn = [float(point.get_xdata()[0]) for point in points(ax)][::-1]
    assert isinstance(ax, Axes)
    assert len(drawn) == 3
    with_sugar = table.loc[table.index.str.startswith("with"), "estimate"].item()
    assert drawn[0] == pytest.approx(with_sugar)
    clay = table.loc[table.index.str.contains("clay"), "estimate"].item()
    assert drawn[1] == pytest.approx(clay)


def test_interval_of_an_effect_is_drawn(effects):
    ax = effect_chart(effects)
    row = effects.table.set_index("term").filter(regex="^with", axis=0).iloc[0]
    spans = [sorted(line.get_xdata()) for line in ax.lines if len(line.get_xdata()) == 2]
    assert any(np.allclose(span, [row["low"], row["high"]]) for span in spans)


def test_only_clear_effects_are_filled(effects):
    ax = effect_chart(effects)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    filled = [to_rgb(point.get_markerfacecolor()) != (1, 1, 1) for point in points(ax)]
    by_label = dict(zip(labels, filled, strict=True))
    assert by_label[next(label for label in labels if "sugar" in label)]
    assert not by_label[next(label for label in labels if "clay" in label)]


def test_effect_chart_says_what_is_less_and_what_more(effects):
    ax = effect_chart(effects)
    assert "darker" in ax.get_xlabel()
    assert "lighter" in ax.get_xlabel()
    assert "95 %" in ax.get_title(loc="left")


def test_firing_curves_hold_the_readings(records):
    ax = firing_curves(records)
    curves = [line for line in ax.lines if len(line.get_xdata()) > 10]
    assert len(curves) == 2
    for curve, readings in zip(curves, records.values(), strict=True):
        assert max(curve.get_ydata()) == readings.counted["temperature_C"].max()
        assert min(curve.get_xdata()) == 0
    assert [text.get_text() for text in ax.get_legend().get_texts()] == ["f1", "f5"]


def test_firing_curves_have_both_units(records):
    ax = firing_curves(records)
    ax.figure.canvas.draw()
    right = ax.child_axes[0]
    assert (ax.get_ylabel(), right.get_ylabel()) == ("°C", "°F")
    low, high = ax.get_ylim()
    np.testing.assert_allclose(right.get_ylim(), [low * 1.8 + 32, high * 1.8 + 32])


def test_firing_curves_mark_where_foil_can_melt(records):
    levels = [line.get_ydata()[0] for line in firing_curves(records).lines if len(line.get_ydata()) == 2]
    assert 660.323 in levels
    assert 573 in levels


def test_swatches_are_the_pots_colours_from_dark_to_light(pots):
    ax = pot_swatches(pots, "sugar [g]")
    assert [label.get_text() for label in ax.get_yticklabels()] == ["0 g", "2 g", "4 g"]
    expected = []
    for _, group in pots.groupby("sugar [g]"):
        expected.append(lab_to_srgb(group.sort_values("L*")[["L*", "a*", "b*"]].to_numpy())[0])
    drawn = [patch.get_facecolor()[:3] for patch in ax.patches]
    np.testing.assert_allclose(drawn, np.concatenate(expected))
    assert len(ax.patches) == 36


def test_swatches_are_labelled_by_pot(pots):
    ax = pot_swatches(pots, "sugar")
    assert sorted(text.get_text() for text in ax.texts) == sorted(pots["pot"])


def test_a_colour_the_display_cannot_show_has_a_corner_cut_off():
    pots = pd.DataFrame(
        {"pot": ["in", "out"], "clay": "white", "L*": [40.0, 50.0], "a*": [10.0, 110.0], "b*": [10.0, 90.0]}
    )
    inside, outside = pot_swatches(pots, "clay").patches
    # A closed polygon repeats its first corner.
    assert len(inside.get_xy()) == 5
    assert len(outside.get_xy()) == 6


def test_pots_that_were_not_measured_have_no_swatch(pots):
    some = pots.assign(**{"L*": pots["L*"].where(pots["pot"] != "p01")})
    assert len(pot_swatches(some, "clay").patches) == 35


def test_swatches_by_an_unknown_column(pots):
    with pytest.raises(UnknownNameError, match="glitter"):
        pot_swatches(pots, "glitter")


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


def test_charts_draw_into_axes_that_are_given(effects, records, pots, measured):
    for draw in (
        lambda ax: effect_chart(effects, ax=ax),
        lambda ax: firing_curves(records, ax=ax),
        lambda ax: pot_swatches(pots, "clay", ax=ax),
        lambda ax: review_picture(measured, ax=ax),
    ):
        ax = plt.figure().add_subplot()
        assert draw(ax) is ax


def test_look_does_not_stay_behind(effects):
    before = dict(mpl.rcParams)
    effect_chart(effects)
    assert dict(mpl.rcParams) == before


def test_saved_chart_is_a_picture_and_is_let_go(effects, tmp_path):
    ax = effect_chart(effects)
    save_chart(ax, tmp_path / "effects.png")
    with Image.open(tmp_path / "effects.png") as picture:
        assert min(picture.size) > 200
    assert plt.get_fignums() == []


def test_saved_review_is_named_after_the_photograph_and_its_folder(measured, tmp_path):
    save_review(tmp_path, measured)
    folder = Path(measured.path).parent.name
    assert [path.name for path in tmp_path.iterdir()] == [f"{folder}-pot.jpg"]
