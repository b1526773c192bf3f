"""What was measured before is kept: by the content of all that decides it, and the code that measured it.

Measures are kept in the user's own cache folder, never in the book. What is kept is looked up by content, so
that a photograph that was renamed, moved or copied into another book is known again, and one that was
changed is not mistaken for what it was. The least used goes when there is too much of it.
"""

from __future__ import annotations

import functools
import hashlib
import json
import os
import time
from contextlib import suppress
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

import joblib
import platformdirs

from sagglab.writing import write_whole

#: Names another folder for what is kept.
PLACE = "SAGGLAB_CACHE"
#: Most that is kept: the measures and review pictures of some 4,000 photographs.
MOST = "1G"
#: A file's time counts in steps, of 2 s on some disks: one that has only just been written may be written
#: again without a sign of it.
SETTLED_NS = 4_000_000_000

#: Rooms whose code decides what is measured, and the libraries that they lean on.
_ROOMS = ("columns", "photo", "targets", "colour.py", "measures")
_LIBRARIES = ("imagecodecs", "numpy", "opencv-python-headless", "pillow", "rawpy", "scikit-image", "scipy")


def place() -> Path:
    """Give the folder where measures are kept."""
    return Path(os.environ.get(PLACE) or platformdirs.user_cache_path("sagglab"))


def memory() -> joblib.Memory:
    """Give what keeps values on disk, safe for several processes at once.

    Where nothing can be written, nothing is kept, and all is measured each time.
    """
    folder = place()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        writable = os.access(folder, os.W_OK)
    except OSError:
        writable = False
    return joblib.Memory(folder if writable else None, verbose=0)


@functools.cache
def code_version(rooms: tuple[str, ...] = _ROOMS) -> str:
    """Tell code apart: a digest of these rooms' files and the libraries' versions."""
    digest = hashlib.sha256()
    for room in rooms:
        root = Path(str(files("sagglab") / room))
        for path in sorted([root] if root.is_file() else root.rglob("*")):
            if path.suffix in (".py", ".csv"):
                digest.update(path.read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {version(library)}".encode())
    return digest.hexdigest()


class Digests:
    """Digests of files' contents, each file read once until it changes.

    Two hundred photographs hold a gigabyte or two, which takes longer to read than all else that a second run
    does: a file whose size, times and place on the disk are as they were has the content that it had.
    """

    def __init__(self) -> None:
        self._path = place() / "digests.json"
        self._known: dict[str, list] = {}
        with suppress(OSError, ValueError, TypeError):  # damaged, it is made anew
            self._known = dict(json.loads(self._path.read_text(encoding="utf-8")))
        self._changed = False

    def __call__(self, path: Path) -> str:
        """Digest a file's content; empty when it cannot be read."""
        try:
            seen = path.stat()
            signs = [seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns, seen.st_ino]
            name = str(path.resolve())
            known = self._known.get(name)
            if known and known[:-1] == signs:
                return known[-1]
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            return ""
        if time.time_ns() - max(seen.st_mtime_ns, seen.st_ctime_ns) > SETTLED_NS:
            self._known[name] = [*signs, digest]
            self._changed = True
        return digest

    def keep(self) -> None:
        """Write them down for the next run."""
        if self._changed:
            with suppress(OSError):  # a full or forbidden disk costs time, and nothing else
                self._path.parent.mkdir(parents=True, exist_ok=True)
                write_whole(self._path, json.dumps(self._known))
