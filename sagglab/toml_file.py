"""TOML that a person writes or changes: read whole, and its faults told together."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from sagglab.errors import FileFormatError, MissingFileError


def read_toml(path: Path, remedy: str) -> dict[str, Any]:
    """Read a file of TOML in UTF-8, with a byte order mark or without.

    Parameters
    ----------
    path : Path
    remedy : str
        How to mend a file that is none.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It cannot be opened, or is no TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, IsADirectoryError) as error:
        raise MissingFileError(str(path), "there is no such file", "check the name") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise FileFormatError(str(path), f"it is no TOML ({error})", remedy) from error
    except (OSError, ValueError) as error:  # one that may not be read, or a name that no file can have
        cause = getattr(error, "strerror", None) or error
        raise FileFormatError(
            str(path), f"it cannot be opened ({cause})", "check that it is a file you may read"
        ) from error


def told_together(faults: Sequence[str]) -> str:
    """Make the faults of a file one cause; several stand each on a line.

    Examples
    --------
    >>> told_together(["the file lacks seed"])
    'the file lacks seed'
    >>> print(told_together(["the file lacks seed", "firings is 'six'"]))
    2 faults
      the file lacks seed
      firings is 'six'
    """
    if len(faults) == 1:
        return faults[0]
    return f"{len(faults)} faults" + "".join(f"\n  {fault}" for fault in faults)


def key_meant(key: str, known: Iterable[str], otherwise: str = "take it out") -> str:
    """Say how to mend a key that has no meaning where it stands.

    Examples
    --------
    >>> key_meant("firngs", ["firings", "seed"]), key_meant("wind", ["firings", "seed"])
    ('did you mean firings?', 'take it out')
    """
    near = get_close_matches(key, known, 1, 0.6)
    return f"did you mean {near[0]}?" if near else otherwise
