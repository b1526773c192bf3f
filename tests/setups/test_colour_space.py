"""Where in colour space two setups disagree."""

import pandas as pd
import pytest

from sagglab.setups.colour_space import HUES, kinds, where_sentence, where_they_differ
from sagglab.setups.pairs import pair_pots


def measures(setup, colours):
    return pd.DataFrame(
        [
            {"photo": f"{setup} {pot}", "pot": pot, "view": "front", "setup": setup, "taken": pd.NaT}
            | dict(zip(("L*", "a*", "b*"), lab, strict=True))
            for pot, lab in colours.items()
        ]
    )


COLOURS = {"coal": (20, 1, 1), "rust": (45, 20, 22), "straw": (80, 0, 25), "sea": (50, -10, -20)}


def test_pairs_are_sorted_by_lightness_and_by_hue():
    pairs = pair_pots(measures("a", COLOURS), measures("b", COLOURS))
    named = kinds(pairs).set_index(pairs.table["item"])
    assert named.loc["coal"].tolist() == ["dark", "grey"]
    assert named.loc["rust"].tolist() == ["middling", "orange and brown"]
    assert named.loc["straw"].tolist() == ["light", "yellow"]
    assert named.loc["sea"].tolist() == ["middling", "blue"]


@pytest.mark.parametrize("hue, name", [(350, "red and pink"), (5, "red and pink"), (20, "orange and brown")])
def test_the_circle_of_hues_closes(hue, name):
    from math import cos, radians, sin

    colours = {"pot": (50, 30 * cos(radians(hue + 0.01)), 30 * sin(radians(hue + 0.01)))}
    pairs = pair_pots(measures("a", colours), measures("b", colours))
    assert kinds(pairs)["hue"].tolist() == [name]
    assert [start for start, _ in HUES] == sorted(start for start, _ in HUES)


def test_the_kind_that_disagrees_is_named():
    off = COLOURS | {"coal": (26, 1, 1)}
    table = where_they_differ(pair_pots(measures("a", COLOURS), measures("b", off)))
    dark = table[table["kind"] == "dark"].iloc[0]
    assert dark["ΔL*"] == pytest.approx(6)
    assert dark["most"] == "coal front"
    assert table.groupby("by")["pairs"].sum().tolist() == [4, 4]
    assert "more in dark colours" in where_sentence(table)
    assert "more in grey colours" in where_sentence(table)


def test_where_all_agree_nothing_is_said_to_stand_out():
    table = where_they_differ(pair_pots(measures("a", COLOURS), measures("b", COLOURS)))
    assert where_sentence(table).startswith("No kind of colour stands out")
