"""What to measure of a surface: the band, the shares, and measures of the user's own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sagglab.columns import MEASURES, Column
from sagglab.errors import OwnMeasureError, SurfaceError
from sagglab.photo.shares import Share, read_shares
from sagglab.photo.surface import BAND_DEGREES, SEEN_DEGREES
from sagglab.photo.unrolled import SurfaceMap

#: A measure of the user's own: from the L*, a*, b* of the measured pixels, shape (n, 3), the area that each
#: stands for, shape (n,), and the unrolled surface, to numbers by their names.
OwnMeasure = Callable[[NDArray[np.float64], NDArray[np.float64], SurfaceMap], Mapping[str, float]]

_DECLARED = {column.heading for column in MEASURES}


@dataclass(frozen=True)
class Measuring:
    """What to measure of a pot's surface.

    Attributes
    ----------
    band_degrees : float
        Half the width of the central band, in degrees around the axis; the slant costs little up to 40 or so.
    shares : tuple of Share
        Shares of the surface with colours within bounds; from `read_shares`.
    own : tuple of callable
        Measures of the user's own: plain functions ``(lab, weights, map) -> dict`` of the measured pixels'
        L*, a*, b*, shape (n, 3), the area that each stands for, shape (n,), and the unrolled `SurfaceMap`.

    Raises
    ------
    OwnMeasureError
        The user's own measures are no functions.
    SurfaceError
        The band is no number, no wider than nothing, or wider than what can be seen.

    Examples
    --------
    >>> def lightest(lab, weights, map):
    ...     return {"lightest": float(lab[:, 0].max())}
    >>> measuring = Measuring(band_degrees=30, own=(lightest,))
    >>> measuring.own_measures(np.array([[40.0, 8, 9], [62, 5, 7]]), np.ones(2), None)
    {'lightest': 62.0}
    """

    band_degrees: float = BAND_DEGREES
    shares: tuple[Share, ...] = field(default_factory=read_shares)
    own: tuple[OwnMeasure, ...] = ()

    def __post_init__(self) -> None:
        if callable(self.own) or not all(map(callable, self.own)):
            raise OwnMeasureError(
                "own", "it is no tuple of functions", "put them in brackets with a comma, as own=(rust,)"
            )
        if not isinstance(self.band_degrees, (int, float)):
            raise SurfaceError("band_degrees", f"{self.band_degrees!r} is no number", "give it in degrees")
        if not 0 < self.band_degrees <= SEEN_DEGREES:
            raise SurfaceError(
                "band_degrees",
                f"a band of {self.band_degrees:g}° to either side cannot be measured",
                f"give more than 0 and at most {SEEN_DEGREES:g}; {BAND_DEGREES:g} is usual",
            )

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns of shares that are not among the built-in ones."""
        return tuple(
            Column(share.name, "number", share.meaning or "share of the surface, 0 to 1")
            for share in self.shares
            if share.name not in _DECLARED
        )

    def own_measures(
        self, lab: NDArray[np.float64], weights: NDArray[np.float64], surface_map: SurfaceMap
    ) -> dict[str, float]:
        """Measure what the user's own functions measure.

        Raises
        ------
        OwnMeasureError
            One fails, gives no dict of numbers, or a name that is taken.
        """
        found: dict[str, float] = {}
        taken = _DECLARED | {column.heading for column in self.columns}
        for measure in self.own:
            where = f"your own measure '{getattr(measure, '__name__', measure)}'"
            try:
                answer = measure(lab, weights, surface_map)
            except Exception as error:  # whatever a user's function may raise is told as its own
                cause = f"it fails: {type(error).__name__}: {error}"
                raise OwnMeasureError(where, cause, "mend it; it is given (lab, weights, map)") from error
            try:
                given = {str(name): float(value) for name, value in answer.items()}
            except (AttributeError, TypeError, ValueError) as error:
                cause = f"it gives no dict of names and numbers, but {answer!r:.80}"
                raise OwnMeasureError(where, cause, "return a dict such as {'spots': 3}") from error
            for name in given:
                if name in taken | found.keys():
                    raise OwnMeasureError(
                        where, f"the name '{name}' is taken", "give its number another name"
                    )
            found |= given
        return found
