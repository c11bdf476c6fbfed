"""The sliders of a report: what a wish does to the front weight, with no Python behind it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from balancekit.calculation.leads.front_weight import HIGHEST_G
from balancekit.calculation.words import escape
from balancekit.charts.over_keys import Extra
from balancekit.sharing.markup import table
from balancekit.sharing.report_charts import ChartBook, chart_place
from balancekit.sharing.sheets import grams_cell
from balancekit.sharing.what_if import front_weight_needed_g, what_if_inputs
from balancekit.sharing.work import Work

SOURCE = "front weight needed"
"""Name of the source that the page's script draws into."""

PLACE = "chart-what-if"
"""Id of the element in which the chart stands."""

SLIDERS = (
    ("balance", "Balance weight (g)", 25.0, 55.0, 0.5),
    ("relief", "Spring relief, more than planned (g)", 0.0, 20.0, 0.5),
    ("hammer", "Hammers, heavier than planned (g)", -3.0, 3.0, 0.1),
)


def start_balance_weight_g(work: Work) -> float:
    """Return where the balance weight's slider starts: the middle of what is expected [g]."""
    middle = float(work.expected["balance_weight_g"].median())
    low, high = SLIDERS[0][2:4]
    return min(max(round(2 * middle) / 2, low), high) if middle == middle else 38.0


def what_if_data(work: Work) -> dict[str, Any] | None:
    """Return the numbers that the sliders work with; None where nothing can be worked out."""
    inputs = what_if_inputs(work)
    if inputs is None:
        return None
    columns = {
        str(name): [
            None if value != value else value for value in inputs[name].astype(float).tolist()
        ]
        for name in inputs
    }
    return {"keys": inputs.index.tolist(), "highest_g": HIGHEST_G, **columns}


def what_if_part(work: Work, charts: ChartBook) -> str:
    """Return the sliders with their chart and their table."""
    inputs = what_if_inputs(work)
    if inputs is None:
        return (
            '<p class="nothing">The front weight cannot be worked out: the action ratio is not '
            "known at any key.</p>"
        )
    start = start_balance_weight_g(work)
    needed = front_weight_needed_g(inputs, balance_weight_g=start)
    controls = "".join(
        f'<label for="slider-{name}"><span>{escape(label)}</span>'
        f'<input type="range" id="slider-{name}" min="{low:g}" max="{high:g}" step="{step:g}" '
        f'value="{start if name == "balance" else 0:g}">'
        f'<output id="slider-{name}-value" for="slider-{name}"></output></label>'
        for name, label, low, high, step in SLIDERS
    )
    return (
        "<p>Move a slider. The dashed line is the front weight that each key then needs; the "
        "points are as found. The same numbers stand in the table.</p>"
        f'<div class="sliders screen-only">{controls}'
        '<button type="button" id="what-if-back">Back to the start</button>'
        '<button type="button" id="what-if-propose">Propose these values</button></div>'
        f'<p class="print-only" id="slider-state">{escape(_state(start))}</p>'
        f'<p id="what-if-answer" aria-live="polite">Front weight needed for a balance weight of '
        f"{start:g} g: {needed.mean():.1f} g on average.</p>"
        f"{_chart(work, needed, charts)}"
    )


def _state(start: float) -> str:
    """Say where the sliders stand, for paper; the page's script says it anew."""
    parts = [f"{label} {start if name == 'balance' else 0.0:.1f}" for name, label, *_ in SLIDERS]
    return f"The sliders stand at: {'; '.join(parts)}."


def _chart(work: Work, needed: pd.Series, charts: ChartBook) -> str:
    keys = work.found
    drawn = keys if keys["front_weight_g"].notna().any() else keys.assign(front_weight_g=needed)
    low = min(float(needed.min()), float(drawn["front_weight_g"].min())) - 12
    high = max(float(needed.max()), float(drawn["front_weight_g"].max())) + 12
    charts.draw(
        PLACE, drawn, "front_weight_g", Extra(target=needed), title="Front weight needed",
        changed={"target": {"name": SOURCE}, "y": {"start": low, "end": high}},
    )  # fmt: skip
    rows = [
        (f"{key}", str(keys["note_name"][key]), grams_cell(float(keys["front_weight_g"][key])),
         grams_cell(float(needed[key])))
        for key in keys.index.tolist()
    ]  # fmt: skip
    headings = ("Key", "Note", "As found (g)", "Needed (g)")
    alternative = f'<div id="what-if-table">{table("Front weight needed", headings, rows)}</div>'
    return chart_place(
        PLACE,
        alternative=alternative,
        summary="Chart: front weight as found and front weight needed. The table below it has the "
        "same numbers.",
        legend="Points: as found. Dashed line: needed.",
        quantity="front_weight_g",
    )
