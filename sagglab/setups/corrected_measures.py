"""Measures with the colours of one setup brought to another's: what moves, stays, is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from sagglab.colour import AXES, lab_to_lch
from sagglab.columns import (
    CALIBRATION_MEASURES,
    FILE_MEASURES,
    HEIGHT_STEPS,
    PALETTE_COLOURS,
    SHAPE_MEASURES,
)
from sagglab.columns.views import CORRECTED_TO
from sagglab.errors import SetupError
from sagglab.pages.table import Table

if TYPE_CHECKING:
    from sagglab.setups.correction import Correction

#: The flag of colours unlike those that the correction was made from.
BEYOND = "beyond the correction"

#: Colours: three columns each, corrected together. The mean goes first: it is moved as the others are.
TRIPLES = (
    *(tuple(f"{axis}{what}" for axis in AXES) for what in ("", " median")),
    *(tuple(f"colour {number} {axis}" for axis in AXES) for number in range(1, PALETTE_COLOURS + 1)),
    *(tuple(f"{axis} at {step:g} % height" for axis in AXES) for step in HEIGHT_STEPS),
)

#: Statistics whose C*ab and hue angle follow the triple of the same name.
_WITH_CHROMA = ("", " median")

#: Measures that do not change with the colours: of the form, of the photograph and its calibration, of the
#: file; how sure the setup's own reading is; and how much of the surface each palette colour covers.
KEPT = frozenset(
    [
        *(
            column.heading
            for columns in (SHAPE_MEASURES, CALIBRATION_MEASURES, FILE_MEASURES)
            for column in columns
        ),
        "glare share",
        *(f"colour {number} share" for number in range(1, PALETTE_COLOURS + 1)),
        *(f"{axis} error of {what}" for axis in AXES for what in ("light", "sampling")),
    ]
)

#: Below this C*ab a hue angle cannot be turned by another's: calibration is sure of a* and b* to about 1.
_HUED = 5.0

#: Half the width of a 95 % interval, in standard errors.
_REACH = float(norm.ppf(0.975))


def corrected_measures(correction: Correction, measures: pd.DataFrame) -> pd.DataFrame:
    """Correct the measures of one setup's photographs.

    Rows of other setups stay as they are. Of the setup's own, those that show a colour are corrected. On five
    demo surfaces, an offset, a matrix and a veil made place by place came within 0.3 of L*, a*, b* told here,
    0.4 of C*ab and 5° of the hue angle, which they had moved by up to 1.5 and 14°.

    ============================================  ====================================================
    L*, a*, b*: mean, median, palette, by height  corrected
    C*ab and hue angle: mean, median              moved as those of the mean, or median, colour are; the
                                                  hue angle is blank where that has too little chroma
    ``L* low``, ``L* high`` …                     moved with the mean, and widened by the correction's error
    ``L* error of calibration`` …                 joined by the correction's error, by left-out pots
    ``L* in file`` …, the form, the photograph,   as they were
    its calibration, other standard errors,
    shares of glare and of palette colours
    SD, quantiles, range and sill, shares by      blank: they rest on colours place by place, which were
    colour, shares and measures of the user's     not kept
    ``corrected to``                              the setup that the colours were brought to
    ``flags``                                     joined by ``beyond the correction`` where the mean colour
                                                  is unlike those that it was made from
    ============================================  ====================================================

    Parameters
    ----------
    correction : Correction
    measures : DataFrame
        As `measure_photos` gives them, or read back from a file.

    Returns
    -------
    DataFrame
        A copy, with the column ``corrected to``.

    Raises
    ------
    SetupError
        They are no measures, hold no colours of the setup, or those were corrected before.
    """
    where = f"correction of '{correction.of}' to '{correction.to}'"
    lacking = [name for name in ("setup", *AXES) if name not in measures]
    if lacking:
        raise SetupError(
            where,
            f"the table has no column {lacking[0]}",
            "give measures of photographs, as measure_photos makes them",
        )
    before = _marks(measures)
    rows = ((measures["setup"] == correction.of) & measures[list(AXES)].notna().all(axis=1)).to_numpy()
    if not rows.any():
        known = ", ".join(dict.fromkeys(measures["setup"].dropna().astype(str))) or "none"
        raise SetupError(
            where,
            f"no photograph of '{correction.of}' shows a colour; the setups are {known}",
            "give measures of that setup",
        )
    if (before[rows] != "").any():
        done = ", ".join(dict.fromkeys(before[rows & (before != "")]))
        raise SetupError(
            where,
            f"the colours of '{correction.of}' were brought to '{done}' before",
            "correct the measures as they were made, once",
        )
    changed = _changed(correction, measures.loc[rows])
    changed[CORRECTED_TO] = [correction.to] * int(rows.sum())
    names = list(measures)
    if CORRECTED_TO not in names:
        names.insert(names.index(AXES[0]), CORRECTED_TO)
    columns = {}
    for name in names:
        if name not in changed:
            columns[name] = measures[name]
            continue
        old = before if name == CORRECTED_TO else measures[name]
        kind = "str" if name in (CORRECTED_TO, "flags") else "float64"
        values = np.array(old, dtype=object if kind == "str" else float)
        values[rows] = changed[name]
        columns[name] = pd.Series(values, index=measures.index, dtype=kind)
    # Laid out at once: column by column, pandas warns of the pieces.
    return Table(columns)


def _marks(measures: pd.DataFrame) -> NDArray[np.object_]:
    """Give the column ``corrected to``, which measures of old lack; it is blank when read back."""
    if CORRECTED_TO not in measures:
        return np.full(len(measures), "", dtype=object)
    return measures[CORRECTED_TO].astype(object).fillna("").to_numpy()


def _changed(correction: Correction, rows: pd.DataFrame) -> dict[str, object]:
    """Give each column that changes, with its new values for these rows."""
    new: dict[str, object] = {}
    if correction.kind != "none":
        numbers = rows.columns[[pd.api.types.is_numeric_dtype(dtype) for dtype in rows.dtypes]]
        new |= dict.fromkeys(numbers.difference(list(KEPT)), np.nan)
    for triple in TRIPLES:
        if set(triple) <= set(rows):
            new |= zip(triple, correction.lab(rows[list(triple)]).T, strict=True)
    for what in _WITH_CHROMA:
        new |= _chroma(rows, new, what)
    for axis, error in zip(AXES, correction.errors, strict=True):
        new |= _doubt(rows, new, axis, error)
    if "flags" in rows:
        beyond = correction.beyond(rows[list(AXES)])
        told = rows["flags"].astype(object).fillna("")
        new["flags"] = [
            "; ".join(filter(None, [flags, BEYOND])) if out else flags
            for flags, out in zip(told, beyond, strict=True)
        ]
    return new


def _chroma(rows: pd.DataFrame, new: dict[str, object], what: str) -> dict[str, object]:
    """Move C*ab and hue angle as those of the triple move: they are of places, and not of its colour."""
    triple = [f"{axis}{what}" for axis in AXES]
    if not set(triple) <= set(rows):
        return {}
    (_, chroma, hue), (_, new_chroma, new_hue) = (
        lab_to_lch(lab).T for lab in (rows[triple], np.column_stack([new[name] for name in triple]))
    )
    moved: dict[str, object] = {}
    if f"C*ab{what}" in rows:
        moved[f"C*ab{what}"] = np.maximum(rows[f"C*ab{what}"] + new_chroma - chroma, 0.0).to_numpy()
    if f"hue angle{what}" in rows:
        turned = (rows[f"hue angle{what}"] + new_hue - hue).to_numpy() % 360
        moved[f"hue angle{what}"] = np.where(np.minimum(chroma, new_chroma) < _HUED, np.nan, turned)
    return moved


def _doubt(rows: pd.DataFrame, new: dict[str, object], axis: str, error: float) -> dict[str, object]:
    moved: dict[str, object] = {}
    for end, sign in ((f"{axis} low", -1), (f"{axis} high", 1)):
        if end in rows:
            away = np.hypot(rows[end] - rows[axis], _REACH * error).to_numpy()
            moved[end] = new[axis] + sign * away
    calibration = f"{axis} error of calibration"
    if calibration in rows:
        moved[calibration] = np.hypot(rows[calibration], error).to_numpy()
    return moved
