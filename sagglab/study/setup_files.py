"""What a study of setups leaves in a folder: tables, charts and the answer."""

from __future__ import annotations

from pathlib import Path

from sagglab import charts
from sagglab.setups.comparison import SetupsCompared
from sagglab.study.files import file_name
from sagglab.study.measured import clear, write_table
from sagglab.study.two_setups import StudiedSetups
from sagglab.writing import write_whole

#: Names that only this module gives.
_OURS = (
    "agreement.csv", "agreement of *.png", "pairs.csv", "repeatability.csv", "deming.csv",
    "kinds of colour.csv", "corrections tried.csv", "arrows of *.png", "target.png", "drift of *.csv",
    "drift of *.png",
    "changes.csv", "changes by recipe.csv", "change of *.png",
)  # fmt: skip


def write_setups(done: StudiedSetups, into: Path) -> None:
    """Write tables, charts and the answer into a folder; what an earlier run left there is replaced."""
    into.mkdir(parents=True, exist_ok=True)
    for pattern in _OURS:
        clear(into, pattern)
    charts.draw_to_files()
    write_table(done.measures, into / "measures.csv")
    write_table(done.patches, into / "patches.csv")
    if done.compared is not None:
        _write_comparison(done.compared, done, into)
    for name, drift in done.drifts.items():
        write_table(drift.table, into / f"drift of {file_name(name)}.csv")
        charts.save_chart(charts.drift_chart(drift)[0], into / f"drift of {file_name(name)}.png")
    if done.changes is not None:
        write_table(done.changes.table, into / "changes.csv")
        if len(done.changes.by_recipe):
            write_table(done.changes.by_recipe, into / "changes by recipe.csv")
        for axis in ("L*", "a*", "b*"):
            chart = charts.over_time_chart(done.changes, done.measures, axis)
            charts.save_chart(chart, into / f"change of {axis[0]}.png")
    write_whole(into / "answer.md", done.answer())


def _write_comparison(compared: SetupsCompared, done: StudiedSetups, into: Path) -> None:
    write_table(compared.table, into / "agreement.csv")
    write_table(compared.pairs, into / "pairs.csv")
    write_table(compared.repeatability, into / "repeatability.csv")
    write_table(compared.deming, into / "deming.csv")
    write_table(compared.where, into / "kinds of colour.csv")
    if compared.correction is not None:
        write_table(compared.correction.candidates, into / "corrections tried.csv")
    for each in compared.compared:
        what = f"{each.pairs.kind} {each.pairs.colours}"
        charts.save_chart(
            charts.agreement_chart(each.pairs, each.agreement)[0], into / f"agreement of {what}.png"
        )
        charts.save_chart(charts.arrow_chart(each.pairs), into / f"arrows of {what}.png")
        if each.pairs.kind == "patches" and each.pairs.calibrated:
            chart = charts.target_layout_chart(each.pairs, done.patches, compared.limits)
            charts.save_chart(chart, into / "target.png")
