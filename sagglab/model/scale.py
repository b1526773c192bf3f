"""Scale: in what form an outcome is modelled, and the way back to its own unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from sagglab.errors import ModelError
from sagglab.units import parse_heading


@dataclass(frozen=True)
class Scale:
    """The scale on which an outcome is modelled.

    Attributes
    ----------
    whole : float
        Of a share, what counts as all: 1, or 100 under a heading in per cent. Zero for what is modelled as it
        was measured.
    pots : int
        Of a share, how many pots it is squeezed by, since none and all have no logit; 0 when neither occurs.
    """

    whole: float = 0.0
    pots: int = 0

    @property
    def is_share(self) -> bool:
        """True when the outcome is modelled as the logit of a share."""
        return self.whole > 0

    def onto(self, values: ArrayLike) -> NDArray[np.float64]:
        """From the outcome's unit to the scale of the model."""
        values = np.asarray(values, dtype=float)
        if not self.is_share:
            return values
        share = values / self.whole
        return special.logit((share * (self.pots - 1) + 0.5) / self.pots if self.pots else share)

    def back(self, values: ArrayLike) -> NDArray[np.float64]:
        """From the scale of the model to the outcome's unit.

        Examples
        --------
        >>> Scale(whole=100).back(Scale(whole=100).onto([25.0, 50.0])).round(6)
        array([25., 50.])
        """
        values = np.asarray(values, dtype=float)
        if not self.is_share:
            return values
        share = special.expit(values)
        if self.pots:
            share = np.clip((share * self.pots - 0.5) / (self.pots - 1), 0, 1)
        return share * self.whole


def scale_for(outcome: str, values: NDArray[np.float64]) -> Scale:
    """Choose the scale of an outcome: the logit for a share, as measured for all else.

    Parameters
    ----------
    outcome : str
        Its heading; what is called ``… share`` is one.
    values : ndarray, shape (n,)

    Raises
    ------
    ModelError
        A share outside none to all.

    References
    ----------
    Smithson and Verkuilen, Psychological Methods 11 (2006), for the squeeze (from memory).
    """
    name, unit = parse_heading(outcome)
    if not name.endswith("share"):
        return Scale()
    whole = 100.0 if unit in ("%", "percent") else 1.0
    if values.min() < 0 or values.max() > whole:
        raise ModelError(
            f"outcome '{outcome}'",
            f"a share lies between 0 and {whole:g}, and here are {values.min():g} and {values.max():g}",
            "mend the values, or put [percent] into its heading where it counts to 100",
        )
    squeezed = values.min() == 0 or values.max() == whole
    return Scale(whole, len(values) if squeezed else 0)
