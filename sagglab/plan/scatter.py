"""The scatter to be expected between firings and between pots: read, and said."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from sagglab.errors import PlanError

#: Typical scatter of L* between firings, and between pots of one firing: common practice, no source.
FIRING_SD, POT_SD = 3.0, 4.0

#: Of a few firings it is often estimated so, and it counts for all that varies between them.
_NONE = (
    "; real firings always differ a little, so that a change from firing to firing will be told less often "
    "than is said here, and needs more firings"
)


def read_scatter(firing_sd: float | None, pot_sd: float | None, outcome: str) -> tuple[float, float]:
    """Check the scatter given, and take what is typical of L* for what is not.

    Raises
    ------
    PlanError
        It is not a size; or none is given for an outcome of which none is typical.
    """
    lacking = [name for name, value in (("firing_sd", firing_sd), ("pot_sd", pot_sd)) if value is None]
    if lacking and outcome != "L*":
        raise PlanError(
            f"scatter of {outcome}",
            "none is typical of it",
            f"give {' and '.join(lacking)}, or an earlier result with like=",
        )
    firing_sd = FIRING_SD if firing_sd is None else firing_sd
    pot_sd = POT_SD if pot_sd is None else pot_sd
    if not (np.isfinite(firing_sd) and firing_sd >= 0):
        raise PlanError(f"firing_sd {firing_sd!r}", "it is no size of scatter", "write zero or more")
    if not (np.isfinite(pot_sd) and pot_sd > 0):
        raise PlanError(f"pot_sd {pot_sd!r}", "pots of one firing always scatter", "write more than zero")
    return float(firing_sd), float(pot_sd)


def typical_of(firing_sd: float | None, pot_sd: float | None) -> tuple[str, ...]:
    """Name the scatter that is not given, so that what is typical is taken."""
    return tuple(name for name, given in (("firings", firing_sd), ("pots", pot_sd)) if given is None)


def scatter_said(
    firing_sd: float, pot_sd: float, unit: str, typical: Collection[str], source: str = ""
) -> str:
    """Say the scatter that was taken, and where it is from."""
    said = (
        f"with a scatter of {firing_sd:.3g} {unit} between firings "
        f"and {pot_sd:.3g} {unit} between pots of one firing"
    )
    if typical:
        which = ""
        if len(typical) == 1:
            given = "pots" if "firings" in typical else "firings"
            which = f"that between {given} as given; that between {typical[0]} "
        rest = "give your own studio's where you can"
        source = f"{which}typical, common practice, no source: {rest}"
    return f"{said}{source and f' ({source})'}{'' if firing_sd else _NONE}"
