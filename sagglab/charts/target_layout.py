"""The target's own layout: each patch in the colours of two setups, and how far they are apart."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from sagglab.charts.alt import describe
from sagglab.charts.look import axes, check_result, look, wrapped
from sagglab.charts.swatches import OUTSIDE, ink_on, swatch
from sagglab.colour import AXES, lab_to_srgb
from sagglab.errors import SetupError
from sagglab.setups.limits import Limits
from sagglab.setups.pairs import Pairs

#: Half a side of a patch's square, and of that inside it, where a patch is 1 wide.
_OUTER, _INNER = 0.47, 0.32
#: Most points of the number on a patch, and the share of the patch that its height takes: three digits and
#: a point then stay within the inner square.
_MOST, _SHARE = 11.0, 0.23
#: Inches of a patch, of the narrowest chart, of a letter at most, and of a line of them.
_PATCH, _LEAST_WIDTH, _LETTER, _LINE_HEIGHT = 0.78, 4.8, 0.096, 0.22


def target_layout_chart(
    pairs: Pairs, patches: pd.DataFrame, limits: Limits | None = None, ax: Axes | None = None
) -> Axes:
    """Draw the target as it lies, each patch as the first setup has it around what the second has.

    ΔE00 stands on each patch: in light type below what is just noticeable, in bold type from there on, and
    framed beyond what is acceptable. A colour that the display cannot show has a corner cut off; a patch that
    both setups do not show is an empty square.

    Parameters
    ----------
    pairs : Pairs
        Of patches.
    patches : DataFrame
        As `measure_targets` gives them: ``patch``, ``row``, ``column``.
    limits : Limits, optional
        ΔE00 that is just noticeable, and that is acceptable.
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        Columns of the target across, its rows downwards, both counted from 1.

    Raises
    ------
    ModelError
        It was given something else than pairs.
    SetupError
        They are pairs of pots, or a patch lies at no place, or at two.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> from sagglab.setups.pairs import pair_patches
    >>> phone = pd.DataFrame({"photo": "", "pot": "", "setup": "phone", "taken": pd.NaT,
    ...                       "patch": ["grey", "red"], "row": 1, "column": [1, 2],
    ...                       "L*": [50, 45], "a*": [0, 50], "b*": [0, 25]})
    >>> pairs = pair_patches(phone, phone.assign(setup="camera", **{"b*": [0.5, 35]}))
    >>> ax = target_layout_chart(pairs, phone)
    >>> print(alt_text(ax).partition(". Around")[0])  # doctest: +NORMALIZE_WHITESPACE
    Layout of the target, 2 patches each with its ΔE00 of camera from phone, after calibration: mean 2.9, from
    0.5 (grey) to 5.2 (red)
    >>> plt.close()
    """
    check_result(pairs, Pairs, "target_layout_chart", "pair_patches")
    limits = Limits() if limits is None else limits
    places = _places(pairs, patches)
    rows, columns = int(places["row"].max()), int(places["column"].max())
    by_patch = pairs.table.set_index("item")
    with look():
        width = max(_LEAST_WIDTH, 0.4 + _PATCH * columns)
        letters = int(width / _LETTER)
        title, below = wrapped(_title(pairs), letters), wrapped(_below(pairs, limits), letters)
        more = _LINE_HEIGHT * (title.count("\n") + below.count("\n"))
        ax = axes(ax, width, 1.2 + _PATCH * rows + more)
        ax.set_xlim(0.5, columns + 0.5)
        ax.set_ylim(rows + 0.5, 0.5)
        ax.set_aspect("equal")
        ax.set_xticks(range(1, columns + 1))
        ax.set_yticks(range(1, rows + 1))
        ax.tick_params(length=0, labelsize=9)
        for spine in ax.spines.values():
            spine.set_visible(False)
        ax.set_title(title)
        ax.set_xlabel(below, linespacing=1.4)
        # Laid out before anything is written on a patch: the type goes by how large patches come out.
        figure = ax.get_figure(root=True)
        figure.draw_without_rendering()
        pixels = np.diff(ax.transData.transform([(0, 0), (1, 0)])[:, 0])[0]
        size = min(_MOST, _SHARE * pixels * 72 / figure.dpi)
        for patch, row, column in places.itertuples(index=False):
            if patch in by_patch.index:
                _draw(ax, (column, row), by_patch.loc[patch], limits, size)
            else:
                _square(ax, (column, row), _OUTER, np.full(3, np.nan))
    return describe(ax, _in_words(pairs, below))


def _places(pairs: Pairs, patches: pd.DataFrame) -> pd.DataFrame:
    """Give each patch its row and column."""
    if pairs.kind != "patches":
        raise SetupError("target_layout_chart", "pots do not lie in a target", "give it pair_patches(…)")
    of_both = patches[patches["setup"].isin([pairs.first, pairs.second])] if "setup" in patches else patches
    places = of_both[["patch", "row", "column"]].drop_duplicates()
    twice = places["patch"].duplicated() | places[["row", "column"]].duplicated()
    lost = sorted(set(pairs.items) - set(places["patch"]))
    if twice.any() or lost:
        named = ", ".join([*lost, *sorted(set(places.loc[twice, "patch"]))])
        cause = f"there is not one place of one patch for: {named}"
        raise SetupError("patches", cause, "give the table of patches that the pairs are from")
    return places


def _title(pairs: Pairs) -> str:
    return f"ΔE00 of {pairs.second} from {pairs.first} by patch, {pairs.colours}"


def _below(pairs: Pairs, limits: Limits) -> str:
    apart = pairs.table["ΔE00"]
    light = int((apart < limits.noticeable).sum())
    framed = int((apart > limits.acceptable).sum())
    _, outside = lab_to_srgb(np.concatenate([pairs.lab("first"), pairs.lab("second")]))
    cut = f"; {OUTSIDE}" if outside.any() else ""
    return (
        f"around: {pairs.first}; inside: {pairs.second}. Light type: {light} below {limits.noticeable:g}, "
        f"just noticeable; bold: {len(apart) - light - framed} from there on; framed: {framed} beyond "
        f"{limits.acceptable:g}, acceptable{cut}"
    )


def _in_words(pairs: Pairs, below: str) -> str:
    apart = pairs.table.set_index("item")["ΔE00"]
    return (
        f"Layout of the target, {len(apart)} patches each with its ΔE00 of {pairs.second} from "
        f"{pairs.first}, {pairs.colours}: mean {apart.mean():.1f}, from {apart.min():.1f} "
        f"({apart.idxmin()}) to {apart.max():.1f} ({apart.idxmax()}). {below[0].upper()}{below[1:]}."
    )


def _draw(ax: Axes, place: tuple[float, float], row: pd.Series, limits: Limits, size: float) -> None:
    for which, half in (("first", _OUTER), ("second", _INNER)):
        _square(ax, place, half, row[[f"{axis} {which}" for axis in AXES]].to_numpy(dtype=float))
    ink = ink_on(row["L* second"])
    apart = row["ΔE00"]
    ax.text(
        *place, f"{apart:.1f}", ha="center", va="center", fontsize=size, color=ink,
        fontweight="normal" if apart < limits.noticeable else "bold",
    )  # fmt: skip
    if apart > limits.acceptable:
        corner, width, height = (place[0] - 0.26, place[1] - 0.17), 0.52, 0.34
        line = max(0.7, 0.13 * size)
        ax.add_patch(Rectangle(corner, width, height, facecolor="none", edgecolor=ink, linewidth=line))


def _square(ax: Axes, place: tuple[float, float], half: float, lab: np.ndarray) -> None:
    swatch(ax, place[0] - half, place[1] - half, 2 * half, 2 * half, lab)
