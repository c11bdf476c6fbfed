"""One file to share: the whole story of an instrument, and the instrument itself.

The page asks for nothing from outside. Its scripts are named by their hashes, so that no
word of a note can run, whatever it is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from balancekit.calculation.words import escape
from balancekit.instrument.descriptor import identified
from balancekit.instrument.model import Instrument
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.answers import ANSWERS_OPENING
from balancekit.sharing.carry import to_html_payload
from balancekit.sharing.leave_out import contents
from balancekit.sharing.markup import bullets, page_asset, policy, safe_json
from balancekit.sharing.opening import opening
from balancekit.sharing.report_chapters import Page, chapters_with, other_notes
from balancekit.sharing.report_charts import ChartBook, bokeh_script
from balancekit.sharing.story import Story
from balancekit.sharing.what_if_part import what_if_data

SCRIPTS = (
    "answers_file.js", "../charts/pass_by.js", "report.js", "report_keys.js", "report_ticks.js",
    "answers.js",
)  # fmt: skip
"""The page's own scripts; the first keeps the file as it was before anything moved."""


def build_report(
    instrument: Instrument,
    visit: int = 0,
    *,
    story: Story | None = None,
    beside: Sequence[Occasion] = (),
) -> str:
    """Build the report of an instrument as one page of HTML.

    Parameters
    ----------
    instrument : with its readings, choices and notes.
    visit : the set of readings that the work starts from.
    story : of the same instrument and visit, if it was worked out already.
    beside : sets of readings of other instruments, told side by side with this one.

    Returns
    -------
    a page that opens without Python and without a network, and carries the instrument.
    """
    story = story or Story(instrument, visit)
    sections = [(section.name, section.first_key) for section in instrument.sections]
    page = Page(story, ChartBook(sections))
    first_screen = opening(page)
    chapters = [(chapter, chapter.write(page)) for chapter in chapters_with(beside)]
    links = "".join(
        f'<li><a href="#{chapter.name}">{escape(chapter.title)}</a></li>' for chapter, _ in chapters
    )
    others = other_notes(page, [chapter for chapter, _ in chapters])
    body = "".join(
        f'<section id="{chapter.name}"><h2>{escape(chapter.title)}</h2>{text}</section>'
        for chapter, text in chapters
    )
    scripts = [bokeh_script(), "".join(map(page_asset, SCRIPTS))]
    data = (
        f'<script type="application/json" id="charts">{safe_json(page.charts.to_json())}</script>'
    )
    what_if = what_if_data(story.work)
    if what_if is not None:
        data += f'<script type="application/json" id="what-if">{safe_json(what_if)}</script>'
    code = "".join(f"<script>{script}</script>" for script in scripts)
    title = escape(instrument.title)
    return (
        f'<!doctype html>\n<html lang="en" data-report="{_report_name(instrument, body)}" '
        f'data-keys="{instrument.settings.key_count}" '
        f'data-photographs="{sum(map(len, instrument.photographs.values()))}">'
        '<head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy(scripts)}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{page_asset('page.css')}</style></head><body>"
        '<a class="skip" href="#readings">Go to the readings</a>'
        f'<header class="top"><h1>{title}</h1>{first_screen}'
        f'<nav aria-label="Chapters"><ol>{links}</ol></nav></header>'
        f"<main>{body}{others}</main>{_footer(instrument)}"
        f"{ANSWERS_OPENING}[]</script>"
        f"{to_html_payload(identified(instrument))}{data}{code}</body></html>\n"
    )


def _report_name(instrument: Instrument, body: str) -> str:
    """Return a name under which a browser keeps the ticks of this report, and of no other."""
    told = f"{identified(instrument).identity} {body}"
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def _footer(instrument: Instrument) -> str:
    return (
        '<footer><h2 id="carried">The instrument is in this file</h2>'
        f"{bullets(contents(instrument))}<p>To go on from here, drop this file on the readings "
        "panel of balancekit, or run <code>balancekit open report.html --to FOLDER</code>. To take "
        "answers back into a folder that is there, run <code>balancekit open report.html --into "
        "FOLDER</code>. The file is read as data; nothing in it is run.</p></footer>"
    )
