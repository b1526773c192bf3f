"""The version of a batch book: a short name for just this content."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

#: The files that a book names.
_FILES = (("firings", "readings"), ("photos", "photo"), ("setups", "target"), ("setups", "flat"))
_LETTERS = 12


def version_of(folder: Path, tables: Mapping[str, pd.DataFrame]) -> str:
    """Give twelve letters that change with any cell of the tables, and with any file that they name.

    Parameters
    ----------
    folder : Path
        A file that is missing, or lies outside, is left out: its name stands in its table.
    tables : mapping of str to DataFrame
        As they were read, so that saving a table anew in another form changes nothing.
    """
    seen = hashlib.sha256()
    for name, table in tables.items():
        seen.update(f"{name}\n{table.to_csv()}".encode())
    for name, column in _FILES:
        for file in sorted(set(tables[name][column])):
            path = (folder / file).resolve()
            if file and path.is_relative_to(folder.resolve()) and path.is_file():
                seen.update(f"{file}\n".encode())
                with path.open("rb") as held:
                    seen.update(hashlib.file_digest(held, "sha256").digest())
    return seen.hexdigest()[:_LETTERS]
