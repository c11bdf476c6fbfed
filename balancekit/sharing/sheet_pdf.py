"""Bench sheets as a PDF, on A4 or Letter, black on white.

The fonts lie beside this module and what is used of them is put into the file, so none is
missing. They hold Latin, Greek and Cyrillic letters and many signs. A letter that they lack,
or that is written from right to left, has a question mark and a remark. The printable page
(``sheet_html``) holds every letter.

References
----------
ISO 32000-1:2008, 9.9: font programs put into the file, and subsets of them.
Unicode Standard Annex 9: letters that run from right to left; annex 15: composed letters.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from balancekit.sharing.sheet_html import check_paper
from balancekit.sharing.sheets import Column, Picture, Sheet, heading
from balancekit.sharing.work import Work

_FONT = "DejaVu Sans Condensed"
FONT_FILES = {"": "DejaVuSansCondensed.ttf", "B": "DejaVuSansCondensed-Bold.ttf"}
FONT_FOLDER = Path(__file__).parent / "fonts"
MARGIN_MM = 14.0
TICK_MM = 5.0
TICK_COLUMN_MM = 9.0
PLAIN_PT, LARGE_PT, HEAD_PT = 11.0, 15.0, 10.0
LINE_MM = 5.2
ROW_MM = 8.4
BELOW_MIDDLE = 0.3
# Our own choice: letters stand on a line this part of their size below the middle of a line.

PICTURE_MM = 105.0
"""Two photographs stand on a page."""

UNPRINTABLE = "?"
RIGHT_TO_LEFT = ("R", "AL")
REMARK = "Some letters cannot be printed here and are shown as ?; the sheets as a page have them."


class _Pages(FPDF):
    """The pages of a set of sheets, with the instrument and the page number at the foot."""

    def __init__(self, paper: str, foot: str) -> None:
        super().__init__(orientation="portrait", unit="mm", format=paper.lower())
        for style, name in FONT_FILES.items():
            self.add_font(_FONT, style, FONT_FOLDER / name)
        self.letters = set.intersection(*(set(font.cmap) for font in self.fonts.values()))
        self._widths_mm: dict[tuple[str, float, str], float] = {}
        self.foot = self.printable(foot)
        self.set_margins(MARGIN_MM, MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(True, margin=MARGIN_MM + 4)
        self.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))  # the same work, the same bytes

    def printable(self, text: str) -> str:
        """Return text in the letters that the fonts have."""
        if text.isascii() and text.isprintable():
            return text
        signs = unicodedata.normalize("NFC", text)
        return "".join(sign if self._has(sign) else UNPRINTABLE for sign in _spaced(signs))

    def lacks(self, texts: Iterable[str]) -> bool:
        """Tell whether some letter of the texts cannot be printed."""
        signs = set(_spaced(unicodedata.normalize("NFC", "".join(texts))))
        return not all(map(self._has, signs))

    def _has(self, sign: str) -> bool:
        if sign == "\n":
            return True
        runs_left = unicodedata.bidirectional(sign) in RIGHT_TO_LEFT
        return sign.isprintable() and ord(sign) in self.letters and not runs_left

    def footer(self) -> None:
        """Write the foot of each page."""
        self.set_y(-MARGIN_MM)
        self.set_font(_FONT, size=9)
        self.cell(0, 5, f"{self.foot}   page {self.page_no()} of {{nb}}", align="C")

    def use_font(self, style: str, size: float) -> None:
        """Set the font, unless it is set already."""
        if (self.font_style, self.font_size_pt) != (style, size):
            self.set_font(_FONT, style, size)

    def width_mm(self, text: str) -> float:
        """Return the width of a text in the font that is set [mm]."""
        at = (self.font_style, self.font_size_pt, text)
        if at not in self._widths_mm:
            self._widths_mm[at] = float(self.get_string_width(text))
        return self._widths_mm[at]

    def sentence(self, text: str, size: float = PLAIN_PT, style: str = "") -> None:
        """Write a sentence over the whole width."""
        self.set_font(_FONT, style, size)
        self.multi_cell(
            0, size * 0.47, self.printable(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT
        )

    @property
    def left_mm(self) -> float:
        """Height that is left on the page [mm]."""
        return float(self.h - self.b_margin - self.y)


def _spaced(text: str) -> str:
    """Put a plain space where a tab or another space stands."""
    return "".join(" " if sign != "\n" and sign.isspace() else sign for sign in text)


def sheet_pdf(work: Work, sheets: Sequence[Sheet], paper: str = "A4") -> bytes:
    """Return the sheets as a PDF; each operation starts on a page of its own.

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
    pages = _Pages(paper, work.title[:60])
    pages.set_title(pages.foot)
    pages.set_lang("en")
    texts = [work.title, work.visit_title]
    for sheet in sheets:
        texts += [
            *(picture.words for picture in sheet.pictures),
            *sheet.how,
            *sheet.totals,
            *(cell for row in sheet.rows for cell in row),
        ]
    for sheet in sheets:
        pages.add_page()
        if sheet is sheets[0]:
            _opening(pages, work, pages.lacks(texts))
        _write(pages, sheet)
    return bytes(pages.output())


def _opening(pages: _Pages, work: Work, remark: bool) -> None:
    title, when = heading(work)
    pages.sentence(title, 18, "B")
    pages.sentence(when, 10)
    if remark:
        pages.sentence(REMARK, 10)
    pages.ln(3)


def _write(pages: _Pages, sheet: Sheet) -> None:
    pages.sentence(sheet.title, 16, "B")
    pages.ln(1)
    if sheet.cautions:
        _cautions(pages, sheet.cautions)
    for sentence in sheet.how:
        pages.sentence(sentence)
    pages.ln(2)
    for picture in sheet.pictures:
        _picture(pages, picture)
    if not sheet.columns:
        return
    widths = _widths(pages, sheet)
    _headings(pages, sheet, widths)
    for row in sheet.rows:
        _row(pages, sheet, row, widths)
    pages.ln(2)
    for line in filter(None, sheet.totals):
        pages.sentence(line, PLAIN_PT, "B")


def _picture(pages: _Pages, picture: Picture) -> None:
    """Draw a photograph with its words above it, both on one page."""
    from PIL import Image

    with Image.open(io.BytesIO(picture.jpeg)) as shown:
        width, height = shown.size
    high = min(PICTURE_MM, float(pages.epw) * height / width)
    if high + 16 > pages.left_mm:
        pages.add_page()
    pages.sentence(picture.words, 10.5)
    pages.image(io.BytesIO(picture.jpeg), x=pages.l_margin, h=high)
    pages.ln(4)


def _cautions(pages: _Pages, cautions: Sequence[str]) -> None:
    """Write the cautions into a frame."""
    top = pages.y
    pages.ln(1.5)
    pages.set_left_margin(MARGIN_MM + 3)
    pages.set_x(MARGIN_MM + 3)
    pages.set_right_margin(MARGIN_MM + 3)
    pages.sentence("Caution", PLAIN_PT, "B")
    for caution in cautions:
        pages.sentence(f"• {caution}", 10.5)
    pages.set_left_margin(MARGIN_MM)
    pages.set_right_margin(MARGIN_MM)
    pages.set_line_width(0.6)
    pages.rect(MARGIN_MM, top, pages.w - 2 * MARGIN_MM, pages.y - top + 1.5)
    pages.set_line_width(0.2)
    pages.ln(4)
    pages.set_x(MARGIN_MM)


def _widths(pages: _Pages, sheet: Sheet) -> list[float]:
    whole = pages.epw - (TICK_COLUMN_MM if sheet.ticked else 0.0)
    shares = sum(column.share for column in sheet.columns)
    return [float(whole * column.share / shares) for column in sheet.columns]


def _headings(pages: _Pages, sheet: Sheet, widths: Sequence[float]) -> None:
    """Write the headings; on every page anew."""
    pages.use_font("B", HEAD_PT)
    texts = [pages.printable(column.heading) for column in sheet.columns]
    lines = [_lines(pages, text, width) for text, width in zip(texts, widths, strict=True)]
    height = 4.4 * max(len(each) for each in lines) + 1.5
    top, left = pages.y, pages.l_margin + (TICK_COLUMN_MM if sheet.ticked else 0.0)
    for column, each, width in zip(sheet.columns, lines, widths, strict=True):
        _block(pages, column, each, left, top + 0.5, width, 4.4)
        left += width
    pages.line(pages.l_margin, top + height, pages.w - pages.r_margin, top + height)
    pages.set_xy(pages.l_margin, top + height)


def _lines(pages: _Pages, text: str, width: float) -> list[str]:
    """Break a text into the lines that fit a width, in the font that is set."""
    room, words = width - 2 * pages.c_margin, text.split()
    lines = [" ".join(words)]
    if pages.width_mm(lines[0]) <= room:
        return lines
    lines = [""]
    for word in words:
        longer = f"{lines[-1]} {word}".strip()
        if pages.width_mm(longer) <= room:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        for sign in word:
            if pages.width_mm(lines[-1] + sign) > room and lines[-1]:
                lines.append("")
            lines[-1] += sign
    return lines


def _font(pages: _Pages, column: Column) -> None:
    pages.use_font("B" if column.large else "", LARGE_PT if column.large else PLAIN_PT)


def _row(pages: _Pages, sheet: Sheet, row: Sequence[str], widths: Sequence[float]) -> None:
    lines = []
    for column, text, width in zip(sheet.columns, row, widths, strict=True):
        _font(pages, column)
        lines.append(_lines(pages, pages.printable(text), width))
    height = max(ROW_MM, LINE_MM * max(len(each) for each in lines) + 2.4)
    if height > pages.left_mm:
        pages.add_page()
        pages.sentence(f"{sheet.title}, continued", 12, "B")
        _headings(pages, sheet, widths)
    top, left = pages.y, pages.l_margin
    if sheet.ticked:
        pages.set_line_width(0.4)
        pages.rect(left + 1, top + (ROW_MM - TICK_MM) / 2, TICK_MM, TICK_MM)
        pages.set_line_width(0.2)
        left += TICK_COLUMN_MM
    for column, each, width in zip(sheet.columns, lines, widths, strict=True):
        _font(pages, column)
        _block(pages, column, each, left, top + (ROW_MM - LINE_MM) / 2, width, LINE_MM)
        if not any(each) and column.heading:
            pages.line(left + 2, top + height - 1.6, left + width - 1, top + height - 1.6)
        left += width
    pages.set_draw_color(150)
    pages.line(pages.l_margin, top + height, pages.w - pages.r_margin, top + height)
    pages.set_draw_color(0)
    pages.set_xy(pages.l_margin, top + height)


def _block(
    pages: _Pages,
    column: Column,
    lines: Sequence[str],
    left: float,
    top: float,
    width: float,
    step: float,
) -> None:
    """Write the lines of one cell."""
    for number, line in enumerate(filter(None, lines)):  # empty is a whole cell, never one line
        inset = pages.c_margin
        if column.right:
            inset = width - pages.c_margin - pages.width_mm(line)
        middle = top + (number + 0.5) * step
        pages.text(left + inset, middle + BELOW_MIDDLE * pages.font_size, line)
