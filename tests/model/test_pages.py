import numpy as np
import pandas as pd
import pytest

from sagglab.model.effects import fit_effects
from sagglab.model.pages import (
    checks_page,
    decimal,
    effects_page,
    html_table,
    number,
    prediction_page,
    probability,
    recipes_page,
    report,
    swatch,
    swatches,
)

NASTY = '<b>salt</b> & "soda" [g]'
ESCAPED = "&lt;b&gt;salt&lt;/b&gt; &amp; &quot;soda&quot;"


def effect(**changes):
    """One row of a table of effects."""
    line = {
        "term": "sugar", "estimate": -2.1349, "unit": "L* per g", "standard error": 0.21,
        "low": -2.5923, "high": -1.6775, "df": 8.0, "p": 0.00004, "p Holm": 0.0126,
        "stratum": "pot", "method": "exact", "note": "",
    }  # fmt: skip
    return pd.DataFrame([line | changes])


def cells(page):
    """Give the cells of the first table of a page."""
    body = page.partition("<tbody>")[2].partition("</tbody>")[0]
    return [cell.partition("</td>")[0] for cell in body.split("<td>")[1:]]


SCATTER = pd.DataFrame(
    {"component": ["firing", "pot"], "standard deviation": [np.nan, 2.34567], "note": ["one firing", ""]}
)


def study():
    rng = np.random.default_rng(2)
    table = pd.DataFrame(
        {
            "pot": [f"<u>{k}</u>" for k in range(24)],
            "firing": np.repeat(["<s>f1</s>", "f2", "f3", "f4"], 6),
            NASTY: rng.permutation(np.arange(24) % 4) * 1.0,
            "clay": rng.permutation(np.array(["<i>buff</i>", "red & white"])[np.arange(24) % 2]),
            "place": np.tile(["<em>top</em>", "bottom"], 12),
        }
    )
    table["L*"] = 40 - 3 * table[NASTY] + rng.normal(size=24)
    table["a*"], table["b*"] = -3 + rng.normal(size=24), 5 + rng.normal(size=24)
    table.loc[5, "L*"] += 30
    return table


class TestNumbers:
    def test_as_many_digits_as_the_interval_allows(self):
        found = cells(effects_page(effect(), (), "", SCATTER))
        assert found[:8] == ["sugar", "−2.13", "L* per g", "−2.59", "−1.68", "8", "&lt;\u00a00.001", "0.013"]

    def test_tens_and_hundreds(self):
        found = cells(effects_page(effect(estimate=1234.5, low=734.5, high=1734.5), (), "", SCATTER))
        assert [found[k] for k in (1, 3, 4)] == ["1230", "730", "1730"]

    def test_zero_has_no_sign(self):
        found = cells(effects_page(effect(estimate=-0.001, low=-1.5, high=1.5), (), "", SCATTER))
        assert [found[k] for k in (1, 3, 4)] == ["0.0", "−1.5", "1.5"]
        assert decimal(-0.04, 1) == "0.0"

    def test_what_is_not_known_is_left_blank(self):
        blank = dict.fromkeys(["estimate", "standard error", "low", "high", "df", "p", "p Holm"], np.nan)
        page = effects_page(effect(**blank), (), "", SCATTER)
        assert cells(page)[1:8] == ["", "L* per g", "", "", "", "", ""]
        assert "nan" not in page

    def test_single_numbers(self):
        assert number(np.nan, 3) == ""
        assert number(-0.012345, 3) == "−0.0123"
        assert decimal(-3.25, 1) == "−3.2"
        said = [probability(p) for p in (np.nan, 0.0009, 0.0494, 1.0)]
        assert said == ["", "<\u00a00.001", "0.049", "1.000"]

    def test_scatter(self):
        assert "<td>2.35</td>" in effects_page(effect(), (), "", SCATTER)


class TestEscaping:
    @pytest.fixture
    def effects(self):
        return fit_effects(study(), factors=[NASTY, "clay"])

    def test_effects(self, effects):
        page = effects._repr_html_()
        assert f"<td>{ESCAPED}</td>" in page
        assert f"Between pots with {ESCAPED} and pots without" in page
        self.harmless(page)

    def test_prediction(self, effects):
        page = effects.predict({NASTY: 1.0, "clay": "<i>buff</i>"}, "<s>f1</s>")._repr_html_()
        assert "a new pot in firing &lt;s&gt;f1&lt;/s&gt;" in page
        assert page.count('role="img"') == 3
        self.harmless(page)

    def test_checks(self, effects):
        page = effects.checks()._repr_html_()
        assert "<b>Look:</b> Pot &lt;u&gt;5&lt;/u&gt; of firing &lt;s&gt;f1&lt;/s&gt;" in page
        assert "Asked firing by firing:" in page
        self.harmless(page.replace("<b>Look:</b>", ""))

    def test_recipes(self):
        table = pd.DataFrame(
            {NASTY: [1.0], "clay": ["<i>buff</i>"], "L*": [40.0], "a*": [-3.2], "b*": [5.0],
             "ΔE00": [1.234], "probability": [0.456]}
        )  # fmt: skip
        page = recipes_page("of <b>", table, (40, -3, 5))
        assert f"<th>{ESCAPED} [g]</th>" in page
        found = cells(page)[1:]
        assert found == ["1", "&lt;i&gt;buff&lt;/i&gt;", "40.0", "−3.2", "5.0", "1.2", "0.46"]
        self.harmless(page)

    def test_any_table(self):
        page = html_table(pd.DataFrame({"<a>": ["<b>"]}))
        assert "<th>&lt;a&gt;</th>" in page
        assert "<td>&lt;b&gt;</td>" in page

    @staticmethod
    def harmless(page):
        for tag in ("<b>", "<i>", "<s>", "<u>", "<em>", '"soda"'):
            assert tag not in page
        assert "nan" not in page.lower()


class TestSwatches:
    def test_a_colour_that_the_display_can_show(self):
        page = swatch(np.array([50.0, -10.0, 20.0]), "a <b>")
        assert "solid transparent" in page
        assert 'aria-label="a &lt;b&gt;: L* 50.0, a* −10.0, b* 20.0"' in page
        assert "<br>a &lt;b&gt;</span>" in page

    def test_one_that_it_cannot(self):
        page = swatch(np.array([50.0, 120.0, 0.0]), "middle")
        assert "dashed" in page
        assert "; beyond what the display can show" in page

    def test_white_and_black(self):
        assert "#ffffff" in swatch(np.array([100.0, 0, 0]), "high")
        assert "#000000" in swatch(np.array([0.0, 0, 0]), "low")

    def test_none_where_there_is_no_colour(self):
        assert swatches(None) == ""
        page = prediction_page(
            "head", pd.DataFrame({"what": ["mean"], "low": 1.0, "high": 2.0}), None, ("a & b",)
        )
        assert "img" not in page
        assert "<li>a &amp; b</li>" in page


class TestChecks:
    TABLE = pd.DataFrame({"check": ["a", "b"], "worry": [False, True], "said": ["calm", "wild"]})

    def test_worries_first(self):
        page = checks_page(self.TABLE, pd.DataFrame())
        assert page == "<ul><li><b>Look:</b> wild</li><li>calm</li></ul>"

    def test_firing_by_firing(self):
        line = {
            "term": "sugar", "estimate": -2.13, "standard error": 0.21, "low": -2.59, "high": -1.68,
            "df": 5.0, "p": 0.0002, "firings": 6, "p of varying": np.nan,
        }  # fmt: skip
        page = checks_page(self.TABLE, pd.DataFrame([line]))
        assert cells(page) == ["sugar", "−2.13", "0.21", "−2.59", "−1.68", "5", "&lt;\u00a00.001", "6", ""]


class TestReport:
    TABLE = pd.DataFrame({"term": ["a", "b"], "p": [0.02, 0.5], "method": "by hand", "note": ["", ""]})

    def test_what_is_the_same_in_all_rows_is_said_once(self):
        page = report("head", ["said"], self.TABLE, warned=["mind"])
        assert page.startswith("<p>head</p><ul><li>said</li></ul><p>mind</p><table>")
        assert "<p>Method: by hand.</p>" in page
        assert "<th>method</th>" not in page
        assert "<th>note</th>" not in page

    def test_what_differs_keeps_its_column(self):
        page = report("head", [], self.TABLE.assign(method=["by hand", "by eye"], note=["", "few"]))
        assert "<th>method</th>" in page
        assert "<th>note</th>" in page

    def test_an_empty_table_is_not_shown(self):
        assert "<table>" not in report("head", [], self.TABLE.iloc[:0])
