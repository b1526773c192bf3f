"""Pages: what a model found, as HTML for a notebook."""

from __future__ import annotations

import html

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.markup import folded, framed, listed, paragraph
from sagglab.materials import TAKE_CARE
from sagglab.pages.layout import html_table, long_table, report, rounded
from sagglab.pages.numbers import decimal, number, probability, within
from sagglab.pages.patches import patch, swatch, swatches

#: Columns of the table of effects that a page has room for.
SHOWN = ("term", "estimate", "unit", "low", "high", "df", "p", "p Holm", "stratum", "method", "note")


def effects_page(
    table: pd.DataFrame, sentences: tuple[str, ...], counts: str, variances: pd.DataFrame
) -> str:
    """Lay the effects out as HTML: the sentences, the table rounded for reading, the scatter."""
    scatter = variances.rename(columns={"component": "scatter"})[["scatter", "standard deviation", "note"]]
    return report(counts, sentences, table[list(SHOWN)], scatter)


def prediction_page(
    head: str, table: pd.DataFrame, colours: NDArray[np.float64] | None, notes: tuple[str, ...]
) -> str:
    """Lay a prediction out as HTML: the recipe, three swatches, the intervals, what must be noted."""
    shown = html_table(rounded(table))
    return framed(paragraph(head), swatches(colours), shown, listed(notes), paragraph(TAKE_CARE))


def checks_page(table: pd.DataFrame, sensitivity: pd.DataFrame) -> str:
    """Lay checks out as HTML: what to worry about first, then each effect asked firing by firing."""
    ordered = table.sort_values("worry", ascending=False, kind="stable")
    said = "".join(
        f"<li>{'<b>⚠ Look:</b> ' if worry else ''}{html.escape(text)}</li>"
        for worry, text in ordered[["worry", "said"]].to_numpy()
    )
    asked = ""
    if not sensitivity.empty:
        asked = folded("Each effect asked firing by firing", html_table(rounded(sensitivity)))
    return framed(f"<ul>{said}</ul>", asked)


def colours_page(table: pd.DataFrame, sentences: tuple[str, ...]) -> str:
    """Lay effects on the colour as a whole out as HTML: the sentences, then the differences."""
    shown = pd.DataFrame(
        {
            "term": table["term"],
            **{
                name: [within(*line, 1) for line in table[[name, f"{name} low", f"{name} high"]].to_numpy()]
                for name in ("ΔL*", "Δa*", "Δb*", "ΔE00")
            },
            "p Holm": [probability(value) for value in table["p Holm"]],
        }
    )
    return framed(listed(sentences), html_table(shown))


def recipes_page(sentence: str, table: pd.DataFrame, colour: tuple[float, float, float]) -> str:
    """Lay ranked recipes out as HTML: the wanted colour, then each recipe with the colour expected."""
    places = {"probability": 2, "L*": 1, "a*": 1, "b*": 1, "ΔE00": 1}
    cells = pd.DataFrame(
        {
            str(name): [
                (decimal(value, places[name]) if name in places else number(value, 4))
                if isinstance(value, float)
                else str(value)
                for value in values
            ]
            for name, values in table.items()
        }
    )
    expected = [patch(lab, "expected") for lab in table[["L*", "a*", "b*"]].to_numpy(dtype=float)]
    wanted = f"<p>{swatch(np.array(colour), 'wanted')}</p>"
    return framed(
        paragraph(sentence, "answer"), wanted, long_table(cells, patches=expected), paragraph(TAKE_CARE)
    )
