"""Two setups compared, on drawn measures whose difference is known: the answer and what it rests on."""

import numpy as np
import pandas as pd
import pytest

from sagglab import compare_setups
from sagglab.errors import SetupError
from sagglab.setups.comparison import Compared, compare_measures
from sagglab.setups.limits import Limits
from sagglab.setups.pairs import pair_pots

AXES = ["L*", "a*", "b*"]
IN_FILE = [f"{axis} in file" for axis in AXES]


def draw(shift=(0, 0, 0), sd=0.2, pots=8, repeats=1, seed=1, stretch=1.0):
    """Measures of one setup each; the second reads `shift` more, and lightness stretched around 40."""
    rng = np.random.default_rng(seed)
    true = rng.uniform([30, 6, 6], [50, 14, 15], (pots, 3))
    tables = []
    for setup, more, factor in (("old", np.zeros(3), 1.0), ("new", np.array(shift), stretch)):
        seen = true + more
        seen[:, 0] = 40 + more[0] + factor * (true[:, 0] - 40)
        rows = [
            {"photo": f"{setup}-p{k}-{r}.jpg", "pot": f"p{k}", "view": "front", "setup": setup}
            | {"taken": pd.Timestamp("2026-05-01 10:00"), "flags": "", "problems": ""}
            | dict(zip([*AXES, *IN_FILE], [*lab, *(lab + 5 * (setup == "new"))], strict=True))
            for k in range(pots)
            for r in range(repeats)
            for lab in [seen[k] + rng.normal(0, sd, 3)]
        ]
        tables.append(pd.DataFrame(rows))
    return tables


def target(setup, shots=3, shift=0.0, seed=2):
    """Patches of photographs of the target alone."""
    rng, true = (
        np.random.default_rng(seed),
        np.random.default_rng(9).uniform([20, -40, -40], [95, 40, 60], (24, 3)),
    )
    rows = []
    for shot in range(shots):
        for k, lab in enumerate(true):
            seen = lab + shift * np.array([1, 0, 0]) + rng.normal(0, 0.3, 3)
            row = {"photo": f"{setup}-t{shot}.jpg", "pot": "", "view": "target", "setup": setup}
            row |= {"taken": pd.Timestamp("2026-05-01") + pd.Timedelta(days=shot), "patch": f"patch {k}"}
            row |= {"row": k // 6 + 1, "column": k % 6 + 1, "doubt": ""}
            row |= dict(zip([*AXES, *IN_FILE], [*seen, *(seen + 2)], strict=True))
            rows.append(row | dict(zip([f"{axis} of target" for axis in AXES], lab, strict=True)))
    return pd.DataFrame(rows)


def test_setups_that_agree_may_be_compared_as_they_are():
    compared = compare_measures(*draw())
    assert compared.verdict == "as is"
    assert compared.sentences[0] == compared.answer == str(compared).splitlines()[0]
    assert "may be compared as they are (by 8 pots in both)" in compared.answer
    assert (
        "below what is just noticeable" in compared.answer
        or "no sure difference of colour" in compared.answer
    )


def test_a_shift_is_told_with_its_direction_and_size_and_corrected():
    compared = compare_measures(*draw(shift=(-2.5, 0, 1.5)))
    assert compared.verdict == "after correction"
    assert compared.answer.startswith("new reads darker by L* 2.")
    assert "yellower by b* 1." in compared.answer and "than old: ΔE00 " in compared.answer
    assert "beyond what is acceptable (1.8)" in compared.answer
    assert "after correction, which leaves ΔE00 0." in compared.answer
    assert "redder" not in compared.answer and "greener" not in compared.answer


def test_a_difference_that_no_correction_follows_is_refused():
    # Every pot is off its own way, by far more than may be accepted.
    compared = compare_measures(*draw(sd=3.0, seed=4))
    assert compared.verdict == "not"
    assert "they may not be compared" in compared.answer


def test_few_scattered_pots_leave_it_open_and_more_are_asked_for():
    compared = compare_measures(*draw(sd=0.8, pots=3, seed=11))
    assert compared.verdict == "not" and compared.judged.equivalence.size < 1.8
    assert "may not be compared yet: the difference may be as large as ΔE00" in compared.answer
    assert "more pots photographed in both would tell" in compared.answer


def test_a_shift_that_grows_with_lightness_is_not_hidden_by_its_mean():
    compared = compare_measures(*draw(stretch=0.75, sd=0.1, pots=10))
    assert compared.judged.equivalence.size < 1.8 < compared.judged.at_ends
    assert compared.verdict != "as is"


def test_the_limits_can_be_set():
    tables = draw(shift=(0.6, 0, 0), sd=0.05)
    assert compare_measures(*tables).verdict == "as is"
    strict = compare_measures(*tables, limits=Limits(0.1, 0.3))
    assert strict.verdict != "as is"
    assert "beyond what is acceptable (0.3)" in strict.answer
    with pytest.raises(SetupError, match="no larger than the acceptable"):
        Limits(2, 1)


def test_a_shift_at_the_limit_is_hardly_ever_called_acceptable():
    as_is = 0
    for seed in range(40):
        tables = draw(shift=(2.05, 0, 0), sd=0.5, seed=seed)
        as_is += Compared.of(pair_pots(*tables), Limits()).equivalence.p <= 0.05
    # The shift is ΔE00 1.8; of 40, 2 are expected, and 7 or more once in 250 times.
    assert as_is <= 6


def test_before_calibration_and_after_stand_side_by_side():
    compared = compare_measures(*draw())
    told = compared.table.set_index(["things", "colours", "coordinate"])["bias"]
    assert told["pots", "in the file", "ΔL*"] == pytest.approx(told["pots", "after calibration", "ΔL*"] + 5)
    assert any("In the files as they are, pots come out ΔE00" in sentence for sentence in compared.sentences)


def test_tables_without_the_file_s_own_colours_are_compared_after_calibration_alone():
    tables = [table.drop(columns=IN_FILE) for table in draw()]
    compared = compare_measures(*tables)
    assert [each.pairs.colours for each in compared.compared] == ["after calibration"]


def test_repeats_tell_how_well_each_setup_repeats_itself():
    compared = compare_measures(*draw(repeats=3, pots=10, sd=0.4))
    table = compared.repeatability
    known = table[(table["colours"] == "after calibration") & (table["coordinate"] == "L*")].set_index(
        "setup"
    )
    assert known["SD"].between(0.25, 0.6).all()
    assert any("Two photographs of one thing with new" in sentence for sentence in compared.sentences)
    alone = compare_measures(*draw())
    assert "How well new repeats itself is not known: photograph some pots twice with it." in alone.sentences


def test_two_pots_and_no_target_are_refused_with_what_to_photograph():
    with pytest.raises(SetupError) as refused:
        compare_measures(*draw(pots=2))
    assert "only 2 pots in both setups (p0, p1)" in str(refused.value)
    assert "photograph at least 3 pots" in refused.value.remedy


def test_other_views_of_a_pot_are_no_pair():
    first, second = draw(pots=4)
    with pytest.raises(SetupError, match="no pot by the same view"):
        compare_measures(first, second.assign(view="back"))


def test_the_target_answers_where_there_are_too_few_pots():
    first, second = draw(pots=2)
    compared = compare_measures(first, second, (target("old"), target("new", shots=2, shift=0.2, seed=3)))
    assert compared.judged.pairs.kind == "patches"
    assert "by 24 patches of the target, 3 and 2 photographs of it" in compared.answer
    assert "as far as a target can tell, they may be compared as they are" in compared.answer
    (note,) = compared.notes
    assert (
        note.startswith("2 pots in both setups (p0, p1), ΔE00 0.") and "the target is judged instead" in note
    )
    assert compared.correction is None


def test_a_target_that_agrees_does_not_outweigh_the_few_pots_that_do_not():
    first, second = draw(pots=2, shift=(-2.5, 0, 1.5))
    compared = compare_measures(first, second, (target("old"), target("new", shift=0.2, seed=3)))
    assert compared.judged.equivalence.p < 0.05 and compared.verdict == "not"
    assert "may not be compared by their target alone: p0, p1 come out ΔE00 2." in compared.answer
    assert "photograph three pots and more in both" in compared.answer


def test_pots_go_before_the_target_where_both_are_there():
    compared = compare_measures(*draw(), (target("old"), target("new", shift=3)))
    assert compared.judged.pairs.kind == "pots" and compared.verdict == "as is"
    assert any("photographs of it: new reads lighter by L* 3" in sentence for sentence in compared.sentences)


def test_a_table_of_several_setups_is_refused():
    first, second = draw()
    with pytest.raises(SetupError, match=r"several setups \(old, new\)"):
        compare_setups(pd.concat([first, second]), second)
    with pytest.raises(SetupError, match="compared with itself"):
        compare_setups(first, first)


def test_the_public_name_takes_tables_and_limits():
    first, second = draw(shift=(0.6, 0, 0), sd=0.05)
    assert compare_setups(first, second, noticeable=0.1, acceptable=0.3).verdict != "as is"


def test_turned_round_the_signs_turn():
    first, second = draw(shift=(-2.5, 0, 1.5))
    one, other = compare_measures(first, second), compare_measures(second, first)
    assert other.answer.startswith("old reads lighter by L* 2.")
    signs = [each.table.query("coordinate == 'ΔL*'")["bias"].iloc[0] for each in (one, other)]
    assert signs[0] == pytest.approx(-signs[1])


def test_the_page_of_a_notebook_holds_the_answer_and_escapes_names():
    first, second = draw(shift=(-2.5, 0, 1.5))
    page = compare_measures(first, second.assign(setup="<b>new</b>"))._repr_html_()
    assert "&lt;b&gt;new&lt;/b&gt; reads darker" in page and "<b>" not in page
