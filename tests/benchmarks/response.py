"""Measure how fast the suite answers, in a real JupyterLab in a real browser.

    python tests/benchmarks/response.py            all notebooks
    python tests/benchmarks/response.py 02 05      some of them

For every panel with a slider: from the key press on the slider to the frame of changed pixels of a
chart, or of what the panel has instead, median and worst of 30 moves, and how many times that of a
bare page, which is moved in turn with it, so that what else the machine does slows both; see
``bare_page``. A notebook that works beside the kernel when it opens is measured once it rests. For
every notebook: how long Run All takes. Then how long ``import balancekit`` takes, and that it
brings no widgets or charts. A line beyond its limit says so, and the command ends with 1. Nothing
else should run beside it.
"""

from __future__ import annotations

import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "browser"))

from bare_page import write_bare_page
from lab import (
    PROJECT,
    Lab,
    hide_sidebar,
    launch_browser,
    open_notebook,
    run_all,
    running_lab,
    start_afresh,
    wait_idle,
)
from playwright.sync_api import Browser, Page, sync_playwright

MOVES = 30
KEYS = (("ArrowRight", "ArrowLeft"), ("PageUp", "PageDown"))
MOST_MS = {"mark": 100, "import": 300}
MOST_TIMES = {"median": 1.1, "worst": 2.0}
"""A slider against the bare page, its median and the worst of its moves."""
MOST_RUN_ALL_S = 5.0
GIVE_UP_MS = 1500

PIXELS = """() => {
window.benchCanvases = (root) => {
  const found = [];
  const walk = (node) => {
    if (node.tagName === 'CANVAS') found.push(node);
    if (node.shadowRoot) walk(node.shadowRoot);
    for (const child of node.children ?? []) walk(child);
  };
  walk(root);
  return found.filter((canvas) => canvas.width && canvas.height);
};
// Reading pixels back is slow, so it is done only after something was drawn.
window.benchDrawn = false;
for (const name of ['clearRect', 'stroke', 'fill']) {
  const drawing = CanvasRenderingContext2D.prototype[name];
  CanvasRenderingContext2D.prototype[name] = function (...given) {
    window.benchDrawn = true;
    return drawing.apply(this, given);
  };
}
// What is drawn without a canvas: the mark of a key over a chart; in a panel that has no chart,
// its pictures and words.
window.benchMarks = (root) => {
  const found = [], charts = window.benchCanvases(root).length;
  const walk = (node) => {
    if (node.dataset?.key && node.style.position === 'absolute') found.push(node.style.left);
    if (!charts && node.matches?.('svg, .widget-html-content')) found.push(node.innerHTML);
    if (node.shadowRoot) walk(node.shadowRoot);
    for (const child of node.children ?? []) walk(child);
  };
  walk(root);
  return found.join(' ');
};
window.benchHash = (canvases) => {
  let hash = 0;
  for (const canvas of canvases) {
    const data = new Uint32Array(
      canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data.buffer);
    for (let place = 0; place < data.length; place += 1) hash = (hash * 31 + data[place]) | 0;
  }
  return hash;
};
}"""

MOVE = """async ([panel, place, key, giveUp]) => {
  const box = document.querySelectorAll('.bench-panel')[panel];
  const handle = box.querySelectorAll('.noUi-handle')[place];
  if (!handle.clientWidth) return null;
  const canvases = window.benchCanvases(box);
  const frame = () => new Promise((go) => requestAnimationFrame(go));
  const before = window.benchHash(canvases), marks = window.benchMarks(box);
  window.benchDrawn = false;
  const start = performance.now();
  handle.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
  while (performance.now() - start < giveUp) {
    await frame();
    const looked = performance.now();
    if (window.benchMarks(box) !== marks) return looked - start;
    if (!window.benchDrawn) continue;
    window.benchDrawn = false;
    if (window.benchHash(canvases) !== before) return looked - start;
  }
  return null;
}"""

PANELS = """() => [...document.querySelectorAll('.bench-panel')].map((box) => ({
  title: box.querySelector('.bench-title')?.textContent ?? '',
  sliders: [...box.querySelectorAll('.noUi-handle')].map((handle) =>
    handle.getAttribute('aria-label') ?? ''),
  charts: window.benchCanvases(box).length,
  drawn: [...box.querySelectorAll('.bench-chart')].some((chart) => chart.clientWidth),
}))"""

TO_SIGHT = """(panel) =>
  document.querySelectorAll('.bench-panel')[panel].scrollIntoView({ block: 'center' })"""


def measure(page: Page, panel: int, place: int, bare: Page) -> tuple[list[float], list[float]]:
    """Move one slider to and fro, and that of the bare page in turn.

    A slider whose small steps change nothing is moved by large ones; one that is hidden, or
    changes nothing at all, has no times.

    Returns
    -------
    the milliseconds to changed pixels, of the slider and of the bare page.
    """
    for keys in KEYS:
        times, bare_times = [], []
        for move in range(MOVES):
            taken = page.evaluate(MOVE, [panel, place, keys[move % 2], GIVE_UP_MS])
            if taken is None and move == 1:
                break
            page.wait_for_timeout(60)
            bare_taken = bare.evaluate(MOVE, [0, 0, KEYS[0][move % 2], GIVE_UP_MS])
            bare.wait_for_timeout(60)
            if bare_taken is None:
                raise RuntimeError("The bare page does not answer its slider.")
            if taken is not None:
                times.append(float(taken))
                bare_times.append(float(bare_taken))
        else:
            return times, bare_times
    return [], []


def open_bare_page(browser: Browser, lab: Lab) -> Page:
    """Open a page with nothing of ours."""
    page = browser.new_page(viewport={"width": 1280, "height": 1000})
    open_notebook(page, lab, write_bare_page(lab.folder))
    hide_sidebar(page)
    run_all(page)
    wait_idle(page)
    page.wait_for_timeout(2000)
    page.evaluate(PIXELS)
    return page


def measure_notebook(page: Page, name: str, bare: Page) -> None:
    """Measure every panel of the open notebook that has a slider."""
    page.evaluate(PIXELS)
    working = page.locator(".bench-working:visible")
    working.first.wait_for(state="hidden", timeout=60_000)
    for panel in range(page.locator(".bench-panel").count()):
        page.evaluate(TO_SIGHT, panel)  # what is out of sight is not drawn
        page.wait_for_timeout(2000)
        box = page.evaluate(PANELS)[panel]
        if box["drawn"] and not box["charts"]:
            row(name, box["title"], "not drawn", over=True)
            continue
        for place, label in enumerate(box["sliders"]):
            times = measure(page, panel, place, bare)
            if times[0]:
                told_times(name, f"{box['title']}: {label}", *times)


MARK = """async ([key, text]) => {
  const cell = document.querySelector(`[aria-label^='key ${key}, Down weight']`);
  const press = (target, key) =>
    target.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true }));
  cell.dispatchEvent(new MouseEvent('mousedown', { bubbles: true, cancelable: true }));
  press(cell, text[0]);
  const input = cell.querySelector('input');
  input.value = text;
  const start = performance.now();
  press(input, 'Enter');
  while (!cell.classList.contains('doubted') && performance.now() - start < 3000) {
    await new Promise((go) => requestAnimationFrame(go));
  }
  return performance.now() - start;
}"""


def measure_marks(page: Page, name: str) -> None:
    """Measure from Enter in the bench grid to the mark of a reading that is not believed."""
    page.wait_for_selector("[aria-label^='key 2, Down weight']")
    times = [float(page.evaluate(MARK, [key, "150"])) for key in range(2, 12)]
    told(name, "bench grid: Enter to mark", times, MOST_MS["mark"])


def row(*cells: str, over: bool = False) -> None:
    """Print one line of the table, and note one that is beyond its limit."""
    sys.stdout.write(" | ".join([*cells, *(["TOO LONG"] if over else [])]) + "\n")
    sys.stdout.flush()
    if over:
        _too_long.append(cells[1])


def told(name: str, what: str, times: list[float], most_ms: float) -> None:
    """Print the median and the worst of some milliseconds."""
    middle = statistics.median(times)
    row(name, what, f"{middle:.0f} ms, worst {max(times):.0f} ms", over=middle > most_ms)


def told_times(name: str, what: str, times: list[float], bare: list[float]) -> None:
    """Print median and worst of some milliseconds, and how many times those of the bare page."""
    middle, worst = statistics.median(times), max(times)
    of_middle, of_worst = middle / statistics.median(bare), worst / max(bare)
    over = of_middle > MOST_TIMES["median"] or of_worst > MOST_TIMES["worst"]
    row(name, what, f"{middle:.0f} ms, worst {worst:.0f} ms",
        f"{of_middle:.2f} and {of_worst:.2f} times the bare page", over=over)  # fmt: skip


_too_long: list[str] = []


def measure_import() -> None:
    """Measure ``import balancekit`` in fresh processes."""
    code = (
        "import time; t = time.perf_counter(); import balancekit; "
        "took = time.perf_counter() - t; import sys, json; "
        "print(json.dumps([took, [m for m in ('bokeh', 'ipywidgets', 'sklearn') "
        "if m in sys.modules]]))"
    )
    runs = [
        json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True).stdout)
        for _ in range(5)
    ]
    loaded = sorted({name for _, names in runs for name in names})
    middle = statistics.median(took for took, _ in runs)
    row("package", "import balancekit",
        f"{middle * 1000:.0f} ms, loads {loaded or 'none of them'}",
        over=middle * 1000 > MOST_MS["import"] or bool(loaded))  # fmt: skip


def main(chosen: list[str]) -> None:
    """Print the table."""
    row(
        "machine", platform.machine(), f"{os.cpu_count()} cores, Python {platform.python_version()}"
    )
    measure_import()
    notebooks = sorted(
        path.name
        for path in (PROJECT / "notebooks").glob("*.ipynb")
        if not chosen or path.name.startswith(tuple(chosen))
    )
    with (
        tempfile.TemporaryDirectory() as scratch,
        running_lab(Path(scratch)) as lab,
        sync_playwright() as playwright,
        launch_browser(playwright) as browser,
    ):
        for name in notebooks:
            start_afresh(lab)
            bare = open_bare_page(browser, lab)
            page = browser.new_page(viewport={"width": 1280, "height": 1000})
            open_notebook(page, lab, f"notebooks/{name}")
            hide_sidebar(page)
            began = time.monotonic()
            run_all(page)
            took = time.monotonic() - began
            row(name, "Run All", f"{took:.1f} s", over=took > MOST_RUN_ALL_S)
            wait_idle(page)
            measure_notebook(page, name, bare)
            if name.startswith("01"):
                measure_marks(page, name)
            page.close()
            bare.close()
    if _too_long:
        row("too long", "; ".join(_too_long))
        sys.exit(1)


if __name__ == "__main__":
    main(sys.argv[1:])
