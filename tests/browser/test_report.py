"""The report in a real browser with the network cut: it opens, moves, prints, and can be used.

Accessibility is checked by axe-core (WCAG 2 A and AA), an independent checker.
"""

from __future__ import annotations

import io
import unicodedata
from pathlib import Path

import pypdf
import pytest
from accessibility import shuts_out
from hostile_files import NASTY
from playwright.sync_api import Browser, Page, expect

from balancekit.instrument.demo import one_key_model, studio_grand
from balancekit.instrument.descriptor import identified
from balancekit.instrument.merge import merge, news
from balancekit.instrument.model import Instrument, Section, Visit
from balancekit.sharing.carry import from_report
from balancekit.sharing.outcome import Outcome
from balancekit.sharing.overview import overview_html
from balancekit.sharing.report import build_report
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheets import bench_sheets
from balancekit.sharing.story import Story
from balancekit.sharing.what_if import front_weight_needed_g, what_if_inputs

DRAWN = "() => window.balancekitNeeded !== undefined && document.querySelectorAll('.bk-Figure')"
SOURCE = """() => {
  const line = Bokeh.documents[0].get_model_by_name('front weight needed');
  return [Array.from(line.data.key), Array.from(line.data.y)];
}"""


class Offline:
    """A page without a network, with everything that it says and asks for."""

    def __init__(self, browser: Browser, width: int = 1280) -> None:
        self.context = browser.new_context(offline=True, viewport={"width": width, "height": 900})
        self.page: Page = self.context.new_page()
        self.errors: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda error: self.errors.append(error.message))
        self.page.on("request", lambda request: self.requests.append(request.url))

    def open(self, path: Path) -> Page:
        self.page.goto(path.as_uri())
        self.page.wait_for_function(DRAWN)
        return self.page


@pytest.fixture(scope="module")
def story() -> Story:
    return Story(studio_grand().with_chapter_note("balance", "Even in the **bass**."))


@pytest.fixture(scope="module")
def report(story, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(build_report(story.instrument, story=story), encoding="utf-8")
    return path


@pytest.fixture
def offline(browser):
    seen = Offline(browser)
    yield seen
    seen.context.close()


def test_it_opens_with_the_network_cut_and_asks_for_nothing(offline, report):
    page = offline.open(report)
    assert offline.requests == [report.as_uri()]
    assert offline.errors == []
    plots = page.locator(".plot")
    assert plots.count() >= 6
    for place in range(plots.count()):
        assert plots.nth(place).locator(".bk-Figure").count() == 1
    expect(page.locator("#balance .note strong").last).to_have_text("bass")
    for width in (1280, 1024, 700):
        page.set_viewport_size({"width": width, "height": 900})
        # A chart follows a narrower window a moment later.
        fits = "width => document.documentElement.scrollWidth <= width"
        page.wait_for_function(fits, arg=width)


def test_sliders_give_the_numbers_of_python(offline, report, story):
    page = offline.open(report)
    for place in ((38.0, 0.0, 0.0), (35.5, 4.0, -0.7), (44.0, 11.5, 1.3)):
        gives_the_numbers_of_python(page, story, *place)
    assert offline.errors == [] and len(offline.requests) == 1


def gives_the_numbers_of_python(page, story, balance: float, relief: float, hammer: float) -> None:
    for name, value in (("balance", balance), ("relief", relief), ("hammer", hammer)):
        page.locator(f"#slider-{name}").fill(str(value))
    needed = front_weight_needed_g(
        what_if_inputs(story.work), balance_weight_g=balance, spring_relief_more_g=relief,
        hammer_more_g=hammer,
    )  # fmt: skip
    shown = page.evaluate("window.balancekitNeeded")
    assert shown == pytest.approx(needed.tolist(), abs=1e-9)
    keys, drawn = page.evaluate(SOURCE)
    assert keys == needed.index.tolist() and drawn == pytest.approx(needed.tolist(), abs=1e-9)
    cell = page.locator("#what-if-table tbody tr").nth(39).locator("td").last
    assert float(cell.text_content().replace("−", "-")) == pytest.approx(needed[40], abs=0.0501)
    said = page.locator("#what-if-answer").text_content()
    assert f"{needed.mean():.1f} g on average" in said.replace("−", "-")
    assert f"{(needed < 0).sum()} below 0" in said


def test_a_slider_moves_with_the_keyboard_and_the_picture_changes(offline, report):
    page = offline.open(report)
    slider = page.locator("#slider-balance")
    before = page.locator("#chart-what-if").screenshot()
    start = float(slider.input_value())
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    assert float(slider.input_value()) == start - 5
    expect(page.locator("#slider-balance-value")).to_have_text(f"{start - 5:.1f} g")
    page.wait_for_timeout(200)
    assert page.locator("#chart-what-if").screenshot() != before
    page.get_by_role("button", name="Back to the start").press("Enter")
    assert float(slider.input_value()) == start


def test_a_chart_tells_the_numbers_of_a_key_under_the_pointer(offline, report):
    page = offline.open(report)
    place = page.evaluate("""() => {
      const view = Object.values(Bokeh.index.roots).find(
        (each) => each.model.title.text === 'Friction');
      const points = view.model.renderers.find((each) => each.name === 'points').data_source.data;
      const at = Array.from(points.key).indexOf(40);
      const box = view.el.getBoundingClientRect();
      window.scrollTo({ top: window.scrollY + box.top - 200, behavior: "instant" });
      return [view.frame.x_scale.compute(40), view.frame.y_scale.compute(points.y[at])];
    }""")
    box = page.locator("#friction .plot .bk-Figure").first.bounding_box()
    for aside in (3, 0):
        page.mouse.move(box["x"] + place[0] - aside, box["y"] + place[1])
    told = page.locator(".bk-tooltip-content").first
    expect(told).to_contain_text("40")
    expect(told).to_contain_text("C4, natural")


TABLES = """() => [...document.querySelectorAll('table')].map((table) => ({
  head: [...table.tHead.rows[0].cells].map((cell) => cell.textContent).join(''),
  rows: [...table.tBodies[0].rows].map((row) =>
    [...row.cells].map((cell) => cell.textContent).join('')) }))"""


def letters(text: str) -> str:
    """Return the letters of a text without spaces; fi printed as one sign counts as two."""
    return "".join(unicodedata.normalize("NFKC", text).split())


def printed(page: Page, paper: str = "A4") -> tuple[str, list[int], pypdf.PdfReader]:
    """Return the letters on paper without spaces, the page of each, and the printed file."""
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))
    pages = [letters(each.extract_text()) for each in reader.pages]
    at = [number for number, text in enumerate([*pages, " ", " "]) for _ in text]
    return "".join(pages), at, reader


def same(text: str, wanted: str) -> bool:
    """Whether two texts have the same letters, in any order."""
    return sorted(text) == sorted(wanted)


def after_heading(text: str, head: str, row: str, places: range) -> int:
    """Return where the first row begins that has its heading before it."""
    for at in places:
        start = at + len(head)
        if same(text[start : start + len(row)], row) and same(text[at:start], head):
            return start
    raise AssertionError(f"Not on paper below its heading: {row}")


def layers(reader: pypdf.PdfReader) -> int:
    """Return how many layers of charts are printed; a mark of a toolbar is far smaller."""
    return sum(each.image.width > 100 for sheet in reader.pages for each in sheet.images)


def test_paper_has_every_row_of_every_table_once(offline, report):
    """Lines of two cells beside each other are printed in turn, so a row may change its order.

    What stands on paper at its place must be the same letters, all on one page; and each page
    on which a table goes on begins with its heading.
    """
    page = offline.open(report)
    page.locator("#slider-balance").fill("35.5")
    tables = page.evaluate(TABLES)
    text, sheet_of, reader = printed(page)
    assert len(tables) >= 12 and sum(len(table["rows"]) for table in tables) > 900
    at, repeated = 0, 0
    for table in tables:
        head, rows = letters(table["head"]), [letters(row) for row in table["rows"]]
        at = after_heading(text, head, rows[0], range(at, len(text)))
        assert len(set(sheet_of[at - 1 : at + 1])) == 1, ("a heading alone", table["head"])
        for row in rows:
            if not same(text[at : at + len(row)], row):
                # The table goes on on the next page; words of a chart are written last on theirs.
                before = sheet_of[at - 1]
                ends = range(at, sheet_of.index(before + 2, at))
                start = after_heading(text, head, row, ends)
                assert sheet_of[start] == before + 1, ("not at a new page", row)
                assert not any(other in text[at : start - len(head)] for other in rows)
                at, repeated = start, repeated + 1
            assert len(set(sheet_of[at : at + len(row)])) == 1, ("cut in two", row)
            at += len(row)
    assert repeated >= 10
    assert "Balanceweight(g)35.5;" in text and "Caution" in text
    charts = page.locator(".plot").count()
    drawn = layers(reader)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 688, "height": 900})  # A4 less its margins, at 96 a inch
    wide = "() => [...document.querySelectorAll('table')].filter((t) => t.scrollWidth > 690).length"
    assert page.evaluate(wide) == 0
    # A chart is drawn in some layers, and those of one that is cut stand on both pages.
    page.evaluate("document.querySelectorAll('section').forEach((each) => each.remove())")
    _, _, alone = printed(page)
    assert page.locator(".plot").count() == 1
    assert drawn == charts * layers(alone) > 0


WAYS_OF_LOOKING = [(width, scheme) for width in (1280, 1024, 390) for scheme in ("light", "dark")]
"""Widths of the window and colours; each turn of an exchange is read on another device."""


def fits_every_width(page: Page) -> None:
    """Hold that nothing has to be scrolled sideways."""
    for width in (1280, 1024, 390):
        page.set_viewport_size({"width": width, "height": 900})
        # A chart follows a narrower window a moment later.
        fits = "width => document.documentElement.scrollWidth <= width"
        page.wait_for_function(fits, arg=width)


def test_two_people_answer_each_other_three_times(browser, story, report, tmp_path):
    """Each opens what the other saved, offline and with the keyboard alone."""
    path, words = report, []
    for turn, (width, scheme) in enumerate(WAYS_OF_LOOKING):
        person, said = ("Ada", "Ben")[turn % 2], f"{NASTY[turn % 3]} answer {turn}"
        seen = Offline(browser, width)
        seen.page.emulate_media(color_scheme=scheme)
        page = seen.open(path)
        assert page.locator(".answer .words").all_text_contents() == words
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.get_by_role("button", name="Write a note on: Friction").press("Enter")
        page.keyboard.insert_text(said)
        page.keyboard.press("Shift+Tab")
        page.keyboard.insert_text(person)
        page.get_by_role("button", name="Add the note").press("Enter")
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save the file with the notes").press("Enter")
        path = tmp_path / f"{turn}.html"
        saved.value.save_as(path)
        words.append(said)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if turn + 1 == len(WAYS_OF_LOOKING):  # with all the notes in it
            fits_every_width(page)
        assert page.title() != "run" and seen.errors == [] and len(seen.requests) == 1
        seen.context.close()
    back = from_report(path.read_bytes())
    assert [note.text for note in back.notes] == words
    assert [note.author for note in back.notes] == ["Ada", "Ben"] * 3
    whole = merge(identified(story.instrument), back)
    assert len(whole.notes) == 6 and news(whole, back) == ()


def test_the_first_screen_tells_the_outcome(browser, report):
    for width, height in ((1280, 800), (390, 844)):
        seen = Offline(browser, width)
        page = seen.open(report)
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(400)
        for part in (*page.locator(".outcome li").all(), page.locator("#chart-outcome")):
            box = part.bounding_box()
            assert box["y"] + box["height"] <= height
        assert page.locator(".outcome a").count() == 3
        seen.context.close()


def test_a_chart_says_the_key_in_hand_and_ticks_stay(offline, report):
    page = offline.open(report)
    hand = page.locator("#friction .key-in-hand")
    hand.focus()
    hand.press("Home")
    expect(hand).to_contain_text("Key 1, A0: Friction (g)")
    hand.press("Shift+ArrowRight")
    expect(hand).to_contain_text("keys 1 to 2 marked")
    page.locator("#sheet-hammers .tick input").first.evaluate("box => box.click()")
    page.reload()
    page.wait_for_function(DRAWN)
    assert page.locator("#sheet-hammers .tick input").first.is_checked()
    expect(page.locator("#sheet-hammers [aria-live]")).to_contain_text("1 of")


def test_a_checker_finds_nothing_that_shuts_anyone_out(offline, report):
    page = offline.open(report)
    assert shuts_out(page, least=51) == []


@pytest.mark.parametrize("turn", (0, 7, 14))
def test_no_word_of_a_user_runs(offline, tmp_path, turn):
    words = [*NASTY[turn:], *NASTY[:turn]]
    model = one_key_model()
    instrument = Instrument(
        title=words[0][:200],
        settings=model.settings,
        visits=(Visit(words[1][:200], "2026-01-01", model.visits[0].readings),),
        sections=(Section(words[2][:200], 1),),
        chapter_notes={
            "readings": "\n\n".join(words), "friction": words[3], "after_the_work": words[4]
        },
    ).with_key_note(1, words[5])  # fmt: skip
    path = tmp_path / "report.html"
    path.write_text(build_report(instrument), encoding="utf-8")
    page = offline.open(path)
    assert page.title() != "run" and len(offline.requests) == 1 and offline.errors == []
    assert page.evaluate("document.images.length") == 0


def test_sheets_and_overview_open_offline_and_shut_no_one_out(offline, story, tmp_path):
    work = story.work
    outcomes = [Outcome("hall", "hall", "Hall", evenness={"down_weight_g": 1.2}), Outcome("x")]
    pages = {
        "sheets.html": sheet_html(work, bench_sheets(work), "Letter"),
        "overview.html": overview_html(outcomes),
    }
    for name, text in pages.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
        offline.page.goto((tmp_path / name).as_uri())
        assert shuts_out(offline.page) == []
        assert offline.page.evaluate("document.documentElement.scrollWidth") <= 1280
    assert offline.errors == [] and len(offline.requests) == 2
    offline.page.goto((tmp_path / "sheets.html").as_uri())
    reader = pypdf.PdfReader(io.BytesIO(offline.page.pdf(prefer_css_page_size=True)))
    # 8.5 x 11 in, in points of 1/72 in.
    assert float(reader.pages[0].mediabox.width) == pytest.approx(612, abs=1)
    assert float(reader.pages[0].mediabox.height) == pytest.approx(792, abs=1)
