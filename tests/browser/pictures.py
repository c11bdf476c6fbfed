"""Take the pictures of the README anew: real notebooks in a real JupyterLab, and the report.

python tests/browser/pictures.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from lab import (
    PROJECT,
    hide_sidebar,
    launch_browser,
    open_notebook,
    run_all,
    running_lab,
    show_whole_page,
    wait_idle,
)
from playwright.sync_api import Browser, sync_playwright

from balancekit.instrument.demo import studio_grand
from balancekit.sharing.report import build_report

PICTURES = PROJECT / "notebooks" / "pictures"
WIDTH = 1100

PANELS = {
    "friction": ("02_friction", "Friction over the keyboard"),
    "levers": ("00_the_balance_equation", "The lever chain"),
    "leads": ("06_lead_and_spring", "Which plugs, and exactly where?"),
    "proof": ("08_after_the_work", "Which keys meet the plan?"),
}
"""Each picture: the notebook, and the title of the panel in it."""

LIVING = """() => {
  const parts = [document.querySelector('.sliders').previousElementSibling,
    document.querySelector('#chart-what-if').closest('figure').querySelector('figcaption')];
  const [first, last] = parts.map(part => part.getBoundingClientRect()), edge = 5;
  return { x: first.left - edge, y: first.top + scrollY - edge, width: last.width + 2 * edge,
    height: last.bottom - first.top + 2 * edge };
}"""
"""Where the sliders of a report and their chart stand in the page."""


def take_report(browser: Browser, scratch: Path) -> None:
    """Take the sliders of a report, which work with no Python behind them."""
    path = scratch / "report.html"
    path.write_text(build_report(studio_grand()), encoding="utf-8")
    page = browser.new_page(viewport={"width": 1000, "height": 900})
    page.goto(path.as_uri())
    page.wait_for_function("() => window.balancekitNeeded !== undefined")
    page.locator("#chart-what-if .bk-Figure").wait_for()
    page.wait_for_timeout(500)
    page.screenshot(path=PICTURES / "report.png", full_page=True, clip=page.evaluate(LIVING))
    page.close()


def main() -> int:
    """Take every picture; return 1 if one was not found."""
    PICTURES.mkdir(exist_ok=True)
    missing = []
    with (
        tempfile.TemporaryDirectory() as scratch,
        running_lab(Path(scratch)) as lab,
        sync_playwright() as playwright,
        launch_browser(playwright) as browser,
    ):
        for name, (notebook, title) in PANELS.items():
            page = browser.new_page(viewport={"width": WIDTH, "height": 900})
            open_notebook(page, lab, f"notebooks/{notebook}.ipynb")
            hide_sidebar(page)
            run_all(page)
            show_whole_page(page, width=WIDTH)
            wait_idle(page)
            heading = page.get_by_role("heading", name=title, exact=True, level=3)
            panel = page.locator(".bench-panel").filter(has=heading).first
            if panel.count():
                panel.screenshot(path=PICTURES / f"{name}.png")
            else:
                missing.append(f"{notebook}: no panel '{title}'")
            page.close()
        take_report(browser, Path(scratch))
    sys.stdout.write("\n".join(missing or [f"{len(PANELS) + 1} pictures taken."]) + "\n")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
