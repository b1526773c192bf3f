"""Alternative text: what a chart says, in words, for a reader who does not see it."""

from __future__ import annotations

from weakref import WeakKeyDictionary

from matplotlib.axes import Axes

_SAID: WeakKeyDictionary[Axes, str] = WeakKeyDictionary()


def describe(ax: Axes, words: str) -> Axes:
    """Keep what a chart says in words; the last said counts.

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
