"""Effects in words and as a page: what a potter without statistics reads, made from the fitted table."""

from __future__ import annotations

import html
import math
import re
from dataclasses import dataclass

import pandas as pd

from sagglab.model.terms import Factor, unit_of
from sagglab.units import parse_heading

#: Outcome: its unit in words, the word for less, the word for more.
_OUTCOMES = {
    "L*": ("L*", "darker", "lighter"),
    "a*": ("a*", "greener", "redder"),
    "b*": ("b*", "bluer", "yellower"),
    "C*ab": ("C*ab", "less colourful", "more colourful"),
}
#: Units of the measures whose headings state none.
_MEASURED = {"dark share": "share", "glare share": "share", "hue angle": "degrees"}
_SPELT = {"g": "gram", "coats": "coat", "cm": "centimetre", "mL": "millilitre", "count": "piece"}
#: Scales on which one unit is too small a step to speak of.
_STEPS = {"degC": ("10 °C", "higher"), "degC/h": ("10 °C/h", "higher"), "min": ("10 minutes", "more")}


@dataclass(frozen=True)
class Words:
    """How differences of one outcome are said.

    Attributes
    ----------
    unit, less, more : str
        Unit as spoken, empty when there is none; the words for a smaller and for a larger value.
    tail : str
        What follows the word where the word alone does not name the outcome.
    scale : float
        Spoken value over tabled value.
    """

    unit: str
    less: str
    more: str
    tail: str = ""
    scale: float = 1.0

    def size(self, value: float, decimals: int) -> str:
        """Write the value without its sign."""
        return f"{round(abs(value) * self.scale, decimals) + 0.0:.{max(decimals, 0)}f}"

    def word(self, value: float) -> str:
        """Choose the word for the value's sign, with the tail."""
        return (self.less if value < 0 else self.more) + self.tail

    def said(self, value: float, decimals: int) -> str:
        """Say the value in full: size, unit, direction."""
        return " ".join(part for part in (self.size(value, decimals), self.unit, self.word(value)) if part)


def words_for(outcome: str) -> Words:
    """Choose the words for an outcome.

    Examples
    --------
    >>> words_for("L*").said(-5.43, 1), words_for("dark share").said(0.042, 1)
    ('5.4 L* darker', '4.2 percentage points larger in dark share')
    """
    name, unit = parse_heading(outcome)
    base, _, kind = name.partition(" ")
    if base in _OUTCOMES and kind in ("", "mean", "median"):
        return Words(*_OUTCOMES[base], tail=" in the median" if kind == "median" else "")
    unit = unit or unit_of(name) or _MEASURED.get(name, "")
    if unit == "share" or name.endswith("share"):
        # A share is kept as 0 to 1 unless its heading says otherwise.
        scale = 1.0 if unit in ("%", "percent") else 100.0
        return Words("percentage points", "smaller", "larger", f" in {name}", scale)
    return Words(unit, "lower", "higher", f" in {name}")


def digits_for(half_width: float) -> int:
    """Decimals that show two significant digits of an interval's half-width; negative for tens and hundreds.

    Examples
    --------
    >>> digits_for(1.5), digits_for(0.31), digits_for(150)
    (1, 2, -1)
    """
    if not math.isfinite(half_width) or half_width <= 0:
        return 2
    return 1 - int(f"{half_width:.1e}".partition("e")[2])


def label(factor: Factor) -> str:
    """Name the factor as it is spoken: no unit, no underscores.

    Examples
    --------
    >>> [label(Factor(name, name, "")) for name in ("sugar", "peak_C", "minutes_above_660_C")]
    ['sugar', 'peak', 'minutes above 660 °C']
    """
    name = parse_heading(factor.name).name
    if not name.startswith("minutes_"):
        name = re.sub(r"_C(_per_h)?$", "", name)
    return re.sub(r"(\d) C\b", r"\1 °C", name.replace("_", " "))


def step(factor: Factor) -> tuple[str, str, float]:
    """Say the step of an amount, short and in full, and its size in the column's unit."""
    if factor.unit in _STEPS:
        step, word = _STEPS[factor.unit]
        said = label(factor)
        said = said.removeprefix("minutes ") if factor.name.startswith("minutes_") else said
        return f"each {step} {word}", f"each {step} {word} {said}", 10.0
    spelt = _SPELT.get(factor.unit, factor.unit or "unit")
    return f"each {spelt}", f"each {spelt} of {label(factor)}", 1.0


@dataclass(frozen=True)
class _Row:
    """One row of the table, in words."""

    estimate: float
    low: float
    high: float
    words: Words

    @property
    def clear(self) -> bool:
        return not self.low <= 0 <= self.high

    @property
    def decimals(self) -> int:
        return digits_for((self.high - self.low) / 2 * self.words.scale)

    def ends(self) -> str:
        first, last = sorted((self.low, self.high), key=abs)
        return f"{self.words.size(first, self.decimals)} to {self.words.size(last, self.decimals)}"

    def full(self) -> str:
        return self.words.said(self.estimate, self.decimals)

    def interval(self) -> str:
        word = self.words.less if self.estimate < 0 else self.words.more
        return f"(95 % interval {self.ends()} {word})"

    def anywhere(self) -> str:
        less, more = (
            " ".join(part for part in (self.words.size(end, self.decimals), self.words.unit, word) if part)
            for end, word in ((self.low, self.words.less), (self.high, self.words.more))
        )
        return f"anywhere from {less} to {more}{self.words.tail} fits"


def _row(line: pd.Series, words: Words, step: float = 1.0) -> _Row:
    return _Row(step * line["estimate"], step * line["low"], step * line["high"], words)


def sentence(factor: Factor, rows: pd.DataFrame, outcome: str, pots: int, firings: int) -> str:
    """Say what one factor did, in words.

    Parameters
    ----------
    factor : Factor
    rows : DataFrame
        The factor's rows of the table of effects, indexed by term.
    outcome : str
    pots, firings : int
        Counts that the effect is judged on.
    """
    words = words_for(outcome)
    if factor.constant:
        return f"One firing cannot tell about {label(factor)}: all {pots} pots shared it."
    judged = f"judged on {_judged(rows['stratum'].iloc[0], pots, firings)}"
    if factor.is_amount:
        return f"{_amount(factor, rows, words)}, {judged}."
    return f"{_category(factor, rows, words)}, {judged}."


def _judged(stratum: str, pots: int, firings: int) -> str:
    if firings == 1:
        return f"{pots} pots of one firing"
    if stratum == "firing":
        return f"{firings} firings"
    return f"{pots} pots in {firings} firings"


def _amount(factor: Factor, rows: pd.DataFrame, words: Words) -> str:
    short, in_full, size = step(factor)
    name = label(factor)
    slope = _row(rows.loc[factor.name], words, size)
    presence = f"with {factor.name}"
    if presence not in rows.index or math.isnan(rows.loc[presence, "low"]):
        if slope.clear:
            return f"For {in_full}, pots came out {slope.full()} {slope.interval()}"
        return f"For {in_full}, the data cannot tell: {slope.anywhere()}"
    between = _row(rows.loc[presence], words)
    if between.clear and slope.clear:
        return (
            f"Pots with {name} came out {between.full()} than pots without {between.interval()}; "
            f"reckoned by the amount, {slope.full()} for {short} ({slope.ends()})"
        )
    if between.clear:
        return (
            f"Pots with {name} came out {between.full()} than pots without {between.interval()}; "
            f"for {short} the data cannot tell: {slope.anywhere()}"
        )
    unclear = f"Between pots with {name} and pots without, the data cannot tell: {between.anywhere()}"
    if slope.clear:
        return f"{unclear}; yet pots came out {slope.full()} for {short} {slope.interval()}"
    return f"{unclear}, and for {short} {slope.anywhere()}"


def _category(factor: Factor, rows: pd.DataFrame, words: Words) -> str:
    name = label(factor)
    said = [_row(line, words) for _, line in rows.iterrows()]
    if len(factor.levels) == 2:
        first, second = factor.levels
        if said[0].clear:
            return (
                f"Pots with {name} {second} came out {said[0].full()} than pots with {name} {first} "
                f"{said[0].interval()}"
            )
        return (
            f"Between pots with {name} {second} and pots with {name} {first}, "
            f"the data cannot tell: {said[0].anywhere()} for {second}"
        )
    parts = [
        f"{level} came out {row.full()} {row.interval()}"
        if row.clear
        else f"for {level} the data cannot tell: {row.anywhere()}"
        for level, row in zip(factor.levels, said, strict=True)
    ]
    return f"Against the mean of the {len(said)} kinds of {name}, " + "; ".join(parts)


def page(table: pd.DataFrame, sentences: tuple[str, ...], counts: str, variances: pd.DataFrame) -> str:
    """Lay the effects out as HTML: the sentences, the table rounded for reading, the scatter."""
    said = "".join(f"<li>{html.escape(text)}</li>" for text in sentences)
    shown = pd.DataFrame(_cells(line) for _, line in table.iterrows())
    scatter = pd.DataFrame(
        {
            "scatter": variances["component"],
            "standard deviation": [_number(value, 3) for value in variances["standard deviation"]],
            "note": variances["note"],
        }
    )
    return f"<p>{html.escape(counts)}</p><ul>{said}</ul>{_html_table(shown)}{_html_table(scatter)}"


def _cells(line: pd.Series) -> dict[str, str]:
    decimals = digits_for((line["high"] - line["low"]) / 2)
    cells = {}
    for column, value in line.items():
        if column in ("estimate", "standard error", "low", "high"):
            rounded = "" if math.isnan(value) else f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"
            cells[str(column)] = rounded.replace("-", "−")
        elif column == "p":
            cells["p"] = "" if math.isnan(value) else "< 0.001" if value < 0.001 else f"{value:.3f}"
        elif column == "df":
            cells["df"] = _number(value, 3)
        else:
            cells[str(column)] = str(value)
    return cells


def _number(value: float, digits: int) -> str:
    return "" if math.isnan(value) else f"{value:.{digits}g}"


def _html_table(table: pd.DataFrame) -> str:
    heads = "".join(f"<th>{html.escape(str(column))}</th>" for column in table.columns)
    rows = "".join(
        "<tr>" + "".join(f"<td>{html.escape(str(cell))}</td>" for cell in row) + "</tr>"
        for row in table.itertuples(index=False)
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def effect_unit(outcome: str, per: str) -> str:
    """Name the unit of an effect.

    Examples
    --------
    >>> effect_unit("L*", "g"), effect_unit("L*", ""), effect_unit("dark share", "coats")
    ('L* per g', 'L*', 'share per coat')
    """
    name, unit = parse_heading(outcome)
    base = name.partition(" ")[0]
    unit = unit or unit_of(name) or (base if base in _OUTCOMES else _MEASURED.get(name, name))
    return f"{unit} per {_SPELT[per] if per == 'coats' else per}" if per else unit
