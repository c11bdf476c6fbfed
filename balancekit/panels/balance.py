"""The balance panel: balance weight and action ratio over the keyboard, and one key's account."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.charts.account import account_chart, account_data
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import panel, words
from balancekit.panels.friction import ScatterSentences
from balancekit.panels.over_keys import KeyStory, OverKeys

_BEHIND = ("front_weight_g", "strike_weight_g", "wippen_weight_g", "key_ratio", "spring_relief_g")
_WEIGHED = ("down_weight_g", "up_weight_g")


class KeyAccount(widgets.VBox):
    """The stacked account of the key in hand."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.chart = account_chart(bench.table.loc[bench.key].to_dict())
        self.view = ChartView(
            self.chart.figure, name="The key's balance as two stacks; the text below says the same."
        )
        self.text = words()
        super().__init__([self.view, self.text])
        bench.when_changed(self.refresh)

    def refresh(self) -> None:
        """Draw and say the account of the key that is in hand now."""
        line = self.bench.table.loc[self.bench.key].to_dict()
        data = account_data(line)
        with self.view.one_change():
            self.chart.show(data)
        if line["missing"]:
            self.text.value = "The account is not whole: a reading is missing."
            return
        lifted = line["wippen_weight_g"] * line["key_ratio"]
        hammer = line["strike_weight_g"] * line["action_ratio"]
        self.text.value = (
            f"{line['balance_weight_g']:.1f} g balance weight + {line['front_weight_g']:.1f} g "
            f"front weight + {line['spring_relief_g']:.1f} g spring relief = "
            f"{line['wippen_weight_g']:.1f} g × {line['key_ratio']:.3f} + "
            f"{line['strike_weight_g']:.1f} g × <b>{line['action_ratio']:.2f}</b> "
            f"= {lifted + hammer:.1f} g"
        )


def balance_panel(bench: Bench) -> widgets.VBox:
    """Balance weight and action ratio over the keyboard, and the account of one key."""
    if bench.instrument.settings.action == "upright":
        return panel(
            "Balance over the keyboard",
            words(
                "This is an upright. Its hammers do not hang on the key, so the balance equation "
                "does not hold: only balance weight and friction are shown."
            ),
            OverKeys(bench, ["balance_weight_g"]),
            KeyStory(bench, [*_WEIGHED, "balance_weight_g", "friction_g"]),
        )
    related = {
        "balance_weight_g": ("balance_weight_g", *_WEIGHED),
        "action_ratio": ("action_ratio", *_BEHIND, *_WEIGHED),
    }
    return panel(
        "Balance weight and action ratio over the keyboard",
        OverKeys(bench, ["balance_weight_g", "action_ratio"], related=related, height=280),
        ScatterSentences(bench, "balance_weight_g", "action_ratio"),
        KeyStory(bench, ["balance_weight_g", *_BEHIND, "action_ratio"]),
        KeyAccount(bench),
    )
