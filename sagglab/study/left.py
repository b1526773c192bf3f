"""What a run leaves in a folder: made first, written at the end; one that is stopped leaves the old."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from sagglab.writing import write_whole


def leave(folder: Path, contents: Mapping[str, str | bytes], ours: Iterable[str] = ()) -> None:
    """Write files into a folder, each whole, and take away what an earlier run left there.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    contents : mapping of str to str or bytes
        What each file shall hold, by its name.
    ours : iterable of str
        Patterns of names that only this run gives; what bears one, and was not written now, is taken away.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in contents.items():
        write_whole(folder / name, content)
    take_away(folder, ours, contents)


def take_away(folder: Path, ours: Iterable[str], kept: Iterable[str]) -> None:
    """Take away what an earlier run left under names that only sagglab gives, but for what is kept."""
    kept = set(kept)
    for pattern in ours:
        for old in folder.glob(pattern):
            if old.name not in kept:
                old.unlink()


def table_text(table: pd.DataFrame) -> str:
    """Give a table as CSV."""
    # Eight digits: more than any measure holds, and no 24.999999999999975.
    return table.to_csv(index=False, float_format="%.8g", lineterminator="\n")
