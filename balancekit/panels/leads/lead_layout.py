"""The panel on the layout: which plugs go in, come out or stay, and exactly where."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.leads.layout import Layout
from balancekit.calculation.leads.leads_plan import lead_totals
from balancekit.calculation.leads.plugs import USUAL_LENGTH_MM
from balancekit.calculation.words import escape, plural
from balancekit.charts.key_picture import (
    missed_data,
    plan_view_chart,
    plan_view_data,
    side_chart,
    side_data,
)
from balancekit.charts.look import Chart
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.lead_inputs import LeadInputs
from balancekit.instrument.choices.lead_plan import LeadPlan
from balancekit.instrument.leads_record import lead_total
from balancekit.panels.frame import Later, panel, row, words, working, wrong
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadLine, LeadView

WAYS_AFTER_S = 0.6
"""Rest of the controls before ways out are sought; our own choice."""


def plug_lengths(inputs: LeadInputs) -> dict[str, float]:
    """Return the length of each plug of the stock by name, and under "" that of an old one [mm]."""
    return {"": USUAL_LENGTH_MM} | {plug.name: plug.length_mm for plug in inputs.plugs}


def key_charts(inputs: LeadInputs, layout: Layout, key: int) -> dict[str, Chart]:
    """Return the key in hand from the side and the whole keyboard from above."""
    sticks = inputs.sticks
    side = side_chart(
        inputs.sticks.loc[key].to_dict(), plugs_of(layout, key), inputs.zones,
        title=side_title(inputs, key), longest_mm=float(sticks["stick_length_mm"].max()),
    )  # fmt: skip
    above = plan_view_chart(sticks, layout.keys, layout.plan, plug_lengths(inputs), inputs.zones)
    return {"side": side, "above": above}


def side_title(inputs: LeadInputs, key: int) -> str:
    """Return the title of the picture of one key."""
    return f"Key {key}, {inputs.table['note_name'][key]}, from the side, to scale"


def plugs_of(layout: Layout, key: int) -> pd.DataFrame:
    """Return the rows of one key of a plan."""
    rows: pd.DataFrame = layout.plan[layout.plan["key"] == key]
    return rows


def show_side(chart: Chart, inputs: LeadInputs, layout: Layout, key: int) -> None:
    """Put the key in hand into its picture."""
    chart.show(side_data(inputs.sticks.loc[key].to_dict(), plugs_of(layout, key), inputs.zones))
    chart.figure.title.text = side_title(inputs, key)


def show_above(chart: Chart, inputs: LeadInputs, layout: Layout) -> None:
    """Put a layout into the picture of the whole keyboard."""
    data: dict[str, Any] = plan_view_data(layout.plan, plug_lengths(inputs))
    chart.show(data | {"missed": missed_data(layout.keys, inputs.sticks)})


def totals_in_words(plan: LeadPlan, layout: Layout) -> str:
    """Say what a layout comes to, over the keyboard."""
    found = escape(lead_total(plan.inputs.table).sentence)
    if layout.keys.empty:
        return f"{found} Nothing is laid out: no key's plugs are on record. Record them above."
    total = lead_totals(layout, plan.other_inertia_g)
    put_in, out = layout.keys["plugs_in"].sum(), layout.keys["taken_out"].sum()
    keys = int((layout.keys["operations"] > 0).sum())
    now = float(plan.inputs.table["lead_inertia_g"].reindex(layout.keys.index).mean())
    of = f"{len(layout.keys)} of {plural(len(plan.keys), 'key')}"
    mean = float(layout.keys["lead_inertia_g"].mean())
    return (
        f"<b>Put in {put_in}, take out {out}, in {plural(keys, 'key')}; "
        f"{plural(round(total['new_holes']), 'new hole')}.</b> "
        f"{found} Afterwards {total['lead_g']:.0f} g in the {of} on record. Lead's inertia at the "
        f"finger {mean:.1f} g on average, now {now:.1f} g. All parts together "
        f"{total['mean_inertia_g']:.0f} g; step from key to key {total['unevenness_g']:.1f} g."
    )


def _missing(count: int) -> str:
    """Say how many keys miss their front weight."""
    return (
        "1 key misses its front weight" if count == 1 else f"{count} keys miss their front weight"
    )


def key_in_words(layout: Layout, plan: LeadPlan, key: int) -> str:
    """Say what is done to one key."""
    if key not in layout.keys.index:
        return "nobody looked into this key, so nothing is laid out in it"
    line = layout.keys.loc[key]
    doing = [
        f"{action} {int(count)}"
        for action, count in (("keep", line["kept"]), ("take out", line["taken_out"]),
                              ("put in", line["plugs_in"]))
        if count
    ]  # fmt: skip
    after = plan.balance_after_g(layout)[key]
    return (
        f"{', '.join(doing) or 'no plugs'}. Front weight {line['front_weight_g']:.2f} g expected, "
        f"wanted {line['target_g']:.2f} g; balance weight {after:.1f} g."
    )


class PlugLayout(LeadView):
    """The best layout of each key, live while the slider moves."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sliders, pictures and sentences."""
        self.told, self.story, self.missing, self.speed = words(), words(), words(), words()
        self._took = 0.0
        self._ways = Later(WAYS_AFTER_S, self.say_ways)
        main = [self.slider(n) for n in ("least_inertia_percent", "tolerance_g", "most_plugs_in")]
        finer = [
            self.slider(name)
            for name in ("operation_g", "new_hole_g", "hole_clearance_mm", "edge_clearance_mm")
        ]
        bore = widgets.Checkbox(description="an old hole may be bored larger", indent=False)
        behind = widgets.Checkbox(
            description="new plugs may go behind the balance pin", indent=False
        )
        rest = row(self.bound("bore_old_holes", bore), self.bound("behind_pin", behind))
        more = widgets.Accordion(
            [widgets.VBox([*finer, rest])],
            titles=("What work counts, and how much wood stays",),
            selected_index=None,
        )
        charts = key_charts(self.desk.inputs, self.plan.free, self.key)
        views = self.over_keys(
            charts, "The key in hand from the side and all keys from above, with their plugs."
        )
        return [*main, more, self.told, *views, self.story, self.missing, self.speed]

    def show(self) -> None:
        """Lay the plugs out and draw them."""
        assert self.view is not None
        if not self.desk.ready:
            self.told.value = working(
                "<b>Working:</b> with so many plugs it may take some seconds."
            )
            self.desk.get_ready(self.refresh)
            return
        began = time.perf_counter()
        layout = self.plan.free
        self._took = time.perf_counter() - began
        with self.view.one_change():
            show_above(self.charts["above"], self.desk.inputs, layout)
            show_side(self.charts["side"], self.desk.inputs, layout, self.key)

    def tell(self) -> None:
        """Say what the layout comes to, and which keys it misses."""
        if not self.desk.ready:
            return
        layout = self.plan.free
        finer = self.plan.finer_costs()
        more = f" {wrong(finer)}" if finer else ""
        self.told.value = totals_in_words(self.plan, layout) + more
        self._say_key()
        if self._took > 0.001:
            self.speed.value = f"Laid out {plural(len(layout.keys), 'key')} in {self._took:.2f} s."
        missed = layout.keys.index[~layout.keys["within"]]
        if len(missed) and "ways_out" in vars(self.plan):
            self.say_ways()
        elif len(missed):
            self.missing.value = f"{_missing(len(missed))}. Looking for ways out …"
            self._ways.ask()
        else:
            within = f"{self.desk.choice.tolerance_g:g} g"
            self.missing.value = f"Every key meets its front weight within {within}."
            self.keyboard.marks = {}

    def say_ways(self) -> None:
        """Say for the keys that miss their target by how much, and what would allow it."""
        if self.desk.refusal:
            return
        ways = self.plan.ways_out
        self.keyboard.marks = {str(k): text for k, text in ways["sentence"].items()}
        items = "".join(
            f"<li>Key {key}: {escape(text)}</li>" for key, text in ways["sentence"].items()
        )
        behind = (
            ""
            if self.desk.choice.behind_pin
            else "New plugs stay in front of the balance pin. Where a front is too heavy, one "
            "behind the pin would help: see what work counts, further up."
        )
        if len(ways):
            self.missing.value = (
                f"<b>{_missing(len(ways))}</b>, marked with a triangle:"
                f"<ul style='margin:2px 0;max-height:150px;overflow-y:auto'>{items}</ul>{behind}"
            )

    def show_key(self) -> None:
        """Draw the key in hand."""
        assert self.view is not None
        if not self.desk.ready:
            return
        with self.view.one_change():
            show_side(self.charts["side"], self.desk.inputs, self.plan.free, self.key)
            self.mark("above")
        self._say_key()

    def _say_key(self) -> None:
        layout = self.plan.free
        self.story.value = (
            f"<b>{self.key_words}:</b> {escape(key_in_words(layout, self.plan, self.key))}"
        )


def lead_layout_panel(bench: Bench) -> widgets.VBox:
    """Which plugs, where: the best layout of each key."""
    desk = lead_desk(bench)
    return panel(
        "Which plugs, and exactly where?",
        words(
            "Move the first slider. At the left as little as possible is taken out, put in and "
            "bored; at the right the keys are as light to set going as they can be. No other "
            "layout on a 1 mm grid is better. Click a key, or use the arrow keys."
        ),
        PlugLayout(desk),
        LeadLine(desk),
    )
