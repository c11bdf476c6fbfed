"""The panel on the target: the curve, the work it needs, and what to do where bounds clash."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import ceil

import ipywidgets as widgets

from balancekit.calculation.hammers.hammer_curve import POINTLESS
from balancekit.calculation.hammers.least_work import BoundsContradict, Relaxation
from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape, plural
from balancekit.charts.hammer_mass import (
    hammers_chart,
    hammers_data,
    hammers_limits,
    work_chart,
    work_data,
    work_limits,
)
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.hammer_choice import SPANS, HammerChoice
from balancekit.panels.frame import button, caution, panel, row, words, wrong
from balancekit.panels.hammers.hammer_desk import hammer_desk
from balancekit.panels.hammers.hammer_view import (
    LEVELS,
    TARGETS,
    DeskLine,
    HammerView,
    drawn_hammers,
)

_LEAST = ("bend_g",)
_LIMITS = ("most_trimmed_g", "most_added_g")
_LOOSENED = {
    "bend": "bend_g",
    "most_trimmed": "most_trimmed_g",
    "most_added": "most_added_g",
    "ceiling": "over_ceiling_g",
}
"""The number of the choice that loosens each kind of bound; nothing loosens the falling."""


def loosened(choice: HammerChoice, relaxation: Relaxation) -> HammerChoice | None:
    """Return the choice with one bound loosened just enough; None where that is not allowed.

    The new limit is rounded up to the step of its slider.
    """
    name = _LOOSENED.get(relaxation.kind)
    if name is None:
        return None
    span = SPANS[name]
    wanted = getattr(choice, name) + relaxation.more_g
    value = round(ceil(round(wanted / span.step, 6)) * span.step, 6)
    return replace(choice, **{name: value}) if value <= span.high else None


class Target(HammerView):
    """The target over the hammers, and the bars of the work."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return buttons, sliders, charts and sentences."""
        sections = self.desk.sections
        self.totals, self.problem, self.story = words(), words(), words()
        self.ways = row()
        kinds = self.toggles("target", TARGETS, "Target")
        sliders = [self.slider(name) for name in (*LEVELS, *_LEAST, *_LIMITS, "over_ceiling_g")]
        keep = widgets.Checkbox(description="keep under the ceiling", indent=False)
        self.ceiling = row(self.bound("keep_ceiling", keep))
        charts = {
            "hammers": hammers_chart(
                drawn_hammers(self.plan, target=True),
                title="Target over the hammers",
                sections=sections,
                height=300,
            ),
            "work": work_chart(None, self.desk.inputs.table["note_name"]),
        }
        charts["work"].figure.x_range = charts["hammers"].figure.x_range
        views = self.over_keys(
            charts, "Target strike weights over the keyboard, and the grams to trim and to add."
        )
        said = [self.problem, self.ways]
        return [kinds, *sliders, self.ceiling, *said, *views, self.totals, self.story]

    def show(self) -> None:
        """Draw the target and its work."""
        target = self.desk.choice.target
        self.seen(LEVELS, self.levels_set)
        self.seen((*_LEAST, "over_ceiling_g"), target == "least work")
        self.seen(_LIMITS, target != "as found")
        self.ceiling.layout.display = "flex" if target == "least work" else "none"
        error = self.plan.problem
        clashes = error.clashes if isinstance(error, BoundsContradict) else {}
        clash = sorted({key for keys in clashes.values() for key in keys})
        drawn = drawn_hammers(self.plan, target=True, clash=clash)
        work = None if error else self.plan.plan
        with self.view.one_change():
            self.charts["hammers"].show(hammers_data(drawn))
            low, high = hammers_limits(drawn)
            self.charts["hammers"].figure.y_range.update(start=low, end=high)
            self.charts["work"].show(work_data(work, drawn.note_name))
            if work is not None:
                low, high = work_limits(work)
                self.charts["work"].figure.y_range.update(start=low, end=high)

    def tell(self) -> None:
        """Say what is to be done, or why there is no target."""
        self._say_problem(self.plan.problem)
        self._say_totals()
        self.show_key()

    def _say_problem(self, error: BalancekitError | None) -> None:
        """Say why there is no target, and offer each way that lifts it."""
        self.ways.children = ()
        if error is None:
            self.problem.value = ""
            return
        self.problem.value = wrong(error)
        if isinstance(error, BoundsContradict):
            offered = [(way, loosened(self.desk.choice, way)) for way in error.relaxations]
            self.ways.children = tuple(
                button(f"Do it: {way.sentence}", partial(self.desk.take, choice, self.refresh))
                for way, choice in offered
                if choice is not None
            )

    def _say_totals(self) -> None:
        plan = self.plan
        if plan.problem is not None:
            self.totals.value = "<b>No target, so nothing to do yet.</b>"
            return
        total = plan.totals
        told = [f"<b>{escape(total.sentence)}</b> {plural(total.touched_count, 'hammer')} touched."]
        told.append(
            f"A change below {POINTLESS:g} standard uncertainties of the weighing is left: the "
            "scale could not tell it."
        )
        left = plan.plan["left_over_g"].where(plan.plan["work"].isin(["trim", "add"])).abs()
        if left.max() > 0.05:
            told.append(
                f"At key {left.idxmax()} {left.max():.1f} g stay uneven: more may not be "
                "trimmed or added."
            )
        try:
            over = plan.target_g - plan.ceiling["ceiling_g"]
        except BalancekitError:
            over = None
        if over is not None and over.max() > 0.05:
            told.append(
                f"The target is above the ceiling at {plural(int((over > 0).sum()), 'key')}, the "
                f"most by {over.max():.1f} g at key {over.idxmax()}."
            )
        self.totals.value = " ".join(told)

    def show_key(self) -> None:
        """Say what to do to the hammer in hand."""
        plan = self.plan
        if plan.problem is not None:
            self.story.value = ""
            return
        line, key = plan.plan.loc[self.key].to_dict(), self.key
        note = escape(self.desk.inputs.table["note_name"][key])
        target = f"target {line['target_strike_weight_g']:.1f} g"
        text = {
            "trim": f"{line['strike_weight_g']:.1f} g, {target}: <b>trim "
            f"{line['trimmed_g']:.1f} g</b>",
            "add": f"{line['strike_weight_g']:.1f} g, {target}: <b>add {line['added_g']:.1f} g</b>",
            "leave": f"{line['strike_weight_g']:.1f} g, {target}: <b>leave</b>",
            "not weighed": f"<b>weigh it first</b>; {target}",
        }[line["work"]]
        self.story.value = f"Key {key}, {note}: {text}."


def hammer_target_panel(bench: Bench) -> widgets.VBox:
    """The target curve and what to do to each hammer."""
    desk = hammer_desk(bench)
    return panel(
        "Which curve, with the least work?",
        words(
            "Move a slider: the curve is sought anew at once, and no other curve within these "
            "bounds needs fewer grams. Naturals and sharps lie on one curve."
        ),
        Target(desk),
        caution(
            "What is trimmed off a hammer cannot be put back. Weigh every hammer and finish the "
            "plan first. Try on a few hammers, take less than planned, weigh again. On an "
            "instrument of worth, get the owner's written agreement."
        ),
        DeskLine(desk),
    )
