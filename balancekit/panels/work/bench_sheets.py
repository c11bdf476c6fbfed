"""The panel of the bench sheets: what is to be done, operation by operation, as it is printed."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.words import escape, plural
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.sheet_plan import PROPOSED, WRITTEN
from balancekit.panels.frame import button, caution, panel, row, table_html, words
from balancekit.panels.saving import Saving
from balancekit.panels.work.work_desk import WorkDesk, work_desk
from balancekit.panels.work.work_view import WorkView, plan_words, toggles
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheets import GENERAL, Sheet, bench_sheets
from balancekit.sharing.work import Work

PREVIEW_PX = 540
PREVIEW_STYLE = (
    "<style>body.sheets{zoom:.78} main>h1,main>p{display:none} main{max-width:none}"
    "h2{margin-top:6px;border-top:0;padding-top:4px} p,ul{max-width:none}</style></head>"
)
"""In the preview the heading of the whole set is left out, and all is smaller."""

SHORT = {
    "shopping": "To have ready",
    "levers": "Levers",
    "friction": "Friction",
    "hammers": "Hammers",
    "springs": "Springs",
    "leads": "Leads",
    "expected": "At the scale",
}
"""The words on the buttons, by operation."""

NOTEBOOKS = {"Hammers": "5 · Hammer mass", "Leads": "6 · Lead and spring"}
"""Where each operation is decided."""


def undecided_words(work: Work) -> list[str]:
    """Say what was not decided, and where that is done."""
    told = []
    for sentence in work.undecided:
        place = next((text for word, text in NOTEBOOKS.items() if sentence.startswith(word)), "")
        told.append(escape(sentence) + (f" Decide it in notebook <b>{place}</b>." if place else ""))
    return told


def totals_rows(work: Work) -> list[tuple[str, str]]:
    """Return each operation and what it adds up to, in the order of the bench."""
    rows = []
    for name, sentence in work.totals.items():
        said = sentence.partition(": ")[2] or sentence
        rows.append((SHORT.get(name, name), said[:1].upper() + said[1:]))
    if len(work.shopping):
        total = work.shopping[["to_buy", "spares", "total_g"]].sum()
        rows.append(
            (SHORT["shopping"], f"{plural(round(total['to_buy']), 'plug')} with "
             f"{plural(round(total['spares']), 'spare')}, "
             f"{total['total_g']:.0f} g in all.")
        )  # fmt: skip
    return rows


def preview_html(work: Work, sheet: Sheet) -> str:
    """Return one sheet in a frame of its own, just as it is printed; nothing in it is run."""
    page = escape(sheet_html(work, [sheet]).replace("</head>", PREVIEW_STYLE, 1))
    return (
        f'<iframe sandbox srcdoc="{page}" title="Preview: {escape(sheet.title)}" '
        f'style="width:100%;height:{PREVIEW_PX}px;border:1px solid #c3ccd3;border-radius:6px">'
        "</iframe>"
    )


class BenchSheets(WorkView):
    """The plan in a few lines, and each sheet as it will be printed."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sentences, buttons and the preview."""
        self.told, self.totals, self.preview = words(), words(), widgets.HTML()
        self.keep = row(button("Keep this proposal as decided", self.desk.keep_proposal, main=True))
        self.which = toggles([], "Sheet")
        self.which.observe(lambda _: self._show_sheet(), "value")
        self._sheets: dict[str, Sheet] = {}
        return [self.told, self.keep, self.totals, self.which, self.preview]

    def show(self) -> None:
        """Show the plan and the sheet that is chosen."""
        plan, work = self.desk.plan, self.desk.work
        told = [f"<b>{plan_words(plan)}</b> Worked out from the readings "
                f"“{escape(self.desk.visit_name(self.bench.visit))}”."]  # fmt: skip
        if plan.kind in (PROPOSED, WRITTEN):
            told.append(
                "A way that you choose in the notebook <b>4 · The plan</b> comes before it. So "
                "does what you decide in <b>5 · Hammer mass</b> and <b>6 · Lead and spring</b>."
            )
        told += undecided_words(work)
        self.told.value = "<br>".join(told)
        self.keep.layout.display = "" if plan.kind == PROPOSED else "none"
        rows = totals_rows(work)
        self.totals.value = (
            table_html(("Operation", "In all"), rows) if rows else "<b>There is nothing to do.</b>"
        )
        self._sheets = {sheet.operation: sheet for sheet in bench_sheets(work)}
        options = [(SHORT[name], name) for name in self._sheets]
        if options != list(self.which.options):
            before = self.which.value
            self.which.options = options
            self.which.value = before if before in self._sheets else options[0][1]
        self._show_sheet()

    def _show_sheet(self) -> None:
        if self.which.value in self._sheets:
            self.preview.value = preview_html(self.desk.work, self._sheets[self.which.value])


def bench_sheets_panel(bench: Bench) -> widgets.VBox:
    """Everything that is decided as work, in the order of the bench."""
    desk: WorkDesk = work_desk(bench)
    return panel("What is to be done", caution(" ".join(GENERAL)), BenchSheets(desk), Saving(bench))
