"""For the teacher: a grand with the faults of one's own choice, as a file and on paper."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape
from balancekit.lesson.classroom.case_sheet import bench_page, case_page
from balancekit.lesson.faults.case import FAULTS, SIZES, Case, plant
from balancekit.lesson.faults.case_files import case_text
from balancekit.lesson.lever_chain.lever_view import LessonStyle
from balancekit.lesson.practice.exercise_panel import download_link
from balancekit.lesson.practice.exercises import MOST_SEED, fresh_seed
from balancekit.panels.frame import button, panel, row, slider, table_html, words
from balancekit.sharing.sheet_html import PAPERS

_WIDE = {"description_width": "initial"}


class GrandDesk(widgets.VBox):
    """Keys, faults and sizes; the grand that comes of them."""

    def __init__(self) -> None:
        self.chosen: dict[int, tuple[str, str]] = {}
        self.seed = widgets.BoundedIntText(
            value=fresh_seed(), min=0, max=MOST_SEED, description="Case number", style=_WIDE
        )
        self.key = slider("Key", 40, 1, 88, 1, whole=True)
        self.fault = widgets.Dropdown(
            options=[(kind.words, name) for name, kind in FAULTS.items()],
            description="Fault", style=_WIDE,
        )  # fmt: skip
        self.size = widgets.ToggleButtons(options=list(SIZES), value="usual", description="Size")
        self.paper = widgets.Dropdown(options=list(PAPERS), description="Paper", style=_WIDE)
        self.list, self.links = words(), words()
        for control in (self.seed, self.paper):
            control.observe(lambda _: self.refresh(), "value")
        super().__init__(
            [
                self.key, row(self.fault, self.size),
                row(button("Plant it", self.plant, main=True),
                    button("Take it out", self.take_out)),
                self.list, row(self.seed, self.paper), self.links, LessonStyle(),
            ]
        )  # fmt: skip
        self.refresh()

    @property
    def case(self) -> Case:
        """The grand as it is chosen.

        Raises
        ------
        BalancekitError : nothing was chosen.
        """
        faults = {key: fault for key, (fault, _) in self.chosen.items()}
        return plant(self.seed.value, faults, {key: size for key, (_, size) in self.chosen.items()})

    def plant(self) -> None:
        """Plant the chosen fault at the chosen key."""
        self.chosen[self.key.value] = (self.fault.value, self.size.value)
        self.refresh()

    def take_out(self) -> None:
        """Make the chosen key sound again."""
        self.chosen.pop(self.key.value, None)
        self.refresh()

    def refresh(self) -> None:
        """Show what is planted, and offer the file and the pages."""
        rows = [
            (key, FAULTS[fault].words, size) for key, (fault, size) in sorted(self.chosen.items())
        ]
        self.list.value = table_html(("Key", "Fault", "Size"), rows) if rows else "Nothing planted."
        try:
            case, paper = self.case, self.paper.value
        except BalancekitError:
            self.links.value = "Plant a fault; then the grand can be saved and printed."
            return
        seed = case.seed
        pages = {
            f"case_{seed}.html": ("The readings to print", case_page(case, paper)),
            f"case_{seed}_answers.html": ("Its answers", case_page(case, paper, answers=True)),
            f"bench_{seed}.html": ("A virtual key to print", bench_page(seed, paper)),
            f"bench_{seed}_answers.html": ("Its truth", bench_page(seed, paper, answers=True)),
        }
        links = [
            download_link(
                f"case_{seed}.json", "application/json", case_text(case),
                "Save this grand for the class",
            )
        ] + [
            download_link(name, "text/html", page, label) for name, (label, page) in pages.items()
        ]  # fmt: skip
        self.links.value = " · ".join(links) + (
            "<br>An apprentice opens the saved grand in <b>Find the faults</b>. The file holds the "
            f"answers; who reads it, cheats. {escape(len(case.planted))} planted."
        )


def grand_panel() -> widgets.VBox:
    """A faulty grand for a class."""
    return panel(
        "A grand with faults of your choice",
        words("Choose a key, a fault and its size, and plant it. As many as you like."),
        GrandDesk(),
    )
