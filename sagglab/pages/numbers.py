"""Numbers: written for reading, by their uncertainty where it is known."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray


def digits_for(half_width: float) -> int:
    """Decimals that show two significant digits of an interval's half-width; negative for tens and hundreds.

    References
    ----------
    JCGM 100:2008 (GUM), 7.2.6: an uncertainty is given with at most two significant digits.

    Examples
    --------
    >>> digits_for(1.5), digits_for(0.31), digits_for(150)
    (1, 2, -1)
    """
    if not math.isfinite(half_width) or half_width <= 0:
        return 2
    return 1 - int(f"{half_width:.1e}".partition("e")[2])


def number(value: float, digits: int) -> str:
    """Write a number with so many significant digits, whole ones in full, and nothing for NaN.

    Examples
    --------
    >>> number(0.012345, 3), number(12345.6, 3), number(-3.0, 3)
    ('0.0123', '12346', '−3')
    """
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "−∞" if value < 0 else "∞"
    places = 0 if value == 0 else max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{round(value, places) + 0.0:.{places}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def decimal(value: float, places: int) -> str:
    """Write a number to so many decimals, to tens where negative; zero has no sign, NaN is empty."""
    if math.isnan(value):
        return ""
    return f"{round(value, places) + 0.0:.{max(places, 0)}f}".replace("-", "−")


def within(value: float, low: float, high: float, places: int) -> str:
    """Write a number with the interval that it lies in.

    Examples
    --------
    >>> within(43.123, 42.34, 43.91, 1)
    '43.1 (42.3 to 43.9)'
    """
    if math.isnan(value):
        return ""
    ends = [decimal(end, places) if math.isfinite(end) else "no bound" for end in (low, high)]
    if math.isnan(low) or math.isnan(high):
        return decimal(value, places)
    return f"{decimal(value, places)} ({ends[0]} to {ends[1]})"


def probability(value: float) -> str:
    """Write a probability for a table, and nothing for NaN."""
    return "" if math.isnan(value) else "<\u00a00.001" if value < 0.001 else f"{value:.3f}"


def written(values: NDArray[np.float64], ends: NDArray[np.float64] | None = None) -> list[str]:
    """Write a column of numbers, all to the same decimals.

    Parameters
    ----------
    values : ndarray, shape (n,)
    ends : ndarray, shape (n, 2), optional
        The low and the high end of each: they leave two significant digits of the middle one's half-width.
        Where none are known, the largest has three or four digits.

    Examples
    --------
    >>> written(np.array([43.123, np.nan, 5.0])), written(np.array([43.123]), np.array([[42.3, 43.9]]))
    (['43.1', '', '5.0'], ['43.12 (42.30 to 43.90)'])
    >>> written(np.array([2.0, 10.0])), written(np.array([1234.56, 0.5]))
    (['2', '10'], ['1235', '0.5'])
    """
    if ends is not None:
        half = (ends[:, 1] - ends[:, 0]) / 2
        half = half[np.isfinite(half) & (half > 0)]
        if half.size:
            places = max(digits_for(float(np.median(half))), 0)
            return [within(value, *pair, places) for value, pair in zip(values, ends, strict=True)]
    finite = np.abs(values[np.isfinite(values)])
    if not finite.size or (finite == np.round(finite)).all():
        return [number(value, 3) for value in values]
    places = max(2 - math.floor(math.log10(finite.max())), 0)
    # Decimals that no number of the column needs are left away.
    while places and (np.abs(finite - np.round(finite, places - 1)) < 1e-9).all():
        places -= 1
    return [
        decimal(value, places) if math.isfinite(value) and (value == 0 or round(value, places)) and
        (places or abs(value) >= 1) else number(value, 2)
        for value in values
    ]  # fmt: skip
