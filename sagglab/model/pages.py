"""Pages: results as HTML for a notebook, numbers rounded by their uncertainty, all text escaped."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sagglab.colour import lab_to_srgb
from sagglab.materials import TAKE_CARE
from sagglab.model.wording import digits_for

#: Columns of the table of effects that a page has room for.
SHOWN = ("term", "estimate", "unit", "low", "high", "df", "p", "p Holm", "stratum", "method", "note")


#: Columns written to the digits that the row's own interval leaves.
_BY_UNCERTAINTY = (
    "estimate",
    "standard error",
    "low",
    "high",
    "by firing",
    "by firing low",
    "by firing high",
    "bias",
    "lower limit",
    "upper limit",
    "per month",
    "per month with",
    "per month without",
    "difference",
)


def report(head: str, said: Iterable[str], *tables: pd.DataFrame, warned: Iterable[str] = ()) -> str:
    """Lay a result out as HTML: on what it rests, its sentences, its warnings, its tables for reading."""
    listed = "".join(f"<li>{html.escape(text)}</li>" for text in said)
    warnings = "".join(f"<p>{html.escape(text)}</p>" for text in warned)
    return f"<p>{html.escape(head)}</p><ul>{listed}</ul>{warnings}{''.join(map(_shown, tables))}"


def _shown(table: pd.DataFrame) -> str:
    """Lay out one table; what is blank in all rows is left out, and what is the same in all is said below."""
    if table.empty:
        return ""
    cells = rounded(table)
    below = ""
    if "note" in cells and (cells["note"] == "").all():
        cells = cells.drop(columns="note")
    if "method" in cells and (cells["method"] == cells["method"].iloc[0]).all():
        below = f"<p>Method: {html.escape(cells['method'].iloc[0])}.</p>"
        cells = cells.drop(columns="method")
    return html_table(cells) + below


def effects_page(
    table: pd.DataFrame, sentences: tuple[str, ...], counts: str, variances: pd.DataFrame
) -> str:
    """Lay the effects out as HTML: the sentences, the table rounded for reading, the scatter."""
    scatter = variances.rename(columns={"component": "scatter"})[["scatter", "standard deviation", "note"]]
    return report(counts, sentences, table[list(SHOWN)], scatter)


def rounded(table: pd.DataFrame) -> pd.DataFrame:
    """Write a table's numbers for reading: by their uncertainty where a row states it, else three digits."""
    return pd.DataFrame(
        [_cells(line) for _, line in table.iterrows()], columns=[str(c) for c in table.columns]
    )


def _cells(line: pd.Series) -> dict[str, str]:
    decimals = None
    if {"low", "high"} <= set(line.index) and math.isfinite(line["high"] - line["low"]):
        decimals = digits_for((line["high"] - line["low"]) / 2)
    cells = {}
    for column, value in line.items():
        if column == "unit":
            cells["unit"] = str(value).replace("deg", "°")
        elif not isinstance(value, float):
            cells[str(column)] = str(value)
        elif column in ("p", "p Holm", "p of varying", "by firing p"):
            cells[str(column)] = probability(value)
        elif math.isnan(value) or math.isinf(value):
            cells[str(column)] = "" if math.isnan(value) else "−∞" if value < 0 else "∞"
        elif column in _BY_UNCERTAINTY and decimals is not None:
            cells[str(column)] = decimal(round(value, decimals), max(decimals, 0))
        else:
            cells[str(column)] = number(value, 3)
    return cells


def number(value: float, digits: int) -> str:
    """Write a number with so many significant digits, and nothing for NaN."""
    return "" if math.isnan(value) else f"{value:.{digits}g}".replace("-", "−")


def decimal(value: float, places: int) -> str:
    """Write a number with so many decimals, and zero without a sign."""
    return f"{round(value, places) + 0.0:.{places}f}".replace("-", "−")


def probability(value: float) -> str:
    """Write a probability for a table, and nothing for NaN."""
    return "" if math.isnan(value) else "<\u00a00.001" if value < 0.001 else f"{value:.3f}"


def html_table(table: pd.DataFrame) -> str:
    """Make a table of text into HTML, escaped."""
    heads = "".join(f"<th>{html.escape(str(column))}</th>" for column in table.columns)
    rows = "".join(
        "<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>"
        for row in table.itertuples(index=False)
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _patch(lab: NDArray[np.float64], title: str, size: str) -> str:
    """Make one colour a patch of HTML; what the display cannot show has a dashed edge."""
    srgb, outside = lab_to_srgb(lab)
    hexed = "".join(f"{round(255 * channel):02x}" for channel in srgb)
    edge = "dashed #b23a00" if outside else "solid transparent"
    about = f"{title}: L* {decimal(lab[0], 1)}, a* {decimal(lab[1], 1)}, b* {decimal(lab[2], 1)}"
    about = html.escape(about + ("; beyond what the display can show" if outside else ""))
    box = f"background:#{hexed};border:2px {edge};width:{size};display:inline-block"
    return f'<span role="img" style="{box}" aria-label="{about}" title="{about}"></span>'


def swatch(lab: NDArray[np.float64], title: str) -> str:
    """Make one colour a large patch of HTML with its title below."""
    return (
        '<span style="display:inline-block;text-align:center;font-size:90%;margin:.2em">'
        f"{_patch(lab, title, '7em;height:4em')}<br>{html.escape(title)}</span>"
    )


def swatches(colours: NDArray[np.float64] | None) -> str:
    """Lay out the low end, the middle and the high end of a prediction."""
    if colours is None:
        return ""
    names = ("low", "middle", "high")
    return "<p>" + "".join(swatch(lab, name) for lab, name in zip(colours, names, strict=True)) + "</p>"


def prediction_page(
    head: str, table: pd.DataFrame, colours: NDArray[np.float64] | None, notes: tuple[str, ...]
) -> str:
    """Lay a prediction out as HTML: the recipe, three swatches, the intervals, what must be noted."""
    noted = "".join(f"<li>{html.escape(note)}</li>" for note in notes)
    shown = swatches(colours) + html_table(rounded(table))
    return f"<p>{html.escape(head)}</p>{shown}<ul>{noted}</ul><p>{TAKE_CARE}</p>"


def checks_page(table: pd.DataFrame, sensitivity: pd.DataFrame) -> str:
    """Lay checks out as HTML: what to worry about first, then each effect asked firing by firing."""
    ordered = table.sort_values("worry", ascending=False, kind="stable")
    said = "".join(
        f"<li>{'<b>Look:</b> ' if worry else ''}{html.escape(text)}</li>"
        for worry, text in ordered[["worry", "said"]].to_numpy()
    )
    if sensitivity.empty:
        return f"<ul>{said}</ul>"
    return f"<ul>{said}</ul><p>Asked firing by firing:</p>{html_table(rounded(sensitivity))}"


def colours_page(table: pd.DataFrame, sentences: tuple[str, ...]) -> str:
    """Lay effects on the colour as a whole out as HTML: the sentences, then the differences."""
    said = "".join(f"<li>{html.escape(text)}</li>" for text in sentences)
    shown = pd.DataFrame(
        {
            "term": table["term"],
            **{
                name: [
                    f"{decimal(middle, 1)} ({decimal(low, 1)} to {decimal(high, 1)})"
                    for middle, low, high in table[[name, f"{name} low", f"{name} high"]].to_numpy()
                ]
                for name in ("ΔL*", "Δa*", "Δb*", "ΔE00")
            },
            "p Holm": [probability(value) for value in table["p Holm"]],
        }
    )
    return f"<ul>{said}</ul>{html_table(shown)}"


def recipes_page(sentence: str, table: pd.DataFrame, colour: tuple[float, float, float]) -> str:
    """Lay ranked recipes out as HTML: the wanted colour, then each recipe with the colour expected."""
    names = [str(column) for column in table.columns]
    heads = "".join(f"<th>{html.escape(name)}</th>" for name in ["expected", *names])
    rows = []
    for _, line in table.iterrows():
        cells = [_patch(line[["L*", "a*", "b*"]].to_numpy(dtype=float), "expected", "4em;height:1.4em")]
        for name, value in line.items():
            places = 2 if name == "probability" else 1 if name in ("L*", "a*", "b*", "ΔE00") else 0
            amount = number(value, 4) if isinstance(value, float) else str(value)
            shown = decimal(value, places) if places else amount
            cells.append(html.escape(shown))
        rows.append("<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>")
    wanted = swatch(np.array(colour), "wanted")
    return (
        f"<p>{html.escape(sentence)}</p><p>{wanted}</p>"
        f"<table><thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table><p>{TAKE_CARE}</p>"
    )
