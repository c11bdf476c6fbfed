"""What axe-core, an independent checker, finds that would shut someone out (WCAG 2.1, A and AA)."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}


def shuts_out(page: Page, *, least: int = 1, inside: str | None = None) -> list[str]:
    """Return a line for each part of the page that breaks a rule.

    Parameters
    ----------
    least : so many parts must have been looked at, or nothing was checked.
    inside : look only into what this CSS selector finds.
    """
    context: dict[str, Any] | None = {"include": [[inside]]} if inside else None
    found = Axe().run(page, context=context, options=RULES).response
    assert sum(len(rule["nodes"]) for rule in found["passes"]) >= least
    return [
        f"{rule['id']}: {node['html'][:160]}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]
