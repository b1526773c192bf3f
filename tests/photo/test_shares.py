"""Shares: bounds, tables that add to those built in, and tables with faults."""

import numpy as np
import pandas as pd
import pytest

from sagglab.errors import BookError, FileFormatError, MissingFileError
from sagglab.photo.shares import BOUNDS, Share, read_shares

NAMES = ["dark share", "red-orange share", "pale share", "grey share"]


def lab_of(lightness, chroma, hue):
    return [lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))]


def table(*rows):
    """Make a table of shares as the book gives it, first row at row 2 of the sheet."""
    made = pd.DataFrame(rows, columns=["share", *BOUNDS])
    return made.set_index(np.arange(len(rows)) + 2)


def row(name, **bounds):
    bounds = {
        key.replace("L_", "L* ").replace("C_", "C*ab ").replace("_", " "): v for key, v in bounds.items()
    }
    assert set(bounds) <= set(BOUNDS)
    return {"share": name} | dict.fromkeys(BOUNDS, np.nan) | bounds


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [
        ("dark share", (29.99, 40, 30), (30, 40, 30)),
        ("red-orange share", (50, 20.01, 20.01), (50, 20.01, 75.01)),
        ("red-orange share", (30, 60, 74.9), (29.9, 60, 74.9)),
        ("pale share", (70, 19.9, 90), (69.9, 19.9, 90)),
        ("grey share", (50, 7.9, 200), (50, 8.1, 200)),
    ],
)
def test_built_in(name, inside, outside):
    share = {share.name: share for share in read_shares()}[name]
    assert share.inside([lab_of(*inside), lab_of(*outside)]).tolist() == [True, False]
    assert "this project's choice" in share.meaning


def test_built_in_kinds_do_not_overlap():
    colours = np.random.default_rng(1).uniform([0, -60, -60], [100, 80, 80], (20_000, 3))
    assert np.sum([share.inside(colours) for share in read_shares()], axis=0).max() == 1


def test_hue_wraps():
    share = Share("pink share", hue=(340, 20))
    hues = [339.9, 340.1, 0, 19.9, 20.1, 180]
    assert share.inside([lab_of(50, 30, hue) for hue in hues]).tolist() == [
        False,
        True,
        True,
        True,
        False,
        False,
    ]


def test_hue_with_one_bound_or_all_around():
    colours = [lab_of(50, 30, hue) for hue in (0, 100, 359)]
    hues = [(100.0, np.nan, [False, True, True]), (np.nan, 100.5, [True, True, False]), (0, 360, [True] * 3)]
    for first, last, held in hues:
        share = read_shares(table(row("own share", hue_from=first, hue_to=last)))[-1]
        assert share.inside(colours).tolist() == held


def test_shape_is_kept():
    assert Share("any", (0, 50)).inside(np.full((4, 5, 3), 20.0)).shape == (4, 5)


def test_a_table_adds_and_replaces():
    shares = read_shares(table(row("dark share", L_to=25.0), row("pink share", hue_from=340.0, hue_to=20.0)))
    assert [share.name for share in shares] == [*NAMES, "pink share"]
    assert shares[0].lightness == (-np.inf, 25)
    assert shares[-1].hue == (340, 20)
    assert shares[1:-1] == read_shares()[1:]


def test_a_file(tmp_path):
    path = tmp_path / "shares.csv"
    path.write_text("share;C*ab from;meaning\nvivid share;40,5;strong\n\n", encoding="utf-8")
    share = read_shares(path)[-1]
    assert (share.name, share.chroma, share.meaning) == ("vivid share", (40.5, np.inf), "strong")
    assert read_shares(str(path)) == read_shares(path)


def test_a_table_without_rows():
    assert read_shares(table()) == read_shares()


def test_no_such_file(tmp_path):
    with pytest.raises(MissingFileError, match=r"absent\.csv: there is no such file"):
        read_shares(tmp_path / "absent.csv")
    (tmp_path / "picture.csv").write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\xff\xfe\0")
    with pytest.raises(FileFormatError):
        read_shares(tmp_path / "picture.csv")


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (
            [row("x", L_from=50.0, L_to=30.0)],
            "row 2, column 'L* to': it reaches from 50 to 30, which holds no colour",
        ),
        (
            [row("x", hue_from=30.0, hue_to=30.0)],
            "row 2, column 'hue to': it reaches from 30 to 30, which holds no colour",
        ),
        (
            [row("x", hue_to=361.0)],
            "row 2, column 'hue to': 361 is out of bounds. Write a number from 0 to 360",
        ),
        (
            [row("x", C_from=-1.0)],
            "row 2, column 'C*ab from': -1 is out of bounds. Write a number from 0 upwards",
        ),
        ([row("x", L_to=30.0), row("x", L_to=40.0)], "row 3, column 'share': 'x' is there twice"),
        ([row("a*", L_to=30.0)], "row 2, column 'share': 'a*' is the name of another measure"),
        ([row("glare share", L_to=30.0)], "'glare share' is the name of another measure"),
        ([row(np.nan, L_to=30.0)], "row 2, column 'share': it has no name"),
        ([row("x")], "row 2: it has no bounds"),
        ([row("x", L_to="thirty")], "row 2, column 'L* to': 'thirty' is no number"),
        ([row("x", L_to=True) | {"L*to": 3}], "no such column is known"),
    ],
)
def test_faults(rows, told):
    with pytest.raises(BookError) as caught:
        read_shares(pd.DataFrame(rows).set_index(np.arange(len(rows)) + 2))
    assert told in str(caught.value)


def test_all_faults_at_once():
    with pytest.raises(BookError, match="3 faults stop the work"):
        read_shares(table(row("x", L_to=130.0), row("b*", L_to=30.0), row("y")))


def test_headings_that_are_missing_or_twice():
    with pytest.raises(BookError, match="column 'share': the column is missing"):
        read_shares(pd.DataFrame({"L* to": [30.0]}))
    twice = pd.DataFrame([["x", 30.0, 40.0]], columns=["share", "L* to", "L* to"])
    with pytest.raises(BookError, match=r"column 'L\* to': the column is there twice"):
        read_shares(twice)
