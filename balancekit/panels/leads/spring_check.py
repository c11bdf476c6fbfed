"""The panel on relief as it is weighed: balance weight without the spring less that with it."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.balance import find_balance_weight, find_half_sum_uncertainty
from balancekit.calculation.leads.springs import find_relief_g
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import set_cells
from balancekit.panels.frame import button, panel, row, words, wrong
from balancekit.panels.saving import Saving

_WITHOUT, _WITH = "Spring unhooked", "Spring hooked in"
_READ = {"down": "Down weight (g)", "up": "Up weight (g)"}


class SpringCheck(widgets.VBox):
    """Four readings of the key in hand in, its spring relief out."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.answer, self.said, self.title = bench, words(), words(), words()
        quantity = QUANTITIES["down_weight_g"]
        self.fields = {
            (how, what): widgets.BoundedFloatText(
                0.0, min=0.0, max=quantity.maximum, step=0.5, description=f"{how}: {label.lower()}",
                style={"description_width": "initial"}, layout=widgets.Layout(width="330px"),
            )
            for how in (_WITHOUT, _WITH)
            for what, label in _READ.items()
        }  # fmt: skip
        for field in self.fields.values():
            field.observe(lambda _: self.refresh(), "value")
        self.keep_button = button("Keep it as this key's reading", self.keep)
        rows = [row(*(self.fields[how, what] for what in _READ)) for how in (_WITHOUT, _WITH)]
        super().__init__([self.title, *rows, self.answer, row(self.keep_button, self.said)])
        self._key, self._typed = bench.key, dict[int, dict[tuple[str, str], float]]()
        bench.observe(lambda _: self.start_key(), "key")
        self.start_key()

    def start_key(self) -> None:
        """Turn to the key in hand; what was typed for another stays with that one."""
        key, table = self.bench.key, self.bench.table
        self.title.value = f"<b>Key {key}, {escape(table['note_name'][key])}</b>"
        self._typed[self._key] = {place: field.value for place, field in self.fields.items()}
        self._key, typed = key, self._typed.get(key, {})
        for place, field in self.fields.items():
            field.value = typed.get(place, 0.0)
        self.said.value = ""
        self.refresh()

    @property
    def relief_g(self) -> tuple[float, float] | None:
        """Relief and its standard uncertainty [g]; None while a reading is lacking."""
        read = {place: field.value for place, field in self.fields.items()}
        if not all(read.values()):
            return None
        u = self.bench.instrument.settings.reading_u
        spread = find_half_sum_uncertainty(
            down_weight_u_g=u["down_weight_g"], up_weight_u_g=u["up_weight_g"]
        )
        without, with_it = (
            find_balance_weight(down_weight_g=read[how, "down"], up_weight_g=read[how, "up"])
            for how in (_WITHOUT, _WITH)
        )
        relief: tuple[float, float] = find_relief_g(
            without_g=without, with_g=with_it, without_u_g=spread, with_u_g=spread
        )
        return relief

    def refresh(self) -> None:
        """Say the relief."""
        try:
            found = self.relief_g
        except BalancekitError as error:
            found = None
            self.answer.value = wrong(error)
        else:
            self.answer.value = (
                "Type the four readings."
                if found is None
                else f"<b>Spring relief {found[0]:.1f} ± {2 * found[1]:.1f} g</b>: balance weight "
                "without the spring less that with it."
            )
        self.keep_button.disabled = found is None

    def keep(self) -> None:
        """Put the relief into the readings of the key in hand."""
        found, key = self.relief_g, self.bench.key
        if found is None:
            return
        cell = {"row": f"{key}-0", "column": "spring_relief_g", "value": round(found[0], 2)}
        try:
            changed = set_cells(self.bench.instrument, self.bench.visit, [cell])
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        self.bench.change(changed)
        self.said.value = f"Kept as the spring relief of key {key}."


def spring_check_panel(bench: Bench) -> widgets.VBox:
    """The relief of a spring that is there, as it is weighed."""
    return panel(
        "What does a spring that is there carry?",
        words(
            "Weigh the key twice, with its spring unhooked and with it hooked in. Friction falls "
            "out of both, so their difference is the spring alone."
        ),
        SpringCheck(bench),
        Saving(bench),
    )
