"""Progress: a bar where a person waits for longer than two seconds, in a shell or in an open notebook."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm.std import tqdm

#: What is done sooner shows no bar.
DELAY_S = 2.0

#: Called after each step, or with how many steps have been done.
Step = Callable[..., object]

_BAR = "{desc} {percentage:3.0f}% |{bar}| {n_fmt} of {total_fmt} {unit}, {remaining} left"


def in_open_notebook() -> bool:
    """Whether this process is the kernel of a notebook that a person has open."""
    # Jupyter's servers name the open notebook to its kernel; nbconvert and nbval start theirs without one.
    return bool(os.environ.get("JPY_SESSION_NAME")) and "ipykernel" in sys.modules


@contextmanager
def progress(doing: str, total: int, things: str) -> Iterator[Step]:
    """Show how much of the work is done, and how long the rest may take.

    In a shell the bar is a line on standard error, where that is a terminal; in an open notebook it is a
    line of the cell's output. It is gone once the work is done; where the work was stopped, the notebook
    says how far it came. Where nobody watches (a file, a test, a notebook that runs by itself), there is
    none, so that what is stored does not depend on how fast the machine was.

    Parameters
    ----------
    doing : str
        Such as ``measuring``.
    total : int
        Steps in all.
    things : str
        What the steps are, in the plural.

    Yields
    ------
    Step

    Examples
    --------
    >>> with progress("measuring", 2, "photographs") as step:
    ...     for _ in range(2):
    ...         _ = step()
    """
    # tqdm's own choice of a bar (tqdm.auto) is a widget in a notebook: it warns where ipywidgets is missing,
    # is shown to nobody where nbval runs the notebook, and one that was saved is printed as it last stood.
    shown = in_open_notebook()
    file, disable = (sys.stdout, False) if shown else (sys.stderr, None)  # None: only on a terminal
    with tqdm(
        total=total, desc=doing, unit=things, bar_format=_BAR, file=file, leave=False, delay=DELAY_S,
        miniters=1, disable=disable,
    ) as going:  # fmt: skip
        done = 0  # a bar that nobody sees does not count

        def step(steps: int = 1) -> None:
            nonlocal done
            done += steps
            going.update(steps)

        try:
            yield step
        except KeyboardInterrupt as stop:
            told = f"Stopped: {doing}, {done} of {total} {things} done."
            # What IPython shows in place of sixty lines of a traceback; the shell's command says its own.
            stop._render_traceback_ = getattr(stop, "_render_traceback_", lambda: [told])
            raise
        # Work that turns out shorter is done all the same; tqdm takes a bar that is not full for a failure.
        going.update(total - done)
