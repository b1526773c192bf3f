"""Review pictures of a book's photographs: what draws them, and where they go."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sagglab.book import Book
from sagglab.photo.measure import MeasuredPhoto
from sagglab.writing import write_whole


@dataclass(frozen=True)
class Reviews:
    """How `measure_photos` leaves pictures of what it measured; `charts.reviews_in` makes one.

    Attributes
    ----------
    folder : Path
        Where they go; made where it is missing.
    draw : callable
        From a `MeasuredPhoto` to files' contents by the end of their names. It is called in the process that
        measured the photograph.
    sheet : callable
        Called at the end with the book, the measures and this, to lay out all pictures together.
    version : str
        Of the code that draws: pictures of another are drawn anew.
    """

    folder: Path
    draw: Callable[[MeasuredPhoto], Mapping[str, bytes]]
    sheet: Callable[[Book, pd.DataFrame, Reviews], object]
    version: str

    def path(self, photo: str, ending: str) -> Path:
        """Give the place of a picture: named after the photograph and its folder, as a book names it.

        No two photographs share one, and nothing leads elsewhere.
        """
        path = Path(photo)
        name = "-".join(path.with_suffix("").parts[-2:])
        # "photos/p01-front.jpg" can be read back from "photos-p01-front". Where another photograph might give
        # the same name (in a deeper folder, of another format), a digest tells them apart.
        alone = len(path.parts) == 2 and "-" not in path.parts[0] and path.suffix == ".jpg"
        if not alone or name.endswith("-small"):
            name += f"-{hashlib.sha256(photo.encode()).hexdigest()[:8]}"
        return self.folder / f"{name}{ending}"

    def write(self, photo: str, pictures: Mapping[str, bytes]) -> None:
        """Write the pictures of one photograph, each whole or not at all."""
        for ending, content in pictures.items():
            write_whole(self.path(photo, ending), content)
