"""What all charts share: the axes that they are given, the look, the file."""

import matplotlib as mpl
import matplotlib.pyplot as plt
from PIL import Image

from sagglab.charts import effect_chart, firing_curves, pot_swatches, review_picture, save_chart


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
