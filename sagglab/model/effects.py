"""Effects: by how much each choice changed the pots, and how sure that is.

Pots lie within firings. What differs between pots of one firing is judged against the scatter of pots, what
differs only between firings against the scatter of firings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from sagglab.errors import ModelError, UnknownNameError
from sagglab.model.checks import ModelChecks, check_model
from sagglab.model.dependence import pieces
from sagglab.model.effect_rows import lay_out
from sagglab.model.pages import effects_page
from sagglab.model.predict import Prediction, predict
from sagglab.model.rows import Rows, read_measures
from sagglab.model.scale import Scale, scale_for
from sagglab.model.sentences import About, factor_sentence, term_sentence
from sagglab.model.strata import FittedStrata, fit_strata
from sagglab.model.terms import Factor, Term, read_terms
from sagglab.model.wording import counted
from sagglab.pages.table import Table


@dataclass(frozen=True, repr=False)
class Effects:
    """What each factor did to one outcome.

    Attributes
    ----------
    table : DataFrame
        One row for each effect, unrounded, NaN where the data cannot say. ``term``, ``estimate``, ``unit``;
        ``standard error``, ``low`` and ``high`` (95 % interval), ``df``, ``p``, and ``p Holm``, which allows
        for all the effects having been asked at once (see `effect_rows.holm_of`); ``stratum`` (what it is
        judged against, ``pot`` or ``firing``), ``varies`` (``within firings``, ``between firings``,
        ``both``), ``method``; ``from`` and ``to``, the outcome at both ends of the effect with all else at
        its mean, and ``to low``, ``to high``, where the interval puts that end; ``note``. An amount has a row
        for its slope, and a second, ``with …``, when some pots lack it; a category of two levels one row, the
        second minus the first; a category of more a row for each level against the mean of the levels. Shares
        are modelled as logits: their estimates are log odds, while ``from`` and ``to`` are shares.
    pots, firings : int
        How many were used.
    terms : tuple of Term
        The terms of the model: factors that vary, then squares and pairs.
    fitted : FittedStrata
        The fit, its columns the constant and then the terms' in order.
    rows : Rows
        The rows used.
    scale : Scale
        On which the outcome is modelled.

    Examples
    --------
    >>> pots = {"firing": list("aaaabbbb"), "sugar [g]": [0, 0, 4, 4] * 2}
    >>> pots = pd.DataFrame(pots | {"L*": [44, 43, 40, 39, 46, 45, 41, 39]})
    >>> effects = fit_effects(pots, factors=["sugar"])
    >>> effects.pots, effects.table[["term", "estimate", "unit"]].round(2).to_numpy().tolist()[0]
    (8, ['sugar', -1.19, 'L* per g'])
    """

    table: pd.DataFrame
    pots: int
    firings: int
    terms: tuple[Term, ...]
    fitted: FittedStrata
    rows: Rows
    scale: Scale

    @property
    def outcome(self) -> str:
        """The column explained."""
        return self.rows.outcome

    @property
    def factors(self) -> tuple[Factor, ...]:
        """The factors as coded."""
        return self.rows.factors

    @property
    def left_out(self) -> pd.DataFrame:
        """Row, pot and reason of each row that could not be used."""
        return self.rows.left_out

    @property
    def colour(self) -> tuple[float, float, float] | None:
        """Mean L*, a*, b* of the pots used, where the table has them."""
        return self.rows.colour

    @property
    def variances(self) -> pd.DataFrame:
        """The scatter, on the scale of the model: component, variance, standard deviation, note."""
        return Table(self.fitted.variances)

    def sentence(self, name: str) -> str:
        """Say what one factor or term did, in words.

        Parameters
        ----------
        name : str
            The factor's bare name or heading, or the term's name as the table has it.

        Raises
        ------
        UnknownNameError
            The model has no such factor.
        """
        for factor in self.factors:
            if name in (factor.name, factor.heading, factor.term_name):
                return factor_sentence(factor, self.table, self._about)
        for term in self.terms:
            turned = sorted(name.split(" × ")) == sorted(term.name.split(" × "))
            if turned or name in [row.name for row in term.rows()]:
                return term_sentence(term, self.table, pieces(self.fitted, term), self._about)
        known = ", ".join(
            [factor.name for factor in self.factors]
            + [term.name for term in self.terms if len(term.factors) > 1]
        )
        raise UnknownNameError(f"effect '{name}'", "the model has no such factor", f"it has {known}")

    def sentences(self) -> tuple[str, ...]:
        """Say what every factor did, in the order asked, then squares and pairs."""
        more = [term.name for term in self.terms if len(term.factors) > 1]
        return tuple(self.sentence(name) for name in [*(factor.heading for factor in self.factors), *more])

    def predict(self, recipe: Mapping[str, object], firing: object = None) -> Prediction:
        """Predict the outcome of a recipe; see `predict.predict`."""
        return predict(self, recipe, firing)

    def checks(self) -> ModelChecks:
        """Look at how far the model is to be trusted; see `checks.check_model`."""
        return check_model(self)

    @property
    def _about(self) -> About:
        groups = self.fitted.groups
        outer = {name: len(pd.unique(labels)) for name, labels in groups.items() if name != "firing"}
        return About(self.outcome, self.pots, self.firings, self.colour, self.scale, outer)

    @property
    def counts(self) -> str:
        """Say on what all rests."""
        return counted(self.outcome, self.pots, self.firings, self.left_out)

    def __repr__(self) -> str:
        return "\n".join([self.counts, *self.sentences()])

    def _repr_html_(self) -> str:
        return effects_page(self.table, self.sentences(), self.counts, self.variances)


def fit_effects(
    results: pd.DataFrame,
    outcome: str = "L*",
    factors: Sequence[str] = (),
    firing: str = "firing",
    *,
    forms: Mapping[str, str] | None = None,
    squares: Sequence[str] = (),
    together: Sequence[tuple[str, str]] = (),
    above: str | None = None,
    below: str | None = None,
) -> Effects:
    """Estimate what each factor did to the outcome.

    Parameters
    ----------
    results : DataFrame
        One row for each pot.
    outcome : str
        The column to explain, numbers. What is called ``… share`` is modelled as a logit.
    factors : sequence of str
        Columns, by heading (``sugar [g]``) or by bare name (``sugar``). Numbers are amounts, text is a
        category.
    firing : str
        The column that says which firing a pot went through.
    forms : mapping of str to str, optional
        For an amount, the form in which it enters: ``amount`` (each unit does as much as the one before,
        the default), ``square root``, ``log1p`` (each does less than the one before), ``with or without``.
    squares : sequence of str
        Amounts whose square enters as well, so that the effect may bend.
    together : sequence of pairs of str
        Pairs of factors, where what one does may depend on the other.
    above : str, optional
        The column of what holds several firings and scatters, too: a day, a kiln.
    below : str, optional
        The column of pots, when each row is one view of a pot.

    Returns
    -------
    Effects

    Raises
    ------
    UnknownNameError
        A column is not in the table, or a form does not exist.
    ModelError
        The data cannot answer: no usable rows, an outcome that is not numbers, a factor that never varies,
        too few pots or firings, factors or scatters that cannot be told apart.

    References
    ----------
    Kenward and Roger, Biometrics 53 (1997), for intervals and degrees of freedom in small samples; Nelder,
    Proc. R. Soc. A 283 (1965), for balanced ones, which are exact; Holm, Scand. J. Statist. 6 (1979).

    Examples
    --------
    >>> pots = pd.DataFrame({
    ...     "firing": ["f1"] * 4 + ["f2"] * 4 + ["f3"] * 4,
    ...     "sugar [g]": [0, 1, 2, 3] * 3,
    ...     "L*": [40, 38, 37, 33, 44, 43, 39, 38, 41, 38, 36, 35],
    ... })
    >>> effects = fit_effects(pots, outcome="L*", factors=["sugar"])
    >>> effects.table[["term", "estimate", "unit", "df"]].round(2).to_numpy().tolist()
    [['sugar', -2.13, 'L* per g', 8.0], ['with sugar', -4.22, 'L*', 8.0]]
    >>> print(effects.sentence("sugar"))  # doctest: +NORMALIZE_WHITESPACE
    Pots with sugar came out 4.2 L* darker than pots without (95 % interval 1.1 to 7.3 darker);
    reckoned by the amount, 2.13 L* darker for each gram (1.68 to 2.59), judged on 12 pots in 3 firings.
    """
    groups = {"above": above, "firing": firing, "below": below}
    asked = [name for name in groups.values() if name]
    read = read_measures(results, outcome, factors, asked, forms)
    fires = len(pd.unique(read.labels(read.groups[asked.index(firing)])))
    constant = [factor.name for factor in read.factors if factor.constant]
    # Within a single firing a factor that never varies may belong to the firing: that is said in its row.
    if constant and fires > 1:
        raise ModelError(
            f"factor {', '.join(constant)}",
            "it is the same on every pot, so it explains no difference",
            "leave it out, or add pots that differ in it",
        )
    roles = {"above": above, "firing": "firing", "below": "pot"}
    labels = {
        str(roles[role]): read.labels(heading)
        for role, heading in zip([role for role, name in groups.items() if name], read.groups, strict=True)
    }
    residual = "view" if below else "pot"
    where = f"model of {read.outcome}"
    scale = scale_for(read.outcome, read.y)
    terms = read_terms(read.factors, squares, together)
    y = scale.onto(read.y)
    fitted = fit_strata(y, {term: term.code(read.table) for term in terms}, labels, residual, where)
    pots = len(pd.unique(labels["pot"])) if below else len(read.table)
    table = lay_out(read, terms, fitted, scale, where)
    return Effects(table, pots, fires, terms, fitted, read, scale)
