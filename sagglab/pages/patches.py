"""Patches: a colour as a small field of HTML, its corner cut off where the display cannot show it."""

from __future__ import annotations

import html

import numpy as np
from numpy.typing import NDArray

from sagglab.colour import as_hex, lab_to_srgb
from sagglab.pages.numbers import decimal


def patch(lab: NDArray[np.float64], title: str = "", size: str = "3.4em;height:1.3em") -> str:
    """Make one colour a patch; one that is not known is nothing.

    Parameters
    ----------
    lab : ndarray, shape (3,)
    title : str
        What it is the colour of.
    size : str
        Width and height, as CSS has them.
    """
    if not np.isfinite(lab).all():
        return ""
    srgb, outside = lab_to_srgb(lab)
    about = f"L* {decimal(lab[0], 1)}, a* {decimal(lab[1], 1)}, b* {decimal(lab[2], 1)}"
    about = (f"{title}: " if title else "") + about
    about = html.escape(about + ("; a cut corner: beyond what the display can show" if outside else ""))
    # What a front end keeps of a page that it does not trust: colours and sizes, but no style sheet.
    box = f"background-color:{as_hex(srgb)};display:inline-block;width:{size}"
    kind = "patch cut" if outside else "patch"
    return f'<span class="{kind}" role="img" style="{box}" aria-label="{about}" title="{about}"></span>'


def swatch(lab: NDArray[np.float64], title: str) -> str:
    """Make one colour a large patch with its title below."""
    return f'<span class="titled">{patch(lab, title, "7em;height:4em")}<br>{html.escape(title)}</span>'


def swatches(colours: NDArray[np.float64] | None) -> str:
    """Lay out the low end, the middle and the high end of a prediction."""
    if colours is None:
        return ""
    names = ("low", "middle", "high")
    return "<p>" + "".join(swatch(lab, name) for lab, name in zip(colours, names, strict=True)) + "</p>"
