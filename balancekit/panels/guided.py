"""Weighing by question and answer: which weight to put on next, until the reading is found."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, WITHIN_COLUMNS
from balancekit.calculation.weighing.guided import BY_GRAM, PLACEMENTS, Threshold
from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.entry import entry_table, set_cells
from balancekit.panels.clock import time_now
from balancekit.panels.frame import button, panel, row, words, wrong
from balancekit.panels.saving import Saving

_DOWN, _UP = "down_weight_g", "up_weight_g"
_NEIGHBOURS = 4
_NEIGHBOUR_U_G = 2.0
_NOTHING_READ_U_G = 6.0
# Our own choices, for a piano of which little is read yet.

_NEVER = {
    _DOWN: "The key sinks with no weight on it, so it has no down weight. See what holds it down, "
           "then begin anew.",
    _UP: "The key stays down with no weight on it, so it has no up weight. Free it, then begin "
         "anew.",
}  # fmt: skip

_ASKS = {
    _DOWN: ("Put {weight:g} g on the key. Does it sink, slowly and steadily?", "It sinks",
            "It stays up"),
    _UP: ("Put {weight:g} g on the key pressed down. Does it lift the weight back?",
          "It stays down", "It lifts"),
}  # fmt: skip


class Guided(widgets.VBox):
    """Asks for one placement after the other, and keeps how near the two weights are.

    The more weight, the sooner a key sinks, and the less it lifts: ``above_g`` is the least
    weight that sinks it, or the least that it does not lift.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._placed, self._read = 0, 0
        self.reading = widgets.ToggleButtons(
            options=[(QUANTITIES[name].label, name) for name in (_DOWN, _UP)],
            description="Reading", style={"description_width": "initial"},
        )  # fmt: skip
        self.step = widgets.Dropdown(
            options=[("0.5 g", 0.5), ("1 g", 1.0), ("2 g", 2.0)], value=1.0,
            description="Smallest weight", style={"description_width": "initial"},
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.ask, self.told = words(), words()
        self.ask.add_class("bench-large")
        self.enough = button("", lambda: self.answer(True), main=True)
        self.too_light = button("", lambda: self.answer(False), main=True)
        again = button("Begin this reading anew", self.begin)
        super().__init__(
            [row(self.reading, self.step), self.ask, row(self.enough, self.too_light, again),
             self.told, row(button("◀ Key", lambda: self.go(-1)),
                            button("Key ▶", lambda: self.go(1)), button("Undo", bench.undo))]
        )  # fmt: skip
        self.reading.observe(lambda _: self.begin(), "value")
        self.step.observe(lambda _: self.begin(), "value")
        bench.observe(lambda _: self.begin(), ["key", "visit"])
        bench.observe(lambda _: self._of_another(), "instrument")
        self.begin()

    def _of_another(self) -> None:
        """Begin anew where another instrument comes on the bench, not with each reading."""
        if self.bench.instrument.identity != self._identity:
            self.begin()

    def begin(self) -> None:
        """Begin the reading of the key in hand."""
        self._identity = self.bench.instrument.identity
        self.told.value = ""
        expected, spread = self.expected()
        self.search = Threshold(expected, spread, self.step.value)
        self._show()

    def expected(self) -> tuple[float, float]:
        """Return what to expect: from the trend, or the keys beside it, or what is usual [g]."""
        name, key = self.reading.value, self.bench.key
        trend = self.bench.findings.trends.get(name)
        if trend is not None:
            value, spread = float(trend.expected[key]), float(trend.expected_u[key])
            if value == value and spread == spread:
                return value, spread
        read = self.bench.readings.dropna(subset=[name])
        near = read.loc[(read["key"] - key).abs() <= _NEIGHBOURS, name]
        if len(near):
            return float(near.median()), _NEIGHBOUR_U_G
        quantity = QUANTITIES[name]
        low, high = quantity.usual_low or quantity.minimum, quantity.usual_high or quantity.maximum
        return (low + high) / 2, _NOTHING_READ_U_G

    def answer(self, enough: bool) -> None:
        """Take the answer to the placement that is asked; keep the reading once it is found."""
        name = self.reading.value
        asked = self.search.next_g
        try:
            self.search = self.search.after(asked, enough)
            if self.search.found:
                self._keep()
                return
        except BalancekitError as error:
            self._refuse(str(error))
            return
        limits = QUANTITIES[name]
        if enough and asked <= 0:
            self._refuse(_NEVER[name])
        elif not enough and asked >= limits.maximum:
            self._refuse(
                f"{asked:g} g are not enough; {limits.label.lower()} is at most "
                f"{limits.maximum:g} g. See what holds the key, then begin anew."
            )
        else:
            self._show()

    def _refuse(self, why: str) -> None:
        """Begin the reading anew, and say why it could not be found."""
        self.begin()
        self.told.value = wrong(why)

    def _keep(self) -> None:
        name, key, search = self.reading.value, self.bench.key, self.search
        low, high, value = max(search.below_g, 0.0), search.above_g, search.middle_g
        label = QUANTITIES[name].label.lower()
        place = self._row(key, name)
        read = {name: value, WITHIN_COLUMNS[name]: search.within_g}
        cells = [{"row": place, "column": column, "value": g} for column, g in read.items()]
        self.bench.change(set_cells(self.bench.instrument, self.bench.visit, cells, time_now()))
        self._placed += search.placements
        self._read += 1
        last = key == self.bench.instrument.settings.key_count
        self.go(1)
        self.told.value = (
            f"Taken: key {key}, {label} {value:g} g, as it lies between {low:g} and {high:g} g; "
            f"{plural(search.placements, 'placement')}. "
            f"So far {self._placed / self._read:.1f} for each of "
            f"{plural(self._read, 'reading')}." + (" That was the last key." if last else "")
        )

    def _row(self, key: int, name: str) -> str:
        """Return the row that the reading goes into: one that was opened for it, or the first."""
        rows = entry_table(self.bench.instrument, self.bench.visit)
        of_key = rows[rows["key"] == key]
        return str(of_key.index[of_key[name].isna()].append(of_key.index)[0])

    def go(self, by: int) -> None:
        """Take the next key in hand, or the one before."""
        self.bench.key += by
        self.begin()

    def _show(self) -> None:
        text, sinks, stays = _ASKS[self.reading.value]
        note = self.bench.instrument.keys["note_name"][self.bench.key]
        weight = self.search.next_g
        self.ask.value = (
            f"<b>Key {self.bench.key}, {escape(note)}.</b> {text.format(weight=weight)}"
        )
        self.enough.description, self.too_light.description = sinks, stays
        if self.search.placements:
            self.told.value = f"{plural(self.search.placements, 'placement')}."


def guided_panel(bench: Bench) -> widgets.VBox:
    """Find down and up weight in the fewest placements."""
    return panel(
        "Which weight next?",
        words(
            "It begins where the neighbours lead one to expect, and halves what is left: on "
            f"simulated keys it took {PLACEMENTS:g} placements for each reading, against "
            f"{BY_GRAM:g} gram by gram. The reading is the middle of the two weights between which "
            "it lies; half their distance is kept with it, and a coarse step widens the key's band."
        ),
        Guided(bench),
        Saving(bench),
    )
