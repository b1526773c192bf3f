"""The batch book with odd cells: listed, never raised, and never slow."""

import os

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from sagglab.book import Book, open_book
from sagglab.errors import SagglabError


@pytest.fixture
def folder(write_book):
    return write_book()


HEADS = st.sampled_from(
    [
        "pot",
        "firing",
        "sugar [g]",
        "sugar [lb]",
        "sugar",
        "height [cm]",
        "t [degF]",
        "rating",
        "state",
        "",
        "x [",
        "n []",
    ]
) | st.text(max_size=8)
CELLS = st.sampled_from(
    ["", "p1", "f1", "5", "-1", "2,5", "1e999", "1e14", "nan", "__import__('os')", "=1+1"]
) | st.text(max_size=10)


@settings(max_examples=60, deadline=3000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    head=st.lists(HEADS, max_size=6),
    rows=st.lists(st.lists(CELLS, max_size=7), max_size=5),
    delimiter=st.sampled_from([",", ";", "\t"]),
)
@example(head=["pot", "firing"], rows=[["x" * 200_000, "f1"]], delimiter=",")
@example(head=["pot"] * 400, rows=[], delimiter=",")
def test_odd_cells_are_listed_and_never_raised(folder, head, rows, delimiter):
    text = "\n".join(delimiter.join(cells) for cells in [head, *rows])
    (folder / "pots.csv").write_bytes(text.encode("utf-8", "replace"))
    assert isinstance(open_book(folder), Book)


@settings(max_examples=60, deadline=3000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cells=st.lists(st.text(max_size=12), min_size=3, max_size=3))
@example(cells=["\ufeff", "~", "."])
@example(cells=["n" * 5000, "n" * 5000, "n" * 5000])
@example(cells=["a" + os.sep, os.sep * 3, "photos/p1.jpg/x"])
def test_odd_file_names_are_listed_and_never_raised(folder, cells):
    for table, heads in {"photos": "photo,pot,setup", "setups": "target,flat,setup"}.items():
        (folder / f"{table}.csv").write_bytes(f"{heads}\n{','.join(cells)}\n".encode("utf-8", "replace"))
    try:
        assert isinstance(open_book(folder), Book)
    except SagglabError as error:
        pytest.fail(f"a fault of one cell was raised: {error}")


@settings(max_examples=40, deadline=3000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cells=st.lists(st.text(alphabet="0123456789-:TZ+. ", max_size=26), min_size=2, max_size=2))
@example(cells=["2026-05-31T10:00+02:00", "2026-05-31"])
def test_odd_dates_are_listed_and_never_raised(folder, cells):
    rows = "".join(f"f{k},{cell}\n" for k, cell in enumerate(cells, start=1))
    (folder / "firings.csv").write_text(f"firing,date\n{rows}")
    assert open_book(folder).firings["date"].dtype == "datetime64[us]"
