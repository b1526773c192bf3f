"""Write both demo batch books: ``python data/demo/generator``."""

from __future__ import annotations

import sys
from pathlib import Path

DATA = Path(__file__).resolve().parents[2]
# Run as a folder, Python looks for modules inside it; the package itself, and sagglab, lie further up.
sys.path[:0] = [str(DATA / "demo"), str(DATA.parent)]


def write_books(data: Path = DATA) -> None:
    """Write every table, log and photograph; the same seeds give the same bytes."""
    from generator import book, two_cameras

    for folder, files in (("demo", book.files()), ("two-cameras", two_cameras.files())):
        for name, content in files:
            path = data / folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)


if __name__ == "__main__":
    write_books()
