"""Occasions side by side: one instrument before and after, and others beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from balancekit.calculation.problems import refuse
from balancekit.calculation.proof.evenness import EVENNESS_OF, compare_evenness
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.charts.over_keys import Extra, quantity_limits
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.markup import paragraph, table
from balancekit.sharing.page import Page
from balancekit.sharing.report_proof import step_text

MOST_BESIDE = 5
"""Instruments beside the one that the report tells of; more do not fit beside each other."""

COMPARED = ("down_weight_g", "friction_g", "balance_weight_g", "action_ratio", "strike_weight_g")
CHARTED = ("down_weight_g", "friction_g", "action_ratio")


def occasions(page: Page, beside: Sequence[Occasion]) -> dict[str, Occasion]:
    """Return all that stands side by side, by what it is called: before, after, the others.

    Raises
    ------
    BalancekitError : too many instruments.
    """
    if len(beside) > MOST_BESIDE:
        raise refuse(
            f"{len(beside)} sets of readings beside this one are too many.",
            f"Set up to {MOST_BESIDE} beside it.",
        )
    story = page.story
    own = [story.first, *([story.last] if story.last is not None else [])]
    named: dict[str, Occasion] = {}
    for each in (*own, *beside):
        title = each.instrument.title if each in beside else "This instrument"
        name = plain = f"{title}: {each.name}"
        number = 1
        while name in named:
            number += 1
            name = f"{plain} ({number})"
        named[name] = each
    return named


def side_by_side(page: Page, beside: Sequence[Occasion]) -> str:
    """Return the chapter that sets this instrument beside others; "" without any.

    Raises
    ------
    BalancekitError : too many instruments.
    """
    if not beside:
        return ""
    named = occasions(page, beside)
    tables = {name: each.without_slips for name, each in named.items()}
    lead = (
        "Every instrument is told by the same rules, readings that look like slips left out. "
        "Charts of one quantity have the same scale."
    )
    return (
        f"{paragraph(lead)}<h3>In the middle of the keyboard</h3>{_middles(tables)}"
        f"<h3>From key to key</h3>{_steps(tables)}"
        f"{''.join(_charts(page, named, tables, name) for name in CHARTED)}"
    )


def _middles(tables: dict[str, pd.DataFrame]) -> str:
    rows = []
    for name in COMPARED:
        quantity = QUANTITIES[name]
        known = [each[name].dropna() for each in tables.values()]
        if any(map(len, known)):
            cells = [quantity.text(float(each.median())) if len(each) else "" for each in known]
            rows.append((quantity.label, *cells))
    return table("Half of the keys lie below", ("Quantity", *tables), rows, kind="cards")


def _steps(tables: dict[str, pd.DataFrame]) -> str:
    """The piano's own step on each occasion, with its uncertainty, and whether they differ."""
    found = compare_evenness(tables)
    rows = []
    for name in EVENNESS_OF:
        of_name = found[found["quantity"] == name].set_index("occasion").reindex(list(tables))
        if of_name["real"].notna().any():
            lines: dict[str, dict[str, float]] = of_name[["real", "step_u", "weighing"]].to_dict(
                "index"
            )  # type: ignore[assignment]
            cells = [_step(name, lines[each]) for each in tables]
            rows.append((QUANTITIES[name].axis_label, *cells, _differ(lines)))
    headings = ("Quantity", *tables, "What it means")
    return table("The piano's own step from key to key", headings, rows, kind="cards")


def _step(name: str, line: Mapping[str, float]) -> str:
    step, step_u = (step_text(name, line[part]) for part in ("real", "step_u"))
    return f"{step} ± {step_u}" if step else ""


def _differ(lines: Mapping[str, Mapping[str, float]]) -> str:
    """Say which is the most even, or that weighing cannot tell."""
    known = {each: line for each, line in lines.items() if line["real"] == line["real"]}
    if len(known) < 2:
        return ""
    best = min(known, key=lambda each: known[each]["real"])
    # Beside the best stand all that weighing cannot tell from it.
    near = [
        each for each, line in known.items()
        if line["real"] - known[best]["real"] <= max(known[best]["weighing"], line["weighing"])
    ]  # fmt: skip
    if len(near) == len(known):
        return "No difference that can be weighed."
    if len(near) > 1:
        return f"Most even: {'; '.join(near)}. Weighing cannot tell which of them."
    return f"Most even: {best}."


def _charts(
    page: Page, named: dict[str, Occasion], tables: dict[str, pd.DataFrame], name: str
) -> str:
    known = {each: part for each, part in tables.items() if part[name].notna().any()}
    if not known:
        return ""
    limits = quantity_limits(name, pd.concat([part[name] for part in known.values()]))
    label = QUANTITIES[name].label
    own = page.story.instrument
    charts = "".join(
        f"<div><h4>{escape(each)}</h4>"
        + page.charts.over_keys(
            part, name, title=label, extra=Extra(limits=limits),
            other_piano=named[each].instrument is not own,
        )
        + "</div>"
        for each, part in known.items()
    )  # fmt: skip
    return f'<h3>{escape(label)}</h3><div class="beside">{charts}</div>'
