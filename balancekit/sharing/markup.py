"""Small pieces of HTML: everything a user wrote is escaped, tables and formulas read well.

Notes are simple Markdown. HTML in them is shown as text, pictures and links are not loaded.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from markdown_it import MarkdownIt

from balancekit.calculation.words import escape


def page_asset(name: str) -> str:
    """Return the text of a file beside this module."""
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _markdown() -> MarkdownIt:
    """A reader of simple Markdown: no HTML, no links, no pictures, no headings of its own."""
    reader = MarkdownIt("commonmark", {"html": False, "breaks": True})
    return reader.disable(
        ["html_block", "html_inline", "image", "link", "autolink", "reference", "entity"]
    )


def note_html(text: str) -> str:
    """Return a note as HTML; its headings become bold lines, so that those of the page hold.

    >>> note_html("<b>*tight*</b>").strip()
    '<p>&lt;b&gt;<em>tight</em>&lt;/b&gt;</p>'
    """
    tokens = _markdown().parse(text)
    for token in tokens:
        if token.type in ("heading_open", "heading_close"):
            token.tag = "p"
            if token.type == "heading_open":
                token.attrSet("class", "note-heading")
    written: str = _markdown().renderer.render(tokens, _markdown().options, {})
    return written


def signature_html(signature: str) -> str:
    """Return who wrote a note and when; nothing where that is not known."""
    return f' <span class="signature">{escape(signature)}</span>' if signature else ""


def paragraph(text: str, kind: str = "") -> str:
    """Return a paragraph of plain text."""
    return f"<p{_class(kind)}>{escape(text)}</p>"


def bullets(items: Iterable[str]) -> str:
    """Return plain sentences as a list; nothing for none."""
    lines = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<ul>{lines}</ul>" if lines else ""


def table(
    caption: str, headings: Sequence[str], rows: Iterable[Sequence[object]], *, kind: str = ""
) -> str:
    """Return a table with a caption; the first cell of each row is its heading.

    Parameters
    ----------
    caption : what the table shows.
    headings : one a column, units included.
    rows : cells as plain text or numbers; numbers stand right.
    kind : class for the style; "cards" makes each row a card where the screen is narrow.
    """
    head = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in headings)
    labels = headings if "cards" in kind.split() else ()
    body = "".join(_row(cells, labels) for cells in rows)
    return (
        f'<div class="table-box" role="region" tabindex="0" aria-label="{escape(caption)}">'
        f"<table{_class(kind)}><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{body}</tbody></table></div>"
    )


def _row(cells: Sequence[object], labels: Sequence[str]) -> str:
    named = [f' data-label="{escape(label)}"' for label in labels] or [""] * len(cells)
    parts = [
        f"<{tag}{_right(cell)}{label}>{escape(cell)}</{end}>"
        for cell, label, (tag, end) in zip(
            cells, named, [('th scope="row"', "th"), *[("td", "td")] * (len(cells) - 1)],
            strict=True,
        )
    ]  # fmt: skip
    return f"<tr>{''.join(parts)}</tr>"


def _right(cell: object) -> str:
    """Numbers stand right: a cell of digits, signs and units."""
    text = str(cell)
    number = bool(text) and text[0] in "0123456789+−-." and len(text) < 16
    return ' class="number"' if number else ""


def _class(kind: str) -> str:
    return f' class="{kind}"' if kind else ""


def folded(summary: str, inside: str) -> str:
    """Return a part of the page that opens when it is pressed."""
    return f"<details><summary>{escape(summary)}</summary>{inside}</details>"


def formula(*parts: str) -> str:
    """Return a formula in MathML, which browsers draw without any help.

    Each part is a formula of its own, so that a narrow screen breaks the line between parts.

    Each part is a word of the trade, an operator (one of ``= + − × ( )``), or a fraction
    written ``"over:upper|lower"``.
    """
    inside = " ".join(f'<math displaystyle="true">{_math(part)}</math>' for part in parts)
    return f'<p class="formula">{inside}</p>'


def _math(part: str) -> str:
    if part in "=+−×()":
        return f"<mo>{part}</mo>"
    if part.startswith("over:"):
        upper, lower = part.removeprefix("over:").split("|")
        return f"<mfrac><mrow>{_math_words(upper)}</mrow><mrow>{_math_words(lower)}</mrow></mfrac>"
    if part.startswith("root:"):
        return f"<msqrt><mrow>{_math_words(part.removeprefix('root:'))}</mrow></msqrt>"
    return f"<mtext>{escape(part)}</mtext>"


def _math_words(text: str) -> str:
    """Split words at operators that stand between spaces."""
    parts: list[str] = []
    for word in text.split(" "):
        if word in ("+", "−", "×"):
            parts.append(f"<mo>{word}</mo>")
        elif parts and parts[-1].startswith("<mtext>"):
            parts[-1] = parts[-1].replace("</mtext>", f" {escape(word)}</mtext>")
        else:
            parts.append(f"<mtext>{escape(word)}</mtext>")
    return "".join(parts)


def script_hash(code: str) -> str:
    """Return the source of one inline script for a content security policy.

    References
    ----------
    W3C, Content Security Policy Level 3, hash-source.
    """
    digest = hashlib.sha256(code.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def policy(scripts: Sequence[str]) -> str:
    """Return the page's content security policy: these scripts run, and nothing is fetched."""
    allowed = " ".join(script_hash(code) for code in scripts) or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; "
        "img-src data: blob:; font-src data:; base-uri 'none'; form-action 'none'"
    )


def safe_json(data: Any) -> str:
    """Return JSON that can stand inside a script element, whatever words are in it."""
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
