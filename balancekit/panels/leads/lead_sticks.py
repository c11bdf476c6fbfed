"""The panel on what there is to work with: key sticks, places without holes, plugs, stock."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.leads.bare_key import KEY_PARTS, bare_inertia_parts_g
from balancekit.calculation.leads.key_stick import front_end_mm
from balancekit.calculation.leads.plugs import stock_table
from balancekit.charts.key_picture import KEPT, side_chart, side_data
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.leads.lead_view import LeadView
from balancekit.panels.table_entry import TableEntry

_SIZES = {
    "arm_mm": "Balance pin to measuring point",
    "front_edge_mm": "Measuring point to front edge",
    "stick_length_mm": "Length",
    "stick_height_mm": "Height",
    "stick_width_mm": "Width at the plugs",
    "balance_free_mm": "Free of holes, each side of the pin",
    "front_free_mm": "Free of holes, behind the front edge",
    "back_free_mm": "Free of holes, before the back end",
    "capstan_mm": "Balance pin to capstan, behind it",
    "covering_mm": "Middle of the covering, behind the front edge",
    "back_check_mm": "Back check, before the back end",
}
_MASSES = {"covering_g": "Covering", "capstan_g": "Capstan", "back_check_g": "Back check"}
_TABLES = {
    "plug_stock": "Your stock of plugs",
    "key_sticks": "Your own key sticks",
    "hole_zones": "More places without holes",
}


def as_plan(leads: pd.DataFrame, sticks: pd.DataFrame) -> pd.DataFrame:
    """Return the plugs that are in the keys, each kept, as the rows of a plan."""
    edge = front_end_mm(sticks).loc[leads["key"]].to_numpy()
    return leads.assign(
        action=KEPT,
        plug=[f"old {wide:g} mm" for wide in leads["diameter_mm"]],
        from_front_edge_mm=edge - leads["distance_mm"],
        hole="old",
        front_weight_g=float("nan"),
    )


class Sticks(LeadView):
    """The key in hand as it is now, with its sizes and the stock."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the picture of the key, its sizes, and the stock."""
        inputs = self.desk.inputs
        self.sizes, self.bare, self.stock = words(), words(), words()
        bare = inputs.table["bare_front_weight_g"]
        self.parts = bare_inertia_parts_g(inputs.sticks, bare)
        self.found = as_plan(inputs.leads, inputs.sticks)
        chart = side_chart(
            inputs.sticks.loc[self.key].to_dict(), self._plugs(), inputs.zones,
            title="The key as it is now, from the side, to scale",
            longest_mm=float(inputs.sticks["stick_length_mm"].max()),
        )  # fmt: skip
        views = self.over_keys({"side": chart}, "The key in hand from the side, with its plugs.")
        return [*views, self.sizes, self.bare, self.stock]

    def _plugs(self) -> pd.DataFrame:
        rows: pd.DataFrame = self.found[self.found["key"] == self.key]
        return rows

    def show(self) -> None:
        """Show the key in hand and the stock."""
        lines = stock_table(self.desk.inputs.plugs).to_dict("records")
        rows = [
            (p["name"], p["metal"], f"{p['diameter_mm']:g}", f"{p['length_mm']:g}",
             f"{p['mass_g']:.1f}")
            for p in lines
        ]  # fmt: skip
        own = len(self.desk.bench.instrument.table("plug_stock"))
        source = (
            "Your stock."
            if own
            else "No stock was given, so these usual lead plugs are taken. Weigh ten together and "
            "divide by ten: your own come first."
        )
        headings = ("Plug", "Metal", "Diameter (mm)", "Length (mm)", "Mass (g)")
        self.stock.value = f"<b>To put in.</b> {source}{table_html(headings, rows)}"
        self.show_key()

    def show_key(self) -> None:
        """Draw the key in hand and name its sizes, usual or given."""
        assert self.view is not None
        inputs = self.desk.inputs
        stick = inputs.sticks.loc[self.key].to_dict()
        with self.view.one_change():
            self.charts["side"].show(side_data(stick, self._plugs(), inputs.zones))
        given = self.desk.bench.instrument.table("key_sticks")
        colours = inputs.table["colour"]
        same = given[colours.reindex(given["key"]).to_numpy() == stick["colour"]]
        rows = [
            (label, f"{round(abs(float(stick[name])), 1):g} mm", self._source(name, same))
            for name, label in _SIZES.items()
        ]
        rows += [
            (label, f"{float(stick[name]):g} g", self._source(name, same))
            for name, label in _MASSES.items()
        ]
        rows.append(
            ("Density of the wood", f"{stick['wood_density_g_cm3']:g} g/cm³",
             self._source("wood_density_g_cm3", same))
        )  # fmt: skip
        headings = (f"{self.key_words}, {stick['colour']}", "Size", "From")
        self.sizes.value = table_html(headings, rows)
        parts = self.parts.loc[self.key]
        told = ", ".join(f"{words} {parts[name]:+.1f} g" for name, words in KEY_PARTS.items())
        self.bare.value = (
            f"<b>This key without lead, at the finger: {parts.sum():.1f} g.</b> "
            f"{told[:1].upper()}{told[1:]}."
        ).replace("-", "\u2212")

    def _source(self, name: str, given: pd.DataFrame) -> str:
        if name in given and given[name].notna().any():
            return "your table"
        if name in ("arm_mm", "front_edge_mm"):
            return "the bench settings"
        if name == "capstan_mm":
            return "the key ratio"
        return "handbook, spruce" if name == "wood_density_g_cm3" else "usual, from memory"


def lead_sticks_panel(bench: Bench) -> widgets.VBox:
    """What there is to work with: sticks, plugs and stock, and the tables to change them."""
    folded = widgets.Accordion(
        [TableEntry(bench, kind) for kind in _TABLES],
        titles=tuple(_TABLES.values()),
        selected_index=None,
    )
    return panel(
        "What is there to work with?",
        words(
            "Holes stay clear of the hatched places. Where you give nothing, usual sizes are "
            "taken: measure your own and write them into a table below. Between the keys that you "
            "give, sizes change in a straight line."
        ),
        Sticks(lead_desk(bench)),
        folded,
    )
