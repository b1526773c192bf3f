"""Where in colour space two setups disagree: pairs sorted by lightness, and by hue."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.colour import lab_to_lch
from sagglab.setups.limits import NOTICEABLE
from sagglab.setups.pairs import DIFFERENCES, Pairs

#: Kinds of colour by lightness: those below the first limit are dark, those from the second up are light.
DARK, LIGHT = 35.0, 65.0
#: Below this chroma a colour is grey, as for the hue of a surface.
GREY = 5.0
#: Kinds of colour by hue angle: each begins at its number of degrees, and the last goes on past 360.
HUES = (
    (20, "orange and brown"),
    (75, "yellow"),
    (110, "green"),
    (200, "blue"),
    (290, "purple"),
    (340, "red and pink"),
)
#: A kind of colour stands out when it disagrees so many times as much as another, and an eye would see it.
STANDS_OUT = 1.5


def kinds(pairs: Pairs) -> pd.DataFrame:
    """Name each pair's kind of colour, by the mean of both setups: columns ``lightness`` and ``hue``."""
    lightness, chroma, hue = lab_to_lch((pairs.lab("first") + pairs.lab("second")) / 2).T
    starts, names = zip(*HUES, strict=True)
    of_hue = np.array(names)[np.searchsorted(starts, hue, side="right") - 1]  # below the first is the last
    return pd.DataFrame(
        {
            "lightness": np.select([lightness < DARK, lightness < LIGHT], ["dark", "middling"], "light"),
            "hue": np.where(chroma < GREY, "grey", of_hue),
        }
    )


def where_they_differ(pairs: Pairs) -> pd.DataFrame:
    """Tell how far two setups are apart for each kind of colour.

    Returns
    -------
    DataFrame
        One row for each kind that there is: ``by`` (lightness or hue), ``kind``, ``pairs``, the mean
        ``ΔL*``, ``Δa*``, ``Δb*``, ``ΔC*``, ``ΔH*`` and ``ΔE00`` (second less first), and ``most``, the pair
        that is the furthest apart.
    """
    named = kinds(pairs)
    rows = []
    for by, order in (
        ("lightness", ("dark", "middling", "light")),
        ("hue", ("grey", *(name for _, name in HUES))),
    ):
        for kind in order:
            here = pairs.table[(named[by] == kind).to_numpy()]
            if len(here):
                furthest = here.loc[here["ΔE00"].idxmax()]
                most = " ".join(filter(None, (furthest["item"], furthest["view"])))
                means = here[[*DIFFERENCES, "ΔE00"]].mean().to_dict()
                rows.append({"by": by, "kind": kind, "pairs": len(here), **means, "most": most})
    return pd.DataFrame(rows)


def where_sentence(table: pd.DataFrame) -> str:
    """Say in a sentence which kinds of colour disagree most, and which least.

    Parameters
    ----------
    table : DataFrame
        From `where_they_differ`.
    """
    said = []
    for by in ("lightness", "hue"):
        rows = table[table["by"] == by]
        most, least = rows.loc[rows["ΔE00"].idxmax()], rows.loc[rows["ΔE00"].idxmin()]
        if most["ΔE00"] >= max(NOTICEABLE, STANDS_OUT * least["ΔE00"]):
            said.append(
                f"{most['kind']} colours (ΔE00 {most['ΔE00']:.1f} in the mean of {most['pairs']}) than in "
                f"{least['kind']} ones ({least['ΔE00']:.1f}, of {least['pairs']})"
            )
    if said:
        return f"They disagree more in {', and more in '.join(said)}."
    compared = "; by ".join(
        f"{by}: {', '.join(rows['kind'])}" for by, rows in table.groupby("by", sort=False)
    )
    return f"No kind of colour stands out among those compared (by {compared})."
