"""The scatter to be expected drawn, where no exact test exists, and each draw fitted.

The degrees of freedom of Kenward and Roger are a match of moments, and variances may not be negative: with
few firings of unequal make the analysis is less sure than it need be. At four firings the noncentral F
foretold 14 of 100 where 7 of 100 studies were told; so the chance is taken from fits of the scatter alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from sagglab.errors import ModelError
from sagglab.model.mixed import MixedFit, fit_mixed, indicators
from sagglab.model.strata import FittedStrata
from sagglab.progress import progress

#: Draws, whose error is about 0.01 of a chance, and 4 % of a half width on two degrees of freedom; the
#: seed is fixed, so that a plan has one answer.
DRAWS, _SEED = 200, 20


@dataclass(frozen=True)
class Drawn:
    """Where an estimate lies, and how wide its interval is from draw to draw.

    Attributes
    ----------
    true_error : float
        Standard deviation of the estimate at the true scatter.
    half_widths : ndarray, shape (draws,)
        Of the 95 % interval in each draw.
    """

    true_error: float
    half_widths: NDArray[np.float64]

    @property
    def half_width(self) -> float:
        """The mean half width."""
        return float(self.half_widths.mean())

    def power(self, difference: float) -> float:
        """Chance to be sure of a true difference, either way.

        The variances are fitted to residuals, which know nothing of the effects: given the width, the
        estimate is taken as normal about the truth. So no draw of the estimate itself is needed.
        """
        beyond = special.ndtr((difference - self.half_widths) / self.true_error)
        return float(np.mean(beyond + special.ndtr((-difference - self.half_widths) / self.true_error)))

    def smallest_told(self, wanted: float) -> float:
        """Give the difference that so large a share of batches would tell."""
        most = self.half_widths.max() + 10 * self.true_error
        return float(optimize.brentq(lambda size: self.power(size) - wanted, 0, most))


def draw_rows(fitted: FittedStrata, weights: NDArray[np.float64], level: float) -> list[Drawn]:
    """Draw the scatter expected, fit it as the analysis will, and gather the intervals of combinations.

    Parameters
    ----------
    fitted : FittedStrata
        As `strata.expected` gives it, its fit mixed.
    weights : ndarray, shape (q, p)
        Combinations of the coefficients.
    level : float
        Of the intervals, such as 0.95.

    Returns
    -------
    list of Drawn
        One for each combination.
    """
    fit = fitted.fit
    if not isinstance(fit, MixedFit) or not len(weights):
        return []
    rng = np.random.default_rng(_SEED)
    rows = len(fitted.X)
    blocks = {name: indicators(fitted.groups[name]) for name in fit.components[:-1]}
    sizes = np.sqrt(fit.variances)
    reached = []
    with progress("foretelling", DRAWS, "drawn batches") as step:
        for _ in range(DRAWS):
            step()
            y = sizes[-1] * rng.normal(size=rows)
            for size, block in zip(sizes, blocks.values(), strict=False):
                y += size * block @ rng.normal(size=block.shape[1])
            try:
                drawn = fit_mixed(y, fitted.X, {name: fitted.groups[name] for name in blocks})
            except ModelError:  # a search that does not settle, as one in thousands may not, tells no width
                continue
            contrasts = [drawn.contrast(row) for row in weights]
            reached.append([c.standard_error * special.stdtrit(c.df, (1 + level) / 2) for c in contrasts])
    errors = np.sqrt(np.einsum("ia,ab,ib->i", weights, fit.model_covariance, weights))
    return [Drawn(float(error), widths) for error, widths in zip(errors, np.array(reached).T, strict=True)]
