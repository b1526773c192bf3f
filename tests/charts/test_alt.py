"""What a chart says in words goes with its picture, also into a notebook."""

import base64
import io

import matplotlib.pyplot as plt
import nbformat
import numpy as np
import pytest
from bs4 import BeautifulSoup
from nbclient import NotebookClient
from nbconvert import HTMLExporter
from PIL import Image

from sagglab.charts.alt import alt_text, as_webp, describe, figure_alt_text, picture_html
from sagglab.charts.files import chart_png

CELLS = (
    """
import matplotlib.pyplot as plt
from sagglab.charts.alt import describe
from sagglab.charts.look import axes, look
with look():
    _ = describe(axes(None, 4, 3), "It rises to <3 & \\"more\\".")
    _ = describe(axes(None, 4, 3), "It falls.")
""",
    """
figure, (first, second, plain) = plt.subplots(1, 3)
_ = describe(first, "It rises."), describe(second, "It falls."), plain.plot([1, 2])
""",
    "figure",
    "_ = plt.plot([1, 2])",
    """
%config InlineBackend.figure_formats = ["retina"]
with look():
    _ = describe(axes(None, 4, 3), "It shines.")
""",
    """
%config InlineBackend.figure_formats = ["svg"]
with look():
    _ = describe(axes(None, 4, 3), "It is drawn.")
""",
)


@pytest.fixture(scope="module")
def notebook(tmp_path_factory):
    """Cells that were run as a notebook runs them."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in CELLS])
    where = {"metadata": {"path": str(tmp_path_factory.mktemp("notebook"))}}
    return NotebookClient(notebook, timeout=120, kernel_name="python3", resources=where).execute()


def pictures(notebook, cell):
    """Attributes of each picture that a cell shows, by way of the page that nbconvert makes of it."""
    alone = notebook.copy()
    alone["cells"] = [notebook.cells[cell]]
    page, _ = HTMLExporter().from_notebook_node(alone)
    return [image.attrs for image in BeautifulSoup(page, "html.parser").body.find_all("img")]


class TestInANotebook:
    def test_each_chart_of_a_cell_has_its_own_words(self, notebook):
        told = [picture["alt"] for picture in pictures(notebook, 0)]
        assert told == ['It rises to <3 & "more".', "It falls."]

    @pytest.mark.parametrize("cell", [1, 2])
    def test_a_figure_of_the_readers_own_says_all_its_charts(self, notebook, cell):
        (picture,) = pictures(notebook, cell)
        assert picture["alt"] == "It rises. It falls."

    def test_other_figures_are_shown_as_before(self, notebook):
        (output,) = notebook.cells[3].outputs
        assert set(output.data) == {"image/png", "text/plain"}

    def test_sharp_pictures_keep_their_size(self, notebook):
        (plain, _), (sharp,) = pictures(notebook, 0), pictures(notebook, 4)
        assert sharp["alt"] == "It shines." and "width" not in plain
        assert float(sharp["width"]) == pytest.approx(4 * 110, rel=0.1)

    def test_drawings_are_kept(self, notebook):
        (picture,) = pictures(notebook, 5)
        assert picture["alt"] == "It is drawn." and picture["src"].startswith("data:image/svg+xml;base64,")

    def test_without_html_the_words_stand_for_the_picture(self, notebook):
        assert notebook.cells[0].outputs[1].data["text/plain"] == "It falls."


def test_words_of_a_figure_come_once_each_in_order():
    figure, panels = plt.subplots(1, 3)
    for ax, words in zip(panels, ("It rises.", "It\n falls.", "It rises."), strict=True):
        describe(ax, words)
    assert alt_text(panels[1]) == "It falls."
    assert figure_alt_text(figure) == "It rises. It falls."


def test_nothing_in_the_words_breaks_the_page():
    written = picture_html("image/png", b"\x00", '"><script>')
    assert written.count("<") == 1 and 'alt="&quot;&gt;&lt;script&gt;"' in written


def test_a_picture_is_smaller_in_webp_and_the_same():
    ax = plt.subplots()[1]
    ax.plot([1, 3, 2])
    drawn = chart_png(ax)
    small = as_webp(drawn)
    assert len(small) < len(drawn)
    shown, as_drawn = (np.asarray(Image.open(io.BytesIO(held)).convert("RGB")) for held in (small, drawn))
    assert (shown == as_drawn).all()
    assert as_webp(base64.b64encode(drawn).decode()) == small
