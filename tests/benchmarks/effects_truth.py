"""How often effects are found where there are none, and how often intervals hold the truth.

    python tests/benchmarks/effects_truth.py [fits] [seed]

Prints the times and six tables. All studies are drawn from seeds that nothing was tuned on.
"""

import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.regression.linear_model import OLS
from statsmodels.regression.mixed_linear_model import MixedLM

from sagglab import fit_effects, fit_outcomes, fit_ratings
from sagglab.model.mixed import fit_mixed
from sagglab.model.predict import predict
from sagglab.model.sensitivity import firing_by_firing
from sagglab.model.strata import fit_strata
from sagglab.model.terms import Factor, Term

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "data/demo"))
from generator.study import TRUE_MODEL, draw_study  # noqa: E402 - the demo lies beside the package

FIRINGS, POTS = 4, 6
FIRING_SD, POT_SD = 4.0, 3.0


def rate(hits, of):
    low, high = stats.binomtest(int(hits), of).proportion_ci(0.95, "wilson")
    return f"{hits / of:.3f} ({low:.3f} to {high:.3f})"


def split_plot(firings=FIRINGS, pots=POTS):
    labels = np.repeat(np.arange(firings), pots)
    heat = (labels % 2 - 0.5)[:, None]
    salt = np.tile([-0.5, 0.5], firings * pots // 2)[:, None]
    terms = {Term((Factor("heat", "heat", "", tried=(0.0, 1.0)),)): heat}
    return labels, terms | {Term((Factor("salt", "salt", "", tried=(0.0, 1.0)),)): salt}


def chance_taken_for_an_effect(fits, rng):
    labels, terms = split_plot()
    X = np.hstack([np.ones((len(labels), 1)), *terms.values()])
    rows = {"firing level": np.array([0, 1.0, 0]), "pot level": np.array([0, 0, 1.0])}
    found = {way: dict.fromkeys(rows, 0) for way in ("sagglab", "Kenward–Roger alone", "z", "OLS")}
    unsettled = 0
    for _ in range(fits):
        y = 40 + FIRING_SD * rng.normal(size=FIRINGS)[labels] + POT_SD * rng.normal(size=len(labels))
        ours = fit_strata(y, terms, {"firing": labels}, "pot", "")
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            theirs = MixedLM(y, X, groups=labels).fit(reml=True)
            unsettled += bool(told)
        plain = OLS(y, X).fit()
        for k, (level, row) in enumerate(rows.items(), start=1):
            found["sagglab"][level] += ours.contrast(row)[0].p < 0.05
            found["Kenward–Roger alone"][level] += ours.fit.contrast(row).p < 0.05
            found["z"][level] += theirs.pvalues[k] < 0.05
            found["OLS"][level] += plain.pvalues[k] < 0.05
    print(f"\n1. chance taken for an effect at 5 %, {FIRINGS} x {POTS}, firing SD 4, pot SD 3, {fits} fits")
    names = {"z": "statsmodels MixedLM, z", "OLS": "least squares without firings"}
    for way, counts in found.items():
        told = ", ".join(f"{level} {rate(count, fits)}" for level, count in counts.items())
        print(f"   {names.get(way, way):32} {told}")
    print(f"   statsmodels warned in {unsettled} of them")


def predictions(fits, rng):
    labels, _ = split_plot()
    table = pd.DataFrame({"firing": labels.astype(str), "tilt": np.tile([-1.0, 1], 12)})
    held, naive = np.zeros(2), np.zeros(2)
    for _ in range(fits):
        firings = FIRING_SD * rng.normal(size=FIRINGS + 1)
        y = 40 + firings[labels] + POT_SD * rng.normal(size=len(labels))
        effects = fit_effects(table.assign(**{"L*": y}), factors=["tilt"])
        found = predict(effects, {"tilt": 1.0}, "2").table.iloc[1:]
        pots = 40 + firings[[FIRINGS, 2]] + POT_SD * rng.normal(size=2)
        held += (found["low"].to_numpy() <= pots) & (pots <= found["high"].to_numpy())
        fit = effects.fitted.fit
        x = np.array([1.0, 1.0])
        spread = x @ fit.model_covariance @ x + fit.variances.sum()
        naive[0] += abs(found["estimate"].iloc[0] - pots[0]) <= 1.96 * np.sqrt(spread)
        shrunk = fit.variances[0] * fit.variances[1] / (POTS * fit.variances[0] + fit.variances[1])
        naive[1] += abs(found["estimate"].iloc[1] - pots[1]) <= 1.96 * np.sqrt(shrunk + fit.variances[1])
    print(f"\n2. 95 % interval of a new pot holds it, {FIRINGS} x {POTS}, {fits} studies")
    for k, what in enumerate(("in a new firing", "in a seen firing")):
        print(f"   {what:18} {rate(held[k], fits)}, plug-in z {rate(naive[k], fits)}")


RECIPE = ["sugar", "copper sulphate", "ferric chloride", "clay", "seaweed", "peak_C"]


def demo(seed):
    pots, _, truth = draw_study(seed)
    columns = truth.drop(columns=["firing", "form"]).rename(columns={"peak [degC]": "peak_C"})
    table = pots.merge(columns, on="pot")
    for heading in ("sugar [g]", "copper sulphate [g]", "seaweed [g]", "sawdust [g]"):
        table[heading] = table[heading].fillna(0).astype(float)
    return table


def true_effects(outcome):
    model = TRUE_MODEL[outcome]
    return {
        "sugar": model["sugar [g]"],
        "copper sulphate": model["copper sulphate [g]"],
        "ferric chloride": model["ferric chloride [coats]"],
        "clay: smooth white − groggy buff": -model["clay: groggy buff"],
        "with seaweed": model["packing: seaweed"],
        "peak_C": model["peak [degC]"],
    }


def demo_truth(studies, first):
    held = {}
    for lost in (0, 3):
        for seed in range(first, first + studies):
            table = demo(seed)
            table = table.drop(index=np.random.default_rng(seed).choice(36, lost, replace=False))
            for outcome in TRUE_MODEL:
                lines = fit_effects(table, outcome, RECIPE).table.set_index("term")
                for term, value in true_effects(outcome).items():
                    inside = lines.loc[term, "low"] <= value <= lines.loc[term, "high"]
                    held.setdefault((lost, outcome, term), []).append(inside)
    print(
        f"\n3. the true effect lies in its 95 % interval, {studies} regenerated demo studies (seeds {first}…)"
    )
    for lost in (0, 3):
        print(f"   {'all 36 pots' if not lost else 'three pots lost'}")
        for outcome in TRUE_MODEL:
            told = [
                f"{term.split(':')[0]} {100 * np.mean(held[lost, outcome, term]):.1f}"
                for term in true_effects(outcome)
            ]
            print(f"     {outcome:3} {', '.join(told)}")


def several_at_once(studies, rng):
    raw = adjusted = 0
    for seed in range(studies):
        table = demo(100_000 + seed)
        for outcome, spread in (("L*", (2.0, 2.5)), ("a*", (0.5, 0.7)), ("b*", (0.6, 0.9))):
            firing = dict(zip(sorted(set(table["firing"])), spread[0] * rng.normal(size=6), strict=True))
            table[outcome] = 20 + table["firing"].map(firing) + spread[1] * rng.normal(size=36)
        lines = fit_outcomes(table, list(TRUE_MODEL), RECIPE).table
        raw += lines["p"].min() < 0.05
        adjusted += lines["p Holm"].min() < 0.05
    print(f"\n4. something sure in 3 outcomes x 6 factors without any effect, {studies} studies")
    print(f"   raw p {rate(raw, studies)}, after Holm {rate(adjusted, studies)}")


def varying_effect(studies, rng):
    table_wide = asked = 0
    labels = np.repeat(np.arange(6), 6)
    table = pd.DataFrame({"firing": labels.astype(str), "salt": np.tile([-1.0, 1], 18)})
    for _ in range(studies):
        slopes = 2 * rng.normal(size=6)
        y = 40 + FIRING_SD * rng.normal(size=6)[labels] + slopes[labels] * table["salt"]
        effects = fit_effects(table.assign(**{"L*": y + POT_SD * rng.normal(size=36)}), factors=["salt"])
        table_wide += effects.table["p"].item() < 0.05
        asked += firing_by_firing(effects)["p"].item() < 0.05
    print(
        f"\n5. an effect that varies between firings (SD 2) and is nil in the mean, 6 x 6, {studies} studies"
    )
    print(f"   over all pots {rate(table_wide, studies)}, firing by firing {rate(asked, studies)}")


def ratings(studies, rng):
    labels = np.repeat(np.arange(6), 6)
    print(f"\n6. ratings of 6 x 6 pots, firing SD 1.5 log odds, {studies} studies each")
    for slope in (0.0, 1.0):
        chance = held = judged = 0
        estimates = []
        for _ in range(studies):
            table = pd.DataFrame(
                {
                    "firing": labels.astype(str),
                    "sugar [g]": np.concatenate([rng.permutation([0.0, 0, 2, 2, 4, 4]) for _ in range(6)]),
                    "clay": np.concatenate([rng.permutation(["buff", "white"] * 3) for _ in range(6)]),
                }
            )
            liking = slope * table["sugar [g]"] + 1.5 * rng.normal(size=6)[labels] + rng.logistic(size=36)
            table["rating"] = np.digitize(liking, np.quantile(liking, [0.1, 0.35, 0.65, 0.9])) + 1.0
            lines = fit_ratings(table, ["sugar", "clay"]).table.set_index("term")
            chance += lines.loc["clay: white − buff", "p"] < 0.05
            if np.isfinite(lines.loc["sugar", "estimate"]):
                judged += 1
                held += lines.loc["sugar", "low"] <= slope <= lines.loc["sugar", "high"]
                estimates.append(lines.loc["sugar", "estimate"])
        print(
            f"   log odds {slope:g} per g: median estimate {np.median(estimates):.2f}, interval holds it "
            f"{rate(held, judged)}, clay without effect taken for one {rate(chance, studies)}"
        )


def clock(call, repeats=15):
    took = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        took.append(time.perf_counter() - start)
    return 1000 * np.median(took)


def times(rng):
    labels, terms = split_plot()
    X = np.hstack([np.ones((24, 1)), *terms.values()])
    y = 40 + 4 * rng.normal(size=4)[labels] + 3 * rng.normal(size=24)

    def ours():
        fit = fit_mixed(y, X, {"firing": labels})
        return [fit.contrast(row) for row in np.eye(3)]

    def theirs():
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            MixedLM(y, X, groups=labels).fit(reml=True)

    a, b = clock(ours), clock(theirs)
    print("\n0. times, median")
    print(
        f"   24 pots in 4 firings, Kenward–Roger: {a:.1f} ms; statsmodels MixedLM, z: {b:.0f} ms "
        f"({b / a:.0f} x)"
    )
    table = demo(7)
    print(
        "   36 pots in 6 firings, six factors, fit_effects: "
        f"{clock(lambda: fit_effects(table, 'L*', RECIPE)):.0f} ms"
    )
    big = np.repeat(np.arange(60), 9)[:500]
    wide = pd.DataFrame({"firing": big.astype(str)})
    for k in range(5):
        wide[f"salt {k} [g]"] = rng.integers(0, 4, 500).astype(float)
    wide["peak_C"] = rng.normal(750, 15, 60)[big]
    wide["L*"] = 40 - wide["salt 0 [g]"] + 3 * rng.normal(size=60)[big] + 3 * rng.normal(size=500)
    names = [name for name in wide.columns if name not in ("firing", "L*")]
    took = clock(lambda: fit_effects(wide, "L*", names), 3)
    print(f"   500 pots in 60 firings, six factors of which five with and without: {took:.0f} ms")


if __name__ == "__main__":
    fits = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    rng = np.random.default_rng(seed)
    times(rng)
    chance_taken_for_an_effect(fits, rng)
    predictions(fits, rng)
    demo_truth(fits // 4, seed)
    several_at_once(fits // 4, rng)
    varying_effect(fits // 2, rng)
    ratings(fits // 8, rng)
