"""The bench sheet in files: to print, to read anywhere, and to become rows of the batch book."""

from __future__ import annotations

import json
import os
from importlib.resources import files
from pathlib import Path

import pandas as pd

from sagglab.errors import PlanError
from sagglab.handout.content import STEPS, sheet_content
from sagglab.handout.workbook import workbook_bytes
from sagglab.plan.sheet import BenchSheet
from sagglab.writing import write_whole

PAPERS = ("a4", "us-letter")
PRINTED, TABLE, ROWS = "bench-sheet.pdf", "bench-sheet.csv", "next-batch.xlsx"


def write_bench_sheet(
    sheet: BenchSheet, folder: str | os.PathLike[str], paper: str = "a4"
) -> tuple[Path, ...]:
    """Write a bench sheet into a folder, which is made when it is not there.

    Parameters
    ----------
    sheet : BenchSheet
    folder : path
    paper : str
        ``a4`` or ``us-letter``.

    Returns
    -------
    tuple of Path
        ``bench-sheet.pdf`` to print; ``bench-sheet.csv``, the same pots with columns to tick; and
        ``next-batch.xlsx``, the rows that become the tables ``pots`` and ``firings`` of the batch book.

    Raises
    ------
    PlanError
        There is no such paper, or a firing's schedule cannot be understood.
    OSError
        The folder cannot be written into.
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
        heading = f"cost, {sheet.currency}" if sheet.currency else "cost"
        table = table.assign(**{heading: sheet.costs["cost"].round(4).to_numpy()})
    return table.assign(**dict.fromkeys(STEPS, ""))


def bench_pdf(sheet: BenchSheet, paper: str = "a4") -> bytes:
    """Print a bench sheet: the batch, a page for each firing, cautions.

    The same sheet gives the same bytes.

    Raises
    ------
    PlanError
        There is no such paper, or a firing's schedule cannot be understood.
    """
    return _compile(sheet, paper, "pdf")


def _compile(sheet: BenchSheet, paper: str, form: str) -> bytes:
    if paper not in PAPERS:
        raise PlanError(f"paper '{paper}'", "there is no such paper", f"write {' or '.join(PAPERS)}")
    # Loaded here: the compiler takes 40 MB and Matplotlib 0.1 s, which only printing needs.
    import matplotlib
    import typst

    source = files("sagglab.handout").joinpath("bench.typ").read_bytes()
    # Matplotlib brings a plain typeface with Greek, Cyrillic and fractions, the same on every computer; other
    # scripts in a user's names fall back on what the computer has.
    return typst.compile(
        source,
        format=form,
        font_paths=[str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")],
        sys_inputs={"content": json.dumps(sheet_content(sheet)), "paper": paper},
        timestamp=0,
    )
