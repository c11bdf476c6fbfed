"""Checking one way to a ratio by another."""

from __future__ import annotations

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, uncertainty_name
from balancekit.calculation.ways import WAYS
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.ratio_checks import compare_action_ratio, compare_key_ratio
from balancekit.panels.frame import panel, table_html, words, wrong
from balancekit.panels.table_entry import TableEntry


def comparison_html(quantity: str, compared: pd.DataFrame) -> str:
    """Say for each key what the ways give and whether they agree."""
    label = QUANTITIES[quantity].label
    if compared.empty:
        return f"{label}: no key has been read in two ways yet."
    ways = [way for way in WAYS[quantity] if f"{quantity}_by_{way}" in compared]
    rows = []
    for key, line in compared.iterrows():
        values = [_value(line, f"{quantity}_by_{way}", quantity) for way in ways]
        rows.append((key, *values, line["verdict"], line["reason"]))
    headings = ("Key", *(f"by {way.replace('_', ' ')}" for way in ways), "They", "Likely reason")
    return f"<b>{escape(label)}</b>{table_html(headings, rows)}"


def _value(line: pd.Series, name: str, quantity: str) -> str:
    if line[name] != line[name]:
        return ""
    text = QUANTITIES[quantity].text
    return f"{text(line[name])} ± {text(line[uncertainty_name(name)])}"


def ratio_checks_panel(bench: Bench) -> widgets.VBox:
    """Readings of the other ways, and where two ways disagree."""
    result = words()

    def refresh() -> None:
        try:
            parts = [
                comparison_html("key_ratio", compare_key_ratio(bench.instrument, bench.table)),
                comparison_html(
                    "action_ratio", compare_action_ratio(bench.instrument, bench.table)
                ),
            ]
        except BalancekitError as error:
            parts = [wrong(p) for p in error.problems]
        result.value = "<br>".join(parts)

    bench.when_changed(refresh, "instrument", "visit")
    return panel(
        "One way checked by another",
        words(
            "Read a few keys in a second way. <b>Key ratio</b>: measure the capstan arm, or set a "
            "known mass over the capstan line and read the front weight again. <b>Action "
            "ratio</b>: hang a known mass at the strike point and take down and up weight again, "
            "or measure how far the hammer rises for a measured dip, short of let-off. Hang the "
            "mass gently: a shank breaks easily."
        ),
        TableEntry(bench, "ratio_checks"),
        result,
    )
