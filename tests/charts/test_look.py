"""What all charts share: the axes that they are given, the look, the file."""

from itertools import product

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text
from PIL import Image
from pypdf import PdfReader

from sagglab.charts import (
    dose_chart,
    effect_chart,
    firing_curves,
    half_normal_chart,
    pot_swatches,
    save_chart,
)
from sagglab.charts.alt import alt_text
from sagglab.charts.look import wrapped
from sagglab.errors import FileFormatError
from sagglab.model.dose import compare_doses
from sagglab.model.effects import fit_effects
from sagglab.model.screening import screen_effects


def test_charts_draw_into_axes_that_are_given(effects, records, pots, measured):
    for draw in (
        lambda ax: effect_chart(effects, ax=ax),
        lambda ax: firing_curves(records, ax=ax),
        lambda ax: pot_swatches(pots, "clay", ax=ax),
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


@pytest.mark.parametrize("ending", [".jpg", ".eps", ".5 g"])
def test_a_file_that_holds_no_description_is_refused(effects, tmp_path, ending):
    with pytest.raises(FileFormatError, match="End the name in .png, .svg or .pdf"):
        save_chart(effect_chart(effects), tmp_path / f"effects{ending}")
    assert not list(tmp_path.iterdir())
    assert plt.get_fignums() == []


def test_a_pdf_is_described_and_its_words_are_words(effects, tmp_path):
    ax = effect_chart(effects)
    words = alt_text(ax)
    save_chart(ax, tmp_path / "effects.PDF")
    assert PdfReader(tmp_path / "effects.PDF").metadata.subject == words


NAME = r"$a_b$ 50 % \$x\$ <b>c</b> ^2"


def priced():
    """Pots whose factors, levels, firings, tags and outcome are named with signs of mathematics."""
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {
            "pot": [f"{NAME} {number}" for number in range(48)],
            f"{NAME} [g]": np.tile([0.0, 1, 2, 4], 12),
            "glaze": np.tile([f"{NAME} 1", f"{NAME} 2"], 24),
            "wax": np.tile(np.repeat([0.0, 1], 4), 6),
            "firing": np.repeat(["f1", "f2", "f3"], 16),
            "a*": 9.0,
            "b*": 9.0,
        }
    )
    table["L*"] = 50 + rng.normal(size=48) - 3 * table[f"{NAME} [g]"]
    return table.assign(**{f"{NAME} dark": table["L*"]})


def drawings(records):
    table = priced()
    two = pd.DataFrame(list(product([0.0, 1], repeat=4)), columns=[f"{NAME} [g]", *"abc"])
    two[f"{NAME} dark"] = np.arange(16.0) ** 2
    yield lambda ax: effect_chart(fit_effects(table, f"{NAME} dark", [NAME, "glaze", "wax"]), ax)
    yield lambda ax: dose_chart(compare_doses(table, f"{NAME} [g]", f"{NAME} dark"), ax)
    yield lambda ax: half_normal_chart(
        screen_effects(two.assign(firing="f1"), f"{NAME} dark", list(two.columns[:4])), ax
    )
    yield lambda ax: pot_swatches(table, "glaze", ax)
    yield lambda ax: firing_curves({f"{NAME} 1": records["f1"], f"{NAME} 2": records["f5"]}, ax=ax)


@pytest.mark.parametrize("given", [True, False], ids=["axes given", "new axes"])
def test_no_name_is_read_as_mathematics(records, given):
    for draw in drawings(records):
        ax = draw(plt.figure().add_subplot() if given else None)
        # Drawn outside the look, as a notebook does it.
        ax.figure.canvas.draw()
        texts = [text for text in ax.figure.findobj(Text) if "$" in text.get_text()]
        assert texts
        assert not any(text.get_parse_math() for text in texts)


def test_what_the_potter_wrote_in_given_axes_stays_as_it_was(effects):
    ax = plt.figure().add_subplot()
    mine = ax.text(0, 0, "$x^2$")
    effect_chart(effects, ax)
    assert mine.get_parse_math()


def test_names_stay_as_written():
    labels = effect_chart(fit_effects(priced(), factors=["glaze"])).get_yticklabels()
    assert labels[0].get_text().replace("\n", " ") == f"glaze: {NAME} 2 − {NAME} 1"


def test_words_are_wrapped_and_a_number_keeps_its_percent():
    assert wrapped("with the wax coat in lots of 50 % each", 32) == "with the wax coat in lots of\n50 % each"
    assert max(map(len, wrapped("a" * 70, 30).split("\n"))) == 30


def test_all_that_is_written_can_be_read_on_paper(effects, records, pots):
    for draw in (
        lambda: effect_chart(effects),
        lambda: dose_chart(compare_doses(pots, "sugar [g]")),
        lambda: pot_swatches(pots, "clay"),
        lambda: firing_curves(records),
    ):
        figure = draw().figure
        figure.canvas.draw()
        sizes = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text().strip()]
        assert min(sizes) >= 8
