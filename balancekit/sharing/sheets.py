"""Bench sheets: what is to be done, in the order of the bench, as plain content.

``sheet_html`` and ``sheet_pdf`` print the same sheets; nothing of the content is theirs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import hypot

import pandas as pd

from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.words import plural
from balancekit.instrument.model import Instrument
from balancekit.instrument.notes import Note
from balancekit.sharing.target_steps import front_steps, hammer_steps
from balancekit.sharing.work import Work

_BAND = 2.0
"""A band is this many standard uncertainties to each side: about 95 of 100 keys lie in it."""

GENERAL = (
    "Draw the action out level, with no key pressed: a raised hammer snaps off on the pin block.",
    "Do what can be undone first. Weigh and plan before anything is trimmed or bored, keep the "
    "parts that come out, and get the owner's written agreement on an instrument of worth.",
    "Local codes and licensed practice come before this sheet.",
)
LEAD = (
    "Lead is toxic. Wear gloves, wipe wet, wash before you eat. No sanding, no melting, no dry "
    "sweeping. Children and pregnant people stay away. Scraps go by local rules.",
    "A hole cannot be undone. Lay the plug loose on top of the key, weigh, mark, then bore.",
)
SPRING = ("Springs are under tension: wear eye protection.",)
LEVER = (
    "Try it on three keys and weigh them before you move the whole line. Look whether the heel "
    "still covers the capstan, and whether the jack still meets the knuckle.",
    "A moved knuckle, and the hole of a moved capstan, cannot be undone.",
)
HAMMER = (
    "What is trimmed off does not come back. Take off half, weigh, then take off the rest.",
    "Support the shank while you work on the hammer.",
)


@dataclass(frozen=True)
class Column:
    """One column of a sheet.

    Attributes
    ----------
    heading : with its unit.
    share : of the width; the shares of a sheet are relative to each other.
    right : whether it stands right, as numbers do.
    large : whether it is printed large, to be read at arm's length.
    """

    heading: str
    share: float
    right: bool = False
    large: bool = False


@dataclass(frozen=True)
class Picture:
    """A photograph on a sheet.

    Attributes
    ----------
    words : what it shows, who took it and when.
    jpeg : its bytes.
    """

    words: str
    jpeg: bytes


@dataclass(frozen=True)
class Sheet:
    """One operation on the bench.

    Attributes
    ----------
    operation : short name, for files and anchors.
    title : heading.
    cautions : at the head, before anything is done.
    how : sentences on how it is done.
    columns, rows : the table; a cell is text.
    ticked : whether each row has a box to tick.
    totals : sentences below the table.
    pictures : photographs below all that.
    """

    operation: str
    title: str
    cautions: tuple[str, ...]
    how: tuple[str, ...]
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    ticked: bool = True
    totals: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()


KEY = Column("Key", 0.7, right=True, large=True)
NOTE = Column("Note", 0.8)


def grams_cell(value: float, decimals: int = 1) -> str:
    """Return grams as text: 12.3, or nothing if not known.

    >>> grams_cell(-1.25), grams_cell(float("nan"))
    ('−1.2', '')
    """
    return "" if value != value else f"{value:.{decimals}f}".replace("-", "−")


def banded(work: Work, name: str) -> dict[int, str]:
    """Return what the scale is to show, by key, with the band of one reading: "50.1 ± 1.9".

    The band holds what the prediction does not know and what weighing once more does not.
    """
    column, keys = uncertainty_name(name), work.expected.index
    weighing = [0.0] * len(keys)
    if column in work.found:
        weighing = work.found[column].reindex(keys).fillna(0.0).tolist()
    digits = QUANTITIES[name].decimals
    columns = (work.expected[name].tolist(), work.expected[column].tolist(), weighing)
    return {
        key: ""
        if value != value
        else f"{grams_cell(value, digits)} ± {grams_cell(_BAND * hypot(u, more), digits)}"
        for key, value, u, more in zip(keys.tolist(), *columns, strict=True)
    }


def heading(work: Work) -> tuple[str, str]:
    """Return what stands over the sheets: the title, and which readings they rest on."""
    when = f"From the readings “{work.visit_title}” {work.date}".strip()
    return f"Bench sheets: {work.title}", when


def bench_sheets(work: Work, pictures: Sequence[Picture] = ()) -> tuple[Sheet, ...]:
    """Return the sheets of the work, in the order of the bench.

    An operation with nothing to do has no sheet; what is expected at the scale always has.
    Photographs of the instrument, if any are given, come last.
    """
    makers: tuple[Callable[[Work], Iterator[Sheet]], ...] = (
        _shopping, _levers, _friction, _hammers, _springs, _leads, _expected,
    )  # fmt: skip
    sheets = tuple(sheet for make in makers for sheet in make(work))
    if not pictures:
        return sheets
    shown = Sheet(
        "photographs", "Photographs", (), (), (), (), ticked=False, pictures=tuple(pictures)
    )
    return (*sheets, shown)


def sheet_pictures(instrument: Instrument) -> tuple[Picture, ...]:
    """Return the photographs of an instrument as they stand on the sheets, key by key."""
    return tuple(
        Picture(_picture_words(note), instrument.photographs[name])
        for note in sorted(instrument.notes, key=lambda note: note.first_key)
        for name in note.photographs
        if name in instrument.photographs
    )


def _picture_words(note: Note) -> str:
    about = note.about or note.chapter.replace("_", " ").capitalize()
    signed = f" ({note.signature})" if note.signature else ""
    return f"{about}{signed}{f': {note.text[:300]}' if note.text else ''}"


def _lines(work: Work, keys: pd.Index) -> Iterator[tuple[int, tuple[str, str]]]:
    names = work.found["note_name"]
    for key in keys.tolist():
        yield int(key), (f"{key}", str(names[key]))


def _shopping(work: Work) -> Iterator[Sheet]:
    if not len(work.shopping):
        return
    rows = [
        (str(plug), grams_cell(line["mass_g"]), f"{line['put_in']:.0f}", f"{line['spares']:.0f}",
         f"{line['to_buy']:.0f}", grams_cell(line["total_g"], 0))
        for plug, line in work.shopping.iterrows()
    ]  # fmt: skip
    total = work.shopping[["to_buy", "total_g"]].sum()
    totals = [f"{plural(round(total['to_buy']), 'plug')}, {total['total_g']:.0f} g in all."]
    if len(work.scrap):
        totals.append(
            f"To come out: {plural(round(work.scrap['taken_out'].sum()), 'old plug')}, "
            f"{work.scrap['total_g'].sum():.0f} g: scrap lead goes where local rules say."
        )
    yield Sheet(
        "shopping", "To have ready: plugs", LEAD[:1],
        ("Weigh ten plugs of each kind together, and compare with the mass here.",),
        (Column("Plug", 2.2), Column("Each (g)", 1, right=True), Column("To put in", 1, right=True),
         Column("Spares", 1, right=True), Column("To have", 1, right=True, large=True),
         Column("In all (g)", 1, right=True)),
        tuple(rows), totals=tuple(totals),
    )  # fmt: skip


def _levers(work: Work) -> Iterator[Sheet]:
    if not len(work.levers):
        return
    rows = [
        (str(line["keys"]), str(line["lever"]), grams_cell(line["move_mm"]), str(line["side"]),
         grams_cell(line["ratio_percent"]), str(line["regulation"]))
        for line in work.levers.to_dict("records")
    ]  # fmt: skip
    yield Sheet(
        "levers", "Levers", (*GENERAL, *LEVER),
        ("Levers come first: the weights of all that follows rest on them. Regulate, then weigh "
         "a few keys of the group again.",),
        (Column("Keys", 1.6, large=True), Column("Lever", 0.9),
         Column("Move (mm)", 1, right=True, large=True), Column("Where to", 2),
         Column("Ratio (%)", 0.9, right=True), Column("Regulation then", 2.4)),
        tuple(rows),
    )  # fmt: skip


def _friction(work: Work) -> Iterator[Sheet]:
    if not len(work.friction):
        return
    rows = [
        (*start, grams_cell(work.friction["friction_g"][key]),
         grams_cell(work.friction["expected_g"][key]), str(work.friction["treat"][key]),
         str(work.friction["advice"][key]))
        for key, start in _lines(work, work.friction.index)
    ]  # fmt: skip
    yield Sheet(
        "friction", "Friction", GENERAL,
        ("Friction comes first: a tight key cannot be weighed for anything else. Weigh down and "
         "up again after each step.",),
        (KEY, NOTE, Column("Friction (g)", 0.9, right=True),
         Column("Neighbours (g)", 1.3, right=True), Column("Do", 0.9),
         Column("Where to look, in this order", 4.2)),
        tuple(rows), totals=(work.totals.get("friction", ""),),
    )  # fmt: skip


def _hammers(work: Work) -> Iterator[Sheet]:
    if not len(work.hammers):
        return
    rows = []
    lines = work.hammers.to_dict("index")
    for key, start in _lines(work, work.hammers.index):
        line = lines[key]
        change = float(line["trimmed_g"]) or float(line["added_g"])
        sign = "−" if line["trimmed_g"] > 0 else "+"
        to_do = str(line["work"]) if line["work"] in ("trim", "add") else "hang, weigh"
        rows.append(
            (*start, to_do, f"{sign}{grams_cell(change)}" if change else "",
             grams_cell(line["strike_weight_g"]), grams_cell(line["planned_strike_weight_g"]))
        )  # fmt: skip
    named = f" Set: {work.hammer_set}." if work.hammer_set else ""
    yield Sheet(
        "hammers", "Hammers", (*GENERAL[1:], *HAMMER),
        (f"Hammer on its shank, shank level, strike point on the scale.{named}",),
        (KEY, NOTE, Column("Work", 1.2), Column("By (g)", 1, right=True),
         Column("Weighs now (g)", 1.3, right=True),
         Column("Is to weigh (g)", 1.4, right=True, large=True)),
        tuple(rows), totals=(work.totals.get("hammers", ""), *hammer_steps(work)),
    )  # fmt: skip


def _springs(work: Work) -> Iterator[Sheet]:
    if not len(work.springs):
        return
    rows = [
        (*start, grams_cell(work.springs["spring_relief_g"][key]),
         grams_cell(work.springs["planned_relief_g"][key]))
        for key, start in _lines(work, work.springs.index)
    ]  # fmt: skip
    yield Sheet(
        "springs", "Support springs", (*SPRING, *GENERAL[:1]),
        ("Spring relief is the balance weight without the spring minus with it, at the measuring "
         "point. Where the relief is nothing now, a spring is fitted.",),
        (KEY, NOTE, Column("Relief now (g)", 1.5, right=True),
         Column("Relief to set (g)", 1.6, right=True, large=True)),
        tuple(rows), totals=(work.totals.get("springs", ""),),
    )  # fmt: skip


def _leads(work: Work) -> Iterator[Sheet]:
    if not len(work.leads):
        return
    to_do = work.leads[work.leads["action"] != "keep"]
    names = work.found["note_name"]
    rows = [
        (f"{line['key']}", str(names[line["key"]]), str(line["action"]), str(line["plug"]),
         grams_cell(line["from_front_edge_mm"], 0), str(line["hole"]),
         grams_cell(line["front_weight_g"]))
        for line in to_do.to_dict("records")
    ]  # fmt: skip
    yield Sheet(
        "leads", "Leads", (*LEAD, *GENERAL[1:]),
        ("Measure from the front edge of the key to the middle of the plug. Plugs that stay are "
         "not listed.",
         "The last trim is always on the scale: the front weight below is what the key is to "
         "show."),
        (KEY, NOTE, Column("Do", 1), Column("Plug", 1.9),
         Column("From front edge (mm)", 1.3, right=True, large=True), Column("Hole", 1.2),
         Column("Front weight then (g)", 1.3, right=True)),
        tuple(rows), totals=(work.totals.get("leads", ""), *front_steps(work)),
    )  # fmt: skip


def _expected(work: Work) -> Iterator[Sheet]:
    names = ["down_weight_g", "up_weight_g", "friction_g"]
    if work.expected["front_weight_g"].notna().any():
        names.insert(2, "front_weight_g")
    bands = [banded(work, name) for name in names]
    rows = [
        (*start, *(band[key] for band in bands), "", "")
        for key, start in _lines(work, work.expected.index)
    ]  # fmt: skip
    done = "After the work" if work.anything else "As found: nothing is decided yet"
    yield Sheet(
        "expected", "At the scale: what each key is to show", (),
        (f"{done}. About 95 of 100 readings lie within their band. A key outside it is weighed "
         "again before anything is touched.",
         "Write what you read into the empty columns."),
        (KEY, NOTE, *(Column(QUANTITIES[name].axis_label, 1.5, right=True) for name in names),
         Column("Down, read", 1.1), Column("Up, read", 1.1)),
        tuple(rows), totals=tuple(work.undecided),
    )  # fmt: skip
