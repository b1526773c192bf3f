"""The mapping as a file: TOML that a person can read and change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import tomli_w

from sagglab.errors import BookError
from sagglab.toml_file import key_meant, read_toml, told_together
from sagglab.writing import write_whole

_ABOUT = """\
# Where each column of the notes goes in the batch book. Change what is not right, and use it with --mapping.
#   to       "pots: sugar [g]": the table and the heading there, with its unit; "-" leaves the column out;
#            a unit [?] is still to be said
#   cells    "yes or no"; "day first" or "month first" for dates; "decimal comma" or "thousands comma"
#   spoon    which spoon the amounts are in: "tsp", "tbsp" or "spoon"
#   spoon_g  what a level one weighs, in grams
#   view     which side the photographs show: "front", "back"
#   down     true: a blank cell means what stands above it
# firings is "as noted", "by date" (and kiln), "one" for all pots, or "each pot"; pots is "as noted" or
# "numbered"; around, which tells what else the notes hold and what was not read, sure, why and such_as are
# for the reader alone.

"""

_NEEDED = ("notes", "sheet", "firings", "pots", "columns")
_KEYS = {**dict.fromkeys(_NEEDED, str), "columns": dict, "around": list}
_WANTED = {str: "text in quotes", bool: "true or false", dict: "tables", list: 'a list such as ["one"]'}
_COLUMN_KEYS = {
    **{
        "heading": str,
        "to": str,
        "cells": str,
        "spoon": str,
        "spoon_g": (int, float),
        "view": str,
        "down": bool,
    },
    **{"sure": str, "why": str, "such_as": str},
}


def write_document(document: Mapping[str, Any], path: Path) -> None:
    """Write a mapping's fields, with what they mean above them."""
    write_whole(path, _ABOUT + tomli_w.dumps(document))


def read_document(path: Path) -> dict[str, Any]:
    """Read a mapping's fields.

    Raises
    ------
    MissingFileError, FileFormatError, BookError
        As `read_mapping` says.
    """
    held = read_toml(path, 'write lines such as to = "pots: sugar [g]", saved as UTF-8')
    refuse(path, list(_document_faults(held)))
    return held


def refuse(path: Path, faults: list[str]) -> None:
    """Stop when there are faults, and name each.

    Raises
    ------
    BookError
    """
    if faults:
        raise BookError(str(path), told_together(faults), "correct the mapping there")


def _document_faults(held: dict[str, Any]) -> Iterator[str]:
    yield from _entry_faults("the file", held, _KEYS, _NEEDED)
    columns = held.get("columns", {})
    for letter, entry in columns.items() if isinstance(columns, dict) else ():
        if not isinstance(entry, dict):
            yield f"[columns.{letter}] is no table: write its entries below that line"
            continue
        yield from _entry_faults(f"[columns.{letter}]", entry, _COLUMN_KEYS, ("heading", "to"))


def _entry_faults(
    where: str, held: dict[str, Any], keys: dict[str, Any], needed: tuple[str, ...]
) -> Iterator[str]:
    for key in needed:
        if key not in held:
            yield f"{where} lacks {key}"
    for key, value in held.items():
        if key not in keys:
            yield f"{where}: '{key}' has no meaning there: {key_meant(key, keys)}"
        elif not isinstance(value, keys[key]) or (isinstance(value, bool) and keys[key] is not bool):
            yield f"{where}: {key} is {value!r}: write {_WANTED.get(keys[key], 'a number')}"
