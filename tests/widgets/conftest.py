"""One JupyterLab on loopback and one headless browser, in which widgets are used as a person uses them."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import nbformat
import pytest

TOKEN = "for-these-tests-alone"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]
#: Nothing takes as long on two busy cores as a kernel that imports pandas.
PATIENCE = 120_000


@dataclass
class Lab:
    """A JupyterLab, the folder that it shows, and a page of a browser that shows it.

    Attributes
    ----------
    folder : Path
    page : playwright.sync_api.Page
    elsewhere : list of str
        What the page asked of any other machine.
    """

    folder: Path
    page: object
    elsewhere: list

    def opened(self, *cells, wait=".sagglab-live"):
        """Open a notebook of these cells alone, run it, and wait for what the selector finds.

        Returns the page.
        """
        name = f"n{len(list(self.folder.glob('*.ipynb')))}.ipynb"
        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
        book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(book, self.folder / name)
        # Closed by its command, a notebook that was not saved would ask what to do.
        self.page.evaluate(
            "async () => { for (const each of [...window.jupyterapp.shell.widgets('main')]) {"
            " await each.context?.sessionContext?.shutdown(); each.dispose(); } }"
        )
        self.do("docmanager:open", {"path": name, "factory": "Notebook"})
        self.page.wait_for_function(
            "name => { const at = window.jupyterapp.shell.currentWidget;"
            " return at && at.context && at.context.path === name && at.context.isReady"
            " && at.context.sessionContext.session && at.context.sessionContext.session.kernel; }",
            arg=name,
            timeout=PATIENCE,
        )
        self.do("notebook:run-all-cells")
        if wait:
            self.page.wait_for_selector(wait, timeout=PATIENCE)
        return self.page

    def do(self, command, arguments=None):
        """Have JupyterLab do one of its commands, as its menus do."""
        self.page.evaluate(
            "([command, given]) => { window.jupyterapp.commands.execute(command, given); }",
            [command, arguments or {}],
        )

    def theme(self, name):
        """Change the theme: 'JupyterLab Light' or 'JupyterLab Dark'."""
        light = "true" if name.endswith("Light") else "false"
        if self.page.locator(f"body[data-jp-theme-light={light}]").count():
            return
        self.do("apputils:change-theme", {"theme": name})
        self.page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached", timeout=PATIENCE)
        self.page.locator("#jupyterlab-splash").wait_for(state="detached", timeout=PATIENCE)


@pytest.fixture(scope="session")
def lab_server(tmp_path_factory):
    """The folder and the address of a JupyterLab that reads and writes nothing of the user's."""
    pytest.importorskip("jupyterlab", reason="JupyterLab is not installed")
    root, own = tmp_path_factory.mktemp("notebooks"), tmp_path_factory.mktemp("jupyter")
    settings = own / "config/lab/user-settings/@jupyterlab/apputils-extension"
    settings.mkdir(parents=True)
    quiet = {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True}
    (settings / "notification.jupyterlab-settings").write_text(json.dumps(quiet), encoding="utf-8")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    places = {"JUPYTER_CONFIG_DIR": "config", "JUPYTER_DATA_DIR": "data", "JUPYTER_RUNTIME_DIR": "runtime"}
    places["IPYTHONDIR"] = "ipython"
    environment = {**os.environ, **{name: str(own / place) for name, place in places.items()}}
    environment.pop("JPY_SESSION_NAME", None)
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}"]
    command += ["--allow-root", "--ServerApp.port_retries=0", f"--IdentityProvider.token={TOKEN}"]
    command += [f"--ServerApp.root_dir={root}", "--LabApp.expose_app_in_browser=True"]
    with (own / "log").open("wb") as log:
        server = subprocess.Popen(command, env=environment, cwd=root, stdout=log, stderr=log)
    address = f"http://127.0.0.1:{port}"
    try:
        _await(server, f"{address}/api/status?token={TOKEN}", own / "log")
        yield root, address
    finally:
        # Asked to, it ends its kernels too.
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _await(server, address, log):
    until = time.monotonic() + PATIENCE / 1000
    while time.monotonic() < until and server.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    pytest.fail(f"JupyterLab did not start:\n{log.read_text(encoding='utf-8')}")


@pytest.fixture
def lab(request, lab_server):
    """The `Lab` that all tests of this folder share, with a light theme."""
    if not _OPEN:
        chromium = shutil.which("chromium")
        if chromium is None:
            pytest.skip("chromium is not installed")
        driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
        # Not to the session's end: playwright keeps an event loop running in this thread as long as it lives,
        # and what is tested elsewhere (notebooks) runs its own.
        here = next(node for node in request.node.listchain() if node.path == Path(__file__).parent)
        with contextlib.ExitStack() as opened:
            _OPEN.append(_lab(opened, driver, chromium, *lab_server))
            closing = opened.pop_all()
        here.addfinalizer(lambda: (_OPEN.clear(), closing.close()))
    _OPEN[0].theme("JupyterLab Light")
    return _OPEN[0]


_OPEN = []


def _lab(opened, driver, chromium, root, address):
    browser = opened.enter_context(driver.sync_playwright()).chromium
    browser = opened.enter_context(browser.launch(executable_path=chromium, args=FLAGS))
    page, elsewhere = browser.new_page(viewport={"width": 1400, "height": 1100}), []
    own = (address, address.replace("http", "ws"), "data:", "blob:")
    page.on("request", lambda asked: elsewhere.append(asked.url) if not asked.url.startswith(own) else None)
    page.goto(f"{address}/lab?token={TOKEN}&reset", timeout=PATIENCE)
    page.wait_for_function("window.jupyterapp", timeout=PATIENCE)
    page.evaluate("window.jupyterapp.restored.then(() => true)")
    return Lab(root, page, elsewhere)


@pytest.fixture
def contrast():
    """Give a function: the least contrast (WCAG 2.2) of any text below a selector to what lies behind it."""
    return lambda page, selector: page.evaluate(_CONTRAST, selector)


# By WCAG 2.2, "relative luminance" and "contrast ratio"; colours laid over one another by their opacity.
_CONTRAST = """selector => {
  const parse = text => {
    const parts = (text.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
    return parts.length < 4 ? [...parts.slice(0, 3), 1] : parts;
  };
  const over = (top, below) => [0, 1, 2].map(i => top[i] * top[3] + below[i] * (1 - top[3])).concat(1);
  const light = colour => {
    const [r, g, b] = colour.slice(0, 3).map(v => v / 255)
      .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = node => {
    const stack = [];
    for (let at = node; at; at = at.parentElement) stack.push(parse(getComputedStyle(at).backgroundColor));
    return stack.reverse().reduce((below, top) => over(top, below), [255, 255, 255, 1]);
  };
  let least = 21;
  const walker = document.createTreeWalker(document.querySelector(selector), NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !node.getClientRects().length) continue;
    const back = behind(node), ink = over(parse(getComputedStyle(node).color), back);
    const [dim, bright] = [light(ink), light(back)].sort((a, b) => a - b);
    least = Math.min(least, (bright + 0.05) / (dim + 0.05));
  }
  return least;
}"""
