"""A pot from its views: means by area, angles on the circle, and errors that do not vanish with views."""

import numpy as np
import pytest
from scipy.stats import circmean, norm

from sagglab.columns import MEASURES, RESULTS, conform
from sagglab.measures.pots import pot_row

AXES = ("L*", "a*", "b*")
REACH = norm.ppf(0.975)


def views(*rows):
    usual = {"usable share": 0.2, "a*": 10.0, "b*": 12.0, "L*": 40.0}
    usual |= {f"{axis} error of calibration": 0.5 for axis in AXES}
    usual |= {f"{axis} error of light": 0.4 for axis in AXES}
    usual |= {f"{axis} error of sampling": 1.0 for axis in AXES}
    usual |= {"colour 1 L*": 40.0, "colour 1 a*": 10.0, "colour 1 b*": 12.0, "colour 1 share": 1.0}
    return conform([usual | row for row in rows], MEASURES)


def test_what_was_measured_more_of_counts_more():
    row = pot_row(views({"L*": 30, "usable share": 0.1}, {"L*": 42, "usable share": 0.3}), [])
    assert row["L*"] == pytest.approx(39)
    assert row["usable share"] == pytest.approx(0.4)
    assert row["views"] == 2


def test_a_measure_that_one_view_lacks_is_the_others():
    row = pot_row(views({"L* range [mm]": 14}, {"L* range [mm]": np.nan}), [])
    assert row["L* range [mm]"] == 14
    assert np.isnan(pot_row(views({}, {}), [])["L* range [mm]"])


def test_hues_are_averaged_on_the_circle():
    angles = [350.0, 20.0]
    row = pot_row(views(*({"hue angle": angle, "hue angle SD": 30.0} for angle in angles)), [])
    assert row["hue angle"] == pytest.approx(circmean(angles, high=360))
    # A spread is no angle to be turned.
    assert row["hue angle SD"] == pytest.approx(30)


def test_one_view_has_the_error_of_its_sampling_and_none_between():
    row = pot_row(views({}), [])
    joined = np.sqrt(0.5**2 + 0.4**2 + 1.0**2)
    assert row["L* high"] - row["L* low"] == pytest.approx(2 * REACH * joined)
    assert np.isnan(row["L* between views"])


def test_more_views_sample_better_and_calibrate_no_better():
    one, four = pot_row(views({}), []), pot_row(views({}, {}, {}, {}), [])
    assert four["L* error of sampling"] == pytest.approx(one["L* error of sampling"] / 2)
    assert four["L* error of calibration"] == pytest.approx(one["L* error of calibration"])
    assert four["L* error of light"] == pytest.approx(one["L* error of light"])


def test_views_that_differ_more_than_sampling_could_widen_the_interval():
    alike = pot_row(views({"L*": 40 - 1 / np.sqrt(2)}, {"L*": 40 + 1 / np.sqrt(2)}), [])
    apart = pot_row(views({"L*": 34}, {"L*": 46}), [])
    assert alike["L* between views"] == pytest.approx(1)
    # What sampling alone explains is not counted twice.
    assert alike["L* high"] - alike["L*"] == pytest.approx(REACH * np.sqrt(0.41 + 0.5))
    spread = 12 / np.sqrt(2)
    assert apart["L* between views"] == pytest.approx(spread)
    assert apart["L* high"] - apart["L*"] == pytest.approx(REACH * np.sqrt(0.41 + 0.5 + (spread**2 - 1) / 2))


def test_intervals_hold_the_mean_of_the_pot():
    """Pots whose sides differ: with the errors as drawn, some 95 of 100 intervals hold the truth."""
    rng = np.random.default_rng(5)
    held, pots = 0, 300
    for _ in range(pots):
        shared = rng.normal(0, np.hypot(0.5, 0.4))
        seen = [{"L*": 40 + shared + error} for error in rng.normal(0, 1.0, 2)]
        row = pot_row(views(*seen), [])
        held += row["L* low"] <= 40 <= row["L* high"]
    assert 0.94 <= held / pots <= 0.99  # wider, since an excess is seen where by chance two views differ


def test_palettes_are_joined():
    other = {f"colour 1 {axis}": value for axis, value in zip(AXES, (70, 2, 10), strict=True)}
    row = pot_row(views({"usable share": 0.3}, {"usable share": 0.1} | other), [])
    assert [row["colour 1 L*"], row["colour 2 L*"]] == pytest.approx([40, 70])
    assert [row["colour 1 share"], row["colour 2 share"]] == pytest.approx([0.75, 0.25])
    assert np.isnan(row["colour 3 L*"])


def test_own_measures_are_averaged_too():
    table = views({}, {}).assign(spots=[2.0, 4.0])
    assert pot_row(table, ["spots"])["spots"] == pytest.approx(3)


def test_all_columns_of_the_results_are_there():
    row = pot_row(views({}, {}), [])
    own = {"setup", "corrected to", "problems"}
    heat = {
        column.heading
        for column in RESULTS
        if column.heading.endswith(("_C", "_h")) or "minutes" in column.name
    }
    assert {column.heading for column in RESULTS} - own - heat <= set(row)


def test_no_view_gives_a_pot_without_colour():
    assert pot_row(views().iloc[:0], []) == {"views": 0, "flags": ""}


def test_flags_read_back_from_a_file_are_no_fault():
    table = views({"flags": "edited"}, {}).astype({"flags": object})
    table.loc[1, "flags"] = np.nan
    assert pot_row(table, [])["flags"] == "edited"
