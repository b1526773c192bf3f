"""Agreement of two instruments against published values.

Peak flow: J. M. Bland and D. G. Altman, The Lancet 327 (1986), 307-310, table 1. Cardiac ejection by
radionuclide ventriculography (RV) and impedance cardiography (IC): the same, Statistical Methods in Medical
Research 8 (1999), 135-160, table 4, and Journal of Biopharmaceutical Statistics 17 (2007), 571-582. The data
were read in public copies of the tables; what a paper prints was read in quotations of it, where not said
otherwise.
"""

import math

import numpy as np
import odrpack
import pandas as pd
import pytest
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from sagglab.colour import AXES
from sagglab.setups.agreement import agreement
from sagglab.setups.deming import deming
from sagglab.setups.pairs import pair_pots
from sagglab.setups.repeatability import repeatability, setup_scatter

LARGE = [
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
    [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
]
MINI = [
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
]

#: Subject: pairs of RV and IC.
EJECTION = {
    1: "7.83 6.57 7.42 5.62 7.89 6.90 7.12 6.57 7.88 6.35",
    2: "6.16 4.06 7.26 4.29 6.71 4.26 6.54 4.09",
    3: "4.75 4.71 5.24 5.50 4.86 5.08 4.78 5.02 6.05 6.01 5.42 5.67",
    4: "4.21 4.14 3.61 4.20 3.72 4.61 3.87 4.68 3.92 5.04",
    5: "3.13 3.03 2.98 2.86 2.85 2.77 3.17 2.46 3.09 2.32 3.12 2.43",
    6: "5.92 5.90 6.42 5.81 5.92 5.70 6.27 5.76",
    7: "7.13 5.09 6.62 4.63 6.58 4.61 6.93 5.09",
    8: "4.54 4.72 4.81 4.61 5.11 4.36 5.29 4.20 5.39 4.36 5.57 4.20",
    9: "4.48 3.17 4.92 3.12 3.97 2.96",
    10: "4.22 4.35 4.65 4.62 4.74 3.16 4.44 3.53 4.50 3.53",
    11: "6.78 7.20 6.07 6.09 6.52 7.00 6.42 7.10 6.41 7.40 5.76 6.80",
    12: "5.06 4.50 4.72 4.20 4.90 3.80 4.80 3.80 4.90 4.20 5.10 4.50",
}


def measures(setup, values, things, views="front"):
    """Values as lightness, each a photograph."""
    table = pd.DataFrame({"L*": np.asarray(values, dtype=float), "a*": 0.0, "b*": 0.0})[list(AXES)]
    photos = [f"{setup}-{n}" for n in range(len(table))]
    return table.assign(setup=setup, pot=[f"{n}" for n in things], view=views, taken=pd.NaT, photo=photos)


def lightness(table, column="coordinate", name="ΔL*"):
    return table.set_index(column).loc[name]


@pytest.fixture(scope="module")
def first_readings():
    things = range(17)
    return pair_pots(measures("mini", MINI[0], things), measures("large", LARGE[0], things))


@pytest.fixture(scope="module")
def both_readings():
    things = [*range(17)] * 2
    return pair_pots(measures("mini", np.ravel(MINI), things), measures("large", np.ravel(LARGE), things))


def test_peak_flow_by_two_meters(first_readings):
    told = lightness(agreement(first_readings).table)
    # The paper, of the first readings: r 0.94; mean −2.1 l/min, SD 38.8. In full, by NumPy: −2.118, 38.765.
    assert np.corrcoef(LARGE[0], MINI[0])[0, 1] == pytest.approx(0.943, abs=5e-4)
    assert told[["bias", "SD"]].tolist() == pytest.approx([-2.118, 38.765], abs=5e-4)
    # Its limits are mean ± 2 SD, and those of the table ± 1.96 SD: −79.6 and 75.4 against −78.1 and 73.9.
    assert told["bias"] - 2 * told["SD"] == pytest.approx(-79.6, abs=0.05)
    assert told[["lower limit", "upper limit"]].tolist() == pytest.approx([-78.1, 73.9], abs=0.05)
    # The paper's interval of the bias, from memory: −22.0 to 17.8.
    assert told[["bias low", "bias high"]].tolist() == pytest.approx([-22.0, 17.8], abs=0.1)


def test_peak_flow_limits_are_surer_outwards_than_the_approximation(first_readings):
    told = lightness(agreement(first_readings).table)
    # The paper gives the lower limit, −79.7, from −114.3 to −45.1, by the normal approximation √(3 SD² / n),
    # even on both sides. The exact interval is as wide to a tenth, and reaches farther out than in.
    low, high = told["lower limit low"], told["lower limit high"]
    assert high - low == pytest.approx(114.3 - 45.1, rel=0.1)
    assert told["lower limit"] - low > high - told["lower limit"]
    # One-sided factors for 95 % content with 95 % confidence, n 10, 20, 30: 2.911, 2.396, 2.220
    # (NIST/SEMATECH e-Handbook 7.2.6.3, quoted), by the same noncentral t.
    for n, factor in ((10, 2.911), (20, 2.396), (30, 2.220)):
        away = stats.norm.ppf(0.95) * math.sqrt(n)
        assert stats.nct.ppf(0.95, n - 1, away) / math.sqrt(n) == pytest.approx(factor, abs=5e-4)
    exact = stats.nct.ppf([0.025, 0.975], 16, 1.96 * math.sqrt(17)) * told["SD"] / math.sqrt(17)
    ends = told[["upper limit low", "upper limit high"]].to_numpy(dtype=float) - told["bias"]
    assert ends == pytest.approx(exact)


def test_repeatability_of_both_meters(both_readings):
    table = repeatability(both_readings).set_index(["setup", "coordinate"])
    # The paper, from memory: SD of the differences between both readings 21.6 and 28.2, coefficients of
    # repeatability (2 SD) 43.2 and 56.4. It takes the differences about nought, as readings of one value are.
    for setup, apart in (("large", 21.6), ("mini", 28.2)):
        told = table.loc[(setup, "L*")]
        assert math.sqrt(2) * told["SD"] == pytest.approx(apart, abs=0.05)
        assert told["repeatability coefficient"] == pytest.approx(1.96 * apart, abs=0.1)
        assert told["df"] == 17


def test_peak_flow_with_both_readings(both_readings):
    told = lightness(agreement(both_readings).table)
    # Statistical Methods in Medical Research 8, section 5.1: the variance of single differences is that of
    # means' differences and (1 − 1/2) of each meter's own, reckoned here step by step from table 1.
    large, mini = np.array(LARGE), np.array(MINI)
    own = [np.sum(np.diff(each, axis=0) ** 2) / 2 / 17 for each in (large, mini)]
    apart = (large - mini).mean(axis=0)
    assert told["bias"] == pytest.approx(apart.mean())
    assert told["SD"] == pytest.approx(math.sqrt(apart.var(ddof=1) + sum(own) / 2))


def ejection(value_varies):
    """Pairs, each at a value of its own, or repeats of one value per subject."""
    values = {subject: np.array(text.split(), dtype=float) for subject, text in EJECTION.items()}
    things = [subject for subject, pairs in values.items() for _ in pairs[::2]]
    views = [f"{n}" if value_varies else "" for pairs in values.values() for n in range(len(pairs) // 2)]
    both = np.concatenate([pairs.reshape(-1, 2) for pairs in values.values()])
    assert both.shape == (60, 2)
    return pair_pots(measures("IC", both[:, 1], things, views), measures("RV", both[:, 0], things, views))


def test_ejection_where_the_true_value_is_constant():
    pairs = ejection(value_varies=False)
    # The paper of 2007: variances within subjects .107227795 (RV) and .137874069 (IC). Its last digits are
    # not those of the table (.107227778 in full, by NumPy): six agree, as single precision has them.
    for setup, variance in (("RV", 0.107227795), ("IC", 0.137874069)):
        assert setup_scatter(pairs, setup)["ΔL*"].own.value == pytest.approx(variance, rel=5e-7)
    told = lightness(agreement(pairs).table)
    # Mean .7092361 and variance .91269114 of the subjects' means; SD 1.0518506 of a single difference.
    assert told["bias"] == pytest.approx(0.7092361, abs=5e-8)
    assert told["standard error"] ** 2 * 12 == pytest.approx(0.91269114, abs=5e-8)
    assert told["SD"] == pytest.approx(1.0518506, abs=5e-8)
    # The paper of 1999: limits −1.3521 and 2.7705, of a mean and an SD rounded to four decimals.
    assert told[["lower limit", "upper limit"]].tolist() == pytest.approx([-1.3521, 2.7705], abs=5e-4)


def test_ejection_where_the_true_value_varies():
    pairs = ejection(value_varies=True)
    told = lightness(agreement(pairs).table)
    # The paper of 2007: mean square within subjects .170714026 (.170713993 in full, by NumPy), between
    # 4.2090856; with weights by numbers of pairs the mean is .6021667 and the SD .99062408. Each subject
    # counts once here: the same mean square within, and the mean of subjects.
    apart = pairs.table["ΔL*"] - pairs.table.groupby("item")["ΔL*"].transform("mean")
    within = float((apart**2).sum()) / 48
    assert within == pytest.approx(0.170714026, abs=5e-8)
    assert told["bias"] == pytest.approx(0.7092361, abs=5e-8)
    # The paper's multiplier 1 − mean of 1 / pairs is .7902778.
    assert told["SD"] ** 2 == pytest.approx(0.91269114 + 0.7902778 * within, abs=1e-7)


def test_equal_numbers_of_pairs_are_restricted_maximum_likelihood():
    pairs = ejection(value_varies=True)
    # The first three pairs of each subject, where all weights are the same.
    three = pairs.table.groupby("item", sort=False).head(3)
    same = type(pairs)("pots", "IC", "RV", True, three.reset_index(drop=True), pairs.readings)
    told = lightness(agreement(same).table)
    fit = MixedLM(three["ΔL*"].to_numpy(), np.ones((36, 1)), groups=three["item"].to_numpy()).fit(reml=True)
    variance = float(np.asarray(fit.cov_re)[0, 0]) + fit.scale
    assert told["SD"] == pytest.approx(math.sqrt(variance), rel=1e-4)
    assert told[["bias", "standard error"]].tolist() == pytest.approx(
        [float(fit.fe_params[0]), float(fit.bse_fe[0])], rel=1e-4
    )


#: K. Pearson, Philosophical Magazine 2 (1901), 559-572: ten points, read in copies of York's table.
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])


def test_the_nearest_line_to_pearsons_points():
    line = deming(PEARSON_X, PEARSON_Y)
    # Pearson's line is y = 5.784 − 0.5456 x (from memory); to six digits by general-purpose libraries.
    assert line.slope == pytest.approx(-0.545561, abs=5e-7)
    assert line.intercept == pytest.approx(5.784044, abs=5e-7)


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
def test_orthogonal_distance_regression_finds_the_same_line(ratio):
    line = deming(PEARSON_X, PEARSON_Y, ratio)
    found = odrpack.odr_fit(
        lambda x, b: b[0] * x + b[1],
        PEARSON_X,
        PEARSON_Y,
        np.array([1.0, 0.0]),
        # Weights are one over variances.
        weight_x=ratio,
        jac_beta=lambda x, b: np.array([x, np.ones_like(x)]),
        jac_x=lambda x, b: np.full_like(x, b[0]),
        sstol=1e-15,
        partol=1e-14,
        maxit=500,
    )
    assert [line.slope, line.intercept] == pytest.approx(found.beta.tolist(), abs=3e-9)
