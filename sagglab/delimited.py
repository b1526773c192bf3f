"""Plain text tables as spreadsheets, loggers and people write them: any common encoding, any delimiter."""

from __future__ import annotations

import codecs
import csv
import io
import math
from pathlib import Path
from typing import TextIO

from sagglab.errors import FileFormatError, MissingFileError

DELIMITERS = (";", "\t", ",")

#: A number in a table stays below this, so that turning it into another unit cannot overflow.
LARGEST = 1e15


def open_text(path: Path) -> TextIO:
    """Open a text file in UTF-8 or UTF-16 (marked at its head or not) or Latin-1, to be read by lines.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        The file cannot be opened or is no text.
    """
    try:
        data = Path(path).read_bytes()
    except FileNotFoundError as error:
        raise MissingFileError(
            str(path), "there is no such file", "check the name, or put the file there"
        ) from error
    except OSError as error:
        raise FileFormatError(
            str(path), f"it cannot be opened ({error.strerror})", "check that it is a file you may read"
        ) from error
    except ValueError as error:  # a name that no file can have
        raise MissingFileError(str(path), f"it cannot be opened ({error})", "check the name") from error
    encoding = _encoding(data)
    if encoding is None:
        raise FileFormatError(str(path), "it is no text file", "export it again as CSV")
    # The bytes stay as they are and are decoded line by line: a long record as one string of text, and again
    # as a list of lines, would take three times the memory.
    return io.TextIOWrapper(io.BytesIO(data), encoding=encoding)


def _encoding(data: bytes) -> str | None:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encodings = ["utf-16"]
    elif b"\0" in data:
        # Without a mark at its head, UTF-16 shows by its zeros: every second byte of plain figures is one.
        halves = {"utf-16-le": data[1::2], "utf-16-be": data[::2]}
        encodings = [name for name, half in halves.items() if half.count(0) > 0.9 * len(half)]
    elif data.isascii():
        return "ascii"
    else:
        encodings = ["utf-8-sig", "latin-1"]
    for encoding in encodings:
        try:
            if "\0" not in data.decode(encoding):
                return encoding
        except UnicodeDecodeError:
            continue
    return None


def read_text(path: Path) -> str:
    """Read a whole text file, as `open_text` opens it."""
    with open_text(path) as text:
        return text.read()


def delimiter_of(line: str) -> str | None:
    """Tell what separates the cells of a line: the first of ``;``, tab and ``,`` that stands outside quotes.

    Examples
    --------
    >>> delimiter_of("time;temperature [degC]"), delimiter_of('"a;b",c'), delimiter_of("20 81")
    (';', ',', None)
    """
    outside = "".join(line.split('"')[::2])
    return next((delimiter for delimiter in DELIMITERS if delimiter in outside), None)


def table_delimiter(text: str) -> str:
    r"""Tell what separates the cells of a table, by its first filled line.

    Examples
    --------
    >>> table_delimiter("\n\npot;firing\np1;f1"), table_delimiter("pot")
    (';', ',')
    """
    first = next((line for line in text.splitlines() if line.strip()), "")
    return delimiter_of(first) or ","


def split_rows(text: str, delimiter: str) -> list[list[str]]:
    """Cut text into rows of stripped cells; blank lines stay, so that rows keep their number.

    Raises
    ------
    FileFormatError
        The quotation marks do not pair up, so that rows would be lost inside a cell.
    """
    # Line ends inside quotes belong to their cell, as in a spreadsheet. Quotes are read strictly: an unpaired
    # one would otherwise swallow every row after it without a word.
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        rows.extend([cell.strip() for cell in line] for line in lines)
    except csv.Error as error:
        raise FileFormatError(
            f"row {len(rows) + 1}",
            f"its quotation marks do not pair up, from row {len(rows) + 1} on ({error})",
            'write a quotation mark inside a quoted cell twice, as in "a 6"" bowl"',
        ) from error
    return rows


def read_rows(path: Path) -> list[list[str]]:
    """Read a table as rows, as `split_rows` cuts them.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        The file cannot be read, is no text, or its quotation marks do not pair up.
    """
    text = read_text(path)
    return split_rows(text, table_delimiter(text))


def year_in_full(year: int) -> int:
    """Give the year that two figures mean: 1969 to 2068.

    References
    ----------
    IEEE Std 1003.1-2017, strptime, %y.

    Examples
    --------
    >>> year_in_full(26), year_in_full(98), year_in_full(2026)
    (2026, 1998, 2026)
    """
    return year if year > 99 else year + (1900 if year > 68 else 2000)


def number(cell: str) -> float:
    """Read a number with a decimal point or comma; NaN when it is none.

    Examples
    --------
    >>> number("2,5"), number("1e3"), number("open")
    (2.5, 1000.0, nan)
    """
    text = cell.strip().replace("\u2212", "-")
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    # float() alone would also take "nan", "infinity" and "1_000", which no table means as a number.
    if not text or not text[-1].isdigit() and text[-1] != "." or "_" in text:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        return math.nan
    # What no pot, kiln or clock comes near, such as "1e999", would end as infinity in a later step.
    return value if abs(value) < LARGEST else math.nan
