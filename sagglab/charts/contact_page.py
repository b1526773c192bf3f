"""The contact sheet as a page: one file, legible in grey, on a phone, and without its few lines of script."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

import numpy as np
from numpy.typing import NDArray

from sagglab.charts.overlay import KEY
from sagglab.colour import lab_to_srgb


@dataclass(frozen=True)
class Tile:
    """What the sheet shows of one photograph.

    Attributes
    ----------
    name, pot, view : str
        As the book has them.
    picture : bytes
        A JPEG; empty when there is none.
    overlaid : bool
        Whether what was measured is drawn over it.
    link : str
        The review picture's file; empty when there is none.
    lab : ndarray, shape (3,)
        Mean L*, a*, b*; NaN when none was measured.
    flags : str
    reasons : tuple of str
        Why a person should look at it.
    place : int
        Its row in the table, as a spreadsheet numbers it.
    line : str
        That row, to be pasted.
    """

    name: str
    pot: str
    view: str
    picture: bytes
    overlaid: bool
    link: str
    lab: NDArray[np.float64]
    flags: str
    reasons: tuple[str, ...]
    place: int
    line: str


def page_of(book: str, tiles: Sequence[Tile], source: str, note: str, shared: Sequence[str] = ()) -> str:
    """Lay the sheet out as HTML.

    Parameters
    ----------
    book : str
        Its name.
    tiles : sequence of Tile
        In the order of the book.
    source, note : str
        What the table ``photos`` is in, and how its lines are laid out.
    shared : sequence of str
        Flags that all photographs have, and that their tiles do not tell.
    """
    title = f"Photographs of {html.escape(book)}"
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title><style>{_STYLE}</style></head><body>",
            f"<header><h1>{title}</h1>",
            _summary(tiles),
            f"<p>All are flagged: {html.escape(', '.join(shared))}.</p>" if shared else "",
            f"<p>On the pictures: {KEY}; diamonds are patches that count, crosses those that hardly do. A "
            "picture leads to its review picture.</p>",
            "<p>Where corners or outline are wrong, mend the places in the photograph’s line, and put it in "
            f"the place of its row in {html.escape(source)}. {html.escape(note)}</p></header><main>",
            *(_article(number, tile) for number, tile in enumerate(tiles, start=1)),
            f"</main><script>{_SCRIPT}</script></body></html>",
            "",
        ]
    )


def _summary(tiles: Sequence[Tile]) -> str:
    marked = [(number, tile) for number, tile in enumerate(tiles, start=1) if tile.reasons]
    if not marked:
        return f'<p class="summary">None of {len(tiles)} needs a look.</p>'
    links = ", ".join(f'<a href="#view-{number}">{html.escape(tile.name)}</a>' for number, tile in marked)
    need = "needs" if len(marked) == 1 else "need"
    return f'<p class="summary">▲ {len(marked)} of {len(tiles)} {need} a look: {links}</p>'


def _article(number: int, tile: Tile) -> str:
    name = html.escape(tile.name)
    shows = f"pot {tile.pot}" + (f", {tile.view}" if tile.view else "") if tile.pot else "no pot"
    look = "".join(f"<li>{html.escape(reason)}</li>" for reason in tile.reasons)
    return "\n".join(
        part
        for part in (
            f'<article id="view-{number}"{" class=look" if look else ""}>',
            _picture(tile, shows),
            f"<h2>{name}</h2>",
            f"<p>{html.escape(shows)}</p>",
            _colour(tile.lab),
            f'<div class="mark"><strong>▲ Look</strong><ul>{look}</ul></div>' if look else "",
            f'<p class="flags">Flags: {html.escape(tile.flags)}</p>' if tile.flags else "",
            f"<details{' open' if look else ''}><summary>Its line, row {tile.place}</summary>",
            f'<textarea readonly rows="4" spellcheck="false" aria-label="Line of {name}">'
            f"{html.escape(tile.line)}</textarea></details>",
            "</article>",
        )
        if part
    )


def _picture(tile: Tile, shows: str) -> str:
    if not tile.picture:
        return '<div class="blank">not to be opened</div>'
    drawn = ", with what was measured drawn over it" if tile.overlaid else ", as read"
    data = base64.b64encode(tile.picture).decode("ascii")
    image = (
        f'<img src="data:image/jpeg;base64,{data}" alt="{html.escape(f"{tile.name}: {shows}{drawn}")}" '
        'loading="lazy">'
    )
    return f'<a href="{html.escape(quote(tile.link))}">{image}</a>' if tile.link else image


def _colour(lab: NDArray[np.float64]) -> str:
    if np.isnan(lab).any():
        return '<p class="colour">no colour</p>'
    shown, outside = lab_to_srgb(lab)
    red, green, blue = np.rint(255 * shown).astype(int)
    # A colour that the display cannot show has a corner cut off.
    cut = " cut" if outside else ""
    numbers = " ".join(
        f"{axis}&nbsp;{value:.1f}" for axis, value in zip(("L*", "a*", "b*"), lab, strict=True)
    )
    return (
        f'<p class="colour"><span class="swatch{cut}" style="background:rgb({red},{green},{blue})"></span>'
        f"{numbers}</p>"
    )


_SCRIPT = """
addEventListener("click", event => { if (event.target.matches("textarea")) event.target.select(); });
"""

_STYLE = """
body { margin: 1rem; font: 15px/1.4 system-ui, sans-serif; color: #2b2b2b; background: #fff; }
header { max-width: 60rem; }
h1 { font-size: 1.4rem; margin: 0; }
h2 { font-size: 1rem; margin: .5rem 0 0; overflow-wrap: anywhere; }
p, ul { margin: .25rem 0; }
ul { padding-left: 1.1rem; overflow-wrap: anywhere; }
a { color: #1f4e79; overflow-wrap: anywhere; }
.summary { font-size: 1.1rem; font-weight: 600; }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(14rem, 1fr)); gap: 1rem;
  align-items: start; margin-top: 1rem; }
article { border: 1px solid #b4b4b4; padding: .5rem; min-width: 0; }
article.look { border: 1px solid #b23a00; outline: 4px double #b23a00; }
article:target { background: #f2f2f2; }
img, .blank { width: 100%; aspect-ratio: 4 / 3; object-fit: contain; background: #e4e4e4; }
img { display: block; }
.blank { display: grid; place-content: center; background: #e4e4e4; color: #595959; }
.mark { border-left: 4px solid #b23a00; padding-left: .5rem; }
.flags { color: #595959; font-size: .87rem; }
.colour { display: flex; align-items: center; gap: .4rem; font-size: .93rem; }
.swatch { width: 2rem; height: 1.5rem; border: 1px solid #757575; flex: none; }
.swatch.cut { clip-path: polygon(0 0, 70% 0, 100% 50%, 100% 100%, 0 100%); }
summary { font-size: .87rem; cursor: pointer; }
textarea { width: 100%; box-sizing: border-box; font: 12px/1.4 ui-monospace, monospace; resize: vertical; }
@media (max-width: 34rem) { main { grid-template-columns: 1fr 1fr; gap: .6rem; } }
@media print { details, a { color: inherit; } article { break-inside: avoid; } }
"""
