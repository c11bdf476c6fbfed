"""A running JupyterLab, a running JupyterHub, and a watched page for each browser test.

Without a browser on the machine these tests are skipped, and say so, and those of a class without
JupyterHub's proxy; under continuous integration (CI set) that is a failure instead.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hub import PROXY, Hub, running_hub
from lab import (
    BROWSERS,
    Lab,
    Watch,
    find_browser,
    launch_browser,
    put_away,
    running_lab,
    shows,
    start_afresh,
    watch,
)
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

HERE = Path(__file__).parent

SIZE = {"width": 1280, "height": 900}
PASSED = pytest.StashKey[bool]()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark all tests of this folder."""
    for item in items:
        if item.path.is_relative_to(HERE):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="package")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """One server for all browser tests, on a copy of the project."""
    _need_browser()
    with running_lab(tmp_path_factory.mktemp("lab")) as running:
        yield running


@pytest.fixture(scope="module")
def hub(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hub]:
    """One JupyterHub for the tests of a module, on a read-only copy of the project."""
    _need_browser()
    _need(shutil.which(PROXY), f"no {PROXY} found; install JupyterHub's proxy of that name")
    with running_hub(tmp_path_factory.mktemp("class")) as running:
        yield running


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One browser for all browser tests; each test gets its own empty window."""
    _need_browser()
    with sync_playwright() as playwright, launch_browser(playwright) as running:
        yield running


def new_window(browser: Browser) -> BrowserContext:
    """Return an empty window of 1280 x 900."""
    context = browser.new_context(viewport=SIZE, permissions=["clipboard-read", "clipboard-write"])
    context.set_default_timeout(20_000)
    return context


@pytest.fixture(scope="package")
def kept(browser: Browser) -> Iterator[list[Page]]:
    """The page that the last test left with a Lab in it, if there is one."""
    pages: list[Page] = []
    yield pages
    for page in pages:
        page.context.close()


@pytest.fixture
def page(request: pytest.FixtureRequest, browser: Browser, kept: list[Page]) -> Iterator[Page]:
    """A window of 1280 x 900: with nothing open in its Lab, or empty, as after a test that failed.

    The fixture ``seen`` tells what it said during the test.
    """
    in_lab = "lab" in request.fixturenames
    page = kept.pop() if in_lab and kept else new_window(browser).new_page()
    page.set_viewport_size(SIZE)
    yield page
    lab = request.getfixturevalue("lab") if in_lab else None
    if lab and request.node.stash.get(PASSED, False) and shows(page, lab):
        put_away(page)
        page.mouse.move(0, 0)
        kept.append(page)
    else:
        page.context.close()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Note for the page whether its test passed."""
    report = yield
    if report.when == "call":
        item.stash[PASSED] = report.passed
    return report


@pytest.fixture
def demo_in_hand(lab: Lab) -> None:
    """Start with the demo: no kernel of another test runs, nothing is in hand."""
    start_afresh(lab)


@pytest.fixture
def seen(page: Page) -> Iterator[Watch]:
    """Console errors and requests to other machines of the test's page."""
    heard = watch(page)
    yield heard
    heard.leave(page)


def _need_browser() -> None:
    _need(find_browser(), f"no browser found; install one of {', '.join(BROWSERS)}")


def _need(found: object, otherwise: str) -> None:
    if not found:
        stop = pytest.fail if os.environ.get("CI") else pytest.skip
        stop(f"{otherwise} to run these tests")
