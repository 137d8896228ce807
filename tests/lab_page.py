"""A real JupyterLab in a headless Chromium: start it, open a notebook, move a slider, look.

Used by test_browser.py and by benchmarks/panel_latency.py. Nothing of the person's own
Jupyter set-up is read or written: home, settings and notebooks are temporary copies.
"""

import contextlib
import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parent.parent
BROWSERS = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable"]
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
# no question about news on first start, no look-up of newer versions
SETTINGS = {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True}
IDLE = "() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'"
RAISED = """() => window.jupyterapp.shell.currentWidget.model.sharedModel.cells
  .filter(cell => cell.cell_type === 'code' && !(cell.metadata.tags ?? []).includes('raises-exception'))
  .flatMap(cell => cell.outputs.filter(output => output.output_type === 'error'))
  .map(output => output.ename + ': ' + output.evalue)"""
LEFT = """() => window.jupyterapp.shell.currentWidget.model.sharedModel.cells
  .filter(cell => cell.cell_type === 'code' && cell.source.trim() && cell.execution_count === null).length"""
PANELS = """() => window.jupyterapp.shell.currentWidget.model.sharedModel.cells
  .filter(cell => cell.cell_type === 'code').flatMap(cell => cell.outputs)
  .filter(output => output.data && /fermkit panel/.test([output.data['text/plain'] ?? ''].flat().join(''))).length"""
UNSEEN = """() => window.jupyterapp.shell.currentWidget.model.sharedModel.cells
  .filter(cell => cell.cell_type === 'code').flatMap(cell => cell.outputs)
  .filter(output => output.data && !output.data['image/png'])
  .map(output => [output.data['text/plain'] ?? ''].flat().join(''))
  .filter(text => /<(Figure|picture|.*matplotlib)/.test(text) || / at 0x/.test(text))"""


def browser_path():
    """Where this machine keeps a Chromium, or None."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


class Lab:
    """One Lab server on a free port, over a temporary copy of notebooks and sample data."""

    def __init__(self, home: Path):
        self.root = home / "kit"
        self.home = home
        self.token = secrets.token_hex(16)
        for name in ("notebooks", "sample_data"):
            if (REPOSITORY / name).is_dir():
                shutil.copytree(
                    REPOSITORY / name,
                    self.root / name,
                    ignore=shutil.ignore_patterns(".ipynb_checkpoints", "__pycache__"),
                )
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.process = None
        self.log = None

    def __enter__(self):
        places = {
            "HOME": "",
            "IPYTHONDIR": "ipython",
            "JUPYTER_CONFIG_DIR": "config",
            "JUPYTER_DATA_DIR": "data",
            "JUPYTER_RUNTIME_DIR": "runtime",
            "JUPYTERLAB_SETTINGS_DIR": "settings",
            "JUPYTERLAB_WORKSPACES_DIR": "workspaces",
        }
        extension = self.home / "settings" / "@jupyterlab" / "apputils-extension"
        extension.mkdir(parents=True)
        (extension / "notification.jupyterlab-settings").write_text(json.dumps(SETTINGS), encoding="utf-8")
        command = [
            *(sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--expose-app-in-browser"),
            *("--ip=127.0.0.1", f"--port={self.port}", "--ServerApp.port_retries=0"),
            *(f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={self.root}"),
            *("--LabApp.news_url=None",),
            "--LabApp.check_for_updates_class=jupyterlab.handlers.announcements.NeverCheckForUpdate",
        ]
        self.log = (self.home / "lab.log").open("w")
        self.process = subprocess.Popen(
            command,
            env=os.environ | {name: str(self.home / place) for name, place in places.items()},
            stdout=self.log,
            stderr=subprocess.STDOUT,
        )
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            if self.process.poll() is not None:
                break
            with contextlib.suppress(OSError):
                self.api("status")
                return self
            time.sleep(0.1)
        self.__exit__()
        raise RuntimeError("JupyterLab did not start:\n" + (self.home / "lab.log").read_text())

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.log.close()

    def api(self, path, method="GET"):
        """Ask the server."""
        request = urllib.request.Request(
            f"{self.url}/api/{path}", headers={"Authorization": f"token {self.token}"}, method=method
        )
        with urllib.request.urlopen(request, timeout=10) as answer:
            text = answer.read()
        return json.loads(text) if text else None

    def page(self, browser, notebook=""):
        """A page of this Lab, with a notebook opened by its address, or with none."""
        page = browser.new_page(viewport={"width": 1280, "height": 1000})
        page.complaints = []
        page.on("console", lambda m: page.complaints.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        tree = f"/tree/{notebook}" if notebook else ""
        page.goto(f"{self.url}/lab/workspaces/{secrets.token_hex(4)}{tree}?token={self.token}")
        page.wait_for_function("() => window.jupyterapp !== undefined", timeout=60_000)
        page.evaluate("() => window.jupyterapp.restored.then(() => true)")
        if notebook:
            page.wait_for_function(IDLE, timeout=60_000)
        return page

    def open(self, page, notebook):
        """The notebook in a tab of its own, its kernel ready."""
        page.evaluate(
            "path => window.jupyterapp.commands.execute('docmanager:open', {path}).then(() => true)", notebook
        )
        page.wait_for_function(IDLE, timeout=60_000)

    def close(self, page):
        """Shut the tab without saving, and its kernel."""
        page.evaluate("() => { window.jupyterapp.shell.currentWidget.context.model.dirty = false }")
        page.evaluate("() => window.jupyterapp.commands.execute('application:close').then(() => true)")
        for session in self.api("sessions"):
            self.api(f"sessions/{session['id']}", "DELETE")


def run_all(page):
    """Run every cell of the open notebook, and wait until all have run, or one failed that should not."""
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells').then(() => true)")
    # the command is done at the first error, even one that is meant; the cells after it still run
    page.wait_for_function(f"() => ({LEFT})() === 0 || ({RAISED})().length > 0", timeout=120_000)
    page.wait_for_function(IDLE, timeout=120_000)


def run_errors(page):
    """What the cells of the open notebook raised, those aside that are meant to."""
    return page.evaluate(RAISED)


def panels(page):
    """The panels of the open notebook, once every one that the cells returned can be seen."""
    count = page.evaluate(PANELS)
    page.wait_for_function(
        "n => document.querySelectorAll('.jp-NotebookPanel:not(.lm-mod-hidden) .fk-panel').length === n",
        arg=count,
        timeout=20_000,
    )
    return page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .fk-panel").all()


def unseen_pictures(page):
    """Outputs of the open notebook that name a picture, or an address, where something should be seen."""
    return page.evaluate(UNSEEN)


def picture(panel):
    """The picture's source, or an empty text where the panel has none."""
    image = panel.locator(".fk-picture")
    return image.inner_html() if image.count() else ""


def words(panel):
    """All that the panel says."""
    return panel.evaluate(SAID)


SAID = "panel => [...panel.querySelectorAll('.fk-words, .fk-numbers')].map(part => part.innerText).join('|')"
CHANGED = """([panel, said, source]) => {
  const picture = panel.querySelector('.fk-picture')
  const now = (""" + SAID + """)(panel)
  return now !== said && (!source || picture.innerHTML !== source)
}"""


def wait_for_change(page, panel, said, source, timeout=10_000):
    """Until the panel's words, and its picture if it has one, are not what they were."""
    page.wait_for_function(CHANGED, arg=[panel.element_handle(), said, source], timeout=timeout)


WATCH = """panel => {
  const image = () => panel.querySelector('.fk-picture')
  const seen = {frames: 0, blank: 0, jumps: 0, pictures: 0, stop: false}
  let source = image().innerHTML, height = panel.offsetHeight
  const look = () => {
    const now = image()
    seen.frames += 1
    if (!now || now.getBoundingClientRect().height < 10) seen.blank += 1
    else if (now.innerHTML !== source) { seen.pictures += 1; source = now.innerHTML }
    if (panel.offsetHeight !== height) { seen.jumps += 1; height = panel.offsetHeight }
    if (!seen.stop) requestAnimationFrame(look)
  }
  window.fkSeen = seen
  requestAnimationFrame(look)
}"""


def drag(page, panel, seconds=2.0):
    """Drag the first slider to and fro with the mouse; what was seen frame by frame."""
    handle = panel.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    box, rail = handle.bounding_box(), panel.locator(".noUi-target").first.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + box["width"] / 2, middle)
    page.mouse.down()
    panel.evaluate(WATCH)
    start = time.monotonic()
    while (spent := time.monotonic() - start) < seconds:
        share = 0.1 + 0.7 * abs((spent % 2) - 1)
        page.mouse.move(rail["x"] + share * rail["width"], middle)
        page.wait_for_timeout(15)
    seen = page.evaluate("() => window.fkSeen")
    page.mouse.up()
    page.evaluate("() => { window.fkSeen.stop = true }")
    return seen | {"seconds": spent}
