"""Doubt: how far the mean colour of a surface may be from the truth, and what of it is due to what.

The parts are joined as independent standard errors. Pixels are no replicates: none of the parts falls with
their number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from sagglab.colour import AXES
from sagglab.photo.calibration import Calibration

#: Standard error of a colour that the file cannot hold and cuts off: of L*, a*, b* per share of the surface
#: (rendered scenes with 10 to 58 % cut).
CUT_OFF = np.array([1.0, 4.0, 7.0])

#: Half the width of a 95 % interval, in standard errors.
_REACH = float(norm.ppf(0.975))


@dataclass(frozen=True)
class Doubt:
    """Standard errors of the mean L*, a* and b* of one view, each an array of shape (3,).

    Attributes
    ----------
    mean : ndarray
        The colour itself.
    calibration : ndarray
        From the target's patches, each predicted without itself, and from colours that the file cut off.
    light : ndarray
        From the fall-off over the frame, and from shading over the curve.
    """

    mean: NDArray[np.float64]
    calibration: NDArray[np.float64]
    light: NDArray[np.float64]

    @property
    def joined(self) -> NDArray[np.float64]:
        """Standard errors of all parts together."""
        return np.hypot(self.calibration, self.light)

    @property
    def measures(self) -> dict[str, float]:
        """The columns that ``columns.DOUBT_MEASURES`` declares, but for sampling."""
        reach = _REACH * self.joined
        return {
            name: float(value)
            for k, axis in enumerate(AXES)
            for name, value in (
                (f"{axis} low", self.mean[k] - reach[k]),
                (f"{axis} high", self.mean[k] + reach[k]),
                (f"{axis} error of calibration", self.calibration[k]),
                (f"{axis} error of light", self.light[k]),
            )
        }


def doubt(
    lab: NDArray[np.float64],
    weights: NDArray[np.float64],
    calibration: Calibration,
    shading_error: float,
    cut_off: float = 0.0,
) -> Doubt:
    """Tell how sure the mean colour of a surface is.

    Parameters
    ----------
    lab : ndarray, shape (n, 3)
        Of the pixels that are measured; one at least.
    weights : ndarray, shape (n,)
        The area that each stands for.
    calibration : Calibration
    shading_error : float
        Standard error of the mean light over them, as a share of it, from shading over the curve.
    cut_off : float
        Share of the measured surface with colours that the file cannot hold.
    """
    mean = np.average(lab, axis=0, weights=weights)
    # Some thousand pixels tell how the colours lie; all of them take a hundred times as long.
    every = max(1, len(lab) // 1000)
    calibrated = calibration.standard_error(lab[::every], weights[::every])
    share = np.hypot(calibration.mapping.light.doubt, shading_error)
    calibrated = np.hypot(calibrated, CUT_OFF * cut_off)
    # All three coordinates are differences of cube roots: light that is off by a share moves L* + 16, a* and
    # b* by a third of it.
    return Doubt(mean, calibrated, share / 3 * np.abs(mean + [16, 0, 0]))
