"""What all widgets share: the still view beside the live one, the look, and errors that stay in sight.

Where a widget is shown decides what it is. In an open notebook it writes two outputs, the live view and below
it the still one, plain HTML with the same information, which hides itself while the live one is there:

- On paper: JupyterLab prints a notebook by way of nbconvert, which passes over a widget whose state was not
  stored, and JupyterLab stores none unless its setting "Save Widget State Automatically" was ticked.
- In a notebook that is opened again, JupyterLab has only "model not found" to say in the place of the live
  view until the cell is run again. In one output with the live view, the still one would not be shown then.
- In a notebook that is run without a front end (nbconvert, nbval) the still view is all that is written.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, ClassVar

import anywidget
import traitlets
from IPython.display import display

from sagglab.errors import SagglabError
from sagglab.markup import framed
from sagglab.progress import in_open_notebook

_HERE = Path(__file__).parent
_VIEW = "application/vnd.jupyter.widget-view+json"
#: A still view below a live one is hidden, and so is what stands above a still one in a live one's place.
_ONE_OF_BOTH = """
.jp-OutputArea-child:has(.sagglab-live) + .jp-OutputArea-child:has(.sagglab-still),
.jp-OutputArea-child:has(> .jupyter-widgets):not(:has(.sagglab-live)):has(
  + .jp-OutputArea-child .sagglab-still) {display: none}
"""


def script(*names: str) -> str:
    """Join a widget's scripts, behind what all share (``live.js``)."""
    # A widget's script goes to the browser as one text, which can import nothing that lies beside it.
    return _joined("live.js", *names)


def look(*names: str) -> str:
    """Join a widget's styles, behind the one that all have (``live.css``)."""
    return _joined("live.css", *names)


def _joined(*names: str) -> str:
    return "\n".join((_HERE / name).read_text(encoding="utf-8") for name in names)


class LiveWidget(anywidget.AnyWidget):
    """A widget with a still view.

    A subclass sets ``_esm = script("NAME.js")``, and ``_css = look("NAME.css")`` where it has one; declares
    the traits that its script shows; gives `still`; and answers what the script asks by methods
    ``asked_NAME(**values)``: the script calls ``ask(model, "NAME", values)`` of ``live.js``. What they raise
    is shown in the widget, in words, by its ``answers``; nothing is lost in a log.

    Attributes
    ----------
    said : dict
        What the last question came to: ``kind`` ("done" or "fault"), ``where``, ``cause`` and ``remedy``.
    busy : bool
        Whether a question is being answered.
    """

    _css: ClassVar[str] = look()

    said = traitlets.Dict().tag(sync=True)
    busy = traitlets.Bool(False).tag(sync=True)

    def __init__(self, **values: Any) -> None:
        super().__init__(**values)
        self.on_msg(self._asked)

    @abstractmethod
    def still(self) -> str:
        """Give the same information as HTML that needs no front end: for paper, and where nothing runs."""

    def say(self, cause: str, where: str = "", remedy: str = "", kind: str = "done") -> None:
        """Show words in the widget, and have a screen reader read them."""
        # The same words said twice are two events: without a number the front end would not hear the second.
        number = self.said.get("number", 0) + 1
        self.said = {"kind": kind, "where": where, "cause": cause, "remedy": remedy, "number": number}

    def _asked(self, _: object, content: Mapping[str, Any], __: object) -> None:
        with self.told():
            getattr(self, f"asked_{content['ask']}")(**content.get("values", {}))

    @contextmanager
    def told(self) -> Iterator[None]:
        """Tell in the widget what goes wrong in here: raised for a front end's message, it is not seen."""
        self.busy = True
        try:
            yield
        except SagglabError as error:
            self.say(error.cause, error.where, error.remedy, "fault")
        except OSError as error:
            self.say(str(error), "the file", "look whether it is open elsewhere, and try again", "fault")
        except Exception as error:
            told = f"{type(error).__name__}: {error}"
            remedy = "run the cell again, and report this if it comes back"
            self.say(told, "sagglab itself", remedy, "fault")
        finally:
            self.busy = False

    def __repr__(self) -> str:
        return f"{type(self).__name__}: open this notebook in JupyterLab and run this cell to use it"

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, str]:
        return {"text/plain": repr(self), "text/html": framed(self.still())}

    def _ipython_display_(self) -> None:
        if not in_open_notebook():
            # IPython's word for "go on with the bundle": as the cell's result, which nothing displayed is.
            raise NotImplementedError
        # The live view first: the still one of large photographs takes seconds to draw.
        view = {"version_major": 2, "version_minor": 1, "model_id": self.model_id}
        # Without any text nbconvert, which passes over the view, would warn that there is nothing.
        display({_VIEW: view, "text/plain": ""}, raw=True)
        still = f'<style>{_ONE_OF_BOTH}</style><div class="sagglab-still">{self.still()}</div>'
        display({"text/plain": repr(self), "text/html": framed(still)}, raw=True)
