"""The correction from one setup to another: chosen, judged, applied, kept in a file."""

import datetime
import html
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sagglab.colour import AXES, WHITE_D50, delta_e_2000, lab_to_lch, lab_to_xyz, xyz_to_lab
from sagglab.columns import MEASURES, conform
from sagglab.errors import FileFormatError, MissingFileError, SetupError
from sagglab.photo.flags import FLAGS
from sagglab.setups.corrected_measures import BEYOND, KEPT, TRIPLES
from sagglab.setups.correction import Correction, fit_correction, read_correction
from sagglab.setups.correction_choice import choose
from sagglab.setups.correction_kinds import KINDS, Points, Square, corrected, unchanged
from sagglab.setups.limits import Limits
from sagglab.setups.pairs import pair_patches, pair_pots

MATRIX = np.array([[0.94, 0.08, -0.03], [-0.05, 1.08, 0.03], [0.03, -0.10, 1.16]])


def by_matrix(lab):
    return xyz_to_lab(lab_to_xyz(lab) / WHITE_D50 @ MATRIX.T * WHITE_D50)


def by_offset(lab):
    return lab + [1.2, -0.8, 1.5]


def by_veil(lab):
    return xyz_to_lab(lab_to_xyz(lab) + 0.011 * WHITE_D50)


def drawn(count, seed=0):
    """Colours such as pots have."""
    rng = np.random.default_rng([count, seed])
    chroma, hue = rng.uniform(3, 25, count), np.radians(rng.normal(50, 25, count))
    return np.column_stack([rng.uniform(25, 62, count), chroma * np.cos(hue), chroma * np.sin(hue)])


def measured(setup, labs, views=("front",), seed=0, noise=0.0):
    """Measures of pots that have these colours, all views alike."""
    noisy = np.random.default_rng(seed)
    rows = [
        {
            "photo": f"{setup}-p{pot:02}-{view}.jpg",
            "pot": f"p{pot:02}",
            "view": view,
            "setup": setup,
            "taken": pd.Timestamp("2026-05-01"),
        }
        | dict(zip(AXES, lab + noisy.normal(0, noise, 3), strict=True))
        for pot, lab in enumerate(labs)
        for view in views
    ]
    return conform(rows, MEASURES)


def paired(change, count, noise=0.0, views=("front",), seed=0):
    true = drawn(count, seed)
    return pair_pots(
        measured("phone", true, views, 2 * seed + 1, noise),
        measured("camera", change(true), views, 2 * seed + 2, noise),
    )


def fitted(change=by_offset, count=8, noise=0.3, seed=0):
    return fit_correction(paired(change, count, noise, seed=seed))


@pytest.fixture(scope="module")
def offset():
    return fitted(noise=0.0)


# Kinds


@pytest.mark.parametrize("kind", KINDS)
def test_coefficients_of_no_change_change_nothing(kind):
    lab = drawn(20)
    assert corrected(kind, unchanged(kind), lab) == pytest.approx(lab, abs=1e-9)


@pytest.mark.parametrize("kind", ["linear", "root-polynomial"])
def test_more_light_on_both_changes_no_map_of_xyz(kind):
    coefficients = unchanged(kind) + np.random.default_rng(1).normal(0, 0.1, (len(KINDS[kind]), 3))
    lab = drawn(20)
    light = xyz_to_lab(0.5 * lab_to_xyz(lab))
    expected = xyz_to_lab(0.5 * lab_to_xyz(corrected(kind, coefficients, lab)))
    assert corrected(kind, coefficients, light) == pytest.approx(expected, abs=1e-9)


def test_a_matrix_is_recovered_the_better_the_more_pots_tell_of_it():
    worst = []
    for count in (100, 300):
        true = drawn(count)
        found = Square.of("linear", Points(by_matrix(true), true, np.arange(count))).without([()])[0]
        worst.append(delta_e_2000(corrected("linear", found, by_matrix(true)), true).max())
    # Unshrunk it is exact; what shrinkage takes fades with their number. As they are, pots differ by 5.
    assert worst[1] < 0.65 * worst[0] < 0.5


@pytest.mark.parametrize("kind", KINDS)
def test_pots_left_out_at_once_are_those_of_fits_made_without_them(kind):
    true = np.concatenate([drawn(9), drawn(24, seed=5)])
    of = by_matrix(true)
    pot = np.array([0, 0, 1, 2, 3, 4, 5, 6, 6])
    labs = Square.of(kind, Points(of, true, pot)).left_out([3])
    for out in range(7):
        rows = np.flatnonzero(~np.isin(pot, [out, 3]))
        names = np.unique(pot[rows], return_inverse=True)[1]
        everything = np.concatenate([rows, np.arange(9, len(true))])
        alone = Square.of(kind, Points(of[everything], true[everything], names)).without([()])[0]
        shown = np.flatnonzero(pot == out)
        assert labs[shown] == pytest.approx(corrected(kind, alone, of[shown]), abs=1e-8)


# Choice


def test_an_offset_is_found_and_takes_all_of_the_difference(offset):
    assert offset.kind == "offset"
    assert offset.coefficients == pytest.approx(-np.array([[1.2, -0.8, 1.5]]), abs=1e-9)
    assert offset.left_out == pytest.approx(0, abs=1e-9)
    assert offset.errors == pytest.approx(0, abs=1e-9)
    pairs = paired(by_offset, 8)
    assert offset.as_is == pytest.approx(pairs.table["ΔE00"].mean())
    assert (offset.of, offset.to, offset.photographs, offset.patches) == ("camera", "phone", (8, 8), 0)
    assert offset.sentence == (
        f"Corrected by an offset, camera's pots come out ΔE00 0.0 from phone's when they are left out "
        f"({offset.as_is:.1f} as they are)."
    )
    assert offset.range == pytest.approx(
        np.stack([pairs.lab("second").min(axis=0), pairs.lab("second").max(axis=0)])
    )


def test_a_veil_of_gloss_is_found_and_taken_away():
    exact = fitted(by_veil, 8, 0)
    assert exact.kind == "veil"
    # An offset leaves much of it: a veil lifts dark pots more than light ones.
    assert exact.left_out < 0.05 < exact.candidates.set_index("kind").loc["offset", "left-out mean ΔE00"] / 10
    assert exact.coefficients == pytest.approx(-0.011, abs=1e-3)
    noisy = [fitted(by_veil, 8, 0.2, seed).kind for seed in range(10)]
    assert noisy.count("veil") >= 8
    assert fitted(by_offset, 8, 0.2).kind == "offset"


def test_a_matrix_is_chosen_where_enough_pots_tell_of_it():
    correction = fitted(by_matrix, 14, 0.2)
    assert correction.kind == "linear"
    assert correction.left_out < 0.7 * correction.as_is


def test_setups_that_agree_are_mostly_left_as_they_are():
    kinds = [fitted(lambda lab: lab, 8, 0.3, seed).kind for seed in range(20)]
    assert kinds.count("none") >= 14
    alike = next(fitted(lambda lab: lab, 8, 0.3, seed) for seed, kind in enumerate(kinds) if kind == "none")
    assert alike.sentence.startswith("No correction that was tried brings camera's pots surely nearer")
    assert alike.lab([[40, 10, 12]]).tolist() == [[40, 10, 12]]


def test_the_figure_told_is_that_of_fresh_pots():
    told, found = [], []
    fresh = drawn(200, seed=99)
    noise = np.random.default_rng(3).normal(0, 0.3, (2, *fresh.shape))
    for seed in range(16):
        correction = fitted(by_offset, 6, 0.3, seed)
        told.append(correction.left_out)
        again = correction.lab(by_offset(fresh) + noise[0])
        found.append(delta_e_2000(again, fresh + noise[1]).mean())
    apart = np.subtract(told, found)
    assert abs(apart.mean()) < 2.5 * apart.std(ddof=1) / np.sqrt(len(apart)) + 0.03


def test_a_pot_has_no_part_in_the_choice_by_which_it_is_judged():
    pairs = paired(by_offset, 6, 0.3)
    of, to = pairs.lab("second"), pairs.lab("first")
    whole = choose(Points(of, to, np.arange(6)))
    # Whatever the last pot was read as, its own corrected colour comes from the five others.
    moved = to.copy()
    moved[5] += [8, 3, -5]
    assert choose(Points(of, moved, np.arange(6))).left_out[5] == pytest.approx(whole.left_out[5])
    assert choose(Points(of, moved, np.arange(6))).left_out[0] != pytest.approx(whole.left_out[0])


def test_all_views_of_a_pot_are_left_out_with_it():
    pairs = paired(by_offset, 5, 0.3, views=("front", "back"))
    correction = fit_correction(pairs)
    by_hand = []
    for pot in pairs.items:
        others = pairs.table[pairs.table["item"] != pot]
        chosen = choose(
            Points(
                others[[f"{axis} second" for axis in AXES]].to_numpy(),
                others[[f"{axis} first" for axis in AXES]].to_numpy(),
                np.repeat(np.arange(4), 2),
            )
        )
        mine = pairs.table[pairs.table["item"] == pot]
        lab = corrected(
            chosen.kind, chosen.coefficients, mine[[f"{axis} second" for axis in AXES]].to_numpy()
        )
        by_hand.append(delta_e_2000(lab, mine[[f"{axis} first" for axis in AXES]].to_numpy()).mean())
    assert chosen.kind == correction.kind == "offset"
    assert correction.left_out == pytest.approx(np.mean(by_hand))
    assert len(correction.pots) == 5


def test_a_kind_with_more_numbers_than_pots_can_bear_is_not_tried():
    tried = fit_correction(paired(by_offset, 3, 0.1)).candidates.set_index("kind")
    assert tried["numbers"].to_dict() == {
        "none": 0,
        "offset": 3,
        "veil": 3,
        "linear": 9,
        "root-polynomial": 18,
    }
    assert tried["left-out mean ΔE00"].isna().to_dict() == {
        "none": False, "offset": False, "veil": False, "linear": True, "root-polynomial": True
    }  # fmt: skip
    assert tried.loc["linear", "why not"] == (
        "not tried: it has 9 numbers, and with two pots left out 1 colour gives only 3"
    )
    more = fit_correction(paired(by_offset, 8, 0.1)).candidates
    assert more["left-out mean ΔE00"].notna().all()
    assert (more["why not"] == "").sum() == more["chosen"].sum() == 1


def patches_of(setup, labs):
    rows = [
        {"photo": f"{setup}.jpg", "setup": setup, "pot": "", "patch": f"A{patch}", "taken": pd.NaT}
        | dict(zip(AXES, lab, strict=True))
        for patch, lab in enumerate(labs)
    ]
    return pd.DataFrame(rows)


def patch_pairs(change):
    rng = np.random.default_rng(4)
    true = np.column_stack([rng.uniform(20, 95, 24), rng.uniform(-40, 50, 24), rng.uniform(-45, 70, 24)])
    return pair_patches(patches_of("phone", true), patches_of("camera", change(true)))


def test_patches_help_to_tell_a_matrix_by_few_pots():
    fresh = drawn(100, seed=8)
    pots, patches = paired(by_matrix, 4, 0.2, seed=1), patch_pairs(by_matrix)
    errors = [
        delta_e_2000(fit_correction(pots, given_patches).lab(by_matrix(fresh)), fresh).mean()
        for given_patches in (None, patches)
    ]
    assert errors[1] < 0.3 < errors[0]
    helped = fit_correction(pots, patches)
    assert (helped.kind, helped.patches, len(helped.pots)) == ("linear", 24, 4)


def test_patches_that_do_not_differ_as_pots_do_are_not_believed():
    pots = paired(by_offset, 6, 0.2)
    correction = fit_correction(pots, patch_pairs(lambda lab: lab))
    assert correction.kind == "offset"
    assert (correction.coefficients == fit_correction(pots).coefficients).all()


def test_too_few_pots_and_colours_in_the_file_are_refused():
    with pytest.raises(SetupError, match=r"2 pots are too few .*Photograph at least 3 pots"):
        fit_correction(paired(by_offset, 2))
    with pytest.raises(SetupError, match="the colours are those in the file"):
        fit_correction(replace(paired(by_offset, 5), calibrated=False))


# Applied


@pytest.fixture
def measures():
    """Measures of both setups, every number filled in."""
    true = drawn(8)
    both = [measured("phone", true), measured("camera", by_offset(true))]
    table = pd.concat([*both, measured("camera", [[np.nan] * 3]).assign(pot="")], ignore_index=True)
    rng = np.random.default_rng(6)
    numbers = [column.heading for column in MEASURES if column.kind == "number" and column.name not in AXES]
    filled = pd.DataFrame(rng.uniform(10, 60, (len(table), len(numbers))), columns=numbers)
    table = pd.concat([table.drop(columns=numbers), filled], axis=1)[list(table)]
    ends = {f"{axis} {end}": table[axis] + sign for axis in AXES for end, sign in (("low", -1), ("high", 1))}
    return table.assign(**ends, flags="", **{"rust share": 0.2})


def test_every_colour_of_the_setup_is_corrected_and_nothing_else(offset, measures):
    before = measures.copy()
    table = offset.apply(measures)
    pd.testing.assert_frame_equal(measures, before)
    shown = ((measures["setup"] == "camera") & measures["L*"].notna()).to_numpy()
    assert (table["corrected to"] == np.where(shown, "phone", "")).all()
    pd.testing.assert_frame_equal(table[~shown], measures[~shown])
    for triple in TRIPLES:
        names = list(triple)
        assert table.loc[shown, names].to_numpy() == pytest.approx(
            measures.loc[shown, names].to_numpy() - [1.2, -0.8, 1.5]
        )
    assert table.loc[shown, list(KEPT)].equals(measures.loc[shown, list(KEPT)])
    assert (table.dtypes == measures.dtypes).all()


def test_what_no_triple_tells_is_blank(offset, measures):
    table = offset.apply(measures)
    shown = table["corrected to"] != ""
    blank = {name for name in table if table.loc[shown, name].isna().all()}
    assert {"L* SD", "a* 5 %", "C*ab 95 %", "hue angle SD", "dark share", "L* range [mm]"} <= blank
    assert {"red-orange share", "pale share", "grey share", "b* sill", "rust share"} <= blank
    told = {name for triple in TRIPLES for name in triple} | KEPT
    told |= {f"{axis} {end}" for axis in AXES for end in ("low", "high", "error of calibration")}
    told |= {f"{name}{what}" for name in ("C*ab", "hue angle") for what in ("", " median")}
    numbers = set(table.columns[[pd.api.types.is_numeric_dtype(each) for each in table.dtypes]])
    assert numbers - told == blank - told == blank


def test_chroma_and_hue_move_as_those_of_the_mean_colour(offset, measures):
    table = offset.apply(measures)
    row = (table["corrected to"] != "").to_numpy().nonzero()[0][0]
    before, after = (
        lab_to_lch(each.loc[row, list(AXES)].to_numpy(dtype=float)) for each in (measures, table)
    )
    assert table.loc[row, "C*ab"] - measures.loc[row, "C*ab"] == pytest.approx(after[1] - before[1])
    turned = (table.loc[row, "hue angle"] - measures.loc[row, "hue angle"] - after[2] + before[2]) % 360
    assert min(turned, 360 - turned) == pytest.approx(0, abs=1e-9)
    grey = measures.assign(**{"a*": 1.0, "b*": 1.0})
    assert offset.apply(grey).loc[row, "hue angle":"hue angle"].isna().all()


def test_the_interval_moves_with_the_mean_and_counts_the_correction_s_error(offset, measures):
    unsure = replace(offset, errors=np.array([0.5, 0.0, 0.0]))
    table = unsure.apply(measures)
    row = (table["corrected to"] != "").to_numpy().nonzero()[0][0]
    # ± 1 as it was; 1.96 × 0.5 joins it.
    assert table.loc[row, "L*"] - table.loc[row, "L* low"] == pytest.approx(np.hypot(1, 1.96 * 0.5), abs=1e-4)
    assert table.loc[row, "a* high"] - table.loc[row, "a*"] == pytest.approx(1)
    error = "L* error of calibration"
    assert table.loc[row, error] == pytest.approx(np.hypot(measures.loc[row, error], 0.5))


def test_no_correction_leaves_all_numbers_but_the_doubt(measures):
    none = replace(fitted(lambda lab: lab, 8, 0.3, 1), kind="none", coefficients=np.zeros((0, 3)))
    table = none.apply(measures)
    shown = table["corrected to"] == "phone"
    assert shown.sum() == 8
    same = ["L*", "C*ab", "L* SD", "dark share", "rust share", "a* 25 %", "colour 3 b*"]
    pd.testing.assert_frame_equal(table[same], measures[same])
    assert (table.loc[shown, "L* high"] > measures.loc[shown, "L* high"]).all()


def test_colours_unlike_those_it_was_made_from_are_flagged(offset, measures):
    assert BEYOND in FLAGS
    assert (offset.apply(measures)["flags"] == "").all()
    row = int(np.flatnonzero(measures["setup"] == "camera")[0])
    light = measures.copy()
    light.loc[row, "L*"] = offset.range[1, 0] + 6
    light.loc[row, "flags"] = "edited"
    flags = offset.apply(light)["flags"]
    assert flags[row] == f"edited; {BEYOND}" and (flags.drop(row) == "").all()
    light.loc[row, "L*"] = offset.range[1, 0] + 0.3
    assert offset.apply(light).loc[row, "flags"] == "edited"
    strict = fit_correction(paired(by_offset, 8), limits=Limits(0.01, 0.02))
    assert strict.apply(light).loc[row, "flags"] == f"edited; {BEYOND}"


def test_colours_are_corrected_once(offset, measures):
    with pytest.raises(SetupError, match="the colours of 'camera' were brought to 'phone' before"):
        offset.apply(offset.apply(measures))


def test_what_cannot_be_corrected_is_refused(offset, measures):
    with pytest.raises(SetupError, match="no photograph of 'camera' shows a colour; the setups are phone"):
        offset.apply(measures[measures["setup"] == "phone"])
    with pytest.raises(SetupError, match=re.escape("the table has no column L*")):
        offset.apply(measures[["photo", "setup"]])


def test_measures_read_back_from_a_file_are_corrected_alike(offset, measures, tmp_path):
    for table in (measures, measures.drop(columns="corrected to")):
        table.to_csv(tmp_path / "measures.csv", index=False)
        read = pd.read_csv(tmp_path / "measures.csv")
        again, direct = offset.apply(read), offset.apply(measures)
        assert list(again) == list(direct)
        assert (again["corrected to"] == direct["corrected to"]).all()
        assert again[list(AXES)].to_numpy() == pytest.approx(direct[list(AXES)].to_numpy(), nan_ok=True)
        again.to_csv(tmp_path / "corrected.csv", index=False)
        with pytest.raises(SetupError, match="before"):
            offset.apply(pd.read_csv(tmp_path / "corrected.csv"))


def test_a_third_setup_may_be_corrected_as_well(offset, measures):
    tablet = measures[measures["setup"] == "camera"].assign(setup="tablet")
    table = offset.apply(pd.concat([measures, tablet], ignore_index=True))
    both = replace(offset, of="tablet").apply(table)
    assert both.groupby("setup")["corrected to"].agg(set).to_dict() == {
        "phone": {""}, "camera": {"phone", ""}, "tablet": {"phone", ""}
    }  # fmt: skip


# Kept in a file


@pytest.mark.parametrize("change", [by_offset, by_matrix, lambda lab: lab], ids=["offset", "matrix", "none"])
def test_a_correction_comes_back_as_it_was_saved(change, tmp_path):
    correction = fitted(change, 14, 0.2)
    path = correction.save(tmp_path)
    assert path == tmp_path / "correction of camera to phone.toml"
    again = read_correction(path)
    assert again == correction and again.candidates is None
    assert again.lab(drawn(5)).tolist() == correction.lab(drawn(5)).tolist()
    assert isinstance(again.made, datetime.date) and again != replace(again, left_out=9.0)
    assert correction.save(tmp_path) == path and list(tmp_path.iterdir()) == [path]


@settings(max_examples=60, deadline=None)
@given(st.text(min_size=1, max_size=60), st.text(min_size=1, max_size=60))
def test_any_names_are_kept_and_safe_in_file_names(tmp_path_factory, offset, of, to):
    if of == to:
        to += "'"
    folder = tmp_path_factory.mktemp("names")
    named = replace(offset, of=of, to=to, pots=(of,))
    path = named.save(folder)
    assert path.parent == folder and list(folder.iterdir()) == [path]
    assert len(path.name.encode()) <= 255 and not set('<>:"/\\|?*\n\r\0') & set(path.name)
    assert read_correction(path) == named


def test_two_pairs_of_setups_do_not_share_a_file(offset, tmp_path):
    names = [
        ("a/b", "c"),
        ("a-b", "c"),
        ("a:b", "c"),
        ("a", "b-c"),
        ("long " * 9 + "1", "c"),
        ("long " * 9, "c"),
    ]
    paths = {replace(offset, of=of, to=to).save(tmp_path) for of, to in names}
    assert len(paths) == len(names)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("to =", "too =", "it lacks to: write the setup .*'too' has no meaning there: did you mean to"),
        ('kind = "offset"', 'kind = "ofset"', "kind is 'ofset': write one of none, offset, veil, linear"),
        (
            'kind = "offset"',
            'kind = "linear"',
            r"it lacks \[coefficients\] X.*\] offset has no",
        ),
        ("margin = 1.8", "margin = '1.8'", r"\[ΔE00\] margin is '1.8': write a number of 0 or more"),
        ("margin = 1.8", "margin = nan", r"\[ΔE00\] margin is nan"),
        ("margin = 1.8", "margin = true", r"\[ΔE00\] margin is True"),
        ('of = "camera"', 'of = "phone"', "of and to are both 'phone': write two setups"),
        ("of = 8", "of = -8", r"\[photographs\] of is -8: write how many"),
        ("[range]", "[ranges]", r"it lacks \[range\] L\*.*'ranges' has no meaning there: did you mean range"),
        ("[errors]", "errors = 3\n[other]", "has no meaning there"),
        ("    -1.2", '    "-1.2"', r"\[coefficients\] offset is .*: write three numbers"),
        ("    -1.2", "    3, -1.2", r"\[coefficients\] offset is .*: write three numbers"),
    ],
)
def test_a_file_that_was_edited_wrongly_is_told(offset, tmp_path, old, new, told):
    path = replace(offset, coefficients=np.array([[-1.2, 0.8, -1.5]])).save(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(
        SetupError, match=rf"(?s){re.escape(path.name)}.*{told}.*(?:M|m)ake the correction anew"
    ):
        read_correction(path)


def test_a_range_the_wrong_way_round_is_told(offset, tmp_path):
    path = replace(offset, range=offset.range[::-1]).save(tmp_path)
    with pytest.raises(SetupError, match=r"3 faults\n  \[range\] L\* is .*: write the least and the most"):
        read_correction(path)


def test_a_file_cut_off_anywhere_is_never_read_as_whole(offset, tmp_path):
    path = offset.save(tmp_path)
    whole = path.read_bytes()
    for length in range(0, len(whole.rstrip()), 7):
        path.write_bytes(whole[:length])
        with pytest.raises((SetupError, FileFormatError)):
            read_correction(path)


def test_no_file_and_no_toml_are_told(tmp_path):
    with pytest.raises(MissingFileError):
        read_correction(tmp_path / "none.toml")
    (tmp_path / "it.toml").write_bytes(b"\xff\xfe of")
    with pytest.raises(FileFormatError, match="it is no TOML"):
        read_correction(tmp_path / "it.toml")


def test_it_shows_what_was_tried_in_a_notebook(offset, tmp_path):
    assert repr(offset) == offset.sentence
    assert "root-polynomial" in offset._repr_html_()
    assert offset.sentence in html.unescape(read_correction(offset.save(tmp_path))._repr_html_())
    assert isinstance(offset, Correction)


def test_a_damaged_coefficient_that_moves_colours_beyond_reason_is_refused(offset, tmp_path):
    path = replace(offset, coefficients=np.array([[500.0, 0.8, -1.5]])).save(tmp_path)
    with pytest.raises(SetupError, match="would move the colours that it was made from by 500 in L"):
        read_correction(path)


def test_the_folder_is_made_where_it_is_missing(offset, tmp_path):
    assert read_correction(offset.save(tmp_path / "not" / "there")) == offset
