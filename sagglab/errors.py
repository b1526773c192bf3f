"""What can go wrong: faults kept as data, and the errors that stop a step.

A fault found while reading many rows or many photographs is a `Problem`: it is listed and the rest of the
work goes on. A fault that stops the step at hand is raised as a member of the `SagglabError` family. Each
says what is wrong, where, and how to mend it. In a notebook it does so in one box, the traceback folded away.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Iterable
from dataclasses import dataclass

from sagglab.markup import fault_box, folded, framed, paragraph, text_table


def _ended(phrase: str) -> str:
    """End a phrase by a full stop; a question keeps its mark."""
    return phrase if phrase.endswith("?") else f"{phrase}."


def _sentence(phrase: str) -> str:
    return _ended(phrase[:1].upper() + phrase[1:])


def _told(where: str, cause: str, remedy: str) -> str:
    return f"{where}: {_ended(cause)}" + (f" {_sentence(remedy)}" if remedy else "")


#: Of more problems than these a page shows the first ones, the rest folded away.
_LONG, _FIRST = 15, 12


@dataclass(frozen=True)
class Problem:
    """One fault, as data.

    Attributes
    ----------
    table : str
        The table of the batch book that the fault belongs to.
    row : int, str or None
        The row as a spreadsheet numbers it (the heading is row 1), or the photograph's file name; None when
        the whole table is meant.
    column : str
        The heading of the column, empty when no single column is meant.
    cause, remedy : str
        What is wrong and what to do, each a phrase without its full stop; the remedy is empty where the
        cause says it all.
    stops : bool
        True when the fault makes a number wrong, so that the step which needs it stops; False for a warning.
    flag : str
        A short name by which tables carry it; empty for most.

    Examples
    --------
    >>> print(Problem("pots", 4, "sugar [g]", "'lots' is no number", "write how many grams"))
    pots, row 4, column 'sugar [g]': 'lots' is no number. Write how many grams.
    """

    table: str
    row: int | str | None
    column: str
    cause: str
    remedy: str
    stops: bool = True
    flag: str = ""

    @property
    def where(self) -> str:
        """The place of the fault in words."""
        parts = [self.table]
        if self.row is not None:
            parts.append(f"row {self.row}" if isinstance(self.row, int) else self.row)
        if self.column:
            parts.append(f"column '{self.column}'")
        return ", ".join(parts)

    def __str__(self) -> str:
        return _told(self.where, self.cause, self.remedy)


class Problems(tuple[Problem, ...]):
    """All problems found, in the order found; empty, and so false, when all is well.

    Examples
    --------
    >>> found = Problems([Problem("photos", "p1.jpg", "", "it is blurred", "", stops=False, flag="blurred")])
    >>> found.flags, len(found.stopping), bool(Problems())
    ('blurred', 0, False)
    """

    __slots__ = ()

    @property
    def stopping(self) -> Problems:
        """Those that make a number wrong."""
        return Problems(problem for problem in self if problem.stops)

    def of(self, *tables: str) -> Problems:
        """Those that belong to the given tables."""
        return Problems(problem for problem in self if problem.table in tables)

    @property
    def flags(self) -> str:
        """The names of all flags, each once, for the cell of a table."""
        return "; ".join(dict.fromkeys(problem.flag for problem in self if problem.flag))

    @property
    def unflagged(self) -> Problems:
        """Those that carry no flag."""
        return Problems(problem for problem in self if not problem.flag)

    @property
    def told(self) -> str:
        """All causes on one line, for the cell of a table; empty when all is well."""
        return "; ".join(problem.cause for problem in self)

    def __str__(self) -> str:
        return "\n".join(map(str, self)) or "no problems"

    def _repr_html_(self) -> str:
        return framed(self.html)

    @property
    def html(self) -> str:
        """A table of them, or that there are none, for a page."""
        if not self:
            return paragraph("✓ No problems found.")
        # A word and a sign, for who does not see a colour; faults first, for they stop the work.
        rows = [
            ("✕ fault" if p.stops else "⚠ warning", p.where, p.cause, p.remedy)
            for p in sorted(self, key=lambda problem: not problem.stops)
        ]
        heads = ("", "where", "what is wrong", "what to do")
        if len(rows) <= _LONG:
            return text_table(heads, rows)
        more = text_table(heads, rows[_FIRST:])
        return text_table(heads, rows[:_FIRST]) + folded(f"And {len(rows) - _FIRST} more", more)


class SagglabError(Exception):
    """The root of every error that sagglab raises on purpose.

    Parameters
    ----------
    where : str
        The file, table, row or argument that is meant.
    cause, remedy : str
        What is wrong and how to mend it, each a phrase without its full stop.

    Examples
    --------
    >>> print(SagglabError("pots.csv", "there is no such file", "check the name"))
    pots.csv: there is no such file. Check the name.
    """

    def __init__(self, where: str, cause: str, remedy: str) -> None:
        # The three parts stay in `args`, so that the error survives the way back from a worker process.
        super().__init__(where, cause, remedy)
        self.where = where
        self.cause = cause
        self.remedy = remedy

    def __str__(self) -> str:
        return _told(self.where, self.cause, self.remedy)

    def _render_traceback_(self) -> list[str]:
        """Show the error in a notebook as one box, and give IPython what else is to be shown.

        IPython calls this in place of writing a traceback, twice: to show it, and to keep it with the cell's
        history. A shell that is no notebook has no box, and gets its usual traceback.
        """
        shell = sys.modules["IPython"].get_ipython()
        if not hasattr(shell, "kernel"):
            return shell.InteractiveTB.structured_traceback(type(self), self, self.__traceback__, tb_offset=1)
        asked_by = shell.get_parent().get("header", {}).get("msg_id", "")
        if asked_by != getattr(self, "_shown_for", None):
            self._shown_for = asked_by
            box = fault_box(self.cause, self.where, self._remedy, self._more, _frames(self, shell))
            shell.display_pub.publish({"text/plain": f"{type(self).__name__}: {self}", "text/html": box})
        # The front end shows a cell's error whatever it holds; JupyterLab hides it below the box (`markup`).
        return [f"{type(self).__name__}: see above."]

    @property
    def _remedy(self) -> str:
        return _sentence(self.remedy) if self.remedy else ""

    @property
    def _more(self) -> str:
        return ""


def _frames(error: BaseException, shell: object) -> str:
    """Write the traceback with what caused it, cells by their numbers, the notebook's own frames left out."""
    told = traceback.TracebackException.from_exception(error)
    each: traceback.TracebackException | None = told
    while each is not None:
        each.stack = traceback.StackSummary.from_list(list(_named(each.stack, shell)))
        each = each.__cause__ or each.__context__
    return "".join(told.format())


def _named(stack: Iterable[traceback.FrameSummary], shell: object) -> Iterable[traceback.FrameSummary]:
    for frame in stack:
        if "/IPython/" in frame.filename.replace("\\", "/"):
            continue
        cell = shell.compile.format_code_name(frame.filename)
        name = " ".join(cell) if cell else frame.filename
        yield traceback.FrameSummary(name, frame.lineno, frame.name, lookup_line=False, line=frame.line)


class MissingFileError(SagglabError, FileNotFoundError):
    """A file or folder is not where it was said to be."""


class FileFormatError(SagglabError, ValueError):
    """A file is not of the kind that it should be."""


class UnitError(SagglabError, ValueError):
    """A unit is missing, unknown, or of the wrong kind."""


class BookError(SagglabError, ValueError):
    """The batch book has faults that stop the step at hand; ``problems`` holds them one by one."""

    problems = Problems()

    @classmethod
    def from_problems(cls, book: str, problems: Problems) -> BookError:
        """Make one error that lists every given problem."""
        listed = "".join(f"\n  {problem}" for problem in problems).removesuffix(".")
        count = "a fault stops" if len(problems) == 1 else f"{len(problems)} faults stop"
        remedy = f"mend what is listed here, then open the book again and go on:{listed}"
        error = cls(book, f"{count} the work", remedy)
        error.problems = problems
        return error

    @property
    def _remedy(self) -> str:
        # In a box the faults are a table of their own.
        return _sentence(self.remedy.partition(":\n")[0]) if self.problems else super()._remedy

    @property
    def _more(self) -> str:
        return self.problems.html if self.problems else ""


class ReadingsError(SagglabError, ValueError):
    """A temperature record cannot be read."""


class ScheduleError(SagglabError, ValueError):
    """A schedule cannot be understood, or no kiln can follow it."""


class PhotoError(SagglabError, ValueError):
    """A photograph cannot be measured."""


class TargetError(PhotoError):
    """A colour target, or its reference table, cannot be used."""


class OutlineError(PhotoError):
    """The pot cannot be told from what surrounds it."""


class SurfaceError(PhotoError):
    """A pot's surface cannot be laid out, or its views not be joined."""


class OwnMeasureError(SagglabError, ValueError):
    """A measure of the user's own fails, or gives no numbers by new names."""


class ModelError(SagglabError, ValueError):
    """The data cannot answer what the model was asked."""


class PlanError(SagglabError, ValueError):
    """No plan can be made as it was asked for."""


class SetupError(SagglabError, ValueError):
    """Two setups, or one over time, cannot be compared with what was photographed."""


class UnknownNameError(SagglabError, KeyError):
    """A name was asked for that is not there."""


class NotInstalledError(SagglabError, ImportError):
    """A part that not everyone needs is not installed."""
