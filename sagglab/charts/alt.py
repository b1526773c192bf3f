"""Alternative text: what a chart says, in words, for a reader who does not see it."""

from __future__ import annotations

import base64
import html
import io
from functools import partial
from weakref import WeakKeyDictionary

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image

_SAID: WeakKeyDictionary[Axes, str] = WeakKeyDictionary()

#: Pictures that a notebook can be set to draw charts as, the sharpest first.
_PICTURES = ("image/svg+xml", "image/png", "image/jpeg")


def describe(ax: Axes, words: str) -> Axes:
    """Keep what a chart says in words; the last said counts.

    In a notebook the whole figure is shown with it, also one that the reader made.

    Parameters
    ----------
    ax : Axes
    words : str
        What kind of chart it is, and what it shows, with the numbers that a reader would take from it.

    Returns
    -------
    Axes
        The same.
    """
    _SAID[ax] = " ".join(words.split())
    figure = ax.get_figure(root=True)
    # Looked for on what is shown. The words cannot go with the picture as its metadata: JupyterLab 4.6 makes
    # no alternative text of them, and nor does nbconvert 7.17.
    figure._ipython_display_ = partial(_show, figure)
    return ax


def alt_text(ax: Axes) -> str:
    """Give what a chart says in words; empty for axes that no chart was drawn into.

    Examples
    --------
    >>> import matplotlib.figure
    >>> ax = matplotlib.figure.Figure().add_subplot()
    >>> alt_text(ax), alt_text(describe(ax, "A line that rises from 1 to 3."))
    ('', 'A line that rises from 1 to 3.')
    """
    return _SAID.get(ax, "")


def figure_alt_text(figure: Figure) -> str:
    """Give what all charts of a figure say, in the order in which they were made, each once.

    Examples
    --------
    >>> import matplotlib.figure
    >>> figure = matplotlib.figure.Figure()
    >>> for ax, words in zip(figure.subplots(1, 3), ("It rises.", "It falls.", "It rises.")):
    ...     _ = describe(ax, words)
    >>> figure_alt_text(figure)
    'It rises. It falls.'
    """
    return " ".join(dict.fromkeys(filter(None, map(alt_text, figure.axes))))


def picture_html(kind: str, content: str | bytes, alt: str, size: dict[str, int] | None = None) -> str:
    """Write a picture with its words into a page.

    Parameters
    ----------
    kind : str
        As ``image/png``.
    content : str or bytes
        The file's bytes; or their base64, or, of a drawing in SVG, its text.
    alt : str
    size : dict of str to int, optional
        The ``width`` at which it is shown, where it is not that of the file; the height follows it.
    """
    if kind == "image/svg+xml" and isinstance(content, str):
        content = content.encode()
    held = content if isinstance(content, str) else base64.b64encode(content).decode("ascii")
    width = f' width="{size["width"]}"' if size and "width" in size else ""
    # Never wider than the page.
    style = "max-width: 100%; height: auto"
    return f'<img src="data:{kind};base64,{held}" alt="{html.escape(alt)}"{width} style="{style}">'


def as_webp(png: bytes | str) -> bytes:
    """Make a picture in PNG, or the base64 of one, as sharp a one in WebP, without losses.

    A notebook that keeps its outputs is a third as large with the gallery's charts so, and half as large with
    printed pages; each takes 0.1 s.
    """
    made = io.BytesIO()
    held = base64.b64decode(png) if isinstance(png, str) else png
    Image.open(io.BytesIO(held), formats=["PNG"]).save(made, "WEBP", lossless=True)
    return made.getvalue()


def _show(figure: Figure) -> None:
    """Show a figure in a notebook with its words: in the size, kind and sharpness that charts are set to."""
    from IPython import get_ipython
    from IPython.display import display

    words = figure_alt_text(figure)
    shown = {"text/plain": words or repr(figure)}
    formatters = get_ipython().display_formatter.formatters
    for kind in _PICTURES:
        made = formatters[kind](figure)
        if made is not None:
            content, size = made if isinstance(made, tuple) else (made, None)
            if kind == "image/png":
                kind, content = "image/webp", as_webp(content)
            shown["text/html"] = picture_html(kind, content, words, size)
            break
    display(shown, raw=True)
