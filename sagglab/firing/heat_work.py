"""Heat work: what time and temperature did together, by the master sintering curve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.constants import R, zero_Celsius
from scipy.special import exp1

from sagglab.firing.between import Curve

#: Assumed activation energies, in kJ/mol, of which the middle one gives the measure. No source: nothing was
#: measured on any clay body, so a difference between firings that turns round among them is no finding.
QS_KJ_PER_MOL = (200.0, 300.0, 400.0)
Q_KJ_PER_MOL = 300.0

#: The temperature whose minutes the work is told in.
HELD_AT_C = 750.0

# Pieces over which Q/RT changes by less than this are integrated by Lobatto's rule on four points: within
# 1e-12 of the exact value, where the difference of two exponential integrals would lose digits, and faster.
_SHORT = 0.1
_INNER = (1 - 1 / np.sqrt(5)) / 2
# What a piece adds at most, as a share of the whole, for it not to matter how well it was integrated.
_NOTHING = 1e-16
# Pieces worked on at a time: they stay in the processor's cache, and memory does not grow with the record.
_AT_A_TIME = 1 << 14


def heat_work_minutes(
    curve: Curve, q_kJ_per_mol: Sequence[float] = QS_KJ_PER_MOL, held_at_C: float = HELD_AT_C
) -> NDArray[np.float64]:
    """Give the minutes at one temperature that would do the same work as a curve.

    Parameters
    ----------
    curve : Curve
    q_kJ_per_mol : sequence of float, length K
        Activation energies of the one mechanism that is taken to rule.
    held_at_C : float
        The temperature whose minutes the work is told in.

    Returns
    -------
    ndarray, shape (K,)
        A relative index for each energy: it ranks firings, and does not say how dense a pot became.

    Notes
    -----
    The work is Θ = ∫ (1/T) exp(−Q/RT) dt, with T in kelvin, and the index is Θ over the integrand at the
    temperature held. It is valid for one dominant mechanism of sintering. Along a straight piece from T₁ to
    T₂ that lasts τ, putting u = Q/RT makes it Θ = τ/(T₂ − T₁) · (E₁(Q/RT₂) − E₁(Q/RT₁)), which is exact.

    References
    ----------
    Su, H. & Johnson, D. L. (1996). Master sintering curve: a practical approach to sintering. J. Am. Ceram.
    Soc. 79. The formula is from memory.

    Examples
    --------
    >>> heat_work_minutes(Curve(np.array([0.0, 25.0]), np.array([750.0, 750.0]))).round(12)
    array([25., 25., 25.])
    """
    heats = np.asarray(q_kJ_per_mol) * 1000 / R
    total = np.zeros(len(heats))
    parts = [slice(start, start + _AT_A_TIME + 1) for start in range(0, len(curve.minutes) - 1, _AT_A_TIME)]
    # The hottest first: beside it, how well a cold piece is integrated often does not matter.
    for part in sorted(parts, key=lambda part: -curve.temperature_C[part].max()):
        kelvin = curve.temperature_C[part] + zero_Celsius
        total += _work(curve.minutes[part], kelvin, heats, held_at_C + zero_Celsius, total)
    return total


def _work(
    minutes: NDArray[np.float64],
    kelvin: NDArray[np.float64],
    heats: NDArray[np.float64],
    held: float,
    so_far: NDArray[np.float64],
) -> NDArray[np.float64]:
    lasts, rise = np.diff(minutes), np.diff(kelvin)
    points = (kelvin, kelvin[:-1] + _INNER * rise, kelvin[1:] - _INNER * rise)
    total = np.empty(len(heats))
    rates = zip(*(_rates(point, heats, held) for point in points), strict=True)
    for number, (heat, (at_ends, first, second)) in enumerate(zip(heats, rates, strict=True)):
        work = lasts * (at_ends[:-1] + at_ends[1:] + 5 * (first + second)) / 12
        at_most = lasts * np.maximum(at_ends[:-1], at_ends[1:])
        reduced = heat / kelvin
        long = (np.abs(np.diff(reduced)) >= _SHORT) & (at_most > _NOTHING * (so_far[number] + work.sum()))
        if long.any():
            integral = exp1(reduced[1:][long]) - exp1(reduced[:-1][long])
            work[long] = lasts[long] / rise[long] * held * np.exp(heat / held) * integral
        total[number] = work.sum()
    return total


def _rates(
    kelvin: NDArray[np.float64], heats: NDArray[np.float64], held: float
) -> Iterator[NDArray[np.float64]]:
    """Yield the integrand for each energy, relative to that at the temperature held."""
    # One exponential, and its powers, serve all energies: exponentials are most of the time that this takes.
    further = np.diff(heats, prepend=0)
    step = np.abs(further[further != 0]).min()
    factor = np.exp(step * (1 / held - 1 / kelvin))
    rate = held / kelvin
    for times in further / step:
        rate = rate * (factor if times == 1 else factor**times)
        yield rate
