"""Tables as a workbook: to be opened, filled in and copied from, with no cell taken for a formula."""

from __future__ import annotations

import io

import pandas as pd

_WIDEST = 40


def workbook_bytes(tables: dict[str, pd.DataFrame]) -> bytes:
    """Make a workbook with a sheet for each table.

    Parameters
    ----------
    tables : dict of str to DataFrame
        By the sheet's name; the index is left out, and what is missing is a blank cell.

    Returns
    -------
    bytes
        Of an ``.xlsx`` file: headings bold, the first row kept in sight, columns as wide as what they hold.
    """
    # Loaded here: openpyxl takes 0.15 s.
    from openpyxl import Workbook
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    workbook = Workbook()
    workbook.remove(workbook.active)
    for name, table in tables.items():
        sheet = workbook.create_sheet(name)
        sheet.freeze_panes = "A2"
        for column, heading in enumerate(table.columns, start=1):
            values = [None if pd.isna(value) else value for value in table[heading].tolist()]
            for row, value in enumerate([heading, *values], start=1):
                cell = sheet.cell(row, column)
                _fill(cell, value)
                if row == 1:
                    cell.font = Font(bold=True)
            longest = max(len(str(value)) for value in [heading, *values] if value is not None)
            sheet.column_dimensions[get_column_letter(column)].width = min(longest + 3, _WIDEST)
    into = io.BytesIO()
    workbook.save(into)
    return into.getvalue()


def _fill(cell, value: object) -> None:
    # Six digits: 2.83495 g of what was planned as a tenth of an ounce, not 2.8349523125000005.
    cell.value = float(f"{value:.6g}") if isinstance(value, float) else value
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@"):
        # Names are text, whatever they begin with; the mark keeps them so when the cell is edited.
        cell.data_type = "s"
        cell.quotePrefix = True
