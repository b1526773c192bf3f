import numpy as np
import pandas as pd
import pytest

from sagglab.errors import ModelError
from sagglab.model.contrasts import Contrast, JointTest
from sagglab.model.rows import find_column, read_rows, tidy
from sagglab.model.terms import Factor, read_factor


def test_intervals_and_probabilities():
    contrast = Contrast(estimate=2.0, standard_error=0.5, df=10)
    # Tables of Student's t, 10 df: 2.228 leaves 5 % outside, 3.169 leaves 1 %.
    low, high = contrast.interval()
    assert (low, high) == pytest.approx((2 - 2.228 * 0.5, 2 + 2.228 * 0.5), abs=5e-4)
    assert Contrast(3.169, 1, 10).p == pytest.approx(0.01, abs=5e-6)
    # With two df above, the tail of F has a closed form: (1 + 2 F / df) ** (−df / 2).
    assert JointTest(4.1, 2, 10).p == pytest.approx((1 + 8.2 / 10) ** -5, rel=1e-12)


def test_tidy_reads_numbers_text_and_gaps():
    assert tidy(pd.Series([1, 2.5, np.inf]))[:2].tolist() == [1, 2.5]
    assert np.isnan(tidy(pd.Series([1, 2.5, np.inf]))[2])
    assert tidy(pd.Series([1, None], dtype="Int64"))[0] == 1
    assert tidy(pd.Series([1, 2], dtype=object)).dtype == float
    assert tidy(pd.Series([" buff ", "", None, "white"])).tolist() == ["buff", None, None, "white"]
    assert tidy(pd.Series([True, False])).tolist() == ["yes", "no"]
    assert tidy(pd.Series(["a", None], dtype="category")).tolist() == ["a", None]


def test_coding_sums_to_zero_and_is_remembered():
    values = pd.Series(["white", "buff", "red"])
    factor = read_factor("clay", values)
    assert factor.levels == ("buff", "red", "white")
    assert factor.code(values).tolist() == [[-1, -1], [1, 0], [0, 1]]
    assert factor.code(pd.Series(["red"])).tolist() == [[0, 1]]
    assert sum(row.weights for row in factor.rows()).tolist() == [0, 0]
    amount = read_factor("sugar [g]", pd.Series([0.0, 2, 4]))
    assert amount.lacking
    assert amount.code(pd.Series([3.0])).tolist() == [[1]]


def test_two_levels_are_second_minus_first():
    factor = Factor("packing", "packing", "", ("sawdust", "seaweed"))
    (row,) = factor.rows()
    first, second = factor.code(pd.Series(["sawdust", "seaweed"]))
    assert row.name == "packing: seaweed − sawdust"
    assert row.weights.tolist() == (second - first).tolist()


def test_a_doubled_heading_is_refused():
    table = pd.DataFrame([[1, 2]], columns=["sugar", "sugar"])
    with pytest.raises(ModelError) as caught:
        find_column(table, "sugar", "factor")
    assert str(caught.value) == "factor 'sugar': it can mean 'sugar' and 'sugar'. Rename one of them."


def test_the_exact_heading_wins_over_a_bare_name():
    table = pd.DataFrame([[1, 2]], columns=["sugar", "sugar [g]"])
    assert find_column(table, "sugar", "factor") == "sugar"


def test_rows_are_named_by_the_index_where_there_is_no_pot():
    table = pd.DataFrame({"firing": ["f", None], "L*": [40.0, 41], "clay": ["a", "b"]}, index=[7, 8])
    read = read_rows(table, "L*", ["clay"], ["firing"])
    assert len(read.table) == 1
    assert read.left_out.to_numpy().tolist() == [[8, 8, "no firing"]]
