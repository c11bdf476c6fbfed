"""What is wished for of the plan, and the page for the owner."""

from __future__ import annotations

from datetime import date

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.plan_wishes import (
    SPANS,
    PlanWishes,
    wishes_of,
    with_wishes,
)
from balancekit.instrument.outputs import put_file
from balancekit.panels.files import Files
from balancekit.panels.frame import Later, button, panel, row, slider, words, wrong
from balancekit.panels.plan.plan_desk import PlanDesk, plan_desk
from balancekit.panels.share import SHEETS_FOLDER
from balancekit.panels.work.work_desk import own_folder
from balancekit.sharing.owner_page import owner_page
from balancekit.sharing.sheet_html import PAPERS

TAKEN_AFTER_S = 0.6
# Our own choice: rest of the controls before all ways are looked for anew.

USUAL_WISH = {"balance_weight_g": 38.0, "lighter_percent": 5.0}
"""Where a slider starts once it is asked for."""

WISHES = {"balance_weight_g": "one balance weight for every key",
          "lighter_percent": "a lighter action to set going"}  # fmt: skip


class Wishes(widgets.VBox):
    """Ticks and sliders; each change looks for the ways anew."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.ticks: dict[str, widgets.Checkbox] = {}
        self.sliders: dict[str, widgets.FloatSlider] = {}
        for name, span in SPANS.items():
            self.ticks[name] = widgets.Checkbox(description=WISHES[name], indent=False)
            self.sliders[name] = slider(
                span.label, USUAL_WISH[name], span.low, span.high, span.step, unit=span.unit
            )
        self.springs = widgets.Checkbox(description="new springs may be fitted", indent=False)
        self.said = words()
        self._showing = False
        self._later = Later(TAKEN_AFTER_S, self._take)
        super().__init__(
            [row(*self.ticks.values(), self.springs), *self.sliders.values(), self.said]
        )
        for control in (*self.ticks.values(), *self.sliders.values(), self.springs):
            control.observe(lambda _: self._moved(), "value")
        bench.when_changed(self.refresh, "instrument")

    def refresh(self) -> None:
        """Show the wishes that are kept."""
        try:
            wishes, self.said.value = wishes_of(self.bench.instrument), ""
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        self._showing = True
        try:
            for name, tick in self.ticks.items():
                value = getattr(wishes, name)
                tick.value = value is not None
                self.sliders[name].layout.display = "" if tick.value else "none"
                if value is not None:
                    self.sliders[name].value = value
            self.springs.value = wishes.fit_springs
        finally:
            self._showing = False

    def _moved(self) -> None:
        if self._showing:
            return
        for name, tick in self.ticks.items():
            self.sliders[name].layout.display = "" if tick.value else "none"
        self._later.ask()

    def _take(self) -> None:
        given = {
            name: float(self.sliders[name].value) if tick.value else None
            for name, tick in self.ticks.items()
        }
        wishes = PlanWishes(fit_springs=bool(self.springs.value), **given)
        try:
            same = wishes == wishes_of(self.bench.instrument)
        except BalancekitError:  # what was kept cannot be read: what is wished now replaces it
            same = False
        if not same:
            self.bench.change(with_wishes(self.bench.instrument, wishes))


class OwnerPage(widgets.VBox):
    """Writes the page of the way in hand for the owner."""

    def __init__(self, desk: PlanDesk) -> None:
        self.desk = desk
        self.paper = widgets.ToggleButtons(
            options=list(PAPERS), description="Paper",
            style={"description_width": "initial", "button_width": "auto"},
        )  # fmt: skip
        self.said, self.listed = words(), Files()
        super().__init__(
            [row(self.paper, button("Write the page for the owner", self.write, main=True)),
             self.said, self.listed]
        )  # fmt: skip

    def write(self) -> None:
        """Write the page beside the bench sheets; what is there is not overwritten."""
        plan = self.desk.plan
        if plan is None:
            self.said.value = escape(self.desk.state)
            return
        name = f"owner_page_{date.today().isoformat()}.html"
        page = owner_page(plan, self.desk.number, str(self.paper.value))
        try:
            folder = own_folder(self.desk.bench) / SHEETS_FOLDER
            written = put_file(folder, name, page.encode())
        except BalancekitError as error:
            self.said.value = wrong(f"Not written. {error}")
            return
        self.said.value = f"<b>Written to</b> <code>{escape(folder)}</code>"
        self.listed.show([written])


def plan_owner_panel(bench: Bench) -> widgets.VBox:
    """The page that the owner reads and signs, for the way in hand."""
    return panel(
        "For the owner",
        words(
            "One page in plain words: before and after as two pictures, what is done, what cannot "
            "be undone, hours and price. It opens in any browser; print it there for the signature."
        ),
        OwnerPage(plan_desk(bench)),
    )
