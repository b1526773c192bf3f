"""The same things from a shell: ``sagglab check``, ``measure``, ``study``, ``plan`` and ``pace``.

Exit codes: 0 all went well; 1 faults stop the work, and all are printed; 2 the command was written wrongly.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from sagglab.book import Book, open_book
from sagglab.errors import Problems, SagglabError

EXAMPLES = """examples:
  sagglab check data/demo
  sagglab study data/demo --into results
  sagglab study data/demo --outcome "a*" --factor sugar --factor peak_C
  sagglab study data/demo --factor sugar --factor clay --together sugar clay
  sagglab plan data/demo data/demo/next-batch.toml --results results/results.csv
  sagglab pace my-book f7 --target "750 degC" --minute 38
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    asked = _parser().parse_args(arguments)
    try:
        return asked.run(asked)
    except SagglabError as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:  # what was printed went into "head", say, which has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:  # a folder that cannot be made or written into, a disk that is full
        print(
            f"{error.filename or 'a file'}: {error.strerror or error}. Name another folder.", file=sys.stderr
        )
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    return 1


def _jobs(text: str) -> int:
    jobs = int(text)
    if jobs < 1:
        raise argparse.ArgumentTypeError("it takes 1 process or more")
    return jobs


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sagglab",
        description="From a batch book of saggar firings to what the recipe did.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=version("sagglab"))
    verbs = parser.add_subparsers(required=True, metavar="COMMAND", title="commands")
    for name, run, words in (
        ("check", _check, "list every fault of a batch book"),
        ("measure", _measure, "measure the firings and photographs of a batch book"),
        ("study", _study, "measure, judge what the recipe did, and write tables, charts and the answer"),
    ):
        verb = verbs.add_parser(
            name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
        )
        verb.add_argument("book", metavar="BOOK", type=Path, help="the folder of the batch book")
        verb.set_defaults(run=run)
        if name != "check":
            verb.add_argument(
                "--into", metavar="FOLDER", type=Path, default=Path("results"), help="default: results"
            )
            verb.add_argument(
                "--jobs", metavar="N", type=_jobs, default=-1, help="processes; default: one for each core"
            )
            verb.add_argument("--afresh", action="store_true", help="measure again what was measured before")
        if name == "study":
            verb.add_argument(
                "--outcome",
                metavar="COLUMN",
                default="L*",
                help="what to explain: L*, a*, b*, C*ab, dark share, rating, state ...; default: L*",
            )
            verb.add_argument(
                "--factor",
                metavar="COLUMN",
                action="append",
                help="what to judge, such as sugar; repeat for more; default: all that the book can tell",
            )
            _add_model(verb)
    _add_plan(verbs)
    _add_pace(verbs)
    return parser


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
    verb = verbs.add_parser(
        "plan", help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    verb.add_argument("book", metavar="BOOK", type=Path, help="the folder of the batch book")
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
    verb.set_defaults(run=_plan)


def _add_pace(verbs: argparse._SubParsersAction) -> None:
    words = "type readings at the kiln, and be told how the firing goes"
    verb = verbs.add_parser(
        "pace", help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    verb.add_argument("book", metavar="BOOK", type=Path, help="the folder of the batch book")
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
    verb.set_defaults(run=_pace)


def _temperature_C(text: str) -> float:
    from sagglab.firing.headings import value_of
    from sagglab.units import convert

    value, unit = value_of(text.strip())
    if unit is None or unit.lower() == "mv" or value != value:
        raise argparse.ArgumentTypeError(f"'{text}' is no temperature with its unit, such as \"750 degC\"")
    return float(convert(value, unit, "degC"))


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


def _opened(folder: Path) -> Book:
    book = open_book(folder)
    print(repr(book))
    return book


def _print_problems(problems: Problems) -> None:
    for problem in problems:
        print(f"  {'fault' if problem.stops else 'warning'}: {problem}")


def _check(asked: argparse.Namespace) -> int:
    from sagglab.measures import check_files

    book = _opened(asked.book)
    problems = Problems([*book.problems, *check_files(book)])
    _print_problems(problems)
    if not problems:
        print("no problems found")
    return 1 if problems.stopping else 0


def _measure(asked: argparse.Namespace) -> int:
    from sagglab.study import measure_book

    measured = measure_book(_opened(asked.book), asked.into, asked.jobs, asked.afresh)
    _print_problems(measured.problems)
    print(f"tables and review pictures are in {asked.into}")
    return 0


def _study(asked: argparse.Namespace) -> int:
    from sagglab.study import study, words

    options = {
        "forms": dict(asked.form),
        "squares": asked.square,
        "together": [tuple(pair) for pair in asked.together],
        "above": asked.above,
    }
    book = _opened(asked.book)
    done = study(book, asked.into, asked.outcome, asked.factor, asked.jobs, asked.afresh, **options)
    _print_problems(done.measured.problems)
    print(f"tables, charts, review pictures and the answer are in {asked.into}\n")
    print(*done.findings, sep="\n")
    if done.checks is not None and done.checks.worries:
        print("Look at this before you trust it:", *done.checks.worries, sep="\n  ")
    for line in done.not_judged:
        print(f"Not judged: {line}.")
    print("", *words(done.effects), sep="\n")
    return 0


def _plan(asked: argparse.Namespace) -> int:
    from sagglab.study import plan_book

    planned = plan_book(_opened(asked.book), asked.file, asked.into, asked.results)
    print(f"the plan, what it will tell, and the bench sheet are in {asked.into}\n")
    print(f"{planned.plan.counts}.", *planned.said, *planned.plan.sentences, sep="\n")
    print("", planned.precision, "", planned.needed, "", f"{planned.sheet!r}.", "", sep="\n")
    print(*planned.cautions(), sep="\n")
    return 0


def _pace(asked: argparse.Namespace) -> int:
    from contextlib import suppress

    from sagglab.cautions import kiln_cautions
    from sagglab.firing.prompt import KilnPrompt
    from sagglab.firing.record_place import firing_schedule, place_of_record

    book = open_book(asked.book)
    place = place_of_record(book, asked.firing)
    schedule = firing_schedule(book, asked.firing)
    planned_C = None if schedule is None else float(schedule.table["temperature_C"].max())
    target_C = next((heat for heat in (asked.target, place.target_C, planned_C) if heat is not None), None)
    minute = asked.minute
    if minute is None and schedule is not None and target_C is not None:
        planned = schedule.minute_of(target_C)
        minute = None if planned != planned else planned
    with suppress(ImportError):  # where the system has it, a line can be edited while it is typed
        import readline  # noqa: F401
    print(*kiln_cautions(), sep="\n")
    KilnPrompt(place.path, asked.unit, target_C, minute, ask=input, say=print).run()
    return 0
