"""Files: charts drawn without a window, saved, and made into pages of their own."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
from matplotlib.axes import Axes

from sagglab.charts.alt import figure_alt_text
from sagglab.errors import FileFormatError
from sagglab.writing import write_whole

#: Kinds of files that hold a description, and what they call it.
_DESCRIBED = {"png": "Description", "svg": "Description", "pdf": "Subject"}


def draw_to_files() -> None:
    """Draw to files only from here on, unless a notebook or a window is drawn to already.

    A shell and its worker processes would otherwise open a window for each chart where there is a screen.

    Examples
    --------
    >>> draw_to_files()
    >>> mpl.get_backend(auto_select=False) is None  # settled, so that no screen is looked for
    False
    """
    if mpl.get_backend(auto_select=False) is None:
        mpl.use("Agg")


def save_chart(ax: Axes, path: str | os.PathLike[str]) -> None:
    """Save the chart's whole figure with all it says in words as its description, and let it go.

    The kind of file is that of its name's ending. It is replaced whole, or not at all.

    Parameters
    ----------
    ax : Axes
        Any of the figure.
    path : path
        Its ending is ``.png``, ``.svg`` or ``.pdf``, which hold a description; without one it is a PNG.

    Raises
    ------
    OSError
        The folder is not there or cannot be written into, or the disk is full.
    FileFormatError
        The ending is another, as ``.jpg``.

    Examples
    --------
    >>> import tempfile
    >>> from PIL import Image
    >>> from sagglab.charts.alt import describe
    >>> ax = describe(plt.subplots()[1], "A line that rises from 1 to 3.")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     save_chart(ax, Path(folder) / "line.png")
    ...     [(path.name, Image.open(path).text["Description"]) for path in Path(folder).iterdir()]
    [('line.png', 'A line that rises from 1 to 3.')]
    """
    ending = Path(path).suffix.lower()
    kind = ending.removeprefix(".") or "png"
    if kind not in _DESCRIBED:
        plt.close(ax.figure)
        raise FileFormatError(
            Path(path).name,
            f"a chart is not saved as '{ending}', which holds no description of it",
            "end the name in .png, .svg or .pdf",
        )
    write_whole(path, _drawn(ax, kind))


def chart_png(ax: Axes) -> bytes:
    """Give the chart's whole figure as a PNG, with all it says in words as its description, and let it go.

    Examples
    --------
    >>> from PIL import Image
    >>> from sagglab.charts.alt import describe
    >>> ax = describe(plt.subplots(figsize=(4, 3), dpi=100)[1], "A line that rises from 1 to 3.")
    >>> png = Image.open(io.BytesIO(chart_png(ax)))
    >>> png.size, png.text["Description"], plt.fignum_exists(ax.figure.number)
    ((400, 300), 'A line that rises from 1 to 3.', False)
    """
    return _drawn(ax, "png")


def _drawn(ax: Axes, kind: str) -> bytes:
    page = io.BytesIO()
    ax.figure.savefig(page, format=kind, metadata={_DESCRIBED[kind]: figure_alt_text(ax.figure)})
    plt.close(ax.figure)
    return page.getvalue()


def chart_svg(ax: Axes) -> str:
    """Give the chart's whole figure as SVG for a printed page or a web page, and let it go.

    Its words stay words, in the typeface that matplotlib brings, so that they can be searched and read out.
    The same chart gives the same text.

    Examples
    --------
    >>> from sagglab.charts.alt import describe
    >>> ax = describe(plt.subplots()[1], "A line that rises from 1 to 3.")
    >>> _ = ax.set_title("Salt and sugar")
    >>> svg = chart_svg(ax)
    >>> re.findall("<dc:description>(.*)</dc:description>", svg), svg.count(">Salt and sugar</text>")
    (['A line that rises from 1 to 3.'], 1)
    """
    page = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "sagglab"}):
        ax.figure.savefig(
            page, format="svg", metadata={"Date": None, "Description": figure_alt_text(ax.figure)}
        )
    plt.close(ax.figure)
    # Words are set apart by several blanks, which would else be drawn as one.
    return re.sub(
        r">[^<>]*\S {2,}\S[^<>]*<", lambda words: words[0].replace("  ", "\u00a0 "), page.getvalue()
    )
