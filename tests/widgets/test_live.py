"""What all widgets share: the still view, faults in words, and what is not installed."""

import importlib
import sys

import nbformat
import pytest
from IPython.core.interactiveshell import InteractiveShell
from nbconvert import HTMLExporter

from sagglab.errors import BookError, NotInstalledError
from sagglab.widgets.live import LiveWidget

VIEW = "application/vnd.jupyter.widget-view+json"


class Probe(LiveWidget):
    def still(self):
        return "<p>12 pots, 3 of them black</p>"

    def asked_double(self, number):
        self.say(f"it is {2 * number}")

    def asked_fault(self):
        raise BookError("pots, row 3", "it is blank", "fill it in")

    def asked_disk(self):
        raise OSError("no space left")

    def asked_nonsense(self):
        return 1 / 0


@pytest.fixture
def probe():
    probe = Probe()
    yield probe
    probe.close()


def asked(probe, name, **values):
    probe._handle_custom_msg({"ask": name, "values": values}, [])
    return probe.said


@pytest.fixture
def displayed(probe, monkeypatch):
    """What the probe writes into a notebook that is open, and into one that is not."""
    shell = InteractiveShell()
    shown = []
    monkeypatch.setattr("sagglab.widgets.live.display", lambda bundle, raw: shown.append(bundle))
    monkeypatch.setattr("sagglab.widgets.live.in_open_notebook", lambda: True)
    bundle, _ = shell.display_formatter.format(probe)
    assert bundle == {}
    monkeypatch.setattr("sagglab.widgets.live.in_open_notebook", lambda: False)
    bundle, _ = shell.display_formatter.format(probe)
    return shown, bundle


def test_the_live_view_is_written_only_where_it_can_be_shown(displayed):
    opened, elsewhere = displayed
    assert [bundle.keys() for bundle in opened] == [
        {VIEW, "text/plain"},
        {"text/plain", "text/html"},
    ]
    assert elsewhere.keys() == {"text/plain", "text/html"}
    assert "12 pots" in opened[1]["text/html"] and "12 pots" in elsewhere["text/html"]


def test_paper_shows_the_still_view_of_a_live_one(displayed):
    """JupyterLab prints by nbconvert; its own notebooks hold no state of widgets unless that is asked for."""
    outputs = [nbformat.v4.new_output("display_data", bundle) for bundle in displayed[0]]
    page = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("probe", outputs=outputs)])
    assert "12 pots, 3 of them black" in HTMLExporter().from_notebook_node(page)[0]


def test_faults_are_said_in_the_widget(probe):
    assert asked(probe, "double", number=4)["cause"] == "it is 8"
    assert asked(probe, "fault") == {
        "kind": "fault",
        "where": "pots, row 3",
        "cause": "it is blank",
        "remedy": "fill it in",
        "number": 2,
    }
    assert asked(probe, "disk")["cause"] == "no space left"
    told = asked(probe, "nonsense")
    assert (told["where"], told["cause"]) == ("sagglab itself", "ZeroDivisionError: division by zero")
    assert not probe.busy


def test_what_is_not_installed_is_said(monkeypatch):
    for name in [name for name in sys.modules if name.startswith("sagglab.widgets")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "anywidget", None)
    with pytest.raises(NotInstalledError, match=r"pip install 'sagglab\[lab\]'") as told:
        importlib.import_module("sagglab.widgets")
    assert isinstance(told.value, ImportError)


PROBE = """
from sagglab.widgets.live import _HERE, LiveWidget
class Probe(LiveWidget):
    _esm = (_HERE / "live.js").read_text() + '''
function render({ model, el }) {
  const heard = answers(model, el);
  el.append(element("button", { onclick: () => ask(model, "double", { number: 4 }) }, "Double"),
    element("button", { onclick: () => ask(model, "fail") }, "Fail"), ...heard.parts);
  return heard.stop;
}
export default { render };'''
    def still(self): return "<p>12 pots</p>"
    def asked_double(self, number): self.say(f"it is {2 * number}")
    def asked_fail(self): self.say("<b>no</b>", "here", "try again", "fault")
Probe()
"""


def test_in_a_browser(lab, contrast):
    page = lab.opened(PROBE)
    page.get_by_role("button", name="Double").click()
    page.get_by_text("it is 8.").wait_for()
    page.get_by_role("button", name="Fail").click()
    page.get_by_text("▲ here: <b>no</b>. Try again.").wait_for()
    # "d" twice deletes the cell, where the notebook hears it.
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert page.locator(".jp-Notebook .jp-CodeCell").count() == 1
    for theme in ("JupyterLab Light", "JupyterLab Dark"):
        lab.theme(theme)
        assert contrast(page, ".sagglab-live") >= 4.5
    page.evaluate("window.jupyterapp.shell.currentWidget.context.sessionContext.restartKernel()")
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("button", name="Double").click()
    page.get_by_text("its kernel has ended").wait_for()
    # Opened again, the notebook shows the still view in the place of the live one, which is gone.
    still = page.locator(".sagglab-still")
    assert still.text_content().endswith("12 pots") and not still.is_visible()
    name = page.evaluate(
        "async () => { const at = window.jupyterapp.shell.currentWidget; await at.context.save();"
        " const path = at.context.path; at.dispose(); return path; }"
    )
    lab.do("docmanager:open", {"path": name, "factory": "Notebook"})
    page.get_by_text("model not found").wait_for(state="attached")
    still.wait_for()
    assert not page.get_by_text("model not found").is_visible()
    assert lab.elsewhere == []
