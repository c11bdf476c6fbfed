"""The case on the screen: look, name what you suspect, compare."""

from __future__ import annotations

import ipywidgets as widgets
import traitlets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import NEEDED_COLUMNS, QUANTITIES
from balancekit.calculation.words import escape
from balancekit.lesson.faults.case import (
    FAULTS,
    Case,
    case_table,
    judge,
    make_case,
    suspected_by_flags,
)
from balancekit.lesson.faults.case_evidence import evidence_html, lessons_of
from balancekit.lesson.faults.case_files import MOST_CASE_BYTES, case_text, read_case
from balancekit.lesson.faults.lesson_bench import LessonBench
from balancekit.lesson.lever_chain.lever_view import LessonStyle
from balancekit.lesson.practice.exercise_panel import download_link, file_name
from balancekit.lesson.practice.exercises import MOST_SEED, fresh_seed
from balancekit.lesson.practice.handed_in import text_of
from balancekit.lesson.practice.progress import note
from balancekit.panels.frame import button, panel, row, slider, table_html, words, wrong
from balancekit.panels.over_keys import OverKeys
from balancekit.panels.widgets import FileDrop

LOOKED_AT = ("friction_g", "balance_weight_g", "action_ratio", *NEEDED_COLUMNS)
_BESIDE = 2


class CaseDesk(widgets.VBox):
    """Charts and numbers of a case, the list of suspicions, and the comparison.

    Parameters
    ----------
    seed : of the case; a fresh one if left out.
    """

    def __init__(self, seed: int | None = None) -> None:
        self.case = make_case(fresh_seed() if seed is None else seed)
        self.bench = LessonBench(self.case.instrument)
        self.named: dict[int, str] = {}
        self.title_line, self.numbers, self.list, self.result = words(), words(), words(), words()
        self.quantity = widgets.ToggleButtons(
            options=[(QUANTITIES[name].label, name) for name in LOOKED_AT],
            style={"button_width": "auto"},
        )
        self.charts: dict[str, OverKeys] = {}
        self.place = widgets.VBox()
        self.key = slider("Key in hand", self.bench.key, 1, 88, 1, whole=True)
        traitlets.link((self.bench, "key"), (self.key, "value"))
        self.fault = widgets.Dropdown(
            options=[(kind.words, name) for name, kind in FAULTS.items()],
            description="I suspect", style={"description_width": "initial"},
            layout=widgets.Layout(width="auto", min_width="24em"),
        )  # fmt: skip
        self.compared, self.link = False, words()
        self.name = widgets.Text(description="Your name", placeholder="for the result")
        self.name.observe(lambda _: self.show_link(), "value")
        self.seed = widgets.BoundedIntText(
            value=self.case.seed, min=0, max=MOST_SEED, description="Case number",
            style={"description_width": "initial"}, layout=widgets.Layout(width="16em"),
        )  # fmt: skip
        self.drop = FileDrop(
            self.take_file, text="Open a case from your teacher, or your saved one",
            most_bytes=MOST_CASE_BYTES, low=True,
        )  # fmt: skip
        self.quantity.observe(lambda _: self._draw(), "value")
        self.bench.observe(lambda _: self._show_numbers(), "key")
        super().__init__(
            [
                self.title_line, self.quantity, self.place, self.key, self.numbers,
                row(self.fault, button("Name this key", self.name_key, main=True),
                    button("Take it back", self.take_back)),
                self.list,
                row(button("I have looked at all: compare", self.compare, main=True),
                    button("Another case", self.take_case)),
                self.result,
                row(self.seed, button("Open this case", lambda: self.take_case(self.seed.value)),
                    self.name, self.link),
                self.drop, LessonStyle(),
            ]
        )  # fmt: skip
        self._draw()
        self._show()
        self.show_link()

    def _draw(self) -> None:
        """Draw the chosen quantity over the keys; each chart is made once."""
        name = self.quantity.value
        if name not in self.charts:
            self.charts[name] = OverKeys(self.bench, [name], height=300)
        self.place.children = [self.charts[name]]

    def _show(self) -> None:
        count = len(self.case.planted)
        self.title_line.value = (
            f"<b>Case {self.case.seed}.</b> {count} keys of this grand have a fault, or a slip of "
            "the pen. Which, and what?"
        )
        self._show_numbers()
        self._show_list()

    def _show_numbers(self) -> None:
        """Show the readings of the key in hand between its neighbours."""
        table, key = self.bench.table.to_dict("index"), self.bench.key
        keys = [k for k in range(key - _BESIDE, key + _BESIDE + 1) if k in table]
        names = [f"{'▶ ' if k == key else ''}{k} {table[k]['note_name']}" for k in keys]
        rows = [("", *(table[k]["colour"] for k in keys))]
        for name in LOOKED_AT:
            quantity = QUANTITIES[name]
            rows.append((quantity.label, *(quantity.text(table[k][name]) for k in keys)))
        self.numbers.value = table_html(("Key", *names), rows)

    def _show_list(self) -> None:
        named = "; ".join(
            f"key {key}: {FAULTS[kind].words}" for key, kind in sorted(self.named.items())
        )
        self.list.value = f"<b>You named {len(self.named)}.</b> {named}"

    def name_key(self) -> None:
        """Name the key in hand with the chosen fault."""
        self.named[self.bench.key] = self.fault.value
        self._show_list()

    def take_back(self) -> None:
        """Take back what was named at the key in hand."""
        self.named.pop(self.bench.key, None)
        self._show_list()

    def compare(self) -> None:
        """Tell what was found, missed and falsely accused, by the learner and by the suite."""
        by_flags = suspected_by_flags(self.bench.told.flags)
        mine, suite = judge(self.case, self.named), judge(self.case, by_flags)
        table = case_table(self.case, self.named, by_flags)
        rows = [(int(key), *each) for key, each in zip(table.index, table.values, strict=True)]
        # Only the first comparison counts: after it the faults are known.
        kept = "" if self.compared else note("find the faults", mine.all_right)
        self.compared = True
        self.show_link()
        self.result.value = (
            f'<div role="status">{escape(kept)}<b>You: {mine.words}.</b><br>'
            f"The flags of the suite: {suite.words}.</div>"
            + table_html(("Key", "Planted", "You", "The suite"), rows)
            + "".join(
                evidence_html(
                    self.case, self.bench.table, self.bench.told.trends, key, self.named.get(key)
                )
                for key in lessons_of(self.case, self.named)
            )
        )
        self.bench.reveal()

    def show_link(self) -> None:
        """Offer what was named to take along; it is judged anew when it is read."""
        if not self.compared:
            self.link.value = "Compare first; then your result can be saved and handed in."
            return
        text = case_text(self.case, self.named, self.name.value.strip())
        file = file_name("case", self.name.value, self.case.seed)
        self.link.value = download_link(
            file, "application/json", text, "Save the result for the teacher"
        )

    def take_file(self, name: str, data: bytes) -> None:
        """Open a case that a teacher made, or go on with a saved one."""
        try:
            worked = read_case(text_of(data))
        except BalancekitError as error:
            told = wrong(f"{name}: {error}")
            self.result.value = f'<div role="status">{told}</div>'
            return
        self.take_case(case=worked.case)
        self.named = dict(worked.named)
        self._show_list()

    def take_case(self, seed: int | None = None, case: Case | None = None) -> None:
        """Put another case on the bench."""
        self.case = case or make_case(fresh_seed() if seed is None else seed)
        self.seed.value = self.case.seed
        self.named, self.compared = {}, False
        self.result.value = ""
        self.show_link()
        self.bench.begin(self.case.instrument)
        self.bench.key = 1
        self._show()


def case_panel(seed: int | None = None) -> widgets.VBox:
    """A grand with planted faults, to be found.

    Parameters
    ----------
    seed : of the case; everyone with the same seed has the same case.
    """
    return panel(
        "Find the faults",
        words(
            "Look at one quantity after the other. Click a point or use the keyboard, read the "
            "numbers beside its neighbours, and name what you suspect. Nothing is marked for you."
        ),
        CaseDesk(seed),
    )
