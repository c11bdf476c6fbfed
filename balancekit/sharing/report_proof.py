"""The last chapter of a report: evenness, what is expected, and whether it came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from balancekit.calculation.proof.evenness import EVENNESS_OF
from balancekit.calculation.proof.groups_after import Fate, fates_sentence, together_sentences
from balancekit.calculation.proof.meeting_plan import (
    MEETS,
    NOT_KNOWN,
    TAKE_UP,
    WEIGH_AGAIN,
    coverage_sentence,
    rate_sentence,
)
from balancekit.calculation.proof.plateaus import sentences_by_occasion
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import escape, plural
from balancekit.charts.over_keys import Extra
from balancekit.sharing.groups_part import FATE_HEADINGS, NO_FATE, fate_rows
from balancekit.sharing.markup import bullets, folded, formula, paragraph, table
from balancekit.sharing.page import Page
from balancekit.sharing.sheets import banded

_DRAWN = ("down_weight_g", "friction_g")
_PROVED = ("down_weight_g", "friction_g", "balance_weight_g")


def proof_chapter(page: Page) -> str:
    """Return the chapter on evenness, expectation and proof."""
    return _evenness(page) + _expected(page) + _proof(page) + _history(page)


def _evenness(page: Page) -> str:
    words = formula(
        "piano's own step", "=", "root:step² − weighing²",
    )  # fmt: skip
    lines = page.story.evenness.to_dict("index")
    rows = []
    for name in EVENNESS_OF:
        line = lines[name]
        if (
            line["found_real"] == line["found_real"]
            or line["expected_real"] == line["expected_real"]
        ):
            columns = ("found_step", "found_weighing", "found_real", "expected_real")
            cells = (step_text(name, line[c]) for c in columns)
            rows.append((QUANTITIES[name].axis_label, *cells, _step_words(line)))
    if not rows:
        return ""
    headings = ("From key to key", "Step read", "Weighing makes", "Piano's own", "Expected then",
                "What it means")  # fmt: skip
    return (
        "<h3>Evenness, one figure for each quantity</h3><p>The step between neighbours of the "
        "same colour, less the slow change over the keyboard. What weighing alone would make is "
        "taken out; steps add in squares.</p>"
        f"{words}{table('Root mean square step from key to key', headings, rows, kind='cards')}"
        f"{_plateaus(page)}"
    )


def _plateaus(page: Page) -> str:
    """Say which runs of keys stand off together: as found, as expected, and as it came out."""
    story = page.story
    found = {"As found": story.first.plateaus, "Expected": story.work.expected_plateaus}
    if story.last is not None:
        found[f"Came out, {story.last.name}"] = story.last.plateaus
    said = sentences_by_occasion(found)
    if not said:
        return ""
    return (
        "<h3>Plateaus</h3><p>From key to key a run of keys that stands off as a whole is not seen, "
        f"because inside it neighbours are alike. So it is looked for by itself.</p>{bullets(said)}"
    )


def _step_words(line: Mapping[Any, Any], less: str = "Less even: ask why before the work.") -> str:
    """Say whether the step changes by more than weighing makes; "" where it is not known."""
    now, then, weighing = (line[n] for n in ("found_real", "expected_real", "found_weighing"))
    if now != now or then != then:
        return ""
    if weighing == weighing and abs(then - now) <= weighing:
        return "No change that can be weighed: the difference is within weighing."
    return "More even." if then < now else less


def step_text(name: str, value: float) -> str:
    """Return a step of a quantity as text, one digit more for a ratio; "" if it is not known.

    >>> step_text("down_weight_g", 1.04), step_text("action_ratio", float("nan"))
    ('1.0', '')
    """
    quantity = QUANTITIES[name]
    digits = quantity.decimals if quantity.unit else quantity.decimals + 1
    return "" if value != value else f"{value:.{max(digits, 1)}f}"


def _expected(page: Page) -> str:
    work = page.story.work
    names = [n for n in (*_PROVED, "inertia_g") if work.expected[n].notna().any()]
    bands = [banded(work, name) for name in names]
    rows = [
        (f"{key}", note, *(band[key] for band in bands))
        for key, note in zip(work.found.index.tolist(), work.found["note_name"], strict=True)
    ]  # fmt: skip
    headings = ("Key", "Note", *(QUANTITIES[name].axis_label for name in names))
    lead = (
        "What each key is to show after the work. About 95 of 100 readings lie within their band."
        if work.anything
        else "No work is decided, so what is expected is what was found."
    )
    inside = table("Expected, with its band", headings, rows)
    return (
        f"<h3>What is expected</h3>{paragraph(lead)}"
        f"{paragraph(work.load_part.sentence)}{folded('Expected, key by key', inside)}"
    )


def _proof(page: Page) -> str:
    story = page.story
    proof, expected = story.proof, story.work.expected
    if proof is None:
        return paragraph("There are no readings after the work yet.", "nothing")
    counts = proof.verdicts["verdict"].value_counts()
    verdicts = (MEETS, WEIGH_AGAIN, TAKE_UP, NOT_KNOWN)
    said = [f"{plural(counts.get(verdict, 0), 'key')}: {verdict}" for verdict in verdicts]
    charts = "".join(_chart(page, proof.read, expected, name) for name in _DRAWN)
    rows = [
        (f"{key}", note, line["verdict"], line["sentence"])
        for (key, note), line in zip(
            story.work.found["note_name"].items(), proof.verdicts.to_dict("records"), strict=True
        )
        if line["verdict"] in (TAKE_UP, WEIGH_AGAIN)
    ]
    rows.sort(key=lambda row: row[2] != TAKE_UP)
    again = table("Keys to take up or weigh again", ("Key", "Note", "What", "Why"), rows,
                  kind="cards")  # fmt: skip
    nothing = paragraph("Every key that was weighed meets the plan.", "good")
    bands = [coverage_sentence(found, name) for name, found in proof.coverage.items()]
    return (
        f"<h3>What came out: {escape(proof.later.name)}</h3>{bullets(said)}"
        f"{paragraph(rate_sentence())}"
        f"{again if rows else nothing}{charts}"
        f"<h3>Did the bands hold?</h3>{bullets([*bands, *together_sentences(proof.together)])}"
        f"{_groups_after(proof.fates)}"
    )


def _groups_after(fates: Sequence[Fate]) -> str:
    told = paragraph(fates_sentence(fates) or NO_FATE)
    rows = fate_rows(fates)
    listed = table("Groups before and after the work", FATE_HEADINGS, rows, kind="cards")
    return f"<h3>What became of the groups?</h3>{told}{listed if rows else ''}"


def _chart(page: Page, after: pd.DataFrame, expected: pd.DataFrame, name: str) -> str:
    extra = Extra(
        trend=expected[name],
        trend_u=expected[uncertainty_name(name)],
        earlier=page.story.work.found[name],
    )
    label = QUANTITIES[name].label
    return page.charts.over_keys(
        after, name, title=f"{label} after the work", extra=extra,
        legend="Line and band: expected. Crosses: before. Points: what came out.",
    )  # fmt: skip


def _history(page: Page) -> str:
    if len(page.story.instrument.visits) < 2:
        return ""
    history = page.story.history
    occasions = list(dict.fromkeys(history["occasion"]))
    rows = []
    for name in EVENNESS_OF:
        lines = history[history["quantity"] == name].set_index("occasion")
        own = lines["real"]
        if own.notna().any():
            cells = [step_text(name, float(own.get(o, float("nan")))) for o in occasions]
            first, last = lines.iloc[0], lines.iloc[-1]
            line = {
                "found_real": first["real"],
                "expected_real": last["real"],
                "found_weighing": max(first["weighing"], last["weighing"]),
            }
            rows.append((QUANTITIES[name].axis_label, *cells, _step_words(line, "Less even.")))
    caption = "The piano's own step from key to key, visit by visit"
    headings = ("Quantity", *occasions, "From the first to the last")
    return f"<h3>Over the years</h3>{table(caption, headings, rows, kind='cards')}"
