"""The bench sheet in files: to print, to read anywhere, and to become rows of the batch book."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

from sagglab.handout.content import STEPS, sheet_content
from sagglab.handout.paper import print_pages
from sagglab.handout.workbook import workbook_bytes
from sagglab.plan.sheet import BenchSheet
from sagglab.writing import write_whole

PRINTED, TABLE, ROWS = "bench-sheet.pdf", "bench-sheet.csv", "next-batch.xlsx"


def write_bench_sheet(
    sheet: BenchSheet, folder: str | os.PathLike[str], paper: str = "A4"
) -> tuple[Path, ...]:
    """Write a bench sheet into a folder, which is made when it is not there.

    Parameters
    ----------
    sheet : BenchSheet
    folder : path
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    tuple of Path
        ``bench-sheet.pdf`` to print; ``bench-sheet.csv``, the same pots with columns to tick; and
        ``next-batch.xlsx``, the rows that become the tables ``pots`` and ``firings`` of the batch book.

    Raises
    ------
    UnknownNameError
        There is no such paper.
    PlanError
        A firing's schedule cannot be understood.
    OSError
        The folder cannot be written into.

    Examples
    --------
    >>> import tempfile
    >>> from sagglab import Factor, plan_batch
    >>> plan = plan_batch([Factor("sugar", [0, 4], "g")], firings=2, pots_per_firing=2, model="main", seed=1)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     [path.name for path in write_bench_sheet(plan.bench_sheet(), folder)]
    ['bench-sheet.pdf', 'bench-sheet.csv', 'next-batch.xlsx']
    """
    printed = bench_pdf(sheet, paper)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    contents = {
        PRINTED: printed,
        TABLE: tick_table(sheet).to_csv(index=False, lineterminator="\n", float_format="%.6g"),
        ROWS: workbook_bytes({"pots": sheet.pots, "firings": sheet.firings}),
    }
    for name, content in contents.items():
        write_whole(folder / name, content)
    return tuple(folder / name for name in contents)


def tick_table(sheet: BenchSheet) -> pd.DataFrame:
    """Give the sheet's table with each pot's cost, where prices are known, and a blank for each step."""
    table = sheet.table
    if not sheet.costs.empty:
        table = table.assign(**{sheet.cost_heading: sheet.costs["cost"].round(4).to_numpy()})
    return table.assign(**dict.fromkeys(STEPS, ""))


def bench_pdf(sheet: BenchSheet, paper: str = "A4") -> bytes:
    """Print a bench sheet: the batch, a page for each firing, cautions.

    The same sheet gives the same bytes.

    Raises
    ------
    UnknownNameError
        There is no such paper.
    PlanError
        A firing's schedule cannot be understood.
    """
    return print_pages("bench.typ", sheet_content(sheet), paper)
