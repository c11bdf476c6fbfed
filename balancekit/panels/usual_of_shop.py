"""The switch for what is usual: which instruments weighed before tell of the next one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.disk import typed_path
from balancekit.instrument.in_hand import home_folder
from balancekit.instrument.shop import read_shop
from balancekit.instrument.usual_in_use import Shop, keep_shop, shop
from balancekit.panels.frame import button, row, words, wrong


class UsualOfShop(widgets.VBox):
    """Which instruments weighed before tell what is usual; the switch is kept for the next one."""

    def __init__(self, bench: Bench) -> None:
        self.bench, kept = bench, shop()
        self.folder = widgets.Text(
            kept.folder or str(home_folder()), description="Folder of instruments",
            style={"description_width": "initial"}, layout=widgets.Layout(width="30em"),
        )  # fmt: skip
        self.on = widgets.Checkbox(
            kept.on, indent=False, description="Let instruments weighed before tell what is usual",
            layout=widgets.Layout(width="auto"),
        )  # fmt: skip
        self.told = words()
        super().__init__([self.on, row(self.folder, button("Read them", self.read)), self.told])
        self.on.observe(lambda change: self.switch(bool(change["new"])), "value")
        bench.when_changed(self.refresh, "instrument")

    def read(self) -> None:
        """Read the instruments of the folder, and let them tell."""
        self._keep(lambda: read_shop(typed_path(self.folder.value)))

    def switch(self, on: bool) -> None:
        """Let them tell, or not; they are read first if none was."""
        kept = shop()
        if on and not kept.told:
            self.read()
        elif on != kept.on:
            self._keep(lambda: replace(kept, on=on))

    def _keep(self, find: Callable[[], Shop]) -> None:
        """Keep what is to tell; the switch stands as what is kept, whatever went wrong."""
        try:
            keep_shop(find())
        except BalancekitError as error:
            self.on.value = shop().on
            self.told.value = wrong(error)
            return
        self.on.value = shop().on
        self.bench.work_out_anew()

    def refresh(self) -> None:
        """Name them."""
        said = shop().words(self.bench.instrument, named=True)
        self.told.value = escape(said or "No other instrument tells of this one.")
