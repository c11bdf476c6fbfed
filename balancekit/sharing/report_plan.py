"""The chapter of a report on the plan for the whole action: the way that was chosen."""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.plan.work_costs import USUAL
from balancekit.calculation.words import escape, in_words
from balancekit.instrument.choices.chosen_way import ChosenWay
from balancekit.sharing.markup import bullets, paragraph, table
from balancekit.sharing.page import Page
from balancekit.sharing.work import Work

NO_WAY = "No way for the whole action was chosen; what was decided stands in the chapters below."

STAYS = {
    "move capstan": "the old holes stay in the wood",
    "move knuckle": "what is cut and glued for it stays",
    "fit spring": "what is bored or glued for it stays",
    "trim hammer": "what is cut off does not come back",
    "new hole": "a hole stays in the wood",
}
"""What is left of each operation that cannot be undone."""


def the_plan(page: Page) -> str:
    """Return what the chosen way does, what it takes, and what of it cannot be undone."""
    work = page.story.work
    way = work.way
    if way is None:
        return paragraph(NO_WAY)
    ends = f"{way.first_g:.1f} g at the first key, {way.last_g:.1f} g at the last"
    facts = {
        "The way": way.name,
        "Bench time": f"{way.minutes / 60:.1f} h, set-up included",
        "Money for parts": f"{way.money:.2f}",
        "Balance weight wanted": ends,
    }
    if way.done:
        facts["Done so far"] = f"{in_words(way.done)}; what is left was planned again"
    lines = "".join(f"<dt>{escape(k)}</dt><dd>{escape(v)}</dd>" for k, v in facts.items())
    chart = page.chart(
        "balance_weight_g", "Balance weight by the plan",
        target=work.expected["balance_weight_g"],
        legend="Dashed line: what each key is expected to show after the work.",
    )  # fmt: skip
    rows = _rows(work, way)
    shown = [(what, where, "yes" if USUAL[does].undone else "no") for what, where, does in rows]
    stays = [
        f"{what}, {'key' if where.isdigit() else 'keys'} {where}: {STAYS[does]}."
        for what, where, does in rows if not USUAL[does].undone
    ]  # fmt: skip
    return (
        f'<dl class="facts">{lines}</dl>{chart}'
        f"{table('What is done', ('Work', 'Where', 'Can be undone'), shown)}{bullets(stays)}"
    )


def _rows(work: Work, way: ChosenWay) -> list[tuple[str, str, str]]:
    """Return each kind of work, its keys, and its operation of ``USUAL``; levers first."""
    rows = [
        (f"{line['lever']} moved {line['move_mm']:.1f} mm {line['side']}", str(line["keys"]),
         f"move {line['lever']}")
        for line in work.levers.to_dict("records")
    ]  # fmt: skip
    trimmed, added = (
        list(work.hammers.index[work.hammers["work"] == kind]) if len(work.hammers) else []
        for kind in ("trim", "add")
    )
    bored = _bored(work)
    leaded = [each.key for each in way.keys if each.front_weight_g is not None]
    fitted, set_anew = _springs(work)
    for what, keys, does in (
        ("friction put right", [each.key for each in way.keys if each.ease], "ease friction"),
        ("spring set", set_anew, "set spring"),
        ("spring fitted", fitted, "fit spring"),
        ("hammer made heavier", added, "add to hammer"),
        ("hammer trimmed", trimmed, "trim hammer"),
        ("lead changed, no new hole", [key for key in leaded if key not in bored], "put plug in"),
        ("lead changed, new holes", [key for key in leaded if key in bored], "new hole"),
    ):
        if keys:
            rows.append((what, in_words(int(key) for key in keys), does))
    return rows


def _springs(work: Work) -> tuple[list[int], list[int]]:
    """Return keys on which a spring is fitted, and those on which one is only set."""
    if not len(work.springs):
        return [], []
    there = work.springs["spring_relief_g"].fillna(0.0) > 0
    return list(work.springs.index[~there]), list(work.springs.index[there])


def _bored(work: Work) -> set[int]:
    """Return the keys that get new or larger holes."""
    if not len(work.leads):
        return set()
    holes: pd.Series = work.leads["hole"].isin(["new", "bored larger"])
    return set(work.leads.loc[holes & (work.leads["action"] == "put in"), "key"].astype(int))
