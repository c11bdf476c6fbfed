"""Groups of keys that are shifted together: what, by how much, why, and what to measure."""

from __future__ import annotations

import ipywidgets as widgets

from balancekit.calculation.believed.name_groups import Group
from balancekit.charts.groups import groups_chart
from balancekit.instrument.believed import believe
from balancekit.instrument.bench import Bench
from balancekit.panels.chart_view import ChartView
from balancekit.panels.frame import Later, panel, table_html, words
from balancekit.panels.usual_of_shop import UsualOfShop
from balancekit.sharing.groups_part import FOUND_HEADINGS, NO_GROUP, found_rows

_SHOWN_AFTER_S = 0.4
# Our own choice: believing all readings takes about half a second, so it waits for a rest.


class Groups(widgets.VBox):
    """The list of groups of the visit in hand."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.told, self.list, self.place = words(), words(), widgets.VBox()
        super().__init__([self.told, self.place, self.list])
        later = Later(_SHOWN_AFTER_S, self.refresh)
        bench.observe(lambda _: later.ask(), ["instrument", "visit"])
        self.refresh()

    def refresh(self) -> None:
        """Show the groups, or say that there is none."""
        bench = self.bench
        found: tuple[Group, ...] = ()
        if not bench.readings.empty:
            found = believe(bench.instrument, bench.visit, bench.findings).groups
        if not found:
            self.told.value = NO_GROUP
            self.list.value, self.place.children = "", ()
            return
        self.told.value = (
            "These keys are off together. Measure what stands in the last column before anything "
            "is moved, bored or trimmed on them."
        )
        chart = groups_chart(found, bench.instrument.settings.key_count)
        name = "A bar over the keys of each group. The list below has the same numbers."
        self.place.children = (ChartView(chart.figure, name, self._take_key),)
        self.list.value = table_html(FOUND_HEADINGS, found_rows(found))

    def _take_key(self, key: int) -> None:
        self.bench.key = key


def groups_panel(bench: Bench) -> widgets.VBox:
    """Which keys are off together, and why."""
    return panel("Which keys are off together?", Groups(bench), UsualOfShop(bench))
