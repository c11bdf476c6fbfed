"""What axe-core, an independent checker, finds that would shut someone out (WCAG 2.1, A and AA)."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Page

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}

CONTRAST = "color-contrast"
"""The slowest rule of axe-core by far; a width changes no colour."""
COLOURS = (CONTRAST, "link-in-text-block")
"""The rules that look at colours, which alone a theme can break."""

ASKED: dict[str, dict[str, Any]] = {
    "all": RULES,
    "all but contrast": {**RULES, "rules": {CONTRAST: {"enabled": False}}},
    "colours": {"runOnly": {"type": "rule", "values": list(COLOURS)}},
}

RUN = """async ([context, options]) => {
  const found = await axe.run(context ?? document, options);
  return [
    found.passes.reduce((sum, rule) => sum + rule.nodes.length, 0),
    found.violations.flatMap(rule => rule.nodes.map(
      node => `${rule.id}: ${node.html.slice(0, 160)}`)),
  ];
}"""
"""What was looked at and what is wrong, counted in the page: a grid has thousands of parts."""


def shuts_out(
    page: Page, *, least: int = 1, inside: str | None = None, rules: str = "all"
) -> list[str]:
    """Return a line for each part of the page that breaks a rule.

    Parameters
    ----------
    least : so many parts must have been looked at, or nothing was checked.
    inside : look only into what this CSS selector finds.
    rules : "all"; "all but contrast" where only the width is another one; "colours" where only the
        theme is.
    """
    context: dict[str, Any] | None = {"include": [[inside]]} if inside else None
    page.evaluate(AXE_SCRIPT)
    looked_at, wrong = page.evaluate(RUN, [context, {**ASKED[rules], "selectors": False}])
    assert looked_at >= least
    return list(wrong)
