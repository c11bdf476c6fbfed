"""The panel on groups of keys: which are gone after the work, which are left or new."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets as widgets

from balancekit.calculation.proof.groups_after import fates_sentence, together_sentences
from balancekit.calculation.words import escape
from balancekit.instrument.bench import Bench
from balancekit.panels.frame import panel, table_html, words
from balancekit.panels.work.after_proof import proof_of
from balancekit.panels.work.work_desk import work_desk
from balancekit.panels.work.work_view import WorkView
from balancekit.sharing.groups_part import FATE_HEADINGS, NO_FATE, fate_rows


class GroupsAfter(WorkView):
    """What became of every group, and which keys came out off the plan together."""

    def make(self) -> Sequence[widgets.Widget]:
        """Return the sentences and the table."""
        self.told, self.list = words(), words()
        return [self.told, self.list]

    def show(self) -> None:
        """Count, and list."""
        proof = proof_of(self.desk)
        fates = proof.fates
        said = [fates_sentence(fates) or NO_FATE]
        said += together_sentences(proof.together)
        self.told.value = "<br>".join(escape(each) for each in said)
        self.list.value = table_html(FATE_HEADINGS, fate_rows(fates)) if fates else ""


def groups_after_panel(bench: Bench) -> widgets.VBox:
    """What became of the groups of keys."""
    return panel("What became of the groups?", GroupsAfter(work_desk(bench)))
