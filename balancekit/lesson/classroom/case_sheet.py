"""A grand with faults and a virtual key on paper: one page to work on, another with the truth."""

from __future__ import annotations

from balancekit.calculation.quantities import NEEDED_COLUMNS, QUANTITIES
from balancekit.calculation.words import escape
from balancekit.instrument.table import reading_table
from balancekit.lesson.faults.case import FAULTS, Case
from balancekit.lesson.measure.virtual_bench import (
    COMPUTED,
    ENTERED,
    RULERS,
    SCALES,
    VirtualKey,
    as_shown,
)
from balancekit.lesson.practice.sheet import page_html
from balancekit.panels.frame import table_html


def case_page(case: Case, paper: str = "A4", *, answers: bool = False) -> str:
    """Return the readings of a case as pages that print, or what was planted.

    Raises
    ------
    BalancekitError : a paper that is not known.

    >>> from balancekit.lesson.faults.case import plant
    >>> "tight centre" in case_page(plant(3, {40: "tight"}), answers=True)
    True
    """
    if answers:
        rows = [
            (key, FAULTS[kind].words, case.sizes.get(key, "usual"))
            for key, kind in case.planted.items()
        ]
        body = table_html(("Key", "Planted", "Size"), rows)
        foot = "For the teacher."
    else:
        table = reading_table(case.instrument).to_dict("index")
        names = NEEDED_COLUMNS
        rows = [
            (key, line["note_name"], *(QUANTITIES[name].text(line[name]) for name in names), "")
            for key, line in table.items()
        ]
        heads = ("Key", "Note", *(QUANTITIES[name].label for name in names), "What do you suspect?")
        body = table_html(heads, rows)
        foot = (
            f"{len(case.planted)} keys have a fault, or a slip of the pen. Weigh again before "
            "anything is touched."
        )
    title = "Find the faults: answers" if answers else "Find the faults"
    return page_html(title, f"Case {case.seed}", body, foot, paper, names=not answers)


def bench_page(seed: int, paper: str = "A4", *, answers: bool = False) -> str:
    """Return the readings of a virtual key as a page that prints, or its truth.

    One reading of each scale and rule; the weights as a careful hand finds them.

    Raises
    ------
    BalancekitError : a paper that is not known.
    """
    key = VirtualKey(seed)
    read = {name: as_shown(name, key.read(name)) for name in (*SCALES, *RULERS)}
    down, up = find_weights(key)
    read |= {"down_weight_g": f"{down} g", "up_weight_g": f"{up} g"}
    rows = [
        (
            QUANTITIES[name].label,
            as_shown(name, key.truth[name]) if answers else read.get(name, ""),
        )
        for name in ENTERED
    ]
    head = f"Bench number {seed}: key {key.key}, {key.note_name}, a {key.colour}"
    foot = (
        "For the teacher: the truth."
        if answers
        else f"Compute {', '.join(QUANTITIES[n].label.lower() for n in COMPUTED)}."
    )
    title = "The virtual bench: answers" if answers else "The virtual bench"
    columns = ("Quantity", "Truth" if answers else "Read or computed")
    body = table_html(columns, rows)
    return page_html(escape(title), head, body, foot, paper, names=not answers)


def find_weights(key: VirtualKey) -> tuple[int, int]:
    """Return down weight and up weight as a careful hand finds them, gram by gram [g]."""
    down = next(g for g in range(201) if key.set_weight(g, pressed=False).moved)
    up = next(g for g in range(down + 5, -1, -1) if key.set_weight(g, pressed=True).moved)
    return down, up
