"""Take a picture of a whole notebook as it looks in JupyterLab after Run All.

    python tests/browser/look.py notebooks/01_readings.ipynb OUT.png
    python tests/browser/look.py notebooks/01_readings.ipynb OUT.png --width 1024 --no-sidebar

It says what went wrong: errors in cells and panels, cells that did not run, errors in the
browser's console, requests to other machines, and outputs wider than the page. The exit code
is 1 if there was any.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from pathlib import Path

from lab import (
    PROJECT,
    cell_errors,
    hide_sidebar,
    launch_browser,
    not_run,
    open_notebook,
    run_all,
    running_lab,
    show_whole_page,
    wait_idle,
    watch,
    wide_outputs,
)
from playwright.sync_api import sync_playwright


def look(notebook: Path, picture: Path, width: int, sidebar: bool) -> list[str]:
    """Run a notebook in Lab, save its picture, and return what went wrong."""
    with tempfile.TemporaryDirectory() as scratch, running_lab(Path(scratch)) as lab:
        inside = notebook.resolve()
        if inside.is_relative_to(PROJECT / "notebooks"):
            name = inside.relative_to(PROJECT).as_posix()
        else:
            name = f"notebooks/{inside.name}"
            shutil.copy(inside, lab.folder / name)
        with sync_playwright() as playwright, launch_browser(playwright) as browser:
            page = browser.new_page(viewport={"width": width, "height": 900})
            seen = watch(page)
            open_notebook(page, lab, name)
            if not sidebar:
                hide_sidebar(page)
            began = time.monotonic()
            run_all(page, timeout_s=180)
            print(f"Run All took {time.monotonic() - began:.1f} s.")
            show_whole_page(page, width=width)
            # What works beside the kernel does not keep it busy.
            working = page.locator(".bench-working")
            page.wait_for_timeout(500)
            for number in range(working.count()):
                working.nth(number).wait_for(state="hidden", timeout=120_000)
            wait_idle(page)
            page.screenshot(path=picture)
            return [
                *(f"error shown: {text}" for text in cell_errors(page)),
                *(f"not run: {text}" for text in not_run(page)),
                *(f"console: {text}" for text in seen.console_errors),
                *(f"asked another machine: {address}" for address in seen.outside_requests),
                *(f"wider than the page: {text}" for text in wide_outputs(page)),
            ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("notebook", type=Path)
    parser.add_argument("picture", type=Path)
    parser.add_argument("--width", type=int, default=1280)
    parser.add_argument("--no-sidebar", action="store_true", help="hide the list of files")
    options = parser.parse_args()
    found = look(options.notebook, options.picture, options.width, not options.no_sidebar)
    print(f"Picture: {options.picture}")
    print("\n".join(found) or "Nothing went wrong.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
