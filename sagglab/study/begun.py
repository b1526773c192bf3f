"""A batch book begun: its folder with tables, places for files, a target table, prints and notebooks.

What is there already is never touched, so that an older book is given what it lacks in the same way.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from errno import EACCES, ENOTDIR
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sagglab.book import open_book
from sagglab.book.check import is_there
from sagglab.book.fresh import OWN_TARGET, TABLE_FILES, fresh_texts
from sagglab.book.fresh_workbook import fresh_workbook
from sagglab.book.tables import WORKBOOK
from sagglab.errors import BookError, Problems, SagglabError
from sagglab.handout.paper import check_paper
from sagglab.markup import framed, in_order, paragraph
from sagglab.materials import TAKE_CARE
from sagglab.plan.sheet import PAPERS
from sagglab.study.own_notebooks import NOTEBOOKS, own_notebooks
from sagglab.targets import BUILT_IN
from sagglab.workbook import Rows
from sagglab.writing import write_whole

if TYPE_CHECKING:  # else loaded when there are notes to be read
    from sagglab.notes import Mapping

#: Where it is written down which heading of somebody's notes became which column.
MAPPING = "mapping.toml"

#: Folders for the maker's own files.
PLACES = ("photos", "readings")

#: What a table of one's own begins from.
_TARGET = "24-patch-from-2014-11.csv"

_GUIDE, _TAGS = "photo-guide.pdf", "pot-tags.pdf"


@dataclass(frozen=True, repr=False)
class BegunBook:
    """What beginning a batch book has made.

    Attributes
    ----------
    folder : Path
    made, kept : tuple of str
        Files and folders, as the book names them: written now, and left as they were found.
    problems : Problems
        What somebody's notes could not tell, where the tables were made from such; none otherwise.
    next_steps : tuple of str
        What to do now, in this order.
    """

    folder: Path
    made: tuple[str, ...]
    kept: tuple[str, ...]
    problems: Problems
    next_steps: tuple[str, ...]

    @property
    def sentences(self) -> list[str]:
        """What was made, what was left alone, and what to do now."""
        steps = [f"{number}. {step}" for number, step in enumerate(self.next_steps, start=1)]
        return [*self._said, *map(str, self.problems), *steps]

    @property
    def _said(self) -> list[str]:
        name = self.folder.resolve().name
        said = [f"Made in {name}: {_named(self.made)}." if self.made else f"{name} lacks nothing."]
        return [*said, f"Left as it was: {_named(self.kept)}."] if self.kept else said

    def __repr__(self) -> str:
        return "\n".join([*self.sentences, TAKE_CARE])

    def _repr_html_(self) -> str:
        problems = self.problems.html if self.problems else ""
        return framed(*map(paragraph, self._said), problems, in_order(self.next_steps), paragraph(TAKE_CARE))


def _named(names: tuple[str, ...]) -> str:
    """Name files, those of one folder together."""
    notebooks = [name for name in names if name.startswith(f"{NOTEBOOKS}/")]
    told = [name for name in names if name not in notebooks]
    if notebooks:
        told.append(f"{NOTEBOOKS}/ ({len(notebooks)} notebook{'s' * (len(notebooks) > 1)})")
    return ", ".join(told)


def begin_book(
    folder: str | os.PathLike[str],
    csv: bool = False,
    paper: str = PAPERS[0],
    notes: str | os.PathLike[str] | None = None,
    mapping: str | os.PathLike[str] | Mapping | None = None,
    sheet: str | None = None,
) -> BegunBook:
    """Begin a batch book, or give one what it lacks.

    Parameters
    ----------
    folder : path
        Made where it is missing.
    csv : bool
        Whether the tables are text files, in place of the sheets of one ``book.xlsx``. Where any table is
        there already, none is written.
    paper : str
        ``A4`` or ``letter``, for the photo guide and the pots' tags.
    notes : path, optional
        A spreadsheet with headings of its own, whose rows go into the tables.
    mapping : path or Mapping, optional
        Which heading of the notes is which column. It is kept in the book as ``mapping.toml``.
    sheet : str, optional
        The sheet of the notes, where several could be meant; the mapping's own unless given.

    Returns
    -------
    BegunBook

    Raises
    ------
    UnknownNameError
        There is no such paper.
    BookError
        The folder cannot be made or written into; it holds tables already, where notes were to go into them;
        or notes came without a mapping: then one is proposed, in ``mapping.toml``, and nothing else written.
    SagglabError
        The notes or the mapping cannot be read.
    """
    folder = Path(folder)
    check_paper(paper)
    _refuse_file(folder)
    mapped, rows, problems = None, None, Problems()
    if notes is not None:
        check_room_for_notes(folder, mapping)
        mapped, rows, problems = _from_notes(folder, notes, mapping, sheet)
    elif mapping is not None:
        raise BookError("mapping", "there are no notes for it", "name the spreadsheet of notes, too")
    elif sheet is not None:
        raise BookError(f"sheet '{sheet}'", "there are no notes for it", "name the spreadsheet of notes, too")
    made, kept = [], [name for name in TABLE_FILES if _lies(folder / name)]
    tables = {} if kept else _tables(csv, rows)
    with _told(folder):
        for name in PLACES:
            if _lies(folder / name):
                kept.append(f"{name}/")
                continue
            (folder / name).mkdir(parents=True)
            made.append(f"{name}/")
        # Before the tables: a run that is stopped in between can be repeated with the mapping.
        if mapped is not None and _lies(folder / MAPPING):
            kept.append(MAPPING)
        elif mapped is not None:
            mapped.save(folder / MAPPING)
            made.append(MAPPING)
        for name, make in {**tables, **_files(paper)}.items():
            if _lies(folder / name):
                kept.append(name)
                continue
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            write_whole(folder / name, make())
            made.append(name)
    return BegunBook(folder, tuple(made), tuple(kept), problems, tuple(_next_steps(folder)))


def _refuse_file(folder: Path) -> None:
    if is_there(folder, Path.is_file):
        raise BookError(str(folder), "it is a file", "name a folder, which is made where it is missing")


def _lies(path: Path) -> bool:
    """Whether a name is taken, be it by a link that leads nowhere."""
    return is_there(path, Path.exists) or is_there(path, Path.is_symlink)


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    """Say of a folder that it cannot be made or written into."""
    try:
        yield
    except SagglabError:
        raise
    except OSError as error:
        raise BookError(
            str(folder),
            f"it cannot be made or written into ({error.strerror or error})",
            "name a folder of your own on a disk with room",
        ) from error


def _tables(csv: bool, rows: dict[str, Rows] | None) -> dict[str, Callable[[], str | bytes]]:
    if csv:
        return {name: partial(str, text) for name, text in fresh_texts(rows).items()}
    return {WORKBOOK: partial(fresh_workbook, rows)}


def _files(paper: str) -> dict[str, Callable[[], str | bytes]]:
    """Give what makes each file beside the tables; it is asked only for what is missing."""
    # Loaded here: printing loads a compiler, which takes 40 MB.
    from sagglab.handout.photo_guide import photo_guide
    from sagglab.handout.tag_sheet import tag_sheet

    return {
        OWN_TARGET: (BUILT_IN / _TARGET).read_bytes,
        _GUIDE: partial(photo_guide, paper),
        _TAGS: partial(tag_sheet, paper),
        **{f"{NOTEBOOKS}/{name}": partial(str, text) for name, text in own_notebooks().items()},
    }


def check_room_for_notes(folder: Path, mapping: str | os.PathLike[str] | Mapping | None) -> None:
    """Refuse to take notes into a folder where something would have to be written over.

    Raises
    ------
    BookError
        It is a file, or cannot be written into; it has tables, or another mapping than the one that is given.
    """
    # Said before anybody has answered questions about the notes.
    _refuse_file(folder)
    nearest = next((place for place in (folder, *folder.absolute().parents) if _lies(place)), folder)
    with _told(folder):
        if not nearest.is_dir():
            raise NotADirectoryError(ENOTDIR, os.strerror(ENOTDIR))
        if not os.access(nearest, os.W_OK):
            raise PermissionError(EACCES, os.strerror(EACCES))
    there = [name for name in TABLE_FILES if _lies(folder / name)]
    if there:
        raise BookError(
            str(folder), f"it has tables already: {', '.join(there)}", "name a new folder for the notes"
        )
    place = folder / MAPPING
    given = isinstance(mapping, str | os.PathLike) and Path(mapping).resolve() == place.resolve()
    if _lies(place) and not given:
        raise BookError(
            str(place),
            "there is a mapping from before",
            "use it with --mapping, or take it out of the folder",
        )


def _from_notes(
    folder: Path,
    notes: str | os.PathLike[str],
    mapping: str | os.PathLike[str] | Mapping | None,
    sheet: str | None,
) -> tuple[Mapping, dict[str, Rows], Problems]:
    from sagglab.notes import Mapping, book_tables, propose_mapping, read_mapping, read_notes

    if mapping is None:
        read = read_notes(notes, sheet)
        with _told(folder):
            folder.mkdir(parents=True, exist_ok=True)
            propose_mapping(read).save(folder / MAPPING)
        raise BookError(
            str(folder / MAPPING),
            "it is not settled which heading becomes which column: this file proposes it, and nothing else "
            "was written",
            "look it over, correct it, and run this again with --mapping and this file",
        )
    mapped = mapping if isinstance(mapping, Mapping) else read_mapping(mapping)
    return (mapped, *book_tables(read_notes(notes, sheet or mapped.sheet or None), mapped))


def _next_steps(folder: Path) -> Iterator[str]:
    yield (
        f"Print {_GUIDE}, which shows where lamp, pot, colour target and camera stand, and {_TAGS}: a pot "
        "keeps its tag from the bench to its photograph."
    )
    first = ""
    with suppress(SagglabError):  # `sagglab check` says what is wrong with the tables
        first = open_book(folder).first_entry
    if first:
        where = f"Open {WORKBOOK} in a spreadsheet" if _lies(folder / WORKBOOK) else "Open the tables"
        yield f"{where}; the table columns explains every column. {first}"
    yield (
        "Fill in the table setups: its target is the built-in one of your target's date (the table columns "
        f"says which), or {OWN_TARGET}, into which you write the values that came with yours."
    )
    written = f'"{folder}"' if " " in str(folder) else folder
    yield f"See what is wrong or missing: sagglab check {written}"
    yield f"Ask your own pots: sagglab notebooks {written}"
