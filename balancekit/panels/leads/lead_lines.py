"""The panel on plugs in straight lines across the keyboard, and what that costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import ipywidgets as widgets

from balancekit.calculation.leads.layout import RowLayout
from balancekit.calculation.leads.leads_plan import lead_totals
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_choice import FREE, IN_LINES
from balancekit.panels.frame import button, panel, row, table_html, words, working
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_layout import key_charts, key_in_words, show_above, show_side
from balancekit.panels.leads.lead_view import LeadLine, LeadView

_WORKING = working("<b>Working:</b> looking for lines, a few seconds. You can go on meanwhile.")


class Lines(LeadView):
    """Plugs in lines, sought when asked for, against the free layout."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return buttons, table and pictures."""
        self.told, self.table, self.story = words(), words(), words()
        self.ask = button("Lay the plugs in lines", self.desk.lay_lines, main=True)
        self.use = button("Use the lines for the plan", lambda: self.choose(IN_LINES))
        self.leave = button("Use the free layout", lambda: self.choose(FREE))
        self.pictures = widgets.VBox()
        self.desk.observe(lambda _: self.say_state(), "laying")
        return [row(self.ask, self.use, self.leave), self.told, self.table, self.pictures,
                self.story]  # fmt: skip

    def choose(self, layout: str) -> None:
        """Take one of the two layouts into the plan."""
        self.desk.take(replace(self.desk.choice, layout=layout), self.refresh)

    def say_state(self) -> None:
        """Say which layout is in the plan, and whether lines are being sought."""
        if self.desk.refusal:
            return
        lines, chosen = self.desk.lines, self.desk.choice.layout
        self.ask.disabled = self.desk.laying or lines is not None
        self.use.disabled = lines is None or chosen == IN_LINES
        self.leave.disabled = chosen == FREE
        if self.desk.laying:
            self.told.value = _WORKING
        elif lines is None and chosen == IN_LINES:
            self.told.value = "Something has changed since the lines were laid: lay them again."
        elif lines is None:
            self.told.value = "The plan has the free layout. No lines were looked for yet."
        else:
            self.told.value = (
                "<b>The plan has the lines.</b>"
                if chosen == IN_LINES
                else "The plan has the free layout."
            )

    def show(self) -> None:
        """Show the lines, if they were sought."""
        self.say_state()
        lines = self.desk.lines
        seen = "none" if lines is None else ""
        for part in (self.table, self.pictures, self.story):
            part.layout.display = seen
        if lines is None:
            return
        self.table.value = self._table(lines)
        inputs = self.desk.inputs
        if not self.pictures.children:
            charts = key_charts(inputs, lines.layout, self.key)
            self.pictures.children = tuple(
                self.over_keys(charts, "The keyboard from above with the plugs in lines.")
            )
        else:
            assert self.view is not None
            with self.view.one_change():
                show_above(self.charts["above"], inputs, lines.layout)
        self.show_key()

    def _table(self, lines: RowLayout) -> str:
        """Compare the lines with the free layout, and say where the lines run."""
        other = self.plan.other_inertia_g
        sums = [lead_totals(each, other) for each in (lines.free, lines.layout)]
        rows = [
            (label, *(f"{one[name]:.{places}f}" for one in sums),
             f"{sums[1][name] - sums[0][name]:+.{places}f}".replace("-", "−"))
            for label, name, places in (
                ("Operations", "operations", 0),
                ("New holes", "new_holes", 0),
                ("Lead in all keys (g)", "lead_g", 0),
                ("Mean inertia at the finger (g)", "mean_inertia_g", 1),
                ("Step from key to key (g)", "unevenness_g", 1),
            )
        ]  # fmt: skip
        price = table_html(("", "Free layout", "In lines", "Price of the lines"), rows)
        runs = [
            (line["section"], line["colour"], line["plug"],
             f"{line['first_mm']:.0f} mm at key {line['first_key']}",
             f"{line['last_mm']:.0f} mm at key {line['last_key']}")
            for line in lines.lines.to_dict("records")
        ]  # fmt: skip
        headings = ("Section", "Keys", "Plug", "From the balance pin", "to")
        count = int(lines.price["exceptions"])
        odd = (
            f"Laid out freely, as the lines do not fit: {plural(count, 'key')}."
            if count
            else "Every key fits into the lines."
        )
        said = f"{odd} Each key has one adjusting plug besides."
        beside = "display:flex;gap:40px;flex-wrap:wrap"
        where = table_html(headings, runs)
        return f'<div style="{beside}"><div>{price}</div><div>{where}</div></div>{said}'

    def show_key(self) -> None:
        """Draw the key in hand."""
        lines = self.desk.lines
        if lines is None or self.view is None:
            return
        with self.view.one_change():
            show_side(self.charts["side"], self.desk.inputs, lines.layout, self.key)
            self.mark("above")
        self.story.value = (
            f"<b>{self.key_words}:</b> {escape(key_in_words(lines.layout, self.plan, self.key))}"
        )


def lead_lines_panel(bench: Bench) -> widgets.VBox:
    """Plugs in straight lines, and their price against the free layout."""
    desk = lead_desk(bench)
    return panel(
        "In straight lines?",
        words(
            "Rows look well: in each section the same plugs stand in straight lines, and one "
            "adjusting plug brings each key to its weight. Old plugs of a section then stay "
            "together or come out together. See what it costs."
        ),
        Lines(desk),
        LeadLine(desk, says_lead=True),
    )
