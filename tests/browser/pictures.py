"""Take the pictures of the README anew, from the real notebooks in a real JupyterLab.

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
from playwright.sync_api import sync_playwright

PICTURES = PROJECT / "notebooks" / "pictures"
WIDTH = 1100

PANELS = {
    "friction": ("02_friction", "Friction over the keyboard"),
    "levers": ("00_the_balance_equation", "The folded beam"),
    "leads": ("05_lead_and_spring", "Which plugs, and exactly where?"),
}
"""Each picture: the notebook, and the title of the panel in it."""


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
    sys.stdout.write("\n".join(missing or [f"{len(PANELS)} pictures taken."]) + "\n")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
