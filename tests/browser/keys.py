"""JupyterLab by the keyboard alone, as a user does it who touches no mouse.

From cell to cell with the arrows, into a panel with Tab, back to the cell with Esc. At each stop
inside a panel the focus must be seen: outlined, and inside the window.
"""

from __future__ import annotations

import os
from pathlib import Path

from lab import (
    PROJECT,
    Lab,
    Watch,
    cell_errors,
    hide_sidebar,
    not_run,
    open_notebook,
    put_away,
    stop_kernels,
    wait_for_notebook,
    wait_idle,
    wide_outputs,
)
from nbformat import read
from playwright.sync_api import FileChooser, Locator, Page, expect

PICTURES = "BALANCEKIT_PICTURES"
"""Environment variable that names a folder for the pictures of the journeys."""

WIDTHS = (1024, 1280)
MOST_STOPS = 90

_SHOWN = ".jp-NotebookPanel:not(.lm-mod-hidden)"

_STOP = """target => {
  const host = document.activeElement;
  let node = host;
  while (node.shadowRoot?.activeElement) node = node.shadowRoot.activeElement;
  const panel = host.closest('.bench-panel');
  const look = getComputedStyle(node), box = node.getBoundingClientRect();
  const outlined = look.outlineStyle !== 'none' && parseFloat(look.outlineWidth) >= 2;
  const middle = [(box.left + box.right) / 2, Math.min((box.top + box.bottom) / 2, box.top + 40)];
  const hit = host.getRootNode().elementFromPoint(...middle);
  const inside = hit && (host.contains(hit) || hit.contains(host));
  const name = node.getAttribute('aria-label') ?? node.textContent.trim().slice(0, 40);
  return {
    there: node === target || target.contains(node) && node.tabIndex >= 0,
    unseen: panel && !(outlined && inside) ? `${node.tagName} ${name}` : '',
    name: `${node.tagName} ${name}`,
    outside: !host.closest('.jp-Notebook') && host !== document.body,
  };
}"""

_CELLS = """() => {
  const panel = window.jupyterapp.shell.currentWidget;
  const title = node => node.querySelector('.bench-title')?.textContent ?? '';
  return {
    at: panel.content.activeCellIndex,
    in_cell: document.activeElement?.classList.contains('jp-Cell') ?? false,
    titles: panel.content.widgets.map(cell => title(cell.node)),
  };
}"""

_NUMBERS = """() => window.jupyterapp.shell.currentWidget.content.widgets.map(
  cell => cell.model.executionCount ?? null)"""

_SOURCES = """() => window.jupyterapp.shell.currentWidget.content.widgets.map(
  cell => cell.model.sharedModel.getSource())"""


def shown(page: Page) -> Locator:
    """Return the notebook that is in front."""
    return page.locator(_SHOWN)


def panel(page: Page, title: str) -> Locator:
    """Return the panel with a title, in the notebook in front."""
    heading = page.get_by_role("heading", name=title, exact=True, level=3)
    return shown(page).locator(".bench-panel").filter(has=heading)


def command(page: Page, words: str) -> None:
    """Give a command of Lab from its list of commands."""
    page.keyboard.press("Control+Shift+C")
    expect(page.locator(".lm-CommandPalette-input")).to_be_focused()
    page.keyboard.type(words)
    expect(page.locator(".lm-CommandPalette-item.lm-mod-active")).to_contain_text(words)
    page.keyboard.press("Enter")


def run_all_by_keys(page: Page, *, timeout_s: float = 60) -> None:
    """Run all cells from the list of commands; again if Lab lost the order."""
    for _ in range(3):
        before = page.evaluate(_NUMBERS)
        command(page, "Run All Cells")
        for _ in range(20):
            page.wait_for_timeout(150)
            if page.evaluate(_NUMBERS) != before:
                break
        wait_idle(page, timeout_s=timeout_s)
        if page.evaluate(_NUMBERS) != before:
            break
    assert not_run(page) == [] and cell_errors(page) == []


def restart_by_keys(page: Page) -> None:
    """Restart the kernel from the list of commands, with a yes to the question."""
    command(page, "Restart Kernel…")
    expect(page.locator(".jp-Dialog .jp-mod-accept")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".jp-Dialog")).to_have_count(0)
    page.wait_for_timeout(500)
    wait_idle(page)


def to_cell(page: Page) -> None:
    """Go from inside a panel back to its cell."""
    for _ in range(3):
        if page.evaluate(_CELLS)["in_cell"]:
            return
        page.keyboard.press("Escape")
        page.wait_for_timeout(50)
    assert page.evaluate(_CELLS)["in_cell"], "Esc did not lead back to the notebook."


def to_place(page: Page, wanted: int) -> None:
    """Walk to a cell with the arrows."""
    to_cell(page)
    for _ in range(200):
        at = page.evaluate(_CELLS)["at"]
        if at == wanted:
            return
        page.keyboard.press("ArrowDown" if at < wanted else "ArrowUp")
        page.wait_for_timeout(20)
    raise AssertionError(f"The arrows did not lead to cell {wanted}.")


def to_panel(page: Page, title: str) -> Locator:
    """Walk to the cell of a panel, and return the panel."""
    titles = page.evaluate(_CELLS)["titles"]
    assert title in titles, f"{title!r} is not among {titles}"
    to_place(page, titles.index(title))
    return panel(page, title)


def to_last_cell(page: Page) -> None:
    """Walk to the end of the notebook, where the next one is named."""
    to_place(page, len(page.evaluate(_CELLS)["titles"]) - 1)


def stands_still(page: Page, target: Locator) -> None:
    """Wait until a thing is shown and has kept its place for a sixth of a second."""
    expect(target).to_be_visible()
    before, kept = None, 0
    for _ in range(150):
        now = target.bounding_box()
        kept = kept + 1 if now == before else 0
        if kept == 3:
            return
        before = now
        page.wait_for_timeout(60)
    raise AssertionError(f"{target} moved for ten seconds.")


def tab_to(page: Page, target: Locator, *, back: bool = False) -> Locator:
    """Press Tab until the target has the focus; every stop in a panel must be seen."""
    passed = []
    stands_still(page, target)  # whoever looks for a control presses Tab once it is there
    for _ in range(MOST_STOPS):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        stop = target.evaluate(_STOP)
        if stop["unseen"]:  # a page that is still being drawn may have moved it on for a moment
            stands_still(page, target)
            stop = target.evaluate(_STOP)
        passed.append(stop["name"])
        assert not stop["unseen"], f"The focus cannot be seen on {stop['unseen']}"
        if stop["there"]:
            return target
        assert not stop["outside"], f"Tab left the notebook: {passed}"
    raise AssertionError(f"Tab does not lead there: {passed}")


def press(page: Page, where: Locator, name: str, *, back: bool = False) -> None:
    """Tab to a button of a panel and press it."""
    tab_to(page, where.get_by_role("button", name=name, exact=True).first, back=back)
    page.keyboard.press("Enter")
    wait_idle(page, quiet_s=0.25)


def type_into(page: Page, where: Locator, label: str, text: str, *, back: bool = False) -> None:
    """Tab to a box, put a text in place of what is there, and confirm it."""
    tab_to(page, where.get_by_label(label, exact=True).first, back=back)
    page.keyboard.press("Control+A")
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    wait_idle(page, quiet_s=0.25)


def choose_file(page: Page, where: Locator, words: str, *paths: Path) -> None:
    """Tab to a place where files are dropped, press it, and choose."""
    with page.expect_file_chooser() as asked:
        # On the way there the browser learns that its dialog is to be caught.
        tab_to(page, where.get_by_role("button", name=words).first)
        page.keyboard.press("Enter")
    chooser: FileChooser = asked.value
    chooser.set_files(list(paths))
    page.wait_for_timeout(200)
    wait_idle(page)


def sources(page: Page) -> list[str]:
    """Return the text of every cell."""
    return list(page.evaluate(_SOURCES))


def went_well(page: Page, seen: Watch, lab: Lab, name: str) -> None:
    """Hold at both widths: nothing wide, no error, nothing asked outside, no cell edited."""
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(300)
        assert wide_outputs(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert cell_errors(page) == [] and not_run(page) == []
    assert seen.console_errors == [] and seen.outside_requests == []
    shipped = read(PROJECT / "notebooks" / f"{name}.ipynb", as_version=4)
    assert sources(page) == [cell.source for cell in shipped.cells]


def keep_picture(page: Page, tmp_path: Path, name: str) -> None:
    """Keep a picture of the window beside the test's other files, or where it is wanted."""
    folder = Path(os.environ.get(PICTURES) or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=folder / f"{name}.png")


def choose(page: Page, where: Locator, label: str, words: str) -> None:
    """Tab to a list and choose in it with the arrows."""
    box = tab_to(page, where.get_by_label(label, exact=True).first)
    options = [text.replace("\xa0", " ") for text in box.locator("option").all_text_contents()]
    wanted = options.index(words)
    page.keyboard.press("Home")
    for _ in range(wanted):
        page.keyboard.press("ArrowDown")
    assert box.evaluate("box => box.selectedIndex") == wanted
    wait_idle(page)


def follow(page: Page, words: str, name: str) -> None:
    """Go to the end of the notebook, follow the link there, and run what it opens."""
    to_last_cell(page)
    tab_to(page, shown(page).get_by_role("link", name=words, exact=True).last)
    page.keyboard.press("Enter")
    wait_for_notebook(page, f"notebooks/{name}.ipynb")
    run_all_by_keys(page)


def opened(page: Page, lab: Lab, name: str) -> None:
    """Open a notebook, with no kernel of another one running, and run it all by keys."""
    put_away(page)
    stop_kernels(lab)
    open_notebook(page, lab, f"notebooks/{name}.ipynb")
    hide_sidebar(page)
    run_all_by_keys(page, timeout_s=120)


def to_reading(page: Page, grid: Locator, key: int, column: str) -> Locator:
    """Walk in the bench grid to the reading of a key, with the arrows; return its cell."""
    if not grid.locator("td:focus").count():
        tab_to(page, grid.locator("td[tabindex='0']"))
    columns = [
        label.partition(", ")[2].partition(".")[0]
        for label in grid.locator("tbody tr")
        .first.locator("td")
        .evaluate_all("cells => cells.map(cell => cell.getAttribute('aria-label'))")
    ]
    page.keyboard.press("Home")
    for _ in range(columns.index(column)):
        page.keyboard.press("ArrowRight")
    held = grid.locator("td:focus")
    for _ in range(200):
        label = held.get_attribute("aria-label") or ""
        at = int(label.split(",")[0].removeprefix("key ").split()[0])
        if at == key:
            assert not held.evaluate(_STOP)["unseen"], f"{label} cannot be seen"
            return held
        page.keyboard.press("ArrowDown" if at < key else "ArrowUp")
    raise AssertionError(f"The arrows did not lead to key {key}.")
