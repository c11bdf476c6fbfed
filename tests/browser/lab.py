"""JupyterLab in a real browser, as the browser tests and look.py use it.

A test asks for the fixtures ``lab`` (a running server on a copy of the
project), ``page`` (an empty browser window) and ``seen`` (what the page said),
and then says what a user does::

    def test_readings(lab, page, seen):
        open_notebook(page, lab, "notebooks/01_readings.ipynb")
        run_all(page)
        ran_well(page, seen)
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import urlopen

from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, Request

PROJECT = Path(__file__).resolve().parents[2]
if str(PROJECT) not in sys.path:
    sys.path.insert(0, str(PROJECT))

import start  # noqa: E402

TOKEN = "bench"
COPIED = ("notebooks", "data")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@dataclass(frozen=True)
class Lab:
    """A running server.

    Attributes
    ----------
    url : its address, without the token.
    folder : the copy of the project that it shows.
    home : where the suite keeps the user's instruments.
    user_folder : the home folder of the user; nothing should be written there.
    """

    url: str
    folder: Path
    home: Path
    user_folder: Path


@dataclass
class Watch:
    """What a page said and asked for since it was opened."""

    console_errors: list[str] = field(default_factory=list)
    outside_requests: list[str] = field(default_factory=list)

    def heard(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.console_errors.append(f"{message.text} ({message.location.get('url', '')})")

    def failed(self, error: Any) -> None:
        self.console_errors.append(f"{error.name}: {error.message}")

    def asked(self, request: Request) -> None:
        address = urlsplit(request.url)
        if address.scheme in ("data", "blob", "about"):
            return
        if address.hostname not in ("127.0.0.1", "localhost"):
            self.outside_requests.append(request.url)

    def leave(self, page: Page) -> None:
        """Hear no more of a page that goes on."""
        page.remove_listener("console", self.heard)
        page.remove_listener("pageerror", self.failed)
        page.remove_listener("request", self.asked)


def find_browser() -> str | None:
    """Return the path of a Chromium on this machine, or None."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


def free_port() -> int:
    """Return a port that nothing uses at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def copy_project(folder: Path) -> None:
    """Copy the notebooks and the demo data, so that nothing in the project is written."""
    for name in COPIED:
        ignore = shutil.ignore_patterns(".ipynb_checkpoints", "__pycache__")
        shutil.copytree(PROJECT / name, folder / name, ignore=ignore, dirs_exist_ok=True)


@contextmanager
def running_lab(folder: Path) -> Iterator[Lab]:
    """Run JupyterLab on a fresh copy of the project below a folder; stop it afterwards."""
    root, home, state = folder / "project", folder / "home", folder / "lab"
    user_folder = folder / "user"
    for made in (root, home, user_folder):
        made.mkdir(parents=True)
    copy_project(root)
    port = free_port()
    command = start.lab_command(sys.executable, root, state, port=port, browser=False)
    command += [f"--IdentityProvider.token={TOKEN}", "--LabApp.expose_app_in_browser=True"]
    environment = {
        **start.lab_environment(state),
        "BALANCEKIT_HOME": str(home),
        "HOME": str(user_folder),
    }
    status = f"http://127.0.0.1:{port}/api/status?token={TOKEN}"
    with running(command, status, folder / "lab.log", cwd=root, env=environment):
        yield Lab(f"http://127.0.0.1:{port}", root, home, user_folder)


@contextmanager
def running(command: list[str], status: str, log: Path, **options: Any) -> Iterator[None]:
    """Run a server until the end of the ``with``, from when its status page answers."""
    with log.open("wb") as out:
        server = subprocess.Popen(command, stdout=out, stderr=out, **options)
    try:
        _wait_for_server(server, status, log)
        yield
    finally:
        server.terminate()
        try:
            server.wait(30)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _wait_for_server(server: subprocess.Popen[bytes], status: str, log: Path) -> None:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and server.poll() is None:
        try:
            with urlopen(status, timeout=5):
                return
        except (URLError, OSError):
            time.sleep(0.1)
    said = log.read_text(errors="replace")[-3000:]
    raise RuntimeError(f"{log.stem} did not start:\n{said}")


def launch_browser(playwright: Playwright) -> Browser:
    """Start the Chromium of this machine, without a window."""
    path = find_browser()
    if path is None:
        raise RuntimeError(f"No browser found. Install one of: {', '.join(BROWSERS)}.")
    flags = [flag for flag in FLAGS if flag != "--no-sandbox" or is_root()]
    return playwright.chromium.launch(executable_path=path, headless=True, args=flags)


def is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0


def watch(page: Page) -> Watch:
    """Note the page's console errors, uncaught errors and requests to other machines."""
    seen = Watch()
    page.on("console", seen.heard)
    page.on("pageerror", seen.failed)
    page.on("request", seen.asked)
    return seen


def open_notebook(page: Page, lab: Lab, name: str, *, timeout_s: float = 60) -> None:
    """Open a notebook of the copied project, alone, in the Lab that the page has or in a new one.

    Waits until its kernel can be used.
    """
    if shows(page, lab):
        put_away(page)
        page.evaluate(_OPEN, name)
    else:
        page.goto(f"{lab.url}/lab/tree/{name}?token={TOKEN}&reset")
    wait_for_notebook(page, name, timeout_s=timeout_s)


def shows(page: Page, lab: Lab) -> bool:
    """Return whether the page has a Lab of this server that waits for nobody's answer."""
    return page.url.startswith(f"{lab.url}/lab") and bool(page.evaluate(_AT_REST))


def put_away(page: Page) -> None:
    """Close all that is open in the Lab of the page, if it has one; kernels go on."""
    page.evaluate(_PUT_AWAY)


def wait_for_notebook(page: Page, name: str, *, timeout_s: float = 60) -> None:
    """Wait until a notebook is open and its kernel can be used."""
    page.wait_for_function(_READY, arg=name, timeout=timeout_s * 1000)


def stop_kernels(lab: Lab) -> None:
    """End every kernel of the server, so that none goes on after its test."""
    headers = {"Authorization": f"token {TOKEN}"}
    listed = urllib.request.Request(f"{lab.url}/api/sessions", headers=headers)
    with urllib.request.urlopen(listed) as answer:
        sessions = json.load(answer)
    for session in sessions:
        address = f"{lab.url}/api/sessions/{session['id']}"
        ending = urllib.request.Request(address, headers=headers, method="DELETE")
        urllib.request.urlopen(ending).close()


def start_afresh(lab: Lab) -> None:
    """End every kernel, empty the user's folder, and bring the notebooks back as they are."""
    stop_kernels(lab)
    shutil.rmtree(lab.home, ignore_errors=True)
    lab.home.mkdir(parents=True, exist_ok=True)
    copy_project(lab.folder)


def run_all(page: Page, *, timeout_s: float = 60) -> None:
    """Run all cells and wait until the last is done.

    On a fresh server the order is sometimes lost: it is given again until a
    cell has started.
    """
    deadline = time.monotonic() + timeout_s
    while time.monotonic() < deadline:
        page.evaluate("() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }")
        for _ in range(15):
            page.wait_for_timeout(200)
            if page.evaluate(_STARTED):
                wait_idle(page, timeout_s=max(1.0, deadline - time.monotonic()))
                return
    raise TimeoutError(f"No cell ran within {timeout_s:g} s.")


def wait_idle(page: Page, *, timeout_s: float = 60, quiet_s: float = 0.4) -> None:
    """Wait until the kernel has been idle, with nothing queued, for a short while."""
    deadline = time.monotonic() + timeout_s
    quiet_since = None
    while time.monotonic() < deadline:
        now = time.monotonic()
        if not page.evaluate(_IDLE):
            quiet_since = None
        elif quiet_since is None:
            quiet_since = now
        elif now - quiet_since >= quiet_s:
            return
        page.wait_for_timeout(50)
    raise TimeoutError(f"The kernel was not idle within {timeout_s:g} s.")


def not_run(page: Page) -> list[str]:
    """Return the first line of each code cell that has no number yet."""
    return list(page.evaluate(_NOT_RUN))


def cell_errors(page: Page) -> list[str]:
    """Return every error a reader would see: in cells, in panels, and broken widgets."""
    return list(page.evaluate(_ERRORS))


def wide_outputs(page: Page) -> list[str]:
    """Return a word on each output that a reader would have to scroll sideways."""
    return list(page.evaluate(_WIDE))


def ran_well(page: Page, seen: Watch) -> None:
    """Hold that every cell ran, nothing failed, is wide, or asked another machine."""
    assert cell_errors(page) == [] and not_run(page) == [] and wide_outputs(page) == []
    assert seen.console_errors == [] and seen.outside_requests == []


def hide_sidebar(page: Page) -> None:
    """Close the list of files at the left, as Ctrl+B does."""
    page.evaluate("() => window.jupyterapp.shell.collapseLeft()")


def show_whole_page(page: Page, *, width: int) -> int:
    """Make the window as tall as the notebook; return its height in pixels."""
    height = 900
    for _ in range(4):
        wanted = int(page.evaluate(_HEIGHT))
        if wanted <= height:
            break
        height = wanted
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(500)
    page.evaluate("() => document.querySelectorAll('.jp-WindowedPanel-outer')"
                  ".forEach((part) => { part.scrollTop = 0; })")  # fmt: skip
    page.wait_for_timeout(300)
    return height


_PANEL = "const panel = window.jupyterapp.shell.currentWidget;"

_AT_REST = """() => Boolean(window.jupyterapp) && !document.querySelector('.jp-Dialog')
  && !window.balancekitOutbox?.entries.length"""

_OPEN = """name => {
  window.jupyterapp.commands.execute('docmanager:open', { path: name, factory: 'Notebook' });
}"""

# An empty Lab would open its launcher of itself, a moment later and in front of all.
_PUT_AWAY = """async () => {
  const app = window.jupyterapp;
  if (!app) return;
  const launcher = node => node.querySelector('.jp-Launcher');
  const open = [...app.shell.widgets('main')].filter(each => !launcher(each.node));
  if (!launcher(document)) await app.commands.execute('launcher:create');
  for (const each of open) each.dispose();
  window.sessionStorage.clear();
  app.shell.expandLeft();
}"""

_READY = """name => {
  const app = window.jupyterapp;
  const panel = app && app.shell.currentWidget;
  if (!panel || !panel.context || panel.context.path !== name) return false;
  const session = panel.sessionContext.session;
  return panel.context.isReady && !!session && !!session.kernel
    && session.kernel.connectionStatus === 'connected' && session.kernel.status === 'idle';
}"""

_CODE_CELLS = """
const cells = panel.content.widgets.filter(
  cell => cell.model.type === 'code' && cell.model.sharedModel.getSource().trim());
"""

_STARTED = f"""() => {{
  {_PANEL} {_CODE_CELLS}
  return cells.length === 0 || cells.some(
    cell => cell.model.executionCount !== null || cell.model.executionState === 'running');
}}"""

_IDLE = f"""() => {{
  {_PANEL} {_CODE_CELLS}
  const session = panel.sessionContext.session;
  return !!session && !!session.kernel && session.kernel.status === 'idle'
    && cells.every(cell => (cell.model.executionState ?? 'idle') === 'idle'
      && !(cell.promptNode && cell.promptNode.textContent.includes('*')));
}}"""

_NOT_RUN = f"""() => {{
  {_PANEL} {_CODE_CELLS}
  return cells.filter(cell => cell.model.executionCount === null)
    .map(cell => cell.model.sharedModel.getSource().split('\\n')[0]);
}}"""

_ERRORS = f"""() => {{
  {_PANEL}
  const marks = [
    '[data-mime-type="application/vnd.jupyter.error"]',
    '[data-mime-type="application/vnd.jupyter.stderr"]',
    '.jupyter-widgets-error-widget',
  ].join(', ');
  return [...panel.content.node.querySelectorAll(marks)].map(node => node.textContent.trim());
}}"""

_WIDE = f"""() => {{
  {_PANEL}
  const areas = panel.content.node.querySelectorAll(
    '.jp-OutputArea-output, .jp-WindowedPanel-outer');
  return [...areas].filter(area => area.scrollWidth > area.clientWidth + 1)
    .map(area => `${{area.scrollWidth}} px in ${{area.clientWidth}} px: `
      + area.textContent.trim().slice(0, 60));
}}"""

_HEIGHT = f"""() => {{
  {_PANEL}
  const cells = [...panel.content.node.querySelectorAll('.jp-Cell')];
  const box = panel.content.node.getBoundingClientRect();
  const top = Math.min(...cells.map(cell => cell.getBoundingClientRect().top));
  const bottom = Math.max(...cells.map(cell => cell.getBoundingClientRect().bottom));
  return Math.ceil(box.top + (bottom - top) + (window.innerHeight - box.bottom) + 60);
}}"""
