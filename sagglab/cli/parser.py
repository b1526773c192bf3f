"""What can be written behind ``sagglab``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

from sagglab.cli import verbs as run
from sagglab.plan.sheet import PAPERS
from sagglab.setups.limits import ACCEPTABLE, NOTICEABLE

EXAMPLES = """examples:
  sagglab new my-book
  sagglab notebooks my-book
  sagglab study data/demo --into results
  sagglab study data/demo --outcome "a*" --factor sugar --factor peak_C
  sagglab plan data/demo data/demo/next-batch.toml --results results/results.csv
  sagglab setups data/two-cameras phone camera
  sagglab handout data/demo --question sugar --class 12
  sagglab pace my-book f7 --target "750 degC" --minute 38
"""


def _one_or_more(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError("it takes a whole number, 1 or more")
    return int(text)


def parser() -> argparse.ArgumentParser:
    """Lay out the commands, their arguments and their help."""
    command = argparse.ArgumentParser(
        prog="sagglab",
        description="From a batch book of saggar firings to what the recipe did.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    command.add_argument("--version", action="version", version=version("sagglab"))
    verbs = command.add_subparsers(required=True, metavar="COMMAND", title="commands")
    _add_new(verbs)
    for name, does, words in (
        ("check", run.check, "list every fault of a batch book"),
        ("measure", run.measure, "measure the firings and photographs of a batch book"),
        ("study", run.study, "judge what the recipe did: measure, and write tables, charts and the answer"),
    ):
        verb = _verb(verbs, name, words, does)
        if name != "check":
            _add_measuring(verb, Path("results"))
            _add_correction(verb)
        if name == "study":
            _add_outcome(verb)
            verb.add_argument(
                "--factor",
                metavar="COLUMN",
                action="append",
                help="what to judge, such as sugar; repeat for more; default: all that the book can tell",
            )
            _add_model(verb)
    _add_plan(verbs)
    _add_setups(verbs)
    _add_handout(verbs)
    _add_pace(verbs)
    notebooks = _verb(verbs, "notebooks", "open a book's notebooks in JupyterLab", run.notebooks)
    notebooks.add_argument(
        "--no-browser",
        dest="browser",
        action="store_false",
        help="print the address alone, for a browser that you open yourself",
    )
    return command


def _verb(
    verbs: argparse._SubParsersAction, name: str, words: str, does: Callable[[argparse.Namespace], int]
) -> argparse.ArgumentParser:
    """Add a command that is about a batch book; the list of all says of it what stands before a colon."""
    verb = verbs.add_parser(
        name, help=words.partition(":")[0], description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    verb.add_argument("book", metavar="BOOK", type=Path, help="the folder of the batch book")
    verb.set_defaults(run=does)
    return verb


def _add_new(verbs: argparse._SubParsersAction) -> None:
    words = "begin a batch book: tables, notebooks, a photo guide and tags to print"
    verb = _verb(verbs, "new", words, run.new)
    verb.description += " A book that is there already is given what it lacks; nothing of it is changed."
    verb.add_argument("--csv", action="store_true", help="text tables in place of one book.xlsx")
    _add_paper(verb)
    verb.add_argument(
        "--from",
        dest="notes",
        metavar="NOTES",
        type=Path,
        help="a spreadsheet with headings of its own, to fill the tables from; you are asked what each is",
    )
    verb.add_argument("--sheet", metavar="NAME", help="the sheet of NOTES, where several could be meant")
    verb.add_argument(
        "--mapping",
        metavar="FILE",
        type=Path,
        help="what each heading of NOTES is, as it was written down before, in place of being asked",
    )


def _add_paper(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--paper", choices=PAPERS, default=PAPERS[0], help=f"default: {PAPERS[0]}")


def _add_measuring(verb: argparse.ArgumentParser, into: Path) -> None:
    verb.add_argument("--into", metavar="FOLDER", type=Path, default=into, help=f"default: {into}")
    verb.add_argument(
        "--jobs", metavar="N", type=_one_or_more, default=-1, help="processes; default: one for each core"
    )
    verb.add_argument("--afresh", action="store_true", help="measure again what was measured before")


def _add_correction(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--correction",
        metavar="FILE",
        type=Path,
        action="append",
        default=[],
        help="brings one setup's colours to another's; 'sagglab setups' writes it; repeat for more",
    )


def _add_outcome(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--outcome",
        metavar="COLUMN",
        default="L*",
        help="what to explain: L*, a*, b*, C*ab, dark share, rating, state ...; default: L*",
    )


def _add_model(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--form",
        metavar=("COLUMN", "FORM"),
        nargs=2,
        action="append",
        default=[],
        help="the form in which an amount enters: amount, 'square root', log1p, 'with or without'",
    )
    verb.add_argument(
        "--square",
        metavar="COLUMN",
        action="append",
        default=[],
        help="an amount whose effect may bend; repeat for more",
    )
    verb.add_argument(
        "--together",
        metavar="COLUMN",
        nargs=2,
        action="append",
        default=[],
        help="two choices, where what one does may depend on the other; repeat for more",
    )
    verb.add_argument(
        "--above", metavar="COLUMN", help="what holds several firings and scatters, too, such as date or kiln"
    )


def _add_plan(verbs: argparse._SubParsersAction) -> None:
    words = "plan the next batch: recipes dealt to pots and firings, what they will tell, and the bench sheet"
    verb = _verb(verbs, "plan", words, run.plan)
    verb.add_argument(
        "file", metavar="PLAN.toml", type=Path, help="what is wanted; the demo has one to copy from"
    )
    verb.add_argument("--into", metavar="FOLDER", type=Path, default=Path("plan"), help="default: plan")
    verb.add_argument(
        "--results",
        metavar="FILE",
        type=Path,
        help="results.csv of an earlier study, for the scatter to be expected; default: typical values",
    )


def _add_setups(verbs: argparse._SubParsersAction) -> None:
    words = "tell whether two cameras may be compared: also what drifts, and how pots change over time"
    verb = _verb(verbs, "setups", words, run.setups)
    verb.add_argument("first", metavar="A", help="a setup, as the table setups names it")
    verb.add_argument(
        "second", metavar="B", nargs="?", help="another, to compare with it; default: A by itself"
    )
    _add_measuring(verb, Path("setups"))
    for name, limit, what in (
        ("noticeable", NOTICEABLE, "just noticed"),
        ("acceptable", ACCEPTABLE, "still accepted"),
    ):
        verb.add_argument(
            f"--{name}", metavar="ΔE00", type=float, default=limit, help=f"that is {what}; default: {limit:g}"
        )
    verb.add_argument(
        "--save", action="store_true", help="write the correction of B to A into the book, for --correction"
    )


def _add_handout(verbs: argparse._SubParsersAction) -> None:
    words = "print a workshop handout: a question, pots, the answer, recipes, a firing, what to try next"
    verb = _verb(verbs, "handout", words, run.handout)
    verb.add_argument(
        "--question",
        metavar="COLUMN",
        help="the choice that is asked about, such as sugar; default: what showed most surely",
    )
    _add_outcome(verb)
    verb.add_argument("--ask", metavar="WORDS", default="", help="the question in your own words")
    verb.add_argument("--heading", metavar="WORDS", default="", help="whose workshop it is")
    verb.add_argument("--note", metavar="WORDS", default="", help="what else students shall read")
    _add_paper(verb)
    verb.add_argument(
        "--plan",
        metavar="PLAN.toml",
        type=Path,
        help="the next batch; default: a small one that asks the question once more",
    )
    group = verb.add_mutually_exclusive_group()
    group.add_argument(
        "--class",
        dest="participants",
        metavar="N",
        type=_one_or_more,
        default=0,
        help="a class pack as well: tags, bench sheets, totals, cautions for so many",
    )
    group.add_argument(
        "--names", metavar="FILE", type=Path, help="the same for these, a text file with a name in each line"
    )
    _add_measuring(verb, Path("handout"))
    _add_correction(verb)


def _add_pace(verbs: argparse._SubParsersAction) -> None:
    words = "type readings at the kiln, and be told how the firing goes"
    verb = _verb(verbs, "pace", words, run.pace)
    verb.add_argument("firing", metavar="FIRING", help="the firing, as the table firings names it")
    verb.add_argument(
        "--target",
        metavar="HEAT",
        type=_temperature_C,
        help='the temperature that is wanted, as "750 degC"; default: the target peak in the table firings, '
        "or the hottest of its schedule",
    )
    verb.add_argument(
        "--minute",
        metavar="N",
        type=_minute,
        help="when it is wanted, in minutes from the first reading; default: as the schedule has it",
    )
    verb.add_argument(
        "--unit", type=_unit, metavar="UNIT", help="degC or degF, for a number that is typed without one"
    )


def _temperature_C(text: str) -> float:
    from sagglab.errors import ReadingsError
    from sagglab.firing.headings import temperature_C

    try:
        return temperature_C(text)
    except ReadingsError as error:
        raise argparse.ArgumentTypeError(f"{error.cause}: {error.remedy}") from error


def _minute(text: str) -> float:
    try:
        minute = float(text)
    except ValueError:
        minute = float("nan")
    if not 0 < minute < float("inf"):
        raise argparse.ArgumentTypeError("it takes a number of minutes above zero")
    return minute


def _unit(text: str) -> str:
    from sagglab.firing.typed import unit_in_full

    unit = unit_in_full(text)
    if unit is None:
        raise argparse.ArgumentTypeError(f"'{text}' is neither degC nor degF")
    return unit
