"""The switch for what is usual: which instruments weighed before tell of the next one."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from pathlib import Path

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.bench import Bench
from balancekit.instrument.in_hand import home_folder
from balancekit.instrument.shop import read_shop
from balancekit.instrument.usual_in_use import keep_shop, shop
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
        try:
            kept = read_shop(Path(self.folder.value).expanduser())
        except BalancekitError as error:
            self.told.value = wrong(error)
            return
        keep_shop(kept)
        self.on.value = True
        self.bench.work_out_anew()

    def switch(self, on: bool) -> None:
        """Let them tell, or not; they are read first if none was."""
        kept = shop()
        if on and not kept.told:
            self.read()
        elif on != kept.on:
            keep_shop(replace(kept, on=on))
            self.bench.work_out_anew()

    def refresh(self) -> None:
        """Name them."""
        said = shop().words(self.bench.instrument, named=True)
        self.told.value = escape(said or "No other instrument tells of this one.")
