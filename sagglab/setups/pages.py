"""Pages: how two setups compare, as HTML for a notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sagglab.pages.layout import report

if TYPE_CHECKING:
    from sagglab.setups.comparison import SetupsCompared

#: Columns of the agreement that a page has room for.
_SHOWN = ("things", "colours", "coordinate", "bias", "low", "high", "lower limit", "upper limit", "margin")


def comparison_page(of: SetupsCompared) -> str:
    """Lay the comparison out as HTML: the answer, what it rests on, and the agreement rounded for reading."""
    table = of.table.rename(columns={"bias low": "low", "bias high": "high", "p equivalence": "p"})
    return report("", of.sentences[1:], table[[*_SHOWN, "p"]], answer=of.answer)
