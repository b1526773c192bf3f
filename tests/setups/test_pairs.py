import numpy as np
import pandas as pd
import pytest

from sagglab.colour import AXES, delta_e_2000
from sagglab.setups.pairs import differences, pair_patches, pair_pots


def measures(setup, rows):
    """Measures of one setup from (pot, view, taken, L*, a*, b*)."""
    table = pd.DataFrame(rows, columns=["pot", "view", "taken", *AXES])
    table["taken"] = pd.to_datetime(table["taken"])
    in_file = {f"{axis} in file": table[axis] + 10 for axis in AXES}
    return table.assign(setup=setup, photo=[f"{setup}-{n}.jpg" for n in range(len(table))], **in_file)


def shots(setup, rows):
    """Patches of one setup from (photo, pot, patch, L*, a*, b*)."""
    table = pd.DataFrame(rows, columns=["photo", "pot", "patch", *AXES])
    in_file = {f"{axis} in file": table[axis] + 10 for axis in AXES}
    return table.assign(setup=setup, taken=pd.NaT, **in_file)


def test_differences_keep_the_length():
    rng = np.random.default_rng(0)
    first, second = rng.uniform([20, -40, -40], [80, 40, 40], (2, 50, 3))
    table = differences(first, second)
    length = np.sum((second - first) ** 2, axis=1)
    assert np.sum(table[["ΔL*", "ΔC*", "ΔH*"]].to_numpy() ** 2, axis=1) == pytest.approx(length)
    assert table["ΔE00"].to_numpy() == pytest.approx(delta_e_2000(first, second))


def test_hue_goes_the_short_way_round():
    angle = np.radians([350, 10])
    a, b = (20 * turn(angle) for turn in (np.cos, np.sin))
    on, back = differences([[50, a[0], b[0]], [50, a[1], b[1]]], [[50, a[1], b[1]], [50, a[0], b[0]]])["ΔH*"]
    assert on == pytest.approx(40 * np.sin(np.radians(10)))
    assert back == pytest.approx(-on)


def test_pots_are_paired_by_pot_and_view():
    first = measures(
        "phone", [("p1", "front", "2026-05-01", 40, 5, 6), ("p1", "back", "2026-05-01", 42, 5, 6)]
    )
    second = measures(
        "camera", [("p1", "back", "2026-05-01", 43, 6, 6), ("p2", "front", "2026-05-01", 50, 1, 1)]
    )
    pairs = pair_pots(first, second)
    assert (pairs.first, pairs.second, pairs.items) == ("phone", "camera", ["p1"])
    assert pairs.table[["view", "ΔL*", "Δa*", "Δb*"]].to_numpy().tolist() == [["back", 1, 1, 0]]
    assert pairs.readings["item"].tolist() == ["p1", "p1", "p1", "p2"]


def test_repeats_of_one_day_are_averaged_and_counted():
    first = measures(
        "phone",
        [
            ("p1", "front", "2026-05-01 10:00", 40, 5, 6),
            ("p1", "front", "2026-05-01 15:00", 42, 7, 6),
        ],
    )
    second = measures("camera", [("p1", "front", "2026-05-02", 45, 6, 6)])
    row = pair_pots(first, second).table.iloc[0]
    assert row[["L* first", "photographs first", "photographs second", "ΔL*"]].tolist() == [41, 2, 1, 4]


@pytest.mark.parametrize(("day", "lightness"), [("2026-05-02", 40), ("2026-06-09", 30)])
def test_of_several_days_the_nearest_are_paired(day, lightness):
    first = measures(
        "phone", [("p1", "front", "2026-05-01", 40, 5, 6), ("p1", "front", "2026-06-10", 30, 5, 6)]
    )
    pairs = pair_pots(first, measures("camera", [("p1", "front", day, 45, 6, 6)]))
    assert pairs.table["L* first"].tolist() == [lightness]


def test_photographs_without_a_date_are_paired():
    first = measures("phone", [("p1", "front", None, 40, 5, 6), ("p1", "front", None, 42, 5, 6)])
    pairs = pair_pots(first, measures("camera", [("p1", "front", "2026-05-01", 45, 6, 6)]))
    assert pairs.table[["L* first", "photographs first"]].to_numpy().tolist() == [[41, 2]]


def test_targets_alone_and_failed_photographs_are_no_pots():
    rows = [("", "", "2026-05-01", 40, 5, 6), ("p1", "front", "2026-05-01", np.nan, np.nan, np.nan)]
    pairs = pair_pots(measures("phone", rows), measures("camera", rows))
    assert pairs.items == [] and pairs.table.empty and pairs.readings.empty
    assert list(differences([[1, 2, 3]], [[1, 2, 3]])) == list(pairs.table)[-6:]


def test_patches_are_paired_over_all_days_without_pots():
    first = shots(
        "phone", [("a", "", "red", 40, 50, 20), ("b", "", "red", 42, 50, 20), ("c", "p1", "red", 90, 0, 0)]
    )
    second = shots("camera", [("d", "", "red", 40, 52, 20), ("d", "", "blue", 30, 0, -40)])
    pairs = pair_patches(first, second)
    assert pairs.items == ["red"]
    row = pairs.table.iloc[0]
    assert row[["view", "photographs first", "photographs second", "ΔL*", "Δa*"]].tolist() == [
        "",
        2,
        1,
        -1,
        2,
    ]


@pytest.mark.parametrize(("calibrated", "lightness"), [(True, 40), (False, 50)])
def test_colours_are_those_asked_for(calibrated, lightness):
    first = measures("phone", [("p1", "front", "2026-05-01", 40, 5, 6)])
    pairs = pair_pots(first, measures("camera", [("p1", "front", "2026-05-01", 45, 6, 6)]), calibrated)
    assert pairs.lab("first")[0, 0] == lightness
    patches = [shots(name, [(name, "", "red", 40, 50, 20)]) for name in ("phone", "camera")]
    assert pair_patches(*patches, calibrated).lab("second")[0, 0] == lightness


def test_a_waxed_pot_is_paired_with_itself_as_waxed_alone():
    came_out = ("p1", "front", "2026-05-01", 40, 5, 6)
    waxed = ("p1", "front", "2026-05-01", 36, 5, 6)
    first = measures("phone", [came_out, waxed]).assign(after=["", "wax"])
    second = measures("camera", [waxed]).assign(after="wax")
    pairs = pair_pots(first, second)
    assert pairs.table["view"].tolist() == ["front after wax"]
    assert pairs.table["ΔE00"].tolist() == [0]
    assert pair_pots(first, measures("camera", [came_out])).table["ΔL*"].tolist() == [0]
    assert pair_pots(first[:1], second).table.empty
