"""Charts over the keys, with the drawn keyboard and their numbers under them."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import pandas as pd
import traitlets

from balancekit.instrument.bench import Bench
from balancekit.panels.chart_table import ChartTable
from balancekit.panels.chart_view import ChartView
from balancekit.panels.widgets import Keyboard


def sticks_of(keys: pd.DataFrame) -> list[dict[Hashable, Any]]:
    """Return the keys as the drawn keyboard takes them."""
    return keys[["note_name", "colour"]].to_dict("records")


def keyboard_of(bench: Bench, keys: pd.DataFrame) -> Keyboard:
    """Return the drawn keyboard of a table of keys, on which the key in hand is chosen."""
    made = Keyboard(sticks=sticks_of(keys))
    traitlets.link((bench, "key"), (made, "key"))
    return made


def with_keyboard(
    bench: Bench, figures: Any, keys: pd.DataFrame, name: str
) -> tuple[ChartView, Keyboard, ChartTable]:
    """Return the view of some figures, the keyboard under it, and the table of their numbers.

    Parameters
    ----------
    bench : a click into a figure takes that key in hand.
    figures : a Bokeh figure, or a layout of some.
    keys : with ``note_name, colour``.
    name : what is drawn, in a sentence, for a screen reader.
    """
    view = ChartView(
        figures,
        name=f"{name} The table below has the same numbers.",
        on_key=lambda key: setattr(bench, "key", key),
    )
    return view, keyboard_of(bench, keys), ChartTable(figures)
