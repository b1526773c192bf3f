"""Odds of losses and ratings against SciPy and statsmodels."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.discrete.conditional_models import ConditionalLogit
from statsmodels.miscmodels.ordinal_model import OrderedModel

from sagglab.model.losses import fit_losses
from sagglab.model.ratings import fit_ratings


def one_firing(had, lacked):
    """A firing of pots with and without seaweed: (lost, whole) of each."""
    return pd.DataFrame(
        {
            "firing": "f1",
            "packing": ["seaweed"] * sum(had) + ["sawdust"] * sum(lacked),
            "state": ["lost"] * had[0] + ["whole"] * had[1] + ["lost"] * lacked[0] + ["whole"] * lacked[1],
        }
    )


@pytest.mark.parametrize(
    ("had", "lacked"),
    [
        ((3, 1), (1, 3)),
        ((10, 2), (3, 15)),
        ((1, 9), (11, 3)),
        ((7, 12), (0, 5)),
        ((6, 1), (0, 7)),
        ((2, 2), (2, 2)),
    ],
)
def test_one_firing_is_fishers_exact_test(had, lacked):
    row = fit_losses(one_firing(had, lacked), ["packing"]).table.iloc[0]
    counts = np.array([had, lacked])
    # scipy.stats.fisher_exact and scipy.stats.contingency.odds_ratio(kind="conditional"), SciPy 1.17.
    assert row["p"] == pytest.approx(stats.fisher_exact(counts).pvalue, rel=1e-10)
    exact = stats.contingency.odds_ratio(counts, kind="conditional")
    interval = exact.confidence_interval(0.95)
    assert row["odds ratio"] == pytest.approx(exact.statistic, rel=1e-7)
    assert row["odds low"] == pytest.approx(interval.low, rel=1e-7)
    assert row["odds high"] == pytest.approx(interval.high, rel=1e-7)


def test_ladys_tea():
    # Fisher's tea tasting, 3 of 4 cups right: one-sided 17/70, so two-sided 34/70 by symmetry.
    assert fit_losses(one_firing((3, 1), (1, 3)), ["packing"]).table["p"][0] == pytest.approx(34 / 70)


@pytest.mark.parametrize("seed", range(5))
def test_several_firings_have_the_conditional_estimate(seed):
    rng = np.random.default_rng(seed)
    table = pd.DataFrame(
        {
            "firing": np.repeat([f"f{i}" for i in range(6)], 7),
            "sugar [g]": rng.integers(0, 5, 42) * 0.5,
            "packing": rng.choice(["sawdust", "seaweed"], 42),
            "state": rng.choice(["whole", "whole", "cracked"], 42),
        }
    )
    estimates = fit_losses(table, ["sugar", "packing"]).table["estimate"]
    lost = (table["state"] == "cracked").astype(int)
    seaweed = (table["packing"] == "seaweed").astype(float).rename("seaweed")
    for estimate, x in zip(estimates, (table["sugar [g]"], seaweed), strict=True):
        # statsmodels 0.15 ConditionalLogit, by Newton's method: its default stops some 1e-4 short.
        other = ConditionalLogit(lost, x.to_frame(), groups=table["firing"]).fit(method="newton", disp=0)
        assert estimate == pytest.approx(other.params.iloc[0], abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_ratings_have_the_estimates_of_the_ordered_logit(seed):
    rng = np.random.default_rng(seed)
    firing = np.repeat(np.arange(5), 8)
    sugar, packing = rng.integers(0, 4, 40).astype(float), rng.choice(["sawdust", "seaweed"], 40)
    taste = 0.8 * sugar + rng.normal(size=5)[firing] + rng.logistic(size=40)
    table = pd.DataFrame(
        {
            "firing": [f"f{i}" for i in firing],
            "sugar [g]": sugar,
            "packing": packing,
            "rating": np.digitize(taste, np.quantile(taste, [0.2, 0.4, 0.6, 0.8])) + 1,
        }
    )
    odds = fit_ratings(table, ["sugar", "packing"]).table
    X = np.column_stack([sugar, packing == "seaweed", firing[:, None] == np.arange(1, 5)]).astype(float)
    # statsmodels 0.15 OrderedModel(distr="logit") with treatment-coded firings.
    other = OrderedModel(table["rating"], X, distr="logit").fit(
        method="bfgs", disp=0, maxiter=1000, gtol=1e-7
    )
    assert odds["estimate"].to_numpy() == pytest.approx(other.params.to_numpy()[:2], abs=1e-5)
