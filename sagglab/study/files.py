"""What a study leaves in a folder: tables, charts and the answer."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

import pandas as pd

from sagglab import charts
from sagglab.book import Book
from sagglab.errors import SagglabError
from sagglab.firing.readings import Readings
from sagglab.firing.record_place import firing_schedule
from sagglab.measures import all_readings
from sagglab.model.effects import Effects
from sagglab.study.answer import Study
from sagglab.study.left import leave, table_text

#: Names that only this module gives.
_OURS = ("effects.png", "colour.csv", "firings.png", "firing *.png", "pots by *.png", "dose of *.png")


def write_study(done: Study, into: Path) -> None:
    """Write the effects, the charts and the answer into a folder, beside the tables of `measure_book`."""
    charts.draw_to_files()
    contents: dict[str, str | bytes] = {"effects.csv": table_text(done.effects.table)}
    if isinstance(done.effects, Effects):
        contents["effects.png"] = charts.chart_png(charts.effect_chart(done.effects))
    if done.colour is not None:
        contents["colour.csv"] = table_text(done.colour.table)
    records = all_readings(done.measured.book)
    if records:
        contents["firings.png"] = charts.chart_png(charts.firing_curves(records))
    for firing, readings in records.items():
        chart = _firing_chart(done.measured.book, firing, readings)
        contents[f"firing {file_name(firing)}.png"] = charts.chart_png(chart)
    coloured = done.measured.results["L*"].notna().any()
    for factor in done.effects.factors:
        if coloured and factor.heading in done.measured.book.pots:
            swatches = charts.pot_swatches(done.measured.results, factor.heading)
            contents[f"pots by {file_name(factor.name)}.png"] = charts.chart_png(swatches)
    for dose in done.doses:
        contents[f"dose of {file_name(dose.amount.name)}.png"] = charts.chart_png(charts.dose_chart(dose))
    leave(into, contents | {"answer.md": done.answer()}, _OURS)


def _firing_chart(book: Book, firing: str, readings: Readings):
    target_C = book.firings.set_index("firing").loc[firing, "target peak [degC]"]
    try:
        schedule = firing_schedule(book, firing)
    except SagglabError:
        schedule = None  # the answer says what is wrong with it
    readings = replace(readings, source=firing)  # a reader knows the firing, not the name of its record
    return charts.firing_curve(readings, None if pd.isna(target_C) else float(target_C), schedule=schedule)


def file_name(name: str) -> str:
    """Write a name from a table so that it leads nowhere else, and no two names alike.

    Examples
    --------
    >>> file_name("a/b"), file_name("a:b"), file_name("Étude (2)")
    ('a%2Fb', 'a%3Ab', 'Étude (2)')
    """
    return re.sub(r"[^\w. ()-]", lambda sign: quote(sign[0], safe=""), name)
