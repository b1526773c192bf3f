"""Evidence: what the cells of one column of notes say about what it holds."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from sagglab.notes.cells import (
    Amount,
    comma_is_open,
    is_photograph,
    orders_of,
    read_amount,
    read_date,
)
from sagglab.notes.mapping import OPEN
from sagglab.notes.words import cell_word, state_named

#: What stands in a cell to say that nothing is there.
DASHES = frozenset("-–—/")
#: What stands in a cell to say that it is not known.
NOT_KNOWN = frozenset(("?", "??", "???"))
#: Cells shown with a proposal.
_SHOWN = 3


@dataclass(frozen=True)
class Evidence:
    """The cells of one column.

    Attributes
    ----------
    cells : mapping of int to str
        Those that are not blank, by the number of their row.
    """

    cells: Mapping[int, str]

    @cached_property
    def texts(self) -> list[str]:
        """Cells that say something: dashes and question marks do not."""
        return [cell for cell in self.cells.values() if cell not in DASHES | NOT_KNOWN]

    @cached_property
    def shown(self) -> tuple[str, ...]:
        """A few different ones."""
        return tuple(dict.fromkeys(" ".join(cell.split()) for cell in self.texts))[:_SHOWN]

    @cached_property
    def amounts(self) -> list[Amount]:
        """Those that are amounts; what a comma before three figures means does not matter here."""
        read = (read_amount(cell, "decimal comma") for cell in self.texts)
        return [amount for amount in read if amount is not None]

    @property
    def units(self) -> Counter[str]:
        """The units that stand beside the amounts."""
        return Counter(amount.unit for amount in self.amounts if amount.unit)

    @property
    def bare(self) -> int:
        """How many numbers have no unit beside them; none of anything needs none."""
        return sum(amount.unit is None and amount.value != 0 for amount in self.amounts)

    @property
    def are_amounts(self) -> bool:
        """Whether they are mostly amounts."""
        words = sum(cell_word(cell) == "none" for cell in self.texts)
        return bool(self.amounts) and 2 * len(self.amounts) >= len(self.texts) - words

    @property
    def are_ticks(self) -> bool:
        """Whether all say yes or no."""
        return bool(self.texts) and all(cell_word(cell) in ("yes", "no", "none") for cell in self.texts)

    @property
    def says_no(self) -> bool:
        """Whether any says no."""
        return any(cell_word(cell) in ("no", "none") for cell in self.texts)

    @property
    def are_photographs(self) -> bool:
        """Whether they mostly name photographs."""
        return 2 * sum(map(is_photograph, self.texts)) > len(self.texts)

    @property
    def are_states(self) -> bool:
        """Whether all tell the state of a pot."""
        return bool(self.texts) and all(map(state_named, self.texts))

    @cached_property
    def dates(self) -> list[str]:
        """Those that are dates, in whatever order."""
        return [cell for cell in self.texts if read_date(cell, "day first") or read_date(cell, "month first")]

    @property
    def are_dates(self) -> bool:
        """Whether they are mostly dates."""
        return 2 * len(self.dates) > len(self.texts)

    @property
    def order(self) -> str:
        """How figures of dates are ordered: settled by the dates, needless, or open."""
        if all(map(read_date, self.dates)):
            return ""
        orders = orders_of(self.dates)
        return orders[0] if len(orders) == 1 else OPEN if orders else ""

    @property
    def by_stops(self) -> str:
        """A date that is read with the day first for its full stops alone, as "5.4.25"; mostly empty."""
        slashed = {cell: cell.replace(".", "/") for cell in self.dates if read_date(cell)}
        open_ones = [cell for cell, other in slashed.items() if read_date(other) is None]
        return open_ones[0] if open_ones and len(orders_of(list(slashed.values()))) > 1 else ""

    def comma(self, others: str) -> str:
        """Tell what a comma before three figures is, by other numbers of the column, then of all notes."""
        if not any(map(comma_is_open, self.texts)):
            return ""
        for text in ("\n".join(self.texts), others):
            decimal = re.search(r"\d,(?:\d{1,2}|\d{4,})(?![\d.,])", text) is not None
            point = re.search(r"\d\.(?:\d{1,2}|\d{4,})(?![\d.,])", text) is not None
            if decimal != point:
                return "decimal comma" if decimal else "thousands comma"
        return OPEN
