"""The chapter of a report on the plan for the whole action: the way that was chosen."""

from __future__ import annotations

import pandas as pd

from balancekit.calculation.words import in_words, plural
from balancekit.instrument.choices.chosen_way import ChosenWay
from balancekit.sharing.markup import bullets, escape, paragraph, table
from balancekit.sharing.page import Page
from balancekit.sharing.work import Work

NO_WAY = "No way for the whole action was chosen; what was decided stands in the chapters below."


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
    return (
        f'<dl class="facts">{lines}</dl>{chart}'
        f"{table('What is done', ('Work', 'Where', 'Can be undone'), _rows(work, way))}"
        f"{bullets(_not_undone(work))}"
    )


def _rows(work: Work, way: ChosenWay) -> list[tuple[str, str, str]]:
    """Return each kind of work, its keys, and whether it can be undone; levers first."""
    rows = [
        (f"{line['lever']} moved {line['move_mm']:.1f} mm {line['side']}", str(line["keys"]),
         "yes" if line["lever"] == "capstan" else "no")
        for line in work.levers.to_dict("records")
    ]  # fmt: skip
    trimmed, added = (
        list(work.hammers.index[work.hammers["work"] == kind]) if len(work.hammers) else []
        for kind in ("trim", "add")
    )
    bored = _bored(work)
    leaded = [each.key for each in way.keys if each.front_weight_g is not None]
    fitted, set_anew = _springs(work)
    for what, keys, undone in (
        ("friction put right", [each.key for each in way.keys if each.ease], "yes"),
        ("spring set", set_anew, "yes"),
        ("spring fitted", fitted, "no"),
        ("hammer made heavier", added, "yes"),
        ("hammer trimmed", trimmed, "no"),
        ("lead changed, no new hole", [key for key in leaded if key not in bored], "yes"),
        ("lead changed, new holes", [key for key in leaded if key in bored], "no"),
    ):
        if keys:
            rows.append((what, in_words(int(key) for key in keys), undone))
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


def _not_undone(work: Work) -> list[str]:
    holes = len(_bored(work))
    trimmed = int((work.hammers["work"] == "trim").sum()) if len(work.hammers) else 0
    said = []
    if trimmed:
        said.append(f"What is trimmed off {plural(trimmed, 'hammer')} does not come back.")
    if holes:
        said.append(f"The new holes in {plural(holes, 'key')} stay.")
    return said
