"""The first screen of a report: what was found, decided, and came out, and one picture."""

from __future__ import annotations

from balancekit.calculation.proof.meeting_plan import MEETS, TAKE_UP, WEIGH_AGAIN, WORTH_G
from balancekit.calculation.proof.plateaus import Plateaus, highest, plateau_sentence
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import escape, plural, run_in_words
from balancekit.charts.over_keys import Extra
from balancekit.sharing.page import Page
from balancekit.sharing.story import Story

_SHOWN = "down_weight_g"
"""The picture's quantity: what a finger meets first, and uprights have it too."""


def opening(page: Page) -> str:
    """Return what stands below the title: the outcome in three sentences and a picture."""
    story = page.story
    lines = (
        ("readings", "Found", found(story)),
        ("bench_sheets", "Decided", decided(story)),
        ("after_the_work", "Came out", came_out(story)),
    )
    items = "".join(
        f'<li><a href="#{chapter}">{word}:</a> {escape(text)}</li>' for chapter, word, text in lines
    )
    return (
        f'<p class="lead">From the readings “{escape(story.first.name)}”.</p>'
        f'<ol class="outcome">{items}</ol>{_picture(page)}'
    )


def found(story: Story) -> str:
    """Say in one sentence what was found."""
    first = story.first
    kinds = [flag.kind for flag in first.findings.flags]
    read = int(first.table[_SHOWN].notna().sum())
    if not read:
        return "no key was weighed yet."
    friction = first.without_slips["friction_g"].dropna()
    middle = (
        f", the middle friction is {QUANTITIES['friction_g'].text(friction.median())}"
        if len(friction)
        else ""
    )
    slips, out = kinds.count("slip"), kinds.count("stands-out")
    return (
        f"{plural(read, 'key')} weighed{middle}; {plural(slips, 'reading')} may be a slip, "
        f"{plural(out, 'value')} {'stands' if out == 1 else 'stand'} out{_off_together(story)}."
    )


def _off_together(story: Story) -> str:
    """Name the keys that are off together, after what is off alone."""
    runs = dict.fromkeys(
        run_in_words(group.first_key, group.last_key, group.members)
        for group in story.first.believed.groups
    )
    return f"; off together: {', '.join(runs)}" if runs else ""


def decided(story: Story) -> str:
    """Say in one sentence what was decided."""
    work = story.work
    plugs = int((work.leads["action"] != "keep").sum()) if len(work.leads) else 0
    parts = [
        f"{plural(count, word)}{more}"
        for count, word, more in (
            (len(work.friction), "key", " with work on friction"),
            (len(work.hammers), "hammer", ""),
            (plugs, "plug", " to put in or take out"),
            (len(work.springs), "spring", ""),
        )
        if count
    ]
    return f"{', '.join(parts)}." if parts else "nothing yet, so all stays as found."


def came_out(story: Story) -> str:
    """Say in one sentence what came out, or what is expected."""
    if story.proof is None:
        lines = story.evenness.to_dict("index").get(_SHOWN, {})
        now, then = lines.get("found_real"), lines.get("expected_real")
        if now is None or then is None or now != now or then != then or not story.work.anything:
            return "there are no readings after the work yet."
        return (
            f"not weighed yet; the down weight's own step from key to key is expected to go "
            f"from {now:.1f} to {then:.1f} g."
            f"{_plateaus(story.work.expected_plateaus, 'Expected: ')}"
        )
    counts = story.proof.verdicts["verdict"].value_counts()
    return (
        f"{plural(int(counts.get(MEETS, 0)), 'key')} meet the plan, "
        f"{int(counts.get(TAKE_UP, 0))} to take up again, "
        f"{int(counts.get(WEIGH_AGAIN, 0))} to weigh again."
        f"{_plateaus(story.proof.later.plateaus)}"
    )


def _plateaus(found: Plateaus, before: str = "") -> str:
    """Say of each quantity which run of keys stands off most, if by enough to matter."""
    most = {name: highest(plateaus) for name, plateaus in found.items()}
    said = [
        f" {before}{plateau_sentence(each, name)}"
        for name, each in most.items()
        if each is not None and abs(each.shift) >= WORTH_G[name]
    ]
    return "".join(said)


def _picture(page: Page) -> str:
    story = page.story
    table, expected = story.first.without_slips, story.work.expected
    label = QUANTITIES[_SHOWN].label
    if story.last is not None:
        extra = Extra(
            trend=expected[_SHOWN],
            trend_u=expected[uncertainty_name(_SHOWN)],
            earlier=story.work.found[_SHOWN],
        )
        table, legend = story.last.without_slips, "Crosses: before. Points: after. Line: expected."
    elif story.work.anything:
        extra = Extra(target=expected[_SHOWN])
        legend = "Points: as found. Dashed line: expected after the work."
    else:
        extra, legend = Extra(), "Points: as found. Green: usual values."
    return page.charts.over_keys(
        table, _SHOWN, title=label, extra=extra, legend=legend, place="chart-outcome", low=True
    )
