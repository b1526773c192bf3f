"""The same things from a shell: ``sagglab check``, ``sagglab measure``, ``sagglab study``.

Exit codes: 0 all went well; 1 faults stop the work, and all are printed; 2 the command was written wrongly.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from sagglab.book import Book, open_book
from sagglab.errors import Problems, SagglabError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    asked = _parser().parse_args(arguments)
    try:
        return asked.run(asked)
    except SagglabError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="sagglab", description="From a batch book of saggar firings to what the recipe did."
    )
    verbs = parser.add_subparsers(required=True, metavar="VERB")
    for name, run, words in (
        ("check", _check, "list every fault of a batch book"),
        ("measure", _measure, "measure the firings and photographs of a batch book"),
        ("study", _study, "measure, judge what the recipe did, and write tables, charts and the answer"),
    ):
        verb = verbs.add_parser(name, help=words, description=f"{words[0].upper()}{words[1:]}.")
        verb.add_argument("book", metavar="BOOK", type=Path, help="the folder of the batch book")
        verb.set_defaults(run=run)
        if name != "check":
            verb.add_argument(
                "--into", metavar="FOLDER", type=Path, default=Path("results"), help="default: results"
            )
            verb.add_argument(
                "--jobs", metavar="N", type=int, default=-1, help="processes; default: one a core"
            )
        if name == "study":
            verb.add_argument(
                "--outcome", metavar="COLUMN", default="L*", help="what to explain; default: L*"
            )
            verb.add_argument(
                "--factor",
                metavar="COLUMN",
                action="append",
                help="what to judge, such as sugar; repeat for more; default: all that the book can tell",
            )
    return parser


def _opened(folder: Path) -> Book:
    book = open_book(folder)
    print(
        f"{folder}: {len(book.pots)} pots, {len(book.firings)} firings, {len(book.photos)} photographs, "
        f"{len(book.setups)} setups"
    )
    return book


def _print_problems(problems: Problems) -> None:
    for problem in problems:
        print(f"  {'stops the work' if problem.stops else 'goes on without'}: {problem}")


def _check(asked: argparse.Namespace) -> int:
    book = _opened(asked.book)
    _print_problems(book.problems)
    if not book.problems:
        print("no problems found")
    return 1 if book.problems.stopping else 0


def _measure(asked: argparse.Namespace) -> int:
    from functools import partial

    from sagglab.charts import save_review
    from sagglab.measures import gather_results, measure_firings, measure_photos

    book = _opened(asked.book)
    book.require("pots", "firings", "photos", "setups")
    reviews = asked.into / "review"
    reviews.mkdir(parents=True, exist_ok=True)
    measures = measure_photos(book, jobs=asked.jobs, review=partial(save_review, reviews))
    measure_firings(book).to_csv(asked.into / "firings.csv", index=False)
    measures.to_csv(asked.into / "measures.csv", index=False)
    gather_results(book, measures).to_csv(asked.into / "results.csv", index=False)
    for view in measures[measures["problems"] != ""].to_dict("records"):
        print(f"  {view['photo']}: {view['problems']}")
    print(f"written to {asked.into}")
    return 0


def _study(asked: argparse.Namespace) -> int:
    from sagglab.study import study

    book = _opened(asked.book)
    done = study(book, asked.into, asked.outcome, asked.factor, asked.jobs)
    _print_problems(done.problems)
    print(f"tables, charts, review pictures and the answer are in {asked.into}\n")
    for sentence in done.effects.sentences():
        print(sentence)
    for name, reason in done.passed_over.items():
        print(f"Not judged: {name}: {reason}.")
    return 0
