import re

import numpy as np
import pandas as pd
import pytest

from sagglab.model.effects import fit_effects
from sagglab.model.pages import checks_page, effects_page, prediction_page, recipes_page

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
    return re.findall(r"<td[^>]*>(.*?)</td>", body)


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

    def test_what_is_not_known_is_left_blank(self):
        blank = dict.fromkeys(["estimate", "standard error", "low", "high", "df", "p", "p Holm"], np.nan)
        page = effects_page(effect(**blank), (), "", SCATTER)
        assert cells(page)[:3] == ["sugar", "L* per g", "pot"]
        assert "nan" not in page

    def test_scatter(self):
        assert ">2.35</td>" in effects_page(effect(), (), "", SCATTER)


class TestEscaping:
    @pytest.fixture
    def effects(self):
        return fit_effects(study(), factors=[NASTY, "clay"])

    def test_effects(self, effects):
        page = effects._repr_html_()
        assert f">{ESCAPED}</td>" in page
        assert f"Between pots with {ESCAPED} and pots without" in page
        self.harmless(page)

    def test_prediction(self, effects):
        page = effects.predict({NASTY: 1.0, "clay": "<i>buff</i>"}, "<s>f1</s>")._repr_html_()
        assert "a new pot in firing &lt;s&gt;f1&lt;/s&gt;" in page
        assert page.count('role="img"') == 3
        self.harmless(page)

    def test_checks(self, effects):
        page = effects.checks()._repr_html_()
        assert "<b>⚠ Look:</b> Pot &lt;u&gt;5&lt;/u&gt; of firing &lt;s&gt;f1&lt;/s&gt;" in page
        assert "<summary>Each effect asked firing by firing</summary>" in page
        self.harmless(page.replace("<b>⚠ Look:</b>", ""))

    def test_recipes(self):
        table = pd.DataFrame(
            {NASTY: [1.0], "clay": ["<i>buff</i>"], "L*": [40.0], "a*": [-3.2], "b*": [5.0],
             "ΔE00": [1.234], "probability": [0.456]}
        )  # fmt: skip
        page = recipes_page("of <b>", table, (40, -3, 5))
        assert f">{ESCAPED} [g]</th>" in page
        found = cells(page)[1:]
        assert found == ["1", "&lt;i&gt;buff&lt;/i&gt;", "40.0", "−3.2", "5.0", "1.2", "0.46"]
        self.harmless(page)

    @staticmethod
    def harmless(page):
        for tag in ("<b>", "<i>", "<s>", "<u>", "<em>", '"soda"'):
            assert tag not in page
        assert "nan" not in page.lower()


def test_a_prediction_of_one_coordinate_has_no_swatches():
    page = prediction_page(
        "head", pd.DataFrame({"what": ["mean"], "low": 1.0, "high": 2.0}), None, ("a & b",)
    )
    assert "img" not in page
    assert "<li>a &amp; b</li>" in page


class TestChecks:
    TABLE = pd.DataFrame({"check": ["a", "b"], "worry": [False, True], "said": ["calm", "wild"]})

    def test_worries_first(self):
        page = checks_page(self.TABLE, pd.DataFrame())
        assert "<ul><li><b>⚠ Look:</b> wild</li><li>calm</li></ul>" in page
        assert "<table>" not in page

    def test_firing_by_firing(self):
        line = {
            "term": "sugar", "estimate": -2.13, "standard error": 0.21, "low": -2.59, "high": -1.68,
            "df": 5.0, "p": 0.0002, "firings": 6, "p of varying": np.nan,
        }  # fmt: skip
        page = checks_page(self.TABLE, pd.DataFrame([line]))
        assert cells(page) == ["sugar", "−2.13", "0.21", "−2.59", "−1.68", "5", "&lt;\u00a00.001", "6", ""]
