"""A fresh batch book as a workbook: headings with notes, cells that offer what is known, typed rows."""

from __future__ import annotations

import datetime as dt
import io
import math
from collections.abc import Mapping, Sequence

from sagglab.book.fresh import (
    ANY,
    EXAMPLES,
    EXPLAINED,
    EXPLANATIONS,
    MATERIALS,
    OFFERS,
    Offer,
    explanations,
    filled,
    fresh_columns,
)
from sagglab.columns import Column
from sagglab.delimited import number
from sagglab.units import parse_heading
from sagglab.workbook import Rows

#: The last row that offers values; more rows can be written, without being offered any.
_LAST_ROW = 1000

#: Names, which a spreadsheet would otherwise take for dates or numbers: "3-4", "007".
_NAMES = frozenset({"pot", "firing", "photo", "view", "setup", "share", "place", "plan", "sensor class"})

_DAY, _DAY_AND_TIME = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"


def fresh_workbook(rows: Mapping[str, Rows] | None = None) -> bytes:
    """Give a fresh book as a workbook with a sheet for each table.

    Parameters
    ----------
    rows : mapping of str to rows of text, optional
        Rows by the name of their table, the headings first. A number becomes a cell with a number, a date
        one with a date.

    Returns
    -------
    bytes
        Of an ``.xlsx`` file.
    """
    # Loaded here: most runs need none, and openpyxl takes 0.15 s.
    from openpyxl import Workbook

    workbook = Workbook()
    workbook.remove(workbook.active)
    for name, columns in fresh_columns().items():
        _lay_out(workbook.create_sheet(name), name, columns, filled(name, columns, rows))
    _explain(workbook.create_sheet(EXPLANATIONS))
    into = io.BytesIO()
    workbook.save(into)
    return into.getvalue()


def _lay_out(sheet, name: str, columns: tuple[Column, ...], rows: Rows) -> None:
    from openpyxl.utils import get_column_letter

    declared = {column.name: column for column in columns}
    head, *body = rows
    _write_head(sheet, head)
    sheet.freeze_panes = "B2"
    for position, text in enumerate(head, start=1):
        heading = parse_heading(text)
        column = declared.get(heading.name, Column(heading.name, "", ANY, unit=heading.unit or ""))
        letter = get_column_letter(position)
        sheet.cell(1, position).comment = _note(name, column)
        if column.kind == "date":
            sheet.column_dimensions[letter].number_format = _DAY_AND_TIME if column.name == "taken" else _DAY
        elif column.name in _NAMES:
            sheet.column_dimensions[letter].number_format = "@"
        offer = OFFERS.get((name, column.name))
        if offer is not None:
            sheet.add_data_validation(_validation(offer, column, letter))
        values = [row[position - 1] if position <= len(row) else "" for row in body]
        for row, value in enumerate(values, start=2):
            _write_cell(sheet.cell(row, position), value, column.kind or "number" * bool(heading.unit))
        least = 24 if column.kind == "text" and column.name not in _NAMES else 12
        longest = max(map(len, [text, *values]))
        sheet.column_dimensions[letter].width = min(max(longest + 3, least), 40)


def _note(name: str, column: Column):
    """Give the note on a heading, high enough for what it says."""
    from openpyxl.comments import Comment

    lines = [f"{column.meaning[:1].upper()}{column.meaning[1:]}."]
    if column in MATERIALS:
        lines.append(f"{ANY[:1].upper()}{ANY[1:]}.")
    elif column.unit:
        lines.append("Another unit may stand in the brackets.")
    if column.name in EXAMPLES[name]:
        lines.append(f"Example: {EXAMPLES[name][column.name]}")
    if column.required and (name, column.name) != ("photos", "pot"):
        lines.append("Each row must have it.")
    # Some 40 letters fit into a line of this width, in the typefaces of the common spreadsheets.
    high = sum(1 + len(line) // 40 for line in lines)
    return Comment("\n".join(lines), "sagglab", width=300, height=30 + 18 * high)


def _validation(offer: Offer, column: Column, letter: str):
    from openpyxl.worksheet.datavalidation import DataValidation

    if offer.table:
        # As many rows as are filled: a plain range would offer hundreds of blanks.
        names = f"{offer.table}!$A$2:$A${_LAST_ROW}"
        formula = f"OFFSET({offer.table}!$A$2,0,0,MAX(1,COUNTA({names})),1)"
        told = f"It is not in the table {offer.table} yet. Add it there, too."
    else:
        formula = f'"{",".join(offer.values)}"'
        told = f"Known are: {', '.join(offer.values)}."
    validation = DataValidation(
        type="list",
        formula1=formula,
        allow_blank=True,
        showErrorMessage=offer.asks,
        errorStyle="warning",
        errorTitle=column.name,
        error=told,
    )
    validation.add(f"{letter}2:{letter}{_LAST_ROW}")
    return validation


def _explain(sheet) -> None:
    from openpyxl.styles import Alignment

    _write_head(sheet, EXPLAINED)
    sheet.freeze_panes = "A2"
    widths = (10, 24, 8, 14, 60, 36, 36)
    for row, cells in enumerate(explanations(), start=2):
        for position, text in enumerate(cells, start=1):
            cell = sheet.cell(row, position)
            _write_cell(cell, text, "text")
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        # Said here, since not every spreadsheet makes a row as high as its wrapped text when it opens a file.
        lines = max(1 + (len(text) - 1) // (width - 2) for text, width in zip(cells, widths, strict=True))
        sheet.row_dimensions[row].height = 15 * lines
    for position, width in enumerate(widths):
        sheet.column_dimensions["ABCDEFG"[position]].width = width


def _write_head(sheet, head: Sequence[str]) -> None:
    from openpyxl.styles import Font
    from openpyxl.worksheet.properties import PageSetupProperties

    for position, text in enumerate(head, start=1):
        cell = sheet.cell(1, position)
        _write_cell(cell, text, "text")
        cell.font = Font(name=cell.font.name, size=cell.font.size, bold=True)
    # Printed on as many pages as its rows need, each as wide as the table.
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.print_title_rows = "1:1"


def _write_cell(cell, text: str, kind: str) -> None:
    """Write a cell as what its column holds; what is neither number nor date stays the text that it is."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    value: object = ILLEGAL_CHARACTERS_RE.sub("", text)
    if not value:
        return
    figure = number(text)
    # Of a column that nothing is known of, only what reads the same as a number: "007" is a name.
    if not math.isnan(figure) and (kind == "number" or kind == "" and f"{figure:.12g}" == text):
        value = int(figure) if figure.is_integer() else figure
    elif kind == "date":
        value = _date(text)
    cell.value = value
    if isinstance(value, dt.datetime):
        cell.number_format = _DAY_AND_TIME if value.time() != dt.time() else _DAY
    elif isinstance(value, str) and value[:1] in ("=", "+", "-", "@"):
        # Names are text, whatever they begin with; the mark keeps them so when the cell is edited.
        cell.data_type = "s"
        cell.quotePrefix = True


def _date(text: str) -> dt.datetime | str:
    try:
        date = dt.datetime.fromisoformat(text)
    except ValueError:
        return text
    return text if date.tzinfo else date
