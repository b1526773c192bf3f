"""Write the whole demo batch book: ``python data/demo/generator``."""

from __future__ import annotations

import sys
from pathlib import Path

BOOK = Path(__file__).resolve().parents[1]
# Run as a folder, Python looks for modules inside it; the package itself, and sagglab, lie further up.
sys.path[:0] = [str(BOOK), str(BOOK.parents[1])]


def write_book(folder: Path = BOOK) -> None:
    """Write every table, log and photograph; the same seed gives the same bytes."""
    import pandas as pd

    from generator import book

    def write(name: str, content: bytes) -> None:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)

    for name, text in book.tables().items():
        write(name, text.encode())
    corners, pots = [], {}
    for shot in book.shots():
        scene = book.render(shot)
        write(shot.photo, book.jpeg(scene, shot))
        if shot.view != "flat":
            corners.append(book.corner_truth(shot, scene))
        if shot.pot and shot.pot not in pots:
            pots[shot.pot] = book.view_truth(shot.pot)
    write("truth/views.csv", pd.concat(pots.values()).to_csv(index=False, lineterminator="\n").encode())
    table = pd.DataFrame(corners, columns=book.CORNER_COLUMNS)
    write("truth/corners.csv", table.to_csv(index=False, lineterminator="\n").encode())


if __name__ == "__main__":
    write_book()
