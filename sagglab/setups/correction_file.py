"""The file that a correction is kept in: small, readable TOML, checked when it is read."""

from __future__ import annotations

import datetime
import hashlib
import math
import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import tomli_w

from sagglab.colour import AXES
from sagglab.errors import SetupError
from sagglab.setups.correction_kinds import KINDS
from sagglab.toml_file import key_meant, read_toml, told_together
from sagglab.writing import write_whole

#: What a file system might take amiss in a name.
_UNSAFE = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f-\x9f]')
#: The most characters of a setup's name in a file's: two of them stay below 255 bytes, whatever they are.
_LONGEST = 25

_HEADING = """\
# Brings the colours of one setup to those of another; made from pots that were photographed in both.
# "ΔE00": how far pots that had no part in it came out from the other setup's, and how far they are as they
# are. "range": the least and the most that its pots had, uncorrected; a colour that lies further outside than
# ΔE00 "margin" is flagged. "errors": root mean squares, of left-out pots.
"""
_ABOUT = {
    "none": "# Nothing is corrected.\n",
    "offset": "# The offset is added to L*, a*, b*.\n",
    "veil": "# The light of the veil is added to X, Y and Z, all as shares of the white's (D50).\n",
    "linear": "# A coefficient says what its term adds to X, Y and Z; all are shares of the white's (D50).\n",
}
_ABOUT["root-polynomial"] = _ABOUT["linear"]


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _size(value: object) -> bool:
    return _number(value) and value >= 0


def _count(value: object) -> bool:
    return _size(value) and isinstance(value, int)


def _name(value: object) -> bool:
    return isinstance(value, str) and value != ""


def _names(value: object) -> bool:
    return isinstance(value, list) and value != [] and all(map(_name, value))


def _day(value: object) -> bool:
    return isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)


def _numbers(value: object) -> bool:
    return isinstance(value, list) and len(value) == 3 and all(map(_number, value))


def _rising(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(map(_number, value)) and value[0] <= value[1]


#: Every entry, by its table and its key: what tells whether it can be, and what it should be.
_ENTRIES: dict[tuple[str, str], tuple[Callable[[object], bool], str]] = {
    ("", "of"): (_name, "the setup that is corrected, in quotes"),
    ("", "to"): (_name, "the setup that its colours are brought to, in quotes"),
    ("", "kind"): (lambda kind: _name(kind) and kind in KINDS, f"one of {', '.join(KINDS)}, in quotes"),
    ("", "made"): (_day, "the day it was made, such as 2026-06-21, without quotes"),
    ("", "version"): (_name, "the version of sagglab that made it, in quotes"),
    ("", "pots"): (_names, 'the pots it was made from, such as ["p01", "p02"]'),
    ("", "patches"): (_count, "how many patches of a target had a say in it, such as 24 or 0"),
    ("photographs", "of"): (_count, "how many photographs of the corrected setup it rests on, such as 6"),
    ("photographs", "to"): (_count, "how many photographs of the other setup it rests on, such as 6"),
    ("ΔE00", "left out"): (_size, "a number of 0 or more"),
    ("ΔE00", "as is"): (_size, "a number of 0 or more"),
    ("ΔE00", "margin"): (_size, "a number of 0 or more"),
    **{("range", axis): (_rising, "the least and the most, such as [20.5, 61.0]") for axis in AXES},
    **{("errors", axis): (_size, "a number of 0 or more") for axis in AXES},
}
_COEFFICIENTS = "coefficients"


def write_document(held: Mapping[str, Any], folder: Path) -> Path:
    """Write a correction's fields into a folder.

    Parameters
    ----------
    held : mapping
        The fields, arrays as lists.
    folder : Path

    Returns
    -------
    Path
    """
    document = {key: held[key] for table, key in _ENTRIES if not table}
    document |= {
        "photographs": dict(zip(("of", "to"), held["photographs"], strict=True)),
        "ΔE00": {"left out": held["left_out"], "as is": held["as_is"], "margin": held["margin"]},
        "range": dict(zip(AXES, map(list, zip(*held["range"], strict=True)), strict=True)),
        "errors": dict(zip(AXES, held["errors"], strict=True)),
        _COEFFICIENTS: dict(zip(KINDS[held["kind"]], held["coefficients"], strict=True)),
    }
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / _file_name(held["of"], held["to"])
    write_whole(path, _HEADING + _ABOUT[held["kind"]] + "\n" + tomli_w.dumps(document))
    return path


def read_document(path: Path) -> dict[str, Any]:
    """Read a correction's fields, arrays as lists.

    Raises
    ------
    MissingFileError, FileFormatError, SetupError
        As `read_correction` says.
    """
    document = read_toml(path, "take a copy that is whole, or make the correction anew")
    faults = list(_faults(document))
    if faults:
        raise SetupError(str(path), told_together(faults), "mend that, or make the correction anew")
    apart = document["ΔE00"]
    return {key: document[key] for table, key in _ENTRIES if not table} | {
        "photographs": [document["photographs"][key] for key in ("of", "to")],
        "left_out": float(apart["left out"]),
        "as_is": float(apart["as is"]),
        "margin": float(apart["margin"]),
        "range": [[document["range"][axis][end] for axis in AXES] for end in (0, 1)],
        "errors": [document["errors"][axis] for axis in AXES],
        "coefficients": [document[_COEFFICIENTS][term] for term in KINDS[document["kind"]]],
    }


def _faults(document: Mapping[str, Any]) -> Iterator[str]:
    """Say of each entry what is wrong with it."""
    kind = document.get("kind")
    terms = KINDS.get(kind, ()) if isinstance(kind, str) else ()
    entries = _ENTRIES | {
        (_COEFFICIENTS, term): (_numbers, "three numbers, such as [1.0, 0.0, 0.0]") for term in terms
    }
    tables = {table for table, _ in entries if table} | {_COEFFICIENTS}
    for table in sorted(tables & set(document)):
        if not isinstance(document[table], Mapping):
            yield f"{table} is no table: write [{table}] and its entries below"
    for (table, key), (can_be, wanted) in entries.items():
        held = document.get(table, {}) if table else document
        if not isinstance(held, Mapping):
            continue
        if key not in held:
            yield f"it lacks {_named(table, key)}: write {wanted}"
        elif not can_be(held[key]):
            yield f"{_named(table, key)} is {held[key]!r}: write {wanted}"
    if _name(document.get("of")) and document.get("of") == document.get("to"):
        yield f"of and to are both {document['of']!r}: write two setups"
    yield from _unknown(document, entries, tables, bool(terms) or kind == "none")


def _unknown(
    document: Mapping[str, Any],
    entries: Mapping[tuple[str, str], object],
    tables: set[str],
    kind_known: bool,
) -> Iterator[str]:
    """Name entries that mean nothing: a misspelt one would leave its old value unsaid."""
    known = sorted(tables) + [key for table, key in entries if not table]
    for key, value in document.items():
        if key not in known:
            yield f"{key!r} has no meaning there: {key_meant(key, known)}"
        elif key in tables and isinstance(value, Mapping) and (key != _COEFFICIENTS or kind_known):
            inside = [name for table, name in entries if table == key]
            for name in value:
                if name not in inside:
                    yield f"{_named(key, name)} has no meaning there: {key_meant(name, inside)}"


def _named(table: str, key: str) -> str:
    return f"[{table}] {key}" if table else key


def _file_name(of: str, to: str) -> str:
    safe = [_UNSAFE.sub("-", name).strip(". ")[:_LONGEST] or "-" for name in (of, to)]
    # Names that are written otherwise than they are might meet those of other setups.
    digest = hashlib.sha256("\0".join((of, to)).encode()).hexdigest()
    mark = "" if safe == [of, to] else f" {digest[:6]}"
    return f"correction of {safe[0]} to {safe[1]}{mark}.toml"
