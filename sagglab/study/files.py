"""What a study leaves in a folder: tables, charts and the answer."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.errors import SagglabError
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_schedule
from sagglab.measures import all_readings
from sagglab.model.effects import Effects
from sagglab.study.answer import Study
from sagglab.study.measured import clear, write_table


def write_study(done: Study, into: Path) -> None:
    """Write the effects, the charts and the answer into a folder, beside the tables of `measure_book`."""
    into.mkdir(parents=True, exist_ok=True)
    for pattern in (
        "effects.png",
        "colour.csv",
        "firings.png",
        "firing *.png",
        "pots by *.png",
        "dose of *.png",
    ):
        clear(into, pattern)
    write_table(done.effects.table, into / "effects.csv")
    charts.draw_to_files()
    if isinstance(done.effects, Effects):
        charts.save_chart(charts.effect_chart(done.effects), into / "effects.png")
    if done.colour is not None:
        write_table(done.colour.table, into / "colour.csv")
    records = all_readings(done.measured.book)
    if records:
        charts.save_chart(charts.firing_curves(records), into / "firings.png")
    for firing, readings in records.items():
        chart = _firing_chart(done.measured.book, firing, readings)
        charts.save_chart(chart, into / f"firing {file_name(firing)}.png")
    coloured = done.measured.results["L*"].notna().any()
    for factor in done.effects.factors:
        if coloured and factor.heading in done.measured.book.pots:
            swatches = charts.pot_swatches(done.measured.results, factor.heading)
            charts.save_chart(swatches, into / f"pots by {file_name(factor.name)}.png")
    for dose in done.doses:
        chart = charts.dose_chart(dose)
        charts.save_chart(chart, into / f"dose of {file_name(dose.amount.name)}.png")
    (into / "answer.md").write_text(done.answer(), encoding="utf-8")


def _firing_chart(book: Book, firing: str, readings: Readings):
    target_C = book.firings.set_index("firing").loc[firing, "target peak [degC]"]
    try:
        schedule = firing_schedule(book, firing)
    except SagglabError:
        schedule = None  # the answer says what is wrong with it
    return charts.firing_curve(readings, None if pd.isna(target_C) else float(target_C), schedule=schedule)


def file_name(name: str) -> str:
    """Take out of a name from a table whatever could lead elsewhere."""
    return re.sub(r"[^\w ()-]", "-", name)
