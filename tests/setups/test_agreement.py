import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.setups.agreement import agreement
from sagglab.setups.pairs import pair_patches, pair_pots

ENDS = ["lower limit", "upper limit"]


def pots(setup, lab, names, views="front"):
    """Measures of one setup, one row per photograph."""
    table = pd.DataFrame(np.asarray(lab, dtype=float), columns=AXES)
    photos = [f"{setup}-{n}.jpg" for n in range(len(table))]
    return table.assign(setup=setup, pot=names, view=views, taken=pd.NaT, photo=photos)


def shots(setup, lab):
    """Patches of one setup from L*, a*, b* of shape (photographs, patches, 3)."""
    count, patches = lab.shape[:2]
    table = pots(setup, lab.reshape(-1, 3), "")
    names = [f"patch {n}" for n in range(patches)] * count
    return table.assign(patch=names, photo=np.repeat([f"{setup}-{n}" for n in range(count)], patches))


def row(found, coordinate="ΔL*"):
    return found.table.set_index("coordinate").loc[coordinate]


@pytest.fixture
def six():
    rng = np.random.default_rng(1)
    lab = rng.uniform([30, 5, 5], [60, 15, 15], (6, 3))
    names = [f"p{n}" for n in range(6)]
    return pair_pots(
        pots("phone", lab, names), pots("camera", lab + [1, 0, -0.5] + rng.normal(0, 0.3, (6, 3)), names)
    )


def test_one_pair_of_each_pot_is_the_paired_t_test_and_a_straight_line(six):
    found = agreement(six)
    assert found.table["coordinate"].tolist() == ["ΔL*", "Δa*", "Δb*", "ΔC*", "ΔH*"]
    for name, level in (("ΔL*", "L*"), ("Δb*", "b*")):
        told, apart = row(found, name), six.table[name].to_numpy()
        test = stats.ttest_1samp(apart, 0)
        assert told["bias"] / told["standard error"] == pytest.approx(test.statistic)
        assert told[["bias low", "bias high"]].tolist() == pytest.approx(list(test.confidence_interval()))
        assert told[["df", "n", "pairs"]].tolist() == [5, 6, 6]
        assert told[ENDS].tolist() == pytest.approx(
            apart.mean() + np.array([-1.96, 1.96]) * apart.std(ddof=1)
        )
        line = stats.linregress((six.table[f"{level} first"] + six.table[f"{level} second"]) / 2, apart)
        assert told[["trend", "p trend"]].tolist() == pytest.approx([line.slope, line.pvalue])
        assert told["trend high"] - told["trend"] == pytest.approx(stats.t.ppf(0.975, 4) * line.stderr)


def test_chroma_and_hue_are_held_against_chroma(six):
    chroma = [np.hypot(*six.lab(which)[:, 1:].T) for which in ("first", "second")]
    for name in ("ΔC*", "ΔH*"):
        line = stats.linregress((chroma[0] + chroma[1]) / 2, six.table[name])
        assert row(agreement(six), name)["trend"] == pytest.approx(line.slope)


@pytest.mark.parametrize("confidence", [0.95, 0.9])
def test_limits_of_one_pair_each_are_exact(six, confidence):
    told = row(agreement(six, confidence))
    for limit, sign in zip(ENDS, (-1, 1), strict=True):
        ends = sign * (told[[f"{limit} low", f"{limit} high"]].to_numpy(dtype=float) - told["bias"])
        # What the end leaves to either side, were the population's limit there.
        reached = stats.nct.cdf(np.sort(ends) / told["standard error"], 5, 1.96 * math.sqrt(6))
        assert reached == pytest.approx([(1 - confidence) / 2, (1 + confidence) / 2])


def test_each_pot_counts_once_however_many_views():
    names = ["p1", "p1", "p1", "p2", "p3"]
    views = ["front", "back", "90°", "front", "front"]
    lab = np.tile([50.0, 10, 10], (5, 1))
    moved = lab + np.array([1, 2, 3, 4, 6])[:, None] * [1.0, 0, 0]
    told = row(agreement(pair_pots(pots("phone", lab, names, views), pots("camera", moved, names, views))))
    means = np.array([2, 4, 6])
    assert told[["bias", "standard error", "df"]].tolist() == pytest.approx([4, 2 / math.sqrt(3), 2])
    # Within p1 the variance is 1; pots' means show a third of it in p1 and all in the others.
    assert told["SD"] ** 2 == pytest.approx(means.var(ddof=1) + (1 - (1 / 3 + 1 + 1) / 3) * 1)
    assert told[["n", "pairs"]].tolist() == [3, 5]


def test_scatter_that_means_over_repeats_took_away_is_given_back():
    # The phone repeats p1 twice, L* 2 apart: variance 2 on one degree of freedom.
    first = pots("phone", [[49, 9, 9], [51, 9, 9], [40, 9, 9], [60, 9, 9]], ["p1", "p1", "p2", "p3"])
    second = pots("camera", [[51, 9, 9], [42, 9, 9], [63, 9, 9]], ["p1", "p2", "p3"])
    told = row(agreement(pair_pots(first, second)))
    assert told["bias"] == 2
    # The mean over the pots of 1 / repeats is (1/2 + 1 + 1) / 3.
    assert told["SD"] ** 2 == pytest.approx(1 + (1 - 2.5 / 3) * 2)


def test_uneven_views_and_repeats_are_given_back_as_expected():
    # Pot, view, photographs with the phone: the first view's lie 2 apart, with variance 2 on one degree of
    # freedom, and the second's all alike.
    sides = [("p1", "front", 2), ("p1", "back", 3), ("p1", "90°", 1), ("p2", "front", 1), ("p3", "front", 1)]
    lightness = [[39, 41], [50, 50, 50], [45], [55], [60]]
    rows = [(pot, view) for pot, view, times in sides for _ in range(times)]
    lab = np.column_stack([np.concatenate(lightness), np.full((8, 2), 9.0)])
    first = pots("phone", lab, *(list(column) for column in zip(*rows, strict=True)))
    names, views, times = zip(*sides, strict=True)
    moved = [41, 50, 47, 58, 61]
    second = pots("camera", np.column_stack([moved, np.full((5, 2), 9.0)]), list(names), list(views))

    def of_means(apart):
        """Variance of a difference between the means of views."""
        one = apart[:3]
        means = np.array([one.mean(), *apart[3:]])
        return means.var(ddof=1) + (1 - (1 / 3 + 1 + 1) / 3) * one.var(ddof=1)

    # A square form of the differences: what an error of one of them adds to it on average is what it makes of
    # that error alone.
    kept = sum(of_means(unit) / count for unit, count in zip(np.eye(5), times, strict=True))
    apart = np.array(moved) - [np.mean(each) for each in lightness]
    found = agreement(pair_pots(first, second))
    assert row(found)["SD"] ** 2 == pytest.approx(of_means(apart) + (1 - kept) * 2 / 3)


def study(rng, numbers, single):
    """Draw views and repeats as `numbers` has them: per pot, views, and photographs in each setup."""
    first, second, names, views = [], [], ([], []), ([], [])
    for pot, (sides, *repeats) in enumerate(numbers):
        own = rng.normal(0, single["pots"], 3)
        for side in range(sides):
            lab = rng.uniform([30, 20, 20], [60, 30, 30])
            moved = lab + own + rng.normal(0, single["views"], 3)
            for colours, at, which, times in ((first, lab, 0, repeats[0]), (second, moved, 1, repeats[1])):
                colours += list(at + rng.normal(0, single["setups"][which], (times, 3)))
                names[which].extend([f"p{pot}"] * times)
                views[which].extend([str(side)] * times)
    return pair_pots(pots("phone", first, names[0], views[0]), pots("camera", second, names[1], views[1]))


@pytest.mark.parametrize(
    "numbers",
    [[(1, 1, 1)] * 5, [(2, 2, 1), (1, 1, 1), (3, 1, 2), (1, 3, 1), (2, 1, 1), (2, 2, 2)]],
    ids=["one pair each", "views and repeats"],
)
def test_intervals_hold_the_truth_as_often_as_they_say(numbers):
    rng = np.random.default_rng(11)
    single = {"pots": 0.5, "views": 0.3, "setups": (0.4, 0.6)}
    reach = 1.96 * math.sqrt(0.5**2 + 0.3**2 + 0.4**2 + 0.6**2)
    truth = {"bias": 0, "lower limit": -reach, "upper limit": reach}
    tables = [agreement(study(rng, numbers, single)).table.head(3) for _ in range(80)]
    table = pd.concat(tables)
    for name, value in truth.items():
        held = ((table[f"{name} low"] <= value) & (value <= table[f"{name} high"])).mean()
        # 240 draws: a standard error of 1.4 points.
        assert held >= 0.91, name
        assert held <= 0.985 or name != "bias"
    assert (table["SD"] ** 2).mean() == pytest.approx((reach / 1.96) ** 2, rel=0.12)


def drawn_patches(rng, counts, common=0.4):
    lab = rng.uniform([20, -30, -30], [90, 30, 30], (24, 3))
    moved = lab + rng.normal(0, 0.5, (24, 3))
    return [
        shots(name, at + rng.normal(0, common, (count, 1, 3)) + rng.normal(0, 0.3, (count, 24, 3)))
        for name, at, count in (("phone", lab, counts[0]), ("camera", moved, counts[1]))
    ]


def test_patches_share_the_error_of_their_photograph():
    first, second = drawn_patches(np.random.default_rng(12), (4, 3))
    found = agreement(pair_patches(first, second))
    told = row(found)
    apart = found.pairs.table["ΔL*"].to_numpy()
    error = apart.var(ddof=1) / 24
    single = apart.var(ddof=1)
    for table, count in ((first, 4), (second, 3)):
        lightness = table["L*"].to_numpy().reshape(count, 24)
        whole = lightness.mean(axis=1).var(ddof=1)
        own = lightness - lightness.mean(axis=0) - lightness.mean(axis=1)[:, None] + lightness.mean()
        own = np.sum(own**2) / (23 * (count - 1))
        error += whole / count
        single += (1 - 1 / count) * own + whole - own / 24
    assert told["standard error"] == pytest.approx(math.sqrt(error))
    assert told["SD"] == pytest.approx(math.sqrt(single))
    assert told["standard error"] > 2 * apart.std(ddof=1) / math.sqrt(24)
    assert told["df"] < 10
    assert found.notes == ()


def test_the_bias_of_a_target_is_as_sure_as_its_photographs_let_it_be():
    rng = np.random.default_rng(13)
    tables = [agreement(pair_patches(*drawn_patches(rng, (4, 4)))).table.head(3) for _ in range(80)]
    table = pd.concat(tables)
    held = ((table["bias low"] <= 0) & (table["bias high"] >= 0)).mean()
    # 240 draws: a standard error of 1.4 points.
    assert 0.91 <= held <= 0.99
    scatter = table["SD"] / math.sqrt(24) * 2
    assert ((table["bias"].abs() > scatter).mean()) > 0.2


def test_one_photograph_of_the_target_is_said_to_tell_too_little():
    first, second = drawn_patches(np.random.default_rng(14), (1, 3))
    found = agreement(pair_patches(first, second))
    assert len(found.notes) == 1 and found.notes[0] in found.sentences
    assert "photographs of the target with phone differ as a whole is not known" in found.notes[0]


@pytest.mark.parametrize(
    ("names", "said"), [([], "no pots"), (["p1", "p2"], "2 pots are photographed from the same side")]
)
def test_too_few_pots_are_refused_with_what_to_photograph(names, said):
    lab = np.full((len(names), 3), 40.0)
    pairs = pair_pots(pots("phone", lab, names), pots("camera", lab, names))
    with pytest.raises(SetupError, match=said) as refused:
        agreement(pairs)
    assert "photograph at least 3 pots" in refused.value.remedy


def test_too_few_patches_are_refused():
    lab = np.full((1, 2, 3), 40.0)
    with pytest.raises(SetupError, match="2 patches of the target are read in both"):
        agreement(pair_patches(shots("phone", lab), shots("camera", lab)))


@pytest.mark.parametrize("confidence", [0, 1, 95, math.nan])
def test_a_confidence_is_a_share(six, confidence):
    with pytest.raises(SetupError, match="is no share of cases"):
        agreement(six, confidence)


def test_the_same_photographs_agree_wholly():
    lab = np.array([[30, 5, 5], [40, 6, 9], [60, 12, 7.0]])
    names = ["p1", "p2", "p3"]
    found = agreement(pair_pots(pots("phone", lab, names), pots("camera", lab, names)))
    numbers = ["bias", "bias low", "bias high", "SD", *ENDS, "upper limit high"]
    assert (found.table[numbers] == 0).all(axis=None)
    assert found.mean_colour_difference == 0 and found.colour_difference_95 == 0


@pytest.mark.parametrize("spread", [0.0, 0.2])
def test_levels_too_near_together_tell_no_trend(spread):
    # The second setup alone scatters, which would tilt the line by up to 2 where all pots are alike.
    lab = np.full((4, 3), 40.0) + np.arange(4)[:, None] * [spread, 0, 0]
    moved = lab + np.array([1, -1, -1, 1])[:, None] * [1.0, 0, 0]
    names = list("abcd")
    found = agreement(pair_pots(pots("phone", lab, names), pots("camera", moved, names)))
    assert np.isnan(row(found)[["trend", "trend low", "trend high", "p trend"]].astype(float)).all()
    assert len(found.sentences) == 1


def test_sentences_say_how_far_apart_and_where_it_changes():
    lab = np.column_stack([np.linspace(30, 60, 7), np.full(7, 10.0), np.full(7, 12.0)])
    wobble = np.array([0.1, -0.1, 0.05, -0.05, 0.1, -0.1, 0.0])
    moved = lab + np.column_stack([0.1 * (lab[:, 0] - 45) + wobble, wobble + 2, wobble[::-1]])
    names = list("abcdefg")
    found = agreement(pair_pots(pots("phone", lab, names), pots("camera", moved, names)))
    assert found.sentences == (
        "Of 100 readings of a pot with camera, 95 lie, against one with phone, from L* 2.1 darker to "
        "2.1 lighter, a* 1.83 to 2.17 redder, b* 0.17 bluer to 0.17 yellower.",
        "The difference in L* changes with the pot: by +0.936 for each 10 L* that it is lighter (95 % "
        "interval +0.855 to +1.018).",
    )
    assert repr(found) == "\n".join(found.sentences)
    assert "<td>ΔL*</td>" in found._repr_html_() and "7 pots" in found._repr_html_()
    apart = found.pairs.table["ΔE00"]
    assert found.mean_colour_difference == apart.mean()
    assert found.colour_difference_95 == np.percentile(apart, 95)
