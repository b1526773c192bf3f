"""Progress, and what stopping it leaves behind."""

import io
import os
import re
import subprocess
import sys
import time
from contextlib import redirect_stderr

import pytest

from sagglab import progress as bars
from sagglab.progress import progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.fixture(autouse=True)
def _in_a_shell(monkeypatch):
    monkeypatch.delenv("JPY_SESSION_NAME", raising=False)


def shown(to, steps=3, total=3):
    """Work for a third of a second, and give what standard error got."""
    with redirect_stderr(to), progress("measuring", total, "photographs") as step:
        for _ in range(steps):
            time.sleep(0.12)  # tqdm draws no oftener than every 0.1 s
            step()
    return to.getvalue()


class TestBar:
    def test_quick_work_shows_none(self):
        assert shown(Terminal()) == ""

    def test_slow_work_shows_one_until_it_is_done(self, monkeypatch):
        monkeypatch.setattr(bars, "DELAY_S", 0.01)
        drawn = shown(Terminal())
        assert re.search(r"measuring +33% \|.*\| 1 of 3 photographs, \S+ left", drawn)
        assert drawn.split("\r")[-2].strip() == ""

    def test_a_file_gets_none(self, monkeypatch):
        monkeypatch.setattr(bars, "DELAY_S", 0.01)
        assert shown(io.StringIO()) == ""

    def test_work_that_ends_early_is_done(self, monkeypatch):
        made = []

        class Bar(bars.tqdm):
            def close(self):
                made.append((self.n, self.total))
                super().close()

        monkeypatch.setattr(bars, "tqdm", Bar)
        shown(Terminal(), steps=1)
        assert made[0] == (3, 3)

    def test_stopped_says_how_far_it_came(self):
        with pytest.raises(KeyboardInterrupt) as stop, progress("measuring", 3, "photographs") as step:
            step()
            raise KeyboardInterrupt
        assert stop.value._render_traceback_() == ["Stopped: measuring, 1 of 3 photographs done."]


IN_A_NOTEBOOK = """
import sys, types, warnings
warnings.simplefilter("error")
import ipykernel
{missing}
from sagglab import progress as bars
bars.DELAY_S = 0.0
with bars.progress("measuring", 2, "photographs") as step:
    step()
"""


class TestInANotebook:
    @pytest.mark.parametrize("missing", ["", "sys.modules['ipywidgets'] = None"])
    def test_it_is_a_line_that_goes_and_warns_of_nothing(self, missing):
        script = IN_A_NOTEBOOK.format(missing=missing)
        done = subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            env=os.environ | {"JPY_SESSION_NAME": "a notebook"},
        )
        assert done.stderr == "" and done.returncode == 0
        shown, *_, last, end = done.stdout.lstrip().split("\n")  # each stands in the place of the one before
        assert shown.startswith("measuring   0% |") and last.strip() == "" == end
