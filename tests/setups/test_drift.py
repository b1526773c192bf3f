import html

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sagglab.columns import PATCHES, conform
from sagglab.errors import SetupError
from sagglab.setups.drift import check_drift, drift_per_month
from sagglab.setups.limits import Limits
from sagglab.setups.target_series import SERIES, series_name, target_series

AXES = ("L*", "a*", "b*")
#: Four neutral patches and four coloured ones.
TARGET = {
    "white": (96, 0, 2), "light grey": (81, -1, 0), "grey": (51, 0, 0), "black": (21, 0, -1),
    "red": (42, 53, 28), "yellow": (82, 4, 79), "green": (55, -38, 31), "blue": (29, 15, -50),
}  # fmt: skip
FIRST_DAY = pd.Timestamp("2026-04-05 14:05")
CAMERA = {
    "camera": "one", "lens": "50 mm", "exposure time [s]": 1 / 60, "f-number": 5.6, "ISO speed": 100.0,
    "white balance": "fixed", "flash": "off",
}  # fmt: skip


def shot(day, in_file=(0, 0, 0), calibrated=(0, 0, 0), hour=0, setup="camera", pot="", photo="", **camera):
    """Rows of one photograph, whose patches are all as far off the target's table as stated."""
    taken = FIRST_DAY + pd.Timedelta(days=day, hours=hour)
    said = {"photo": photo or f"{setup}-{day}-{hour}.jpg", "pot": pot, "setup": setup, "taken": taken}
    return [
        {**said, **CAMERA, **camera, "patch": name, "row": 1, "column": place + 1, "doubt": ""}
        | {f"{axis} of target": lab[k] for k, axis in enumerate(AXES)}
        | {f"{axis} in file": lab[k] + in_file[k] for k, axis in enumerate(AXES)}
        | {axis: lab[k] + calibrated[k] for k, axis in enumerate(AXES)}
        for place, (name, lab) in enumerate(TARGET.items())
    ]


def table(*shots):
    return conform([row for rows in shots for row in rows], PATCHES)


def weekly(number=14, seed=4, changes=None):
    """Weekly shots that scatter; ``changes`` gives what else is so of the k-th, counted from 0."""
    noise = np.random.default_rng(seed).normal(size=(number, 2, 3)) * [0.3, 0.1, 0.2]
    shots = []
    for k in range(number):
        other = dict(changes(k)) if changes is not None else {}
        in_file = noise[k, 0] + other.pop("in_file", (0, 0, 0))
        calibrated = 0.3 * noise[k, 1] + other.pop("calibrated", (0, 0, 0))
        shots.append(shot(7 * k, in_file, calibrated, **other))
    return table(*shots)


def new_lamp(k):
    """From the 9th shot on, 2026-05-31, the file is yellower, and the white balance is set anew."""
    return {"in_file": (-0.2, 0, 2.5), "white balance": "automatic"} if k >= 8 else {}


def test_planted_step_is_found_on_its_day():
    drift = check_drift(weekly(changes=new_lamp), "camera")
    row = drift.found.set_index(["colours", "coordinate"]).loc[("in the file", "b*")]
    assert row["taken"] == pd.Timestamp("2026-05-31 14:05")
    assert row["change"] == pytest.approx(2.5, abs=0.3)
    assert row["change"] == pytest.approx(row["after"] - row["before"])
    assert row["lasts"] == "yes"
    assert "by itself" in row["chart"]
    assert not (drift.found["colours"] == "after calibration").any()
    assert bool(drift)


def test_planted_step_is_said_with_what_changed_then():
    drift = check_drift(weekly(changes=new_lamp), "camera")
    first, second, third = drift.sentences
    assert first.startswith("From 2026-05-31 on, camera reads neutral patches yellower by b* 2.")
    assert "in the file (ΔE00 2." in first
    assert first.endswith(", noticeable).")
    assert second == "Nothing is out of control after calibration."
    assert third == "At the same time its white balance changed from fixed to automatic."
    assert repr(drift) == first
    for text in (str(drift), html.unescape(drift._repr_html_())):
        assert all(each in text for each in drift.sentences)
        assert "significant" not in text
        assert "caused" not in text


def test_table_has_each_day_and_series():
    drift = check_drift(weekly(changes=new_lamp), "camera")
    assert len(drift.table) == 14 * len(SERIES)
    assert drift.table.columns.tolist() == [
        "photo", "taken", "colours", "coordinate", "value", "centre", "lower limit", "upper limit",
        "moving range", "moving range limit", "weighted", "weighted lower", "weighted upper", "out",
    ]  # fmt: skip
    rows = drift.table[(drift.table["colours"] == "in the file") & (drift.table["coordinate"] == "b*")]
    assert rows["centre"].iloc[0] == pytest.approx(rows["value"].iloc[:5].mean())
    beyond = (rows["value"] > rows["upper limit"]) | (rows["value"] < rows["lower limit"])
    assert beyond.tolist() == [False] * 8 + [True] * 6
    assert rows["out"].str.contains("by itself").tolist() == beyond.tolist()
    assert rows["out"].str.contains("jump").sum() == 1


def test_no_drift_says_how_steady_it_is():
    drift = check_drift(weekly(), "camera")
    assert not drift
    assert drift.found.empty
    (said,) = drift.sentences
    assert said.startswith(
        "From 2026-04-05 to 2026-07-05 camera shows no drift, in the file or after calibration"
    )
    assert "neutral patches stay within L* ± 0." in said
    assert drift._repr_html_()


def test_calibrated_drift_is_said_too():
    drift = check_drift(
        weekly(changes=lambda k: {"in_file": (0, 0, 3), "calibrated": (0, 0, 2)} if k >= 8 else {}), "camera"
    )
    said = drift.sentences
    assert said[1].startswith("From 2026-05-31 on, camera reads neutral patches yellower by b* 2.0")
    assert "further from the target's table after calibration" in said[1]
    assert said[2].startswith(
        "Nothing that the camera says of its photographs changed then: look at the lamp"
    )


def test_one_odd_day_is_no_drift_that_lasts():
    drift = check_drift(weekly(changes=lambda k: {"in_file": (0, 0, 5)} if k == 6 else {}), "camera")
    row = drift.found.iloc[0]
    assert (row["coordinate"], row["lasts"]) == ("b*", "no")
    assert row["change"] == pytest.approx(5, abs=0.5)
    assert drift.sentences[0].startswith("On 2026-05-17 only, camera reads neutral patches yellower by b* ")


def test_whether_it_lasts_is_not_known_on_the_last_day():
    drift = check_drift(weekly(changes=lambda k: {"in_file": (6, 0, 0)} if k == 13 else {}), "camera")
    assert set(drift.found["lasts"]) == {"unknown"}
    assert drift.sentences[0].startswith(
        "On 2026-07-05, the last day, camera reads neutral patches lighter by L* "
    )


def test_slow_drift_is_found_by_the_weighted_mean():
    drift = check_drift(weekly(20, changes=lambda k: {"in_file": (0, 0.03 * max(k - 4, 0), 0)}), "camera")
    row = drift.found.set_index("coordinate").loc["a*"]
    assert row["chart"] == "weighted"
    assert f"By {row['taken']:%Y-%m-%d} at the latest, camera reads neutral patches redder by a* 0." in str(
        drift
    )


def test_step_among_the_first_days_is_dated_where_it_is():
    drift = check_drift(weekly(changes=lambda k: {"in_file": (0, 0, 4)} if k >= 3 else {}), "camera")
    row = drift.found.set_index("coordinate").loc["b*"]
    assert row["taken"] == pd.Timestamp("2026-04-26 14:05")
    assert row["change"] == pytest.approx(4, abs=0.4)


def test_limits_decide_what_is_noticeable():
    patches = weekly(changes=new_lamp)
    assert ", noticeable)" in str(check_drift(patches, "camera", Limits(2, 3)))
    assert ", too little to be noticed)" in str(check_drift(patches, "camera", Limits(4, 5)))


def test_steps_smaller_than_an_eye_sees_are_said_to_be():
    drift = check_drift(weekly(changes=lambda k: {"calibrated": (0.6, 0, 0)} if k >= 8 else {}), "camera")
    assert drift.sentences[0].endswith("after calibration (ΔE00 0.5, too little to be noticed).")
    assert "Nothing is out of control in the file." in drift.sentences


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"flash": "fired"}, "At the same time its flash changed from off to fired."),
        ({"lens": "35 mm"}, "At the same time its lens changed from 50 mm to 35 mm."),
        ({"camera": "two"}, "At the same time its camera changed from one to two."),
        (
            {"ISO speed": 400.0},
            "At the same time its exposure (time × ISO speed / f-number²) was 2.0 stops more than ever "
            "before.",
        ),
        (
            {"exposure time [s]": 1 / 120, "white balance": "automatic"},
            "At the same time its white balance changed from fixed to automatic and its exposure "
            "(time × ISO speed / f-number²) was 1.0 stops less than ever before.",
        ),
    ],
)
def test_what_the_camera_says_is_told(other, said):
    drift = check_drift(weekly(changes=lambda k: {"in_file": (4, 0, 0), **other} if k >= 8 else {}), "camera")
    assert drift.sentences[-1] == said


def test_what_goes_to_and_fro_is_no_news():
    def changes(k):
        iso = {"ISO speed": 100.0 if k % 2 else 160.0, "white balance": "automatic" if k % 3 else "fixed"}
        return iso | ({"in_file": (4, 0, 0)} if k >= 8 else {})

    drift = check_drift(weekly(changes=changes), "camera")
    assert drift.sentences[-1].startswith("Nothing that the camera says of its photographs changed then")
    assert (drift.camera["day"] < pd.Timestamp("2026-04-20")).all()


def test_silent_camera_is_said_to_be():
    silent = {name: np.nan if isinstance(value, float) else "" for name, value in CAMERA.items()}
    drift = check_drift(
        weekly(changes=lambda k: silent | ({"in_file": (4, 0, 0)} if k >= 8 else {})), "camera"
    )
    assert drift.sentences[-1].startswith("The photographs do not say how they were exposed")


def test_photographs_of_one_day_count_as_one():
    shots = [shot(day, (hour - 1, 0, 0), hour=hour) for day in range(8) for hour in (0, 1, 2)]
    drift = check_drift(table(*shots), "camera")
    rows = drift.table[(drift.table["colours"] == "in the file") & (drift.table["coordinate"] == "L*")]
    assert len(rows) == 8
    assert rows["value"].to_numpy() == pytest.approx(np.full(8, 62.25))
    assert rows["photo"].iloc[0] == "camera-0-0.jpg, camera-0-1.jpg, camera-0-2.jpg"
    assert not drift


def test_too_few_days_are_refused_with_what_to_photograph():
    shots = [shot(day, hour=hour) for day in range(7) for hour in (0, 1)]
    undated = shot(30, photo="old.jpg")
    for row in undated:
        row["taken"] = pd.NaT
    with pytest.raises(SetupError) as error:
        check_drift(table(*shots, undated, shot(40, pot="p1")), "camera")
    assert str(error.value) == (
        "setup 'camera': the target alone is photographed on 7 dated days (old.jpg: left out, since it is "
        "not known when it was taken). Photograph the target by itself on at least 8 days, once a week or "
        "whenever pots are photographed; several photographs on one day count as one."
    )


def test_no_photograph_of_the_target_alone():
    with pytest.raises(SetupError, match="on 0 dated days"):
        check_drift(table(shot(0, pot="p1")), "camera")


def test_unknown_setup_is_refused_with_those_that_there_are():
    with pytest.raises(SetupError) as error:
        check_drift(weekly(8), "phone")
    assert str(error.value) == "drift: no photograph of setup 'phone' shows a target. Name one of: camera."


def test_target_without_grey_is_refused():
    patches = weekly(8)
    with pytest.raises(SetupError, match=r"no patch of its target is neutral \(chroma below 5\)"):
        check_drift(patches[patches["patch"].isin(["red", "blue"])], "camera")


def test_patch_that_cannot_be_read_once_moves_nothing():
    patches = weekly(10, changes=lambda k: {})
    colours = [*AXES, *(f"{axis} in file" for axis in AXES)]
    spoiled = patches.copy()
    spoiled.loc[(spoiled["photo"] == "camera-42-0.jpg") & (spoiled["patch"] == "white"), colours] = np.nan
    whole, lacking = (target_series(each, "camera").days for each in (patches, spoiled))
    columns = [series_name(*each) for each in SERIES if each[1] != "ΔE00"]
    # Its three other neutral patches tell the same; without the white one their plain mean is 11 L* lower.
    assert lacking[columns].to_numpy() == pytest.approx(whole[columns].to_numpy(), abs=0.05)
    assert whole["L* in the file"].iloc[0] == pytest.approx(
        patches.loc[patches["photo"] == "camera-0-0.jpg", "L* in file"].iloc[:4].mean()
    )


def test_photograph_with_most_greys_hidden_is_left_out_and_told():
    patches = weekly(10)
    hidden = (patches["photo"] == "camera-42-0.jpg") & patches["patch"].isin(["white", "grey", "black"])
    patches.loc[hidden, [*AXES, *(f"{axis} in file" for axis in AXES)]] = np.nan
    drift = check_drift(patches, "camera")
    assert "camera-42-0.jpg" not in set(drift.table["photo"])
    assert drift.notes[0].startswith("camera-42-0.jpg: left out, since most neutral patches")


def test_change_per_month_is_that_of_a_straight_line():
    patches = weekly(9, changes=lambda k: {"calibrated": (0, 0, 0.07 * k)})
    rows = check_drift(patches, "camera").per_month.set_index("coordinate")
    days = target_series(patches, "camera").days
    line = stats.linregress(np.arange(9) * 7 / (365.25 / 12), days["b* after calibration"])
    half = stats.t.ppf(0.975, 7) * line.stderr
    assert rows.loc["b*"].tolist() == pytest.approx([line.slope, line.slope - half, line.slope + half, 7])
    assert rows.loc["b*", "low"] < 0.07 * 365.25 / 12 / 7 < rows.loc["b*", "high"]
    assert rows.loc["L*", "low"] < 0 < rows.loc["L*", "high"]


def test_change_per_month_needs_three_days_only():
    rows = drift_per_month(weekly(3), "camera")
    assert rows["df"].tolist() == [1] * 4
    with pytest.raises(SetupError, match="on at least 3 days"):
        drift_per_month(weekly(2), "camera")
