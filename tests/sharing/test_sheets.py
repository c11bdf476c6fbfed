"""Bench sheets: in the order of the bench, the same in both forms, nothing lost in print."""

from __future__ import annotations

import html
import io
import re
import unicodedata

import pypdf
import pytest
from hostile_files import NASTY

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.choices import lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice, with_choice
from balancekit.instrument.demo import one_key_model, studio_grand
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheet_pdf import FONT_FOLDER, sheet_pdf
from balancekit.sharing.sheets import bench_sheets
from balancekit.sharing.work import Work, work_from

# ISO 216: 210 x 297 mm. Letter: 8.5 x 11 in. In points of 1/72 in.
SIZES = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}


@pytest.fixture(scope="module")
def work() -> Work:
    choice = HammerChoice(target="least work", spring_relief_more_g=3.0)
    instrument = with_choice(studio_grand(), choice)
    leads = lead_choice.LeadChoice(layout=lead_choice.FREE)
    return work_from(instrument.with_choice(lead_choice.CHAPTER, leads.to_json()))


@pytest.fixture(scope="module")
def sheets(work):
    return bench_sheets(work)


def test_sheets_come_in_the_order_of_the_bench(sheets):
    assert [sheet.operation for sheet in sheets] == [
        "shopping", "friction", "hammers", "springs", "leads", "expected",
    ]  # fmt: skip


def test_cautions_stand_at_the_head_of_what_cannot_be_undone(sheets):
    heads = {sheet.operation: " ".join(sheet.cautions) for sheet in sheets}
    for operation in ("shopping", "leads"):
        assert "Lead is toxic" in heads[operation] and "gloves" in heads[operation]
    assert "eye protection" in heads["springs"]
    for operation in ("friction", "hammers", "leads"):
        assert "Local codes and licensed practice" in heads[operation]
    assert "written agreement" in heads["hammers"]


def test_every_row_has_a_cell_for_every_column(sheets):
    for sheet in sheets:
        assert sheet.rows
        assert {len(row) for row in sheet.rows} == {len(sheet.columns)}


def test_the_scale_sheet_states_values_with_bands(sheets, work):
    (scale,) = [sheet for sheet in sheets if sheet.operation == "expected"]
    assert len(scale.rows) == 88
    down = scale.rows[39][2]
    value, band = map(float, down.split(" ± "))
    line = work.expected.loc[40]
    assert value == pytest.approx(line["down_weight_g"], abs=0.05)
    # Two standard uncertainties, the next reading's own among them.
    assert band > 2 * line["down_weight_u_g"]


def test_work_on_leads_lists_the_place_from_the_front_edge(sheets, work):
    (leads,) = [sheet for sheet in sheets if sheet.operation == "leads"]
    assert len(leads.rows) == (work.leads["action"] != "keep").sum()
    assert {row[2] for row in leads.rows} == {"put in", "take out"}
    headings = [column.heading for column in leads.columns]
    assert "From front edge (mm)" in headings


@pytest.mark.parametrize("paper", SIZES)
def test_pdf_has_the_paper_that_was_asked_for_and_every_row(work, sheets, paper):
    data = sheet_pdf(work, sheets, paper)
    assert len(data) < 300_000
    reader = pypdf.PdfReader(io.BytesIO(data))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SIZES[paper], abs=0.5)
    text = "\n".join(page.extract_text() for page in reader.pages)
    for sheet in sheets:
        assert sheet.title in text
        for row in sheet.rows[:3] + sheet.rows[-3:]:
            for cell in row:
                assert cell.split(" ")[0] in text
    assert "Caution" in text and f"page {len(reader.pages)} of {len(reader.pages)}" in text


def fonts_of(reader):
    """Return the fonts of all pages of a PDF by name."""
    found = [font.get_object() for page in reader.pages
             for font in page["/Resources"]["/Font"].values()]  # fmt: skip
    return {font["/BaseFont"]: font for font in found}


@pytest.mark.parametrize("paper", SIZES)
def test_every_font_lies_in_the_pdf(work, sheets, paper):
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(work, sheets, paper)))
    fonts = fonts_of(reader)
    # ISO 32000-1, 9.6.4: the name of a subset starts with six capitals and a plus sign.
    assert {re.sub("^[A-Z]{6}[+]", "", name.removeprefix("/")) for name in fonts} == {
        "DejaVuSansCondensed", "DejaVuSansCondensedBold"
    }  # fmt: skip
    for font in fonts.values():
        (descendant,) = font["/DescendantFonts"]
        # ISO 32000-1, table 126: FontFile2 holds a TrueType font program.
        program = descendant.get_object()["/FontDescriptor"]["/FontFile2"].get_data()
        assert 2_000 < len(program) < 60_000


def test_the_fonts_come_with_their_licence():
    words = (FONT_FOLDER / "LICENSE.txt").read_text(encoding="utf-8")
    assert "free of charge" in words and "Bitstream Vera Fonts Copyright" in words


def test_the_same_work_gives_the_same_pdf(work, sheets):
    assert sheet_pdf(work, sheets) == sheet_pdf(work, sheets)


def test_nothing_lies_outside_the_page(work, sheets):
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(work, sheets)))
    places = []
    for page in reader.pages:
        page.extract_text(visitor_text=lambda text, _, matrix, *__: places.append(matrix[4:6])
                          if text.strip() else None)  # fmt: skip
    left_right, up_down = zip(*places, strict=True)
    assert min(left_right) >= 0 and max(left_right) < SIZES["A4"][0]
    assert min(up_down) >= 0 and max(up_down) < SIZES["A4"][1]


@pytest.mark.parametrize("words", NASTY)
def test_any_title_prints_and_cannot_run(words):
    instrument = one_key_model()
    work = work_from(type(instrument)(title=words[:200], settings=instrument.settings,
                                      visits=instrument.visits))  # fmt: skip
    sheets = bench_sheets(work)
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(work, sheets)))
    assert "At the scale" in reader.pages[0].extract_text()
    page = sheet_html(work, sheets)
    assert "<script" not in page and "<img" not in page
    assert "default-src 'none'" in html.unescape(page)


# Names and signs as their languages write them, from memory.
LETTERS = [
    "Łódź", "Żółć", "Dvořák", "Příliš žluťoučký", "Győr", "Ελλη", "Київ", "Ђорђе", "Ağaç",
    "Þórr", "≤ 24 g", "≥", "Δ", "☐", "½", "− 3", "→", "◆", "B♭", "Ω", "straße", "“a” – b…",
]  # fmt: skip


@pytest.mark.parametrize("form", ["NFC", "NFD"])
def test_letters_and_signs_of_europe_read_back_as_they_were(form):
    words = unicodedata.normalize(form, " | ".join(LETTERS))
    work = work_from(one_key_model())
    renamed = type(work)(**{**vars(work), "title": words})
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(renamed, bench_sheets(renamed))))
    first = " ".join(reader.pages[0].extract_text().split())
    assert [one for one in LETTERS if one not in first] == []
    assert "cannot be printed here" not in first


@pytest.mark.parametrize("title", ["日本のピアノ", "\u05e9\u05dc\u05d5\u05dd", "\x07bell", "🎹"])
def test_letters_that_the_fonts_lack_are_marked_and_said(title):
    work = work_from(one_key_model())
    renamed = type(work)(**{**vars(work), "title": title})
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(renamed, bench_sheets(renamed))))
    first = reader.pages[0].extract_text()
    assert "cannot be printed here" in first and "Bench sheets: ?" in first


def test_a_question_mark_of_the_users_own_is_no_lost_letter():
    work = work_from(one_key_model())
    renamed = type(work)(**{**vars(work), "title": "Whose piano?"})
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(renamed, bench_sheets(renamed))))
    first = reader.pages[0].extract_text()
    assert "Whose piano?" in first and "cannot be printed here" not in first


def test_page_and_pdf_hold_the_same_rows(work, sheets):
    page = sheet_html(work, sheets)
    rows = re.findall(r"<tr>(?!<th).*?</tr>", page)
    assert len(rows) == sum(len(sheet.rows) for sheet in sheets)
    ticks = sum(len(sheet.rows) for sheet in sheets if sheet.ticked)
    assert page.count('type="checkbox"') == ticks


def test_another_paper_is_refused(work, sheets):
    for make in (sheet_pdf, sheet_html):
        with pytest.raises(BalancekitError, match="not a paper"):
            make(work, sheets, "A5")
