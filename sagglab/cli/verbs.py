"""The commands: each does one thing that a notebook can do, too, and gives an exit code."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

from sagglab.book import Book, open_book
from sagglab.errors import FileFormatError, Problems


def _opened(folder: Path) -> Book:
    book = open_book(folder)
    print(repr(book))
    return book


def _print_problems(problems: Problems) -> None:
    for problem in problems:
        print(f"  {'fault' if problem.stops else 'warning'}: {problem}")


def new(asked: argparse.Namespace) -> int:
    """Begin a batch book, or give one what it lacks."""
    from sagglab.study import begin_book, check_room_for_notes

    mapping = asked.mapping
    if asked.notes is not None and mapping is None:
        from sagglab.notes import ask_mapping, propose_mapping, read_notes

        check_room_for_notes(asked.book, mapping)
        proposed = propose_mapping(read_notes(asked.notes, asked.sheet))
        if sys.stdin.isatty():
            mapping = ask_mapping(proposed, input, print)
        else:  # nobody is there to be asked, and nothing is guessed
            print(proposed)
    print(begin_book(asked.book, asked.csv, asked.paper, asked.notes, mapping, asked.sheet))
    return 0


def check(asked: argparse.Namespace) -> int:
    """List every fault of a batch book."""
    from sagglab.measures import check_files

    book = _opened(asked.book)
    problems = Problems([*book.problems, *check_files(book)])
    _print_problems(problems)
    if book.first_entry:
        print(book.first_entry)
    elif not problems:
        print("no problems found")
    return 1 if problems.stopping else 0


def measure(asked: argparse.Namespace) -> int:
    """Measure the firings and photographs of a batch book."""
    from sagglab.study import measure_book

    corrections = _corrections(asked.correction)
    measured = measure_book(_opened(asked.book), asked.into, asked.jobs, asked.afresh, corrections)
    _print_problems(measured.problems)
    print(f"tables and review pictures are in {asked.into}")
    return 0


def study(asked: argparse.Namespace) -> int:
    """Measure, judge, and write the answer."""
    from sagglab.study import study, words

    options = {
        "forms": dict(asked.form),
        "squares": asked.square,
        "together": [tuple(pair) for pair in asked.together],
        "above": asked.above,
    }
    book = _opened(asked.book)
    asked_of = (asked.outcome, asked.factor, asked.jobs, asked.afresh, _corrections(asked.correction))
    done = study(book, asked.into, *asked_of, **options)
    _print_problems(done.measured.problems)
    print(f"tables, charts, review pictures and the answer are in {asked.into}\n")
    print(*done.findings, sep="\n")
    if done.checks is not None and done.checks.worries:
        print("Look at this before you trust it:", *done.checks.worries, sep="\n  ")
    for line in done.not_judged:
        print(f"Not judged: {line}.")
    print("", *words(done.effects), sep="\n")
    return 0


def plan(asked: argparse.Namespace) -> int:
    """Plan the next batch."""
    from sagglab.study import plan_book

    planned = plan_book(_opened(asked.book), asked.file, asked.into, asked.results)
    print(f"the plan, what it will tell, and the bench sheet are in {asked.into}\n")
    print(f"{planned.plan.counts}.", *planned.said, *planned.plan.sentences, sep="\n")
    print("", planned.precision, "", planned.needed, "", f"{planned.sheet!r}.", "", sep="\n")
    print(*planned.cautions(), sep="\n")
    return 0


def _corrections(files: Sequence[Path]) -> list:
    from sagglab.setups.correction import read_correction

    return [read_correction(file) for file in files]


def setups(asked: argparse.Namespace) -> int:
    """Compare setups, and tell what drifts."""
    from sagglab.study import study_setups, write_setups

    limits = {"noticeable": asked.noticeable, "acceptable": asked.acceptable}
    book = _opened(asked.book)
    done = study_setups(book, asked.first, asked.second, **limits, jobs=asked.jobs, afresh=asked.afresh)
    write_setups(done, asked.into)
    print(f"tables, charts and the answer are in {asked.into}")
    for heading, said in done.sections().items():
        print("", heading, *said, sep="\n")
    if asked.save:
        correction = None if done.compared is None else done.compared.correction
        if correction is None or correction.kind == "none":
            print("\nThere is no correction to save.")
        else:
            print(f"\nThe correction is in {correction.save(book.folder)}")
    return 1 if done.not_compared else 0


def handout(asked: argparse.Namespace) -> int:
    """Print a workshop handout, and a class pack."""
    from sagglab.delimited import read_text
    from sagglab.study import ask_book

    participants = asked.participants
    if asked.names is not None:
        participants = [line.strip() for line in read_text(asked.names).splitlines() if line.strip()]
        if not participants:
            raise FileFormatError(str(asked.names), "it holds no name", "write a name in each line")
    corrections = _corrections(asked.correction)
    book = _opened(asked.book)
    with _folder(asked.into):
        answered = ask_book(
            book, asked.question, asked.outcome, asked.plan, asked.jobs, asked.afresh, corrections
        )
        _print_problems(answered.measured.problems)
        made = answered.handout(asked.paper, asked.ask, asked.heading, asked.note)
        files = made.save(asked.into)
        print(made)
        if participants:
            pack = answered.class_pack(participants, asked.paper, asked.heading)
            files += pack.save(asked.into)
            print("", pack, sep="\n")
    print(f"\n{', '.join(file.name for file in files)} are in {asked.into}")
    return 0


@contextmanager
def _folder(into: Path) -> Iterator[None]:
    """Make a folder before the work, so that where it cannot be made is told first; none is left empty."""
    there = into.exists()
    into.mkdir(parents=True, exist_ok=True)
    try:
        yield
    finally:
        if not there:
            with suppress(OSError):  # it holds what was made
                into.rmdir()


def pace(asked: argparse.Namespace) -> int:
    """Take readings at the kiln."""
    from sagglab.cautions import kiln_cautions
    from sagglab.firing.kiln_log import KilnLog
    from sagglab.firing.prompt import KilnPrompt

    book = open_book(asked.book)
    log = KilnLog.of_firing(book, asked.firing, asked.target, asked.minute, asked.unit)
    with suppress(ImportError):  # where the system has it, a line can be edited while it is typed
        import readline  # noqa: F401
    print(*kiln_cautions(), sep="\n")
    KilnPrompt(log, ask=input, say=print).run()
    return 0


def notebooks(asked: argparse.Namespace) -> int:
    """Open a book's notebooks, until they are stopped."""
    from sagglab.study import open_notebooks

    open_notebooks(asked.book, asked.browser, say=partial(print, flush=True))
    return 0
