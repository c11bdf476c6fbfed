"""Bench sheets as one printable page; the browser prints it on A4 or Letter."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from balancekit.calculation.problems import refuse
from balancekit.calculation.words import escape
from balancekit.sharing.markup import bullets, page_asset, policy
from balancekit.sharing.sheets import Column, Picture, Sheet, heading
from balancekit.sharing.work import Work

PAPERS = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}
# ISO 216 for A4; ANSI/ASME Y14.1 for Letter.


_WIDE = 2.5
"""A column of this share is text that wraps."""


def check_paper(paper: str) -> None:
    """Refuse a paper that is not known.

    Raises
    ------
    BalancekitError : another paper than A4 or Letter.
    """
    if paper not in PAPERS:
        raise refuse(f"'{paper}' is not a paper.", f"Choose one of {', '.join(PAPERS)}.")


def sheet_part(sheet: Sheet, level: int = 2) -> str:
    """Return one sheet as a part of a page.

    Parameters
    ----------
    sheet : from ``sheets.bench_sheets``.
    level : of its heading.
    """
    cautions = ""
    if sheet.cautions:
        cautions = f'<div class="caution"><strong>Caution.</strong>{bullets(sheet.cautions)}</div>'
    how = "".join(f"<p>{escape(sentence)}</p>" for sentence in sheet.how)
    box = '<th scope="col">Done</th>' if sheet.ticked else ""
    head = box + "".join(
        f'<th scope="col"{_style(c, False)}>{escape(c.heading)}</th>' for c in sheet.columns
    )
    body = "".join(_row(sheet, row) for row in sheet.rows)
    shown = (
        f'<div class="table-box" role="region" tabindex="0" aria-label="{escape(sheet.title)}">'
        f'<table class="cards"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
        if sheet.columns
        else "".join(map(_picture, sheet.pictures))
    )
    totals = "".join(f'<p class="totals">{escape(line)}</p>' for line in sheet.totals if line)
    return (
        f'<section class="sheet" id="sheet-{sheet.operation}">'
        f"<h{level}>{escape(sheet.title)}</h{level}>{cautions}{how}"
        f"{shown}{totals}"
        "</section>"
    )


def _picture(picture: Picture) -> str:
    data = base64.b64encode(picture.jpeg).decode()
    words = escape(picture.words)
    return (
        f'<figure class="photograph"><img alt="Photograph: {words}" '
        f'src="data:image/jpeg;base64,{data}"><figcaption>{words}</figcaption></figure>'
    )


def _row(sheet: Sheet, row: Sequence[str]) -> str:
    tick = ""
    if sheet.ticked:
        label = escape(f"{sheet.title}: {row[0]} {row[1]} done")
        tick = f'<td class="tick"><input type="checkbox" aria-label="{label}"></td>'
    cells = "".join(
        f'<td{_style(column, column.large)} data-label="{escape(column.heading)}">'
        f"{escape(cell)}</td>"
        for column, cell in zip(sheet.columns, row, strict=True)
    )
    return f"<tr>{tick}{cells}</tr>"


def _style(column: Column, large: bool) -> str:
    short = not column.right and column.share < _WIDE
    kinds = " ".join(["number"] * column.right + ["large"] * large + ["short"] * short)
    return f' class="{kinds}"' if kinds else ""


def sheet_html(work: Work, sheets: Sequence[Sheet], paper: str = "A4") -> str:
    """Return the sheets as one page that needs nothing else.

    Parameters
    ----------
    work : for the heading.
    sheets : from ``sheets.bench_sheets``.
    paper : "A4" or "Letter".

    Raises
    ------
    BalancekitError : another paper.
    """
    check_paper(paper)
    title, when = map(escape, heading(work))
    parts = "".join(sheet_part(sheet) for sheet in sheets)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy([])}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>@page {{ size: {PAPERS[paper]}; margin: 14mm; }}\n"
        f"{page_asset('page.css')}</style></head>"
        f'<body class="sheets"><main><h1>{title}</h1><p>{when}. Friction first, then hammers, '
        f"springs, leads; the scale at the end.</p>{parts}</main></body></html>\n"
    )
