"""The panel on one key: all work on it, what it is to show, and its note."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.key_in_hand import KeyInHand
from balancekit.panels.work.work_desk import work_desk
from balancekit.panels.work.work_view import WorkView
from balancekit.sharing.sheets import banded, grams_cell
from balancekit.sharing.work import Work

AT_THE_SCALE = ("down_weight_g", "up_weight_g", "front_weight_g", "friction_g")


def work_lines(work: Work, key: int) -> list[tuple[str, str]]:
    """Return what is to be done on one key: operation and words, in the order of the bench."""
    lines = []
    if key in work.friction.index:
        line = work.friction.loc[key].to_dict()
        lines.append(
            ("Friction", f"{line['treat']}: {grams_cell(line['friction_g'])} g, neighbours "
             f"{grams_cell(line['expected_g'])} g. {line['advice']}")
        )  # fmt: skip
    if key in work.hammers.index:
        line = work.hammers.loc[key].to_dict()
        by = float(line["trimmed_g"]) or float(line["added_g"])
        to_do = f"{line['work']} {grams_cell(by)} g" if by else "hang, weigh"
        lines.append(
            ("Hammer", f"{to_do}: from {grams_cell(line['strike_weight_g'])} g to "
             f"{grams_cell(line['planned_strike_weight_g'])} g")
        )  # fmt: skip
    if key in work.springs.index:
        line = work.springs.loc[key].to_dict()
        lines.append(
            ("Spring", f"relief from {grams_cell(line['spring_relief_g'])} g to "
             f"{grams_cell(line['planned_relief_g'])} g")
        )  # fmt: skip
    if len(work.leads):
        here = work.leads[(work.leads["key"] == key) & (work.leads["action"] != "keep")]
        lines += [
            ("Lead", f"{line['action']} {line['plug']}, "
             f"{grams_cell(line['from_front_edge_mm'], 0)} mm "
             f"from the front edge ({line['hole']} hole)")
            for line in here.to_dict("records")
        ]  # fmt: skip
    return lines


class WorkOnKey(WorkView):
    """The key in hand: what to do to it, what the scale shows then, and its note."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return slider, buttons, table and the note."""
        self.hand, self.story = KeyInHand(self.bench), words()
        self.bench.observe(lambda _: self.refresh(), "key")
        return self.hand.around(self.story)

    def show(self) -> None:
        """Tell of the key in hand."""
        work, key = self.desk.work, self.bench.key
        self.hand.show()
        rows = work_lines(work, key)
        shown = {name: banded(work, name)[key] for name in AT_THE_SCALE}
        scale = "; ".join(
            f"{QUANTITIES[name].label.lower()} {band} g" for name, band in shown.items() if band
        )
        rows.append(("At the scale", scale[:1].upper() + scale[1:] if scale else "not known"))
        nothing = "" if len(rows) > 1 else " Nothing is to be done to it."
        name = escape(work.found["note_name"][key])
        table = table_html(("Operation", "What"), rows)
        self.story.value = f"<b>Key {key}, {name}.</b>{nothing}{table}"


def work_key_panel(bench: Bench) -> widgets.VBox:
    """All work on one key, and its note."""
    return panel("One key", WorkOnKey(work_desk(bench)))
