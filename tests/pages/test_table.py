"""Tables: what a reader sees of a wide one; and that it is a DataFrame in all else."""

import pickle
import re

import numpy as np
import pandas as pd
import pytest

from sagglab.columns import MEASURES, RESULTS, conform, empty
from sagglab.errors import UnknownNameError
from sagglab.pages.table import Table


def heads(page):
    return re.findall(r"<th [^>]*>(.*?)</th>", page)


def cells(page):
    return re.findall(r"<td[^>]*>(.*?)</td>", page)


@pytest.fixture
def measures():
    """Thirty views; the last shows no pot."""
    row = {"view": "front", "setup": "phone", "L*": 43.123, "L* low": 42.3, "L* high": 43.9, "a*": 1.0,
           "b*": 200.0, "dark share": 0.25, "flags": "<i>"}  # fmt: skip
    rows = [row | {"photo": f"{k}.jpg", "pot": f"p{k}"} for k in range(29)] + [{"photo": "29.jpg"}]
    return Table(conform(rows, MEASURES))


class TestWhatIsSeen:
    def test_first_rows_of_leading_columns_and_what_more_there_is(self, measures):
        page = measures._repr_html_()
        leading = ["photo", "pot", "view", "setup", "L*", "a*", "b*", "dark share", "flags"]
        assert heads(page) == ["colour", *leading]
        assert page.count("<tr>") == 1 + 10
        more = len(MEASURES) - 9 - 6  # those above, and the two ends of L*, a*, b*
        assert f"And 20 more rows: .head(50) shows 50; {more} more columns: .columns names them." in page

    def test_a_number_takes_in_its_interval_and_a_colour_its_patch(self, measures):
        first = cells(measures._repr_html_())[:10]
        assert first[5] == "43.12 (42.30 to 43.90)"
        assert 'class="patch cut" role="img"' in first[0]
        assert first[9] == "&lt;i&gt;"

    def test_a_view_without_a_pot_is_blank(self, measures):
        page = measures.tail(1)[["photo", "L*", "a*", "b*", "taken"]]._repr_html_()
        assert cells(page) == ["", "29.jpg", "", "", "", ""]

    def test_a_slice_of_few_columns_shows_these(self, measures):
        page = measures[["pot", "max ΔE00"]].head(3)._repr_html_()
        assert heads(page) == ["pot", "max ΔE00"]
        assert "more" not in page.partition("</table>")[2]

    def test_a_table_without_rows_shows_all_its_columns(self):
        page = Table(empty(MEASURES))._repr_html_()
        assert len(heads(page)) == len(MEASURES)
        assert page.endswith("</table></div></div>")

    def test_results_lead_with_colour_recipe_and_firing(self):
        row = {"pot": "p1", "L*": 40.0, "a*": 1.0, "b*": 2.0, "peak_C": 700.0}
        table = Table(conform([row], RESULTS)).assign(pot="p1", **{"sugar [g]": 2.0, "kiln": "small"})
        page = table._repr_html_()
        assert heads(page) == ["colour", "pot", "L*", "a*", "b*", "sugar [g]", "peak [°C]", "peak [°F]"]
        assert cells(page)[-3:] == ["2", "700", "1292"]

    def test_an_index_that_says_something_is_shown(self, measures):
        page = measures.groupby("view")[["L*"]].mean()._repr_html_()
        assert heads(page) == ["view", "L*"]

    def test_levels_of_an_index_without_names_are_all_shown(self):
        table = Table({"v": [1.0]}, index=pd.MultiIndex.from_tuples([("p1", "front")]))
        assert cells(table._repr_html_()) == ["p1", "front", "1"]

    @pytest.mark.parametrize(
        "table",
        [
            Table(),
            Table({"a": []}),
            Table([[1.0, "x"]], columns=["a", "a"]),
            Table([[1.0, 2.0]], columns=pd.MultiIndex.from_tuples([("L*", "mean"), ("L*", "sd")])),
            Table({"a": [1.0]}, index=pd.MultiIndex.from_tuples([("p", 1)], names=["pot", None])),
            Table({0: [np.inf], 1: [[1, 2]], 2: [pd.NA], 3: [1e-9], 4: [1e12]}),
            Table({f"c{k}": [k] for k in range(60)}),
        ],
    )
    def test_any_table_can_be_seen(self, table):
        assert "<table>" in table._repr_html_()

    def test_words_where_numbers_are_expected_are_shown_as_words(self):
        odd = {"L*": ["dark"], "a*": [1.0], "b*": [2.0], "x": [1.0], "x low": ["none"], "x high": ["?"]}
        assert cells(Table(odd)._repr_html_()) == ["dark", "1", "2", "1", "none", "?"]


class TestADataFrameInAllElse:
    @pytest.mark.parametrize("asked", ["dark shore", ["pot", "dark shore"]])
    def test_a_misspelt_column_is_told_with_those_like_it(self, measures, asked):
        with pytest.raises(UnknownNameError, match="Did you mean 'dark share'"):
            measures[asked]
        assert measures.get("dark shore") is None and "dark shore" not in measures

    def test_parts_copies_and_joined_tables_stay_tables(self, measures):
        parts = [measures[["pot"]], measures[measures["pot"] == "p1"], measures.copy(), measures.head(2)]
        joined = [measures.merge(measures), pd.concat([measures, measures]), measures.assign(x=1.0)]
        assert {type(part) for part in [*parts, *joined]} == {Table}
        assert type(measures["pot"]) is pd.Series

    def test_it_comes_back_from_another_process_with_what_it_notes(self, measures):
        measures.attrs["own measures"] = ["x"]
        back = pickle.loads(pickle.dumps(measures))
        pd.testing.assert_frame_equal(back, measures)
        assert back.attrs == measures.attrs

    def test_it_holds_and_writes_the_numbers_unrounded(self, measures):
        measures._repr_html_()
        assert measures["L*"].iloc[0] == 43.123
        assert measures.to_csv() == pd.DataFrame(measures).to_csv()
