"""The panels of the proof: which keys meet the plan, which to take up again, did the bands hold."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.calculation.proof.groups_after import together_sentences
from balancekit.calculation.proof.meeting_plan import (
    MEETS,
    NOT_KNOWN,
    TAKE_UP,
    WEIGH_AGAIN,
    coverage_sentence,
    rate_sentence,
)
from balancekit.calculation.words import escape
from balancekit.charts.proof import coverage_chart
from balancekit.instrument.bench import Bench
from balancekit.instrument.choices.sheet_plan import NOTHING
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import button, caution, panel, row, table_html, words, wrong
from balancekit.panels.work.work_desk import WorkDesk, work_desk
from balancekit.panels.work.work_expected import WEIGHED
from balancekit.panels.work.work_view import BeforeAfterView, WorkView, compared
from balancekit.sharing.story import Proof

_SIGNS = {MEETS: "● meets the plan", WEIGH_AGAIN: "◇ weigh again", TAKE_UP: "▲ take up again",
         NOT_KNOWN: "– not weighed"}  # fmt: skip
"""Sign and words of each verdict."""


def proof_of(desk: WorkDesk) -> Proof:
    """Return the proof, or say what is missing.

    Raises
    ------
    BalancekitError : there are no later readings, or they cannot be held against the plan.
    """
    proof = desk.proof
    if proof is None:
        raise refuse(
            "There is only one set of readings.",
            "Weigh again after the work, and add it with 'Bring readings in' in notebook 1.",
        )
    return proof


WHY_TOGETHER = (
    "Each of them may lie in its own band, but a run of them has one cause: a group that the plan "
    "did not know, or one that was put right without it."
)


class Compare(WorkView):
    """Two lists: the readings before the work, and those after it."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the lists and a sentence."""
        self._showing = False
        style = {"description_width": "11em"}
        layout = widgets.Layout(width="100%", max_width="560px")
        self.before = widgets.Dropdown(description="Before the work", style=style, layout=layout)
        self.after = widgets.Dropdown(description="What came out", style=style, layout=layout)
        self.before.observe(self._chosen, "value")
        self.after.observe(self._chosen, "value")
        self.told = words()
        return [self.before, self.after, self.told]

    def show(self) -> None:
        """List the readings and say which plan they are held against."""
        desk = self.desk
        self._showing = True
        try:
            numbers = range(len(self.bench.instrument.visits))
            options = [(desk.visit_name(number), number) for number in numbers]
            for listed, wanted in ((self.before, desk.before), (self.after, desk.after)):
                if options != list(listed.options):
                    listed.options = options
                listed.value = wanted if wanted >= 0 else None
        finally:
            self._showing = False
        proof = proof_of(desk)
        if proof.plan.kind == NOTHING:
            self.told.value = (
                "<b>No plan is kept for this work</b>, so a key that was left alone should read as "
                "before. Write the sheets in notebook <b>7 · Bench sheets</b> before the work: "
                "they keep the plan."
            )
            return
        text = f"the sheets written on {escape(proof.plan.day)}" if proof.plan.day else (
            "what is decided now"
        )  # fmt: skip
        self.told.value = f"What came out is held against <b>{text}</b>."

    def _chosen(self, _: object) -> None:
        if self._showing or self.before.value is None or self.after.value is None:
            return
        if self.before.value >= self.after.value:
            self.told.value = wrong(
                "The readings after the work come later than those before it. Choose a later set."
            )
            return
        with self.desk.hold_trait_notifications():
            self.desk.before, self.desk.after = self.before.value, self.after.value


class Verdicts(WorkView):
    """How many keys meet the plan, the chart, and the keys to go back to."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return sentences, chart, table and the buttons of the keys."""
        self.counts, self.table = words(), words()
        self.chart = BeforeAfterView(
            self.bench, WEIGHED, lambda name: compared(
                proof_of(self.desk).work, name, proof_of(self.desk).read, self._marked()
            ),
        )  # fmt: skip
        self.jump = row()
        self.story = words()
        self.bench.observe(lambda _: self._tell_key(), "key")
        return [self.counts, self.chart, self.story, self.jump, self.table]

    def _marked(self) -> dict[int, str]:
        verdicts = proof_of(self.desk).verdicts
        off = verdicts[verdicts["verdict"].isin([TAKE_UP, WEIGH_AGAIN])]
        return dict(zip(off.index.tolist(), off["sentence"].tolist(), strict=True))

    def show(self) -> None:
        """Count, draw and list."""
        proof = proof_of(self.desk)
        verdicts = proof.verdicts
        counts = verdicts["verdict"].value_counts()
        told = [f"<b>{counts[word]}</b> {_SIGNS[word]}" for word in _SIGNS if word in counts]
        self.counts.value = f"{' &nbsp; '.join(told)}<br>{escape(rate_sentence())}"
        self.chart.refresh()
        notes = proof.work.found["note_name"]
        off = verdicts[verdicts["verdict"].isin([TAKE_UP, WEIGH_AGAIN])].copy()
        off["first"] = off["verdict"] != TAKE_UP
        off = off.sort_values("first", kind="stable")
        rows = [
            (f"{key}, {notes[key]}", _SIGNS[line["verdict"]], line["reason"] or "not told",
             line["sentence"])
            for key, line in zip(off.index.tolist(), off.to_dict("records"), strict=True)
        ]  # fmt: skip
        self.table.value = (
            table_html(("Key", "What", "Reason", "Why"), rows)
            if rows
            else "<b>Every key that was weighed meets the plan.</b>"
        )
        take_up = off.index[off["verdict"] == TAKE_UP].tolist()
        self.jump.children = (
            (words("Take up again:"), *(
                button(f"Key {key}", partial(setattr, self.bench, "key", key)) for key in take_up
            )) if take_up else ()
        )  # fmt: skip
        self._tell_key()

    def _tell_key(self) -> None:
        try:
            proof, key = proof_of(self.desk), self.bench.key
        except BalancekitError:
            self.story.value = ""  # the panel says why, in place of all this
            return
        line = proof.verdicts.loc[key].to_dict()
        name = escape(proof.work.found["note_name"][key])
        why = escape(line["sentence"])
        self.story.value = f"<b>Key {key}, {name}: {_SIGNS[line['verdict']]}.</b> {why}"


class Bands(WorkView):
    """The share of keys inside the band, against what the band promises."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return a place for the chart, and the sentences."""
        self.place, self.told = widgets.VBox(), words()
        return [self.place, self.told]

    def show(self) -> None:
        """Draw the shares and say them."""
        proof = proof_of(self.desk)
        coverage = proof.coverage
        chart = coverage_chart(coverage)
        view = ChartView(
            chart.figure, name="Share of keys inside their band. The text says the same."
        )
        self.place.children = (view,)
        lines = [escape(coverage_sentence(found, name)) for name, found in coverage.items()]
        few = [name for name, found in coverage.items() if found.inside < found.low]
        together = together_sentences(proof.together)
        lines += [escape(each) for each in together]
        verdict = (
            "<b>The bands held.</b> What was promised is what came out."
            if not few
            else "<b>Some bands were too narrow.</b> Take the predictions with more care, or look "
            "at what was done besides the plan."
        )
        if together:
            verdict = f"<b>The plan did not hold: keys came out off it together.</b> {WHY_TOGETHER}"
        items = "".join(f"<li>{line}</li>" for line in lines)
        self.told.value = f"{verdict}<ul>{items}</ul>"


def compare_panel(bench: Bench) -> widgets.VBox:
    """Choose the readings to compare."""
    return panel("Which readings are compared?", Compare(work_desk(bench)))


def proof_panel(bench: Bench) -> widgets.VBox:
    """Which keys meet the plan, and which to take up again."""
    return panel(
        "Which keys meet the plan?",
        Verdicts(work_desk(bench)),
        caution(
            "Weigh a key again before you take it up. Trimming and boring cannot be undone; draw "
            "the action out level, with no key pressed."
        ),
    )


def bands_panel(bench: Bench) -> widgets.VBox:
    """Whether the predictions held what they promised."""
    return panel("Did the bands hold?", Bands(work_desk(bench)))
