"""The limits that a difference of colour is held against."""

from __future__ import annotations

from dataclasses import dataclass

from sagglab.errors import SetupError
from sagglab.model.eye import JUST_SEEN, PLAIN

#: ΔE00 that half of all people just see, and that half of them accept, as for the effects of a recipe.
#: R. D. Paravina et al., J. Esthet. Restor. Dent. 27 (2015), S1-S9, on dental ceramics.
NOTICEABLE, ACCEPTABLE = JUST_SEEN, PLAIN


@dataclass(frozen=True)
class Limits:
    """What counts as a difference, in ΔE00.

    Attributes
    ----------
    noticeable : float
        Half of all people just see so much.
    acceptable : float
        Half of all people accept so much: the margin within which two setups count as equal.

    Raises
    ------
    SetupError
        The limits are not above zero, in this order.
    """

    noticeable: float = NOTICEABLE
    acceptable: float = ACCEPTABLE

    def __post_init__(self) -> None:
        if not 0 < self.noticeable <= self.acceptable < float("inf"):
            raise SetupError(
                "limits",
                f"ΔE00 {self.noticeable:g} (noticeable) and {self.acceptable:g} (acceptable) are no limits",
                "give two numbers above zero, the noticeable one no larger than the acceptable one",
            )
