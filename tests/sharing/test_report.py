"""The report as text: its parts, its size and time, and that nothing a user wrote can run."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from itertools import cycle, pairwise

import pytest
from hostile_files import NASTY, SCRIPT, random_instrument

from balancekit.instrument.demo import one_key_model, sampled_grand, studio_grand
from balancekit.instrument.descriptor import identified, to_files
from balancekit.instrument.model import Instrument, Section, Visit
from balancekit.sharing.carry import from_report
from balancekit.sharing.markup import note_html, safe_json, script_hash
from balancekit.sharing.report import build_report
from balancekit.sharing.report_chapters import CHAPTERS
from balancekit.sharing.report_charts import bokeh_script

VOID = {"meta", "input", "br", "hr", "img", "link"}


class Reader(HTMLParser):
    """Reads a page strictly: every element that opens is closed, in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[int] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.handlers: list[str] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.unlabelled: list[str] = []

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        self.ids += [given["id"]] if given.get("id") else []
        self.addresses += [given[name] for name in ("src", "href") if given.get(name)]
        self.handlers += [name for name in given if name.startswith("on")]
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "script":
            self.scripts.append((given, ""))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "script":
            given, before = self.scripts[-1]
            self.scripts[-1] = (given, before + data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page.replace(bokeh_script(), ""))  # not ours, and long
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page() -> str:
    return build_report(studio_grand().with_chapter_note("friction", "Centres **tight**."))


def test_chapters_come_in_the_order_of_the_notebooks(page):
    places = [page.index(f'<section id="{chapter.name}">') for chapter in CHAPTERS]
    assert places == sorted(places)
    assert [chapter.name for chapter in CHAPTERS] == [
        "job", "readings", "friction", "balance", "plan", "hammer_mass", "lead_and_spring",
        "bench_sheets", "after_the_work",
    ]  # fmt: skip


def test_a_note_stands_in_its_chapter(page):
    friction = page[page.index('<section id="friction">') : page.index('<section id="balance">')]
    assert "Centres <strong>tight</strong>." in friction
    readings = page[page.index('<section id="readings">') : page.index('<section id="friction">')]
    assert "feels slow to return" in readings


def test_a_guided_reading_is_told_and_comes_back_out_of_the_page():
    instrument = identified(one_key_model())
    assert "left between two weights" not in build_report(instrument)
    readings = instrument.visits[0].readings.assign(down_weight_within_g=1.0)
    page = build_report(guided := instrument.with_readings(readings))
    told = "Down weight: 1 reading left between two weights, at most 2 g apart; a coarse step"
    assert told in page and "Up weight: 1 reading left" not in page
    assert to_files(from_report(page.encode())) == to_files(guided)


def test_headings_go_down_one_step_at_a_time(page):
    headings = read(page).headings
    assert headings[0] == 1 and headings.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(headings))


def test_the_page_names_no_address_outside_itself(page):
    reader = read(page)
    assert all(address.startswith("#") for address in reader.addresses)
    assert len(reader.ids) == len(set(reader.ids))
    assert {f"#{name}" for name in reader.ids} >= set(reader.addresses)


def test_only_scripts_named_by_their_hash_may_run(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page).group(1)
    assert "default-src 'none'" in policy and "unsafe-eval" not in policy
    runs = [text for given, text in read(page).scripts if "type" not in given]
    assert len(runs) == 2
    runs = [text or bokeh_script() for text in runs]
    assert all(script_hash(text) in policy for text in runs)
    assert read(page).handlers == []


def test_there_is_one_bokehjs_and_the_page_is_small(page):
    assert page.count(bokeh_script()) == 1
    assert len(page.encode()) <= 3_000_000


@pytest.mark.parametrize(
    "instrument",
    [one_key_model(), sampled_grand(), Instrument(), Instrument(visits=(Visit(), Visit("later")))],
    ids=["one key", "sampled", "no readings", "two visits without readings"],
)
def test_every_instrument_has_a_report_that_carries_it(instrument):
    text = build_report(instrument)
    read(text)
    assert to_files(from_report(text.encode())) == to_files(identified(instrument))
    assert ">nan<" not in text.lower() and "NaN" not in re.sub(r"<script.*?</script>", "", text,
                                                               flags=re.S)  # fmt: skip


@pytest.mark.parametrize("turn", range(0, len(NASTY), 4))
def test_no_word_of_a_user_can_run_or_break_the_page(turn):
    words = cycle([*NASTY[turn:], *NASTY[:turn]])
    instrument = one_key_model()
    instrument = Instrument(
        title=next(words)[:200],
        settings=instrument.settings,
        visits=(Visit(next(words)[:200], "2026-01-01", instrument.visits[0].readings),),
        sections=(Section(next(words)[:200], 1),),
        chapter_notes={name: next(words) for name in (*(c.name for c in CHAPTERS), "lesson")},
    ).with_key_note(1, next(words))
    text = build_report(instrument)
    reader = read(text)
    assert len(reader.scripts) == 6 and reader.handlers == []
    assert all(address.startswith("#") for address in reader.addresses)
    assert to_files(from_report(text.encode())) == to_files(identified(instrument))


@pytest.mark.parametrize("seed", range(0, 40, 13))
def test_generated_instruments_have_sound_reports(seed):
    instrument = random_instrument(seed)
    text = build_report(instrument)
    read(text)
    assert to_files(from_report(text.encode())) == to_files(identified(instrument))


def test_markdown_is_simple_and_safe():
    html = note_html(f"# Big\n\n*a* **b**\n\n- c\n\n{SCRIPT} [x](https://example.org)")
    assert '<p class="note-heading">Big</p>' in html and "<strong>b</strong>" in html
    assert "<script" not in html and "<a" not in html and "<h1" not in html


def test_data_cannot_end_its_script_element():
    data = {"words": "</script><script>alert(1)</script>", "and": "<!-- &"}
    assert "<" not in safe_json(data) and json.loads(safe_json(data)) == data
