"""Notes: a spreadsheet with headings of its maker's own, brought into the tables of a batch book.

`read_notes` finds the sheet and its headings, `propose_mapping` says where each column goes and why,
`ask_mapping` lets the maker agree or correct, and `book_tables` makes rows for the book's tables. Nothing is
guessed without a word, and nothing that stands in the notes gets lost.
"""

from sagglab.notes.asking import ask_mapping
from sagglab.notes.mapping import MappedColumn, Mapping, read_mapping
from sagglab.notes.proposal import propose_mapping
from sagglab.notes.sheet import Notes, read_notes
from sagglab.notes.tables import book_tables

__all__ = [
    "MappedColumn",
    "Mapping",
    "Notes",
    "ask_mapping",
    "book_tables",
    "propose_mapping",
    "read_mapping",
    "read_notes",
]
