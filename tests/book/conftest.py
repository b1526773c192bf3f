"""A small batch book, written anew for each test."""

import pytest

TABLES = {
    "pots": "pot,firing,clay,sugar [g],ferric chloride [coats],copper wire [cm],state\n"
    "p1,f1,white,5,2,30,whole\n"
    "p2,f1,white,,,,cracked\n",
    "firings": "firing,date,target peak [degC],readings\nf1,2026-05-31,750,readings/f1.csv\n",
    "photos": "photo,pot,view,setup\nphotos/p1.jpg,p1,front,bench\nphotos/p2.jpg,p2,front,bench\n",
    "setups": "setup,target\nbench,24-patch-from-2014-11\n",
}

FILES = ("readings/f1.csv", "photos/p1.jpg", "photos/p2.jpg")


@pytest.fixture
def write_book(tmp_path):
    """Give a function that writes a faultless book; a table named replaces the usual one, None drops it."""

    def write(**tables):
        folder = tmp_path / "book"
        for name in FILES:
            file = folder / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(b"only its being there is checked")
        for name, text in {**TABLES, **tables}.items():
            if text is not None:
                data = text if isinstance(text, bytes) else text.encode("utf-8")
                (folder / f"{name}.csv").write_bytes(data)
        return folder

    return write


@pytest.fixture
def tables():
    """Give the text of each table of the faultless book."""
    return dict(TABLES)
