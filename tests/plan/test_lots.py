"""Lots: everything by chance and nothing else, the same seed giving the same, days mixing as little "
"as can be."""

from collections import Counter
from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chisquare

from sagglab.plan.batch import plan_batch
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import Best
from sagglab.plan.limits import Limits
from sagglab.plan.lots import draw_order, draw_places, settled_by_days, tags
from sagglab.plan.terms import read_model

PEAK = Factor("peak", [700, 800], "degC", per="firing")
TIME = Factor("time", [35, 50], "min", per="firing")
SUGAR = Factor("sugar", [0, 4], "g")
CLAY = Factor("clay", ["buff", "white"])
QUICK = Best(starts=4)
PLACES = ("low front", "low back", "high front", "high back")


def plan(seed, factors=(PEAK, SUGAR, CLAY), firings=6, pots=4, **more):
    more.setdefault("limits", Limits(places=PLACES))
    return plan_batch(list(factors), firings, pots, "main", QUICK, seed, **more)


def firings_at(*peaks):
    return [np.array([[peak, -1.0], [peak, 1.0]]) for peak in peaks]


def even(counts, ways):
    """Whether so many draws may well have been alike."""
    return chisquare([counts.get(way, 0) for way in ways]).pvalue > 0.001


def test_the_same_seed_gives_the_same_plan_and_another_another():
    one, two, three = plan(7), plan(7), plan(8)
    pd.testing.assert_frame_equal(one.runs, two.runs)
    pd.testing.assert_frame_equal(one.coded, two.coded)
    assert one.notes == two.notes
    assert not one.runs["place"].equals(three.runs["place"])
    assert not one.runs.drop(columns="place").equals(three.runs.drop(columns="place"))


def test_a_seed_that_is_drawn_is_told_and_gives_the_same_again():
    drawn = plan(None)
    assert f"with seed {drawn.seed}" in repr(drawn)
    pd.testing.assert_frame_equal(plan(drawn.seed).runs, drawn.runs)


def test_each_place_is_drawn_once_in_each_firing():
    made = plan(3)
    assert all(sorted(places) == sorted(PLACES) for _, places in made.runs.groupby("firing")["place"])
    numbered = plan(3, limits=None)
    assert all(
        sorted(places) == ["1", "2", "3", "4"] for _, places in numbered.runs.groupby("firing")["place"]
    )
    roomy = plan(3, limits=Limits(places=9))
    assert not roomy.runs.duplicated(["firing", "place"]).any()
    assert roomy.runs["place"].nunique() > 4


def test_every_order_of_firings_is_as_likely():
    terms = read_model([PEAK, SUGAR])
    orders = Counter(
        tuple(draw_order(firings_at(-1, -1, 1, 1), terms, None, np.random.default_rng(seed)))
        for seed in range(480)
    )
    assert even(orders, list(permutations(range(4))))


def test_every_place_is_as_likely_for_every_pot():
    drawn = [draw_places([4], PLACES, np.random.default_rng(seed)) for seed in range(400)]
    for pot in range(4):
        assert even(Counter(places[pot] for places in drawn), PLACES)


def test_every_recipe_is_as_likely_first_in_its_firing():
    factors = [SUGAR, CLAY]
    first = Counter()
    for seed in range(200):
        made = plan_batch(factors, 2, 4, "main", "factorial", seed)
        first[tuple(made.coded.iloc[0, 1:])] += 1
    assert even(first, [(-1, -1), (-1, 1), (1, -1), (1, 1)])


def test_where_a_day_has_two_firings_each_day_has_both_peaks():
    for seed in range(10):
        made = plan(seed, firings_per_day=2)
        assert made.runs["day"].tolist() == np.repeat([1, 2, 3], 8).tolist()
        assert made.runs.groupby("day")["peak [degC]"].nunique().tolist() == [2, 2, 2]


def test_within_the_days_the_order_is_still_drawn():
    terms = read_model([PEAK, SUGAR])
    firsts = Counter()
    for seed in range(100):
        order = draw_order(firings_at(-1, -1, -1, 1, 1, 1), terms, 2, np.random.default_rng(seed))
        # The first of each day at the low peak or not: any of the eight ways.
        firsts[tuple(place < 3 for place in order[::2])] += 1
    assert even(firsts, [(a, b, c) for a in (True, False) for b in (True, False) for c in (True, False)])


def test_factors_are_kept_off_the_days_before_their_pair_is():
    # Both peaks and both times in two days of two firings: either the pair or a factor lies between days.
    terms = read_model([PEAK, TIME, SUGAR])
    firings = [np.array([[p, t, -1.0], [p, t, 1.0]]) for p in (-1, 1) for t in (-1, 1)]
    for seed in range(10):
        order = draw_order(firings, terms, 2, np.random.default_rng(seed))
        for day in (order[:2], order[2:]):
            assert sum(firings[place][0, 0] for place in day) == 0
            assert sum(firings[place][0, 1] for place in day) == 0


def test_what_days_hide_is_named():
    terms = read_model([PEAK, SUGAR], "main")
    coded = pd.DataFrame(
        {
            "firing": ["f1", "f1", "f2", "f2", "f3", "f3", "f4", "f4"],
            "peak": [-1.0] * 4 + [1.0] * 4,
            "sugar": [-1.0, 1] * 4,
        }
    )
    days = np.repeat([1, 2], 4)
    assert settled_by_days(coded, days, terms) == ["peak"]
    mixed = coded.assign(peak=[-1.0, -1, 1, 1, -1, -1, 1, 1])
    assert settled_by_days(mixed, days, terms) == []


def test_one_firing_a_day_hides_the_peak_and_the_plan_says_so():
    made = plan(1, firings_per_day=1)
    assert "days hide peak: nothing of it differs within a day" in made.notes
    assert not any("days hide" in note for note in plan(1, firings_per_day=2).notes)


@pytest.mark.parametrize(
    ("letter", "number", "after", "expected"),
    [
        ("p", 2, [], ["p01", "p02"]),
        ("p", 2, ["p08", "p09"], ["p10", "p11"]),
        ("p", 2, ["p98", "p99"], ["p100", "p101"]),
        ("p", 1, ["p007"], ["p008"]),
        ("p", 1, ["vase", "bowl 3", "f9", ""], ["p01"]),
        ("p", 1, ["p2", "p10"], ["p11"]),
        ("f", 2, ["f6", "f2"], ["f7", "f8"]),
        ("f", 1, ["first"], ["f1"]),
    ],
)
def test_tags_go_on_from_those_there_are(letter, number, after, expected):
    assert tags(letter, number, after) == expected


def test_tags_of_many_pots_sort_as_they_are_counted():
    many = tags("p", 120)
    assert many == sorted(many)
    assert len(set(many)) == 120
