"""The same pot over time, on readings drawn with known changes, drift and scatter."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.errors import SetupError, UnknownNameError
from sagglab.setups.over_time import MONTH, changes_over_time

AXES = ("L*", "a*", "b*")
#: Fades with copper sulphate: per month, of L*, a*, b*.
FADING = (0.5, -1.2, 0.0)


def measures(
    *,
    seed=0,
    pots=6,
    days=(0, 30, 61, 91),
    views=("front",),
    repeats=1,
    fading=FADING,
    slope_sd=0.2,
    scatter=0.4,
    drift=0.0,
):
    """Draw pots of which every other one has copper sulphate, with what each truly changes per month."""
    rng = np.random.default_rng(seed)
    rows, truth = [], {}
    for number in range(pots):
        pot = f"q{number + 1:02d}"
        truth[pot] = np.array(fading) * (number % 2) + rng.normal(0, slope_sd, 3)
        for view in views:
            level = [45, 12, 14] + rng.normal(0, 4, 3)
            for day in np.repeat(days, repeats):
                lab = level + (truth[pot] + drift) * day / MONTH + rng.normal(0, scatter, 3)
                taken = pd.Timestamp("2026-03-01 10:00") + pd.Timedelta(days=int(day))
                rows.append((f"{len(rows)}.jpg", pot, view, "camera", taken, *lab))
    return pd.DataFrame(rows, columns=["photo", "pot", "view", "setup", "taken", *AXES]), truth


def recipes(pots=6, firings=1):
    numbers = range(pots)
    return pd.DataFrame(
        {
            "pot": [f"q{number + 1:02d}" for number in numbers],
            "firing": [f"f{number // 2 % firings + 1}" for number in numbers],
            "copper sulphate [g]": [2.0 if number % 2 else np.nan for number in numbers],
            "clay": ["buff", "buff", "red", "red", "white", "white"] * (pots // 6) + ["buff"] * (pots % 6),
        }
    )


def drift(per_month=0.0, half=0.0, df=10):
    rows = [(axis, per_month, per_month - half, per_month + half, df) for axis in AXES]
    return pd.DataFrame(rows, columns=["coordinate", "per month", "low", "high", "df"])


def rows_of(changes, coordinate):
    return changes.table[changes.table["coordinate"] == coordinate].set_index("pot")


def months(table):
    days = pd.to_datetime(table["taken"]).dt.normalize()
    return ((days - days.min()) / pd.Timedelta(days=MONTH)).to_numpy()


# One pot by itself


def test_one_pot_is_a_straight_line():
    table, _ = measures(pots=1)
    row = rows_of(changes_over_time(table, drift_per_month=drift()), "a*").loc["q01"]
    line = stats.linregress(months(table), table["a*"])
    half = stats.t.ppf(0.975, len(table) - 2) * line.stderr
    assert row["per month"] == pytest.approx(line.slope, rel=1e-9)
    assert row[["low", "high"]].tolist() == pytest.approx([line.slope - half, line.slope + half], rel=1e-9)
    assert (row["df"], row["p"]) == pytest.approx((len(table) - 2, line.pvalue), rel=1e-9)


def test_pots_keep_their_own_slopes_and_share_their_scatter():
    table, _ = measures()
    rows = rows_of(changes_over_time(table), "b*")
    lines = {pot: stats.linregress(months(own), own["b*"]) for pot, own in table.groupby("pot")}
    assert rows["per month"].to_dict() == pytest.approx({pot: line.slope for pot, line in lines.items()})
    squares = sum(
        np.sum((own["b*"] - lines[pot].intercept - lines[pot].slope * months(own)) ** 2)
        for pot, own in table.groupby("pot")
    )
    spread = np.sum((months(table[table["pot"] == "q01"]) - months(table[table["pot"] == "q01"]).mean()) ** 2)
    error = np.sqrt(squares / 12 / spread)
    assert (rows["df"] == 12).all()
    halves = (rows["high"] - rows["low"]) / 2
    assert halves.to_numpy() == pytest.approx(np.full(6, stats.t.ppf(0.975, 12) * error))


def test_a_view_is_compared_with_itself():
    # The back, far darker, joins on the second day: taken with the front it would be a fall.
    table, _ = measures(pots=1, views=("front", "back"), fading=(0, 0, 0), slope_sd=0, scatter=0.1)
    table = table[~((table["view"] == "back") & (months(table) < 0.5))]
    table.loc[table["view"] == "back", "L*"] -= 20
    rows = rows_of(changes_over_time(table), "L*")
    assert abs(rows.loc["q01", "per month"]) < 0.2


def test_months_are_twelfths_of_a_year():
    table, _ = measures(pots=2, days=(0, 365, 730), slope_sd=0, scatter=1e-3, fading=(0, 0, 0))
    years = (table["taken"] - table["taken"].min()) / pd.Timedelta(days=365.25)
    table["L*"] += 12 * years
    assert rows_of(changes_over_time(table), "L*")["per month"].to_numpy() == pytest.approx([1, 1], abs=1e-3)


def test_chroma_is_that_of_each_reading():
    table, _ = measures(pots=1)
    row = rows_of(changes_over_time(table), "C*ab").loc["q01"]
    line = stats.linregress(months(table), np.hypot(table["a*"], table["b*"]))
    assert row["per month"] == pytest.approx(line.slope)


def test_repeats_of_a_day_count_as_one_visit_where_visits_scatter():
    table, _ = measures(days=(0, 30, 61), repeats=4, scatter=0.05, seed=3)
    rng = np.random.default_rng(3)
    for _, own in table.groupby(["pot", "taken"]):
        table.loc[own.index, list(AXES)] += rng.normal(0, 0.5, 3)
    rows = rows_of(changes_over_time(table), "L*")
    visits = table.groupby(["pot", "view", "setup", "taken"], as_index=False)[list(AXES)].mean()
    alone = rows_of(changes_over_time(visits), "L*")
    # Four times the photographs, and next to no narrower an interval.
    assert (rows["high"] - rows["low"]).to_numpy() == pytest.approx(
        (alone["high"] - alone["low"]).to_numpy(), rel=0.05
    )
    assert (rows["df"] < 8).all()


def test_two_days_and_one_view_are_judged_by_repeats_of_any_pot():
    table, _ = measures(days=(0, 61))
    bare = changes_over_time(table, drift_per_month=drift())
    assert bare.table[["low", "high", "p", "p Holm"]].isna().all().all()
    assert (bare.table["df"] == 0).all()
    assert "not photographed often enough" in bare.sentences[-1]
    assert not bare.table["distinguishable"].any()
    # A tile, photographed on one day alone, five times.
    tile, _ = measures(pots=1, days=(0,), repeats=5, seed=8)
    lent = changes_over_time(
        pd.concat([table, tile.assign(pot="tile")], ignore_index=True), drift_per_month=drift()
    )
    assert (lent.table["df"] == 4).all()
    assert lent.repeatability["SD"].to_numpy() == pytest.approx(
        [*tile[list(AXES)].std(), np.hypot(tile["a*"], tile["b*"]).std()]
    )
    assert lent.left_out.to_numpy().tolist() == [["tile", "no view of it on two days by camera"]]


def test_colour_difference_is_from_the_first_day_to_the_last():
    table, _ = measures(pots=2, slope_sd=0, scatter=0.02)
    changes = changes_over_time(table, drift_per_month=drift())
    colours = changes.colours.set_index("pot")
    faded = colours.loc["q02"]
    whole = [faded[f"{axis} last"] - faded[f"{axis} first"] for axis in AXES]
    assert whole == pytest.approx(np.array(FADING) * 91 / MONTH, abs=0.1)
    assert faded["ΔE00 low"] < faded["ΔE00"] < faded["ΔE00 high"] < faded["ΔE00 low"] + 0.5
    assert colours.loc["q01", "ΔE00 low"] == 0
    assert faded["ΔE00 low"] > 1.8


# The setup's own drift


def test_drift_is_taken_out_and_its_error_joins():
    table, _ = measures(drift=0.3, slope_sd=0, fading=(0, 0, 0))
    seen = rows_of(changes_over_time(table), "L*")
    exact = rows_of(changes_over_time(table, drift_per_month=drift(0.3)), "L*")
    assert (exact["per month"] - seen["per month"]).to_numpy() == pytest.approx([-0.3] * 6)
    assert (exact["high"] - exact["low"]).to_numpy() == pytest.approx((seen["high"] - seen["low"]).to_numpy())
    unsure = rows_of(changes_over_time(table, drift_per_month=drift(0.3, 0.2, 5)), "L*").iloc[0]
    own = (exact["high"] - exact["low"]).iloc[0] / 2 / stats.t.ppf(0.975, 12)
    setups = 0.2 / stats.t.ppf(0.975, 5)
    df = (own**2 + setups**2) ** 2 / (own**4 / 12 + setups**4 / 5)
    assert unsure["df"] == pytest.approx(df)
    half = stats.t.ppf(0.975, df) * np.hypot(own, setups)
    assert (unsure["high"] - unsure["low"]) / 2 == pytest.approx(half)
    assert unsure["drift"] == 0.3


def test_drift_of_chroma_goes_by_the_hue():
    table, _ = measures(pots=1, scatter=1e-3, slope_sd=0, fading=(0, 0, 0), drift=0.3)
    row = rows_of(changes_over_time(table, drift_per_month=drift(0.3)), "C*ab").loc["q01"]
    assert row["drift"] == pytest.approx(0.3 * table[["a*", "b*"]].mean().sum() / 18, rel=0.25)
    assert row["per month"] == pytest.approx(0, abs=0.01)


def test_nothing_is_distinguishable_while_the_drift_is_unknown():
    table, _ = measures(fading=(3, -3, 0))
    changes = changes_over_time(table)
    assert (changes.table["p Holm"] < 0.05).any()
    assert not changes.table["distinguishable"].any()
    assert changes.table["drift"].isna().all()
    assert "drift, which is not known" in changes.sentence
    assert "photograph the target alone" in changes.notes[-1]


def test_a_change_no_greater_than_the_drift_is_not_yet_distinguishable():
    # The setup seems to fade whatever it sees.
    table, _ = measures(fading=(0, 0, 0), slope_sd=0.0, drift=-0.6, scatter=0.2)
    told = changes_over_time(table, drift_per_month=drift(-0.6, 0.3))
    assert not told.table["distinguishable"].any()
    assert "none has yet changed by more than the camera explains" in told.sentence
    # As if the setup stood still, they would all have changed.
    assert changes_over_time(table, drift_per_month=drift()).table["distinguishable"].mean() > 0.5


def test_it_is_foretold_when_a_rate_will_show():
    table, _ = measures(pots=1, days=(0, 30, 61, 91), fading=(0, 0, 0), slope_sd=0, seed=4)
    table["a*"] -= 0.45 * months(table)
    changes = changes_over_time(table, drift_per_month=drift())
    row = rows_of(changes, "a*").loc["q01"]
    assert not row["distinguishable"]
    assert 1 < row["months more"] <= 12
    assert f"again {row['months more']:.0f} month" in changes.sentences[-1]
    # Photographed so much later, the same line and the same scatter do show; a month before they do not.
    fit = stats.linregress(months(table), table["a*"])
    own = months(table)
    for more, shows in ((row["months more"], True), (row["months more"] - 1, False)):
        longer = np.append(own, own.max() + more)
        error = fit.stderr * np.sqrt(np.var(own) * len(own) / (np.var(longer) * len(longer)))
        p = 2 * stats.t.sf(abs(row["per month"]) / error, 2)
        # Four coordinates are asked.
        assert (4 * p <= 0.05) == shows


def test_a_rate_that_is_sure_by_itself_only_is_said_to_be_so():
    table, _ = measures(pots=1, days=(0, 30, 61, 91), fading=(0, 0, 0), slope_sd=0, seed=4)
    table["a*"] -= 0.7 * months(table)
    changes = changes_over_time(table, drift_per_month=drift())
    row = rows_of(changes, "a*").loc["q01"]
    assert row["p"] <= 0.05 < row["p Holm"]
    assert f"not sure with so much asked at once (p {row['p Holm']:.2g} allowing for all)" in repr(changes)


def test_a_drift_that_is_too_unsure_never_lets_it_show():
    table, _ = measures(pots=1)
    changes = changes_over_time(table, drift_per_month=drift(0, 5.0))
    assert changes.table["months more"].isna().all()
    assert "would not be within 12 months more" in changes.sentences[-1]


# By recipe


def test_with_and_without_are_the_means_of_the_pots_where_all_share_their_days():
    # Pots differ by more than their lines are unsure, so that the slopes alone are the exact judge.
    table, _ = measures(slope_sd=0.8)
    changes = changes_over_time(table, None, recipes(), ["copper sulphate"], drift_per_month=drift())
    row = changes.by_recipe.set_index("coordinate").loc["a*"]
    slopes = rows_of(changes, "a*")["per month"].to_numpy()
    plain, copper = slopes[0::2], slopes[1::2]
    assert row["per month with"] == pytest.approx(copper.mean())
    assert row["per month without"] == pytest.approx(plain.mean())
    test = stats.ttest_ind(copper, plain)
    ends = test.confidence_interval()
    assert row["df"] == pytest.approx(4)
    assert (row["difference"], row["p"]) == pytest.approx((copper.mean() - plain.mean(), test.pvalue))
    assert row[["low", "high"]].tolist() == pytest.approx([ends.low, ends.high])
    assert (row["pots with"], row["pots without"]) == (3, 3)


def test_drift_does_not_matter_to_the_difference():
    table, _ = measures(drift=0.3)
    known = changes_over_time(table, None, recipes(), ["copper sulphate"], drift_per_month=drift(0.3, 0.4))
    unknown = changes_over_time(table, None, recipes(), ["copper sulphate"])
    for coordinate in AXES:
        one, other = (
            changes.by_recipe.set_index("coordinate").loc[coordinate] for changes in (known, unknown)
        )
        same = ["difference", "low", "high", "p"]
        assert one[same].tolist() == pytest.approx(other[same].tolist())
        assert one["per month with"] == pytest.approx(other["per month with"] - 0.3)
        assert one["with high"] - one["with low"] > other["with high"] - other["with low"]


def test_the_sentence_of_a_recipe():
    table, _ = measures()
    changes = changes_over_time(table, None, recipes(), ["copper sulphate [g]"], drift_per_month=drift())
    said = changes.sentences[1]
    assert said.startswith("With copper sulphate, ")
    row = changes.by_recipe.set_index("coordinate").loc["a*"]
    assert f"a* fell by {-row['per month with']:.2f} per month (95 % interval" in said
    assert f"a difference of {-row['difference']:.2f} per month" in said
    assert said.endswith("On 3 pots against 3.")
    assert "not sure" not in said


def test_a_recipe_without_effect_is_not_sure():
    table, _ = measures(fading=(0, 0, 0), seed=5)
    changes = changes_over_time(table, None, recipes(), ["copper sulphate"], drift_per_month=drift())
    assert (changes.by_recipe["p Holm"] > 0.05).all()
    assert "not sure (p " in changes.sentences[1]


def test_kinds_are_held_against_the_others():
    table, _ = measures(pots=12)
    changes = changes_over_time(table, None, recipes(12), ["clay"], drift_per_month=drift())
    rows = changes.by_recipe[changes.by_recipe["coordinate"] == "L*"].set_index("with")
    assert rows.index.tolist() == ["buff", "red", "white"]
    slopes = rows_of(changes, "L*")["per month"].to_numpy()
    means = np.array([np.r_[slopes[at : at + 2], slopes[at + 6 : at + 8]].mean() for at in (0, 2, 4)])
    assert rows["per month with"].to_numpy() == pytest.approx(means)
    assert rows["difference"].to_numpy() == pytest.approx(means - (means.sum() - means) / 2)
    assert "Clay buff, " in " ".join(changes.sentences)


def test_one_factor_is_seen_at_the_mean_of_the_others():
    table, _ = measures(pots=12)
    both = changes_over_time(table, None, recipes(12), ["copper sulphate", "clay"], drift_per_month=drift())
    row = both.by_recipe.set_index(["with", "coordinate"]).loc[("with copper sulphate", "L*")]
    slopes = rows_of(both, "L*")["per month"].to_numpy()
    assert row["per month with"] == pytest.approx(slopes[1::2].mean())
    assert row["df"] == pytest.approx(12 - 4)


def test_two_firings_are_taken_as_they_are_and_more_scatter():
    table, _ = measures(pots=8)
    two = changes_over_time(table, None, recipes(8, 2), ["copper sulphate"], drift_per_month=drift())
    assert two.by_recipe.set_index("coordinate").loc["a*", "df"] == pytest.approx(8 - 3)
    # Firings that differ make the rates unsure, not the difference within firings.
    table, _ = measures(pots=12)
    many = recipes(12, 3)
    jolts = dict(zip(["f1", "f2", "f3"], [-1.5, 0.0, 1.5], strict=True))
    firing = table["pot"].map(many.set_index("pot")["firing"])
    table["a*"] += firing.map(jolts) * months(table)
    within = changes_over_time(table, None, many, ["copper sulphate"], drift_per_month=drift())
    blind = changes_over_time(
        table, None, many.drop(columns="firing"), ["copper sulphate"], drift_per_month=drift()
    )
    one, other = (found.by_recipe.set_index("coordinate").loc["a*"] for found in (within, blind))
    assert one["with high"] - one["with low"] > other["with high"] - other["with low"]
    assert one["high"] - one["low"] < 0.5 * (other["high"] - other["low"])


def test_the_mixed_model_agrees_with_an_independent_fit():
    from statsmodels.regression.mixed_linear_model import MixedLM

    # Uneven days, so that no short cut is exact; views' levels fixed in both.
    table, _ = measures(pots=10, slope_sd=0.6, seed=2)
    table = table.drop(index=[3, 5, 16, 22, 38]).reset_index(drop=True)
    known = recipes(6)["copper sulphate [g]"].notna()
    held = pd.DataFrame({"pot": [f"q{number + 1:02d}" for number in range(10)]})
    held["copper sulphate [g]"] = [2.0 if number % 2 else np.nan for number in range(10)]
    assert known.sum() == 3
    changes = changes_over_time(table, None, held, ["copper sulphate"], drift_per_month=drift())
    row = changes.by_recipe.set_index("coordinate").loc["a*"]
    time, levels = months(table), pd.get_dummies(table["pot"]).to_numpy(dtype=float)
    copper = table["pot"].map(held.set_index("pot")["copper sulphate [g]"].notna()).to_numpy(dtype=float)
    X = np.column_stack([time, time * copper, levels])
    theirs = MixedLM(table["a*"].to_numpy(), X, groups=table["pot"], exog_re=time[:, None]).fit(
        reml=True, method="bfgs", gtol=1e-9
    )
    assert row["per month without"] == pytest.approx(theirs.fe_params[0], rel=1e-4)
    assert row["difference"] == pytest.approx(theirs.fe_params[1], rel=1e-4)
    # Theirs knows the variances for certain; at ten pots ours is some per cent wider.
    error = (row["high"] - row["low"]) / 2 / stats.t.ppf(0.975, row["df"])
    assert theirs.bse_fe[1] * 0.999 <= error <= theirs.bse_fe[1] * 1.15
    assert 6 < row["df"] <= 8.5


def test_average_over_pots():
    table, _ = measures(fading=(0, -1, 0))
    changes = changes_over_time(table, drift_per_month=drift())
    row = changes.on_average.set_index("coordinate").loc["a*"]
    slopes = rows_of(changes, "a*")["per month"]
    test = stats.ttest_1samp(slopes, 0)
    assert (row["per month"], row["p"]) == pytest.approx((slopes.mean(), test.pvalue))
    assert changes.sentences[1].startswith("On average over 6 pots, ")
    assert changes_over_time(table[table["pot"] == "q01"]).on_average.empty


def test_true_rates_lie_in_their_intervals():
    held, differences, found = [], [], []
    for seed in range(24):
        table, truth = measures(seed=seed, pots=6, days=(0, 30, 91), drift=0.3)
        rng = np.random.default_rng(1000 + seed)
        # The setup's drift as twelve shots in three months would tell it.
        shots = np.linspace(0, 3, 12)
        lines = [stats.linregress(shots, 0.3 * shots + rng.normal(0, 0.15, 12)) for _ in AXES]
        known = drift().assign(**{"per month": [line.slope for line in lines]})
        half = stats.t.ppf(0.975, 10) * np.array([line.stderr for line in lines])
        known["low"], known["high"] = known["per month"] - half, known["per month"] + half
        changes = changes_over_time(table, None, recipes(), ["copper sulphate"], drift_per_month=known)
        for place, axis in enumerate(AXES):
            true = np.array([rates[place] for rates in truth.values()])
            rows = rows_of(changes, axis)
            held += (rows["low"].between(-np.inf, true) & (rows["high"] >= true)).tolist()
            row = changes.by_recipe.set_index("coordinate").loc[axis]
            differences.append(row["low"] <= FADING[place] <= row["high"])
            if not FADING[place]:
                found.append(row["p"] <= 0.05)
    # Of 432 rates and 72 differences, three standard errors of their number; 160 studies gave .948 and .971.
    assert 0.918 <= np.mean(held) <= 0.982
    assert 0.87 <= np.mean(differences)
    assert np.mean(found) < 0.15


# What cannot be answered


def test_one_day_is_refused_with_what_to_photograph():
    table, _ = measures(days=(0,), repeats=3)
    with pytest.raises(SetupError, match="no view of a pot was photographed on two days") as refused:
        changes_over_time(table)
    assert "Photograph the same side of some pots again" in str(refused.value)


def test_two_views_on_two_days_are_no_comparison():
    table, _ = measures(days=(0, 30), pots=1)
    table["view"] = ["front", "back"]
    with pytest.raises(SetupError, match="two days"):
        changes_over_time(table)


def test_the_setup_with_the_most_pots_is_taken_and_told():
    table, _ = measures(pots=3)
    phone, _ = measures(pots=2, seed=9)
    both = pd.concat([phone.assign(setup="phone"), table], ignore_index=True)
    changes = changes_over_time(both)
    assert changes.setup == "camera"
    assert "Photographs by phone are left out" in changes.notes[0]
    alone = changes_over_time(table)
    pd.testing.assert_frame_equal(changes.table, alone.table)


def test_undated_photographs_are_left_out_and_told():
    table, _ = measures(pots=3)
    table.loc[table["pot"] == "q03", "taken"] = pd.NaT
    changes = changes_over_time(table)
    assert changes.notes[0] == "4 photographs without a date are left out."
    assert changes.left_out.to_numpy().tolist() == [["q03", "no photograph of it has a date"]]


def test_photographs_of_the_target_and_unmeasured_ones_are_no_pots():
    table, _ = measures(pots=2)
    more = table.iloc[:3].copy()
    more["pot"] = ""
    failed = table.iloc[:2].assign(**{"L*": np.nan})
    with_more = pd.concat([table, more, failed], ignore_index=True)
    pd.testing.assert_frame_equal(changes_over_time(with_more).table, changes_over_time(table).table)


def test_the_same_numbers_again_are_refused():
    table, _ = measures(pots=1, days=(0, 30))
    with pytest.raises(SetupError, match="the same numbers to the last digit"):
        changes_over_time(pd.concat([table, table]))


def test_other_tables_are_refused():
    with pytest.raises(SetupError, match="no column view, taken"):
        changes_over_time(pd.DataFrame(columns=["pot", "setup", *AXES]))


def test_factors_that_cannot_be_told_are_refused():
    table, _ = measures(pots=4)
    known = recipes(6).iloc[:4]
    with pytest.raises(SetupError, match="no recipes are given"):
        changes_over_time(table, factors=["clay"])
    with pytest.raises(UnknownNameError, match="sugar"):
        changes_over_time(table, None, known, ["sugar"])
    with pytest.raises(SetupError, match="all 4 pots .* are with salt"):
        changes_over_time(table, None, known.assign(**{"salt [g]": 1.0}), ["salt"])
    with pytest.raises(SetupError, match="stands in two rows"):
        changes_over_time(table, None, pd.concat([known, known]), ["clay"])
    tied = known.assign(firing=["f1", "f2"] * 2)
    with pytest.raises(SetupError, match="cannot tell apart what always changes together"):
        changes_over_time(table, None, tied, ["copper sulphate"])
    few = measures(pots=2)[0]
    with pytest.raises(SetupError, match="2 pots leave nothing over to judge 2 rates by"):
        changes_over_time(few, None, known, ["copper sulphate"])


def test_pots_without_a_recipe_are_told():
    table, _ = measures(pots=7)
    changes = changes_over_time(table, None, recipes(6), ["copper sulphate"])
    assert "left out of what is said by recipe: q07" in changes.notes[-1]
    assert changes.by_recipe["pots without"].iloc[0] == 3


def test_shown_in_a_notebook():
    table, _ = measures(pots=4, days=(0, 30, 61))
    table["pot"] = table["pot"].replace("q01", "<b>")
    page = changes_over_time(table)._repr_html_()
    assert "&lt;b&gt;" in page
    assert "<b>" not in page
    assert "2026-03-01" in page


# Pots to which something was done


def test_what_wax_changed_is_not_taken_for_time():
    table, _ = measures(pots=3)
    waxed = table.assign(
        after="wax", taken=table["taken"] + pd.Timedelta(days=100), **{"L*": table["L*"] - 4.0}
    )
    mixed = pd.concat([table.assign(after=""), waxed], ignore_index=True)
    alone = changes_over_time(table, drift_per_month=drift())
    pd.testing.assert_frame_equal(changes_over_time(mixed, drift_per_month=drift()).table, alone.table)


def test_a_second_day_after_wax_is_no_second_day():
    table, _ = measures(pots=3, days=(0, 30))
    later = table["taken"] > table["taken"].min() + pd.Timedelta(days=1)
    with pytest.raises(SetupError, match="as it came out was photographed on two days"):
        changes_over_time(table.assign(after=np.where(later, "wax", "")), drift_per_month=drift())
