"""The panel that writes the sheets to print and the tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.sheet_plan import PROPOSED
from balancekit.instrument.outputs import Output, put_file
from balancekit.panels.files import Files
from balancekit.panels.frame import button, panel, row, words, working, wrong
from balancekit.panels.work.work_desk import WorkDesk, work_desk
from balancekit.panels.work.work_view import WorkView
from balancekit.sharing.sheet_html import PAPERS, sheet_html
from balancekit.sharing.sheets import Picture, bench_sheets, sheet_pictures
from balancekit.sharing.tables import to_csv, to_xlsx, work_tables
from balancekit.sharing.work import Work

SHEETS_FOLDER = "sheets"

NOT_DECIDED = " (a proposal, not decided)"
"""Stands in the heading of sheets that nobody decided on."""


def sheet_files(
    work: Work, kind: str, paper: str, day: str, pictures: Sequence[Picture] = ()
) -> dict[str, bytes]:
    """Return the files of one kind, by name.

    Parameters
    ----------
    work : what is to be done.
    kind : "page", "pdf", "csv" or "xlsx".
    paper : "A4" or "Letter".
    day : for the names.
    pictures : photographs of the instrument.

    Raises
    ------
    BalancekitError : another paper.
    """
    if kind == "page":
        text = sheet_html(work, bench_sheets(work, pictures), paper)
        return {f"sheets_{day}_{paper}.html": text.encode()}
    if kind == "pdf":
        # Costs a tenth of a second, which a page that writes no PDF need not pay.
        from balancekit.sharing.sheet_pdf import sheet_pdf

        return {f"sheets_{day}_{paper}.pdf": sheet_pdf(work, bench_sheets(work, pictures), paper)}
    tables = work_tables(work)
    if kind == "xlsx":
        return {f"tables_{day}.xlsx": to_xlsx(tables)}
    return {f"{name}_{day}.csv": to_csv(table) for name, table in tables.items()}


_KINDS = {
    "page": ("Page to print", "One page for the browser; it prints on the chosen paper"),
    "pdf": ("PDF", "For any printer; black on white"),
    "csv": ("Tables (CSV)", "One plain table for each operation"),
    "xlsx": ("Workbook (XLSX)", "All tables in one workbook"),
}
"""Words and hint on the button of each kind of file."""


class Writes(WorkView):
    """What the panels that write share: a sentence, the list of files, and their errors."""

    def _start(self) -> None:
        self.said, self.listed = words(), Files()
        self.listed.observe(self._unread, "problem")

    def _unread(self, change: dict[str, str]) -> None:
        if change["new"]:
            self.said.value = wrong(change["new"])

    def _write(self, make: Callable[[], Sequence[Output]]) -> None:
        self.said.value = working("<b>Writing …</b>")
        try:
            written = make()
        except BalancekitError as error:
            self.said.value = wrong(f"Not written. {error}")
            return
        folder = written[0].path.parent
        self.said.value = f"<b>Written to</b> <code>{escape(folder)}</code>"
        self.listed.show(written)
        self.refresh()


class WriteSheets(Writes):
    """Paper, buttons, and what was written."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the controls."""
        self._start()
        self.where = words()
        self.paper = widgets.ToggleButtons(
            options=list(PAPERS),
            description="Paper",
            style={"description_width": "initial", "button_width": "auto"},
        )
        every = button("Write page, PDF and tables", lambda: self.write(*_KINDS), main=True)
        single = [
            button(text, lambda kind=kind: self.write(kind), hint=hint)  # type: ignore[misc]
            for kind, (text, hint) in _KINDS.items()
        ]
        return [self.where, self.paper, row(every), row(words("or only:"), *single), self.said,
                self.listed]  # fmt: skip

    def show(self) -> None:
        """Say where the files will go."""
        folder = self.bench.folder
        own = folder is not None and not self.bench.is_demo
        place = f"<code>{escape(folder / SHEETS_FOLDER)}</code>" if own and folder else (
            "your own copy of this instrument, which is made first: the demo itself is never "
            "written"
        )  # fmt: skip
        text = f"They go to {place}. The day stands in each name; nothing is overwritten."
        if self.desk.plan.kind == PROPOSED:
            text += (
                " <b>This is only a proposal, and the sheets will say so.</b> Keep it as decided "
                "above, or decide in the notebooks 5 and 6."
            )
        self.where.value = text

    def write(self, *kinds: str) -> None:
        """Write files of some kinds."""
        self._write(lambda: self._files(kinds))

    def _files(self, kinds: Sequence[str]) -> list[Output]:
        work = self.desk.work
        if self.desk.plan.kind == PROPOSED:
            work = replace(work, title=work.title + NOT_DECIDED)
        folder = self.desk.folder_for_sheets() / SHEETS_FOLDER
        pictures = sheet_pictures(self.bench.instrument)
        day, paper = date.today().isoformat(), str(self.paper.value)
        return [
            put_file(folder, name, data)
            for kind in kinds
            for name, data in sheet_files(work, kind, paper, day, pictures).items()
        ]


def write_sheets_panel(bench: Bench) -> widgets.VBox:
    """Write the sheets for the bench."""
    desk: WorkDesk = work_desk(bench)
    return panel("Write the sheets", WriteSheets(desk))
