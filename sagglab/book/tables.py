"""The batch book's tables: read from CSV or a workbook, cell by cell, into typed columns with their units."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from sagglab.book.amounts import number_wanted, too_large
from sagglab.book.likeness import nearest, nearest_name
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, Column, empty
from sagglab.delimited import number, read_rows
from sagglab.errors import BookError, FileFormatError, Problem, UnitError
from sagglab.materials import find_material, material_names
from sagglab.units import ABSOLUTE_ZERO_C, Heading, convert, parse_heading, working_unit
from sagglab.workbook import Rows, read_sheets

WORKBOOK = "book.xlsx"

#: What is told of a table that lacks a required column; nothing else is told of that column.
NO_COLUMN = "the column is missing"

_DATE = r"^(\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?)?)\s*(?:Z|[+-]\d\d(?::?\d\d)?)?$"


def read_tables(folder: Path) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """Read every table of the book.

    Returns
    -------
    tables : dict of DataFrame
        All tables of the book, a missing one empty; the index is the row as a spreadsheet numbers it.
    problems : list of Problem

    Raises
    ------
    BookError
        The folder holds none of the tables.
    """
    problems: list[Problem] = []
    sheets = _workbook_rows(folder, problems)
    tables = {}
    for name, columns in (BOOK_TABLES | OPTIONAL_TABLES).items():
        file = folder / f"{name}.csv"
        if file.is_file() and name in sheets:
            problems.append(
                Problem(name, None, "", f"it is both in {file.name} and in {WORKBOOK}", "keep one of the two")
            )
        if file.is_file():
            rows = _csv_rows(file, name, problems)
        else:
            rows = sheets.get(name)
        if rows is None:
            tables[name] = empty(columns)
            if not file.is_file() and name in BOOK_TABLES:
                cause = f"the table is missing: there is no {file.name} and no sheet '{name}' in {WORKBOOK}"
                remedy = f"add it, with at least the columns {_required(columns)}"
                meant = next((sheet for sheet in sheets if nearest(sheet, BOOK_TABLES) == name), None)
                if meant:
                    cause, remedy = f"{cause}, but a sheet '{meant}'", f"call it {name} if you meant that"
                problems.append(Problem(name, None, "", cause, remedy))
        else:
            tables[name] = _typed(rows, name, columns, problems)
    # A workbook that is there but broken is a fault to list, as is a table with headings alone.
    there = [folder / WORKBOOK] if not sheets else []
    there += [folder / f"{name}.csv" for name in BOOK_TABLES]
    if not sheets.keys() & BOOK_TABLES.keys() and not any(file.is_file() for file in there):
        raise BookError(
            str(folder),
            f"it is no batch book: it holds none of {', '.join(f'{name}.csv' for name in BOOK_TABLES)}",
            f"give a folder that holds them, or a {WORKBOOK} with such sheets",
        )
    return tables, problems


def _required(columns: tuple[Column, ...]) -> str:
    return ", ".join(column.heading for column in columns if column.required)


def _workbook_rows(folder: Path, problems: list[Problem]) -> dict[str, Rows]:
    file = folder / WORKBOOK
    if not file.is_file():
        return {}
    try:
        return read_sheets(file)
    except FileFormatError as error:
        problems.append(Problem(WORKBOOK, None, "", error.cause, error.remedy))
        return {}


def _csv_rows(file: Path, name: str, problems: list[Problem]) -> Rows | None:
    try:
        return read_rows(file)
    except FileFormatError as error:
        problems.append(Problem(name, None, "", error.cause, error.remedy))
        return None


def _typed(rows: Rows, name: str, columns: tuple[Column, ...], problems: list[Problem]) -> pd.DataFrame:
    """Turn rows of text into a typed table, and list what does not fit."""
    declared = {column.name: column for column in columns}
    head = rows[0] if rows else []
    body = {
        row_number: cells for row_number, cells in enumerate(rows[1:], start=2) if any(cell for cell in cells)
    }
    for row_number, cells in body.items():
        if any(cells[len(head) :]):
            problems.append(
                Problem(
                    name,
                    row_number,
                    "",
                    f"it has {len(cells)} cells under {len(head)} headings",
                    "put text that holds the delimiter in quotes",
                )
            )
    index = pd.Index(body, dtype="int64")
    table: dict[str, pd.Series] = {}
    for position, text in enumerate(head):
        if not text:
            continue
        cells = pd.Series(
            [cells[position] if position < len(cells) else "" for cells in body.values()],
            index=index,
            dtype="str",
        )
        heading, values = _typed_column(parse_heading(text), cells, name, declared, problems)
        if heading in table:
            problems.append(
                Problem(
                    name, 1, heading, "the column is there twice", "keep one, or give the other a new name"
                )
            )
            continue
        table[heading] = values
    for column in columns:
        if column.required and column.heading not in table:
            problems.append(
                Problem(name, 1, column.heading, NO_COLUMN, "add it, and fill it in for each row")
            )
    problems += _misspelt(table, name, columns)
    blank = empty(columns).reindex(index)
    texts = [column.heading for column in columns if column.kind == "text"]
    blank[texts] = blank[texts].fillna("")
    others = [heading for heading in blank if heading not in table]
    return pd.concat([pd.DataFrame(table, index=index), blank[others]], axis=1)


def _misspelt(table: dict[str, pd.Series], name: str, columns: tuple[Column, ...]) -> Iterator[Problem]:
    """Yield a warning for each heading that is nearly a column that is lacking, or nearly a material."""
    declared = {column.name for column in columns}
    lacking = {column.name: column for column in columns if column.heading not in table}
    for text, values in table.items():
        heading = parse_heading(text)
        if heading.name in declared:
            continue
        if meant := nearest_name(heading.name, lacking):
            cause = f"no column is called so, but one is called '{meant}'"
            unit = lacking[meant].unit and (heading.unit or lacking[meant].unit)
            used = ", with the unit that you used," if unit and not heading.unit else ""
            remedy = f"write the heading as '{Heading(meant, unit or None)}'{used} if you meant that"
        elif (
            name == "pots"
            and (heading.unit or pd.api.types.is_numeric_dtype(values))
            and find_material(heading.name) is None
            and (meant := nearest_name(heading.name, material_names()))
        ):
            cause = f"no list knows this material, but '{meant}' is nearly the same"
            remedy = f"write the heading as '{Heading(meant, heading.unit or 'g')}' if you meant that"
            remedy += "; if it is another material, leave it"
        else:
            continue
        yield Problem(name, 1, text, cause, remedy, False)


def _typed_column(
    heading: Heading, cells: pd.Series, table: str, declared: dict[str, Column], problems: list[Problem]
) -> tuple[str, pd.Series]:
    column = declared.get(heading.name)
    if column is not None and column.kind == "text":
        return column.heading, cells
    if column is not None and column.kind == "date":
        return column.heading, _dates(cells, table, heading.name, problems)
    values = cells.map(number).astype(float)
    filled = cells != ""
    material = find_material(heading.name)
    if heading.unit is None:
        numbers = values[filled].notna()
        # One number among a material's cells is an amount; a text such as "a handful" beside it is a fault.
        numeric = filled.any() and (numbers.all() if material is None else numbers.any())
        if column is not None:
            wants_unit = column.unit
        elif not numeric:
            wants_unit = ""
        else:
            wants_unit = "g" if material else "degC" if "temperature" in heading.name.lower() else ""
        if wants_unit:
            problems.append(
                Problem(
                    table,
                    1,
                    heading.name,
                    "no unit is stated, and none is guessed",
                    f"write the heading as '{heading.name} [{wants_unit}]', with the unit that you used",
                )
            )
        if column is None and not numeric:
            return heading.name, cells
    unit = heading.unit
    if unit is not None:
        try:
            unit = working_unit(unit)
            values = pd.Series(convert(values, heading.unit, unit), index=cells.index)
            if column is not None and column.unit:
                convert(0.0, unit, column.unit)
        except UnitError as error:
            problems.append(Problem(table, 1, str(heading), f"{error.where}: {error.cause}", error.remedy))
    for row in cells.index[filled & values.isna()]:
        problems.append(
            Problem(
                table,
                row,
                str(heading),
                f"'{cells[row]}' is no number",
                number_wanted(cells[row], heading.unit),
            )
        )
    problems += too_large(table, heading, values)
    temperature = unit == "degC"
    # A number without a unit is no amount: a factor's levels may be coded −1 and 1.
    amount = unit is not None or column is not None or material is not None
    for row in values.index[(values < (ABSOLUTE_ZERO_C if temperature else 0)) & amount]:
        cause = "is below absolute zero" if temperature else "is a negative amount"
        problems.append(Problem(table, row, str(heading), f"'{cells[row]}' {cause}", "correct it"))
    if table == "pots" and column is None and blank_is_none(heading.name, unit):
        values = values.where(filled, 0.0)
    return str(Heading(heading.name, unit)), values


def blank_is_none(name: str, unit: str | None) -> bool:
    """Whether a blank cell says that the pot had none of it."""
    material = find_material(name)
    if material is not None:
        return material.use in ("dusting", "packing")
    # A material that is not in the list is weighed or measured out only as a dusting or a packing.
    return unit in ("g", "mL")


def _dates(cells: pd.Series, table: str, name: str, problems: list[Problem]) -> pd.Series:
    # Only dates written out are taken: pandas would also take "today". The time on the maker's own clock is
    # what counts, so that an offset from UTC is passed over.
    local = cells.str.extract(_DATE, expand=False)
    dates = pd.to_datetime(local, errors="coerce", format="ISO8601").astype("datetime64[us]")
    for row in cells.index[(cells != "") & dates.isna()]:
        problems.append(
            Problem(
                table,
                row,
                name,
                f"'{cells[row]}' is no date",
                "write it as 2026-05-31 or 2026-05-31 14:05",
                False,
            )
        )
    return dates
