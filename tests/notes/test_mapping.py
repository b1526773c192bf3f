"""The mapping: written down, read again, changed by hand, refused where it cannot be."""

import pytest

from sagglab.errors import BookError, FileFormatError, MissingFileError
from sagglab.notes import propose_mapping, read_mapping, read_notes


def test_a_mapping_is_the_same_when_read_again(noted, person, tmp_path, answered):
    mapping = answered(person, propose_mapping(read_notes(noted(person))))
    assert read_mapping(mapping.save(tmp_path / "mapping.toml")) == mapping


@pytest.fixture
def saved(noted, tmp_path):
    mapping = propose_mapping(read_notes(noted("of three columns")))
    return mapping.save(tmp_path / "mapping.toml")


def test_a_person_can_read_and_change_it(saved):
    text = saved.read_text(encoding="utf-8")
    assert text.startswith("# Where each column of the notes goes")
    assert 'around = [\n    "notes.csv: headings in row 1, 3 columns, 3 rows below",\n]' in text
    assert '[columns.A]\nheading = "Sugar g"\nto = "pots: sugar [g]"\n' in text
    saved.write_text(text.replace("pots: sugar [g]", "pots: sugar [oz]"), encoding="utf-8")
    assert read_mapping(saved).column("Sugar g").to == "pots: sugar [oz]"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('to = "pots: sugar [g]"', 'too = "pots: sugar [g]"', "'too' has no meaning there: did you mean to"),
        ("pots: sugar [g]", "pot: sugar [g]", "says no table"),
        ("pots: sugar [g]", "pots: sugar [spoonfuls]", r"A 'Sugar g': \[spoonfuls\]: it is unknown"),
        ("pots: sugar [g]", "pots: height", "height needs its unit: write 'pots: height"),
        ("pots: sugar [g]", "pots: height [g]", "does not measure a height"),
        ("pots: sugar [g]", "pots: clay [g]", "clay has no unit"),
        ("pots: sugar [g]", "photos: colour", "photos has no column 'colour'"),
        ("pots: sugar [g]", "pots: Result", "both go to 'pots: Result'"),
        ("pots: sugar [g]", "pots: L*", "is what sagglab measures"),
        ('firings = "?"', 'firings = "some"', "firings is 'some': write one of 'as noted'"),
        ('firings = "?"', 'firings = "by date"', "no column goes to 'firings: date'"),
        ('pots = "numbered"', 'pots = "as noted"', "no column goes to 'pots: pot'"),
        ('pots = "numbered"', "pots = 3", "pots is 3: write text in quotes"),
        ('heading = "Result"', "spoon_g = true", "lacks heading"),
        ("around = [", 'around = "a"\nodd = [', "around is 'a': write a list"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(saved, old, new, said):
    text = saved.read_text(encoding="utf-8")
    assert old in text
    saved.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(BookError, match=said):
        read_mapping(saved)


def test_no_file_and_no_toml(tmp_path):
    with pytest.raises(MissingFileError):
        read_mapping(tmp_path / "none.toml")
    (tmp_path / "odd.toml").write_text("sugar goes to sugar")
    with pytest.raises(FileFormatError, match="it is no TOML"):
        read_mapping(tmp_path / "odd.toml")


def test_the_page_of_a_mapping_shows_text_as_text(tmp_path):
    (tmp_path / "notes.csv").write_text("Pot,Firing,<i>odd</i>\n1,F1,<script>\n")
    page = propose_mapping(read_notes(tmp_path / "notes.csv"))._repr_html_()
    assert "&lt;script&gt;" in page and "<script>" not in page


@pytest.mark.parametrize("grams", ["inf", "nan", "0", "1e300"])
def test_a_spoon_weighs_something_that_a_spoon_can(saved, grams):
    text = saved.read_text(encoding="utf-8")
    old = 'to = "pots: sugar [g]"'
    assert old in text
    saved.write_text(text.replace(old, f'{old}\nspoon = "tsp"\nspoon_g = {grams}'), encoding="utf-8")
    with pytest.raises(BookError, match="spoon_g needs grams above 0"):
        read_mapping(saved)


@pytest.mark.parametrize("name", ["a\0b.toml", "n" * 400 + ".toml", "notes.toml/deeper.toml"])
def test_a_name_that_no_file_can_have(tmp_path, name):
    (tmp_path / "notes.toml").write_text("")
    with pytest.raises(FileFormatError, match="it cannot be opened"):
        read_mapping(tmp_path / name)


def test_brackets_without_end_are_no_toml(tmp_path):
    (tmp_path / "deep.toml").write_text("a = " + "[" * 20_000)
    with pytest.raises(FileFormatError, match="it is no TOML"):
        read_mapping(tmp_path / "deep.toml")
