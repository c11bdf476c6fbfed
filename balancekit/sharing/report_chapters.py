"""The chapters of a report, in the order of the notebooks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from balancekit.calculation.irregularities.trend import scatter_sentence
from balancekit.calculation.leads.bare_key import FITTINGS, KEY_PARTS, bare_inertia_parts_g
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS, WITHIN_COLUMNS
from balancekit.calculation.words import escape, plural
from balancekit.instrument.choices.hammer_inputs import hammer_inputs, sticks_of
from balancekit.instrument.leads_record import lead_total
from balancekit.instrument.model import key_place
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.usual_in_use import shop
from balancekit.sharing import report_proof
from balancekit.sharing.comparison import side_by_side
from balancekit.sharing.groups_part import FOUND_HEADINGS, NO_GROUP, found_rows
from balancekit.sharing.markup import bullets, formula, note_html, paragraph, signature_html, table
from balancekit.sharing.notes_part import notes_part
from balancekit.sharing.page import Page
from balancekit.sharing.report_plan import the_plan
from balancekit.sharing.sheet_html import sheet_part
from balancekit.sharing.sheets import Sheet, bench_sheets, grams_cell
from balancekit.sharing.tables import flags_table
from balancekit.sharing.target_steps import front_steps, hammer_steps
from balancekit.sharing.what_if_part import what_if_part

__all__ = ["CHAPTERS", "Page", "chapters_with", "other_notes"]

UPRIGHT = (
    "This is an upright: its hammers do not hang on the key by their weight, so only down "
    "weight, up weight, balance weight and friction are worked out."
)
MOST_FLAGS = 60
LONG_SHEET = 20
COLOURS = ("natural", "sharp")


@dataclass(frozen=True)
class Chapter:
    """One chapter: the name under which its note is kept, its title, and what writes it."""

    name: str
    title: str
    body: Callable[[Page], str]

    def write(self, page: Page) -> str:
        """Return the chapter's text and its note."""
        notes = page.note(self.name) + notes_part(page.story.instrument, self.name)
        return f'{self.body(page)}{notes}<div class="answers" data-chapter="{self.name}"></div>'


def _job(page: Page) -> str:
    instrument, story = page.story.instrument, page.story
    settings = instrument.settings
    sections = ", ".join(f"{s.name} from key {s.first_key}" for s in instrument.sections)
    keys = plural(settings.key_count, "key")
    facts = {
        "Action": f"{settings.action}, {keys} from {settings.first_note}",
        "Sections": sections or "none named",
        "Balance pin to measuring point": f"naturals {settings.natural_arm_mm:g} mm, sharps "
        f"{settings.sharp_arm_mm:g} mm",
        "Regulation": f"key dip {settings.key_dip_mm:g} mm, blow distance "
        f"{settings.blow_distance_mm:g} mm, aftertouch {settings.aftertouch_mm:g} mm",
    }
    lines = "".join(f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in facts.items())
    lines += "".join(
        f"<dt>Readings, set {number}</dt><dd>{escape(visit.title)}"
        f"{escape(f', on {visit.date}' if visit.date else '')}</dd>"
        for number, visit in enumerate(instrument.visits, start=1)
    )
    said = [text for text in story.work.totals.values()] + list(story.work.undecided)
    upright = paragraph(UPRIGHT) if settings.action == "upright" else ""
    decided = f"<h3>What was decided</h3>{bullets(said)}" if said else ""
    return f'<dl class="facts">{lines}</dl>{upright}{decided}'


def _readings(page: Page) -> str:
    first = page.story.first
    raw = page.story.instrument.visits[first.number].readings
    again = int((raw.groupby("key").size() > 1).sum())
    counted = (
        f"{plural(len(raw), 'row')} of readings on {raw['key'].nunique()} of "
        f"{plural(len(first.table), 'key')}; "
        f"read more than once: {plural(again, 'key')}."
    )
    flags = flags_table(first.findings)
    choices = {(d.key, name): d.choices for d in first.findings.told for name in d.quantities}
    rows = [
        (
            "all" if key is pd.NA else f"{key}",
            _label(quantity),
            kind.replace("-", " "),
            read,
            expected,
            f"{advice} {choices[None if key is pd.NA else key, quantity]}".strip(),
        )
        for key, quantity, kind, read, expected, advice in flags.itertuples(index=False, name=None)
    ]
    told = paragraph("Nothing is doubted, stands out or is missing.", "good")
    if rows:
        headings = ("Key", "What", "Kind", "Read", "Expected", "What to do")
        told = table("What is doubted, stands out or is missing", headings, rows[:MOST_FLAGS],
                     kind="cards")  # fmt: skip
        if len(rows) > MOST_FLAGS:
            told += paragraph(f"And {len(rows) - MOST_FLAGS} more; flags.csv has them all.")
    charts = page.chart("down_weight_g", "Down weight")
    return (
        f"{paragraph(counted)}<h3>What to look at</h3>{told}<h3>Down weight</h3>"
        f"{charts}{_sureness(page)}{_key_notes(page)}"
    )


def _label(quantity: str) -> str:
    return QUANTITIES[quantity].label if quantity in QUANTITIES else quantity


def _sureness(page: Page) -> str:
    """How sure one reading of each kind is."""
    table_of = page.story.first.table
    rows = []
    for name in READING_COLUMNS:
        quantity, known = QUANTITIES[name], table_of[name].notna()
        u = table_of.loc[known, quantity.uncertainty_name]
        if known.any() and float(u.max()) > 0:
            digits = quantity.decimals + 1
            rows.append((quantity.axis_label, f"{int(known.sum())}", f"{u.median():.{digits}f}"))
    headings = ("Reading", "Keys", "Standard uncertainty")
    told = table("Each kind of reading", headings, rows)
    return f"<h3>How sure the readings are</h3>{told}{bullets(_steps(page))}"


def _steps(page: Page) -> list[str]:
    """Say which readings were left between two weights, and how far apart these were."""
    raw = page.story.instrument.visits[page.story.first.number].readings
    return [
        f"{QUANTITIES[name].label}: {plural(len(widths), 'reading')} left between two weights, at "
        f"most {2 * widths.max():g} g apart; a coarse step makes the band of its key wider."
        for name, column in WITHIN_COLUMNS.items()
        if len(widths := raw[column].dropna())
    ]


def _key_notes(page: Page) -> str:
    notes = page.story.first.table["note"]
    kept = notes[notes != ""]
    if kept.empty:
        return ""
    names = page.story.first.table["note_name"].to_dict()
    signed = page.story.instrument.signatures
    lines = "".join(
        f"<dt>Key {key}, {escape(names[key])}</dt><dd>{note_html(text)}"
        f"{signature_html(signed.get(key_place(int(str(key))), ''))}</dd>"
        for key, text in kept.to_dict().items()
    )
    return f'<h3>Notes on keys</h3><dl class="facts">{lines}</dl>'


def _scatter(page: Page, name: str) -> str:
    trend = page.story.first.findings.trends.get(name)
    return "" if trend is None else paragraph(scatter_sentence(trend, name))


def _friction(page: Page) -> str:
    words = formula("friction", "=", "over:down weight − up weight|2")
    work = page.story.work.friction
    said = "No key asks for work on its friction."
    if len(work):
        said = f"Work on friction: {plural(len(work), 'key')}; the sheet says where to look."
    return (
        f"{words}{page.chart('friction_g', 'Friction')}{_scatter(page, 'friction_g')}"
        f"{paragraph(said)}"
    )


def _balance(page: Page) -> str:
    half = formula("balance weight", "=", "over:down weight + up weight|2")
    text = half + page.chart("balance_weight_g", "Balance weight")
    text += _scatter(page, "balance_weight_g")
    if page.upright:
        return text + paragraph(UPRIGHT)
    usual = shop().words(page.story.first.instrument)
    equation = formula(
        "balance weight", "+", "front weight", "+", "spring relief", "=", "wippen weight", "×",
        "key ratio", "+", "strike weight", "×", "action ratio",
    )  # fmt: skip
    return (
        f"{text}<h3>Action ratio</h3><p>All but the action ratio can be weighed, so the balance "
        f"equation is solved for it.</p>{equation}{page.chart('action_ratio', 'Action ratio')}"
        f"{_scatter(page, 'action_ratio')}<h3>Keys that are off together</h3>{_groups(page)}"
        f"{paragraph(usual) if usual else ''}"
    )


def _groups(page: Page) -> str:
    rows = found_rows(page.story.first.believed.groups)
    if not rows:
        return paragraph(NO_GROUP)
    return table("Groups of keys, as found", FOUND_HEADINGS, rows, kind="cards")


def _hammers(page: Page) -> str:
    if page.upright:
        return paragraph(UPRIGHT)
    work = page.story.work
    target, legend = None, ""
    if len(work.hammers):
        target = work.expected["strike_weight_g"]
        legend = "Dashed line: what each hammer is to weigh."
    chart = page.chart("strike_weight_g", "Strike weight", target=target, legend=legend)
    said = work.totals.get("hammers", "No work on the hammers was decided.")
    steps = bullets(hammer_steps(work))
    return f"{chart}{_scatter(page, 'strike_weight_g')}{paragraph(said)}{steps}"


def _lead_found(page: Page) -> str:
    """Say what lead is in the keys, or what is to be read before it can be said."""
    story = page.story
    try:
        table_of = hammer_inputs(story.instrument, story.visit, story.first.findings).table
    except BalancekitError as error:
        return paragraph(f"What lead is in the keys cannot be said yet. {error}")
    return paragraph(lead_total(table_of).sentence) + _bare_key(page, table_of)


_GIVEN_AS = {
    "wood": ("wood_density_g_cm3", "handbook, spruce"),
    **{name: (f"{name}_g", "usual, from memory") for name in FITTINGS},
    "centre": ("", "the front weight"),
}
"""Column of a part of the bare key in a table of key sticks, and where it comes from if not."""


def _bare_key(page: Page, table_of: pd.DataFrame) -> str:
    """Return what a key without lead sets against the finger, part by part."""
    story = page.story
    sticks = sticks_of(story.instrument, table_of)
    parts = bare_inertia_parts_g(sticks, table_of["bare_front_weight_g"])
    mean = parts.groupby(sticks["colour"]).mean()
    given = story.instrument.table("key_sticks")
    rows = []
    for name, (column, usual) in _GIVEN_AS.items():
        own = column in given and given[column].notna().any()
        cells = [grams_cell(mean[name].get(colour, float("nan"))) for colour in COLOURS]
        label = KEY_PARTS[name][:1].upper() + KEY_PARTS[name][1:]
        rows.append((label, *cells, "your table" if own else usual))
    caption = "Inertia of a key without lead at the finger, in the mean"
    return table(caption, ("Part", "Naturals (g)", "Sharps (g)", "From"), rows, kind="cards")


def _leads(page: Page) -> str:
    if page.upright:
        return paragraph(UPRIGHT)
    work = page.story.work
    chart = ""
    if len(work.leads):
        chart = page.chart(
            "front_weight_g", "Front weight", target=work.expected["front_weight_g"],
            legend="Dashed line: what each key is to show after the work.",
        )  # fmt: skip
    said = [work.totals[name] for name in ("leads", "springs") if name in work.totals]
    found = _lead_found(page)
    said += front_steps(work)
    words = formula(
        "front weight", "=", "wippen weight", "×", "key ratio", "+", "strike weight", "×",
        "action ratio", "−", "balance weight", "−", "spring relief",
    )  # fmt: skip
    return (
        f"{chart}{found}{bullets(said or ['No work on leads or springs was decided.'])}"
        f"<h3>What if</h3>{words}{what_if_part(work, page.charts)}"
    )


def _sheets(page: Page) -> str:
    parts = [_folded_if_long(sheet) for sheet in _to_do(page)]
    nothing = paragraph("Nothing is to be done: no chapter decided on work yet.", "nothing")
    return "".join(parts) or nothing


def _folded_if_long(sheet: Sheet) -> str:
    """A long sheet opens when it is pressed; it is printed all the same."""
    part = sheet_part(sheet, level=3)
    if len(sheet.rows) <= LONG_SHEET:
        return part
    said = escape(f"{sheet.title}: {plural(len(sheet.rows), 'row')}")
    return f'<details class="sheet-fold"><summary>{said}</summary>{part}</details>'


def _to_do(page: Page) -> list[Sheet]:
    return [sheet for sheet in bench_sheets(page.story.work) if sheet.operation != "expected"]


def other_notes(page: Page, chapters: Sequence[Chapter]) -> str:
    """Return the notes of chapters that the report does not have, for example of the lesson."""
    own = {chapter.name for chapter in chapters}
    instrument = page.story.instrument
    named = [*instrument.chapter_notes, *(note.chapter for note in instrument.notes)]
    names = [name for name in dict.fromkeys(named) if name not in own]
    if not names:
        return ""
    parts = "".join(
        page.note(name, name.replace("_", " ")) + notes_part(instrument, name) for name in names
    )
    return f'<section id="other_notes"><h2>Further notes</h2>{parts}</section>'


CHAPTERS = (
    Chapter("job", "The job", _job),
    Chapter("readings", "Readings", _readings),
    Chapter("friction", "Friction", _friction),
    Chapter("balance", "Balance", _balance),
    Chapter("plan", "The plan", the_plan),
    Chapter("hammer_mass", "Hammer mass", _hammers),
    Chapter("lead_and_spring", "Lead and spring", _leads),
    Chapter("bench_sheets", "Bench sheets", _sheets),
    Chapter("after_the_work", "After the work", report_proof.proof_chapter),
)


def chapters_with(beside: Sequence[Occasion]) -> tuple[Chapter, ...]:
    """Return the chapters of a report; with other instruments beside it one more."""
    if not beside:
        return CHAPTERS
    more = Chapter("side_by_side", "Side by side", lambda page: side_by_side(page, beside))
    return (*CHAPTERS, more)
