"""Pairs: the same pots, or the same patches of a target, as two setups read them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sagglab.colour import AXES, delta_e_2000, lab_to_lch
from sagglab.columns.treated import sides

#: The coordinates in which two readings of one thing are compared; lightness and chroma apart, since what
#: takes gloss away moves both.
DIFFERENCES = ("ΔL*", "Δa*", "Δb*", "ΔC*", "ΔH*")

Kind = Literal["pots", "patches"]

#: What the colours of a setup are called.
IN_FILE, CALIBRATED = "in the file", "after calibration"


@dataclass(frozen=True)
class Pairs:
    """The same things read in two setups.

    Attributes
    ----------
    kind : {"pots", "patches"}
    first, second : str
        Names of the setups.
    calibrated : bool
        Whether the colours are those after each setup's own calibration, or those in the file.
    table : DataFrame
        One row per thing and view that both setups show: ``item`` (the pot or the patch), ``view`` (empty
        for patches; ``front after wax`` of a pot that was waxed since it was unpacked), ``L* first`` …
        ``b* second`` (means over repeats), ``photographs first``, ``photographs second``, ``taken first``,
        ``taken second``, and the differences, second less first: ``ΔL*``, ``Δa*``, ``Δb*``, ``ΔC*``,
        ``ΔH*``, and ``ΔE00``.
    readings : DataFrame
        One row per reading of both setups, of things that only one shows, too: ``setup``, ``item``, ``view``,
        ``day``, ``photo``, ``L*``, ``a*``, ``b*``.
    """

    kind: Kind
    first: str
    second: str
    calibrated: bool
    table: pd.DataFrame
    readings: pd.DataFrame

    @property
    def items(self) -> list[str]:
        """The pots or patches that both show, each once."""
        return list(dict.fromkeys(self.table["item"]))

    @property
    def colours(self) -> str:
        """Which colours: those in the file, or those after calibration."""
        return CALIBRATED if self.calibrated else IN_FILE

    def lab(self, which: Literal["first", "second"]) -> NDArray[np.float64]:
        """L*, a*, b* of each row of the table in one of the setups, shape (n, 3)."""
        return self.table[[f"{axis} {which}" for axis in AXES]].to_numpy()


def differences(first: ArrayLike, second: ArrayLike) -> pd.DataFrame:
    """Differences of colours, second less first.

    Parameters
    ----------
    first, second : array_like, shape (n, 3)
        L*, a*, b*.

    Returns
    -------
    DataFrame
        ``ΔL*``, ``Δa*``, ``Δb*``, ``ΔC*``, ``ΔH*`` and ``ΔE00``. ΔH* is signed: above zero where the hue
        angle is larger; ΔL*² + ΔC*² + ΔH*² = ΔL*² + Δa*² + Δb*².

    References
    ----------
    CIE 15: ΔH* is 2 √(C*₁ C*₂) sin (Δh / 2).

    Examples
    --------
    >>> differences([[50, 10, 0]], [[51, 0, 10]]).round(2).iloc[0].tolist()
    [1.0, -10.0, 10.0, 0.0, 14.14, 15.62]
    """
    first, second = (np.asarray(lab, dtype=float).reshape(-1, 3) for lab in (first, second))
    apart = second - first
    (_, chroma, hue), (_, other_chroma, other_hue) = lab_to_lch(first).T, lab_to_lch(second).T
    hue_apart = 2 * np.sqrt(chroma * other_chroma) * np.sin(np.radians(other_hue - hue) / 2)
    # The short way round: from 350° to 10° is 20° on.
    hue_apart = np.where(np.abs(other_hue - hue) > 180, -hue_apart, hue_apart)
    columns = [*apart.T, other_chroma - chroma, hue_apart, delta_e_2000(first, second)]
    return pd.DataFrame(dict(zip((*DIFFERENCES, "ΔE00"), columns, strict=True)))


def pair_pots(first: pd.DataFrame, second: pd.DataFrame, calibrated: bool = True) -> Pairs:
    """Pair the pots, or tiles, that were photographed in two setups, by pot and view.

    A pot may have changed between two days, so that of several days those two are taken that lie nearest
    to each other. Photographs of one view on one day in one setup are repeats, and averaged. A pot that was
    waxed in between is paired only with itself as waxed.

    Parameters
    ----------
    first, second : DataFrame
        Measures of one setup each, as `measure_photos` gives them.
    calibrated : bool
        Whether to compare the colours after calibration, or those in the file.
    """
    readings = [_pot_readings(measures, calibrated) for measures in (first, second)]
    visits = [_means(table) for table in readings]
    both = visits[0].merge(visits[1], on=["item", "view"], suffixes=(" first", " second"))
    apart = (both["day second"] - both["day first"]).abs()
    # Undated photographs of one view are one visit, as near as any.
    both = both.assign(apart=apart.fillna(pd.Timedelta(0))).sort_values("apart", kind="stable")
    nearest = both.groupby(["item", "view"], sort=False).head(1).sort_index()
    return _pairs("pots", first, second, calibrated, nearest, readings)


def pair_patches(first: pd.DataFrame, second: pd.DataFrame, calibrated: bool = True) -> Pairs:
    """Pair the patches of one target, photographed by itself in two setups.

    Parameters
    ----------
    first, second : DataFrame
        Patches of one setup each, as `measure_targets` gives them; photographs with a pot are left out.
    calibrated : bool
        Whether to compare the colours after calibration, each patch read without itself, or those in the
        file.
    """
    readings = [_patch_readings(patches, calibrated) for patches in (first, second)]
    # A target stays as it is: all days are repeats.
    shots = [_means(table.assign(day=pd.NaT)) for table in readings]
    both = shots[0].merge(shots[1], on=["item", "view"], suffixes=(" first", " second"))
    return _pairs("patches", first, second, calibrated, both, readings)


def _pot_readings(measures: pd.DataFrame, calibrated: bool) -> pd.DataFrame:
    shown = measures[(measures["pot"] != "") & measures["L*"].notna()]
    return _readings(shown, "pot", sides(shown), calibrated)


def _patch_readings(patches: pd.DataFrame, calibrated: bool) -> pd.DataFrame:
    alone = patches[(patches["pot"] == "") & patches["L*"].notna()]
    return _readings(alone, "patch", "", calibrated)


def _readings(table: pd.DataFrame, item: str, view: object, calibrated: bool) -> pd.DataFrame:
    columns = {axis if calibrated else f"{axis} in file": axis for axis in AXES}
    known = table[[item, "photo", "setup", *columns]].rename(columns=columns | {item: "item"})
    day = pd.to_datetime(table["taken"]).dt.normalize()
    return known.assign(view=view, day=day)[["setup", "item", "view", "day", "photo", *AXES]]


def _means(readings: pd.DataFrame) -> pd.DataFrame:
    by = readings.groupby(["item", "view", "day"], sort=False, dropna=False)
    return by.agg(**{axis: (axis, "mean") for axis in AXES}, photographs=("photo", "nunique")).reset_index()


def _pairs(
    kind: Kind,
    first: pd.DataFrame,
    second: pd.DataFrame,
    calibrated: bool,
    both: pd.DataFrame,
    readings: list[pd.DataFrame],
) -> Pairs:
    sides = ("first", "second")
    labs = [both[[f"{axis} {which}" for axis in AXES]].to_numpy() for which in sides]
    told = [f"{what} {which}" for what in (*AXES, "photographs") for which in sides]
    table = both.rename(columns={f"day {which}": f"taken {which}" for which in sides})
    table = table[["item", "view", *told, "taken first", "taken second"]].reset_index(drop=True)
    table = pd.concat([table, differences(*labs)], axis=1)
    names = [str(measures["setup"].iloc[0]) if len(measures) else "" for measures in (first, second)]
    return Pairs(kind, *names, calibrated, table, pd.concat(readings, ignore_index=True))
