"""The panel that writes one file to share: what goes along, what stays, what stands beside."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.descriptor import slug
from balancekit.instrument.in_hand import data_folder, home_folder, instruments_in
from balancekit.instrument.model import Instrument
from balancekit.instrument.outputs import Output, put_file
from balancekit.instrument.store import open_folder
from balancekit.panels.frame import button, caution, panel, row, words, wrong
from balancekit.panels.share import Writes
from balancekit.panels.work.work_desk import own_folder, work_desk
from balancekit.sharing.carry import to_zip
from balancekit.sharing.leave_out import PARTS, LeaveOut, contents, set_beside, without
from balancekit.sharing.outcome import REPORT
from balancekit.sharing.report import build_report

_WIDE = widgets.Layout(width="100%")


class Share(Writes):
    """What goes along, what is inside, and one button: the report and the zip."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the boxes to tick, the list of what is inside, the button."""
        self._start()
        where = words(
            "<b>report.html</b> tells the whole story in the order of the notebooks. It opens in "
            "any browser, without a network, and carries the instrument inside. A colleague drops "
            "it on the readings panel of notebook 1 and goes on from it. The <b>zip</b> holds the "
            "bare folder."
        )
        self.along = {
            name: widgets.Checkbox(True, description=text, indent=False, layout=_WIDE)
            for name, text in PARTS.items()
        }
        self.sets: list[widgets.Checkbox] = []
        self.set_box, self.inside = widgets.VBox(), words()
        self.beside = widgets.SelectMultiple(
            rows=4, layout=widgets.Layout(width="100%", max_width="560px"),
            description="Side by side", style={"description_width": "9em"},
        )  # fmt: skip
        for box in self.along.values():
            box.observe(lambda _: self._list(), "value")
        # The first change of a demo moves the bench to a folder of its own.
        self.bench.observe(lambda _: self._offer(), "saved")
        return [
            where, words("<b>What goes along</b>"), *self.along.values(), self.set_box,
            words("Other instruments to set beside this one, with their last readings; none is "
                  "carried along, only what is shown:"),
            self.beside, self.inside,
            row(button("Write the file to share", self.write, main=True)), self.said, self.listed,
        ]  # fmt: skip

    @property
    def start(self) -> int:
        """The set of readings that the report starts from; it always goes along."""
        return int(self.desk.before if self.desk.after >= 0 else self.bench.visit)

    def show(self) -> None:
        """Offer each set of readings and each other instrument, and list what is inside."""
        visits = self.bench.instrument.visits
        names = [f"Readings: {v.title}{f', {v.date}' if v.date else ''}" for v in visits]
        if [box.description for box in self.sets] != names:
            self.sets = [
                widgets.Checkbox(True, description=name, indent=False, layout=_WIDE)
                for name in names
            ]
            for box in self.sets:
                box.observe(lambda _: self._list(), "value")
            self.set_box.children = tuple(self.sets)
        for number, box in enumerate(self.sets):
            box.disabled = number == self.start
        self._offer()
        self._list()

    def _offer(self) -> None:
        """Offer the other instruments, and keep what is chosen among them."""
        own = self.bench.folder.name if self.bench.folder else slug(self.bench.instrument.title)
        others = {
            path.name: str(path)
            for folder in (data_folder(), home_folder())  # one's own before a demo of its name
            for path in instruments_in(folder)
            if path.name != own
        }
        if list(others.items()) != list(self.beside.options):
            chosen = set(self.beside.value)
            self.beside.options = list(others.items())
            self.beside.value = [path for path in others.values() if path in chosen]

    @property
    def left(self) -> LeaveOut:
        """What is left out."""
        parts = frozenset(name for name, box in self.along.items() if not box.value)
        gone = {number for number, box in enumerate(self.sets) if not box.value}
        return LeaveOut(parts, frozenset(gone - {self.start}))

    def shared(self) -> Instrument:
        """Return the instrument as it goes along.

        Raises
        ------
        BalancekitError : what would be left cannot be an instrument.
        """
        return without(self.bench.instrument, self.left)

    def _list(self) -> None:
        """Say what will be inside, before it is written."""
        try:
            lines = "".join(f"<li>{escape(line)}</li>" for line in contents(self.shared()))
        except BalancekitError as error:
            self.inside.value = wrong(error)
            return
        self.inside.value = f"<b>Inside will be</b><ul>{lines}</ul>"

    def write(self) -> None:
        """Write report and zip; an older report is replaced, and that is said."""
        self._write(self._files)

    def _files(self) -> list[Output]:
        bench = self.bench
        folder, shared = own_folder(bench), self.shared()
        gone = sum(number < self.start for number in self.left.visits)
        others = [open_folder(Path(path), only_look=True)[0] for path in self.beside.value]
        beside = set_beside(others, self.left)
        report = build_report(shared, self.start - gone, beside=beside).encode()
        return [
            put_file(folder, REPORT, report, replace=True),
            put_file(folder, f"{slug(shared.title)}.zip", to_zip(shared), replace=True),
        ]


def share_panel(bench: Bench) -> widgets.VBox:
    """Write one file for a colleague, a customer or the archive."""
    return panel(
        "One file to share",
        Share(work_desk(bench)),
        caution(
            "Look at the notes before you hand it on: their words may name people, and so may "
            "the titles of readings."
        ),
    )
