"""How it was measured: what was counted is what the answer is from, and no figure is told that is none."""

import numpy as np
import pandas as pd

from sagglab.handout.how_measured import how_measured

MEASURES = pd.DataFrame(
    {
        "pot": ["p1", "p1", "p2", "", "p1"],
        "after": ["", "", "", "", "wax"],
        "L*": [40.0, 41, 50, np.nan, 37],
        "left-out mean ΔE00": [1.0, 1.2, 1.4, 0.9, 9.0],
    }
)


def heat(low, high):
    return pd.DataFrame(
        {"firing": ["f1", "f2"], "peak_C": [750.0, 740.0], "peak_C low": low, "peak_C high": high}
    )


def test_photographs_after_wax_are_not_what_the_answer_is_from():
    colour, _, _ = how_measured(MEASURES, heat([740, 735], [760, 745]), None)
    assert colour.startswith("Colour: 3 photographs of 2 pots") and "ΔE00 1.2" in colour


def test_the_widest_bounds_of_a_peak_are_told_in_both_scales():
    _, told, _ = how_measured(MEASURES, heat([740.0, 735.0], [760.0, 745.0]), None)
    assert told == (
        "Heat: 2 pyrometer records; the least sure peak, that of f1, lies between 740 and 760 °C (1364 and "
        "1400 °F), by its sensor and the gaps in its record."
    )


def test_a_peak_without_a_most_is_no_figure():
    _, told, _ = how_measured(MEASURES, heat([740.0, 735.0], [760.0, np.inf]), None)
    assert told == "Heat: 2 pyrometer records; of 1 it is not known how much hotter the peak was."
