"""What a study of setups leaves in a folder: tables, charts and the answer."""

from __future__ import annotations

from pathlib import Path

from sagglab import charts
from sagglab.setups.comparison import SetupsCompared
from sagglab.study.files import file_name
from sagglab.study.left import leave, table_text
from sagglab.study.two_setups import StudiedSetups

#: Names that only this module gives.
_OURS = (
    "agreement.csv", "agreement of *.png", "pairs.csv", "repeatability.csv", "deming.csv",
    "kinds of colour.csv", "corrections tried.csv", "arrows of *.png", "target.png", "drift of *.csv",
    "drift of *.png",
    "changes.csv", "changes by recipe.csv", "change of *.png",
)  # fmt: skip


def write_setups(done: StudiedSetups, into: Path) -> None:
    """Write tables, charts and the answer into a folder; what an earlier run left there is replaced."""
    charts.draw_to_files()
    contents: dict[str, str | bytes] = {
        "measures.csv": table_text(done.measures),
        "patches.csv": table_text(done.patches),
    }
    if done.compared is not None:
        contents |= _of_comparison(done.compared, done)
    for name, drift in done.drifts.items():
        contents[f"drift of {file_name(name)}.csv"] = table_text(drift.table)
        contents[f"drift of {file_name(name)}.png"] = charts.chart_png(charts.drift_chart(drift)[0])
    if done.changes is not None:
        contents["changes.csv"] = table_text(done.changes.table)
        if len(done.changes.by_recipe):
            contents["changes by recipe.csv"] = table_text(done.changes.by_recipe)
        for axis in ("L*", "a*", "b*"):
            chart = charts.over_time_chart(done.changes, done.measures, axis)
            contents[f"change of {axis[0]}.png"] = charts.chart_png(chart)
    leave(into, contents | {"answer.md": done.answer()}, _OURS)


def _of_comparison(compared: SetupsCompared, done: StudiedSetups) -> dict[str, str | bytes]:
    contents: dict[str, str | bytes] = {
        "agreement.csv": table_text(compared.table),
        "pairs.csv": table_text(compared.pairs),
        "repeatability.csv": table_text(compared.repeatability),
        "deming.csv": table_text(compared.deming),
        "kinds of colour.csv": table_text(compared.where),
    }
    if compared.correction is not None:
        contents["corrections tried.csv"] = table_text(compared.correction.candidates)
    for each in compared.compared:
        what = f"{each.pairs.kind} {each.pairs.colours}"
        chart = charts.agreement_chart(each.pairs, each.agreement)[0]
        contents[f"agreement of {what}.png"] = charts.chart_png(chart)
        contents[f"arrows of {what}.png"] = charts.chart_png(charts.arrow_chart(each.pairs))
        if each.pairs.kind == "patches" and each.pairs.calibrated:
            chart = charts.target_layout_chart(each.pairs, done.patches, compared.limits)
            contents["target.png"] = charts.chart_png(chart)
    return contents
