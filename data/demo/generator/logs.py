"""Firing logs: the temperature of a small gas kiln, as loggers and a pencil keep it."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

OPENED_BELOW_C = 275.0


@dataclass(frozen=True)
class Curve:
    """What the kiln did, second by second.

    Attributes
    ----------
    seconds : ndarray, shape (N,)
        Since the burner was lit.
    temperature_C : ndarray, shape (N,)
    """

    seconds: NDArray[np.float64]
    temperature_C: NDArray[np.float64]

    def every(self, seconds: float) -> Curve:
        """Thin the curve to one reading in so many seconds."""
        step = int(seconds)
        return Curve(self.seconds[::step], self.temperature_C[::step])


def fire(rng: np.random.Generator, peak_C: float, gusts: float = 1.0) -> Curve:
    """Fire a small gas kiln once.

    The climb follows common practice, about 750 °C in 35 to 40 minutes; the stall and the
    cooling are invented.

    Parameters
    ----------
    rng : Generator
    peak_C : float
        The highest temperature, reached exactly.
    gusts : float
        How restless the flame is; 1 on a calm day.

    Returns
    -------
    Curve
        From 20 °C to the moment when the kiln may be opened.
    """
    minutes = rng.uniform(35, 40)
    stall = rng.uniform(0.38, 0.52)
    knots = np.array([0, 0.08, 0.2, stall - 0.06, stall, stall + 0.07, 0.8, 0.95, 1]) * minutes
    level = np.array([0, 0.11, 0.33, 0.62, 0.665, 0.675, 0.905, 0.985, 1]) * (peak_C - 20) + 20
    climb_at = np.arange(0, round(minutes * 60))
    climb = PchipInterpolator(knots * 60, level)(climb_at)

    slow = rng.uniform(58, 84)
    cool_at = np.arange(0, 4 * 3600)
    cooling = 20 + (peak_C - 20) * np.exp(-((cool_at / 60 / slow) ** 0.92))
    cooling = cooling[: np.argmax(cooling < OPENED_BELOW_C) + 1]

    smooth = np.concatenate([climb, cooling])
    seconds = np.arange(smooth.size, dtype=float)
    # The flame wanders over some twenty seconds and over minutes; the wobble fades near the peak, so that
    # the peak stays what the study says, and once the burner is off.
    wander = sum(
        size * _wander(rng, smooth.size, over) for size, over in ((1.2 * gusts, 20), (2.2 * gusts, 150))
    )
    burner = np.where(seconds < climb.size, 1.0, 0.12)
    room = np.clip((peak_C - smooth) / 25, 0, 1) * np.clip((smooth - 20) / 60, 0, 1)
    return Curve(seconds, np.minimum(smooth + wander * burner * room, peak_C))


def _wander(rng: np.random.Generator, size: int, over_s: float) -> NDArray[np.float64]:
    knots = np.arange(0, size + 3 * over_s, over_s)
    return PchipInterpolator(knots, rng.normal(0, 1, knots.size))(np.arange(size))


def _hms(seconds: float) -> str:
    return f"{int(seconds) // 3600}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}"


def _logged(rng: np.random.Generator, curve: Curve) -> NDArray[np.float64]:
    return np.round(curve.temperature_C + rng.normal(0, 0.15, curve.seconds.size), 1)


def elapsed_log(rng: np.random.Generator, curve: Curve) -> str:
    """Write a logger's table with the time since lighting as h:mm:ss."""
    rows = zip(curve.seconds, _logged(rng, curve), strict=True)
    return "time,temperature [degC]\n" + "".join(f"{_hms(s)},{t:.1f}\n" for s, t in rows)


def dated_log(rng: np.random.Generator, curve: Curve, start: dt.datetime, unit: str = "degC") -> str:
    """Write a logger's table with ISO date-times, in °C or °F."""
    temperature = _logged(rng, curve)
    if unit == "degF":
        temperature = temperature * 9 / 5 + 32
    text = io.StringIO()
    text.write(f"time,temperature [{unit}]\n")
    for seconds, value in zip(curve.seconds, temperature, strict=True):
        text.write(f"{(start + dt.timedelta(seconds=float(seconds))).isoformat()},{value:.1f}\n")
    return text.getvalue()


def minutes_log(rng: np.random.Generator, curve: Curve) -> str:
    """Write a logger's table with the time in minutes."""
    rows = zip(curve.seconds / 60, _logged(rng, curve), strict=True)
    return "time [min],temperature [degC]\n" + "".join(f"{m:.3f},{t:.1f}\n" for m, t in rows)


def paper_log(rng: np.random.Generator, curve: Curve, start: dt.datetime) -> str:
    """Write readings down by hand: every three to five minutes, at the peak, and before opening.

    Clock times to the minute; whole degrees, now and then a half read between the marks, with a decimal
    comma.
    """
    last = curve.seconds[-1] / 60
    at = np.concatenate([[0], np.cumsum(rng.integers(3, 6, int(last / 3)))])
    peak_at = round(curve.seconds[np.argmax(curve.temperature_C)] / 60)
    # Whoever watches for the peak reads it when it comes, and once more before opening the kiln.
    at = at[(at < last - 2) & (np.abs(at - peak_at) > 1)]
    at = np.sort(np.append(at, [peak_at, int(last)]))
    temperature = np.interp(at * 60, curve.seconds, curve.temperature_C)
    temperature[at == peak_at] = curve.temperature_C.max()
    halves = rng.random(at.size) < 0.15
    temperature = np.where(halves, np.round(temperature * 2) / 2, np.round(temperature))
    text = f"Firing 6, pyrometer read by hand;\nlit at {start:%H:%M}, probe at mid height;\n"
    text += "clock time;temperature [degC]\n"
    for minute, value in zip(at, temperature, strict=True):
        clock = start + dt.timedelta(minutes=int(minute))
        text += f"{clock:%H:%M};{value:g}\n".replace(".", ",")
    return text
