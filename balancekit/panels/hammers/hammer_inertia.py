"""The panel on inertia: the account of every key before and after, and its steps."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.hammers.inertia_account import INERTIA_PARTS, felt_steps, steps_sentence
from balancekit.calculation.words import escape
from balancekit.charts.inertia import (
    PART_LOOK,
    inertia_limit,
    stack_chart,
    stack_data,
    steps_chart,
    steps_data,
)
from balancekit.instrument.bench import Bench
from balancekit.instrument.leads_record import lead_total
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.hammers.hammer_desk import hammer_desk
from balancekit.panels.hammers.hammer_view import HammerView


class Inertia(HammerView):
    """The account as found and after the work, and the steps from key to key."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return charts, sentences, and the key in hand."""
        found = self.plan.as_found
        self.told, self.story = words(), words()
        charts = {
            "found": stack_chart(found, title="As found", height=250),
            "planned": stack_chart(
                found, found["inertia_g"], title="After the work", compared="as found",
                height=250,
            ),
            "steps": steps_chart(found["inertia_g"], None, title="Step from key to key"),
        }  # fmt: skip
        for name in ("planned", "steps"):
            charts[name].figure.x_range = charts["found"].figure.x_range
        charts["planned"].figure.y_range = charts["found"].figure.y_range
        views = self.over_keys(
            charts, "Inertia at the finger over the keyboard, before and after, and its steps."
        )
        return [*views, self.told, self.story]

    def _planned(self) -> pd.DataFrame | None:
        return None if self.plan.problem is not None else self.plan.afterwards

    def show(self) -> None:
        """Draw the account after the work, or only the one as found where there is no target."""
        found, planned = self.plan.as_found, self._planned()
        after = found if planned is None else planned
        with self.view.one_change():
            self.charts["planned"].show(stack_data(after, found["inertia_g"]))
            most = max(inertia_limit(found["inertia_g"]), inertia_limit(after["inertia_g"]))
            self.charts["found"].figure.y_range.update(start=0.0, end=most)
            then = None if planned is None else planned["inertia_g"]
            self.charts["steps"].show(steps_data(found["inertia_g"], then))
        self._say(found, planned)
        self.show_key()

    def _say(self, found: pd.DataFrame, planned: pd.DataFrame | None) -> None:
        share = 100 * found["hammer_share"].mean()
        told = [
            f"<b>Hammer and shank are {share:.0f} % of the inertia; "
            f"lead is {100 * found['lead_share'].mean():.0f} %.</b>",
            f"As found: {escape(steps_sentence(felt_steps(found['inertia_g'])))}",
        ]
        told.append(escape(lead_total(self.desk.inputs.table).sentence))
        if planned is None:
            told.append("There is no target, so nothing changes yet.")
        else:
            mean = planned["inertia_g"].mean() - found["inertia_g"].mean()
            told.append(
                f"After the work: {mean:+.0f} g on average. "
                f"{escape(steps_sentence(felt_steps(planned['inertia_g'])))}"
            )
            told.append(
                "Afterwards lead is counted as if all of it sat where the plugs are now, and as "
                "much of it as the wanted balance weight needs."
            )
        self.told.value = "<br>".join(told).replace("-", "−")

    def show_key(self) -> None:
        """Say the account of the key in hand."""
        key, planned = self.key, self._planned()
        accounts = {"As found": self.plan.as_found.loc[key].to_dict()}
        if planned is not None:
            accounts["After the work"] = planned.loc[key].to_dict()
        labels = [look[0].capitalize() for look in PART_LOOK.values()]
        rows = [
            (
                name,
                *(f"{float(line[part]):.1f}" for part in INERTIA_PARTS),
                f"{float(line['inertia_g']):.0f} ± {2 * float(line['inertia_u_g']):.0f}",
            )
            for name, line in accounts.items()
        ]
        note = self.desk.inputs.table["note_name"][key]
        if self.desk.inputs.table["lead_estimated"][key]:
            note = f"{note}, lead estimated"
        headings = (f"Key {key}, {note}: grams at the measuring point", *labels, "Together")
        self.story.value = table_html(headings, rows)


def hammer_inertia_panel(bench: Bench) -> widgets.VBox:
    """The inertia at the finger, key by key, before and after."""
    return panel(
        "What the finger must set going",
        words(
            "Each moving part acts at the finger like a plain mass there. The bars add them up. "
            "The lowest chart compares each key with the one to its left; within the green band a "
            "step is probably not felt."
        ),
        Inertia(hammer_desk(bench)),
    )
