"""Plans made to measure: recipes and firings that together tell the most, by exchange from many starts.

References
----------
Jones B, Goos P (2007). A candidate-set-free algorithm for generating D-optimal split-plot designs. Applied
Statistics 56, 347–364.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sagglab.errors import PlanError
from sagglab.model.wording import count
from sagglab.plan.choices import Choices, Shared, draw, nothing_allowed, shake
from sagglab.plan.exchange import Aim, improve, information_of_rows, is_full
from sagglab.plan.terms import Terms
from sagglab.progress import Step, progress

#: What a plan can be best at: estimating (D) or predicting (I).
CRITERIA = ("D", "I")
#: Starts that are bettered side by side: with 36 pots and 22 columns one at a time took 35 ms a start, 8 took
#: 11, 32 took 6.3 and 128 took 6.5 (one busy core of two).
TOGETHER = 32
#: Fewest and most starts of a search.
FEWEST, MOST = 24, 1000
#: The share of starts drawn by lot; the others go on from the best few, in rounds. With 64 pots, ten factors
#: and 56 columns the best of 32 by lot was 2.5 % of D short of the best of 500, of 64 so divided 0.8 %.
BY_LOT, ROUNDS, BEST = 1 / 4, 12, 4
#: Draws of a set of starts, and the least number in each, before what cannot estimate everything is mended.
DRAWS, DRAWN = 6, 16

_MEND = 1e-3  # information lent to a start that cannot estimate everything, in pots


def _anything(coded: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Allow every pot."""
    return np.ones(coded.shape[:-1], dtype=bool)


@dataclass(frozen=True)
class Ask:
    """What a plan is wanted for, and what it must keep to.

    Attributes
    ----------
    terms : Terms
    sizes : tuple of int
        Pots in each firing.
    ratio : float
        Variance between firings over the variance between the pots of a firing.
    allowed : callable
        Of codes of shape (..., factors), which pots may be made, shape (...). For criterion I it is asked
        of amounts between the levels, too.
    shared : tuple of Shared
        Limits over the whole batch.
    fired : ndarray, shape (columns, columns), or None
        Information from what has been fired already.
    sharpen : tuple of int
        Columns of the effects to be sharpest; empty for all.
    criterion : str
        ``D``: the effects together are as sharp as they can be. ``I``: so are predictions over the range.

    Raises
    ------
    PlanError
        A part of it cannot be.
    """

    terms: Terms
    sizes: tuple[int, ...]
    ratio: float
    allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]] = _anything
    shared: tuple[Shared, ...] = ()
    fired: NDArray[np.float64] | None = field(default=None, compare=False)
    sharpen: tuple[int, ...] = ()
    criterion: str = "D"

    def __post_init__(self) -> None:
        """Refuse what no plan could keep to."""
        if not self.sizes or min(self.sizes) < 1:
            raise PlanError("pots", f"the firings hold {self.sizes}", "put one pot or more in each firing")
        if not 0 <= self.ratio < np.inf:
            raise PlanError(
                "firing variance", f"it is {self.ratio:g} of the pots'", "write 0 or a positive number"
            )
        if self.criterion not in CRITERIA:
            raise PlanError(f"criterion '{self.criterion}'", "there is no such aim", "write D or I")
        if self.criterion == "I" and self.sharpen:
            raise PlanError("criterion I", "it sharpens no named effects", "name none, or ask D")

    @cached_property
    def choices(self) -> Choices:
        """What can be put on the pots."""
        return Choices(self.terms, tuple(self.sizes), self.allowed, tuple(self.shared))

    @cached_property
    def aim(self) -> Aim:
        """What makes a plan good."""
        rest = np.setdiff1d(np.arange(self.columns), self.sharpen) if self.sharpen else None
        moments = self.choices.moments() if self.criterion == "I" else None
        return Aim(self.ratio, self.fired, rest if rest is None or len(rest) else None, moments)

    @property
    def columns(self) -> int:
        """Columns of the model, the mean among them."""
        return 1 + sum(self.terms.widths)


@dataclass(frozen=True)
class Found:
    """The best plan of a search.

    Attributes
    ----------
    coded : ndarray, shape (pots, factors)
        Each factor on −1 to 1.
    value : float
        As `value_of` gives it.
    starts : int
        How many plans were bettered, by lot and then from the best of those.
    reached : ndarray, shape (starts,)
        The value that each start came to.
    """

    coded: NDArray[np.float64]
    value: float
    starts: int
    reached: NDArray[np.float64]


def information_of(
    terms: Terms, coded: NDArray[np.float64], sizes: tuple[int, ...], ratio: float
) -> NDArray[np.float64]:
    """Give X'V⁻¹X of pots, shape (..., columns, columns), in units of one pot's variance."""
    return information_of_rows(terms.expand(coded), tuple(sizes), ratio)


def value_of(ask: Ask, coded: NDArray[np.float64]) -> float | NDArray[np.float64]:
    """Tell how good plans are.

    Parameters
    ----------
    ask : Ask
    coded : ndarray, shape (..., pots, factors)

    Returns
    -------
    float or ndarray
        The log determinant of the information (D; the more the better). With named effects that of their
        covariance, and for I the mean variance of a prediction (the less the better). Where something cannot
        be estimated it is −∞, or ∞ where less is better.
    """
    matrices = information_of_rows(ask.terms.expand(coded), ask.choices.sizes, ask.ratio, ask.fired)
    return _value(ask, matrices)[()]


def _value(ask: Ask, matrices: NDArray[np.float64]) -> NDArray[np.float64]:
    less_is_better = bool(ask.sharpen) or ask.criterion == "I"
    values = np.full(matrices.shape[:-2], np.inf if less_is_better else -np.inf)
    full = is_full(matrices)
    if ask.criterion == "I":
        values[full] = np.einsum("...ij,ij->...", np.linalg.inv(matrices[full]), ask.aim.moments)
    elif ask.sharpen:
        named = np.array(ask.sharpen)
        values[full] = np.linalg.slogdet(np.linalg.inv(matrices[full])[..., named[:, None], named])[1]
    else:
        values[full] = np.linalg.slogdet(matrices[full])[1]
    return values


def best_plan(
    ask: Ask, seed: int | tuple[int, ...], seconds: float = 2.0, starts: int | None = None
) -> Found:
    """Search for the best plan from many random starts, and on from the best of those.

    Parameters
    ----------
    ask : Ask
    seed : int or tuple of int
        Of the starts. The same seed gives the same plan: no clock is watched.
    seconds : float
        About how long the search may take; it only sets how many starts there are.
    starts : int, optional
        How many, in place of that.

    Raises
    ------
    PlanError
        The limits leave no plan, or no plan can estimate everything.

    Examples
    --------
    >>> from sagglab.plan.factors import Factor
    >>> from sagglab.plan.terms import read_model
    >>> factors = [Factor("sugar", [0, 4], "g"), Factor("peak", [700, 800], "degC", per="firing")]
    >>> found = best_plan(Ask(read_model(factors), sizes=(2, 2, 2, 2), ratio=0.5), seed=1, starts=8)
    >>> found.coded[:, 0].sum(), found.coded[::2, 1].sum()
    (np.float64(0.0), np.float64(0.0))
    """
    _check_count(ask)
    rng = np.random.default_rng(seed)
    number = starts_for(ask, seconds) if starts is None else max(1, starts)
    by_lot = max(1, round(number * BY_LOT))
    together, ended = _together(ask), []
    with progress("searching", number, "starts") as step:
        for first in range(0, by_lot, together):
            try:
                drawn = _starts(ask, rng, min(together, by_lot - first))
            except PlanError:
                if not ended:
                    raise
                break  # where so few draws can do, go on from those that could
            ended.append(improve(ask.choices, ask.aim, drawn))
            step(min(together, by_lot - first))
        levels = _shaken(ask, rng, np.concatenate(ended), number - by_lot, step)
    reached = _value(ask, _information(ask, levels))
    good = reached if ask.criterion == "D" and not ask.sharpen else -reached
    # Of plans equal but for rounding the first, on any machine.
    best = int((good >= good.max() - 1e-9 * max(1.0, abs(good.max()))).argmax())
    return Found(ask.choices.code(levels[best]), float(reached[best]), len(reached), reached)


def starts_for(ask: Ask, seconds: float) -> int:
    """Work out how many starts fill about so many seconds, from the size of the problem alone."""
    choices = ask.choices
    pots, firings, columns = sum(ask.sizes), len(ask.sizes), ask.columns
    recipes, settings = len(choices.pot_turns), len(choices.firing_turns)
    # Milliseconds for a start by lot on one core, roughly: fitted to eleven problems of 16 to 96 pots and 7
    # to 91 columns, and up to 1.6 times too long.
    each = 2e-6 * pots * recipes * columns**2 + 1e-4 * pots * recipes * columns + 0.03 * pots
    each += 5e-6 * firings * settings * columns**3
    if ask.criterion == "I" or ask.sharpen:
        each *= 2.5
    swapped = sum(not choices.held[limit.factor] for limit in choices.shared)
    each += 2e-6 * swapped * pots**2 * columns**3
    # More columns need more starts: a large problem may take five times as long to have two for each.
    fill = [0.75 * seconds * 1000 / each, min(2 * columns, 5 * seconds * 1000 / each), FEWEST]
    return int(min(max(fill), MOST))


def _together(ask: Ask) -> int:
    """Say how many plans to better side by side: fewer where their arrays would not fit into 100 MB."""
    choices, pots, columns = ask.choices, sum(ask.sizes), ask.columns
    numbers = max(len(choices.pot_turns) * columns, len(choices.firing_turns) * columns**2)
    if choices.shared:
        numbers = max(numbers, pots * columns * max(pots, columns))
    return int(np.clip(4e6 / numbers, 1, TOGETHER))


def unused_levels(terms: Terms, coded: NDArray[np.float64]) -> list[tuple[str, float | str]]:
    """List the levels that are on no pot, as factor and level.

    A middle amount tells nothing of a straight line, so a plan leaves it out unless its square is asked for.
    """
    unused = []
    for place, factor in enumerate(terms.factors):
        away = np.abs(factor.coded[:, None] - coded[:, place]).min(axis=1)
        unused += [(factor.name, level) for level, far in zip(factor.levels, away, strict=True) if far > 1e-9]
    return unused


def _starts(ask: Ask, rng: np.random.Generator, wanted: int) -> NDArray[np.intp]:
    """Draw plans that can estimate everything; some may be lacking, but not all."""
    choices, found, poor = ask.choices, [], []
    lacking = wanted
    for _ in range(DRAWS):
        drawn = draw(choices, rng, max(wanted, DRAWN))
        full = is_full(_information(ask, drawn))
        found.append(drawn[full][:lacking])
        poor.append(drawn[~full])
        lacking -= len(found[-1])
        if not lacking:
            return np.concatenate(found)
    # Where hardly a random plan can estimate everything (as many pots as columns), exchange makes some.
    poor = np.concatenate(poor)[:lacking]
    if len(poor):
        lent = _MEND * np.eye(ask.columns)
        mended = improve(choices, Aim(ask.ratio, lent if ask.fired is None else ask.fired + lent), poor)
        matrices = _information(ask, mended)
        full = is_full(matrices)
        found.append(mended[full])
        if not sum(map(len, found)):
            raise _cannot_tell(ask.terms, matrices)
    elif not sum(map(len, found)):
        raise nothing_allowed()
    return np.concatenate(found)


def _shaken(
    ask: Ask, rng: np.random.Generator, levels: NDArray[np.intp], wanted: int, step: Step
) -> NDArray[np.intp]:
    """Go on from the best plans, round by round: some pots get another recipe by lot, and all is bettered."""
    pots = max(2, levels.shape[1] // 10)
    rounds = max(1, min(ROUNDS, wanted // BEST))
    for number in range(rounds):
        # The best that differ; rounded, so that they are the same on any machine.
        scores = ask.aim.score(_information(ask, levels)).round(9)
        best = np.unique(-scores, return_index=True)[1][:BEST]
        take = (wanted * (number + 1)) // rounds - (wanted * number) // rounds
        shaken = shake(ask.choices, rng, levels[np.resize(best, take)], pots)
        shaken = shaken[is_full(_information(ask, shaken))]
        for first in range(0, len(shaken), _together(ask)):
            part = shaken[first : first + _together(ask)]
            levels = np.concatenate([levels, improve(ask.choices, ask.aim, part)])
            step(len(part))
    return levels


def _information(ask: Ask, levels: NDArray[np.intp]) -> NDArray[np.float64]:
    return information_of_rows(ask.choices.look_up(levels)[0], ask.choices.sizes, ask.ratio, ask.fired)


def _check_count(ask: Ask) -> None:
    if ask.fired is not None:
        return
    pots, firings = sum(ask.sizes), len(ask.sizes)
    if ask.columns > pots:
        raise PlanError(
            "model",
            f"it asks {ask.columns} things, the mean among them, of {count(pots, 'pot')}",
            f"make {ask.columns} pots or more, or ask fewer terms",
        )
    held = int(ask.terms.per_firing.sum())
    if held > firings:
        raise PlanError(
            "model",
            f"it asks {held} things of {count(firings, 'firing')}, their mean among them",
            f"fire {held} times or more, or ask fewer terms",
        )


def _cannot_tell(terms: Terms, matrices: NDArray[np.float64]) -> PlanError:
    """Name the columns that even the best of some plans confuses."""
    values, vectors = np.linalg.eigh(matrices)
    best = int((values > 1e-9 * values[:, -1:]).sum(axis=1).argmax())
    null = vectors[best][:, values[best] <= 1e-9 * values[best, -1]]
    lost = np.flatnonzero(np.abs(null).max(axis=1) > 0.1)
    names = ", ".join(terms.column_names[column] for column in lost)
    return PlanError(
        "model",
        f"within the limits no plan was found that tells these from one another: {names}",
        "ask fewer terms, add firings or levels, or ease a limit",
    )
