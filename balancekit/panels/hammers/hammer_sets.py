"""The panel on sets of hammers: which one needs the least work, and what it brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.hammers.hammer_sets import (
    SetResult,
    check_set,
    compare_sets,
    fill_set,
    try_set,
)
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.charts.hammer_sets import sets_chart, sets_data, sets_limits
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import OWN_HAMMERS, SPANS
from balancekit.instrument.choices.hammer_plan import SET_STRIKE_WEIGHT_U_G
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.store import read_file
from balancekit.instrument.table_files import from_bytes
from balancekit.instrument.tables import TABLES
from balancekit.panels.frame import Later, panel, row, table_html, words, wrong
from balancekit.panels.hammers.hammer_desk import HammerDesk, hammer_desk
from balancekit.panels.hammers.hammer_view import DeskLine, HammerView
from balancekit.panels.widgets import FileDrop

IN_THE_PIANO = "in the piano"
FOLDER = "hammer_sets"
MOSTLY = 0.9
# Our own choice: with fewer of its hammers weighed, a set's work is not compared.
ALIKE = 0.05
# Our own choice: half of the last digit shown; work that differs by less is alike.
_ROWS = (
    ("Trim, all hammers (g)", "trimmed_g", 1),
    ("Add, all hammers (g)", "added_g", 1),
    ("Hammers touched", "touched_count", 0),
    ("Stays uneven, at most (g)", "left_over_g", 2),
    ("Front weight, mean (g)", "front_weight_g", 1),
    ("Lead, all keys (g)", "lead_g", 0),
    ("Inertia, mean (g)", "inertia_g", 0),
)


@dataclass(frozen=True)
class HammerSet:
    """One set of hammers that may be chosen.

    Attributes
    ----------
    name : as it is called on the screen.
    weighed_g : strike weight at the keys where it was weighed [g].
    most_trimmed_g : most that may be trimmed off one of its hammers [g].
    """

    name: str
    weighed_g: pd.Series
    most_trimmed_g: float


def read_set(data: bytes, file: str, key_count: int, most_trimmed_g: float) -> HammerSet:
    """Read a set of hammers from a CSV file with the columns key and strike_weight_g.

    Raises
    ------
    BalancekitError : every problem of the file, with its line.
    """
    table = from_bytes(data, file, TABLES["hammer_set"], key_count)
    name = Path(file).stem.replace("_", " ").strip() or "a set"
    if name == IN_THE_PIANO:
        name = f"{name} (from a file)"
    return HammerSet(name, check_set(table, key_count, file), most_trimmed_g)


class Sets(HammerView):
    """The sets side by side, with one's own by file."""

    def __init__(self, desk: HammerDesk) -> None:
        self._compare_later = Later(0.3, self.side_by_side)
        self._results: dict[str, SetResult] = {}
        self.sets: dict[str, HammerSet] = {}
        self._filled: dict[str, tuple[pd.Series, pd.Series]] = {}
        super().__init__(desk)

    def make(self) -> Sequence[widgets.Widget]:
        """Return chart, table, what may be trimmed, the choice, and a place for a file."""
        self.said, self.table = words(), words()
        self._collect()
        chart = sets_chart(self._curves(), None, None, sections=self.desk.sections)
        views = self.over_keys({"sets": chart}, "Strike weights of the sets over the keyboard.")
        self.allowed = row()
        self.chosen = widgets.ToggleButtons(
            description="Plan with",
            style={"description_width": "initial", "button_width": "auto"},
        )
        self._offer()
        self.chosen.observe(self._chose, "value")
        drop = FileDrop(
            self.take_file,
            text="Drop a set of your own here, or click: a CSV file with key, strike_weight_g",
        )
        return [*views, self.table, self.allowed, self.chosen, self.said, drop]

    def _collect(self) -> None:
        """Gather the hammers in the piano, the invented sets, and the set that was chosen."""
        choice, inputs = self.desk.choice, self.desk.inputs
        most = choice.most_trimmed_g
        count = len(inputs.table)
        self._filled = {}
        self.sets = {IN_THE_PIANO: HammerSet(IN_THE_PIANO, inputs.weighed_g.dropna(), most)}
        for path in sorted((data_folder() / FOLDER).glob("*.csv")):
            try:
                found = read_set(read_file(path), path.name, count, most)
            except BalancekitError:
                self.said.value = "The invented sets are for 88 keys; they do not fit this piano."
                continue
            self.sets[found.name] = found
        self._add_chosen()

    def _add_chosen(self) -> None:
        name, weighed_g = self.desk.choice.hammers, self.desk.set_g
        if name != OWN_HAMMERS and weighed_g is not None and name not in self.sets:
            self.sets[name] = HammerSet(name, weighed_g, self.desk.choice.most_trimmed_g)

    def take_file(self, name: str, data: bytes) -> None:
        """Take a set from a file; a bad file changes nothing and is told in words."""
        try:
            found = read_set(
                data, name, len(self.desk.inputs.table), self.desk.choice.most_trimmed_g
            )
            fill_set(found.weighed_g, self.desk.inputs.table.index)
        except BalancekitError as error:
            self.said.value = wrong(error)
            return
        self.sets[found.name] = found
        self.said.value = f"Read {escape(name)}: {plural(len(found.weighed_g), 'hammer')}."
        self._offer()
        self._draw()
        self.side_by_side()

    def _offer(self) -> None:
        """Offer every set to plan with, and a field for what may be trimmed off it."""
        self._showing, before = True, self._showing
        self.chosen.options = list(self.sets)
        self.chosen.value = self.desk.choice.hammers or IN_THE_PIANO
        self._showing = before
        fields = []
        for name, each in self.sets.items():
            span = SPANS["most_trimmed_g"]
            field = widgets.BoundedFloatText(
                each.most_trimmed_g, min=span.low, max=span.high, step=0.1, description=name,
                style={"description_width": "initial"}, layout=widgets.Layout(width="auto"),
            )  # fmt: skip
            field.observe(lambda change, name=name: self._allow(name, change["new"]), "value")
            fields.append(field)
        self.allowed.children = (words("Trimming allowed on one hammer (g):"), *fields)

    def _allow(self, name: str, most_trimmed_g: float) -> None:
        self.sets[name] = replace(self.sets[name], most_trimmed_g=most_trimmed_g)
        if name == (self.desk.choice.hammers or IN_THE_PIANO):
            self.desk.take(replace(self.desk.choice, most_trimmed_g=most_trimmed_g))
        self._compare_later.ask()

    def _chose(self, change: dict[str, str]) -> None:
        if self._showing or change["new"] is None:
            return
        chosen = self.sets[change["new"]]
        own = chosen.name == IN_THE_PIANO
        self.desk.take_set(
            OWN_HAMMERS if own else chosen.name,
            None if own else chosen.weighed_g,
            chosen.most_trimmed_g,
        )

    def show(self) -> None:
        """Draw the sets with the present ceiling; the comparison follows at rest."""
        self._add_chosen()
        name = self.desk.choice.hammers or IN_THE_PIANO
        if name not in self.chosen.options:
            self._offer()
        self.chosen.value = name
        self._draw()
        self._compare_later.ask()

    def _curves(self) -> dict[str, pd.Series]:
        index = self.desk.inputs.table.index
        return {name: self._weights(each).reindex(index) for name, each in self.sets.items()}

    def _weights(self, each: HammerSet) -> pd.Series:
        """The set at every key; the piano's own hammers only where they were weighed."""
        if each.name == IN_THE_PIANO:
            return self.desk.inputs.weighed_g
        weighed_g, filled_g = self._filled.get(each.name, (None, None))
        if weighed_g is not each.weighed_g or filled_g is None:
            filled_g = fill_set(each.weighed_g, self.desk.inputs.table.index)
            self._filled[each.name] = (each.weighed_g, filled_g)
        return filled_g

    def _weights_u_g(self, each: HammerSet) -> pd.Series | float:
        """Standard uncertainty of a set's weights, as the plan takes it [g]."""
        own = each.name == IN_THE_PIANO
        return self.desk.inputs.weighed_u_g if own else SET_STRIKE_WEIGHT_U_G

    def _draw(self) -> None:
        plan, curves = self.plan, self._curves()
        try:
            top = plan.ceiling["ceiling_g"]
        except BalancekitError:
            top = None
        target = plan.target_g if plan.problem is None else None
        low, high = sets_limits(curves)
        with self.view.one_change():
            self.charts["sets"].show(sets_data(curves, top, target))
            self.charts["sets"].figure.y_range.update(start=low, end=high)

    def side_by_side(self) -> None:
        """Seek the least work for every set, and put the sets side by side."""
        plan = self.plan
        try:
            bounds = plan.bounds
        except BalancekitError as error:
            self.table.value = wrong(error)
            return
        self._results = {
            name: try_set(
                self._weights(each),
                replace(bounds, most_trimmed_g=each.most_trimmed_g),
                plan.setting,
                strike_weight_u_g=self._weights_u_g(each),
            )
            for name, each in self.sets.items()
        }
        compared = compare_sets(self._results, bounds)
        self.table.value = self._said(compared)

    def _said(self, compared: pd.DataFrame) -> str:
        """Say the comparison as a table, and below it what is not possible."""
        count = len(self.desk.inputs.table)
        names = [str(name) for name in compared.index]
        weighed = [f"{len(self.sets[name].weighed_g)} of {count}" for name in names]
        rows = [("Hammers weighed", *weighed)]
        for label, column, decimals in _ROWS:
            values = [
                f"{value:.{decimals}f}" if value == value else "no curve"
                for value in compared[column]
            ]
            rows.append((label, *values))
        impossible = [
            f"<b>{escape(name)}:</b> {escape(reason)}"
            for name, reason in compared["reason"].items()
            if reason
        ]
        told = [table_html(("Least work first", *names), rows)]
        told.append(self._verdict(compared))
        told.append(
            "Each set has its own curve of least work. What stays uneven is less than the scale "
            "can tell. Where only some hammers were weighed, the scatter of the others is not "
            "counted: the real work is more."
        )
        return " ".join(told) + "".join(f"<br>{line}" for line in impossible)

    def _verdict(self, compared: pd.DataFrame) -> str:
        """Name the set with the least work among those whose hammers are mostly weighed."""
        count = len(self.desk.inputs.table)
        work = {str(name): work for name, work in compared["work"].dropna().items()}
        weighed = [name for name in work if len(self.sets[name].weighed_g) >= MOSTLY * count]
        least = work[weighed[0]] if weighed else inf
        few = [name for name in work if name not in weighed and work[name] <= least + ALIKE]
        told = f"<b>Least work: {escape(weighed[0])}.</b>" if weighed else ""
        if few:
            told += f" To judge {escape(', '.join(few))}, weigh more of its hammers."
        return told


def hammer_sets_panel(bench: Bench) -> widgets.VBox:
    """Sets of hammers side by side."""
    desk = hammer_desk(bench)
    return panel(
        "A new set of hammers?",
        words(
            "Each set under the bounds and the ceiling that are set above. Lead is counted as if "
            "it all sat where the plugs are now."
        ),
        Sets(desk),
        DeskLine(desk),
    )
