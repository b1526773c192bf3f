"""The notebooks of a book: the project's own, set to that book, and opened in JupyterLab.

A notebook that asks one book has it named at its top, as ``BOOK = "../data/demo"``; its copy in the folder
``notebooks`` of a book names that book, and holds no answers of another's pots.
"""

from __future__ import annotations

import json
import os
import re
import secrets
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import sagglab
from sagglab.errors import MissingFileError, NotInstalledError, SagglabError

#: Where a book has its notebooks, and what the project's are called, in a checkout and in a wheel.
NOTEBOOKS = "notebooks"

#: The tag of cells that make no sense in a book of one's own.
ELSEWHERE = "not in a book"

#: Connections come from this machine alone.
LOOPBACK = "127.0.0.1"

_NAMED = re.compile(r"^BOOK\b[^=\n]*=.*$", re.MULTILINE)
_DEMO = re.compile(r"""(["'])\.\./data/[^"']+\1""")


def own_notebooks() -> dict[str, str]:
    """Give the project's notebooks as a book has them.

    Returns
    -------
    dict of str
        By the file's name: those that ask one book, each set to the folder above its own, without outputs.
    """
    found = {}
    for path in sorted(_project_notebooks().glob("*.ipynb")):
        notebook = _set_to_its_book(json.loads(path.read_text(encoding="utf-8")))
        if notebook is not None:
            found[path.name] = json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"
    return found


def _project_notebooks() -> Path:
    """Inside the package in a wheel, beside it in a checkout."""
    package = Path(sagglab.__file__).parent
    inside = package / NOTEBOOKS
    return inside if inside.is_dir() else package.parent / NOTEBOOKS


def _set_to_its_book(notebook: dict[str, Any]) -> dict[str, Any] | None:
    """Name the folder above in place of the demo; None of a notebook that asks no book, or several."""
    cells = notebook["cells"]
    notebook["cells"] = [cell for cell in cells if ELSEWHERE not in cell["metadata"].get("tags", ())]
    codes = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    sources = ["".join(cell["source"]) for cell in codes]
    place = next((place for place, source in enumerate(sources) if _NAMED.search(source)), None)
    if place is None:
        return None
    line = _NAMED.search(sources[place]).group()
    if len(_DEMO.findall(line)) != 1:
        return None
    own = sources[place].replace(line, _DEMO.sub('".."', line), 1)
    codes[place]["source"] = own.splitlines(keepends=True)
    for cell in codes:
        cell["outputs"], cell["execution_count"] = [], None
        cell["metadata"].pop("execution", None)
    notebook["metadata"].pop("widgets", None)
    return notebook


def open_notebooks(
    folder: str | os.PathLike[str], browser: bool = True, *, say: Callable[[str], None]
) -> None:
    """Open a book's notebooks in JupyterLab, for this machine alone, until it is stopped.

    Whatever the user's own configuration of Jupyter says, the server listens on 127.0.0.1 and asks for a
    token that is new each time. What it says of looks and habits is kept.

    Parameters
    ----------
    folder : path
        The folder of a batch book, or its folder ``notebooks``.
    browser : bool
        Whether to open a browser.
    say : callable
        Takes the lines that tell the address, with its token, and how to stop.

    Raises
    ------
    MissingFileError
        There is no such folder, or no notebook in it.
    NotInstalledError
        JupyterLab is not installed.
    SagglabError
        JupyterLab refuses to start, or its configuration lets others in.
    """
    book = _book_of(Path(folder))
    try:
        from jupyterlab.labapp import LabApp
        from traitlets.config import TraitError
    except ImportError as error:
        raise NotInstalledError(
            "JupyterLab",
            f"it is not installed, or not whole ({error})",
            "install it with: pip install 'sagglab[lab]'",
        ) from error
    # The command line goes before every configuration file. It is given here and not to a new process, whose
    # arguments every user of the machine could read, the token among them.
    token = secrets.token_urlsafe(32)
    try:
        server = LabApp.initialize_server(argv=[*_settings(book, token, browser)])
    except (OSError, TraitError) as error:
        raise SagglabError("JupyterLab", f"it does not start ({error})", "mend its configuration") from error
    _check_closed(server, token)
    address = f"{server.connection_url}lab/tree/{NOTEBOOKS}?reset&token={token}"

    def tell() -> None:
        say(f"The notebooks of {book.name}: {address}")
        say("Open to this machine alone, and with this address alone. Ctrl+C here stops it.")

    server.io_loop.add_callback(tell)  # after its first callback, which begins to listen
    server.start()


def _check_closed(server: Any, token: str) -> None:
    """Refuse to serve where a configuration has won all the same."""
    from jupyter_server.auth.identity import PasswordIdentityProvider

    closed = (
        server.ip == LOOPBACK
        and not server.sock
        and not server.allow_remote_access
        and type(server.identity_provider) is PasswordIdentityProvider
        and server.identity_provider.token == token
        and not server.identity_provider.hashed_password
    )
    if not closed:
        raise SagglabError(
            "JupyterLab",
            "your own configuration of it lets others in, or in without a token",
            "look into the files that 'jupyter --paths' lists under config",
        )
    if getattr(os, "geteuid", lambda: 1)() == 0 and not server.allow_root:
        raise SagglabError(
            "JupyterLab", "it does not run for the machine's administrator", "run it as an ordinary user"
        )


def _book_of(folder: Path) -> Path:
    """Find the book's folder, which holds notebooks."""
    if not folder.is_dir():
        raise MissingFileError(str(folder), "there is no such folder", "give the folder of a batch book")
    folder = folder.resolve()
    # A folder of notebooks is known by its name: the notebooks of a book ask the folder above them.
    for book in (folder, folder.parent):
        if any((book / NOTEBOOKS).glob("*.ipynb")) and folder in (book, book / NOTEBOOKS):
            return book
    raise MissingFileError(
        str(folder),
        "it holds no notebook",
        f"run 'sagglab new {folder}', which adds them and changes nothing",
    )


def _settings(book: Path, token: str, browser: bool) -> Iterator[str]:
    """Give what goes before any configuration, of the classes that are asked last, which win."""
    yield f"--ServerApp.root_dir={book}"
    # Where a configuration sends the contents elsewhere, the notebooks would not be found.
    yield f"--AsyncLargeFileManager.root_dir={book}"
    yield "--AsyncLargeFileManager.preferred_dir="
    yield f"--LabApp.default_url=/lab/tree/{NOTEBOOKS}?reset"
    yield f"--ServerApp.open_browser={browser}"
    yield f"--LabApp.open_browser={browser}"
    yield f"--ServerApp.ip={LOOPBACK}"
    yield "--ServerApp.sock="
    yield "--ServerApp.custom_display_url="
    yield "--ServerApp.allow_remote_access=False"
    yield "--ServerApp.allow_origin="
    yield "--ServerApp.allow_origin_pat="
    yield "--ServerApp.disable_check_xsrf=False"
    yield "--ServerApp.identity_provider_class=jupyter_server.auth.identity.PasswordIdentityProvider"
    yield "--ServerApp.login_handler_class=jupyter_server.auth.login.LoginHandler"
    yield "--PasswordIdentityProvider.hashed_password="
    yield "--PasswordIdentityProvider.password_required=False"
    yield f"--PasswordIdentityProvider.token={token}"
    # One line with the address is printed here; Ctrl+C stops it without a question.
    yield "--Application.log_level=WARN"
    yield "--ServerApp.answer_yes=True"
