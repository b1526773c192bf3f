"""Printed pages as pictures, to be looked at in a notebook before they go to the printer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

from sagglab.charts.alt import as_webp, picture_html


@dataclass(frozen=True, repr=False)
class PagePicture:
    """One page.

    Attributes
    ----------
    png : bytes
    number, count : int
        Which page it is, from 1, and of how many.
    file : str
        What is printed, whose words a screen reader reads out.
    """

    png: bytes
    number: int
    count: int
    file: str

    @property
    def alt(self) -> str:
        """What it is, in words."""
        return f"Page {self.number} of {self.count} as printed. All its words can be read in {self.file}."

    def __repr__(self) -> str:
        return self.alt

    def _repr_html_(self) -> str:
        picture = picture_html("image/webp", as_webp(self.png), self.alt)
        return f'<p style="border: 1px solid #767676; display: table">{picture}</p>'


class PagePictures(Sequence[PagePicture]):
    """The pages of one print in their order, shown one below another."""

    def __init__(self, pages: Sequence[PagePicture]) -> None:
        self._pages = tuple(pages)

    @classmethod
    def of(cls, pngs: Sequence[bytes], file: str) -> PagePictures:
        """Take pictures of all pages of a file."""
        return cls([PagePicture(png, number, len(pngs), file) for number, png in enumerate(pngs, 1)])

    @overload
    def __getitem__(self, which: int) -> PagePicture: ...
    @overload
    def __getitem__(self, which: slice) -> PagePictures: ...
    def __getitem__(self, which: int | slice) -> PagePicture | PagePictures:
        """Give one page, or some, which keep their numbers."""
        return PagePictures(self._pages[which]) if isinstance(which, slice) else self._pages[which]

    def __len__(self) -> int:
        return len(self._pages)

    def __repr__(self) -> str:
        return "\n".join(map(repr, self))

    def _repr_html_(self) -> str:
        return "".join(page._repr_html_() for page in self)
