"""The notebooks as a reader meets them: short cells, prose between, outputs stored, pictures in words."""

import json
import re
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))
QUESTIONS = [path for path in NOTEBOOKS if path.stem != "gallery-of-charts"]


def cells_of(path):
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def source(cell):
    return "".join(cell["source"])


def named(path):
    return path.stem


def test_each_question_has_its_own():
    assert [path.stem for path in QUESTIONS] == [
        "how-much-darker-with-sugar",
        "start-a-batch-book",
        "two-cameras",
        "what-did-the-firing-do",
        "what-goes-into-the-next-batch",
        "workshop-handout",
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=named)
def test_it_opens_with_its_question_and_ends_with_what_to_do(path):
    first, last = cells_of(path)[0], cells_of(path)[-1]
    assert source(first).startswith("# ") and "**What it needs:**" in source(first)
    assert re.search(r"What next|What to do next", source(last))


@pytest.mark.parametrize("path", QUESTIONS, ids=named)
def test_it_ends_with_the_cautions(path):
    last = source(cells_of(path)[-1])
    assert "**Take care.**" in last and "decorative" in last.lower()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=named)
def test_cells_are_few_and_short_with_prose_between(path):
    kinds = [cell["cell_type"] for cell in cells_of(path)]
    assert kinds.count("code") <= 8
    assert "code code" not in " ".join(kinds)
    lines = [len(source(cell).splitlines()) for cell in cells_of(path) if cell["cell_type"] == "code"]
    assert max(lines) <= 6


@pytest.mark.parametrize("path", NOTEBOOKS, ids=named)
def test_one_cell_at_the_top_names_the_book(path):
    code = [source(cell) for cell in cells_of(path) if cell["cell_type"] == "code"]
    assert re.search(r"^BOOK\b.*\"\.\./data/", code[0], re.MULTILINE)
    assert not any("../data/" in text for text in code[1:])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=named)
def test_outputs_are_stored_whole_and_without_a_machines_paths(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"/(home|root|work|tmp|Users)/", text)
    for cell in cells_of(path):
        if cell["cell_type"] == "code":
            assert cell["execution_count"]
            assert not [output for output in cell["outputs"] if output["output_type"] == "error"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=named)
def test_every_picture_is_said_in_words(path):
    for cell in cells_of(path):
        for output in cell.get("outputs", ()):
            data = output.get("data", {})
            assert not [kind for kind in data if kind.startswith("image/")]
            for tag in re.findall(r"<img\b[^>]*>", "".join(data.get("text/html", ""))):
                assert re.search(r'\balt="[^"]{10,}"', tag), tag[:80]
