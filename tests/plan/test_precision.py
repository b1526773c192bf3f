from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import special, stats

from sagglab.errors import PlanError
from sagglab.model.effects import fit_effects
from sagglab.model.strata import EXACT, ONE_FIRING, REML
from sagglab.plan.batch import Plan
from sagglab.plan.factors import Factor
from sagglab.plan.power import power_of
from sagglab.plan.precision import precision
from sagglab.plan.terms import read_model

SUGAR, CLAY = Factor("sugar", [0, 4], "g"), Factor("clay", ["buff", "white"])
PEAK = Factor("peak", [700, 800], "degC", per="firing")
BEND = Factor("salt", [0, 1, 2], "g")


def made(factors, codes, firings, model="main"):
    """A plan from its codes, without any search."""
    factors = tuple(factors)
    coded = pd.DataFrame(np.asarray(codes, dtype=float), columns=[factor.name for factor in factors])
    runs = pd.DataFrame({"pot": [f"p{place:02}" for place in coded.index], "firing": firings})
    for factor in factors:
        runs[factor.heading] = factor.decode(coded[factor.name])
    coded.insert(0, "firing", firings)
    return Plan(factors, read_model(factors, model), runs, coded, "made", 1, ())


def firings_of(pots, model="main"):
    """Peaks in turn; sugar and clay square to each other over four firings of six."""
    sugar, clay = np.array([-1, 1, -1, 1, -1, 1]), np.array([-1, -1, 1, 1, 1, -1])
    codes, firings = [], []
    for place, many in enumerate(pots):
        flip = -1 if place // 2 % 2 else 1
        codes += [[(-1) ** (place + 1), sugar[pot], flip * clay[pot]] for pot in range(many)]
        firings += [f"f{place + 1}"] * many
    return made((PEAK, SUGAR, CLAY), codes, firings, model)


def drawn(plan, studies, seed, firing_sd=3.0, pot_sd=4.0, difference=5.0):
    """Share of studies in which the analysis itself is sure of each main effect, all of them true."""
    rng = np.random.default_rng(seed)
    runs, question = plan.runs.copy(), plan.terms.question
    codes = plan.coded.drop(columns="firing").to_numpy()
    firing = pd.factorize(runs["firing"])[0]
    hits = []
    for _ in range(studies):
        scatter = firing_sd * rng.normal(size=firing.max() + 1)[firing] + pot_sd * rng.normal(size=len(runs))
        runs["L*"] = 45 + codes.sum(axis=1) * difference / 2 + scatter
        table = fit_effects(runs, "L*", **question).table.set_index("term")
        hits.append(table["p"] < 0.05)
    return pd.concat(hits, axis=1).mean(axis=1)


@pytest.mark.parametrize(
    ("pots", "methods", "seed"),
    [([6] * 6, {EXACT}, 11), ([6, 4, 5, 3], {REML}, 12)],
    ids=["balanced", "unbalanced"],
)
def test_power_is_what_the_analysis_finds_in_drawn_studies(pots, methods, seed):
    plan, studies = firings_of(pots), 250
    table = precision(plan, 3, 4, 5).table.set_index("term")
    assert set(table["method"]) == methods
    seen = drawn(plan, studies, seed)
    for term in table.index:
        foretold = table.loc[term, "power"]
        assert abs(seen[term] - foretold) < 3 * np.sqrt(foretold * (1 - foretold) / studies), term


def test_balanced_plan_has_the_published_formula():
    table = precision(firings_of([6] * 4), 3, 4, 5).table.set_index("term")
    assert table["df"].tolist() == [2, 18, 18]
    # λ = δ²/[(σf² + σe²/n)(1/J₁ + 1/J₂)] and λ = δ²N/(4σe²), as in `firings_needed`.
    errors = [np.sqrt(3**2 + 4**2 / 6), np.sqrt(4 * 4**2 / 24), np.sqrt(4 * 4**2 / 24)]
    np.testing.assert_allclose(table["standard error"], errors, rtol=1e-9)
    np.testing.assert_allclose(table["power"], power_of(5, errors, table["df"]), rtol=1e-9)
    assert table["stratum"].tolist() == ["firing", "pot", "pot"]


def test_it_states_what_the_table_of_effects_will_state():
    plan = firings_of([6, 4, 5, 3], "main + two-way")
    rng = np.random.default_rng(3)
    effects = fit_effects(plan.runs.assign(**{"L*": 40 + rng.normal(size=18)}), "L*", **plan.terms.question)
    rows = effects.table[~effects.table["term"].str.startswith("with ")]
    told = precision(plan).table
    assert told["term"].tolist() == rows["term"].tolist()
    assert told["stratum"].tolist() == rows["stratum"].tolist()
    assert told["method"].tolist() == rows["method"].tolist()


def test_a_fit_at_the_expected_scatter_has_the_standard_errors_foretold():
    # The scatter of one study, taken as expected: its own analysis is foretold to the last digit.
    plan = firings_of([6, 3, 5, 6, 4, 6])
    rng = np.random.default_rng(5)
    scatter = 6 * rng.normal(size=6)[pd.factorize(plan.runs["firing"])[0]] + rng.normal(size=30)
    effects = fit_effects(plan.runs.assign(**{"L*": 40 + scatter}), "L*", **plan.terms.question)
    told = precision(plan, like=effects).table.set_index("term")
    seen = effects.table.set_index("term").loc[told.index]
    assert "as in the earlier result" in precision(plan, like=effects).head
    np.testing.assert_allclose(told["df"], seen["df"], rtol=1e-6)
    np.testing.assert_allclose(told["standard error"], seen["standard error"] * [100, 4, 1], rtol=1e-6)


def test_ranges_are_stated():
    table = precision(firings_of([6] * 4, "main + two-way")).table.set_index("term")
    assert table.loc["peak", ["from", "to"]].tolist() == ["700 °C", "800 °C"]
    assert table.loc["clay: white − buff", ["from", "to"]].tolist() == ["buff", "white"]
    assert table.loc["peak × sugar", ["from", "to"]].tolist() == ["700 °C × 0 g", "800 °C × 4 g"]
    # A difference of two differences, each of which scatters as a change within half of the pots.
    ratio = table.loc["peak × sugar", "standard error"] / table.loc["sugar", "standard error"]
    assert ratio == pytest.approx(2, rel=1e-6)


def test_a_square_is_how_far_the_middle_lies_off_the_line():
    codes = np.tile([-1, 0, 0, 1], 3)[:, None]
    plan = made([BEND], codes, np.repeat(["f1", "f2", "f3"], 4).tolist(), "quadratic")
    table = precision(plan, 3, 4).table.set_index("term")
    # The middle of three firings less the mean of both ends: 16 (1/6 + 1/6), firings taken out.
    assert table.loc["salt squared", "standard error"] == pytest.approx(4 / np.sqrt(3), rel=1e-9)
    assert table.loc["salt squared", ["from", "to"]].tolist() == ["line between the ends", "middle"]


KINDS = Factor("clay", ["raku", "porcelain", "buff"])


def three_clays(model="main", kinds=KINDS):
    """Every kind with and without sugar in each of four firings, two peaks in turn."""
    many = len(kinds.levels)
    codes = [[(-1) ** f, c, s] for f in range(4) for c in kinds.coded for s in (-1, 1)]
    return made((PEAK, kinds, SUGAR), codes, np.repeat(["f1", "f2", "f3", "f4"], 2 * many).tolist(), model)


def test_kinds_are_compared_two_by_two():
    table = precision(three_clays("main + two-way"), 3, 4).table.set_index("term")
    pairs = {
        "clay: porcelain − raku": ["raku", "porcelain"],
        "clay: buff − raku": ["raku", "buff"],
        "clay: buff − porcelain": ["porcelain", "buff"],
    }
    for row, ends in pairs.items():
        assert table.loc[row, ["from", "to"]].tolist() == ends
        # Two means of eight pots each, firings taken out.
        assert table.loc[row, "standard error"] == pytest.approx(4 * np.sqrt(2 / 8), rel=1e-9)
        with_sugar = table.loc[f"{row} × sugar"]
        assert with_sugar[["from", "to"]].tolist() == [f"{ends[0]} × 0 g", f"{ends[1]} × 4 g"]
        assert with_sugar["standard error"] == pytest.approx(4 * np.sqrt(4 / 4), rel=1e-9)
    assert len(table) == 1 + 3 + 1 + 3 + 1 + 3


def test_a_category_set_per_firing_is_compared_two_by_two():
    packing = Factor("packing", ["leaf", "husk", "straw"], per="firing")
    codes = [[c, s] for c in (-1, 0, 1) * 3 for s in (-1, 1) * 2]
    plan = made((packing, SUGAR), codes, np.repeat([f"f{f}" for f in range(9)], 4).tolist())
    table = precision(plan, 3, 4).table.set_index("term")
    for row in ("packing: husk − leaf", "packing: straw − leaf", "packing: straw − husk"):
        assert table.loc[row, "standard error"] == pytest.approx(np.sqrt((9 + 16 / 4) * 2 / 3), rel=1e-9)
        assert (table.loc[row, "df"], table.loc[row, "stratum"]) == (6, "firing")


def test_of_five_kinds_each_is_compared_with_the_first():
    five = Factor("clay", ["raku", "porcelain", "buff", "white", "black"])
    terms = precision(three_clays(kinds=five), 3, 4).table["term"].tolist()
    assert terms == ["peak", *(f"clay: {kind} − raku" for kind in five.levels[1:]), "sugar"]


def test_power_between_two_kinds_is_what_the_analysis_finds_in_drawn_studies():
    plan, studies, rng = three_clays(), 150, np.random.default_rng(8)
    foretold = precision(plan, 3, 4, 5).table.set_index("term").loc["clay: buff − raku", "power"]
    runs, sure = plan.runs.copy(), 0
    firing = pd.factorize(runs["firing"])[0]
    for _ in range(studies):
        runs["L*"] = 5.0 * (runs["clay"] == "buff") + 3 * rng.normal(size=4)[firing] + 4 * rng.normal(size=24)
        fitted = fit_effects(runs, "L*", **plan.terms.question)
        term = next(term for term in fitted.terms if term.name == "clay")
        # Kinds come in the order of the alphabet: buff, porcelain and, minus both, raku.
        contrast, _ = fitted.fitted.contrast(fitted.fitted.spread(term, np.array([2.0, 1.0])))
        sure += abs(contrast.estimate) > contrast.standard_error * stats.t.ppf(0.975, contrast.df)
    assert abs(sure / studies - foretold) < 3 * np.sqrt(foretold * (1 - foretold) / studies)


def test_the_range_is_that_of_the_plan_and_not_of_what_was_fired_before():
    codes = [[(-1) ** f, s] for f in range(4) for s in (-1, 1)]
    plan = made((PEAK, Factor("sugar", [4, 8], "g")), codes, np.repeat(["f1", "f2", "f3", "f4"], 2).tolist())
    before = plan.judged.assign(**{"sugar [g]": [0.0, 12.0] * 4, "firing": "old " + plan.judged["firing"]})
    both, alone = precision(replace(plan, fired=before), 3, 4), precision(plan, 3, 4)
    row = both.table.set_index("term").loc["sugar"]
    assert row[["from", "to"]].tolist() == ["4 g", "8 g"]
    # The slope of eight pots 2 g and eight 6 g off the middle, over 4 g.
    assert row["standard error"] == pytest.approx(4 * 4 / np.sqrt(8 * 2**2 + 8 * 6**2), rel=1e-9)
    assert both.variance["standard error"].iloc[-1] < alone.variance["standard error"].iloc[-1]


def test_axial_points_do_not_widen_the_range():
    ends = [-1, 1, -np.sqrt(2), np.sqrt(2), 0, 0]
    plan = made([BEND], np.tile(ends, 3)[:, None], np.repeat(["f1", "f2", "f3"], 6).tolist(), "quadratic")
    table = precision(plan, 3, 4).table.set_index("term")
    assert table.loc["salt", ["from", "to"]].tolist() == ["0 g", "2 g"]
    assert table.loc["salt", "standard error"] == pytest.approx(4 * 2 / np.sqrt(18), rel=1e-9)
    # The square over one coded unit each way; its sum of squares about the mean is 3 (2 + 8 − 6) = 12.
    assert table.loc["salt squared", "standard error"] == pytest.approx(4 / np.sqrt(12), rel=1e-9)


def test_where_firings_of_a_day_differ_it_says_how_to_ask_and_does_not_say_to_vary_them():
    plan = firings_of([6] * 4)
    within = plan.runs.assign(day=plan.runs["firing"].map({"f1": 1, "f2": 1, "f3": 2, "f4": 2}))
    said = " ".join(precision(replace(plan, runs=within), 3, 4).sentences)
    assert 'state the day when asking (above="date" in Python, --above date in the shell), so' in said
    assert "vary it between firings of one day" not in said
    held = plan.runs.assign(day=plan.runs["firing"].map({"f1": 1, "f3": 1, "f2": 2, "f4": 2}))
    for runs in (held, plan.runs):
        said = " ".join(precision(replace(plan, runs=runs), 3, 4).sentences)
        assert "vary it between firings of one day and compare these" in said
        assert "above=" not in said


def test_the_verdict_comes_first_where_next_to_nothing_will_be_told():
    first = precision(firings_of([6] * 4), 3, 12, difference=5).sentences[0]
    assert first.startswith("Fired as planned, this batch will most likely tell nothing of what is asked: a ")
    assert "What helps: more firings or pots, fewer things asked at once, or a larger" in first
    assert "tell nothing" not in repr(precision(firings_of([6] * 4), 3, 4))
    # A plan that is nearly saturated says so.
    plan = made((SUGAR, CLAY), [[-1, -1], [1, -1], [-1, 1], [1, 1]], ["f1"] * 4)
    said = precision(plan, 3, 4).sentences
    assert said[0].startswith("Fired as planned, this batch will most likely tell nothing")
    assert said[1].startswith(
        "What is asked takes up nearly every difference between pots of one firing: 1 is"
    )
    # However small the scatter: it is said beside what would be told.
    assert precision(plan, 3, 0.1).sentences[0] == said[1]


@pytest.mark.parametrize(("whole", "heading"), [(1, "dark share"), (100, "dark share [percent]")])
def test_a_share_is_planned_in_log_odds_and_put_in_percentage_points(whole, heading):
    plan, rng = firings_of([6] * 4), np.random.default_rng(4)
    logits = rng.normal(size=4)[pd.factorize(plan.runs["firing"])[0]] + 0.6 * rng.normal(size=24) - 1
    shares = whole * special.expit(logits)
    effects = fit_effects(plan.runs.assign(**{heading: shares}), heading, **plan.terms.question)
    told = precision(plan, like=effects, difference=0.5)
    assert told.unit == "log odds of dark share"
    mean = shares.mean() / whole
    assert (
        f"1 log odds is about {100 * mean * (1 - mean):.2g} percentage points at the mean share" in told.head
    )
    low, high = 100 * special.expit(special.logit(mean) + np.array([-0.25, 0.25]))
    assert f"a change of 0.5 log odds about it leads from {low:.2g} to {high:.2g} %" in told.head
    assert "0.5 log odds of dark share by sugar" in " ".join(told.sentences)
    # The same scatter as of any outcome of that size, and without an earlier result.
    same = precision(plan, told.firing_sd, told.pot_sd, 0.5, outcome=heading)
    pd.testing.assert_frame_equal(told.table, same.table)
    assert same.unit == told.unit
    assert "1 log odds is about 25 percentage points at a share of one half (50 %)" in same.head


def test_the_hard_truth():
    said = " ".join(precision(firings_of([6] * 4), 3, 4).sentences)
    assert "With 4 firings, a change of 5 L* between firings (peak) would be told in 14 of 100" in said
    assert "more pots in each firing do not help (at most 17 of 100)" in said
    assert "fire more often (17 firings for 80 of 100)" in said
    assert "significant" not in said


def test_typical_scatter_is_called_typical():
    plan = firings_of([6] * 4)
    assert "(typical, common practice, no source" in precision(plan).head
    assert "typical" not in precision(plan, 2, 3).head
    assert "(that between pots as given; that between firings typical" in precision(plan, pot_sd=3).head
    with pytest.raises(PlanError, match=r"none is typical of it"):
        precision(plan, outcome="a*")


def test_what_is_aliased_is_named_and_the_first_kept():
    codes = firings_of([6] * 4).coded.drop(columns="firing").to_numpy(copy=True)
    codes[:, 2] = codes[:, 1]
    plan = made((PEAK, SUGAR, CLAY), codes, np.repeat(["f1", "f2", "f3", "f4"], 6).tolist(), "main + two-way")
    told = precision(plan)
    notes = told.table.set_index("term")["note"]
    assert notes["clay"] == "aliased: cannot be told apart from sugar"
    assert notes["peak × clay"] == "aliased: cannot be told apart from peak × sugar"
    assert notes["sugar × clay"] == "the same on every pot"
    assert told.table["power"].isna().sum() == 3
    assert told.correlations.loc["sugar", "clay"] == pytest.approx(1)
    assert any(text.startswith("clay: aliased") for text in told.sentences)


def test_one_firing_tells_nothing_of_firings():
    plan = made((SUGAR, CLAY), [[-1, -1], [1, -1], [-1, 1], [1, 1], [-1, 1], [1, -1]], ["f1"] * 6)
    table = precision(plan).table
    assert table["method"].tolist() == [ONE_FIRING] * 2
    assert table["df"].tolist() == [3, 3]
    plan = made((PEAK, SUGAR), [[-1, -1], [-1, 1]] * 3, ["f1"] * 6)
    assert precision(plan).table.set_index("term").loc["peak", "note"] == "the same on every pot"


def test_too_few_firings_are_refused_as_the_analysis_refuses_them():
    with pytest.raises(PlanError, match=r"with 2 firings nothing is left to judge peak by"):
        precision(firings_of([6, 6]))


def test_variance_over_the_range():
    told = precision(firings_of([6] * 4), 3, 4)
    errors = told.variance.set_index("where")["standard error"]
    # The mean of four firings of six pots, at the centre of a square plan.
    assert errors["at the centre"] == pytest.approx(np.sqrt(9 / 4 + 16 / 24), rel=1e-9)
    assert errors["at the centre"] < errors["on average"] < errors["at the worst"]
    assert errors["in 90 of 100 recipes at most"] < errors["at the worst"]


def test_correlations_are_of_terms_and_of_all_pairs():
    told = precision(firings_of([6] * 4))
    alike = told.correlations
    assert told.asked == ("peak", "sugar", "clay")
    assert list(alike) == ["peak", "sugar", "clay", "peak × sugar", "peak × clay", "sugar × clay"]
    np.testing.assert_allclose(np.diag(alike), 1)
    np.testing.assert_allclose(alike, alike.T)


@pytest.mark.parametrize("like", [None, 3, "yesterday"])
def test_page_and_what_cannot_be(like):
    plan = firings_of([6] * 4)
    if like is None:
        assert ">smallest difference</th>" in precision(plan)._repr_html_()
        return
    with pytest.raises(PlanError, match="no result of fit_effects"):
        precision(plan, like=like)


def test_a_result_that_cannot_tell_the_scatters_apart_is_refused():
    plan = made((SUGAR,), [[-1], [1]] * 3, ["f1"] * 6)
    effects = fit_effects(plan.runs.assign(**{"L*": [40, 43, 41, 45, 42, 44.0]}), "L*", ["sugar"])
    with pytest.raises(PlanError, match="cannot tell the scatter between firings from"):
        precision(firings_of([6] * 4), like=effects)
    given = precision(firings_of([6] * 4), 3, 4, like=effects)
    assert (given.firing_sd, given.pot_sd) == (3, 4)
    assert "like" not in given.head


def test_unequal_firings_tell_less_of_what_varies_between_them_the_same_each_time_and_it_is_said():
    # With pairs asked, sugar and peak are not square within four firings: the analysis is not exact there.
    plan = firings_of([6] * 4, "main + two-way")
    table = precision(plan, 3, 4).table.set_index("term")
    pd.testing.assert_frame_equal(table, precision(plan, 3, 4).table.set_index("term"))
    assert table.loc["peak", "method"] == REML
    # 1,000 studies through fit_effects: .067, standard error .008, where the noncentral F gives .142.
    assert table.loc["peak", "power"] == pytest.approx(0.067, abs=0.024)
    assert "unequal firings: a square plan would tell about 14 of 100" in table.loc["peak", "note"]
