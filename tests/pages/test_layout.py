"""Layout: numbers and words of any result, written for reading."""

import re

import numpy as np
import pandas as pd
import pytest

from sagglab.markup import text_table
from sagglab.pages.headings import shown_heading, unit_of
from sagglab.pages.layout import html_table, report, rounded, scalar
from sagglab.pages.numbers import decimal, number, probability, within
from sagglab.pages.patches import patch, swatch, swatches


class TestNumbers:
    def test_nothing_is_written_of_what_is_not_known(self):
        nan = float("nan")
        assert [number(nan, 3), decimal(nan, 1), probability(nan), within(nan, 1, 2, 0)] == [""] * 4
        assert [scalar(nothing) for nothing in (None, pd.NA, pd.NaT, nan)] == [""] * 4

    def test_zero_has_no_sign(self):
        assert decimal(-0.04, 1) == "0.0"
        assert number(-0.0, 3) == "0"

    @pytest.mark.parametrize(
        ("value", "told"),
        [(-0.012345, "−0.0123"), (1234.5, "1234"), (250000.0, "250000"), (1e-7, "0.0000001"), (8.0, "8")],
    )
    def test_no_number_is_written_with_a_power_of_ten(self, value, told):
        assert number(value, 3) == told

    def test_probabilities(self):
        assert [probability(p) for p in (0.0009, 0.0494, 1.0)] == ["<\u00a00.001", "0.049", "1.000"]

    def test_ends_that_are_not_known(self):
        assert within(5.0, np.nan, np.nan, 1) == "5.0"
        assert within(5.0, -np.inf, 6.0, 1) == "5.0 (no bound to 6.0)"


class TestTables:
    def test_a_column_takes_its_own_two_ends_in(self):
        table = pd.DataFrame({"ΔE00": [2.345], "ΔE00 low": [1.03], "ΔE00 high": [3.66], "low": ["?"]})
        assert rounded(table).to_dict("records") == [{"ΔE00": "2.3 (1.0 to 3.7)", "low": "?"}]

    def test_numbers_stand_at_the_right_and_words_at_the_left(self):
        cells = {
            "a": "−2.1 (−3.0 to −1.2)",
            "b": "< 0.001",
            "c": "690 °C (1274 °F)",
            "d": "2026-04-25",
            "e": "p1",
        }
        page = text_table(list(cells), [list(cells.values())])
        assert [bool(right) for right in re.findall(r"<td( class=\"n\")?>", page)] == [True] * 3 + [False] * 2
        assert page.count('scope="col"') == 5

    def test_headings_and_cells_are_no_markup(self):
        page = html_table(pd.DataFrame({"<a>": ["<b>"]}), caption="<c>")
        assert ">&lt;a&gt;</th>" in page and ">&lt;b&gt;</td>" in page and "<caption>&lt;c&gt;" in page

    @pytest.mark.parametrize(
        ("name", "unit", "told"),
        [
            ("climb_start_to_100_C_per_h", "degC/h", "climb start to 100 °C [°C/h]"),
            ("heat_work_minutes_at_750_C", "min", "heat work minutes at 750 °C"),
            ("minutes_of_longest_stall", "min", "minutes of longest stall"),
            ("surface area [cm2]", "cm2", "surface area [cm²]"),
            ("salt_1", "", "salt_1"),
        ],
    )
    def test_headings_say_their_units_as_people_do(self, name, unit, told):
        assert (unit_of(name), shown_heading(name)) == (unit, told)


class TestPatches:
    def test_a_colour_that_the_display_can_show(self):
        page = swatch(np.array([50.0, -10.0, 20.0]), "a <b>")
        assert 'class="patch"' in page
        assert 'aria-label="a &lt;b&gt;: L* 50.0, a* −10.0, b* 20.0"' in page
        assert "<br>a &lt;b&gt;</span>" in page

    def test_one_that_it_cannot_lacks_a_corner_and_says_so(self):
        page = swatch(np.array([50.0, 120.0, 0.0]), "middle")
        assert 'class="patch cut"' in page
        assert "; a cut corner: beyond what the display can show" in page

    def test_white_and_black(self):
        assert "#ffffff" in patch(np.array([100.0, 0, 0]))
        assert "#000000" in patch(np.array([0.0, 0, 0]))

    def test_none_where_there_is_no_colour(self):
        assert swatches(None) == ""
        assert patch(np.array([50.0, np.nan, 0])) == ""


class TestReport:
    TABLE = pd.DataFrame({"term": ["a", "b"], "p": [0.02, 0.5], "method": "by hand", "note": ["", ""]})

    def test_what_is_the_same_in_all_rows_is_said_once(self):
        page = report("head", ["said"], self.TABLE, warned=["mind"])
        assert '<p class="quiet">head</p><ul><li>said</li></ul><p>⚠ mind</p>' in page
        assert "Method: by hand.</p>" in page
        assert ">method</th>" not in page
        assert ">note</th>" not in page

    def test_what_differs_keeps_its_column(self):
        page = report("head", [], self.TABLE.assign(method=["by hand", "by eye"], note=["", "few"]))
        assert ">method</th>" in page
        assert ">note</th>" in page

    def test_an_empty_table_is_not_shown(self):
        assert "<table>" not in report("head", [], self.TABLE.iloc[:0])
