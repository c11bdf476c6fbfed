"""The panel on soft and loud: what the finger works against, statics or inertia."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets as widgets
import pandas as pd
from bokeh.models import Column, Row

from balancekit.calculation.hammers.blow import blows, published_press_time_ms
from balancekit.charts.blow import force_chart, force_data, shares_chart, shares_data
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.hammers.hammer_desk import hammer_desk
from balancekit.panels.hammers.hammer_view import HammerView
from balancekit.panels.with_keyboard import keyboard_of

_ROOM = 1.25


def _lines(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the blows one by one, each with its loudness."""
    return [{str(name): v for name, v in d.items()} for d in table.reset_index().to_dict("records")]


def _title(line: dict[str, Any]) -> str:
    return f"{line['loudness'].capitalize()}: {line['hammer_velocity_m_s']:g} m/s"


class Blows(HammerView):
    """Three blows on the key in hand, as found and after the work."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return charts, keyboard and table."""
        self.told, self.table = words(), words()
        found = self._found()
        most = _ROOM * float(found["force_n"].max())
        self.charts = {
            str(line["loudness"]): force_chart(
                line,
                title=_title(line),
                most_n=most,
            )
            for line in _lines(found)
        }
        self.shares = shares_chart(found)
        figures = [chart.figure for chart in self.charts.values()]
        forces = Row(
            children=figures, sizing_mode="stretch_width", styles={"flex-wrap": "wrap"}, spacing=4
        )
        self.view = ChartView(
            Column(children=[forces, self.shares.figure], sizing_mode="stretch_width"),
            "Force over the key's travel for three blows; the table below has the same numbers.",
        )
        self.keyboard = keyboard_of(self.desk.bench, self.desk.inputs.table)
        return [self.keyboard, self.told, self.view, self.table]

    def _found(self) -> pd.DataFrame:
        line = self.desk.inputs.table.loc[self.key].to_dict()
        return blows(
            balance_weight_g=line["balance_weight_g"],
            friction_g=max(0.0, line["friction_g"]),
            inertia_g=float(self.plan.as_found["inertia_g"][self.key]),
            action_ratio=line["action_ratio"],
            blow_distance_mm=self.desk.inputs.blow_distance_mm,
        )

    def _planned(self) -> pd.DataFrame | None:
        plan = self.plan
        if plan.problem is not None:
            return None
        line = plan.planned_table.loc[self.key].to_dict()
        return blows(
            balance_weight_g=plan.choice.balance_weight_g,
            friction_g=max(0.0, line["friction_g"]),
            inertia_g=float(plan.afterwards["inertia_g"][self.key]),
            action_ratio=line["action_ratio"],
            blow_distance_mm=self.desk.inputs.blow_distance_mm,
        )

    def show(self) -> None:
        """Draw and say the blows of the key in hand."""
        found, planned = self._found(), self._planned()
        most = _ROOM * float(found["force_n"].max())
        with self.view.one_change():
            then = [None] * len(found) if planned is None else _lines(planned)
            for chart, now, after in zip(self.charts.values(), _lines(found), then, strict=True):
                chart.show(force_data(now, after))
                chart.figure.y_range.update(end=most)
            self.shares.show(shares_data(found))
        self._say(found, planned)

    def mark(self, *names: str) -> None:
        """The charts are those of the key in hand; the keyboard marks it."""

    def show_key(self) -> None:
        """Show the key in hand."""
        self.show()

    def _say(self, found: pd.DataFrame, planned: pd.DataFrame | None) -> None:
        line = self.desk.inputs.table.loc[self.key].to_dict()
        soft, loud = found.iloc[0], found.iloc[-1]
        self.told.value = (
            f"<b>Key {self.key}, {line['note_name']}, as found.</b> The area is the work of the "
            f"finger. Balance weight and friction ask {soft['static_n']:.1f} N, soft or loud. "
            f"Inertia asks {soft['inertia_n']:.1f} N soft and {loud['inertia_n']:.1f} N loud. "
            "The dashed line is the force after the work."
        )
        headings = ("", "Hammer (m/s)", "Statics (N)", "Inertia (N)", "Inertia after (N)",
                    "Work (mJ)", "Time (ms)", "Measured on one grand (ms)")  # fmt: skip
        rows = []
        then = [""] * len(found) if planned is None else [f"{n:.1f}" for n in planned["inertia_n"]]
        for each, after in zip(_lines(found), then, strict=True):
            velocity = float(each["hammer_velocity_m_s"])
            rows.append(
                (
                    each["loudness"],
                    f"{velocity:g}",
                    f"{each['static_n']:.2f}",
                    f"{each['inertia_n']:.1f}",
                    after,
                    f"{each['work_mj']:.0f}",
                    f"{each['press_time_ms']:.0f}",
                    f"{published_press_time_ms(velocity):.0f}",
                )
            )
        self.table.value = table_html(headings, rows) + (
            "Time: from the start of the key to the string, at even acceleration and with stiff "
            "parts. A real loud blow takes longer, because parts bend."
        )


def hammer_blow_panel(bench: Bench) -> widgets.VBox:
    """Soft, middle and loud on the key in hand."""
    return panel(
        "Soft and loud",
        words(
            "Choose a key on the keyboard. Each chart is one blow, named by the speed of the "
            "hammer at the string. All three have the same scale."
        ),
        Blows(hammer_desk(bench)),
    )
