"""Reference tables: the built-in ones, those of the user, and what is refused."""

import numpy as np
import pandas as pd
import pytest

from sagglab.colour import delta_e_2000
from sagglab.errors import FileFormatError, MissingFileError, TargetError
from sagglab.targets import built_in_targets, read_target


@pytest.fixture
def table():
    return pd.DataFrame(
        [(row, column, 10.0 * row, column, -column) for row in (1, 2) for column in (1, 2, 3)],
        columns=["row", "column", "L*", "a*", "b*"],
    )


@pytest.fixture
def written(tmp_path):
    def write(table, **how):
        path = tmp_path / "mine.csv"
        table.to_csv(path, index=False, **how)
        return path

    return write


@pytest.mark.parametrize("name", built_in_targets())
def test_built_in_targets_have_24_patches_and_a_grey_last_row(name):
    target = read_target(name)
    assert (target.rows, target.columns, len(target.patches)) == (4, 6, 24)
    assert np.hypot(*target.lab[3, :, 1:].T).max() < 5
    assert (np.diff(target.lab[3, :, 0]) < 0).all()


def test_built_in_targets_differ_as_published():
    # colour-science 0.4.7's two sets of reference values (before and after November 2014), both under D50.
    before, after = (read_target(name).lab for name in built_in_targets())
    difference = delta_e_2000(before, after)
    assert round(difference.mean(), 2) == 0.85
    assert round(difference.max(), 2) == 1.95


def test_own_table(table, written):
    target = read_target(written(table))
    assert (target.name, target.rows, target.columns) == ("mine", 2, 3)
    assert target.lab[1, 2].tolist() == [20, 3, -3]
    assert target.patches[5] == "row 2, column 3"


def test_rows_may_count_from_0(table, written):
    counted = table.assign(row=table["row"] - 1, column=table["column"] - 1)
    assert (read_target(written(counted)).lab == read_target(written(table)).lab).all()


def test_rows_may_stand_in_any_order(table, written):
    ordered = read_target(written(table)).lab
    assert (read_target(written(table.sample(frac=1, random_state=2))).lab == ordered).all()


def test_semicolons_and_a_byte_order_mark(table, written):
    assert read_target(written(table, sep=";", encoding="utf-8-sig")).lab[0, 0].tolist() == [10, 1, -1]


def test_names_of_patches(table, written):
    assert read_target(written(table.assign(patch=list("abcdef")))).patches == tuple("abcdef")


def test_missing_column(table, written):
    with pytest.raises(TargetError, match=r"the column b\* is missing"):
        read_target(written(table.drop(columns="b*")))


def test_text_for_a_number_is_told_by_its_row(table, written):
    table["a*"] = table["a*"].astype(object)
    table.loc[3, "a*"] = "four"
    with pytest.raises(TargetError, match=r"row 5, column 'a\*', is no number"):
        read_target(written(table))


@pytest.mark.parametrize("spoil", [lambda t: t.drop(index=2), lambda t: pd.concat([t, t.iloc[:1]])])
def test_grid_with_a_hole_or_a_double(table, written, spoil):
    with pytest.raises(TargetError, match="do not fill a grid of 2 rows by 3 columns"):
        read_target(written(spoil(table)))


def test_one_row_is_no_grid(table, written):
    with pytest.raises(TargetError, match="at least two rows"):
        read_target(written(table[table["row"] == 1]))


def test_illuminant_c_is_refused(table, written):
    with pytest.raises(TargetError, match="its illuminant is C.*D50"):
        read_target(written(table.assign(illuminant="C")))


def test_ten_degree_observer_is_refused(table, written):
    with pytest.raises(TargetError, match="its observer is 10"):
        read_target(written(table.assign(observer="10")))


def test_missing_file_names_the_built_in_ones(tmp_path):
    with pytest.raises(MissingFileError, match="24-patch-before-2014-11"):
        read_target(tmp_path / "none.csv")


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00garbage\x00", b"one line of text"])
def test_a_file_that_is_no_table(tmp_path, content):
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises((TargetError, FileFormatError)) as caught:
        read_target(path)
    assert "bad.csv" in caught.value.where


def test_a_target_already_read_is_returned_as_it_is():
    target = read_target(built_in_targets()[0])
    assert read_target(target) is target


@pytest.mark.parametrize(
    ("heading", "cell", "mm"), [("[mm]", "13", 13), ("[cm]", "1.3", 13), ("[in]", "0,5", 12.7)]
)
def test_pitch_of_the_patches_is_read_with_its_unit(table, written, heading, cell, mm):
    told = table.assign(**{f"patch pitch {heading}": [cell, *[""] * (len(table) - 1)]})
    assert read_target(written(told)).pitch_mm == pytest.approx(mm)
    assert np.isnan(read_target(written(table)).pitch_mm)


@pytest.mark.parametrize(
    "columns",
    [
        {"patch pitch": "13"},
        {"patch pitch [g]": "13"},
        {"patch pitch [mm]": "wide"},
        {"patch pitch [mm]": "0"},
        {"patch pitch [mm]": ["13", "14", "", "", "", ""]},
        {"patch pitch [mm]": "13", "patch pitch [cm]": "1.3"},
    ],
    ids=["no unit", "a weight", "no number", "nil", "two", "two columns"],
)
def test_a_pitch_that_is_no_length_is_refused(table, written, columns):
    with pytest.raises(TargetError, match="patch pitch"):
        read_target(written(table.assign(**columns)))
