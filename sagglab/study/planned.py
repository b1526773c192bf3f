"""The next batch, the whole way: from a batch book and a plan file to the bench sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.cautions import cautions
from sagglab.columns import MEASURES, empty
from sagglab.errors import MissingFileError, ModelError
from sagglab.handout.bench import write_bench_sheet
from sagglab.measures import gather_results
from sagglab.model.effects import Effects, fit_effects
from sagglab.plan.adding import add_firings
from sagglab.plan.asked import read_sizes
from sagglab.plan.batch import Plan, plan_batch
from sagglab.plan.limits import Limits
from sagglab.plan.plan_file import read_plan_file
from sagglab.plan.power import FiringsNeeded, firings_needed
from sagglab.plan.precision import Precision
from sagglab.plan.sheet import ALLOWANCE, PAPERS, BenchSheet
from sagglab.study.asking import askable
from sagglab.study.left import leave, table_text


@dataclass(frozen=True)
class PlannedBatch:
    """The next batch, with what it can tell and what it takes.

    Attributes
    ----------
    plan : Plan
    precision : Precision
    needed : FiringsNeeded
        What more firings, or more pots, would tell.
    sheet : BenchSheet
    said : tuple of str
        What the book had to do with it.
    paper : str
        On which the bench sheet is to be printed.
    """

    plan: Plan
    precision: Precision
    needed: FiringsNeeded
    sheet: BenchSheet
    said: tuple[str, ...]
    paper: str

    def written(self) -> str:
        """Write the plan down, in Markdown: what it asks, what it will tell, what it takes, cautions."""
        lines = ["# The next batch", "", f"{self.plan.counts}.", ""]
        lines += [f"- {line}" for line in (*self.said, *self.plan.sentences)]
        lines += ["", "## What it will tell", "", f"{self.precision.head}.", ""]
        lines += [f"- {line}" for line in self.precision.sentences]
        lines += ["", "## How many firings", "", f"{self.needed.head}.", ""]
        lines += [f"- {line}" for line in self.needed.sentences]
        lines += ["", "## What it takes", "", *(f"- {line}" for line in self.takes())]
        lines += ["", "## Cautions", "", *(f"- {line}" for line in self.cautions())]
        return "\n".join(lines) + "\n"

    def takes(self) -> tuple[str, ...]:
        """Say what to have ready, and what it costs as far as prices are known."""
        sheet = self.sheet
        said = [f"{sheet!r}."]
        for row in sheet.totals.to_dict("records"):
            ready = f"{row['material']}: {row['to have ready']:.4g} {row['unit']} to have ready"
            stock = f", {row['in stock [g]']:.4g} g in stock" if pd.notna(row["in stock [g]"]) else ""
            cost = f", {row['cost']:.2f} {sheet.currency}".rstrip() if pd.notna(row["cost"]) else ""
            said.append(f"{ready}{stock}{cost}.")
        if len(sheet.costs):
            each = ", ".join(f"{firing} {cost:.2f}" for firing, cost in sheet.firing_costs.to_numpy())
            said.append(
                f"Cost of each firing, as far as prices are known: {each} {sheet.currency}.".replace(
                    " .", "."
                )
            )
        return tuple(said)

    def cautions(self) -> tuple[str, ...]:
        """Say what must be said about these recipes, fired so high."""
        firings = self.sheet.firings
        peaks = firings.get("target peak [degC]", pd.Series(dtype=float))
        return cautions(self.sheet.pots, float(pd.to_numeric(peaks, errors="coerce").max()))


def plan_book(book: Book, plan_file: Path, into: Path, results: Path | None = None) -> PlannedBatch:
    """Plan the next batch of a book, and write plan, charts and bench sheet into a folder.

    Parameters
    ----------
    book : Book
        Its tags are gone on from, and its shelf limits what the plan may take.
    plan_file : path
        What is wanted; see `plan_file.read_plan_file`.
    into : path
    results : path, optional
        The table ``results.csv`` that a study left: the scatter to be expected is taken from it.

    Returns
    -------
    PlannedBatch

    Raises
    ------
    BookError, MissingFileError, FileFormatError, PlanError, ModelError
        What is wrong with the book, the file, or what it asks.
    """
    planned = plan_from_file(book, plan_file, results)
    _write(planned, into)
    return planned


def plan_from_file(book: Book, plan_file: Path, results: Path | None = None) -> PlannedBatch:
    """Plan the next batch of a book as a file wants it; as `plan_book`, without writing."""
    wanted = read_plan_file(plan_file)
    book.require("pots", "firings", "shelf")
    expect, stated = dict(wanted.expect), dict(wanted.sheet)
    if results is not None:
        expect |= {"like": scatter_of(results, str(expect.get("outcome", "L*")))}
        expect.pop("outcome", None)
    paper = str(stated.pop("paper", PAPERS[0]))
    allowance = float(stated.get("allowance", ALLOWANCE))
    limits, said = _with_shelf(wanted.asked, book.shelf, allowance)
    asked = {**wanted.asked, "limits": limits}
    if wanted.adds:
        plan = add_firings(gather_results(book, empty(MEASURES)), **asked)
    else:
        plan = plan_batch(**asked).continuing(book.pots["pot"], book.firings["firing"])
    return told_of(book, plan, expect, stated, said, paper)


def told_of(
    book: Book,
    plan: Plan,
    expect: Mapping[str, Any],
    stated: Mapping[str, Any] = MappingProxyType({}),
    said: tuple[str, ...] = (),
    paper: str = PAPERS[0],
) -> PlannedBatch:
    """Tell of a plan what it can tell and what it takes.

    Parameters
    ----------
    book : Book
    plan : Plan
    expect : mapping
        As `precision.precision` takes it by name.
    stated : mapping
        As `sheet.bench_sheet` takes it by name, the shelf excepted.
    said : tuple of str
        What the book had to do with the plan.
    paper : str
    """
    precision = plan.precision(**expect)
    sheet = plan.bench_sheet(shelf=book.shelf, **stated)
    # Column by column as the book has them, so that the rows can be copied as a block.
    sheet = replace(sheet, pots=_as_in(book.pots, sheet.pots), firings=_as_in(book.firings, sheet.firings))
    return PlannedBatch(plan, precision, _needed(plan, precision), sheet, said, paper)


def _as_in(own: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Order the columns as the book's table has them, those of its own left blank."""
    lacking = {column: "" if own[column].dtype == "str" else np.nan for column in own if column not in rows}
    return rows.assign(**lacking)[[*own.columns, *(column for column in rows if column not in own)]]


def scatter_of(results: Path, outcome: str) -> Effects:
    """Fit the results of a study, for the scatter to be expected of the next.

    Raises
    ------
    MissingFileError
        There is no such table.
    ModelError
        It cannot tell the scatter.
    """
    try:
        table = pd.read_csv(results)
    except FileNotFoundError as error:
        remedy = "run 'sagglab study' first, or leave it out"
        raise MissingFileError(str(results), "there is no such table", remedy) from error
    factors, _ = askable(table, outcome)
    if not factors:
        raise ModelError(str(results), f"no choice can be judged on {outcome}", "state firing_sd and pot_sd")
    return fit_effects(table, outcome, factors)


def _with_shelf(
    asked: Mapping[str, object], shelf: pd.DataFrame, allowance: float
) -> tuple[Limits, tuple[str, ...]]:
    """Limit what the plan may take to what the shelf holds, allowance taken off, where it can fall short."""
    limits, said = asked["limits"], []
    stock = {name: most / (1 + allowance) for name, most in limits.stock.items()}
    in_stock = shelf.set_index("material")["in stock [g]"].dropna()
    pots = (
        sum(read_sizes(asked["firings"], asked.get("pots_per_firing", 6))) if "firings" in asked else np.inf
    )
    for factor in asked["factors"]:
        if factor.unit != "g" or factor.name not in in_stock.index:
            continue
        most = float(in_stock[factor.name]) / (1 + allowance)
        if most < min(stock.get(factor.name, np.inf), pots * factor.levels[-1]):
            stock[factor.name] = most
            said.append(
                f"Of {factor.name} the shelf holds {in_stock[factor.name]:g} g, and the plan keeps to it."
            )
    return replace(limits, stock=stock), tuple(said)


def _needed(plan: Plan, precision: Precision) -> FiringsNeeded:
    between = int(plan.terms.per_firing.sum()) - 1
    within = int((~plan.terms.per_firing).sum())
    sizes = plan.runs.groupby("firing").size()
    fewest = max(precision.firings, between + 2)
    pots = [n for n in sorted({4, 6, 8, 10, int(sizes.max())}) if (n - 1) * fewest > within]
    return firings_needed(
        precision.difference,
        precision.firing_sd,
        precision.pot_sd,
        # The first is the one that is spoken of.
        firings=[fewest, *range(2, max(20, fewest + 4) + 1)],
        pots=pots or [int(sizes.max()), 2 * int(sizes.max())],
        firing_terms=between,
        pot_terms=within,
        unit=precision.unit,
    )


def _write(planned: PlannedBatch, into: Path) -> None:
    charts.draw_to_files()
    contents = {
        "plan.csv": table_text(planned.plan.runs),
        "aliases.csv": table_text(planned.plan.aliases()),
        "precision.csv": table_text(planned.precision.table),
        "predictions.csv": table_text(planned.precision.variance),
        "firings needed.csv": table_text(planned.needed.table),
        "power.png": charts.chart_png(charts.power_chart(planned.needed)),
        "likeness.png": charts.chart_png(charts.likeness_chart(planned.precision)),
        "plan.md": planned.written(),
    }
    write_bench_sheet(planned.sheet, into, planned.paper)
    leave(into, contents)
