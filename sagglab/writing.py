"""Writing a file whole: whoever looks at it, at whatever moment, finds the old content or the new one."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from pathlib import Path


def write_whole(path: str | os.PathLike[str], content: str | bytes) -> None:
    """Write a file so that a crash or a power cut leaves the old one or the new, whole.

    Parameters
    ----------
    path : path
        The file; it is replaced when it is there. A link is followed.
    content : str or bytes
        All that the file shall hold: text, written in UTF-8 with its line ends as they are, or plain bytes.

    Raises
    ------
    OSError
        The folder cannot be written into, or the disk is full. The old file is still there then.

    Notes
    -----
    The content goes into a new file beside the old one, which takes its place only once it is on the disk.
    When the power is cut in between, that new file is left behind under a name such as ``.3f9a61c2.new``; it
    can be deleted.
    """
    path = Path(path).resolve()
    # Its own name for each write, or two writers would mix their contents; made by `os.open`, so that the
    # file gets the permissions that any new file of this user has.
    beside = path.parent / f".{secrets.token_hex(4)}.new"
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileNotFoundError):
            beside.chmod(stat.S_IMODE(path.stat().st_mode))
        beside.replace(path)
    except BaseException:  # an interruption from the keyboard, too, leaves nothing behind
        beside.unlink(missing_ok=True)
        raise
    _keep_names(path.parent)


def _keep_names(folder: Path) -> None:
    """Have a folder's names on the disk, where a system lets folders be opened for that."""
    if os.name == "nt":
        return
    # Some network drives refuse it. The file has taken its place by then, so that is no failure to write.
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
